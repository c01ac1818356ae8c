//! Targets in bytes, and how a run ends at a limit.
//!
//! The targets are the project's own (design: "Targets"); hello at 512 bytes of
//! heap stands in no other source.

use scruple_bytecode::Encoding;
use scruple_conformance::{End, LayoutName, Setup, run};
use scruple_vm::HeapOptions;

#[test]
fn hello_takes_at_most_512_bytes_of_heap_under_every_encoding() {
    for &encoding in Encoding::ALL {
        let outcome = run(&["console.log(\"hello\");"], &Setup { encoding, ..Setup::default() });
        assert_eq!((outcome.printed.as_str(), &outcome.end), ("hello\n", &End::Finished));
        let total = outcome.ledger.high_water().total();
        assert!(total > 0 && total <= 512, "{}: {total} bytes", encoding.name());
    }
}

#[test]
fn both_layouts_carry_out_the_same_instructions() {
    let source = "
        function Node(left, right) { this.left = left; this.right = right; }
        function grow(n) { return n === 0 ? null : new Node(grow(n - 1), grow(n - 1)); }
        function count(node) { return node === null ? 0 : 1 + count(node.left) + count(node.right); }
        console.log(count(grow(9)), 0.1 + 0.2);
    ";
    let narrow = run(&[source], &Setup::default());
    let wide = run(&[source], &Setup { layout: LayoutName::Wide, ..Setup::default() });
    assert_eq!(narrow.printed, "511 0.30000000000000004\n");
    assert_eq!(narrow.printed, wide.printed);
    assert_eq!(narrow.instructions, wide.instructions);
    assert_eq!(narrow.fetched_bytes, wide.fetched_bytes);
}

fn ends(source: &str, setup: &Setup, word: &str) {
    let outcome = run(&[source], setup);
    match &outcome.end {
        End::Stopped(text) => assert!(text.contains(word) && text.starts_with("1:"), "{text}"),
        other => panic!("{source}: {other:?}"),
    }
    assert!(outcome.ledger.audit(), "{source}: the ledger does not add up");
}

#[test]
fn every_limit_ends_in_a_positioned_error_that_no_script_catches() {
    let small = Setup { slots: 2048, budget: 100_000, ..Setup::default() };
    ends("try { for (;;) {} } catch (e) {} finally {}", &small, "budget");
    ends("function f() { try { f(); } catch (e) {} } f();", &small, "stack limit");
    ends("var a = []; for (;;) try { a.push({}); } catch (e) {}", &small, "heap limit");
    ends("var s = 'x'; for (;;) s += s;", &small, "heap limit");
    ends("[1].map(function f() { return [1].map(f); });", &Setup::default(), "nested too deep");
}

/// Project: a stop is no completion, so nothing is closed for it (ECMA-262,
/// IteratorClose, knows completions only).
#[test]
fn a_stop_runs_no_script_code_to_close_iterators() {
    let small = Setup { slots: 2048, budget: 100_000, ..Setup::default() };
    let iterable = "var it = {[Symbol.iterator]() { return {next() { return {done: false}; }, \
                    return() { console.log('closed'); return {}; }}; }};";
    for (body, word) in [
        ("for (;;) {}", "budget"),
        ("(function f() { f(); })();", "stack limit"),
        ("[1].map(function f() { for (var y of it) [1].map(f); });", "nested too deep"),
        ("var a = []; for (;;) try { a.push({}); } finally { console.log('finally'); }", "heap"),
    ] {
        let source = format!("{iterable} for (var x of it) {{ {body} }}");
        // Nesting has to be reached before the small region is full.
        let roomy = Setup::default();
        let outcome = run(&[&source], if word.starts_with("nested") { &roomy } else { &small });
        match &outcome.end {
            End::Stopped(text) => assert!(text.contains(word), "{body}: {text}"),
            other => panic!("{body}: {other:?}"),
        }
        assert!(!outcome.printed.contains("closed"), "{body}");
        assert!(outcome.ledger.audit(), "{body}: the ledger does not add up");
    }
    // The same loops close where an exception ends them.
    let source = format!("{iterable} try {{ for (var x of it) null.x; }} catch (e) {{}}");
    assert_eq!(run(&[&source], &small).printed, "closed\n");
}

#[test]
fn a_heap_limit_below_the_region_is_kept() {
    let heap = HeapOptions { limit: 1024, ..HeapOptions::default() };
    let outcome = run(&["var a = []; for (;;) a.push(1.5);"], &Setup { heap, ..Setup::default() });
    assert!(matches!(&outcome.end, End::Stopped(text) if text.contains("heap limit")));
    assert!(outcome.ledger.high_water().total() < 2048);
}

#[test]
fn a_collection_before_every_allocation_shows_no_more_than_the_high_water_mark() {
    let source =
        "var o = {}; for (var i = 0; i < 50; i++) o['k' + i] = [i, i / 2]; console.log(o.k49[1]);";
    let heap = HeapOptions { collect_every: 0, ..HeapOptions::default() };
    let exact = run(&[source], &Setup { heap, ..Setup::default() });
    let usual = run(&[source], &Setup::default());
    assert_eq!(exact.printed, "24.5\n");
    assert_eq!(exact.instructions, usual.instructions);
    let live = exact.ledger.live_peak().total();
    assert!(live > 0 && live <= usual.ledger.high_water().total());
}
