//! A record in short, in words: takes a [`Summary`], gives a table that fits 80 columns.

use std::fmt::Write as _;

use super::phrases;
use super::safe::{fit, safe};
use crate::clock::Millis;
use crate::journal::entry::{Header, Interruption, RunKind};
use crate::journal::happened::Sentence;
use crate::training::replay::{Missed, Row, Summary};

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
        "{:>9}  {:<26} {:<22} {:>8}  left of each window, for sure",
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

/// Two records in short, step by step side by side: how long each step took, and what was left of its
/// tightest window. A step is compared with the same step, turn and try of the other record.
#[must_use]
pub fn side_by_side(names: &[String; 2], sums: &[Summary; 2]) -> String {
    let mut text = format!("A: {}\nB: {}\n\n", safe(&names[0]), safe(&names[1]));
    let _ = writeln!(
        text,
        "{:<28} {:>10} {:>10}  {:>10} {:>10}",
        "step", "A took", "B took", "A left", "B left"
    );
    let [one, two] = sums;
    let same = |a: &Row, b: &Row| a.step == b.step && a.nth == b.nth;
    let only = two.rows.iter().filter(|row| !one.rows.iter().any(|other| same(row, other)));
    let pairs = one.rows.iter().map(|row| (Some(row), two.rows.iter().find(|o| same(row, o))));
    for (a, b) in pairs.chain(only.map(|row| (None, Some(row)))) {
        let Some(row) = a.or(b) else { continue };
        let again = if row.nth > 1 { format!(" (again, {})", row.nth) } else { String::new() };
        let name = safe(&format!("{}{again}", phrases::step(&row.step))).into_owned();
        let of = |row: Option<&Row>, of: fn(&Row) -> Option<String>| {
            row.and_then(of).unwrap_or_else(|| "-".to_owned())
        };
        let _ = writeln!(
            text,
            "{:<28} {:>10} {:>10}  {:>10} {:>10}",
            fit(&name, 28),
            of(a, took),
            of(b, took),
            of(a, left),
            of(b, left)
        );
    }
    let ended = |sum: &Summary| match (&sum.ending, sum.interrupted) {
        (Some((_, class)), _) => phrases::class(*class).to_owned(),
        (None, Some(by)) => format!("broken off: {}", broken_off(by)),
        (None, None) => "unfinished".to_owned(),
    };
    let _ = writeln!(text, "\nA ended: {}; B ended: {}", ended(one), ended(two));
    let long = |sum: &Summary| phrases::seconds(crate::clock::Moment(sum.length.0));
    let _ = writeln!(text, "A took {} s, B took {} s", long(one), long(two));
    text
}

fn took(row: &Row) -> Option<String> {
    row.outcome.as_ref().map(|(_, at)| figure(at.since(row.entered)))
}

fn left(row: &Row) -> Option<String> {
    let least = row.margins.iter().map(|(_, _, left)| *left).min();
    row.missed.as_ref().map(|_| "missed".to_owned()).or_else(|| least.map(figure))
}

fn figure(length: Millis) -> String {
    phrases::seconds(crate::clock::Moment(length.0))
}

/// The window that closed first, where the record says which.
fn missing(missed: &Missed, row: &Row) -> Option<String> {
    let why = missed.why.as_ref()?;
    let of = seconds(Millis(why.ms));
    let line = why.line;
    let whose = match missed.step == row.step {
        true => String::new(),
        false => format!(", {}", safe(&phrases::step(&missed.step))),
    };
    Some(match why.is {
        Sentence::Limit => format!("MISSED: the limit of {of} (line {line})"),
        Sentence::Window | Sentence::Hold => format!("MISSED: none of {of} (line {line}{whose})"),
    })
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
        .map(|(line, window, left)| {
            // It may have been met all the same: nobody knows.
            let unsure = if *left < Millis::ZERO { "NOT SURE: " } else { "" };
            let of = window.map_or_else(String::new, |of| format!(" of {}", seconds(of)));
            format!("{unsure}{}{of} (line {line})", seconds(*left))
        })
        .collect();
    left.extend(row.missed.as_ref().and_then(|missed| missing(missed, row)));
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
