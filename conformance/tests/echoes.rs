//! The encoding `echo`: instructions carried out again from where they stand. What is
//! said here of it is our own (design: "a backward reference, carry out n instructions
//! from here minus d"; the idea is that of Fraser 2002).

use std::fs;
use std::path::Path;

use scruple_bytecode::encoding::CODE_PADDING;
use scruple_bytecode::encoding::echo::{ECHO, Reference};
use scruple_bytecode::image::{Image, checksum, header};
use scruple_bytecode::sets::SHIPPED;
use scruple_bytecode::{Encoding, Op, listing, verify};
use scruple_conformance::{End, Quiet, Setup, run};
use scruple_vm::{Narrow, Options, Vm};

fn compiled(source: &str, encoding: Encoding) -> Vec<u8> {
    let options = scruple_compiler::Options { encoding, ..Default::default() };
    scruple_compiler::compile(source, &options).expect("a script").image
}

/// The places of an image's instructions.
fn places(image: &Image<'_>) -> Vec<usize> {
    let mut places = vec![0];
    let end = image.code().len() - CODE_PADDING;
    while let Some(&at) = places.last()
        && at < end
    {
        places.push(image.decode(at).expect("an instruction").next);
    }
    places.pop();
    places
}

/// The echoes of an image: where each stands and where what it refers to begins and ends.
fn echoes(image: &Image<'_>) -> Vec<(usize, usize, usize)> {
    let of = |&at: &usize| {
        let first = at - image.echoed(at)?.back as usize;
        Some((at, first, first + image.decode(at)?.echoed_bytes()))
    };
    places(image).iter().filter_map(of).collect()
}

fn samples() -> Vec<String> {
    let mut sources = Vec::new();
    for folder in ["kernels", "marrow-brook"] {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../samples").join(folder);
        for entry in fs::read_dir(folder).expect("the samples") {
            let path = entry.expect("an entry").path();
            if path.extension().is_some_and(|extension| extension == "js") {
                sources.push(fs::read_to_string(path).expect("a sample"));
            }
        }
    }
    sources
}

#[test]
fn no_sample_is_longer_than_in_composite_and_together_they_are_shorter() {
    let bytes = |source: &str, encoding| {
        let image = compiled(source, encoding);
        Image::open(&image).expect("an image").sizes().instructions
    };
    let (mut with, mut without) = (0, 0);
    for source in samples() {
        let (echo, composite) =
            (bytes(&source, Encoding::Echo), bytes(&source, Encoding::Composite));
        assert!(echo <= composite, "{echo} bytes instead of {composite}: {source}");
        (with, without) = (with + echo, without + composite);
    }
    assert!(with < without, "{with} and {without}");
}

#[test]
fn what_the_compiler_refers_to_begins_and_ends_with_instructions_and_holds_no_echo() {
    let mut n_echoes = 0;
    for source in samples() {
        let bytes = compiled(&source, Encoding::Echo);
        let image = Image::open(&bytes).expect("an image");
        let begins = places(&image);
        for (at, first, behind) in echoes(&image) {
            let (first, behind) = (begins.binary_search(&first), begins.binary_search(&behind));
            let (Ok(first), Ok(behind)) = (first, behind) else {
                panic!("the echo at {at} refers into an instruction: {source}");
            };
            let within = &begins[first..behind];
            assert!(within.iter().all(|&place| image.echoed(place).is_none()));
            assert_eq!(within.len(), image.echoed(at).map_or(0, |it| it.count));
            n_echoes += 1;
        }
    }
    assert!(n_echoes > 100, "{n_echoes}");
}

const TWINS: &str = "
    function left(a, b) { const sum = a.first * 1000 + b.second * 1000; return sum; }
    function right(a, b) { const sum = a.first * 1000 + b.second * 1000; return sum; }
    function both(a, b) {
        console.log('left', a.first * 1000 + b.second * 1000);
        if (a.first > 1) console.log('left', a.first * 1000 + b.second * 1000);
    }
    const pair = { first: 2, second: 3 };
    console.log(left(pair, pair), right(pair, pair));
    both(pair, pair);";

#[test]
fn code_is_found_in_functions_before_and_in_the_open_one_behind_a_branch() {
    let bytes = compiled(TWINS, Encoding::Echo);
    let image = Image::open(&bytes).expect("an image");
    let function = |at| image.function_at(at).expect("a function").index();
    let found: Vec<(usize, usize)> =
        echoes(&image).iter().map(|&(at, first, _)| (function(at), function(first))).collect();
    assert!(found.contains(&(1, 0)), "`right` has the body of `left`: {found:?}");
    assert!(found.contains(&(2, 0)), "so has `both`: {found:?}");
    assert!(found.contains(&(2, 2)), "which has the call twice: {found:?}");
}

// The compiler's table reaches 64 KiB and is then begun anew.
#[test]
fn a_long_script_has_the_same_operations_and_echoes_to_its_end() {
    let one = |n: usize| {
        format!("function f{n}(a, b) {{ return a.first * {n} + b.second * 1000 + f{n}.length; }}\n")
    };
    let source: String = (0..12_000).map(one).collect();
    let operations = |encoding| {
        let bytes = compiled(&source, encoding);
        let mut scratch = vec![0u16; bytes.len()];
        let image = verify(&bytes, scratch.as_mut_slice()).expect("a verified image");
        let parts = places(&image).into_iter().flat_map(|at| {
            let instruction = image.decode(at).expect("an instruction");
            instruction.parts().map(|part| (part.op, part.operand)).collect::<Vec<_>>()
        });
        let begins: Vec<usize> = echoes(&image).iter().map(|&(at, ..)| at).collect();
        (parts.collect::<Vec<_>>(), image.sizes().instructions, begins)
    };
    let (word, ..) = operations(Encoding::Word);
    let (echo, length, begins) = operations(Encoding::Echo);
    assert!(word == echo, "the operations differ");
    assert!(length > 3 << 16, "{length}");
    for stretch in 0..length >> 16 {
        let within = begins.iter().filter(|&&at| at >> 16 == stretch).count();
        assert!(within > 500, "{within} echoes in stretch {stretch}");
    }
}

#[test]
fn an_echo_counts_once_and_what_it_reads_elsewhere_is_fetched() {
    let outcome = |encoding| run(&[TWINS], &Setup { encoding, ..Setup::default() });
    let (composite, echo) = (outcome(Encoding::Composite), outcome(Encoding::Echo));
    assert_eq!(echo.printed, "5000 5000\nleft 5000\nleft 5000\n");
    assert_eq!((&echo.printed, echo.operations), (&composite.printed, composite.operations));
    assert!(echo.instructions < composite.instructions);
    // The script has no loop, and every echo is carried out at most once: bytes saved in
    // the image are none in what is read, which is the echoes' own on top.
    assert!(echo.fetched_bytes > composite.fetched_bytes);
}

#[test]
fn the_listing_tells_what_an_echo_refers_to_and_its_operations() {
    let bytes = compiled(TWINS, Encoding::Echo);
    let image = Image::open(&bytes).expect("an image");
    let mut text = String::new();
    listing::write(&mut text, &image, None).expect("text");
    for (at, first, behind) in echoes(&image) {
        let n_parts = image.decode(at).expect("an echo").n_parts();
        let begin = format!("  {at:04x}");
        let wanted = format!("echo of {first:04x}..{behind:04x}, {n_parts}");
        let line = text
            .lines()
            .position(|line| line.starts_with(&begin) && line.trim_end().ends_with(&wanted));
        let line = line.unwrap_or_else(|| panic!("{begin} {wanted} in\n{text}"));
        let below = text.lines().skip(line + 1).take_while(|line| line.starts_with("      "));
        assert_eq!(below.count(), n_parts, "{text}");
    }
}

/// The image of a script with other code for the script itself.
fn with_code(source: &str, code: &[u8]) -> Vec<u8> {
    let bytes = compiled(source, Encoding::Echo);
    let image = Image::open(&bytes).expect("an image");
    let sizes = image.sizes();
    let begin = sizes.header + sizes.constants + sizes.functions;
    let script = image.function(image.script()).expect("the script").code as usize;
    let mut made = bytes[..begin + script].to_vec();
    made.extend_from_slice(code);
    made.extend([0; CODE_PADDING]);
    made.extend_from_slice(&bytes[bytes.len() - sizes.lines..]);
    let length = (script + code.len() + CODE_PADDING) as u32;
    made[header::AT_CODE..header::AT_CODE + 4].copy_from_slice(&length.to_le_bytes());
    let sum = checksum(&made[header::AT_CHECKSUM + 4..]);
    made[header::AT_CHECKSUM..header::AT_CHECKSUM + 4].copy_from_slice(&sum.to_le_bytes());
    made
}

/// What code is made of.
#[derive(Clone, Copy)]
enum Item {
    Plain(Op, i32),
    /// So many instructions, from so many bytes back.
    Echo(usize, u32),
    Bytes(&'static [u8]),
}

fn code_of(items: &[Item]) -> Vec<u8> {
    let mut code = Vec::new();
    for &item in items {
        match item {
            Item::Plain(op, operand) => {
                let encoded = Encoding::Echo.encode(op, operand).expect("an operation");
                code.extend_from_slice(encoded.as_slice());
            }
            Item::Echo(count, back) => {
                let encoded = Reference { count, back }.encode().expect("an echo");
                code.extend_from_slice(encoded.as_slice());
            }
            Item::Bytes(bytes) => code.extend_from_slice(bytes),
        }
    }
    code
}

/// One function, and a script that has two slots and some depth.
const SOURCE: &str = "
    function last(a, b, c, d, e) { return [e, e]; }
    { let x = 1; let y = x + 2; console.log(x, y, last(1, 2, 3, 4, 5)); }";

fn verified(items: &[Item]) -> Result<(), String> {
    let bytes = with_code(SOURCE, &code_of(items));
    let mut scratch = vec![0u16; bytes.len()];
    verify(&bytes, scratch.as_mut_slice()).map(drop).map_err(|error| error.to_string())
}

#[test]
fn an_echo_that_cannot_be_carried_out_is_refused_with_its_place_and_the_reason() {
    use Item::{Bytes, Echo, Plain};
    let push = Plain(Op::PushTrue, 0);
    let drop = Plain(Op::Drop, 0);
    let end = Plain(Op::ReturnUndefined, 0);
    let bytes = compiled(SOURCE, Encoding::Echo);
    let image = Image::open(&bytes).expect("an image");
    let script = image.function(image.script()).expect("the script");
    let start = script.code as usize;
    assert_eq!(verified(&[push, drop, Echo(2, 2), end]), Ok(()));
    // An instruction of `last` that has to do with a slot which the script has not.
    let is_foreign = |&&at: &&usize| {
        let instruction = image.decode(at).expect("an instruction");
        at < start
            && instruction
                .parts()
                .all(|it| it.op == Op::LoadSlot && it.operand >= i32::from(script.n_slots))
    };
    let begins = places(&image);
    let foreign = *begins.iter().find(is_foreign).expect("a slot of its own");
    let foreign = (start - foreign) as u32;
    let mut deep = vec![push; usize::from(script.depth)];
    deep.extend([Echo(1, 1), end]);
    let table: [(&[Item], usize, &str); 12] = [
        (&[push, drop, Bytes(&[ECHO, 0x85, 0x00]), end], 2, "an echo whose number is cut short"),
        (&[Bytes(&[ECHO, 0x80])], 0, "an echo whose number is cut short"),
        (&[push, drop, Echo(2, 9000), end], 2, "an echo of what does not lie before it"),
        (&[push, drop, Bytes(&[ECHO, 0]), end], 2, "an echo of what does not lie before it"),
        (&[push, drop, Echo(3, 2), end], 2, "an echo of bytes that are no instruction"),
        (&[push, drop, Echo(2, 2), Echo(1, 2), end], 4, "an echo of an echo"),
        (
            &[push, Plain(Op::BranchFalse, 0), Echo(2, 3), end],
            3,
            "an echo with branch_false inside, which goes elsewhere",
        ),
        (
            &[end, push, drop, Echo(2, 3), end],
            3,
            "an echo with return_undefined inside, which goes elsewhere",
        ),
        (&[Echo(1, foreign), end], 0, "load_slot: operand out of range"),
        (&[push, drop, Echo(1, 1), end], 2, "drop: too few values on the stack"),
        (&deep, usize::from(script.depth), "push_true: deeper than the record says"),
        (
            // Told where the label is.
            &[push, drop, Plain(Op::Branch, 1), Echo(2, 4), end],
            5,
            "branch: the label is no instruction",
        ),
    ];
    for (items, at, wanted) in table {
        let told = verified(items).expect_err(wanted);
        let place = format!("code offset {}: ", start + at);
        assert!(told.starts_with(&(place + wanted)), "{told:?} instead of {wanted:?} at {at}");
    }
}

// Not asked for by the verifier, since the bytes are the same whenever they are decoded.
#[test]
fn an_echo_into_the_middle_of_an_instruction_does_what_the_bytes_there_say() {
    use Item::{Echo, Plain};
    let hidden = scruple_bytecode::leb128::unzigzag(Op::PushNull as u32);
    let items =
        [Plain(Op::PushInt, hidden), Plain(Op::Drop, 0), Echo(2, 2), Plain(Op::ReturnUndefined, 0)];
    assert_eq!(verified(&items), Ok(()));
    let bytes = with_code(SOURCE, &code_of(&items));
    let image = Image::open(&bytes).expect("an image");
    let start = image.function(image.script()).expect("the script").code as usize;
    let found = image.decode(start + 3).expect("an echo");
    assert!(found.parts().map(|part| part.op).eq([Op::PushNull, Op::Drop]));
    let mut region = vec![0u32; 4096];
    let mut vm: Vm<'_, Narrow, Quiet> = Vm::new(&mut region, Quiet::default(), Options::default());
    vm.load(&bytes).expect("a verified image");
    vm.run().expect("an end");
    assert_eq!((vm.operations(), vm.instructions()), (5, 4));
}

#[test]
fn a_call_and_a_return_stand_last_in_an_echo_and_errors_keep_their_line() {
    let source = "
        function check(value, what) {
            if (value.length > 3) { throw new RangeError(what + value.length); }
            return what + value.length;
        }
        function again(value, what) { return what + value.length; }
        console.log(check('abc', 'length '), again('abc', 'length '));
        console.log(check('abc', 'length '), again(undefined, 'length '));";
    let bytes = compiled(source, Encoding::Echo);
    let image = Image::open(&bytes).expect("an image");
    let last = |op| {
        echoes(&image).iter().any(|&(at, ..)| {
            let instruction = image.decode(at).expect("an echo");
            instruction.n_parts() > 1 && instruction.last().op == op
        })
    };
    assert!(last(Op::Return) && (last(Op::Call) || last(Op::CallMethod)));
    let outcome = |encoding| run(&[source], &Setup { encoding, ..Setup::default() });
    let (word, echo) = (outcome(Encoding::Word), outcome(Encoding::Echo));
    assert!(matches!(&echo.end, End::Threw(what) if what.contains("TypeError")), "{:?}", echo.end);
    assert_eq!((echo.end, echo.printed), (word.end, word.printed));
    assert_eq!(image.set().map(|set| set.hash()), Some(SHIPPED.hash()));
}
