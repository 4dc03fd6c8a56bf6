//! Whether every window of a script can be met: takes a procedure and its plans, gives proven, or the
//! first segment that cannot be shown controllable, with the sentences behind its cycle.
//!
//! Each plan (one a count and answer) is cut at its resting points into segments, each the union of
//! all branches from there. A window whose anchor was reported may be counted from the cue or from the
//! report; a segment that fails is tried again with the windows of its cycle counted the other way.
//! Where sources tell different ways of holding, every choice among them is a plan of its own.

use super::compile::{Explosion, Forms, Segment, TooLarge, WindowKey, segment};
use super::controllable::{Cycle, Part, Role, Stopped, Verdict as Answer, check_until};
use super::hidden::Ground;
use super::quiet::hush;
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
    /// The points of all segments.
    pub all_points: usize,
    /// Windows and limits laid, over all segments.
    pub demands: usize,
}

impl Extent {
    fn add(&mut self, segments: &Segments) {
        self.segments += segments.len();
        for segment in segments.values() {
            self.points = self.points.max(segment.network.point_count());
            self.all_points += segment.network.point_count();
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
    /// The moments of the segment.
    pub points: usize,
}

/// What is proven, network by network: every plan with every way of holding, and its segments.
#[derive(Clone, Debug)]
pub struct Proof {
    /// How much.
    pub extent: Extent,
    /// The parts, the first plan first.
    pub(super) parts: Vec<ProvenPlan>,
}

/// One plan with one way of holding, its segments all controllable.
#[derive(Clone, Debug)]
pub(super) struct ProvenPlan {
    /// The number of the plan.
    pub plan: usize,
    /// The plan with that way of holding.
    pub way: Plan,
    /// Its segments, by the step where each begins.
    pub segments: Segments,
}

/// The segments of one plan that can be reached, by the step where each begins.
pub(super) type Segments = BTreeMap<StepIx, Segment>;

/// Decides over all plans.
#[must_use]
pub fn verdict(procedure: &Procedure, plans: &[Plan], speech: &SpeechLengths) -> Verdict {
    match prove(procedure, plans, speech, &|| false) {
        Ok(Ok(proof)) => Verdict::Proven(proof.extent),
        Ok(Err(verdict)) => verdict,
        // A proof that nobody stops comes to its end; only memory could end it before.
        Err(Stopped) => Verdict::TooLarge(TooLarge::Points(Explosion::default())),
    }
}

/// Decides over all plans and keeps what was proven; or gives the verdict that is not *proven*. Asks
/// `stop` many times a second whether to give up.
///
/// # Errors
/// [`Stopped`] once `stop` has said so.
pub fn prove(
    procedure: &Procedure,
    plans: &[Plan],
    speech: &SpeechLengths,
    stop: &dyn Fn() -> bool,
) -> Result<Result<Proof, Verdict>, Stopped> {
    let extent = Extent { plans: plans.len(), ..Extent::default() };
    let mut proof = Proof { extent, parts: Vec::new() };
    for (nth, plan) in plans.iter().enumerate() {
        let mut ways = match ways(plan) {
            Ok(ways) => ways,
            Err(step) => return Ok(Err(Verdict::TooLarge(TooLarge::Ways(step)))),
        };
        hush(procedure, &mut ways, speech, stop)?;
        for way in ways {
            let segments = match whole(procedure, &way, speech, stop)? {
                Ok(segments) => segments,
                Err(Verdict::Refused(mut refusal)) => {
                    refusal.plan = nth;
                    return Ok(Err(Verdict::Refused(refusal)));
                }
                Err(other) => return Ok(Err(other)),
            };
            proof.extent.add(&segments);
            proof.parts.push(ProvenPlan { plan: nth, way, segments });
            if proof.extent.all_points > MOST_POINTS {
                let explosion = proof.explosion();
                return Ok(Err(Verdict::TooLarge(TooLarge::Points(explosion))));
            }
        }
    }
    Ok(Ok(proof))
}

/// The most points over all segments of a script.
pub const MOST_POINTS: usize = 20_000;

impl Proof {
    /// What makes the segments so many points: the retry that is written out most often.
    fn explosion(&self) -> Explosion {
        let segments = || self.parts.iter().flat_map(|part| part.segments.values());
        let mut times: BTreeMap<Place, u32> = BTreeMap::new();
        for (place, n) in segments().flat_map(|segment| &segment.retried) {
            let sum = times.entry(*place).or_insert(0);
            *sum = sum.saturating_add(*n);
        }
        let largest = segments().max_by_key(|segment| segment.network.point_count());
        let step = largest.map_or(StepIx(0), |segment| segment.start);
        Explosion { step, retry: times.into_iter().max_by_key(|(_, n)| *n) }
    }
}

/// One plan with one way of holding: every segment that can be reached, or the verdict that ends it.
pub(super) fn whole(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    stop: &dyn Fn() -> bool,
) -> Result<Result<Segments, Verdict>, Stopped> {
    let mut segments = BTreeMap::new();
    let mut open: Vec<StepIx> = match plan.entry {
        Some(Next::Step(entry)) => vec![entry],
        _ => Vec::new(),
    };
    while let Some(start) = open.pop() {
        let Entry::Vacant(slot) = segments.entry(start) else { continue };
        let segment = match one(procedure, plan, speech, start, stop)? {
            Ok(Ok(segment)) => segment,
            Ok(Err(refusal)) => return Ok(Err(Verdict::Refused(refusal))),
            Err(large) => return Ok(Err(Verdict::TooLarge(large))),
        };
        if let Some(key) = segment.unanchored {
            return Ok(Err(Verdict::Unanchored(key.place)));
        }
        open.extend(segment.leads.iter().copied());
        slot.insert(segment);
    }
    Ok(Ok(segments))
}

/// A segment, or why it is refused, or why none was made.
pub(super) type Made = Result<Result<Segment, Box<Refusal>>, TooLarge>;

/// One segment, its windows counted in whichever form holds.
pub(super) fn one(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    start: StepIx,
    stop: &dyn Fn() -> bool,
) -> Result<Made, Stopped> {
    let mut forms = Forms::new();
    let mut first: Option<Box<Refusal>> = None;
    loop {
        if stop() {
            return Err(Stopped);
        }
        let made = match segment(procedure, plan, speech, start, &forms) {
            Ok(made) => made,
            Err(large) => return Ok(Err(large)),
        };
        let Answer::Not(cycle) = check_until(&made.network, stop)? else {
            return Ok(Ok(Ok(made)));
        };
        let refusal = refusal(&made, &cycle, start);
        let other = refusal.grounds.iter().map(|g| WindowKey { step: g.step, place: g.place });
        let other = other.filter(|key| made.forms.contains(key)).find(|key| !forms.contains(key));
        let told = first.get_or_insert_with(|| Box::new(refusal)).clone();
        let Some(key) = other else { return Ok(Ok(Err(told))) };
        forms.insert(key);
    }
}

pub(super) fn refusal(segment: &Segment, cycle: &Cycle, start: StepIx) -> Refusal {
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
    let points = segment.network.point_count();
    Refusal { plan: 0, start, short: Millis::ZERO.minus(cycle.value), grounds, certain, points }
}

/// The sentences behind one part of a cycle.
pub(super) fn behind(segment: &Segment, part: Part) -> Vec<Ground> {
    let network = &segment.network;
    match part {
        Part::Bound(number) => {
            // A bound that a trial has added stands behind those of the segment, and in no line.
            let tag = network.bounds().get(number).map(|bound| bound.tag.0 as usize);
            tag.and_then(|tag| segment.grounds.get(tag)).cloned().unwrap_or_default()
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
