//! What commands write, and what must not hang on it: a reader that has gone changes no
//! verdict, nothing is written over what was read, and a write that fails leaves what was
//! there.

mod common;

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use common::{Outcome, folder, scruple_in};

const SCRIPT: &str = "console.log(sensor('a'));\n";

/// A folder with a file of each kind that a command reads.
fn inputs(test: &str) -> std::path::PathBuf {
    let limits = "[[script]]\nname = \"a.js\"\n[script.limits]\nimage_bytes = 9000\n";
    let set = "set own\nshort load_slot 0\n";
    let files: &[(&str, &[u8])] = &[
        ("a.js", SCRIPT.as_bytes()),
        ("a.out", b"7\n"),
        ("feed.csv", b"time_ms,a\n0,7\n"),
        ("limits.toml", limits.as_bytes()),
        ("own.set", set.as_bytes()),
        ("b.js", b"console.log(1);\n"),
    ];
    folder(test, files)
}

/// Runs the command line with a standard output that nobody reads.
fn unread(folder: &Path, args: &[&str]) -> (i32, String) {
    let (reader, writer) = std::io::pipe().expect("a pipe");
    drop(reader);
    let mut command = Command::new(env!("CARGO_BIN_EXE_scruple"));
    command.current_dir(folder).args(args).stdin(Stdio::null()).stdout(writer);
    let output = command.output().expect("the command line starts");
    let said = String::from_utf8(output.stderr).expect("it writes UTF-8");
    (output.status.code().expect("it ends by itself"), said)
}

#[test]
fn a_reader_that_has_gone_changes_neither_the_verdict_nor_what_is_saved() {
    let folder = inputs("outputs-unread");
    let feed = ["--feed", "feed.csv", "--encoding", "implied"];
    let weigh = |more: &[&str]| unread(&folder, &[&["weigh", "a.js"], &feed[..], more].concat());
    let (code, said) = weigh(&["--save", "base.json", "--limits", "limits.toml", "--tighten"]);
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("saved: base.json") && said.contains("1 tightened"), "{said}");
    assert!(fs::read_to_string(folder.join("base.json")).unwrap().contains("\"schema\""));
    let limits = fs::read_to_string(folder.join("limits.toml")).unwrap();
    assert!(!limits.contains("9000"), "{limits}");
    fs::write(folder.join("limits.toml"), limits.replace("image_bytes = ", "image_bytes = 1 # "))
        .unwrap();
    assert_eq!(weigh(&["--limits", "limits.toml"]).0, 3);
    fs::write(folder.join("a.out"), "8\n").unwrap();
    let (code, said) = weigh(&["--format", "json", "--save", "base.json"]);
    assert_eq!(code, 1, "{said}");
    assert!(said.contains("base.json: not saved"), "{said}");
    // What a script prints is another matter: the run would be for nothing.
    let (code, said) = unread(&folder, &["run", "b.js"]);
    assert_eq!((code, said.as_str()), (0, ""));
    assert_eq!(unread(&folder, &["help", "weigh"]).0, 0);
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_an_error_of_help_and_of_a_report() {
    let folder = inputs("outputs-full");
    for args in [&["--version"][..], &["help", "run"], &["listing", "b.js"]] {
        let full = fs::File::options().write(true).open("/dev/full").expect("a full device");
        let mut command = Command::new(env!("CARGO_BIN_EXE_scruple"));
        let output = command.current_dir(&folder).args(args).stdout(full).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{args:?}");
        let said = String::from_utf8(output.stderr).unwrap();
        assert!(said.starts_with("scruple: standard output: "), "{args:?}: {said}");
    }
}

#[test]
fn no_command_writes_over_what_it_was_just_given() {
    let folder = inputs("outputs-over");
    fs::create_dir(folder.join("corpus")).unwrap();
    fs::write(folder.join("corpus/c.js"), "console.log(2);\n").unwrap();
    let weigh = ["weigh", "a.js", "--feed", "feed.csv", "--limits", "limits.toml"];
    let weigh = [&weigh[..], &["--set", "own.set", "--save"]].concat();
    let sweep = ["sweep", "a.js", "--feed", "feed.csv", "--set", "own.set", "--save"];
    let compose = ["compose", "corpus", "--on", "b.js", "--for", "context", "--first", "own.set"];
    let compose = [&compose[..], &["-o"]].concat();
    let pack = ["pack", "a.js", "--set", "own.set", "-o"];
    for (command, files) in [
        (&weigh[..], &["a.js", "./a.out", "feed.csv", "limits.toml", "own.set"][..]),
        (&sweep[..], &["a.js", "a.out", "feed.csv", "own.set"]),
        (&compose[..], &["corpus/c.js", "corpus/../b.js", "own.set"]),
        (&pack[..], &["./a.js", "own.set", "a.out"]),
    ] {
        for file in files {
            let before = fs::read(folder.join(file)).expect(file);
            let outcome = scruple_in(&folder, &[command, &[file]].concat());
            assert_eq!((outcome.code, outcome.out.as_str()), (1, ""), "{command:?} {file}");
            let said = format!("scruple: {file}: it would take the place of ");
            assert!(outcome.err.starts_with(&said), "{command:?}: {}", outcome.err);
            assert_eq!(fs::read(folder.join(file)).unwrap(), before, "{command:?} {file}");
        }
    }
    for command in [&["weigh", "b.js", "--save"][..], &["compose", "b.js", "-o"]] {
        assert_eq!(scruple_in(&folder, &[command, &["-"]].concat()).code, 2, "{command:?}");
    }
    assert!(!folder.join("-").exists());
}

/// Runs the command line where no file may have a byte: a disk that is full.
#[cfg(unix)]
fn without_room(folder: &Path, args: &[&str]) -> Outcome {
    let mut command = Command::new("sh");
    // The signal that comes with that would end the process without a word.
    command.args(["-c", "trap '' XFSZ; ulimit -f 0; exec \"$0\" \"$@\""]);
    command.arg(env!("CARGO_BIN_EXE_scruple")).args(args).current_dir(folder);
    let output = command.stdin(Stdio::null()).output().expect("a shell");
    Outcome {
        code: output.status.code().expect("it ends by itself"),
        out: String::from_utf8(output.stdout).expect("it writes UTF-8"),
        err: String::from_utf8(output.stderr).expect("it writes UTF-8"),
    }
}

#[cfg(unix)]
#[test]
fn a_write_that_fails_leaves_the_old_file_and_no_half_of_a_new_one() {
    let folder = folder("outputs-failed", &[("b.js", b"console.log(1);\n")]);
    let commands = [
        &["pack", "b.js", "-o"][..],
        &["compose", "b.js", "-o"],
        &["weigh", "b.js", "--encoding", "leb", "--save"],
    ];
    for command in commands {
        let old = folder.join("old");
        fs::write(&old, "what was there").unwrap();
        for file in ["old", "new"] {
            let outcome = without_room(&folder, &[command, &[file]].concat());
            assert_eq!(outcome.code, 1, "{command:?}: {}", outcome.out);
            let said = format!("scruple: {file}: ");
            assert!(outcome.err.starts_with(&said), "{command:?}: {}", outcome.err);
        }
        assert_eq!(fs::read_to_string(&old).unwrap(), "what was there", "{command:?}");
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 2, "{command:?} left something");
        assert_eq!(scruple_in(&folder, &[command, &["old"]].concat()).code, 0);
        assert_ne!(fs::read(&old).unwrap(), b"what was there", "{command:?}");
    }
}

#[test]
fn a_set_is_written_only_if_every_script_was_mined_from() {
    let files: &[(&str, &[u8])] = &[
        ("right.js", b"console.log(1);\n"),
        ("more.js", b"console.log(2);\n"),
        ("wrong.js", b"null.x;\n"),
        ("old.set", b"what was there"),
    ];
    let folder = folder("outputs-compose", files);
    for (args, code) in [
        (&["compose", ".", "-o"][..], 1),
        (&["compose", "right.js", "--on", "wrong.js,more.js", "-o"], 1),
        (&["compose", "right.js", "-o"], 0),
    ] {
        let outcome = scruple_in(&folder, &[args, &["old.set"]].concat());
        assert_eq!(outcome.code, code, "{args:?}: {}", outcome.err);
        let is_old = fs::read(folder.join("old.set")).unwrap() == b"what was there";
        assert_eq!(is_old, code == 1, "{args:?}");
        let says = outcome.err.contains("old.set: not written: a script was left out");
        assert_eq!(says, code == 1, "{args:?}: {}", outcome.err);
    }
}
