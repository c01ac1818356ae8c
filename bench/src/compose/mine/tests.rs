//! Tests of mining: against trying all there is, by hand, and against the whole corpus
//! weighed anew.

use scruple_bytecode::Encoding;
use scruple_bytecode::image::Image;
use scruple_bytecode::sets::MAX_PARTS;

use super::*;
use crate::build;
use crate::compose::model::Model;
use crate::streams::{Stream, leads_elsewhere};

/// Each count is the operation's number in the script: no two runs weigh the same.
fn corpus(sources: &[&str]) -> Corpus {
    let mut corpus = Corpus::new(Model::default());
    for (number, source) in sources.iter().enumerate() {
        let built = build::compile(source, Encoding::Leb, true).unwrap();
        let stream = Stream::of(&Image::open(&built.image).unwrap()).unwrap();
        let counts: Vec<Vec<u64>> =
            stream.functions.iter().map(|f| (1..=f.len() as u64).collect()).collect();
        corpus.add(&number.to_string(), &stream, &counts).unwrap();
    }
    corpus
}

/// No branch of these leads farther than one digit of its distance.
const SHORT: [&str; 3] = [
    "let a = [1, 2, 3]; for (let i = 0; i < 3; i++) a[i] = a[i] + a[i] * a[i]; a.pop();",
    "function f(x, y) { return x * x + y * y + x * x; } f(1, 2); f(2, 3); f(3, 4);",
    "let b = [4, 5]; b[0] = b[1] + b[0] * b[1]; b[1] = b[0] + b[1] * b[0]; b.pop(); b.pop();",
];

fn task(bytes_percent: u32) -> Task {
    let second = Second::Not;
    let (left_out, table_percent) = (None, 100);
    Task { bytes_percent, most_entries: 20, least_programs: 1, table_percent, left_out, second }
}

/// A corpus whose shared table costs nothing to speak of: more is chosen.
fn cheap(sources: &[&str]) -> Corpus {
    let model = Model { table_bytes_an_entry: 1, table_bytes_a_part: 0, ..Model::default() };
    Corpus { model, ..corpus(sources) }
}

#[test]
fn what_the_miner_books_is_what_the_whole_corpus_saves() {
    let corpus = cheap(&SHORT);
    let least = Least { places: 2, programs: 1 };
    let candidates = candidates::find(&corpus, None, least);
    for bytes_percent in [100, 50, 0] {
        let mut miner = Miner::new(&corpus, task(bytes_percent), &candidates);
        miner.fill_first();
        assert!(miner.chosen.first.len() > 3);
        let entries: Vec<_> =
            miner.chosen.first.iter().map(|&index| candidates[index].parts.clone()).collect();
        let before = corpus.weigh_all(&Prepared::new(&corpus, &[]), None);
        let after = corpus.weigh_all(&Prepared::new(&corpus, &entries), None);
        let gained: u64 = miner.run_worth.iter().sum();
        if bytes_percent == 100 {
            assert_eq!(gained, (before.bytes - after.bytes) * UNIT);
        }
        if bytes_percent == 0 {
            assert!(after.dispatched < before.dispatched && gained > 0);
        }
        // Giving all up again leaves nothing booked.
        miner.set_to(Chosen::default());
        assert_eq!(miner.worth(), 0);
        assert!(miner.standing.iter().all(Vec::is_empty));
    }
}

// By trying them all, from the definition: no pattern there is saves more at once.
#[test]
fn the_first_choice_is_the_best_of_all_patterns_there_are() {
    let corpus = corpus(&SHORT);
    let mined = mine(&corpus, Task { most_entries: 1, ..task(100) }, None);
    let net = |parts: &[Part]| {
        let set = Prepared::new(&corpus, &[parts.to_vec()]);
        let before = corpus.weigh_all(&Prepared::new(&corpus, &[]), None).bytes as i64;
        let after = corpus.weigh_all(&set, None).bytes as i64;
        before - after - corpus.model.table_bytes(parts.len()) as i64
    };
    let (mut best, mut n_tried) = (0, 0);
    for at in 0..corpus.atoms.len() {
        for length in 1..=(corpus.reach[at] as usize).min(MAX_PARTS) {
            let atoms = &corpus.atoms[at..at + length];
            let with_operand: Vec<usize> = (0..length)
                .filter(|&i| {
                    atoms[i].op.info().operand != scruple_bytecode::operand::OperandKind::None
                        && !leads_elsewhere(atoms[i].op)
                })
                .collect();
            for mask in 0..1u32 << with_operand.len() {
                let mut parts: Vec<Part> = atoms
                    .iter()
                    .map(|atom| match leads_elsewhere(atom.op) {
                        true => Part::free(atom.op),
                        false => Part::fixed(atom.op, atom.operand),
                    })
                    .collect();
                for (bit, &i) in with_operand.iter().enumerate() {
                    if mask >> bit & 1 != 0 {
                        parts[i] = Part::free(atoms[i].op);
                    }
                }
                best = best.max(net(&parts));
                n_tried += 1;
            }
        }
    }
    assert!(n_tried > 500 && best > 0, "{n_tried} {best}");
    assert_eq!(net(&mined.entries[0]), best, "{:?}", mined.entries);
}

// By hand: a pair that occurs n times saves n bytes and takes 4 + 2 * 4 of the table.
#[test]
fn an_entry_must_pay_for_its_table() {
    let calls = |n: usize| format!("let a = 1;\n{}", "a = -a;\n".repeat(n));
    let chosen = |n| {
        let text = calls(n);
        mine(&corpus(&[&text]), task(100), None).entries
    };
    assert!(chosen(2).is_empty(), "{:?}", chosen(2));
    assert!(!chosen(40).is_empty());
}

#[test]
fn what_stands_in_one_script_only_is_not_learnt_for_others() {
    let own = "let a = 1;\n".to_owned() + &"a = a * 1234567 - 1234567;\n".repeat(40);
    let corpus = corpus(&[&own, SHORT[1]]);
    let from = |least_programs| mine(&corpus, Task { least_programs, ..task(100) }, None).entries;
    let has_own = |entries: &[Vec<Part>]| {
        let number = |part: &Part| part.operand.is_some_and(|operand| operand == 1_234_567);
        entries.iter().flatten().any(number)
    };
    assert!(has_own(&from(1)) && !has_own(&from(2)));
    let without = Task { left_out: Some(0), least_programs: 1, ..task(100) };
    let held_out = mine(&corpus, without, None);
    assert!(!has_own(&held_out.entries));
}

#[test]
fn what_entries_save_in_turn_adds_up() {
    let corpus = cheap(&SHORT);
    let mined = mine(&corpus, task(50), None);
    let weigh = |entries: &[Vec<Part>]| corpus.weigh_all(&Prepared::new(&corpus, entries), None);
    let (before, after) = (weigh(&[]), weigh(&mined.entries));
    let saved = saved_in_turn(&corpus, &mined.entries, &[]);
    let bytes: i64 = saved.iter().map(|(bytes, _)| bytes).sum();
    let dispatched: i64 = saved.iter().map(|(_, dispatched)| dispatched).sum();
    assert_eq!(bytes, before.bytes as i64 - after.bytes as i64);
    assert_eq!(dispatched, before.dispatched as i64 - after.dispatched as i64);
}
// Few bytes, so that the second table has to take some of the first's.
fn narrow_and_cheap() -> Corpus {
    let model =
        Model { entries: 6, table_bytes_an_entry: 1, table_bytes_a_part: 0, ..Model::default() };
    Corpus { model, ..corpus(&SHORT) }
}

#[test]
fn what_the_miner_books_with_two_tables_is_what_the_whole_corpus_saves() {
    let corpus = narrow_and_cheap();
    for second in [Second::Over, Second::Together] {
        for bytes_percent in [100, 50] {
            let task = Task { second, most_entries: 6, ..task(bytes_percent) };
            let least = Least { places: 2, programs: 1 };
            let candidates = candidates::find(&corpus, None, least);
            let mut miner = Miner::new(&corpus, task, &candidates);
            miner.choose_first();
            let first_alone = miner.worth();
            let kept = miner.chosen.first.clone();
            miner.choose_second();
            assert!(miner.chosen.then.len() > 1 && miner.worth() > first_alone);
            assert_eq!(miner.chosen.n_second, miner.chosen.then.len());
            if second == Second::Over {
                assert_eq!(miner.chosen.first, kept);
            }
            let parts = |chosen: &[usize]| -> Vec<Vec<Part>> {
                chosen.iter().map(|&index| candidates[index].parts.clone()).collect()
            };
            let (first, then) = (parts(&miner.chosen.first), parts(&miner.chosen.then));
            let before = corpus.weigh_all(&Prepared::new(&corpus, &[]), None);
            let set = Prepared::of_tables(&corpus, &first, &then);
            let after = corpus.weigh_all(&set, None);
            let gained: u64 = miner.run_worth.iter().sum();
            if bytes_percent == 100 {
                assert_eq!(gained, (before.bytes - after.bytes) * UNIT);
            }
            let bytes: i64 =
                saved_in_turn(&corpus, &first, &then).iter().map(|(bytes, _)| bytes).sum();
            assert_eq!(bytes, before.bytes as i64 - after.bytes as i64);
            miner.set_to(Chosen::default());
            assert_eq!(miner.worth(), 0);
            assert!(miner.standing.iter().all(Vec::is_empty));
        }
    }
}

// By trying them all: none saves more as the first entry of a second table over this
// first one, which it takes the last byte of.
#[test]
fn the_second_tables_first_choice_is_the_best_of_all_candidates() {
    let corpus = narrow_and_cheap();
    let first = mine(&corpus, Task { most_entries: 6, ..task(100) }, None).entries;
    assert_eq!(first.len(), 6);
    let task = Task { second: Second::Over, most_entries: 6, ..task(100) };
    let mined = mine(&corpus, task, Some(&first));
    assert_eq!(mined.entries, first);
    let bytes = |then: &[Vec<Part>]| {
        corpus.weigh_all(&Prepared::of_tables(&corpus, &first, then), None).bytes
    };
    let candidates = candidates::find(&corpus, None, Least { places: 2, programs: 1 });
    let best = candidates.iter().map(|one| bytes(std::slice::from_ref(&one.parts))).min().unwrap();
    assert_eq!(bytes(&mined.then[..1]), best);
    assert!(bytes(&mined.then) < bytes(&[]));
}
