//! Any instruction set will do: scripts under sets made at random do what they do under
//! the other encodings, to the operation and the byte of heap. The invariant is our own
//! (design: "for one script all encodings give the same output, the same operation
//! count, the same heap figures").

use std::fs;
use std::path::Path;

use rayon::prelude::*;
use scruple_bytecode::image::{Image, checksum, header};
use scruple_bytecode::sets::{SetBuffer, Table};
use scruple_bytecode::{Encoding, Op, verify_with};
use scruple_conformance::sets::{Dice, keep, operations, random};
use scruple_conformance::{End, Outcome, Setup, Way, run};

/// The encodings whose instructions hang on the set.
const WITH_SETS: [Encoding; 3] = [Encoding::Composite, Encoding::Echo, Encoding::Context];

fn samples() -> Vec<String> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../samples/kernels");
    let mut files: Vec<_> = fs::read_dir(folder)
        .expect("the samples")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|extension| extension == "js"))
        .collect();
    files.sort();
    files.iter().map(|path| fs::read_to_string(path).expect("a sample")).collect()
}

/// What must not depend on the encoding.
fn figures(outcome: &Outcome) -> (&str, &str, u64, u32, u32) {
    let ledger = &outcome.ledger;
    let Outcome { printed, end, operations, .. } = outcome;
    let end = match end {
        // Where a budget ends a run, an operation seldom has a position of its own: the
        // line table tells that of a neighbour.
        End::Stopped(why) => why.split_once(' ').map_or("", |(_, why)| why),
        End::Threw(what) => what,
        _ => "",
    };
    (printed, end, *operations, ledger.high_water().total(), ledger.stack_peak())
}

#[test]
fn a_script_does_the_same_under_sets_made_at_random() {
    let joined: u64 = samples()
        .par_iter()
        .map(|source| {
            let budget = 300_000;
            let plain = run(&[source], &Setup { budget, ..Setup::default() });
            let found = operations(source);
            let mut joined = 0;
            let ways = (0..3).flat_map(|seed| WITH_SETS.map(|encoding| (seed, encoding)));
            for (seed, encoding) in ways {
                let set = keep(&random(&found, seed));
                let setup = Setup { budget, encoding, set, ..Setup::default() };
                let outcome = run(&[source], &setup);
                assert_eq!(figures(&outcome), figures(&plain), "{set}");
                for way in [Way::Stepped, Way::Compact] {
                    let other = run(&[source], &Setup { way, ..setup });
                    assert_eq!(figures(&other), figures(&plain), "{way:?}");
                    let counts = |it: &Outcome| (it.instructions, it.fetched_bytes);
                    assert_eq!(counts(&other), counts(&outcome), "{way:?}");
                }
                joined += outcome.operations - outcome.instructions;
            }
            joined
        })
        .sum();
    assert!(joined > 1_000_000, "only {joined} operations were part of a composite");
}

// The budget is of operations, so a run ends behind the same one.
#[test]
fn a_budget_ends_a_run_at_the_same_operation_under_every_encoding() {
    let source = "
        let n = 0;
        function step(i) { n = n + i; console.log(n); return n < 1000; }
        for (let i = 0; step(i); i++) { n = n - 1; }";
    for budget in 1..400 {
        let outcome = |encoding| run(&[source], &Setup { budget, encoding, ..Setup::default() });
        let word = outcome(Encoding::Word);
        for &encoding in Encoding::ALL {
            let other = outcome(encoding);
            let stopped = |it: &Outcome| matches!(it.end, End::Stopped(_));
            assert_eq!(stopped(&other), stopped(&word));
            assert_eq!((&other.printed, other.operations), (&word.printed, word.operations));
        }
    }
}

fn compiled(source: &str, encoding: Encoding, buffer: &SetBuffer) -> Vec<u8> {
    let options = scruple_compiler::Options { encoding, ..scruple_compiler::Options::default() };
    scruple_compiler::compile_with(source, &options, &buffer.set()).expect("a script").image
}

#[test]
fn the_operations_of_an_image_are_the_same_with_composites_and_without() {
    for source in samples() {
        let found = operations(&source);
        let ways = (10..14).flat_map(|seed| WITH_SETS.map(|encoding| (seed, encoding)));
        for (seed, encoding) in ways {
            let buffer = random(&found, seed);
            let set = buffer.set();
            let bytes = compiled(&source, encoding, &buffer);
            let sets = [&set];
            let image = Image::open_with(&bytes, &sets).expect("an image");
            let end = image.code().len() - scruple_bytecode::encoding::CODE_PADDING;
            let instructions = image.walk(0).take_while(|&(at, _)| at < end);
            let again: Vec<(Op, i32)> = instructions
                .flat_map(|(_, it)| it.parts().map(|part| (part.op, part.operand)))
                .collect();
            assert_eq!(again.len(), found.len());
            for (&(op, operand), &(word_op, word_operand)) in again.iter().zip(&found) {
                // Distances are in bytes, and differ.
                assert!(op == word_op && (op.is_branch() || operand == word_operand));
            }
        }
    }
}

#[test]
fn an_image_of_another_set_is_refused_with_both_hashes() {
    let source = "let a = 1; console.log(a + 1);";
    let buffer = SetBuffer::parse("set other\njoin push_int *, add\n").expect("a set");
    let bytes = compiled(source, Encoding::Composite, &buffer);
    let mut scratch = vec![0u16; bytes.len()];
    let shipped = &scruple_bytecode::sets::SHIPPED;
    let error = scruple_bytecode::verify(&bytes, scratch.as_mut_slice()).expect_err("another set");
    assert!(error.is_mismatch());
    let text = error.to_string();
    let (wanted, known) = (buffer.set().hash(), shipped.hash());
    assert_eq!(
        text,
        format!(
            "image offset 8: instruction set {wanted:08x} is wanted, this machine has {known:08x}"
        )
    );
    let set = buffer.set();
    assert!(verify_with(&bytes, &[shipped, &set], scratch.as_mut_slice()).is_ok());
    let none = verify_with(&bytes, &[], scratch.as_mut_slice()).expect_err("no set");
    assert!(none.to_string().ends_with("this machine has none"));
}

/// Whatever bytes lie in the code of an image with composites: refused, or each branch
/// leads to an instruction and no stack leaves its depth, which the machine's own checks
/// in this build would tell.
#[test]
fn damaged_composites_are_refused_or_run_within_their_bounds() {
    let source = &samples()[0];
    let found = operations(source);
    let accepted: usize = (0..400u64)
        .into_par_iter()
        .map(|seed| {
            let buffer = random(&found, seed);
            let set = keep(&buffer);
            let encoding = WITH_SETS[seed as usize % WITH_SETS.len()];
            let mut bytes = compiled(source, encoding, &buffer);
            let mut dice = Dice::new(seed + 1000);
            let sizes = Image::open_with(&bytes, &[set]).expect("an image").sizes();
            let begin = sizes.header + sizes.constants + sizes.functions;
            for _ in 0..1 + dice.roll(2) {
                let at = begin + dice.roll(sizes.instructions);
                bytes[at] = match dice.roll(5) {
                    0 | 1 => scruple_bytecode::sets::FIRST_ENTRY + dice.roll(set.len()) as u8,
                    2 | 3 => bytes[at] ^ (1 << dice.roll(8)),
                    _ => scruple_bytecode::encoding::echo::ECHO,
                };
            }
            let sum = checksum(&bytes[header::AT_CHECKSUM + 4..]);
            bytes[header::AT_CHECKSUM..header::AT_CHECKSUM + 4].copy_from_slice(&sum.to_le_bytes());
            usize::from(scruple_conformance::run_image(&bytes, set, 20_000))
        })
        .sum();
    assert!(accepted > 10, "only {accepted} got past the verifier");
}

#[test]
fn an_operation_that_enters_or_leaves_a_frame_is_refused_inside_a_composite() {
    use scruple_bytecode::sets::may_stand_inside;
    let inside: Vec<Op> = Op::ALL.iter().copied().filter(|&op| may_stand_inside(op)).collect();
    for op in [Op::Call, Op::CallMethod, Op::Construct, Op::SuperCallList, Op::Return, Op::Throw] {
        assert!(!inside.contains(&op), "{op:?}");
    }
    assert!(Op::ALL.iter().filter(|op| op.is_branch()).all(|op| !inside.contains(op)));
}

// Our own rule (compiler, `chooser`): operations of different lines that may fail are
// never joined, so an error has its line under every encoding and set.
#[test]
fn an_error_has_its_line_under_every_set() {
    let source = "
        const list = [];
        function grow(n) {
            list.push('a text of its own ' + n);
            const half = n
                / 2;
            return { half,
                text: 'x' + half };
        }
        for (let i = 0; ; i++) {
            list.push(grow(i)); list.push([i,
                i + 0.5, i * 1.5]);
        }";
    let found = operations(source);
    for slots in (2000..4000).step_by(30) {
        let stopped = |encoding, set| {
            let setup = Setup { slots, encoding, set, ..Setup::default() };
            match run(&[source], &setup).end {
                End::Stopped(why) if !why.contains("budget") => {
                    why.split(':').next().map(str::to_owned)
                }
                other => panic!("{other:?}"),
            }
        };
        let word = stopped(Encoding::Word, &scruple_bytecode::sets::SHIPPED);
        for seed in 0..4 {
            let set = keep(&random(&found, seed));
            for encoding in WITH_SETS {
                assert_eq!(stopped(encoding, set), word, "{slots} {set}");
            }
        }
    }
}

#[test]
fn a_label_in_the_middle_of_a_composite_is_refused() {
    let source = "
        function f(a, b) {
            let sum = 0;
            for (let i = 0; i < a; i++) { if (b) { sum = sum + i * a; } else { sum = i; } }
            return sum;
        }
        console.log(f(3, true));";
    let parsed = SetBuffer::parse(
        "set t\njoin load_slot *, load_slot *\njoin load_slot *, load_slot *, multiply\n\
         join load_slot *, branch_false *\njoin less, branch_true *\njoin add, store_slot *\n",
    );
    let buffer = parsed.expect("a set");
    let bytes = compiled(source, Encoding::Composite, &buffer);
    let set = buffer.set();
    let sets = [&set];
    let image = Image::open_with(&bytes, &sets).expect("an image");
    let sizes = image.sizes();
    let begin = sizes.header + sizes.constants + sizes.functions;
    let function = image.function(scruple_bytecode::operand::FunctionId::from_operand(0));
    let (mut at, end) = (
        function.expect("f").code as usize,
        image.code_end(scruple_bytecode::operand::FunctionId::from_operand(0)),
    );
    let mut places = Vec::new();
    while at < end.expect("an end") as usize {
        let instruction = image.decode(at).expect("an instruction");
        places.push((at, instruction));
        at = instruction.next;
    }
    let composites = || places.iter().filter(|(_, it)| it.n_parts() > 1);
    assert!(composites().count() > 2, "{places:?}");
    let mut tried = 0;
    for (_, branch) in places.iter().filter(|(_, it)| it.last().op.is_branch()) {
        for (start, composite) in composites() {
            for target in start + 1..composite.next {
                let distance = target as i64 - branch.next as i64;
                let zigzag = scruple_bytecode::leb128::zigzag(distance as i32);
                let Ok(digit @ ..0x80) = u8::try_from(zigzag) else { continue };
                let mut damaged = bytes.clone();
                // A distance of one digit is the last byte of its instruction.
                damaged[begin + branch.next - 1] = digit;
                let sum = checksum(&damaged[header::AT_CHECKSUM + 4..]);
                damaged[header::AT_CHECKSUM..header::AT_CHECKSUM + 4]
                    .copy_from_slice(&sum.to_le_bytes());
                let mut scratch = vec![0u16; damaged.len()];
                let error = verify_with(&damaged, &sets, scratch.as_mut_slice());
                let text = error.expect_err("a label within an instruction").to_string();
                // A forward one is noticed by whatever lies behind it.
                assert!(text.starts_with("code offset"), "{text}");
                tried += 1;
            }
        }
    }
    assert!(tried > 10, "{tried}");
}

#[test]
fn without_a_second_table_context_is_composite_to_the_byte() {
    let text = "set t\njoin load_slot *, load_slot *\njoin add, store_slot *\nshort push_int 1\n";
    let buffer = SetBuffer::parse(text).expect("a set");
    for source in samples() {
        let code = |encoding| {
            let bytes = compiled(&source, encoding, &buffer);
            let set = buffer.set();
            let mut scratch = vec![0u16; bytes.len()];
            verify_with(&bytes, &[&set], scratch.as_mut_slice()).expect("an image").code().to_vec()
        };
        assert_eq!(code(Encoding::Context), code(Encoding::Composite));
    }
}

/// An image in `context` whose function `f` has entries of both tables, and its set.
fn of_two_tables() -> (SetBuffer, Vec<u8>) {
    let source = "
        function f(a, b) {
            let sum = 0;
            for (let i = 0; i < a; i++) { sum = sum + i * a + b; }
            try { sum = sum + f(sum, a); } catch (e) { sum = sum + b; }
            return sum;
        }
        console.log(typeof f);";
    let text = "set t\njoin load_slot *, load_slot *\nthen join load_slot *, multiply\n\
        then join multiply, add\nthen join add, store_slot *\n\
        then short load_slot 1\nthen join load_slot *, add\nthen join store_slot *, load_slot *\n";
    let buffer = SetBuffer::parse(text).expect("a set");
    let bytes = compiled(source, Encoding::Context, &buffer);
    (buffer, bytes)
}

fn summed(mut bytes: Vec<u8>) -> Vec<u8> {
    let sum = checksum(&bytes[header::AT_CHECKSUM + 4..]);
    bytes[header::AT_CHECKSUM..header::AT_CHECKSUM + 4].copy_from_slice(&sum.to_le_bytes());
    bytes
}

// What control comes to from elsewhere is read by the first table: were it another
// instruction than the verifier saw, nothing of what it found would hold.
#[test]
fn a_label_where_the_second_table_counts_is_refused() {
    let (buffer, bytes) = of_two_tables();
    let set = buffer.set();
    let sets = [&set];
    let image = Image::open_with(&bytes, &sets).expect("an image");
    let sizes = image.sizes();
    let begin = sizes.header + sizes.constants + sizes.functions;
    let id = scruple_bytecode::operand::FunctionId::from_operand(0);
    let (start, end) = (image.function(id).expect("f").code, image.code_end(id).expect("an end"));
    let code: Vec<_> =
        image.walk(start as usize).take_while(|&(at, _)| at < end as usize).collect();
    let midway: Vec<usize> = code
        .windows(2)
        .filter(|pair| image.table_behind(&pair[0].1) == Table::Then)
        .map(|pair| pair[1].0)
        .collect();
    let n_second = code.iter().filter(|(_, it)| it.table() == Some(Table::Then)).count();
    assert!(midway.len() > 3 && n_second > 3, "{code:?}");
    let refused = |bytes: Vec<u8>| {
        let bytes = summed(bytes);
        let mut scratch = vec![0u16; bytes.len()];
        let error = verify_with(&bytes, &sets, scratch.as_mut_slice());
        error.expect_err("a label midway").to_string()
    };
    let (mut back, mut ahead) = (0, 0);
    for (_, branch) in code.iter().filter(|(_, it)| it.last().op.is_branch()) {
        for &target in &midway {
            let distance = target as i64 - branch.next as i64;
            let zigzag = scruple_bytecode::leb128::zigzag(distance as i32);
            let Ok(digit @ ..0x80) = u8::try_from(zigzag) else { continue };
            let mut damaged = bytes.clone();
            damaged[begin + branch.next - 1] = digit;
            let text = refused(damaged);
            // A depth that does not fit may be found before the table.
            let says = if distance < 0 {
                back += 1;
                "the label is where the second table of the set counts"
            } else {
                ahead += 1;
                "control can come from elsewhere where the second table of the set counts"
            };
            assert!(text.contains(says) || text.ends_with("the stack's depth is wrong"), "{text}");
        }
    }
    assert!(back > 2 && ahead > 2, "{back} back, {ahead} ahead");
    // The guard: its start, its end, its handler. Start, length and handler lie in the
    // lists in LEB128, here a byte each.
    let guard = image.function(id).and_then(|f| f.details()?.guards().next()).expect("a guard");
    let record =
        |start: u32, end: u32, target: u32| [start as u8, (end - start) as u8, target as u8];
    let wanted = record(guard.start, guard.end, guard.target);
    let mut places = bytes[..begin].windows(3).enumerate().filter(|(_, three)| *three == wanted);
    let (at, _) = places.next().expect("the guard in the lists");
    assert!(places.next().is_none() && wanted.iter().all(|&byte| byte < 0x80));
    let says = "control can come from elsewhere where the second table of the set counts";
    let (mut borders, mut handlers) = (0, 0);
    for place in midway.iter().map(|&place| place as u32 - start).filter(|&place| place < 0x80) {
        let try_record = |wrong: [u8; 3]| {
            let mut damaged = bytes.clone();
            damaged[at..at + 3].copy_from_slice(&wrong);
            refused(damaged)
        };
        if place < guard.end {
            let text = try_record(record(place, guard.end, guard.target));
            assert!(text.contains(says), "{text}");
            borders += 1;
        }
        if place > guard.start {
            let text = try_record(record(guard.start, place, guard.target));
            assert!(text.contains(says), "{text}");
            borders += 1;
        }
        // A handler that is gone from its place, and a depth that does not fit, may be
        // found before.
        let text = try_record(record(guard.start, guard.end, place));
        assert!(text.starts_with("code offset"), "{text}");
        handlers += usize::from(text.contains(says));
    }
    assert!(borders > 2 && handlers > 0, "{borders} borders, {handlers} handlers");
}
