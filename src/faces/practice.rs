//! A rehearsal in words: what the imaginary vehicle does, what is said first, what is kept back where
//! the person practises from memory.

use std::collections::BTreeSet;

use super::phrases;
use crate::journal::convert::Context;
use crate::journal::entry::RehearsalTerms;
use crate::journal::happened::{Shown, Stage};
use crate::journal::practice::Vehicle;
use crate::procedure::model::Procedure;
use crate::procedure::plan::{GuardIx, Plan, StepIx};
use crate::source::SourceMap;

/// So many lines about the vehicle stand at once.
pub const MOST_LINES: usize = 2;

/// What stands in place of what is kept back.
const FROM_MEMORY: &str = "from memory (say again shows it)";

/// What the vehicle does, as the person learns of it; nothing for what nobody is told.
#[must_use]
pub fn vehicle(what: &Vehicle) -> Option<String> {
    Some(match what {
        Vehicle::Felt { after, least, .. } if after < least => format!(
            "it felt that, {} after its cue: too soon for a hand ({})",
            seconds(*after),
            seconds(*least)
        ),
        Vehicle::Felt { after, .. } => format!("it felt that, {} after its cue", seconds(*after)),
        Vehicle::Stroke { nth, of, .. } => format!("it felt stroke {nth} of {of}"),
        Vehicle::LetGo { held, .. } => format!("let go, held for {}", seconds(*held)),
        Vehicle::Shows { signs, .. } => phrases::signs(signs),
        Vehicle::ShowsUnknown { .. } => {
            "something that the script does not know: none of its answers".to_owned()
        }
        Vehicle::Silent { .. } | Vehicle::Hint { .. } => return None,
        Vehicle::Lost { what, .. } => format!("imagine that this is broken now: {what}"),
        Vehicle::Slipped { .. } => {
            "imagine that you did something else than told: the wrong thing, or miscounted"
                .to_owned()
        }
        Vehicle::NotFelt { one_more: true } => "it felt one stroke too many".to_owned(),
        Vehicle::NotFelt { one_more: false } => {
            "a touch, but nothing is to be done at it now".to_owned()
        }
        Vehicle::Reads { value } => format!("the imaginary answer: {value}"),
    })
}

/// What is also said aloud: what a person at a vehicle would hear, or must be told.
#[must_use]
pub fn aloud(what: &Vehicle) -> Option<String> {
    match what {
        Vehicle::Shows { .. }
        | Vehicle::ShowsUnknown { .. }
        | Vehicle::Lost { .. }
        | Vehicle::Slipped { .. } => vehicle(what),
        _ => None,
    }
}

/// Everything that [`aloud`] can give in runs of these plans, each once.
#[must_use]
pub fn all_aloud(procedure: &Procedure, plans: &[Plan], sources: &SourceMap) -> Vec<String> {
    let mut all = BTreeSet::new();
    for plan in plans {
        let context = Context { procedure, plan: Some(plan), sources };
        for (ix, step) in (0..).map(StepIx).zip(&plan.steps) {
            let at = || context.step(ix);
            let met = (0..).zip(&step.met).map(|(nth, _)| {
                let signs = context.met(Some(ix), nth);
                Vehicle::Shows { step: at(), nth, signs, most: 0, within: None }
            });
            all.extend(met.filter_map(|what| aloud(&what)));
            let others = [Vehicle::ShowsUnknown { step: at() }, Vehicle::Slipped { step: at() }];
            all.extend(others.iter().filter_map(aloud));
            let guards = (0..).map(GuardIx).zip(&plan.guards);
            let lost =
                guards.map(|(ix, _)| Vehicle::Lost { step: at(), what: context.guard(ix).0 });
            all.extend(lost.filter_map(|what| aloud(&what)));
        }
    }
    all.into_iter().collect()
}

/// Seconds with one decimal, rounded down.
#[must_use]
pub fn seconds(ms: i64) -> String {
    super::odds::seconds(crate::clock::Millis(ms))
}

/// What is told before anything else.
#[must_use]
pub fn opening(practice: &RehearsalTerms) -> String {
    format!("This is a rehearsal. There is no vehicle.{}", terms(practice))
}

/// What stands beside the word for the vehicle until the run begins.
#[must_use]
pub fn before(practice: &RehearsalTerms) -> String {
    format!("imaginary.{}", terms(practice))
}

fn terms(practice: &RehearsalTerms) -> String {
    let mut text = String::new();
    if practice.pace < 1000 {
        text.push_str(&format!(" It runs slower: {} of the true pace.", share(practice.pace)));
    }
    if practice.own_hands {
        text.push_str(" Touch it with the act key, then tell what it answers.");
    } else {
        text.push_str(" Imaginary hands act, you tell what the vehicle answers.");
    }
    if !practice.hints {
        text.push_str(" What to do is kept back; say again shows it.");
    }
    text
}

/// A pace in words.
fn share(pace: u32) -> String {
    match pace {
        500 => "half".to_owned(),
        250 => "a quarter".to_owned(),
        pace => format!("{} %", phrases::number(i64::from(pace) * 100)),
    }
}

/// The kinds of questions that a short rehearsal answered by itself, and how many of each.
#[must_use]
pub fn answered_for(kinds: &[(&str, usize)]) -> String {
    let some = kinds.iter().filter(|(_, n)| *n > 0);
    let some: Vec<String> = some
        .map(|(kind, n)| if *n == 1 { (*kind).to_owned() } else { format!("{n} {kind}") })
        .collect();
    let n: usize = kinds.iter().map(|(_, n)| n).sum();
    let questions = if n == 1 { "question" } else { "questions" };
    format!("{SHORT}{n} {questions} for you: {}. At a vehicle they are yours", some.join(", "))
}

/// How the remark of a short rehearsal begins.
pub const SHORT: &str = "a short rehearsal has answered ";

/// A frame without what the person practises to know: what to take, what to do, what comes next.
/// Cautions and questions stay.
#[must_use]
pub fn veiled(shown: &Shown) -> Shown {
    let steps = matches!(shown.stage, Stage::BeforeCue | Stage::Acting | Stage::Waiting);
    if !steps || shown.caution.is_some() || shown.question.is_some() {
        return shown.clone();
    }
    let mut veiled = shown.clone();
    veiled.hands = vec![FROM_MEMORY.to_owned()];
    veiled.act = veiled.act.map(|_| FROM_MEMORY.to_owned());
    veiled.next = None;
    veiled.hoped = Vec::new();
    veiled.ways = Vec::new();
    veiled.away = Vec::new();
    if let Some(step) = &mut veiled.step {
        step.name = "from memory".to_owned();
    }
    veiled
}
