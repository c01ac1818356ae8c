//! However deep a JSON text nests, the run ends with a result or an error: a test
//! of its own, because what ends it depends on the memory given.

use scruple_conformance::{End, LayoutName, Setup, run};

const DEEP: &str = "try { JSON.parse('['.repeat(100000)); } catch (e) { console.log(e.name); }";

#[test]
fn a_deep_text_ends_at_the_heap_in_little_memory() {
    let outcome = run(&[DEEP], &Setup { slots: 100 * 1024, ..Setup::default() });
    assert!(matches!(&outcome.end, End::Stopped(why) if why.contains("limit")), "{outcome:?}");
    assert_eq!(outcome.printed, "");
}

#[test]
fn a_deep_text_is_read_to_its_end_where_memory_allows() {
    let setup = Setup { layout: LayoutName::Wide, slots: 512 * 1024, ..Setup::default() };
    let outcome = run(&[DEEP], &setup);
    assert_eq!((outcome.end, outcome.printed.as_str()), (End::Finished, "SyntaxError\n"));
}

#[test]
fn writing_and_reviving_deep_values_nests_no_calls() {
    let source = "var v = []; for (var i = 0; i < 2000; i++) v = i % 2 ? [v] : {a: v};
        var text = JSON.stringify(v), n = 0;
        JSON.parse(text, function (name, value) { n++; return value; });
        console.log(text.length, n);";
    let outcome = run(&[source], &Setup::default());
    // Half of the levels are `[…]`, half `{"a":…}`, around one `[]`.
    assert_eq!((outcome.end, outcome.printed.as_str()), (End::Finished, "8002 2001\n"));
}
