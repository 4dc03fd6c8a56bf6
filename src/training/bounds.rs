//! What records say of the times that a script declares: takes the counts of one text, gives for each
//! declared time that was broken the upper end that would agree with what was seen, and whether the
//! timing is still proven with it.
//!
//! A record holds a time as broken by *at least* so much: the guide gives the reaction, the words and the
//! report their most before it says so. A proposal is therefore the least widening that agrees, a
//! quantile by nearest rank among the times that the moment was told of; where its bound was not broken
//! it counts as the declared one. In a stretch of acts that is reported once, the last act is named. An
//! answer that came without a press for the act before it may be late because the hand was; only the
//! script's author can tell. No lower end is proposed: what is reported sooner than any report can come is
//! refused as too early and pressed again, so that records do not hold it.

use super::replay::script;
use super::sensitivity::{Declared, Of, every, with};
use super::tally::{Broken, Group, Timed, Which};
use crate::clock::{Millis, Span};
use crate::journal::entry::Header;
use crate::journal::spoken::put_back;
use crate::procedure::model::Procedure;
use crate::procedure::plan::Plan;
use crate::procedure::plans;
use crate::procedure::timing::{SpeechLengths, speech_lengths};
use crate::proof::verdict::{Verdict, verdict};
use crate::source::Place;

/// Of a thousand times so many are to agree: nineteen of twenty, and all (our own choice).
const COVERED: [u32; 2] = [950, 1000];
/// Proposals are tenths of a second, as scripts are mostly written.
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
    pub at: Timed,
    /// Its line in the script.
    pub line: u32,
    /// As it is written there.
    pub written: String,
    /// The declared bounds.
    pub declared: Span,
    /// Longer ones, the shorter first.
    pub wider: Vec<Wider>,
}

/// Bounds that are long enough for more.
#[derive(Clone, Debug, PartialEq)]
pub struct Wider {
    /// For so many of a thousand.
    pub of_thousand: u32,
    /// The bounds, rounded up to tenths of a second.
    pub span: Span,
    /// What becomes of the proof.
    pub verdict: Verdict,
}

/// What the records of a group propose; nothing where its script no longer checks, or no time that it
/// declares was broken.
#[must_use]
pub fn proposed(group: &Group) -> Option<Proposed> {
    let header = group.header.as_ref()?;
    let (sources, procedure) = script(header)?;
    let speech = lengths(&procedure, header);
    let plan = plans(&procedure).0.into_iter().next()?;
    let all = every(&procedure);
    let mut times = Vec::new();
    for (at, broken) in &group.broken {
        let Some((declared, place)) = all.iter().find_map(|d| Some((d, is_of(d, at, &plan)?)))
        else {
            continue;
        };
        let n = group.told.get(at).copied().unwrap_or(0);
        times.push(Proposal {
            at: at.clone(),
            line: sources.line_col(place).line,
            written: sources.slice(place).split_whitespace().collect::<Vec<_>>().join(" "),
            declared: declared.span,
            wider: wider((&procedure, &speech), declared, broken, n),
        });
    }
    times.sort_by_key(|time| time.line);
    let as_declared = decided(&procedure, &speech);
    (!times.is_empty()).then_some(Proposed { as_declared, times })
}

/// The lengths of the prompts that the run was counted with.
fn lengths(procedure: &Procedure, header: &Header) -> SpeechLengths {
    let mut speech = speech_lengths(procedure);
    put_back(&mut speech, &header.spoken);
    speech.lag = Millis(header.lag.max(0));
    speech
}

/// Where the time stands that a broken moment speaks of. A record numbers answers as the plan does.
fn is_of(declared: &Declared, at: &Timed, plan: &Plan) -> Option<Place> {
    let found = match (&declared.of, at.which) {
        (Of::Hands(name, place) | Of::Strokes(name, place), Which::Act("done")) => (name, *place),
        (Of::Answer(name, place), Which::Answer(nth)) => {
            let step = plan.steps.iter().find(|step| step.name == at.step)?;
            let met = step.met.get(nth as usize).filter(|met| met.place == *place)?;
            (name, met.place)
        }
        _ => return None,
    };
    (*found.0 == at.step).then_some(found.1)
}

fn wider(
    (procedure, speech): (&Procedure, &SpeechLengths),
    declared: &Declared,
    broken: &Broken,
    n: u64,
) -> Vec<Wider> {
    let mut all: Vec<Wider> = Vec::new();
    for of_thousand in COVERED {
        let more = broken.longer.quantile_among(n, of_thousand);
        let span = Span::new(declared.span.lo, up(declared.span.hi, more));
        if span != declared.span && all.iter().all(|known| known.span != span) {
            let verdict = decided(&with(procedure, &declared.of, span), speech);
            all.push(Wider { of_thousand, span, verdict });
        }
    }
    all
}

/// Later by so much, in whole steps; as it is where nothing is added.
fn up(bound: Millis, more: Millis) -> Millis {
    let sum = bound.0.saturating_add(more.0).saturating_add(STEP - 1);
    if more == Millis::ZERO { bound } else { Millis(sum.div_euclid(STEP) * STEP) }
}

fn decided(procedure: &Procedure, speech: &SpeechLengths) -> Verdict {
    verdict(procedure, &plans(procedure).0, speech)
}
