//! What the sheet says of the proof.
//!
//! Takes a judgement on a script's timing; gives what it means, on which bounds it rests, how long a run
//! takes, and what is known of every window, in words and figures. What is to spare is rounded down, the
//! longest run up, the shortest down.

use super::number::Numbers;
use super::said;
use super::{Proof, Spare, WindowProof};
use crate::clock::Millis;
use crate::faces::proven::{claim, kinds, spoken};
use crate::faces::verdict::{judgement as told, word};
use crate::procedure::Examined;
use crate::proof::lengths::{Lengths, Worst};
use crate::proof::report::{Assumption, Judgement, Rests};

/// What the sheet says of a judgement.
#[must_use]
pub fn proof(judgement: &Judgement, examined: &Examined) -> Proof {
    let word = word(&judgement.verdict()).to_owned();
    match judgement {
        Judgement::Proven(report) => {
            let windows = report.windows.iter().map(|window| {
                let spare = Spare::Left { slack: window.slack, tight: window.hard.is_some() };
                WindowProof { place: window.place, spare }
            });
            Proof {
                word,
                statement: vec![without_word(&claim(report, examined))],
                bounds: bounds(&report.rests),
                lengths: lengths(&report.lengths, examined),
                windows: windows.collect(),
            }
        }
        Judgement::Refused(refusal, _) => {
            let windows = refusal.grounds.iter();
            let windows =
                windows.map(|ground| WindowProof { place: ground.place, spare: Spare::AtRisk });
            let windows = windows.collect();
            Proof { word, statement: refused(judgement, examined), windows, ..Proof::default() }
        }
        Judgement::TooLarge(_) | Judgement::Unanchored(_) => {
            Proof { word, statement: refused(judgement, examined), ..Proof::default() }
        }
    }
}

/// `Proven: there is a rule …`: the word stands on the sheet before it.
fn without_word(text: &str) -> String {
    said::capital(text.split_once(": ").map_or(text, |(_, rest)| rest))
}

/// Why it is not proven: a sentence, then the shares of the sum and what would mend it, a line each.
fn refused(judgement: &Judgement, examined: &Examined) -> Vec<String> {
    let text = told(judgement, examined, false);
    let (rows, head): (Vec<&str>, Vec<&str>) = text.lines().partition(|line| line.starts_with(' '));
    let head = without_word(&head.join(" "));
    let rows = rows.iter().map(|row| row.split_whitespace().collect::<Vec<_>>().join(" "));
    std::iter::once(head).chain(rows).collect()
}

fn bounds(rests: &Rests) -> Vec<String> {
    let assumed: Vec<String> = rests.assumed.iter().map(|one| assumption(*one)).collect();
    let mut lines = vec![
        format!("It rests on {} bounds, {} of them assumed.", rests.total(), rests.assumptions()),
        format!(
            "{} stand in lines of the script: {}.",
            rests.written.len(),
            kinds(rests).join(", ")
        ),
        format!("{} that no line says: {}.", assumed.len(), assumed.join("; ")),
    ];
    lines.extend(spoken(rests).map(|words| format!("{}.", said::capital(&words))));
    lines
}

fn assumption(assumption: Assumption) -> String {
    match assumption {
        Assumption::Reaction(span) => format!("reaction {}", said::span(span)),
        Assumption::Report(span) => format!("reports in {}", said::span(span)),
        Assumption::Pace(span) => format!("a pace in {}", said::span(span)),
        Assumption::Speech { rate, texts } => {
            let plural = if texts == 1 { "" } else { "s" };
            format!("{texts} spoken text{plural} by the model ({rate} words a minute and 0.6 s)")
        }
        Assumption::Clock(error) => format!("the clock within {}", said::length(error)),
        Assumption::Jitter(late) => format!("cues at most {} late", said::length(late)),
    }
}

fn lengths(lengths: &Lengths, examined: &Examined) -> Vec<String> {
    let whole = |length: Millis, up: i64| {
        said::length(Millis::secs(length.0.saturating_add(up * 999).div_euclid(1000)))
    };
    let mut lines = Vec::new();
    if let Some(best) = lengths.best {
        lines.push(format!("At best {} to a learned ending.", whole(best, 0)));
    }
    let mut worst = format!("At worst {} with nothing done twice", whole(lengths.once, 1));
    if lengths.most > lengths.once {
        worst.push_str(&format!(", {} with every retry", whole(lengths.most, 1)));
        if lengths.cool_downs > Millis::ZERO {
            worst.push_str(&format!(" ({} of it cool-downs)", whole(lengths.cool_downs, 1)));
        }
    }
    lines.push(format!("{worst}."));
    if let Worst::Unbounded(at, _) = lengths.worst() {
        let step = examined.plans.first().and_then(|plan| plan.steps.get(at.0 as usize));
        let numbers = examined.procedure.as_ref().map(Numbers::of);
        let number = step.zip(numbers).and_then(|(step, all)| all.nearest(&step.name, u32::MAX));
        let step = number.map_or_else(|| "a step".to_owned(), |number| format!("step {number}"));
        let more = match lengths.pauses.len() {
            0 | 1 => String::new(),
            n => format!(", and so at {} more places", n - 1),
        };
        lines.push(format!(
            "Not counted: before {step} the run waits for you as long as you like{more}."
        ));
    }
    lines
}
