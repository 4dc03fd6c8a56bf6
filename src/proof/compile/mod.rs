//! From a plan to networks: every outcome, every retry, every hand and vehicle inside its bounds.
//!
//! Takes a procedure, its plan and the lengths of its prompts; gives one [`Segment`] for each resting
//! point that can be reached: the union of all branches from there up to the next resting points.
//! A resting point is a step behind which no window, limit or answer reaches (`rest_before`), so what
//! was before it does not matter, and segments are checked apart. Retries inside a segment are
//! unrolled. What a missed window or a lost guard leads to begins a segment of its own: in the network
//! no window is missed, and a guard may be lost at any moment. What cannot be laid, because it measures
//! from before the segment, is said ([`Segment::unanchored`]).
//!
//! Cues are points that the guide decides; reports are links that nature decides; acts, answers and
//! releases are hidden ([`Hidden`]). What is spoken before a cue delays it by its longest length,
//! exactly as the guide itself waits for it.

pub mod ahead;
mod awake;
mod demands;
mod outcomes;
mod stretch;

use super::hidden::{Ground, Hidden, Leg};
use super::network::{EdgeTag, Network, NetworkError, Point};
use crate::clock::{Millis, Span};
use crate::procedure::model::{Procedure, PurseId};
use crate::procedure::plan::{Next, Plan, Quiet, StepIx};
use crate::procedure::timing::{Point as Named, SpeechLengths, What};
use crate::source::Place;
use std::collections::{BTreeMap, BTreeSet};

/// The most points of one segment.
pub const MOST_SEGMENT_POINTS: usize = 4_000;

/// The union network of all branches between resting points.
#[derive(Clone, Debug)]
pub struct Segment {
    /// The resting point (or the step of a run going on) where it begins.
    pub start: StepIx,
    /// The network.
    pub network: Network,
    /// For each tag, the sentences behind the edge.
    pub grounds: Vec<Vec<Ground>>,
    /// For each link's tag, what it is made of.
    pub legs: BTreeMap<u32, Vec<Leg>>,
    /// Windows whose anchor could be counted from its cue or from its report.
    pub forms: BTreeSet<WindowKey>,
    /// Those of them that are counted from the cue.
    pub chosen: Forms,
    /// Every cue, in the order of making: the first of a step is the one on its first try.
    pub cues: Vec<(StepIx, Point)>,
    /// Every window and limit that was laid on the network, by its upper end.
    pub demands: Vec<Demand>,
    /// Where its branches lead: resting points, and steps at which a run begins again after a missed
    /// window or a lost guard. Each begins a segment of its own.
    pub leads: BTreeSet<StepIx>,
    /// Answers with one continuation share a link: sound, and perhaps stricter than needed.
    pub merged: bool,
    /// Moments before the segment from which a least is measured: it can always be waited for before
    /// the first cue, which is not before them.
    pub earlier: BTreeMap<Named, Point>,
    /// A sentence that measures from a moment before the segment, or binds one that its branches never
    /// reach: it could not be laid, and nothing may be concluded from the network.
    pub unanchored: Option<WindowKey>,
    /// Where each branch ends, and what follows.
    pub ends: Vec<End>,
    /// How often each retry was written out, by its sentence.
    pub retried: BTreeMap<Place, u32>,
}

/// The end of a branch: at an ending, or at a step where another segment begins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct End {
    /// The step whose outcome ends it.
    pub step: StepIx,
    /// What follows.
    pub to: Next,
    /// A cool-down before it.
    pub cool: Millis,
    /// It comes no later than this long after a point.
    pub latest: (Point, Millis),
    /// It comes no earlier than this point; `None`: it may come at any time since the segment began.
    pub earliest: Option<Point>,
    /// Tries spent on the way, by purse, the last of them included.
    pub used: BTreeMap<PurseId, u32>,
    /// Purses that must be empty for this way to be taken, and how many tries had been spent in the
    /// segment by then.
    pub empty: BTreeMap<PurseId, u32>,
}

/// A window in one place of one branch.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WindowKey {
    /// Its step.
    pub step: StepIx,
    /// Its line.
    pub place: Place,
}

/// The upper end of a window or limit laid on the network: what its slack and the latest safe moment
/// of its cue can be searched for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Demand {
    /// Which.
    pub key: WindowKey,
    /// A window, a limit, a holding.
    pub what: What,
    /// Its bound in the network; `None` where it is a sum of constants.
    pub bound: Option<usize>,
    /// The sum left over where it is one of constants.
    pub left: Option<Millis>,
    /// Measured from this point.
    pub from: Point,
    /// The cue that it binds.
    pub cue: Point,
    /// The window's own upper end.
    pub length: Millis,
}

/// Why no segment could be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TooLarge {
    /// Too many points in a segment ([`MOST_SEGMENT_POINTS`]) or in all.
    Points(Explosion),
    /// A sum of lengths beyond what a network holds.
    Length(StepIx),
    /// Too many choices among ways of holding.
    Ways(StepIx),
}

impl TooLarge {
    /// The sentence of the retry that makes it so large, where one does.
    #[must_use]
    pub fn retry(&self) -> Option<Place> {
        match self {
            TooLarge::Points(explosion) => explosion.retry.map(|(place, _)| place),
            TooLarge::Length(_) | TooLarge::Ways(_) => None,
        }
    }
}

/// Where the branches of a plan explode.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Explosion {
    /// The step at which the count passed its limit, or where the largest segment begins.
    pub step: StepIx,
    /// The retry that is written out most often, and how often; nothing where there is none: then the
    /// answers and what they lead to are too many.
    pub retry: Option<(Place, u32)>,
}

/// How each window is written where it has two forms; a missing one is told.
pub type Forms = BTreeSet<WindowKey>;

/// A moment in all its forms: from the cue first, from the report last.
type Shapes = Vec<Hidden>;

#[derive(Clone, Debug, Default)]
struct Path {
    seen: BTreeMap<Named, Shapes>,
    used: BTreeMap<PurseId, u32>,
    empty: BTreeMap<PurseId, u32>,
    entered: BTreeSet<StepIx>,
    /// Steps that the path went back to, none before the last of them.
    returns: Vec<StepIx>,
    /// For each reminder that holds, a point, and how long before or after it the last one was said, or
    /// its stretch began, at the earliest.
    awake: BTreeMap<usize, (Point, Millis)>,
    /// Un-happens when it is entered.
    back: Option<StepIx>,
}

/// How a step is come to.
#[derive(Clone, Debug, Default)]
struct Entry {
    /// The end of the step above.
    over: Option<Point>,
    /// A cool-down, and its sentence.
    cool: Option<(Millis, Place)>,
    /// What is prepared already while the answer above is awaited.
    ahead: Option<Ahead>,
    /// The end of the act above, for a step that goes straight on.
    act: Option<Hidden>,
}

/// Words said while an answer is awaited: for the step on the hoped-for way.
#[derive(Clone, Copy, Debug)]
struct Ahead {
    /// They begin behind the words of this cue.
    during: Point,
    /// Whose cue that is.
    by: StepIx,
    /// How long its words take at the most.
    heard: Millis,
    /// For which step they are.
    whose: StepIx,
}

struct Work {
    at: StepIx,
    entry: Entry,
    path: Path,
}

/// What comes after an outcome.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Onward {
    to: Next,
    retry: Option<Retry>,
    /// Only when this purse is empty.
    spent: Option<PurseId>,
}

/// A way back that spends a try.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Retry {
    purse: PurseId,
    back: StepIx,
    cool: Millis,
    place: Place,
}

/// Compiles the segment that begins at a resting point, with these windows in their form from the
/// cue.
///
/// # Errors
/// [`TooLarge`] where the branches explode.
pub fn segment(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    start: StepIx,
    forms: &Forms,
) -> Result<Segment, TooLarge> {
    let mut maker = Maker::new(procedure, plan, speech, start, forms);
    maker.work.push(Work { at: start, entry: Entry::default(), path: Path::default() });
    maker.run()?;
    Ok(maker.made)
}

struct Maker<'a> {
    procedure: &'a Procedure,
    plan: &'a Plan,
    speech: &'a SpeechLengths,
    forms: &'a Forms,
    /// The run begins again here, after a miss: windows of the first try are past.
    afresh: bool,
    /// By how much the words of a step behind an answer awaited in quiet are counted as longer.
    spared: BTreeMap<StepIx, Millis>,
    /// Ends of windows that are not laid.
    without: ahead::Without,
    /// How cues are come to, where that is asked for.
    visits: Option<ahead::Visits>,
    /// For the earliest of a moment before the first cue, its latest.
    late_of: BTreeMap<Point, Point>,
    made: Segment,
    work: Vec<Work>,
    legs: u32,
}

impl<'a> Maker<'a> {
    fn new(
        procedure: &'a Procedure,
        plan: &'a Plan,
        speech: &'a SpeechLengths,
        start: StepIx,
        forms: &'a Forms,
    ) -> Maker<'a> {
        let made = Segment {
            start,
            network: Network::new(),
            grounds: vec![Vec::new()],
            legs: BTreeMap::new(),
            forms: BTreeSet::new(),
            chosen: forms.clone(),
            cues: Vec::new(),
            demands: Vec::new(),
            leads: BTreeSet::new(),
            merged: false,
            earlier: BTreeMap::new(),
            unanchored: None,
            ends: Vec::new(),
            retried: BTreeMap::new(),
        };
        let afresh = !plan.step(start).rest_before;
        let spare = |quiet: &Quiet| {
            let steps = quiet.steps.iter().filter_map(|at| plan.ahead(*at));
            steps.map(|next| (next, quiet.spare)).collect()
        };
        let spared = plan.quiet.as_ref().map(spare).unwrap_or_default();
        Maker {
            procedure,
            plan,
            speech,
            forms,
            afresh,
            spared,
            without: ahead::Without::new(),
            visits: None,
            late_of: BTreeMap::new(),
            made,
            work: Vec::new(),
            legs: 0,
        }
    }

    fn run(&mut self) -> Result<(), TooLarge> {
        while let Some(work) = self.work.pop() {
            self.stretch(work)?;
        }
        Ok(())
    }

    // ---- small parts ----

    fn point(&mut self, at: StepIx) -> Result<Point, TooLarge> {
        let retry = || self.made.retried.iter().max_by_key(|(_, n)| **n).map(|(p, n)| (*p, *n));
        if self.made.network.point_count() >= MOST_SEGMENT_POINTS {
            return Err(TooLarge::Points(Explosion { step: at, retry: retry() }));
        }
        let added = self.made.network.add_point();
        added.map_err(|_| TooLarge::Points(Explosion { step: at, retry: None }))
    }

    fn tag(&mut self, grounds: Vec<Ground>) -> EdgeTag {
        self.made.grounds.push(grounds);
        EdgeTag(u32::try_from(self.made.grounds.len() - 1).unwrap_or(u32::MAX))
    }

    fn leg(&mut self, span: Span, step: StepIx, place: Place, what: What) -> Leg {
        self.legs += 1;
        Leg { id: self.legs, span, step, place, what }
    }

    fn too_long(at: StepIx) -> impl Fn(NetworkError) -> TooLarge {
        move |_| TooLarge::Length(at)
    }

    /// `to` not before `from` and this long.
    fn after(
        &mut self,
        from: Point,
        to: Point,
        by: Vec<Ground>,
        at: StepIx,
    ) -> Result<(), TooLarge> {
        let wait = by.iter().fold(Millis::ZERO, |sum, ground| sum.minus(ground.length));
        let tag = self.tag(by);
        let most = Millis::ZERO.minus(wait);
        self.made.network.add_bound(to, from, most, tag).map_err(Self::too_long(at))
    }

    /// `to` exactly this long after `from`.
    fn exactly(
        &mut self,
        from: Point,
        to: Point,
        length: Millis,
        by: Ground,
    ) -> Result<(), TooLarge> {
        let at = by.step;
        let back = self.tag(vec![Ground { length: Millis::ZERO.minus(length), ..by }]);
        let forth = self.tag(vec![Ground { length, ..by }]);
        let network = &mut self.made.network;
        network.add_bound(from, to, length, forth).map_err(Self::too_long(at))?;
        network.add_bound(to, from, Millis::ZERO.minus(length), back).map_err(Self::too_long(at))
    }
}

const fn forward(to: Next) -> Onward {
    Onward { to, retry: None, spent: None }
}
