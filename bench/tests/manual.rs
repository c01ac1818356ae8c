//! Completions and pages of the manual name every command and every option: what `--help`
//! says is the other side of each check.

mod common;

use std::fs;

use common::{folder, scruple, scruple_in};

/// The commands that `scruple --help` lists.
fn commands() -> Vec<String> {
    let help = scruple(&["--help"]).out;
    let list = help.split("Commands:\n").nth(1).expect("a list of commands");
    let list = list.split("\n\n").next().expect("its end");
    let names = list.lines().filter(|line| line.starts_with("  ") && !line.starts_with("   "));
    let names: Vec<String> =
        names.filter_map(|line| line.split_whitespace().next()).map(str::to_owned).collect();
    assert!(names.len() > 12 && names.contains(&"compose".to_owned()), "{names:?}");
    names.into_iter().filter(|name| name != "help").collect()
}

/// The long options that a command's `--help` shows.
fn options(command: &str) -> Vec<String> {
    let help = scruple(&[command, "--help"]).out;
    let lines = help.split("Options:\n").nth(1).expect("options");
    let lines = lines.lines().take_while(|line| *line != "Examples:");
    let options = lines.filter_map(|line| line.trim_start().strip_prefix('-'));
    let long = options.filter_map(|line| line.split("--").last().or(Some(line)));
    let name = |text: &str| -> String {
        text.trim_start_matches('-')
            .chars()
            .take_while(|c| c.is_ascii_alphanumeric() || *c == '-')
            .collect()
    };
    long.map(name).filter(|name| name.len() > 1).collect()
}

#[test]
fn completions_of_every_shell_name_every_command_and_option() {
    let commands = commands();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let outcome = scruple(&["completions", shell]);
        assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{shell}");
        for command in &commands {
            assert!(outcome.out.contains(command.as_str()), "{shell}: {command}");
        }
        for command in ["weigh", "compose"] {
            let options = options(command);
            assert!(options.len() > 8, "{options:?}");
            for option in options {
                assert!(outcome.out.contains(&option), "{shell}: {command} --{option}");
            }
        }
    }
    assert_eq!(scruple(&["completions", "no-shell"]).code, 2);
}

#[test]
fn every_command_has_a_page_with_every_option_and_its_examples() {
    let folder = folder("manual", &[]);
    let outcome = scruple_in(&folder, &["manual", "--folder", "pages"]);
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    let read = |name: &str| fs::read_to_string(folder.join("pages").join(name)).expect(name);
    let program = read("scruple.1");
    for command in commands() {
        assert!(program.contains(&command), "scruple.1: {command}");
        // A page writes a hyphen as `\-`.
        let page = read(&format!("scruple-{command}.1")).replace("\\-", "-");
        for option in options(&command) {
            assert!(page.contains(&format!("--{option}")), "{command}: --{option}");
        }
        assert!(
            page.contains("Examples:") == scruple(&[&command, "--help"]).out.contains("Examples:")
        );
        assert_eq!(scruple(&["manual", &command]).out.replace("\\-", "-"), page);
    }
    let none = scruple(&["manual", "speed"]);
    assert_eq!(none.code, 2);
    assert!(none.err.contains("no page scruple-speed"), "{}", none.err);
}
