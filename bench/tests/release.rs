//! The release build of the command line against the debug build of it.
//!
//! The shipped set's composites have arms of their own in release builds alone, so what the
//! other tests see is another way through the machine. Both are held against `word`, which
//! has no composites, and against the debug build. `.ci/run` gives the release build by its
//! path:
//!
//!     SCRUPLE_RELEASE=target/release/scruple cargo test -p scruple-bench --test release -- --ignored
//!
//! Our own invariants (design: "for one script all encodings give the same output, the
//! same operation count"); no source outside.

mod common;

use std::process::{Command, Stdio};

use common::{Outcome, root, scruple};

/// Runs the release build in the workspace's folder.
fn released(args: &[&str]) -> Outcome {
    let path = std::env::var_os("SCRUPLE_RELEASE").expect("SCRUPLE_RELEASE: a release build");
    let mut command = Command::new(root().join(path));
    command.current_dir(root()).args(args).env_remove("NO_COLOR").stdin(Stdio::null());
    let output = command.output().expect("the release build starts");
    Outcome {
        code: output.status.code().expect("it ends by itself"),
        out: String::from_utf8(output.stdout).expect("it writes UTF-8"),
        err: String::from_utf8(output.stderr).expect("it writes UTF-8"),
    }
}

#[test]
#[ignore = "wants a release build: .ci/run has one"]
fn both_builds_count_the_same() {
    let args = ["weigh", "samples/marrow-brook", "samples/kernels/queens.js", "--format", "csv"];
    let (release, debug) = (released(&args), scruple(&args));
    assert_eq!((release.code, debug.code), (0, 0), "{}{}", release.err, debug.err);
    assert!(release.out.lines().count() > 60, "{}", release.out);
    assert_eq!(release.out, debug.out);
}

// A budget is of operations: wherever it ends a run, within a composite as well, what was
// printed until then is the same.
#[test]
#[ignore = "wants a release build: .ci/run has one"]
fn a_budget_ends_a_run_at_the_same_operation_within_a_composite() {
    let source = "
        let n = 0;
        function step(i) { n = n + i; console.log(n); return n < 1000; }
        for (let i = 0; step(i); i++) { n = n - 1; }";
    let folder = common::folder("release-budget", &[("script.js", source.as_bytes())]);
    let script = folder.join("script.js");
    let script = script.to_str().expect("a path in UTF-8");
    let mut n_stopped = 0;
    for budget in (1..300).step_by(2) {
        let budget = budget.to_string();
        let run = |encoding| {
            let it = released(&["run", script, "--budget", &budget, "--encoding", encoding]);
            (it.code, it.out)
        };
        let word = run("word");
        n_stopped += usize::from(word.0 != 0);
        for encoding in ["composite", "echo", "context"] {
            assert_eq!(run(encoding), word, "{encoding}, {budget} operations");
        }
    }
    assert!(n_stopped > 100, "only {n_stopped} runs were ended by their budget");
}
