//! What the reports of the samples look like today: a change of a figure or of a
//! form shows up here. `INSTA_UPDATE=always cargo test -p scruple-bench --test
//! snapshots` takes the new ones over.

mod common;

use common::scruple;

/// The columns that depend on the allocator of this machine, by their headings.
const LEFT_OUT: &[&str] = &["comp asked", "reserved"];

fn without_columns(table: &str) -> String {
    let mut left_out: Vec<usize> = Vec::new();
    let mut text = String::new();
    for line in table.lines() {
        let cells: Vec<&str> = line.split('|').collect();
        if cells.len() == 1 {
            left_out.clear();
        } else if left_out.is_empty() {
            let is_out = |cell: &&str| LEFT_OUT.contains(&cell.trim());
            left_out = (0..cells.len()).filter(|&i| is_out(&cells[i])).collect();
        }
        let kept = (0..cells.len()).filter(|i| !left_out.contains(i)).map(|i| cells[i]);
        text.push_str(&kept.collect::<Vec<_>>().join("|"));
        text.push('\n');
    }
    text
}

#[test]
fn what_the_samples_weigh() {
    let outcome = scruple(&["weigh", "samples", "--encoding", "implied", "--format", "markdown"]);
    assert_eq!(outcome.code, 0, "{}{}", outcome.out, outcome.err);
    insta::assert_snapshot!(without_columns(&outcome.out));
}

#[test]
fn the_listing_of_a_kernel() {
    let outcome = scruple(&["listing", "samples/kernels/fib.js"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    insta::assert_snapshot!(outcome.out);
}

#[test]
fn the_listing_of_a_function_with_branches_and_fields() {
    let args = ["listing", "samples/marrow-brook/gate_control.js", "--encoding", "byte"];
    let outcome = scruple(&args);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    insta::assert_snapshot!(outcome.out);
}

#[test]
fn the_trace_of_a_kernel() {
    let args = ["trace", "samples/kernels/fib.js", "--from", "100", "--count", "60"];
    let outcome = scruple(&args);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    insta::assert_snapshot!(outcome.out);
}
