//! Whether what stands on a page can be read: the contrast of its colours, in both modes.
//!
//! Formulas and thresholds are those of the Web Content Accessibility Guidelines (WCAG 2.2,
//! W3C): "relative luminance" and "contrast ratio" among its definitions; success criterion
//! 1.4.3 asks 4.5 of text, 1.4.11 asks 3 of what one must see to understand a picture or use a
//! control.

use std::collections::HashMap;

use super::super::svg;
use super::super::sweep_svg;

const STYLE: &str = include_str!("../../../page/style.css");

const TEXT: f64 = 4.5;
const SHAPE: f64 = 3.0;

/// What stands on what.
const PAIRS: &[(&str, &str, f64)] = &[
    ("ink", "paper", TEXT),
    ("faint", "paper", TEXT),
    ("link", "paper", TEXT),
    ("good", "paper", TEXT),
    ("bad", "paper", TEXT),
    ("ink", "band", TEXT),
    ("faint", "band", TEXT),
    ("good", "band", TEXT),
    ("bad", "band", TEXT),
    ("ink", "now", TEXT),
    ("link", "now", TEXT),
    ("edge", "paper", SHAPE),
    ("link", "band", SHAPE),
];

fn luminance(colour: &str) -> f64 {
    let digits = colour.strip_prefix('#').expect("a colour in hexadecimal");
    let wide: String = match digits.len() {
        3 => digits.chars().flat_map(|digit| [digit, digit]).collect(),
        _ => digits.to_owned(),
    };
    assert_eq!(wide.len(), 6, "{colour}");
    let channel = |at: usize| {
        let value = u8::from_str_radix(&wide[at..at + 2], 16).expect("hexadecimal");
        let value = f64::from(value) / 255.0;
        if value <= 0.04045 { value / 12.92 } else { ((value + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * channel(0) + 0.7152 * channel(2) + 0.0722 * channel(4)
}

fn contrast(one: &str, other: &str) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

/// The named colours of a rule that begins behind this text.
fn colours(behind: &str) -> HashMap<&'static str, &'static str> {
    let (_, rule) = STYLE.split_once(behind).expect("a rule");
    let (rule, _) = rule.split_once('}').expect("its end");
    let named = rule.split(';').filter_map(|line| line.trim().strip_prefix("--")?.split_once(": "));
    named.collect()
}

/// The style of a picture with all areas: light, then dark.
fn picture_styles() -> [String; 2] {
    let mut out = String::new();
    let all: Vec<usize> = (0..svg::LOOKS.len()).collect();
    svg::write_areas(&all, &mut out).expect("text");
    let (_, style) = out.split_once("<style>").expect("a style");
    let (light, dark) = style.split_once("@media").expect("two modes");
    [light.to_owned(), dark.split("</style>").next().expect("its end").to_owned()]
}

/// The colour that a class has in a style.
fn colour_of<'s>(style: &'s str, selector: &str) -> &'s str {
    let (_, rule) = style.split_once(&format!("{selector}{{")).expect(selector);
    let colour = rule.split_once(':').expect("a property").1;
    colour.split([';', '}']).next().expect("a colour")
}

// The examples of the formula that follow from its text: black on white is 21 to 1, a colour on
// itself 1. `#767676` is known as the lightest grey that passes on white (common practice).
#[test]
fn the_formula_gives_the_known_ratios() {
    assert!((contrast("#000", "#fff") - 21.0).abs() < 1e-9);
    assert!((contrast("#a2d9d2", "#a2d9d2") - 1.0).abs() < 1e-9);
    assert!(contrast("#767676", "#ffffff") >= 4.5 && contrast("#777777", "#fff") < 4.5);
}

#[test]
fn all_text_and_every_mark_stands_out_in_light_and_in_dark() {
    let [light, dark] = [":root {", "dark) {\n  :root {"].map(colours);
    assert!(light.len() == dark.len() && light.len() > 8);
    for (mode, colours) in [("light", light), ("dark", dark)] {
        for (front, back, least) in PAIRS {
            let ratio = contrast(colours[front], colours[back]);
            assert!(ratio >= *least, "{mode}: {front} on {back}: {ratio:.2}, wanted {least}");
        }
    }
}

#[test]
fn no_colour_of_the_page_is_without_a_name() {
    // What stands before a brace are selectors, where a # is an id.
    let rules = STYLE.split('}').filter_map(|rule| rule.rsplit('{').next());
    let declared =
        rules.flat_map(|rule| rule.split(';')).filter_map(|one| one.trim().split_once(':'));
    for (name, value) in declared.filter(|(_, value)| value.contains('#')) {
        assert!(name.starts_with("--"), "{name}:{value}");
    }
    for function in ["rgb(", "hsl(", "oklch(", "color-mix(", "opacity"] {
        assert!(!STYLE.contains(function), "{function}");
    }
}

#[test]
fn lines_letters_and_marks_of_the_pictures_stand_out_in_light_and_in_dark() {
    for (mode, style) in picture_styles().iter().enumerate() {
        let paper = colour_of(style, ".paper");
        assert!(contrast(colour_of(style, "text"), paper) >= TEXT);
        for class in [".axis", ".leader"] {
            assert!(contrast(colour_of(style, class), paper) >= SHAPE, "{mode} {class}");
        }
        for index in 0..svg::LOOKS.len() {
            let area = colour_of(style, &format!(".a{index}"));
            for class in [".hatch", ".edge"] {
                let ratio = contrast(colour_of(style, class), area);
                assert!(ratio >= SHAPE, "{mode} {class} on area {index}: {ratio:.2}");
            }
        }
        for (number, (light, dark, _)) in sweep_svg::LOOKS.iter().enumerate() {
            let ratio = contrast([light, dark][mode], paper);
            assert!(ratio >= SHAPE, "{mode} mark {number}: {ratio:.2}");
        }
    }
}
