//! What records say of the times that a script declares: takes the counts of one text, gives for each
//! declared time that was broken the bounds that would agree with what was seen, and whether the
//! timing is still proven with them.
//!
//! A record holds a time as broken by *at least* so much: the guide gives the reaction, the words and the
//! report their most before it says so. A proposal is therefore the least widening that agrees, a
//! quantile by nearest rank; where no bound was broken a time counts as the declared one. In a stretch of
//! acts that is reported once, the last act is named. An answer that came without a press for the act
//! before it may be late because the hand was; only the script's author can tell.

use super::replay::script;
use super::sensitivity::{Declared, Of, every, with};
use super::tally::{Broken, Group};
use crate::clock::{Millis, Span};
use crate::procedure::model::Procedure;
use crate::procedure::plans;
use crate::procedure::timing::speech_lengths;
use crate::proof::verdict::{Verdict, verdict};
use crate::source::Place;

/// Of a thousand times so many are to agree.
const COVERED: [u32; 2] = [950, 1000];
/// Proposals are tenths of a second.
const STEP: i64 = 100;

/// What the records propose.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposed {
    /// The verdict on the script as it is.
    pub as_declared: Verdict,
    /// Each time that was broken, in the script's order.
    pub times: Vec<Proposal>,
}

/// A declared time that was broken.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// The step and the moment, as the tally has them.
    pub at: (String, &'static str),
    /// Its line in the script.
    pub line: u32,
    /// As it is written there.
    pub written: String,
    /// The declared bounds.
    pub declared: Span,
    /// Wider ones, the narrower first.
    pub wider: Vec<Wider>,
}

/// Bounds that agree with more.
#[derive(Clone, Debug, PartialEq)]
pub struct Wider {
    /// With so many of a thousand.
    pub of_thousand: u32,
    /// The bounds, rounded outwards to tenths of a second.
    pub span: Span,
    /// What becomes of the proof.
    pub verdict: Verdict,
}

/// What the records of a group propose; nothing where its script no longer checks, or no time that it
/// declares was broken.
#[must_use]
pub fn proposed(group: &Group) -> Option<Proposed> {
    let (sources, procedure) = script(group.header.as_ref()?)?;
    let all = every(&procedure);
    let mut times = Vec::new();
    for (at, broken) in &group.broken {
        let Some((declared, place)) = all.iter().find_map(|d| Some((d, is_of(d, at)?))) else {
            continue;
        };
        let n = group.entered.get(&at.0).copied().unwrap_or(0);
        times.push(Proposal {
            at: at.clone(),
            line: sources.line_col(place).line,
            written: sources.slice(place).split_whitespace().collect::<Vec<_>>().join(" "),
            declared: declared.span,
            wider: wider(&procedure, declared, broken, n),
        });
    }
    times.sort_by_key(|time| time.line);
    let as_declared = decided(&procedure);
    (!times.is_empty()).then_some(Proposed { as_declared, times })
}

/// Where the time stands that a broken moment speaks of.
fn is_of(declared: &Declared, (step, mark): &(String, &'static str)) -> Option<Place> {
    match (&declared.of, *mark) {
        (Of::Hands(name, place) | Of::Strokes(name, place), "done")
        | (Of::Answer(name, place), "answered")
            if name == step =>
        {
            Some(*place)
        }
        _ => None,
    }
}

fn wider(procedure: &Procedure, declared: &Declared, broken: &Broken, n: u64) -> Vec<Wider> {
    let mut all: Vec<Wider> = Vec::new();
    for of_thousand in COVERED {
        let more = broken.longer.quantile_among(n, of_thousand);
        let less = broken.sooner.quantile_among(n, of_thousand);
        let span = Span::new(down(declared.span.lo, less), up(declared.span.hi, more));
        if span != declared.span && all.iter().all(|known| known.span != span) {
            let verdict = decided(&with(procedure, &declared.of, span));
            all.push(Wider { of_thousand, span, verdict });
        }
    }
    all
}

/// Sooner by so much, in whole steps; as it is where nothing is taken away.
fn down(bound: Millis, less: Millis) -> Millis {
    let rounded = Millis(bound.0.saturating_sub(less.0).div_euclid(STEP) * STEP);
    if less == Millis::ZERO { bound } else { rounded.max(Millis::ZERO) }
}

/// Later by so much, in whole steps; as it is where nothing is added.
fn up(bound: Millis, more: Millis) -> Millis {
    let sum = bound.0.saturating_add(more.0).saturating_add(STEP - 1);
    if more == Millis::ZERO { bound } else { Millis(sum.div_euclid(STEP) * STEP) }
}

fn decided(procedure: &Procedure) -> Verdict {
    verdict(procedure, &plans(procedure).0, &speech_lengths(procedure))
}
