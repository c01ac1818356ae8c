//! `completions` and `manual`: the command line told to shells and to `man`.
//!
//! Both come from the definitions that parsing and `--help` come from, so that neither can
//! name what is not there. It refuses to install anything: where completions and pages
//! belong is the system's to say.

use std::fs;

use anyhow::{Context, Result};
use clap::CommandFactory;

use super::args::{Arguments, CompletionsArguments, ManualArguments};
use super::terminal::Terminal;
use super::{Verdict, outputs, usage};

pub(crate) fn completions(
    arguments: &CompletionsArguments,
    terminal: &Terminal,
) -> Result<Verdict> {
    let mut text = Vec::new();
    clap_complete::generate(arguments.shell, &mut Arguments::command(), "scruple", &mut text);
    terminal.write(&String::from_utf8(text).context("completions that are no text")?)?;
    Ok(Verdict::Fine)
}

pub(crate) fn manual(arguments: &ManualArguments, terminal: &Terminal) -> Result<Verdict> {
    let pages = pages()?;
    let wanted = match &arguments.page {
        None => "scruple".to_owned(),
        Some(command) => format!("scruple-{command}"),
    };
    let page = pages.iter().find(|(name, _)| *name == wanted);
    usage(page.is_some(), &format!("no page {wanted}: `scruple help` names the commands"))?;
    if let Some(folder) = &arguments.folder {
        fs::create_dir_all(folder).with_context(|| folder.display().to_string())?;
        for (name, text) in &pages {
            let path = folder.join(format!("{name}.1"));
            outputs::write(&path, text.as_bytes())?;
        }
        return Ok(Verdict::Fine);
    }
    if let Some((_, text)) = page {
        terminal.write(text)?;
    }
    Ok(Verdict::Fine)
}

/// Every page by its name: that of the program, then one a command.
fn pages() -> Result<Vec<(String, String)>> {
    let mut program = Arguments::command();
    program.build();
    let mut pages = vec![("scruple".to_owned(), page(&program)?)];
    for command in program.get_subcommands().filter(|command| command.get_name() != "help") {
        let name = format!("scruple-{}", command.get_name());
        pages.push((name, page(command)?));
    }
    Ok(pages)
}

fn page(command: &clap::Command) -> Result<String> {
    let mut text = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut text).context("a page")?;
    String::from_utf8(text).context("a page that is no text")
}
