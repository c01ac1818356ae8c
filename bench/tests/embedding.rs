//! The machine's public interface as a host function meets it: calling back into
//! the script, and passing errors on.

use scruple_bytecode::Encoding;
use scruple_compiler::compile;
use scruple_vm::{
    Call, Host, HostFunction, Layout, Narrow, Options, Raise, RunError, StopKind, Value, Vm,
};

#[derive(Default)]
struct Station {
    observer: (),
    printed: String,
}

impl Host for Station {
    type Observer = ();

    fn observer(&mut self) -> &mut () {
        &mut self.observer
    }

    fn write(&mut self, text: &str) {
        self.printed.push_str(text);
    }
}

/// `apply(f, value)`: calls back, and passes an error on.
fn apply<L: Layout>(vm: &mut Vm<'_, L, Station>, call: Call<L>) -> Result<Value<L>, Raise> {
    let (function, value) = (vm.arg(&call, 0), vm.arg(&call, 1));
    Ok(vm.call(function, call.this(), &[value])?)
}

/// `attempt(f)`: calls back, and gives what was thrown.
fn attempt<L: Layout>(vm: &mut Vm<'_, L, Station>, call: Call<L>) -> Result<Value<L>, Raise> {
    match vm.call(vm.arg(&call, 0), Value::undefined(), &[]) {
        Err(error) if error.is_exception() => Ok(vm.thrown()),
        result => Ok(result?),
    }
}

fn run(source: &str, options: Options) -> (String, Result<(), RunError>) {
    let compiler = scruple_compiler::Options { encoding: Encoding::Leb, ..Default::default() };
    let image = compile(source, &compiler).expect("a script").image;
    let mut region = vec![0u32; 4096];
    let functions = [
        HostFunction { name: "apply", length: 2, call: apply },
        HostFunction { name: "attempt", length: 1, call: attempt },
    ];
    let mut vm: Vm<'_, Narrow, Station> = Vm::new(&mut region, Station::default(), options);
    vm.set_host_functions(&functions);
    vm.load(&image).expect("an image");
    let result = vm.run();
    (vm.into_host().printed, result)
}

#[test]
fn an_exception_passes_through_a_host_function_and_can_be_caught() {
    let source = "
        function fail(x) { throw new RangeError('at ' + x); }
        console.log(apply(x => x + 1, 4));
        try { apply(fail, 3); } catch (error) { console.log(error.name, error.message); }
        try { apply(x => apply(fail, x), 2); } catch (error) { console.log(error.message); }
        console.log(attempt(() => { throw 'plain'; }));
        console.log(attempt(() => 'well'));
    ";
    let (printed, result) = run(source, Options::default());
    assert_eq!(result, Ok(()));
    assert_eq!(printed, "5\nRangeError at 3\nat 2\nplain\nwell\n");
}

#[test]
fn an_uncaught_exception_keeps_its_place_through_a_host_function() {
    // A value that is no error object does not remember where it was thrown.
    for thrown in ["new Error('late')", "'late'"] {
        let source = format!("function fail() {{\n  throw {thrown};\n}}\n\napply(fail);\n");
        let (_, result) = run(&source, Options::default());
        let error = result.expect_err("an exception");
        assert!(error.is_exception());
        assert_eq!(error.position().map(|position| position.line), Some(2), "{thrown}");
    }
}

#[test]
fn a_stop_passes_through_a_host_function_and_cannot_be_caught() {
    let source = "let i = 0;\ntry {\n  apply(() => {\n    while (true) { i++; }\n  });\n} catch (e) { console.log('caught'); }\n";
    let (printed, result) = run(source, Options { budget: 1000, ..Options::default() });
    let error = result.expect_err("a stop");
    assert_eq!(error.stop(), Some(StopKind::Budget));
    assert_eq!(error.position().map(|position| position.line), Some(4));
    assert_eq!(printed, "");
    let (_, result) = run("function f() { apply(f); }\nf();\n", Options::default());
    assert_eq!(result.expect_err("a stop").stop(), Some(StopKind::Nesting));
}
