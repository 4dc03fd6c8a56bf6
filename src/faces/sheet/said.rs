//! Lengths, moments, signs and outcomes as they stand on the sheet.
//!
//! Takes parts of the model and the numbers of the steps; gives words.

use super::Spare;
use super::number::Numbers;
use crate::clock::{Millis, Span};
use crate::faces::phrases;
use crate::journal::convert::Context;
use crate::procedure::model::{
    Basis, EndingClass, EndingId, Event, EventRef, ItemClass, Met, Outcome, Procedure, Range,
    Turns, Unit,
};

/// A length with a blank between figure and unit: `2 min 30 s`, `0.5 s`.
pub(super) fn length(length: Millis) -> String {
    let total = length.0.max(0);
    let (hours, minutes) = (total / 3_600_000, total / 60_000 % 60);
    let (seconds, rest) = (total / 1000 % 60, total % 1000);
    let mut parts = Vec::new();
    if hours > 0 {
        parts.push(format!("{hours} h"));
    }
    if minutes > 0 {
        parts.push(format!("{minutes} min"));
    }
    match (seconds, rest) {
        (0, 0) if !parts.is_empty() => {}
        (seconds, 0) => parts.push(format!("{seconds} s")),
        (seconds, rest) => {
            let rest = format!("{rest:03}");
            parts.push(format!("{seconds}.{} s", rest.trim_end_matches('0')));
        }
    }
    parts.join(" ")
}

/// Tenths of a second, hundredths below one, rounded down: for what is to spare.
fn short(slack: Millis) -> String {
    let tenths = slack.0.max(0) / 100;
    if tenths < 10 {
        return format!("0.{:02} s", slack.0.max(0) / 10);
    }
    if tenths >= 600 {
        return length(Millis(tenths / 10 * 1000));
    }
    format!("{}.{} s", tenths / 10, tenths % 10)
}

/// What is to spare; what wants care has a shape and a word of its own.
pub(super) fn spare(spare: Spare) -> String {
    match spare {
        Spare::Left { slack, tight: false } => format!("{} to spare", short(slack)),
        Spare::Left { slack, tight: true } => format!("▲ TIGHT: {} to spare", short(slack)),
        Spare::AtRisk => "▲ AT RISK: not proven".to_owned(),
    }
}

/// Whether it wants care.
pub(super) const fn marked(spare: Option<Spare>) -> bool {
    matches!(spare, Some(Spare::AtRisk | Spare::Left { tight: true, .. }))
}

pub(super) fn span(span: Span) -> String {
    if span.lo == span.hi {
        return length(span.lo);
    }
    format!("{} to {}", length(span.lo), length(span.hi))
}

/// `within 30 s`, `between 4 s and 6 s`, `not before 4 s`.
pub(super) fn range(range: Range) -> String {
    match (range.lo, range.hi) {
        (Millis::ZERO, Some(hi)) => format!("within {}", length(hi)),
        (lo, Some(hi)) if lo == hi => format!("exactly {}", length(lo)),
        (lo, Some(hi)) => format!("between {} and {}", length(lo), length(hi)),
        (lo, None) => format!("not before {}", length(lo)),
    }
}

/// `the answer of step 3`, `step 3 is done`.
pub(super) fn moment(of: &EventRef, here: u32, numbers: &Numbers) -> String {
    let turn = if of.previous { " of the turn before" } else { "" };
    let Some(name) = of.path.last() else {
        return match of.event {
            Event::Done | Event::Begun => "the act".to_owned(),
            Event::Released => "letting go".to_owned(),
            Event::Called | Event::Heard => "the cue".to_owned(),
            Event::Answered => "the answer".to_owned(),
            Event::Reported | Event::Over => "the step's end".to_owned(),
        };
    };
    let Some(step) = numbers.before(&of.path, here) else {
        return format!("the end of {}", name.replace('-', " "));
    };
    let what = match of.event {
        Event::Called | Event::Heard => "the cue of",
        Event::Begun => "the beginning of",
        Event::Done => "the act of",
        Event::Released => "letting go in",
        Event::Answered => "the answer in",
        Event::Reported => "your report in",
        Event::Over => "the end of",
    };
    format!("{what} step {step}{turn}")
}

pub(super) fn turns(turns: Option<Turns>) -> &'static str {
    match turns {
        None => "",
        Some(Turns::FirstTurn) => " (first turn only)",
        Some(Turns::FirstTry) => " (first try only)",
        Some(Turns::LaterTurns) => " (later turns only)",
        Some(Turns::LastTurn) => " (last turn only)",
        Some(Turns::EarlierTurns) => " (all turns but the last)",
    }
}

/// What is seen, and from when to when.
pub(super) fn met(met: &Met, here: u32, context: &Context<'_>, numbers: &Numbers) -> String {
    let signs: Vec<_> = met.signs.iter().map(|id| context.sign(*id)).collect();
    let delay = Range { lo: met.delay.lo, hi: Some(met.delay.hi) };
    let after = moment(&met.anchor, here, numbers);
    let text =
        format!("{}, {} after {after}{}", phrases::signs(&signs), range(delay), turns(met.turns));
    capital(&text)
}

/// What follows.
pub(super) fn outcome(
    procedure: &Procedure,
    outcome: &Outcome,
    here: u32,
    numbers: &Numbers,
) -> String {
    match outcome {
        Outcome::GoOn => "go on".to_owned(),
        Outcome::GoTo(to, _) => format!("go to {}", step_called(to, here, numbers)),
        Outcome::GoBack { to, way, after, purse, otherwise, .. } => {
            let mut text = String::new();
            if *after > Millis::ZERO {
                text.push_str(&format!("wait {}, then ", length(*after)));
            }
            text.push_str(&format!("go back to {}", step_called(to, here, numbers)));
            if let Some(way) = way.and_then(|way| procedure.ways.get(way.0 as usize)) {
                text.push_str(&format!(" by way of \"{}\"", way.name.replace('-', " ")));
            }
            let purse = procedure.purses.get(purse.0 as usize);
            let tries = purse.map_or(0, |purse| purse.tries);
            let shared = purse.and_then(|purse| purse.text).map(|id| procedure.text(id));
            let of = shared.map_or_else(String::new, |text| format!(" of all {text}"));
            let boxes = "☐".repeat(tries.min(10) as usize);
            text.push_str(&format!(" (at most {}{of}: {boxes})", times(tries)));
            let then = self::outcome(procedure, otherwise, here, numbers);
            format!("{text}; after that, {then}")
        }
        Outcome::Finish(id) => format!("end: {}", ending(procedure, *id)),
        Outcome::ThisOne(class) => {
            let class = match class {
                ItemClass::Learned => "learned",
                ItemClass::NotLearned => "not learned",
                ItemClass::Unsure => "unsure",
            };
            format!("this one is {class}; go on with the next")
        }
    }
}

fn step_called(name: &str, here: u32, numbers: &Numbers) -> String {
    match numbers.nearest(name, here) {
        Some(number) => format!("step {number}"),
        None => format!("\"{}\"", name.replace('-', " ")),
    }
}

fn times(n: u32) -> String {
    match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}

/// An ending by its class, and by its name where that says more.
pub(super) fn ending(procedure: &Procedure, id: EndingId) -> String {
    let Some(ending) = procedure.endings.get(id.0 as usize) else { return String::new() };
    let class = class(ending.class);
    let name = ending.name.replace('-', " ");
    if name == class { class.to_owned() } else { format!("{class} ({name})") }
}

pub(super) const fn class(class: EndingClass) -> &'static str {
    match class {
        EndingClass::Learned => "learned",
        EndingClass::NotLearned => "not learned",
        EndingClass::Unsure => "unsure",
        EndingClass::Stopped => "stopped",
    }
}

/// Where a number comes from.
pub(super) fn basis(basis: &Basis) -> Option<String> {
    match basis {
        Basis::CommonPractice => Some("common practice, no source".to_owned()),
        Basis::Source(text) => Some(text.clone()),
        Basis::Assumed(text) => Some(format!("assumed: {text}")),
        Basis::Unsaid => None,
    }
}

pub(super) fn unit(unit: &Unit) -> &str {
    crate::journal::convert::unit_word(unit)
}

/// A sentence begins with a capital letter.
#[must_use]
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}
