//! `stepbell why CODE`: takes a complaint's code or a verdict, gives what it means, how to mend it and what it
//! rests on; without a code, the list.

use std::fmt::Write as _;

use super::args::WhyArgs;
use super::exit::Exit;
use super::out::Answer;
use crate::complaint::why::Why;
use crate::complaint::{Code, why, why_verdict};
use crate::faces::safe::{safe, wrap};

/// Columns of a text for reading.
const COLUMNS: usize = 88;
/// Two names are not alike below this (Jaro-Winkler).
const ALIKE: f64 = 0.7;

/// The answer to `why`.
#[must_use]
pub fn run(args: &WhyArgs) -> Answer {
    let Some(name) = &args.code else { return Answer::ok(list()) };
    if let Some(verdict) = why_verdict::find(name) {
        let head = format!("{} (verdict)\n{}\n", verdict.name, verdict.sentence);
        return Answer::ok(head + &long(verdict.why));
    }
    match Code::find(name.trim()) {
        Some(code) => Answer::ok(one(code)),
        None => Answer::trouble(Exit::Usage, unknown(name)),
    }
}

fn list() -> String {
    let mut text = String::new();
    for code in Code::all() {
        let _ =
            writeln!(text, "{:<30} {:<8} {}", code.name(), code.severity().word(), code.sentence());
    }
    for verdict in &why_verdict::ALL {
        let _ = writeln!(text, "{:<30} {:<8} {}", verdict.name, "verdict", verdict.sentence);
    }
    text
}

fn one(code: Code) -> String {
    let head = format!("{} ({})\n{}\n", code.name(), code.severity().word(), code.sentence());
    head + &long(why::of(code))
}

fn long(why: Why) -> String {
    let mut text = String::new();
    let parts =
        [("Why it matters", why.matters), ("To mend it", why.mend), ("It rests on", why.rests_on)];
    for (head, part) in parts.iter().filter(|(_, part)| !part.is_empty()) {
        let _ = writeln!(text, "\n{head}:");
        for line in part.lines() {
            for line in wrap(line, COLUMNS, 0) {
                let _ = writeln!(text, "  {line}");
            }
        }
    }
    text
}

fn unknown(name: &str) -> String {
    let likeness = |code: &Code| strsim::jaro_winkler(code.name(), name);
    let near = Code::all()
        .filter(|code| likeness(code) > ALIKE)
        .max_by(|a, b| likeness(a).total_cmp(&likeness(b)));
    let near = near.map_or_else(String::new, |near| format!(" Did you mean {}?", near.name()));
    format!("there is no complaint called {}.{near} `stepbell why` lists them all.", safe(name))
}
