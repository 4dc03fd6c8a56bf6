//! `stepbell completions SHELL` and `stepbell man`: take the declared command line, give what a shell
//! needs to complete it and the one page that `man` shows, so that neither can differ from `--help`.

use std::io;

use clap::{Arg, Command, CommandFactory};
use clap_complete::generate;
use clap_mangen::Man;
use clap_mangen::roff::{Inline, Roff, bold, italic, roman};

use super::args::{Cli, CompletionsArgs};
use super::exit::Exit;
use super::out::Answer;

/// The answer to `completions`.
#[must_use]
pub fn completions(args: &CompletionsArgs) -> Answer {
    let mut script = Vec::new();
    generate(args.shell, &mut Cli::command(), "stepbell", &mut script);
    Answer::ok(String::from_utf8_lossy(&script))
}

/// The answer to `man`.
#[must_use]
pub fn man() -> Answer {
    let mut page = Vec::new();
    match write_page(&mut page) {
        Ok(()) => Answer::ok(String::from_utf8_lossy(&page)),
        Err(why) => Answer::trouble(Exit::Unable, why),
    }
}

fn write_page(page: &mut Vec<u8>) -> io::Result<()> {
    let mut whole = Cli::command().disable_help_subcommand(true).subcommand_value_name("COMMAND");
    whole.build();
    let man = Man::new(whole.clone()).manual("Stepbell").date("");
    man.render_title(page)?;
    man.render_name_section(page)?;
    man.render_synopsis_section(page)?;
    man.render_description_section(page)?;
    let mut rest = Roff::new();
    rest.control("SH", ["COMMANDS"]);
    for command in whole.get_subcommands().filter(|command| !command.is_hide_set()) {
        describe(command, &mut rest);
    }
    let after = whole.get_after_help().map(ToString::to_string).unwrap_or_default();
    for paragraph in after.split("\n\n") {
        let codes = paragraph.strip_prefix("Exit codes: ");
        match codes {
            Some(_) => rest.control("SH", ["EXIT STATUS"]),
            None if is_laid_out(paragraph) => rest.control("SH", ["EXAMPLES"]),
            None => rest.control("SH", ["NOTES"]),
        };
        told(codes.unwrap_or(paragraph), &mut rest);
    }
    rest.to_writer(page)
}

/// A command: how it is called, what it does, its arguments, and what its help adds.
fn describe(command: &Command, page: &mut Roff) {
    page.control("SS", [format!("stepbell {}", command.get_name()).as_str()]);
    page.text([roman(command.get_about().map(ToString::to_string).unwrap_or_default())]);
    for arg in command.get_arguments().filter(|arg| !arg.is_hide_set() && !is_help(arg)) {
        page.control("TP", []);
        page.text(called(arg));
        page.text([roman(said(arg))]);
    }
    let after = command.get_after_help().map(ToString::to_string).unwrap_or_default();
    for paragraph in after.split("\n\n").filter(|paragraph| !paragraph.is_empty()) {
        page.control("PP", []);
        told(paragraph, page);
    }
}

fn is_help(arg: &Arg) -> bool {
    matches!(arg.get_id().as_str(), "help" | "version")
}

/// An argument as it is typed.
fn called(arg: &Arg) -> Vec<Inline> {
    let names = arg.get_value_names().unwrap_or_default();
    let value: Vec<String> = names.iter().map(ToString::to_string).collect();
    let value = value.join(" ");
    let takes = arg.get_action().takes_values() && !value.is_empty();
    match arg.get_long() {
        Some(long) if takes => vec![bold(format!("--{long}")), roman(" "), italic(value)],
        Some(long) => vec![bold(format!("--{long}"))],
        None => vec![italic(value)],
    }
}

/// What an argument does, what it may be and what it is unless said.
fn said(arg: &Arg) -> String {
    let mut text = arg.get_help().map(ToString::to_string).unwrap_or_default();
    let hidden = !arg.get_action().takes_values();
    let values = arg.get_possible_values();
    let names: Vec<&str> = values.iter().map(clap::builder::PossibleValue::get_name).collect();
    if !names.is_empty() && !hidden {
        text.push_str(&format!(": {}", names.join(", ")));
    }
    let unless: Vec<_> = arg.get_default_values().iter().map(|v| v.to_string_lossy()).collect();
    if !unless.is_empty() && !hidden {
        text.push_str(&format!(" ({} unless said otherwise)", unless.join(" ")));
    }
    text
}

/// Whether a paragraph has lines that are set in: they must stay as they are.
fn is_laid_out(paragraph: &str) -> bool {
    paragraph.lines().any(|line| line.starts_with("  "))
}

fn told(paragraph: &str, page: &mut Roff) {
    if !is_laid_out(paragraph) {
        page.text([roman(paragraph.replace('\n', " "))]);
        return;
    }
    page.control("nf", []);
    for line in paragraph.lines() {
        page.text([roman(line)]);
    }
    page.control("fi", []);
}
