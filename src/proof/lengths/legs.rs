//! The legs of one segment: takes its network, gives where it can lead, how soon and how late.
//!
//! With every link held at its most, the earliest times that keep all bounds are the latest at which a
//! guide that cues as soon as it may is done; with every link at its least, the soonest. Longer links
//! never make anything earlier, so these two are the extremes.

use super::Pause;
use crate::clock::{Millis, Span};
use crate::procedure::model::{Procedure, PurseId};
use crate::procedure::plan::{Next, Plan, StepIx};
use crate::procedure::timing::{SpeechLengths, What, prompt};
use crate::proof::compile::{End, Segment};
use crate::proof::verdict::Segments;
use std::collections::{BTreeMap, BTreeSet, VecDeque};

/// Before anything that a segment measures: a day is the longest length that a script can state.
const LONG_AGO: i64 = -2 * Millis::LONGEST.0;

/// The legs of every segment, by the step where it begins.
pub(super) type Legs = BTreeMap<StepIx, Vec<Leg>>;

/// One way through a segment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Leg {
    /// Where it leads.
    pub to: Next,
    /// From the segment's first words to its last outcome, and the cool-down after it.
    pub takes: Span,
    /// The cool-downs in it at the most.
    pub cool: Millis,
    /// The tries that it spends.
    pub used: Vec<(PurseId, u32)>,
    /// Purses that it needs empty, and how many of their tries it has spent by then.
    pub empty: Vec<(PurseId, u32)>,
}

/// The legs of a segment; of several with the same end and price, one.
pub(super) fn legs(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    segment: &Segment,
) -> Vec<Leg> {
    let before = words(procedure, plan, speech, segment.start);
    let asked = |step| questions(procedure, plan, speech, step);
    let late = earliest(segment, before.hi, Some(&asked));
    let soon = earliest(segment, before.lo, None);
    type Price = (Vec<(PurseId, u32)>, Vec<(PurseId, u32)>);
    let mut all: BTreeMap<(Destination, Price), Leg> = BTreeMap::new();
    for end in &segment.ends {
        let End { to, cool, latest: (point, more), earliest, .. } = end;
        let used: Vec<(PurseId, u32)> = end.used.iter().map(|(p, n)| (*p, *n)).collect();
        let empty: Vec<(PurseId, u32)> = end.empty.iter().map(|(p, n)| (*p, *n)).collect();
        let hi = Millis(late[point.index()]).plus(*more).plus(*cool);
        let lo = earliest.map_or(Millis::ZERO, |point| Millis(soon[point.index()])).plus(*cool);
        let takes = Span::new(lo.max(Millis::ZERO), hi);
        let leg = Leg { to: *to, takes, cool: *cool, used: used.clone(), empty: empty.clone() };
        let known = all.entry((Destination::of(*to), (used, empty))).or_insert_with(|| leg.clone());
        if takes.hi > known.takes.hi {
            known.cool = leg.cool;
        }
        known.takes = known.takes.hull(takes);
    }
    all.into_values().collect()
}

/// [`Next`] with an order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Destination {
    Step(u32),
    End(u32),
}

impl Destination {
    const fn of(next: Next) -> Destination {
        match next {
            Next::Step(step) => Destination::Step(step.0),
            Next::End(ending) => Destination::End(ending.0),
        }
    }
}

/// What is said between the outcome before a segment and its first cue. Where the run cannot rest,
/// all may have been said while the answer above was awaited.
fn words(procedure: &Procedure, plan: &Plan, speech: &SpeechLengths, start: StepIx) -> Span {
    let said = prompt(plan, speech, start).hi;
    let chain = plan.chain(start);
    let alerts = chain.iter().flat_map(|ix| &plan.step(*ix).alerts).map(|alert| alert.text);
    // A reminder may come first where a window opens behind this cue.
    let awake = plan.awake.iter().filter(|awake| awake.covers(start)).map(|awake| awake.text);
    let more = alerts.chain(awake).fold(Millis::ZERO, |sum, text| sum.plus(speech.of(text).hi));
    let more = more.plus(questions(procedure, plan, speech, start));
    let least = if plan.step(start).rest_before { said } else { Millis::ZERO };
    Span::new(least, said.plus(more))
}

/// What it takes to say the questions before a stretch. The answers take as long as the person likes:
/// they are pauses.
fn questions(procedure: &Procedure, plan: &Plan, speech: &SpeechLengths, start: StepIx) -> Millis {
    let asks = plan.chain(start).into_iter().flat_map(|ix| &plan.step(ix).asks);
    let asks = asks.filter_map(|id| procedure.readings.get(id.0 as usize));
    asks.fold(Millis::ZERO, |sum, reading| sum.plus(speech.of(reading.text).hi))
}

/// Where the guide waits for the person, on any way of the plan.
pub(super) fn pauses(plan: &Plan, segments: &Segments) -> Vec<Pause> {
    let mut all = BTreeSet::new();
    let cues: BTreeSet<StepIx> =
        segments.values().flat_map(|s| s.cues.iter().map(|(step, _)| *step)).collect();
    for cue in cues {
        for ix in plan.chain(cue) {
            let step = plan.step(ix);
            if plan.step(cue).rest_before {
                all.extend(step.alerts.iter().map(|alert| Pause { step: cue, place: alert.place }));
            }
            if !step.asks.is_empty() {
                all.insert(Pause { step: cue, place: step.place });
            }
        }
    }
    all.into_iter().collect()
}

/// A length with the reminders that may be said during it: each delays what comes after it.
pub(super) fn reminded(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    length: Millis,
) -> Millis {
    let reacts = procedure.operator.reacts.hi;
    let mut total = length;
    for awake in &plan.awake {
        let said = speech.of(awake.text).hi;
        let every = awake.every.minus(said).minus(reacts).minus(said).0.max(1);
        // Each reminder is due so long after the one before, so this many fit into the run with them.
        let times = total.0.div_euclid(every).saturating_add(1);
        total = total.plus(said.times(times));
    }
    total
}

/// How long it takes to ask what is asked before a step; given where links are held at their most.
type Asked<'a> = Option<&'a dyn Fn(StepIx) -> Millis>;

/// For each point the earliest moment that keeps all bounds, links at their most (with `asked`) or
/// least.
fn earliest(segment: &Segment, before: Millis, asked: Asked<'_>) -> Vec<i64> {
    let network = &segment.network;
    let out = needs(segment, asked);
    let mut at = vec![0_i64; network.point_count()];
    // What was before the segment was just now at the latest, and any time ago at the earliest.
    for point in segment.earlier.values().filter(|_| asked.is_none()) {
        at[point.index()] = LONG_AGO;
    }
    if let Some((_, first)) = segment.cues.first() {
        at[first.index()] = before.0;
    }
    let mut queued = vec![true; at.len()];
    let mut queue: VecDeque<usize> = (0..at.len()).collect();
    // A proven segment has no circle that would raise its points for ever.
    let mut left = at.len().saturating_mul(at.len().max(64));
    while let Some(from) = queue.pop_front() {
        queued[from] = false;
        for &(to, least) in &out[from] {
            let need = at[from].saturating_add(least);
            if need > at[to] && left > 0 {
                left -= 1;
                at[to] = need;
                if !std::mem::replace(&mut queued[to], true) {
                    queue.push_back(to);
                }
            }
        }
    }
    at
}

/// For each point, which points lie how much later at the least, links held at one end.
fn needs(segment: &Segment, asked: Asked<'_>) -> Vec<Vec<(usize, i64)>> {
    let network = &segment.network;
    let mut out = vec![Vec::new(); network.point_count()];
    for bound in network.bounds() {
        out[bound.to.index()].push((bound.from.index(), bound.most.0.saturating_neg()));
        // What must lie before an outcome must lie before the quickest one: whoever sets the link
        // going waits for it.
        if let Some(link) = network.link_to(bound.from).filter(|_| bound.most.0 < 0) {
            let link = network.links()[link];
            let least = bound.most.0.saturating_neg().saturating_sub(link.takes.lo.0);
            out[bound.to.index()].push((link.activation.index(), least));
        }
    }
    for link in network.links() {
        let (activation, outcome) = (link.activation.index(), link.outcome.index());
        let legs = segment.legs.get(&link.tag.0).map_or(&[][..], Vec::as_slice);
        let question = legs.iter().find(|leg| leg.what == What::Question);
        let takes = match (asked, question) {
            (None, _) => link.takes.lo.0,
            (Some(_), None) => link.takes.hi.0,
            (Some(asked), Some(question)) => asked(question.step).0,
        };
        out[activation].push((outcome, takes));
        out[outcome].push((activation, takes.saturating_neg()));
    }
    out
}
