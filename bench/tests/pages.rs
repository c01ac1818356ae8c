//! `--format html`: pages that are HTML, hold every figure of their documents, load nothing,
//! and let no text of a script become markup.

mod common;

use std::collections::HashMap;

use common::page::{Element, Page};
use common::{folder, scruple, scruple_in};
use scruple_bench::report::{self, Format};
use serde_json::Value;
use sha2::{Digest, Sha256};

const SAMPLES: [&str; 2] =
    ["samples/marrow-brook/telemetry.js", "samples/marrow-brook/tide_marks.js"];

/// Runs a command twice, for its document and for its page.
fn both(args: &[&str], code: i32) -> (Value, String) {
    let [json, html] = ["json", "html"].map(|form| {
        let outcome = scruple(&[args, &["--format", form]].concat());
        assert_eq!(outcome.code, code, "{args:?}: {}", outcome.err);
        outcome.out
    });
    (serde_json::from_str(&json).expect("JSON"), html)
}

/// A document of `board`: made up, since an emulator is not at hand everywhere.
fn board_document() -> Value {
    let outcome = scruple(&["weigh", SAMPLES[0], "--encoding", "leb,implied", "--format", "json"]);
    let weighed: Value = serde_json::from_str(&outcome.out).expect("JSON");
    let mut rows = weighed["rows"].as_array().expect("rows").clone();
    for (number, row) in (1..).zip(&mut rows) {
        row["board"] = serde_json::json!({
            "load_instructions": 71000 + number, "run_instructions": 7200000 + number,
            "compile_instructions": 7300000 + number, "live_peak_compared": number == 1,
            "ram": { "data": 7401, "stack": 7402, "timers": 7403, "region": 7404, "image": 7405,
                     "compiling": [7406, 7407] },
        });
    }
    let encodings: Vec<Value> = ["leb", "implied"]
        .map(|name| {
            serde_json::json!({ "encoding": name, "scripts": 1, "instruction_bytes": 7501,
                "operations": 7502, "board_instructions": 7503 })
        })
        .into();
    serde_json::json!({
        "schema": 1, "lab": weighed["lab"], "caveat": "no promise about a board", "board": "brook",
        "flash": 7601, "ram": 7602, "rows": rows, "encodings": encodings,
        "parts": { "parts": [{ "name": "a part", "bytes": 7701 }, { "name": "others", "bytes": 1 }],
                   "total": 7702 },
    })
}

/// A document and a page of every command that has both.
fn documents(test: &str) -> Vec<(&'static str, Value, String)> {
    let mut all = Vec::new();
    let limits = format!(
        "[[script]]\nname = \"{}\"\n[script.limits]\nimage_bytes = 7\n\
         instructions = {{ most = 90000, reason = \"<b>a second queue</b>\" }}\n",
        SAMPLES[0]
    );
    let board = "flash = 4000\nram = 1900\nhost_flash = 17\nhost_ram = 19\nheadroom = 7\n";
    let folder =
        folder(test, &[("limits.toml", limits.as_bytes()), ("board.toml", board.as_bytes())]);
    let path = |name: &str| folder.join(name).display().to_string();
    let limits = path("limits.toml");
    let weigh = ["weigh", SAMPLES[0], SAMPLES[1], "--encoding", "leb,composite"];
    let limited = [&weigh[..], &["-v", "--limits", &limits]].concat();
    let (document, page) = both(&limited, 3);
    all.push(("weigh", document, page));
    let (document, page) = both(&["memory", SAMPLES[0]], 0);
    all.push(("memory", document, page));
    let (document, page) = both(&["memory", SAMPLES[0], "--live", "--layout", "wide"], 0);
    all.push(("memory --live", document, page));
    let operations = ["operations", SAMPLES[0], "samples/kernels/fib.js"];
    let (document, page) = both(&operations, 0);
    all.push(("operations", document, page));
    let board = path("board.toml");
    let (document, page) = both(&["fit", SAMPLES[0], SAMPLES[1], "--board", &board], 3);
    all.push(("fit", document, page));
    let compose = ["compose", SAMPLES[0], SAMPLES[1], "--on", "samples/kernels/fib.js"];
    let (document, page) = both(&compose, 0);
    all.push(("compose", document, page));
    // Times are another number in each run: one run, and the page of its document.
    let sweep = ["sweep", SAMPLES[0], SAMPLES[1], "--time", "2", "--format", "json"];
    let document = scruple(&sweep).out;
    let swept: scruple_bench::sweep::document::Sweep =
        serde_json::from_str(&document).expect("a sweep");
    let page = report::render_sweep(&swept, Format::Html).expect("a page");
    all.push(("sweep", serde_json::from_str(&document).expect("JSON"), page));
    let (before, after) = (path("before.json"), path("after.json"));
    let weighed = scruple(&[&weigh[..], &["--format", "json"]].concat()).out;
    let mut earlier: Value = serde_json::from_str(&weighed).expect("JSON");
    earlier["rows"][0]["figures"]["instructions"] = 3.into();
    earlier["rows"][1]["figures"]["allocations"] = 0.into();
    earlier["rows"][2]["script"] = "gone.js".into();
    std::fs::write(&before, earlier.to_string()).expect("a file for the test");
    std::fs::write(&after, weighed).expect("a file for the test");
    let (document, page) = both(&["compare", &before, &after, "--fail-on-worse"], 3);
    all.push(("compare", document, page));
    let document = board_document();
    let on_board = serde_json::from_value(document.clone()).expect("a document of board");
    let page = report::render_board(&on_board, Format::Html, false).expect("a page");
    all.push(("board", document, page));
    all
}

/// What a number of a document looks like on a page.
fn shown(key: &str, number: &serde_json::Number) -> String {
    let value = number.as_f64().unwrap_or_default();
    match key {
        "set_hash" => format!("{:08x}", number.as_u64().unwrap_or_default()),
        "percent_hundredths" => format!("{:+.2}", value / 100.0),
        "next_gain_hundredths" => format!("{:.2}", value / 100.0),
        "difference" => format!("{value:+}"),
        "allowed_thousandths" => (value / 1000.0).to_string(),
        _ if key.ends_with("_ns") => format!("{:.3}", value / 1e6),
        _ => number.to_string(),
    }
}

/// Every number of a document, as it is shown, with how often it is there.
fn numbers(key: &str, value: &Value, found: &mut HashMap<String, usize>) {
    match value {
        Value::Number(number) => *found.entry(shown(key, number)).or_default() += 1,
        Value::Array(items) => items.iter().for_each(|item| numbers(key, item, found)),
        Value::Object(fields) => fields.iter().for_each(|(key, item)| numbers(key, item, found)),
        _ => {}
    }
}

fn cells(page: &Page) -> Vec<Element> {
    page.all().into_iter().filter(|one| matches!(one.name().as_str(), "td" | "th")).collect()
}

/// As often as the document has it: so no column may be left out because another one happens
/// to hold the same number.
#[test]
fn every_number_of_a_document_is_a_cell_of_its_page() {
    for (name, document, html) in documents("pages-numbers") {
        let mut wanted = HashMap::new();
        numbers("", &document, &mut wanted);
        assert!(wanted.len() > 20, "{name}");
        let mut there: HashMap<String, usize> = HashMap::new();
        for cell in cells(&Page::parse(&html)) {
            *there.entry(cell.text().trim().to_owned()).or_default() += 1;
        }
        for (number, times) in wanted {
            let found = there.get(&number).copied().unwrap_or(0);
            assert!(found >= times, "{name}: {number} is {found} times a cell, not {times}");
        }
    }
}

/// Pages of every command; those of `listing` and `trace` under every sort of encoding.
fn pages(test: &str) -> Vec<(String, String)> {
    let documents = documents(test).into_iter();
    let mut all: Vec<(String, String)> =
        documents.map(|(name, _, page)| (name.to_owned(), page)).collect();
    for encoding in ["word", "composite", "echo"] {
        for command in ["listing", "trace"] {
            let args = [command, "samples/marrow-brook/night_watch.js", "--encoding", encoding];
            let outcome = scruple(&[&args[..], &["--format", "html"]].concat());
            assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
            all.push((format!("{command} {encoding}"), outcome.out));
        }
    }
    all
}

/// What reads them is the parser of the HTML standard, and it finds no error.
#[test]
fn every_page_is_html_that_names_what_it_has() {
    for (name, html) in pages("pages-html") {
        let page = Page::parse(&html);
        assert_eq!(page.errors, Vec::<String>::new(), "{name}");
        assert!(html.starts_with("<!DOCTYPE html>\n<html lang=\"en\">"), "{name}");
        for once in ["title", "h1", "main"] {
            let outside = |one: &Element| one.attribute("id").as_deref() != Some("title");
            assert_eq!(page.named(once).into_iter().filter(outside).count(), 1, "{name}: {once}");
        }
        let ids = page.ids();
        for element in page.all() {
            for (attribute, value) in element.attributes() {
                let refers = match attribute.as_str() {
                    "href" => value.strip_prefix('#').expect("a link within the page").to_owned(),
                    "aria-labelledby" => value.clone(),
                    "data-place" => value.clone(),
                    _ => continue,
                };
                for id in refers.split(' ') {
                    assert!(ids.contains_key(id), "{name}: {attribute} {id} leads nowhere");
                }
            }
        }
        let tables = page.named("table");
        assert!(tables.len() > 1, "{name}");
        for table in &tables {
            assert_eq!(table.inside("caption").len(), 1, "{name}");
            let heads = table.inside("thead")[0].inside("th");
            assert!(heads.iter().all(|th| th.attribute("scope").as_deref() == Some("col")));
            assert!(heads.iter().all(|th| !th.text().trim().is_empty()), "{name}");
            for row in table.inside("tr") {
                let span = |cell: &Element| -> usize {
                    cell.attribute("colspan").map_or(1, |text| text.parse().expect("a number"))
                };
                let wide: usize = row.children().iter().map(span).sum();
                assert_eq!(wide, heads.len(), "{name}: {}", row.text());
            }
        }
        for svg in page.named("svg") {
            assert!(!svg.inside("title")[0].text().is_empty(), "{name}");
            assert!(!svg.inside("desc")[0].text().is_empty(), "{name}");
        }
    }
}

/// The base64 of RFC 4648 read back, apart from what wrote it.
fn unbase64(text: &str) -> Vec<u8> {
    let mut bits = String::new();
    for ch in text.trim_end_matches('=').chars() {
        let value = match ch {
            'A'..='Z' => ch as u32 - 'A' as u32,
            'a'..='z' => ch as u32 - 'a' as u32 + 26,
            '0'..='9' => ch as u32 - '0' as u32 + 52,
            '+' => 62,
            '/' => 63,
            _ => panic!("{ch} is no digit of base64"),
        };
        bits.push_str(&format!("{value:06b}"));
    }
    let bytes = bits.len() / 8;
    (0..bytes).map(|i| u8::from_str_radix(&bits[8 * i..8 * i + 8], 2).expect("bits")).collect()
}

/// Content Security Policy Level 3 (W3C): without a source that allows it, nothing is loaded and
/// no style or script of the page itself counts but by its hash.
#[test]
fn a_page_loads_nothing_and_runs_only_what_its_policy_names_by_hash() {
    for (name, html) in pages("pages-policy") {
        let page = Page::parse(&html);
        let metas = page.named("meta");
        let is_policy = |meta: &&Element| {
            meta.attribute("http-equiv").as_deref() == Some("Content-Security-Policy")
        };
        let policy = metas.iter().find(is_policy).expect("a policy");
        let policy = policy.attribute("content").expect("its text");
        let directives: HashMap<&str, Vec<&str>> = policy
            .split("; ")
            .map(|directive| {
                let mut words = directive.split(' ');
                (words.next().expect("a name"), words.collect())
            })
            .collect();
        for closed in ["default-src", "base-uri", "form-action"] {
            assert_eq!(directives[closed], ["'none'"], "{name}");
        }
        for (directive, element) in [("style-src", "style"), ("script-src", "script")] {
            let contents: Vec<String> = page.named(element).iter().map(Element::text).collect();
            let allowed: Vec<Vec<u8>> = directives
                .get(directive)
                .into_iter()
                .flatten()
                .map(|source| {
                    let hash = source.strip_prefix("'sha256-").and_then(|s| s.strip_suffix('\''));
                    unbase64(hash.expect("a hash, and nothing else"))
                })
                .collect();
            let hashes: Vec<Vec<u8>> =
                contents.iter().map(|text| Sha256::digest(text.as_bytes()).to_vec()).collect();
            assert_eq!(allowed, hashes, "{name}: {directive}");
        }
        for element in page.all() {
            let tag = element.name();
            for loads in
                ["link", "img", "iframe", "object", "embed", "base", "form", "image", "use"]
            {
                assert_ne!(tag, loads, "{name}");
            }
            for (attribute, value) in element.attributes() {
                assert!(
                    !attribute.starts_with("on") && attribute != "style",
                    "{name}: {attribute}"
                );
                assert!(attribute != "src" && attribute != "srcset", "{name}: {attribute}");
                let is_url = value.contains("://") && attribute != "xmlns";
                assert!(!is_url, "{name}: {attribute} {value}");
            }
        }
        let css: String = page.named("style").iter().map(Element::text).collect();
        assert!(!css.contains("@import") && !css.contains("url("), "{name}");
    }
}

#[test]
fn the_same_run_gives_the_same_page() {
    for args in [
        &["weigh", SAMPLES[0], "--encoding", "leb,echo", "-v"][..],
        &["memory", SAMPLES[0]],
        &["sweep", SAMPLES[0], SAMPLES[1]],
        &["compose", SAMPLES[0], SAMPLES[1]],
        &["fit", SAMPLES[1]],
        &["listing", SAMPLES[0], "--encoding", "composite"],
        &["trace", SAMPLES[0], "--encoding", "composite"],
    ] {
        let [one, other] = [(); 2].map(|()| scruple(&[args, &["--format", "html"]].concat()).out);
        assert!(one.len() > 2000, "{args:?}");
        assert!(one == other, "{args:?}");
    }
}

/// A name, a source and a message that would be markup, an attribute's end, a script's end; and
/// marks that turn text around.
#[test]
fn hostile_names_and_sources_stay_text() {
    const NAME: &str = "a\"><img src=x onerror=alert(1)>&lt;'.js";
    let source = "// </script></td><svg onload=alert(2)> & &amp; \u{202e}\n\
                  const f = function () { return '<b title=\"x\">\\'</b>'; };\n\
                  console.log(f().length);\n\
                  throw new Error('</pre><script>alert(3)</script>' + f());\n";
    let folder = folder("pages-hostile", &[(NAME, source.as_bytes())]);
    let run = |args: &[&str], code: i32| {
        let outcome = scruple_in(&folder, &[args, &["--format", "html"]].concat());
        assert_eq!(outcome.code, code, "{args:?}: {}", outcome.err);
        let page = Page::parse(&outcome.out);
        assert_eq!(page.errors, Vec::<String>::new(), "{args:?}");
        for element in page.all() {
            let attributes = element.attributes();
            assert!(attributes.iter().all(|(name, _)| !name.starts_with("on")), "{args:?}");
            assert!(!matches!(element.name().as_str(), "img" | "b"), "{args:?}");
        }
        let (svgs, scripts) = (page.named("svg").len(), page.named("script").len());
        let text = page.named("body")[0].text();
        assert!(text.contains(NAME), "{args:?}: {text}");
        assert!(!text.contains('\u{202e}'), "{args:?}");
        (svgs, scripts, text)
    };
    let (svgs, scripts, text) = run(&["weigh", NAME, "--encoding", "leb"], 1);
    assert_eq!((svgs, scripts), (1, 1));
    assert!(text.contains("Error: </pre><script>alert(3)</script><b title=\"x\">'</b>"), "{text}");
    let (svgs, scripts, text) = run(&["listing", NAME], 0);
    assert_eq!((svgs, scripts), (0, 0));
    assert!(text.contains("// </script></td><svg onload=alert(2)> & &amp; \\u{202e}"), "{text}");
    let (svgs, scripts, text) = run(&["trace", NAME, "--count", "1000"], 1);
    assert_eq!((svgs, scripts), (0, 1));
    assert!(text.contains("uncaught exception: Error: </pre><script>alert(3)"), "{text}");
    run(&["fit", NAME], 1);
}

/// Characters that XML and HTML refuse, in a name that a picture shows too.
#[test]
fn what_no_page_may_hold_is_told_by_its_number() {
    let folder = folder("pages-hidden", &[("b\u{202e}\u{1b}<.js", b"console.log('a' + 1);\n")]);
    for command in ["memory", "weigh", "listing"] {
        let args = [command, "b\u{202e}\u{1b}<.js", "--format", "html"];
        let outcome = scruple_in(&folder, &args);
        assert_eq!(outcome.code, 0, "{}", outcome.err);
        let page = Page::parse(&outcome.out);
        assert_eq!(page.errors, Vec::<String>::new(), "{command}");
        let told = "b\\u{202e}\\u{1b}<.js";
        assert!(page.named("body")[0].text().contains(told), "{command}");
        for svg in page.named("svg").iter().filter(|_| command == "memory") {
            assert!(svg.inside("title")[0].text().contains(told));
        }
    }
}

/// Runs of spaces as one: columns are the form's affair.
fn collapsed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What the listing of a page says, line by line, as the text form writes it.
fn listed_lines(page: &Page) -> Vec<String> {
    let mut lines = Vec::new();
    for table in page.named("table").iter().filter(|table| table.has_class("code")) {
        if !table.attribute("id").is_some_and(|id| id.starts_with("function-")) {
            continue;
        }
        let caption = table.inside("caption")[0].text();
        lines.extend(caption.lines().map(collapsed).filter(|line| !line.is_empty()));
        for row in table.inside("tbody").iter().flat_map(|body| body.inside("tr")) {
            let cells: Vec<String> = row.children().iter().map(Element::text).collect();
            lines.push(collapsed(&cells.join(" ")));
        }
    }
    lines
}

/// One walk through the image is of the crate that owns the listing, the other of the page.
#[test]
fn the_page_of_a_listing_says_what_the_text_says() {
    for script in ["samples/marrow-brook/night_watch.js", "samples/kernels/closures.js"] {
        for encoding in scruple_bytecode::Encoding::ALL {
            let args = ["listing", script, "--encoding", encoding.name()];
            let text = scruple(&args).out;
            let lines = text.lines().skip_while(|line| !line.starts_with("function"));
            let wanted: Vec<String> = lines
                .filter(|line| !line.is_empty())
                .map(|line| collapsed(line.strip_prefix("; ").unwrap_or(line)))
                .collect();
            let page = Page::parse(&scruple(&[&args[..], &["--format", "html"]].concat()).out);
            let told = listed_lines(&page);
            assert!(told.len() > 100, "{script}");
            for (told, wanted) in told.iter().zip(&wanted) {
                assert_eq!(told, wanted, "{script} {}", encoding.name());
            }
            assert_eq!(told.len(), wanted.len(), "{script} {}", encoding.name());
        }
    }
}

/// Calls back from a built-in, branches, an exception; steps that are several operations.
#[test]
fn the_page_of_a_trace_has_the_steps_of_the_text_and_each_leads_to_its_own_row() {
    let text = "let s = 0;\n\
        for (let i = 0; i < 3; i++) { s += [1, 2, 3].map(x => x + i).length; }\n\
        const o = { valueOf() { return s + 1; } };\n\
        s = s + o * 2;\n\
        try { s = [3, null].map(x => x.y + 1).length; } catch (error) { s = o + 1; }\n\
        console.log(s);\n";
    let folder = folder("pages-trace", &[("script.js", text.as_bytes())]);
    for encoding in scruple_bytecode::Encoding::ALL {
        let args = ["trace", "script.js", "--count", "10000", "--encoding", encoding.name()];
        let plain = scruple_in(&folder, &args);
        assert_eq!(plain.code, 0, "{}", plain.err);
        let html = scruple_in(&folder, &[&args[..], &["--format", "html"]].concat()).out;
        let page = Page::parse(&html);
        let (ids, steps) = (page.ids(), page.by_id("steps").expect("steps"));
        let rows = steps.inside("tbody")[0].inside("tr");
        let wanted: Vec<String> =
            plain.out.lines().filter(|line| !line.starts_with(';')).map(collapsed).collect();
        assert!(rows.len() == wanted.len() && rows.len() > 100, "{}", encoding.name());
        let mut n_of_lines = 0;
        for (row, wanted) in rows.iter().zip(&wanted) {
            let cells: Vec<String> = row.children().iter().map(Element::text).collect();
            let [number, _, line, place, operation, taken, left] = &cells[..] else { panic!() };
            let told = format!("{number} {place} {operation} ( {taken} -- {left} )");
            assert_eq!(collapsed(&told), *wanted);
            // The row it leads to is of the same operation, or of the instruction itself.
            let at = row.attribute("data-place").expect("a place");
            let there = collapsed(&ids[&at].text_of_cells());
            assert!(there.contains(&collapsed(operation)), "{}: {told}: {there}", encoding.name());
            let of = row.attribute("data-line").expect("a line");
            // A handler's first instructions, which cannot fail, are of no line that is known.
            if line.is_empty() {
                assert_eq!(of, "");
                continue;
            }
            n_of_lines += 1;
            assert_eq!(of, format!("line-{line}"));
            assert_eq!(ids[&of].children()[0].text(), *line);
        }
        assert!(10 * n_of_lines > 9 * rows.len(), "{}", encoding.name());
    }
}

/// What the command line says goes to no page, and what it cannot make it refuses.
#[test]
fn only_forms_that_there_are_can_be_asked_for() {
    for command in ["listing", "trace"] {
        let outcome = scruple(&[command, "samples/kernels/fib.js", "--format", "json"]);
        assert_eq!((outcome.code, outcome.out.as_str()), (2, ""), "{}", outcome.err);
        let help = scruple(&[command, "--help"]).out;
        assert!(help.contains("text, html"), "{help}");
    }
    let beyond = ["trace", "samples/kernels/fib.js", "--from", "40000000", "--format", "html"];
    let beyond = scruple(&beyond);
    assert_eq!((beyond.code, beyond.out.as_str()), (1, ""), "{}", beyond.err);
    let missing = scruple(&["listing", "samples/no.js", "--format", "html"]);
    assert_eq!((missing.code, missing.out.as_str()), (1, ""));
}

/// What they do no test holds; that a browser can read them, another parser of the language says.
#[test]
fn the_scripts_of_the_pages_are_strict_scripts() {
    for file in ["tables.js", "steps.js"] {
        let path = common::root().join("bench/page").join(file);
        let source = std::fs::read_to_string(path).expect("a script of the pages");
        assert!(source.starts_with("'use strict';"), "{file}");
        let allocator = oxc_allocator::Allocator::default();
        let read =
            oxc_parser::Parser::new(&allocator, &source, oxc_span::SourceType::cjs()).parse();
        assert!(read.errors.is_empty() && !read.panicked, "{file}: {:?}", read.errors);
    }
}

/// `merge` of slices of `weigh` and of `sweep` makes the page of one run.
#[test]
fn slices_put_together_give_the_page_of_one_run() {
    let folder = folder("pages-merge", &[]);
    let mut files = Vec::new();
    for slice in ["1/2", "2/2"] {
        let args = ["weigh", SAMPLES[0], SAMPLES[1], "--format", "json", "--shard", slice];
        let file = folder.join(slice.replace('/', "-")).display().to_string();
        std::fs::write(&file, scruple(&args).out).expect("a file for the test");
        files.push(file);
    }
    let merged = scruple(&["merge", &files[0], &files[1], "--format", "html"]);
    assert_eq!(merged.code, 0, "{}", merged.err);
    let whole = scruple(&["weigh", SAMPLES[0], SAMPLES[1], "--format", "html"]);
    assert!(merged.out == whole.out);
}
