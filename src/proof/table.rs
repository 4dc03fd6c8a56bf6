//! When one cue may be given, worked out before the clock runs: takes a step and what stands before
//! its cue, gives lengths from the moments that have happened to its earliest and latest safe moment.
//!
//! The network ahead is checked first. A window that cannot be promised whatever is done is left out
//! and named, so that everything else is still promised.

use super::compile::ahead::{Ahead, Matters, Standing, Without, ahead};
use super::compile::{Forms, Segment, WindowKey};
use super::controllable::{LatestSafe, Use, Verdict, check, latest_safe};
use super::dispatch::{Plan as Dispatch, Reach};
use super::hidden::Ground;
use super::network::Point;
use super::verdict::behind;
use crate::clock::{Millis, Moment};
use crate::procedure::model::Procedure;
use crate::procedure::plan::{Limit, Plan, StepIx};
use crate::procedure::timing::{Known, Point as Named, SpeechLengths, What, Why};
use std::collections::BTreeSet;

/// After so many forms tried and windows left out nothing is promised.
const MOST_ROUNDS: u32 = 200;

/// A moment before the cue and how far from it the cue may be.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Length {
    from: Named,
    /// Whether it counts from the latest at which that moment can have been, else from the earliest.
    late: bool,
    length: Millis,
    why: Option<Why>,
}

impl Length {
    fn at(&self, known: &Known) -> Option<Moment> {
        let bracket = known.get(self.from)?;
        let from = if self.late { bracket.latest } else { bracket.earliest };
        Some(from.after(self.length))
    }
}

/// When one cue may be given.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Table {
    latest: Vec<Length>,
    earliest: Vec<Length>,
    /// Windows that cannot be promised, by step and line.
    at_risk: BTreeSet<WindowKey>,
    /// Whether nothing at all is promised: the branches explode, or contradict each other.
    nothing: bool,
    points: usize,
    /// Windows counted from the cue of what they are measured from, and ends left out.
    forms: Forms,
    without: Without,
}

/// What tables are made of.
#[derive(Clone, Copy, Debug)]
pub struct Given<'a> {
    /// The checked model.
    pub procedure: &'a Procedure,
    /// The plan, one way of holding chosen.
    pub plan: &'a Plan,
    /// How long texts take to say.
    pub speech: &'a SpeechLengths,
}

impl Table {
    /// Works out when the cue of `start` may be given.
    #[must_use]
    pub fn new(given: Given<'_>, start: StepIx, standing: &Standing) -> Table {
        let mut table = Table::default();
        match table.settle(given, start, standing) {
            Some((ahead, dispatch)) => table.fill(given.plan, &ahead, &dispatch),
            None => table.nothing = true,
        }
        table
    }

    fn fill(&mut self, plan: &Plan, ahead: &Ahead, dispatch: &Dispatch) {
        self.points = dispatch.network().point_count();
        let past: Vec<Point> = ahead.past.iter().flat_map(|past| [past.early, past.late]).collect();
        let length = |reach: Reach| {
            let past = ahead.past.iter().find(|p| [p.early, p.late].contains(&reach.from))?;
            let why = why(plan, &ahead.segment, &reach.uses);
            let late = past.late == reach.from;
            Some(Length { from: past.named, late, length: reach.length, why })
        };
        let latest = dispatch.latest_from(ahead.cue, &past);
        self.latest = latest.into_iter().filter_map(length).collect();
        match dispatch.earliest_from(ahead.cue, &past) {
            Some(earliest) => self.earliest = earliest.into_iter().filter_map(length).collect(),
            None => self.nothing = true,
        }
    }

    /// The latest moment at which the cue is still safe, and the sentence that binds it.
    #[must_use]
    pub fn latest(&self, known: &Known) -> Option<(Moment, Option<Why>)> {
        let all = self.latest.iter().filter_map(|l| Some((l.at(known)?, l.why)));
        all.min_by_key(|(at, _)| *at)
    }

    /// The earliest moment at which the cue is safe.
    #[must_use]
    pub fn earliest(&self, known: &Known) -> Moment {
        let all = self.earliest.iter().filter_map(|length| length.at(known));
        all.max().unwrap_or(Moment::START)
    }

    /// Windows ahead that cannot be promised; `None`: nothing is promised at all.
    #[must_use]
    pub fn at_risk(&self) -> Option<&BTreeSet<WindowKey>> {
        (!self.nothing).then_some(&self.at_risk)
    }

    /// How many points the network behind it has.
    #[must_use]
    pub const fn points(&self) -> usize {
        self.points
    }

    /// Takes over what another way of holding asks for too.
    pub fn join(&mut self, other: Table) {
        self.latest.extend(other.latest);
        self.earliest.extend(other.earliest);
        self.at_risk.extend(other.at_risk);
        self.nothing |= other.nothing;
        self.points += other.points;
    }

    /// The network ahead with every window in the form that holds, those that cannot be promised left
    /// out; `None` where nothing of it can be used.
    fn settle(
        &mut self,
        given: Given<'_>,
        start: StepIx,
        standing: &Standing,
    ) -> Option<(Ahead, Dispatch)> {
        if standing.too_large {
            return None;
        }
        for _ in 0..MOST_ROUNDS {
            let made = given.ahead(start, standing, &self.forms, &self.without)?;
            self.at_risk.extend(made.segment.unanchored);
            let Verdict::Not(cycle) = check(&made.segment.network) else {
                let dispatch = Dispatch::new(made.segment.network.clone()).ok()?;
                return Some((made, dispatch));
            };
            let grounds = grounds(&made.segment, &cycle.uses);
            let keys = grounds.iter().map(|g| WindowKey { step: g.step, place: g.place });
            let mut other = keys.filter(|key| made.segment.forms.contains(key));
            if let Some(key) = other.find(|key| !self.forms.contains(key)) {
                self.forms.insert(key);
                continue;
            }
            let (key, upper) = hopeless(&grounds, &self.without)?;
            self.without.insert((key, upper));
            self.at_risk.insert(key);
            self.forms.clear();
        }
        None
    }

    /// The latest safe moment of the cue by the search over the network ahead with the true times in
    /// it: far slower than [`Table::latest`], and the measure of it.
    #[must_use]
    pub fn latest_by_search(&self, given: Given<'_>, start: StepIx, known: &Known) -> LatestSafe {
        let standing = Matters::ahead_of(given.plan, start).now(start, known);
        let Some(made) = given.ahead(start, &standing, &self.forms, &self.without) else {
            return LatestSafe::NotControllable;
        };
        let mut network = made.segment.network;
        let zero = network.extra_point();
        for past in &made.past {
            let Some(bracket) = known.get(past.named) else { continue };
            for (point, at) in [(past.early, bracket.earliest), (past.late, bracket.latest)] {
                network.exactly(zero, point, Millis(at.0));
            }
        }
        latest_safe(&network, zero, made.cue)
    }
}

impl Given<'_> {
    fn ahead(
        &self,
        start: StepIx,
        standing: &Standing,
        forms: &Forms,
        without: &Without,
    ) -> Option<Ahead> {
        let Given { procedure, plan, speech } = self;
        ahead(procedure, plan, speech, start, standing, forms, without).ok()
    }
}

/// The end of a window to be given up so that the rest can be kept: an upper end before a lower one,
/// the one furthest ahead.
fn hopeless(grounds: &[Ground], without: &Without) -> Option<(WindowKey, bool)> {
    let ends = grounds.iter().filter(|g| is_demand(g.what)).map(|ground| {
        let key = WindowKey { step: ground.step, place: ground.place };
        (key, ground.length > Millis::ZERO)
    });
    let ends = ends.filter(|end| !without.contains(end));
    ends.max_by_key(|(key, upper)| (*upper, key.step, key.place))
}

const fn is_demand(what: What) -> bool {
    matches!(what, What::Window | What::Limit | What::Holding | What::Awake)
}

/// The sentences along a way through the network, in its order, not merged.
fn grounds(segment: &Segment, uses: &[Use]) -> Vec<Ground> {
    uses.iter().flat_map(|used| behind(segment, used.part)).collect()
}

/// The demand that binds: the first upper end on the way.
fn why(plan: &Plan, segment: &Segment, uses: &[Use]) -> Option<Why> {
    let grounds = grounds(segment, uses);
    let upper = |ground: &&Ground| is_demand(ground.what) && ground.length > Millis::ZERO;
    grounds.iter().filter(upper).find_map(|ground| sentence(plan, ground))
}

/// A demand as its sentence states it.
fn sentence(plan: &Plan, ground: &Ground) -> Option<Why> {
    let Ground { step, place, what, .. } = *ground;
    let (anchor, length) = match what {
        What::Limit => {
            let inside = |l: &&Limit| l.place == place && l.from <= step && step <= l.to;
            let limit = plan.limits.iter().find(inside)?;
            (Named::of(limit.anchor), limit.range.hi?)
        }
        _ => {
            let window = plan.step(step).windows.iter().find(|w| w.place == place)?;
            (Named::of(window.anchor), window.range.hi?)
        }
    };
    Some(Why { step, place, what, anchor, length })
}
