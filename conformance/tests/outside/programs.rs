//! Small programs from the npm registry, run as they are behind `require`, against the
//! answers of `scruple_conformance::programs`; and laid out as a corpus.

use std::fs;
use std::path::Path;

use scruple_conformance::corpus::{Way, lay_out};
use scruple_conformance::packages;
use scruple_conformance::programs::{self, difference};
use scruple_conformance::{End, LayoutName, Setup, run};

#[test]
fn programs_from_the_registry_run_unmodified_and_give_the_right_answers() {
    let Some(packages) = super::packages() else { return };
    let list = programs::list().expect("the list of programs");
    let known = packages::read_list(packages::LIST).expect("the list");
    assert!(list.len() >= 20, "{} programs", list.len());
    let mut wrong = Vec::new();
    println!("{:<28}{:>14}{:>12}{:>12}", "program", "instructions", "narrow", "wide");
    for program in &list {
        let package = &program.package;
        assert!(known.iter().any(|known| known.name == *package), "{package} is not pinned");
        let mut figures = Vec::new();
        for layout in [LayoutName::Narrow, LayoutName::Wide] {
            let outcome = program.run(packages, layout).expect("a program to run");
            if outcome.end != End::Finished {
                wrong.push(format!("{package}, {layout:?}: {:?}", outcome.end));
                continue;
            }
            let theirs = program.answer(&outcome.printed).expect("an answer");
            // Next to nothing printed would be a driver that tests nothing.
            if outcome.printed != theirs || outcome.printed.len() < 100 {
                let place = difference(&outcome.printed, &theirs);
                wrong.push(format!("{package}, {layout:?}: {place}"));
            }
            figures.push((outcome.instructions, outcome.ledger.high_water().total()));
        }
        if let [(instructions, narrow), (_, wide)] = figures[..] {
            println!("{package:<28}{instructions:>14}{narrow:>12}{wide:>12}");
        }
    }
    assert!(wrong.is_empty(), "{} wrong:\n{}", wrong.len(), wrong.join("\n"));
}

#[test]
fn a_corpus_has_every_program_as_one_script_with_every_file_as_it_is() {
    let Some(packages) = super::packages() else { return };
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("corpus-sources");
    let _ = fs::remove_dir_all(&folder);
    let entries = lay_out(packages, &folder, Way::Sources).expect("a corpus");
    for program in programs::list().expect("the list of programs") {
        let entry =
            entries.iter().find(|entry| entry.package == program.package).expect("an entry");
        let name = entry.script.as_ref().expect("a script");
        let text = fs::read_to_string(folder.join(name)).expect("the script");
        for file in program.own_files(packages).expect("its files") {
            assert!(text.contains(&file.text), "{name}: {}", file.path);
        }
        assert_eq!(run(&[&text], &Setup::default()).end, End::Finished, "{name}");
    }
    for entry in entries.iter().filter(|entry| !entry.is_program) {
        assert!(entry.script.is_err(), "{}", entry.package);
    }
    let refused = lay_out(packages, &folder, Way::Sources).expect_err("a folder that is not empty");
    assert!(refused.to_string().contains("not empty"), "{refused}");
}

#[test]
fn a_driven_corpus_carries_the_answers_that_cpython_confirmed() {
    let Some(packages) = super::packages() else { return };
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("corpus-driven");
    let _ = fs::remove_dir_all(&folder);
    let entries = lay_out(packages, &folder, Way::Driven).expect("a corpus");
    let mut n_scripts = 0;
    for name in entries.iter().filter_map(|entry| entry.script.as_ref().ok()) {
        let text = fs::read_to_string(folder.join(name)).expect("the script");
        assert!(text.contains("// scruple: --budget "), "{name}: its header asks for enough");
        let out = folder.join(name).with_extension("out");
        assert!(fs::read_to_string(out).expect("its answer").len() >= 100, "{name}");
        n_scripts += 1;
    }
    assert_eq!(n_scripts, programs::list().expect("the list of programs").len());
}
