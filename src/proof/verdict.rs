//! Whether every window of a script can be met: takes a procedure and its plans, gives proven, or the
//! first segment that cannot be shown controllable, with the sentences behind its cycle.
//!
//! Each plan (one a count and answer) is cut at its resting points into segments, each the union of
//! all branches from there. A window whose anchor was reported may be counted from the cue or from the
//! report; a segment that fails is tried again with the windows of its cycle counted the other way.
//! Where sources tell different ways of holding, every choice among them is a plan of its own.

use super::compile::{Forms, Segment, TooLarge, WindowKey, segment};
use super::controllable::{Cycle, Part, Role, Verdict as Answer, check};
use super::hidden::Ground;
use super::ways::ways;
use crate::clock::Millis;
use crate::procedure::model::Procedure;
use crate::procedure::plan::{Next, Plan, StepIx};
use crate::procedure::timing::SpeechLengths;
use crate::source::Place;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// What is known of a script's timing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Every window, limit and dwell can be met, whatever hands and vehicle do inside their bounds.
    Proven(Extent),
    /// No rule for when to cue was found.
    Refused(Box<Refusal>),
    /// The branches explode; nothing is known.
    TooLarge(TooLarge),
    /// What this sentence measures from lies before a place where the run begins again: it cannot be
    /// laid, so nothing is known.
    Unanchored(Place),
}

/// How much was proven.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Extent {
    /// Plans, as many as there are choices before the run. Ways of holding are not counted.
    pub plans: usize,
    /// Segments between resting points, over all plans.
    pub segments: usize,
    /// The points of the largest segment.
    pub points: usize,
    /// Windows and limits laid, over all segments.
    pub demands: usize,
}

impl Extent {
    fn add(&mut self, segments: &Segments) {
        self.segments += segments.len();
        for segment in segments.values() {
            self.points = self.points.max(segment.network.point_count());
            self.demands += segment.demands.len();
        }
    }
}

/// Why a script was refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// Which plan.
    pub plan: usize,
    /// The resting point where the segment begins.
    pub start: StepIx,
    /// By how much it falls short.
    pub short: Millis,
    /// The sentences along the cycle, in its order, zero shares left out, repeats merged.
    pub grounds: Vec<Ground>,
    /// Whether it is certainly impossible (else only not proven): no window had two forms, no answers
    /// shared a link, and no spoken words are in the cycle.
    pub certain: bool,
}

/// Decides over all plans.
#[must_use]
pub fn verdict(procedure: &Procedure, plans: &[Plan], speech: &SpeechLengths) -> Verdict {
    let mut extent = Extent { plans: plans.len(), ..Extent::default() };
    for (nth, plan) in plans.iter().enumerate() {
        let ways = match ways(plan) {
            Ok(ways) => ways,
            Err(step) => return Verdict::TooLarge(TooLarge::Ways(step)),
        };
        for way in &ways {
            match whole(procedure, way, speech) {
                Ok(segments) => extent.add(&segments),
                Err(Verdict::Refused(mut refusal)) => {
                    refusal.plan = nth;
                    return Verdict::Refused(refusal);
                }
                Err(other) => return other,
            }
        }
    }
    Verdict::Proven(extent)
}

/// The segments of one plan that can be reached, by the step where each begins.
pub(super) type Segments = BTreeMap<StepIx, Segment>;

/// One plan with one way of holding: every segment that can be reached, or the verdict that ends it.
pub(super) fn whole(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
) -> Result<Segments, Verdict> {
    let mut segments = BTreeMap::new();
    let mut open: Vec<StepIx> = match plan.entry {
        Some(Next::Step(entry)) => vec![entry],
        _ => Vec::new(),
    };
    while let Some(start) = open.pop() {
        let Entry::Vacant(slot) = segments.entry(start) else { continue };
        let segment = one(procedure, plan, speech, start).map_err(Verdict::TooLarge)?;
        let segment = segment.map_err(Verdict::Refused)?;
        if let Some(place) = segment.unanchored {
            return Err(Verdict::Unanchored(place));
        }
        open.extend(segment.leads.iter().copied());
        slot.insert(segment);
    }
    Ok(segments)
}

/// One segment, its windows counted in whichever form holds.
fn one(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    start: StepIx,
) -> Result<Result<Segment, Box<Refusal>>, TooLarge> {
    let mut forms = Forms::new();
    let mut first: Option<Box<Refusal>> = None;
    loop {
        let made = segment(procedure, plan, speech, start, &forms)?;
        let Answer::Not(cycle) = check(&made.network) else { return Ok(Ok(made)) };
        let refusal = refusal(&made, &cycle, start);
        let other = refusal.grounds.iter().map(|g| WindowKey { step: g.step, place: g.place });
        let other = other.filter(|key| made.forms.contains(key)).find(|key| !forms.contains(key));
        let told = first.get_or_insert_with(|| Box::new(refusal)).clone();
        let Some(key) = other else { return Ok(Err(told)) };
        forms.insert(key);
    }
}

fn refusal(segment: &Segment, cycle: &Cycle, start: StepIx) -> Refusal {
    use crate::procedure::timing::What;
    let mut grounds: Vec<Ground> = Vec::new();
    for used in &cycle.uses {
        for ground in behind(segment, used.part) {
            let same = grounds.iter().position(|g| {
                (g.step, g.place, g.what) == (ground.step, ground.place, ground.what)
            });
            match same {
                Some(at) => grounds[at].length = grounds[at].length.plus(ground.length),
                None => grounds.push(ground),
            }
        }
    }
    grounds.retain(|ground| ground.length != Millis::ZERO);
    let spoken = |g: &Ground| matches!(g.what, What::PrepareWords | What::NowWords);
    let two = |g: &Ground| segment.forms.contains(&WindowKey { step: g.step, place: g.place });
    let certain = !segment.merged && !grounds.iter().any(|g| spoken(g) || two(g));
    Refusal { plan: 0, start, short: Millis::ZERO.minus(cycle.value), grounds, certain }
}

/// The sentences behind one part of a cycle.
fn behind(segment: &Segment, part: Part) -> Vec<Ground> {
    let network = &segment.network;
    match part {
        Part::Bound(number) => {
            let tag = network.bounds()[number].tag.0 as usize;
            segment.grounds.get(tag).cloned().unwrap_or_default()
        }
        Part::Link(number, role) => {
            let tag = network.links()[number].tag.0;
            let legs = segment.legs.get(&tag).map_or(&[][..], Vec::as_slice);
            let share = |least: bool, sign: i64| super::hidden::grounds(legs, least, sign);
            match role {
                Role::Quick => share(true, 1),
                Role::Slow => share(false, -1),
                Role::AtMost => share(false, 1),
                Role::AtLeast => share(true, -1),
            }
        }
    }
}
