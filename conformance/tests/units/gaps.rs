//! What globals a machine lacks and an image asks for.

use scruple_conformance::suite::gaps::{missing_globals, named_globals};

#[test]
fn an_image_tells_the_globals_it_does_not_declare() {
    let source = "var a; let b; function f() { return new Proxy(a, b, typeof Date); } f(NaN);";
    let image = scruple_compiler::compile(source, &Default::default()).unwrap().image;
    let mut names = named_globals(&image);
    names.sort_unstable();
    names.retain(|name| name != "NaN");
    assert_eq!(names, ["Date", "Proxy"]);
}

#[test]
fn what_the_machine_has_is_not_missing() {
    let missing = missing_globals::<scruple_vm::Narrow>(4096);
    assert!(!missing.contains(&"Array") && !missing.contains(&"parseInt"));
    assert!(missing.contains(&"eval"), "the machine never sees source text");
}
