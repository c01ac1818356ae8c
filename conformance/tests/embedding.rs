//! What the program around the machine holds while a script of its runs.

use scruple_conformance::Quiet;
use scruple_vm::{HeapOptions, Layout, LoadError, Narrow, Options, Retained, StopKind, Vm, Wide};

/// ECMA-262, OrdinaryToPrimitive: `toString` gives an object, so `valueOf` is asked, on the
/// same object. No block may move between the two, whoever asks.
#[test]
fn a_value_is_converted_for_the_host_while_scripts_make_garbage() {
    let source = "
        function make() { const made = []; for (let i = 0; i < 20; i++) made.push('made ' + i); return made; }
        make();
        globalThis.gate = {
          toString() { make(); make(); return {}; },
          valueOf() { make(); return this.name; },
          name: 'gate ' + 2
        };";
    let image = scruple_compiler::compile(source, &Default::default()).expect("a script").image;
    for collect_every in [usize::MAX, 64, 0] {
        let heap = HeapOptions { collect_every, thorough: true, ..HeapOptions::default() };
        let options = Options { heap, ..Options::default() };
        let mut region = vec![0u32; 6000];
        let mut vm: Vm<'_, Narrow, Quiet> = Vm::new(&mut region, Quiet::default(), options);
        vm.load(&image).expect("an image of ours");
        vm.run().expect("the script ends");
        let gate = vm.global("gate").expect("a global");
        let mut text = String::new();
        vm.attempt(|vm| vm.write_text(gate, &mut text)).expect("a text");
        assert_eq!(text, "gate 2", "collecting every {collect_every} bytes");
    }
}

/// A region may be as small as one likes: there is an error, and never a panic.
#[test]
fn the_smallest_regions_end_in_an_error() {
    fn hold<L: Layout>(image: &[u8]) -> (usize, usize) {
        let (mut refused, mut ran) = (0, 0);
        for n_slots in 0..300 {
            let mut region = vec![L::Slot::default(); n_slots];
            let mut vm: Vm<'_, L, Quiet> =
                Vm::new(&mut region, Quiet::default(), Options::default());
            if let Err(error) = vm.attempt(|vm| vm.number(0.5)) {
                assert!(error.is_out_of_memory(), "{n_slots} slots: {error}");
            }
            match vm.load(image) {
                Ok(()) => match vm.run() {
                    Ok(()) => ran += 1,
                    Err(error) => assert!(error.is_out_of_memory(), "{n_slots} slots: {error}"),
                },
                Err(error) => {
                    // The verifier works in the free slots.
                    let short = matches!(error, LoadError::NoRoom | LoadError::Verify(_));
                    assert!(short, "{n_slots} slots: {error}");
                    refused += 1;
                }
            }
        }
        (refused, ran)
    }
    let source = "var level = [1, 2.5]; function f(n) { return n ? f(n - 1) + 'x' : ''; } f(9);";
    let image = scruple_compiler::compile(source, &Default::default()).expect("a script").image;
    for (refused, ran) in [hold::<Narrow>(&image), hold::<Wide>(&image)] {
        assert!(refused > 10 && ran > 10, "{refused} refused, {ran} ran");
    }
}

/// A handle that the machine never gave lets nothing go, and gives undefined.
#[test]
fn a_handle_of_another_machine_reaches_nothing() {
    let mut regions = [vec![0u32; 2000], vec![0u32; 2000]];
    let [one, other] = &mut regions;
    let mut one: Vm<'_, Narrow, Quiet> = Vm::new(one, Quiet::default(), Options::default());
    let mut other: Vm<'_, Narrow, Quiet> = Vm::new(other, Quiet::default(), Options::default());
    let retain = |vm: &mut Vm<'_, Narrow, Quiet>, number| {
        let value = vm.attempt(|vm| vm.number(number)).expect("a number");
        vm.retain(value).expect("room")
    };
    let handles: Vec<Retained> = (0..40).map(|n| retain(&mut one, f64::from(n) + 0.5)).collect();
    let kept = retain(&mut other, 7.5);
    for &handle in &handles[1..] {
        other.release(handle);
        assert!(other.retained(handle).is_undefined());
    }
    assert_eq!(other.as_number(other.retained(kept)), Some(7.5));
    assert_eq!(one.as_number(one.retained(handles[39])), Some(39.5));
    assert!(other.ledger().audit());
}

/// However long a string or a list is that one operation goes through, the budget bounds
/// how long that takes: it ends each of these before its operations alone would.
#[test]
fn what_built_ins_go_through_counts_towards_the_budget() {
    const TEXT: &str = "let s = '1'.repeat(60000), t = '1'.repeat(60000), w = ' '.repeat(60000);";
    const LIST: &str = "let a = []; for (let i = 0; i < 3000; i++) a.push(i);";
    const CHAIN: &str = "let low = {}; for (let i = 0; i < 3000; i++) low = { __proto__: low };";
    const KEYS: &str = "let o = {}; for (let i = 0; i < 400; i++) o['k' + i] = i;";
    let cases = [
        (TEXT, "s + 'b'"),
        (TEXT, "s < t"),
        (TEXT, "s === t"),
        (TEXT, "s == t"),
        (TEXT, "Number(s)"),
        (TEXT, "+s"),
        (TEXT, "parseInt(s)"),
        (TEXT, "parseFloat(s)"),
        (TEXT, "parseInt(w)"),
        (TEXT, "JSON.stringify(s)"),
        (TEXT, "JSON.parse(w + 1)"),
        (TEXT, "s.toUpperCase()"),
        (TEXT, "s.trim()"),
        (TEXT, "w.trim()"),
        (TEXT, "s.isWellFormed()"),
        (TEXT, "s.toWellFormed()"),
        (TEXT, "s.normalize()"),
        (TEXT, "s.localeCompare(t)"),
        (TEXT, "s.slice(1)"),
        (TEXT, "encodeURIComponent(s)"),
        (TEXT, "decodeURIComponent(s)"),
        (TEXT, "console.log(s)"),
        (KEYS, "Object.keys(o)"),
        (KEYS, "({...o})"),
        (KEYS, "Object.assign({}, o)"),
        (KEYS, "for (const k in o) break"),
        (LIST, "[...a]"),
        (LIST, "Math.max(...a)"),
        (LIST, "(([, ...r]) => r)(a)"),
        (LIST, "((...r) => r)(...a)"),
        (CHAIN, "low.level"),
        (CHAIN, "'level' in low"),
        (CHAIN, "low instanceof Array"),
        (CHAIN, "Array.prototype.isPrototypeOf(low)"),
        (CHAIN, "Object.setPrototypeOf({}, low)"),
        (CHAIN, "for (const k in low) break"),
    ];
    for (given, step) in cases {
        let source = format!("{given} for (;;) {{ {step}; }}");
        let image = scruple_compiler::compile(&source, &Default::default());
        let image = image.unwrap_or_else(|wrong| panic!("{step}: {wrong:?}")).image;
        let mut region = vec![0u32; 130_048];
        let budget = 100_000;
        let options = Options { budget, ..Options::default() };
        let mut vm: Vm<'_, Narrow, Quiet> = Vm::new(&mut region, Quiet::default(), options);
        vm.load(&image).expect("an image of ours");
        let error = vm.run().expect_err("it has no end");
        assert_eq!(error.stop(), Some(StopKind::Budget), "{step}");
        // Well before the operations alone would have ended it.
        assert!(vm.operations() < budget / 2, "{step}: {} operations", vm.operations());
    }
}

/// ECMA-262, CreateUnmappedArgumentsObject, wherever memory ends: what the object is made of
/// and the frame that is to hold it do not come to lie in one place. (They did, where the
/// last cells were asked for between the frame's check and its making.)
#[test]
fn arguments_are_whole_until_memory_ends() {
    let locals: String = (0..40).map(|n| format!("x{n}, ")).collect();
    let text = format!(
        "let keep = [];
        function f(n) {{
          let {locals}last;
          x0 = n * 0.5; last = {{ n }};
          if (arguments.length !== 1 || arguments[0] !== n) throw 'not the arguments of ' + n;
          if (n % 3 === 0) keep.push({{ n }});
          f(n + 1);
          return x0 + last.n;
        }}
        f(0);"
    );
    let rest = text.replace("f(n)", "f(n, ...rest)").replace("arguments.length", "rest.length + 1");
    let rest = rest.replace("arguments[0]", "n");
    for source in [text, rest] {
        let image = scruple_compiler::compile(&source, &Default::default()).expect("a script");
        for n_slots in 2000..2600 {
            let mut region = vec![0u32; n_slots];
            let mut vm: Vm<'_, Narrow, Quiet> =
                Vm::new(&mut region, Quiet::default(), Options::default());
            vm.load(&image.image).expect("an image of ours");
            let error = vm.run().expect_err("it calls itself for ever");
            assert!(error.is_out_of_memory(), "{n_slots} slots: {error}");
            assert!(vm.ledger().audit(), "{n_slots} slots");
        }
    }
}
