//! The panes of `step` as they are drawn after these keys, on terminals of these sizes: with
//! no terminal at all, onto a buffer.

mod common;

use std::collections::VecDeque;
use std::sync::{Arc, Mutex};

use common::root;
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;
use ratatui::crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use ratatui::layout::Rect;
use ratatui::style::Color;
use scruple_bench::build;
use scruple_bench::layout::HeapLayout;
use scruple_bench::options::RunOptions;
use scruple_bench::script::Script;
use scruple_bench::step::breakpoints::Breakpoints;
use scruple_bench::step::code::Code;
use scruple_bench::step::screen::{Ui, draw};
use scruple_bench::step::text::Lines;
use scruple_bench::step::{self, Command, Pause, Pilot, Program};
use scruple_bytecode::Encoding;
use scruple_bytecode::image::Image;

/// Presses keys, and draws when there are none left.
struct Typist {
    ui: Ui,
    keys: VecDeque<KeyEvent>,
    sizes: Vec<(u16, u16)>,
    drawn: Arc<Mutex<Vec<Buffer>>>,
}

impl Pilot for Typist {
    fn ask(&mut self, pause: &Pause, breakpoints: &mut Breakpoints) -> Command {
        self.ui.arrive();
        while let Some(key) = self.keys.pop_front() {
            if let Some(command) = self.ui.press(key, pause, breakpoints) {
                return command;
            }
        }
        for &(width, height) in &self.sizes {
            let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a buffer");
            let ui = &self.ui;
            terminal
                .draw(|frame| draw(frame.buffer_mut(), ui, pause, breakpoints))
                .expect("a drawing");
            self.drawn.lock().unwrap().push(terminal.backend().buffer().clone());
        }
        Command::Quit
    }
}

/// Keys by what a person would call them; any other word is typed.
fn keys(names: &[&str]) -> VecDeque<KeyEvent> {
    let mut keys = VecDeque::new();
    for name in names {
        let code = match *name {
            "right" => KeyCode::Right,
            "left" => KeyCode::Left,
            "up" => KeyCode::Up,
            "down" => KeyCode::Down,
            "page down" => KeyCode::PageDown,
            "page up" => KeyCode::PageUp,
            "enter" => KeyCode::Enter,
            "escape" => KeyCode::Esc,
            "tab" => KeyCode::Tab,
            "back tab" => KeyCode::BackTab,
            "home" => KeyCode::Home,
            "backspace" => KeyCode::Backspace,
            typed => {
                keys.extend(
                    typed.chars().map(|ch| KeyEvent::new(KeyCode::Char(ch), KeyModifiers::NONE)),
                );
                continue;
            }
        };
        keys.push_back(KeyEvent::new(code, KeyModifiers::NONE));
    }
    keys
}

fn drawn(
    script: &Script,
    encoding: Encoding,
    colour: bool,
    pressed: &[&str],
    sizes: &[(u16, u16)],
) -> Vec<Buffer> {
    let built = build::build(script, encoding).expect("a script that compiles");
    let dense = build::with_every_place(script, &built, encoding).expect("every place");
    let dense = Image::open(&dense).expect("an image");
    let image = Image::open(&built.image).expect("an image");
    let code = Arc::new(Code::new(&image, Some(&dense)));
    let program = Program {
        feed: script.feed.clone(),
        limits: script.options.limits(1_000_000_000),
        layout: HeapLayout::Narrow,
        image: built.image,
    };
    let drawn = Arc::new(Mutex::new(Vec::new()));
    let typist = Typist {
        ui: Ui::new(Arc::clone(&code), Lines::new(&script.name, &script.text), colour),
        keys: keys(pressed),
        sizes: sizes.to_vec(),
        drawn: Arc::clone(&drawn),
    };
    build::on_large_stack(|| step::run(&program, &code, Box::new(typist))).expect("a thread");
    std::mem::take(&mut *drawn.lock().unwrap())
}

/// A buffer's characters, a line each.
fn text(buffer: &Buffer) -> String {
    let mut text = String::new();
    for y in buffer.area.top()..buffer.area.bottom() {
        let line: String =
            (buffer.area.left()..buffer.area.right()).map(|x| buffer[(x, y)].symbol()).collect();
        text.push_str(line.trim_end());
        text.push('\n');
    }
    text
}

fn fib() -> Script {
    let path = root().join("samples/kernels/fib.js");
    let script = Script::read(&path, &RunOptions::default()).expect("a sample");
    Script { name: "fib.js".to_owned(), ..script }
}

fn screen(pressed: &[&str], size: (u16, u16)) -> String {
    let buffers = drawn(&fib(), Encoding::Implied, false, pressed, &[size]);
    text(&buffers[0])
}

const IN_FIB: &[&str] = &[":", "break fib", "enter", "r", "r", "r", "right", "right"];

#[test]
fn the_panes_at_80_by_24() {
    insta::assert_snapshot!(screen(IN_FIB, (80, 24)));
}

#[test]
fn the_panes_at_120_by_40() {
    insta::assert_snapshot!(screen(IN_FIB, (120, 40)));
}

#[test]
fn one_pane_at_a_time_on_a_terminal_of_32_by_8() {
    let operands = [IN_FIB, &["tab", "tab"]].concat();
    let both = [screen(IN_FIB, (32, 8)), screen(&operands, (32, 8))].join("\n");
    insta::assert_snapshot!(both);
}

#[test]
fn the_operations_of_a_composite_are_lines_of_the_code() {
    let pressed = [":", "break fib", "enter", "r", "r", "r", "p", "p", "p"];
    let buffers = drawn(&fib(), Encoding::Composite, false, &pressed, &[(100, 30)]);
    insta::assert_snapshot!(text(&buffers[0]));
}

#[test]
fn keys_words_and_the_end() {
    let keys = screen(&["?"], (80, 30));
    let words = screen(&[":", "help", "enter"], (80, 30));
    let end = screen(&["r"], (80, 24));
    insta::assert_snapshot!([keys, words, end].join("\n"));
}

/// Whatever the size, after whatever keys: nothing panics, and nothing is written beside
/// what there is. A place that has room for two lines says where the run is.
#[test]
fn no_size_is_too_small() {
    let mut sizes: Vec<(u16, u16)> =
        (0..=20).flat_map(|height| [0, 1, 2, 5, 13, 63, 64, 65].map(|w| (w, height))).collect();
    sizes.extend([(200, 60), (300, 3), (3, 300), (1000, 400)]);
    let states: [&[&str]; 7] = [
        &[],
        IN_FIB,
        &["r"],
        &["?", "page down"],
        &[":", "some long words that have no room where they are written"],
        &["tab", "tab", "tab", "down", "page down", ">", ">"],
        &["right", "right", "right", "left", "back tab", "up"],
    ];
    for state in states {
        let buffers = drawn(&fib(), Encoding::Implied, true, state, &sizes);
        assert_eq!(buffers.len(), sizes.len());
        for (buffer, &(width, height)) in buffers.iter().zip(&sizes) {
            if width > 20 && height > 1 {
                assert!(text(buffer).starts_with("fib.js: "), "{width} {height}");
            }
        }
    }
    // A buffer that is part of a screen.
    let mut part = Buffer::empty(Rect::new(7, 5, 30, 9));
    let code = Arc::new(Code::default());
    let ui = Ui::new(code, Lines::new("a.js", ""), true);
    let pause = Arc::new(Mutex::new(None));
    let kept = Arc::clone(&pause);
    struct Keep(Arc<Mutex<Option<Pause>>>);
    impl Pilot for Keep {
        fn ask(&mut self, pause: &Pause, _: &mut Breakpoints) -> Command {
            *self.0.lock().unwrap() = Some(pause.clone());
            Command::Quit
        }
    }
    let built = build::build(&fib(), Encoding::Implied).expect("a script");
    let program = Program {
        feed: Arc::default(),
        limits: fib().options.limits(1000),
        layout: HeapLayout::Narrow,
        image: built.image,
    };
    step::run(&program, &Arc::new(Code::default()), Box::new(Keep(kept)));
    let pause = pause.lock().unwrap().take().expect("a pause");
    draw(&mut part, &ui, &pause, &Breakpoints::default());
    assert!(text(&part).starts_with("a.js: instruction 1"), "{}", text(&part));
}

#[test]
fn without_colours_there_are_none_and_the_marks_are_the_same() {
    let [with, without] = [true, false]
        .map(|colour| drawn(&fib(), Encoding::Implied, colour, IN_FIB, &[(80, 24)]).remove(0));
    assert_eq!(text(&with), text(&without));
    let has_colour = |buffer: &Buffer| {
        let is_plain = |colour: Color| matches!(colour, Color::Reset);
        buffer.content().iter().any(|cell| !is_plain(cell.fg) || !is_plain(cell.bg))
    };
    assert!(has_colour(&with) && !has_colour(&without));
    let marked: Vec<String> =
        text(&without).lines().filter(|line| line.starts_with('>')).map(str::to_owned).collect();
    assert_eq!(marked.len(), 2, "{marked:?}");
    assert!(marked[0].contains("return n < 2"), "{marked:?}");
    assert!(text(&without).lines().any(|line| line.starts_with(" *0000 ")), "{}", text(&without));
}

#[test]
fn keys_that_cannot_do_what_they_ask_say_why() {
    let last = |pressed: &[&str]| {
        let screen = screen(pressed, (80, 24));
        screen.lines().last().unwrap_or_default().to_owned()
    };
    assert_eq!(last(&["left"]), "this is the first instruction");
    assert_eq!(last(&["home"]), "this is instruction 1");
    assert_eq!(last(&["r", "right"]), "the run is over: its last instruction is 238962");
    assert_eq!(last(&["r", "o"]), "the run is over: there is only the way back");
    assert_eq!(last(&["b", "5", "enter"]), "line 5 has no instructions: the next is line 6");
    assert_eq!(
        last(&["g", "x", "enter"]).split(':').next(),
        Some("to needs a whole number from 1, not \"x\"")
    );
    assert_eq!(last(&[":", "frob", "enter"]), "no command \"frob\": help tells the words");
    // What is written can be taken back, and left.
    assert_eq!(last(&["g", "12"]), ": to 12_");
    assert_eq!(last(&["g", "12", "backspace", "3"]), ": to 13_");
    assert!(last(&["g", "12", "escape"]).starts_with("? keys"));
    assert_eq!(last(&["b", "fib", "enter"]), "breakpoint: function fib is set");
    assert_eq!(
        last(&["b", "fib", "enter", "d", "fib", "enter"]),
        "breakpoint: function fib is removed"
    );
    assert!(screen(&["g", "77", "enter", "left"], (80, 24)).starts_with("fib.js: instruction 76 "));
}

/// Where a pane says more than there is room for, it can be moved.
#[test]
fn panes_are_scrolled_by_lines_and_aside() {
    let top = screen(&["up", "up", "up"], (80, 24));
    assert!(top.lines().nth(3).is_some_and(|line| line.contains(" 1 // ")), "{top}");
    let down = screen(&["page down", "page down", "page down", "page down"], (80, 24));
    assert!(down.contains("console.log(78, fibByLoop(78));"), "{down}");
    // Far past the end it is not lost: as many pages up lead to the beginning.
    let pages = |down: usize, up: usize| {
        let keys = [vec!["page down"; down], vec!["page up"; up]].concat();
        screen(&keys, (80, 24))
    };
    assert_eq!(pages(40, 0), down);
    assert!(pages(40, 4).lines().nth(3).is_some_and(|line| line.contains(" 1 // ")));
    let aside = screen(&[">", ">"], (80, 24));
    assert!(aside.lines().any(|line| line.starts_with("> b(n) {")), "{aside}");
    let before = screen(&[">", "<"], (80, 24));
    assert_eq!(before, screen(&[], (80, 24)));
    assert_ne!(aside, before);
}

/// What a script prints or names does not reach the terminal as it is.
#[test]
fn control_characters_of_a_script_are_told_and_not_written() {
    let source = "const o = { '\\x1b[2J': function () { return 1; } };\n\
                  console.log('\\x1b[31mred\\u0007');\no['\\x1b[2J']();\n";
    let script = Script::from_text("a.js", source, None);
    for pressed in [&["r"][..], &["L", "L", "l"], &["r", "left", ":", "output", "enter"]] {
        let buffers = drawn(&script, Encoding::Implied, false, pressed, &[(100, 30)]);
        let is_control = |buffer: &Buffer| {
            buffer.content().iter().any(|cell| cell.symbol().chars().any(char::is_control))
        };
        assert!(!is_control(&buffers[0]));
    }
    let buffers = drawn(&script, Encoding::Implied, false, &["r"], &[(100, 30)]);
    assert!(text(&buffers[0]).contains("\\u{1b}[31mred\\u{7}"), "{}", text(&buffers[0]));
}
