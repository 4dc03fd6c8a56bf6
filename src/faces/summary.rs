//! A record in short, in words: takes a [`Summary`], gives a table that fits 80 columns.

use std::fmt::Write as _;

use super::phrases;
use super::safe::{fit, safe};
use crate::clock::Millis;
use crate::journal::entry::{Header, Interruption, RunKind};
use crate::training::replay::{Row, Summary};

/// A cue later than this is worth a word.
const LATE: Millis = Millis(100);

/// The table of a record.
#[must_use]
pub fn table(header: Option<&Header>, summary: &Summary) -> String {
    let mut text = String::new();
    if let Some(header) = header {
        let kind = match header.run {
            RunKind::Live => "live run",
            RunKind::Rehearsal => "REHEARSAL",
        };
        let _ = writeln!(text, "{}", safe(&header.title));
        let _ =
            writeln!(text, "{kind}, {}, status: {}\n", safe(&header.started), safe(&header.status));
    }
    let _ = writeln!(
        text,
        "{:>9}  {:<26} {:<22} {:>8}  left of each window",
        "at", "step", "outcome", "took"
    );
    for row in &summary.rows {
        line(&mut text, row);
    }
    text.push('\n');
    match (&summary.ending, summary.interrupted) {
        (Some((ending, class)), _) => {
            let _ = writeln!(text, "ended: {} ({})", phrases::class(*class), safe(ending));
        }
        (None, Some(by)) => {
            let _ = writeln!(text, "broken off: {}", broken_off(by));
        }
        (None, None) => text.push_str("unfinished: the record stops without an ending\n"),
    }
    for (label, class) in &summary.things {
        let _ = writeln!(text, "  {}: {}", safe(label), phrases::class(*class));
    }
    let _ = writeln!(
        text,
        "length: {}",
        phrases::seconds(crate::clock::Moment(summary.length.0)).trim()
    );
    text
}

fn line(text: &mut String, row: &Row) {
    let name = if row.nth > 1 {
        format!("{} (again, {})", phrases::step(&row.step), row.nth)
    } else {
        phrases::step(&row.step)
    };
    let (outcome, took) = match &row.outcome {
        Some((outcome, at)) => (phrases::outcome(outcome), seconds(at.since(row.entered))),
        None if row.taken_back => ("taken back".to_owned(), "-".to_owned()),
        None => ("-".to_owned(), "-".to_owned()),
    };
    let mut left: Vec<String> = row
        .margins
        .iter()
        .map(|(line, window, left)| match window {
            Some(window) => format!("{} of {} (line {line})", seconds(*left), seconds(*window)),
            None => format!("{} (line {line})", seconds(*left)),
        })
        .collect();
    if row.late > LATE {
        left.push(format!("cue {} late", seconds(row.late)));
    }
    let _ = writeln!(
        text,
        "{:>9}  {} {} {:>8}  {}",
        phrases::seconds(row.entered).trim(),
        pad(&safe(&name), 26),
        pad(&safe(&outcome), 22),
        took,
        left.join(", ")
    );
}

fn pad(text: &str, columns: usize) -> String {
    let text = fit(text, columns);
    let used = unicode_width::UnicodeWidthStr::width(text.as_str());
    format!("{text}{}", " ".repeat(columns.saturating_sub(used)))
}

/// Seconds with one decimal, rounded down: what is left is never more than it was.
fn seconds(length: Millis) -> String {
    let tenths = length.0.div_euclid(100);
    let sign = if tenths < 0 { "-" } else { "" };
    let tenths = tenths.unsigned_abs();
    format!("{sign}{}.{} s", tenths / 10, tenths % 10)
}

/// By what a run was broken off, in words.
#[must_use]
pub const fn broken_off(by: Interruption) -> &'static str {
    match by {
        Interruption::TerminalClosed => "the terminal was closed",
        Interruption::Keyboard => "Ctrl-C",
        Interruption::Termination => "the program was told to end",
        Interruption::InternalError => "a fault of the program",
        Interruption::InputEnded => "no more input could come",
    }
}
