//! A procedure made flat for one run: counts chosen, answers known, turns unrolled, names resolved.
//!
//! Takes a checked model and [`Choices`]; gives a [`Plan`]: one list of steps with every target and
//! anchor as an index. The guide walks it, `timing` lists its events and bounds, the prover compiles
//! it. Planning also finds the complaints that depend on paths.

mod build;
mod carry;
mod choose;
mod find;
mod graph;
mod resolve;
mod rest;
mod unroll;

pub use choose::{MOST_VARIANTS, variants};
pub use find::prompt_too_long;

use crate::clock::{Millis, Span};
use crate::complaint::Complaint;
use crate::procedure::model::{
    Alert, Basis, Counted, EndingId, Event, HandCount, HelperId, Hold, ItemClass, ItemId, PlaceId,
    Procedure, Profile, PurseId, Range, ReadingId, SignId, TextId,
};
use crate::source::Place;
use std::collections::BTreeSet;

/// A step of a plan.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StepIx(pub u32);
/// A guard of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct GuardIx(pub u32);

/// One thing of a group, or a single item (then `nth` is 0).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Thing {
    /// The item or group.
    pub item: ItemId,
    /// Which of the group, from 0.
    pub nth: u32,
}

/// What a run has chosen before it starts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Choices {
    /// How many of each group, by item; a missing group has its least count.
    pub counts: Vec<(ItemId, u32)>,
    /// Answers to readings.
    pub answers: Vec<(ReadingId, Value)>,
}

/// An answer to a reading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Value {
    /// In thousandths of the reading's unit.
    Number(i64),
    /// Free text, or the name of a choice.
    Text(String),
}

/// A procedure made flat.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Plan {
    /// What was chosen.
    pub choices: Choices,
    /// The steps, in the order of the script; steps of `by way of` parts stand behind them.
    pub steps: Vec<PlanStep>,
    /// How many of them are the script's own; from here on stand the steps of `by way of` parts.
    pub main: u32,
    /// Where the run begins.
    pub entry: Option<Next>,
    /// Every guard, with the steps in which it holds.
    pub guards: Vec<PlanGuard>,
    /// Points of no return, each crossed at `called` of its step.
    pub no_returns: Vec<NoReturn>,
    /// Limits on stretches.
    pub limits: Vec<Limit>,
    /// Things to do every so often.
    pub awake: Vec<Awake>,
    /// Every new thing with a turn of its own in a `for each`, in order of its turn.
    pub things: Vec<Thing>,
    /// Answers that are awaited in quiet, once the proof has decided which.
    pub quiet: Option<Quiet>,
}

/// Steps whose answer is listened for: nothing of what comes after it is said before it is told.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Quiet {
    /// Which steps.
    pub steps: BTreeSet<StepIx>,
    /// What is said behind such an answer is counted as so much longer.
    pub spare: Millis,
}

/// What comes next on the way forward.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Next {
    /// This step.
    Step(StepIx),
    /// This ending.
    End(EndingId),
}

/// What an outcome leads to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Target {
    /// Forward.
    To(Next),
    /// The thing of this turn ends like this, then forward.
    ThisOne {
        /// Which thing.
        thing: Thing,
        /// How it ends.
        class: ItemClass,
        /// What comes then.
        next: Next,
    },
    /// Begin again, while tries last.
    Again {
        /// Which tries are spent.
        purse: PurseId,
        /// The first step to do: the way's first, or the step gone back to.
        enter: StepIx,
        /// The step gone back to; events of it and of all later steps un-happen when it is entered.
        /// A part on the way still sees them.
        back: StepIx,
        /// Not before this long after the outcome is known.
        cool_down: Millis,
        /// When the tries are spent. Never itself `Again`.
        spent: Box<Target>,
        /// Where it stands.
        place: Place,
    },
}

impl Target {
    /// Where it leads forward; a retry leads to the first step to do.
    #[must_use]
    pub const fn first(&self) -> Next {
        match self {
            Target::To(next) | Target::ThisOne { next, .. } => *next,
            Target::Again { enter, .. } => Next::Step(*enter),
        }
    }
}

/// One step, everything resolved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanStep {
    /// Its name in the script.
    pub name: String,
    /// Its line.
    pub place: Place,
    /// Innermost turn: which, of how many (from 0), for `step (2 of 3)`.
    pub turn: Option<(u32, u32)>,
    /// The thing of this turn, inside a `for each` over new items.
    pub thing: Option<Thing>,
    /// Who acts.
    pub by: Option<HelperId>,
    /// Where.
    pub at: PlaceId,
    /// Walking time from where the same person was before, on every path.
    pub walk: Span,
    /// Things in use.
    pub with: Vec<Thing>,
    /// Things in the person's hands when the act begins.
    pub in_hand: Vec<Thing>,
    /// Things taken at the act.
    pub take: Vec<Thing>,
    /// Things put down at the step's end.
    pub put_down: Vec<Thing>,
    /// Hands needed.
    pub hands: HandCount,
    /// Things laid at a distance, with where.
    pub away: Vec<(Thing, TextId)>,
    /// The instruction.
    pub text: TextId,
    /// What the prepare cue says.
    pub prepare: TextId,
    /// What the now cue says after its tone.
    pub say: Option<TextId>,
    /// The stated length of the now words.
    pub say_lasting: Option<Span>,
    /// Cautions before it.
    pub alerts: Vec<Alert>,
    /// Equally good ways.
    pub ways: Vec<TextId>,
    /// No act at all.
    pub only_watch: bool,
    /// First movement to what the vehicle feels, ways included.
    pub takes: Span,
    /// Where `takes` comes from.
    pub takes_basis: Basis,
    /// Its line.
    pub takes_place: Place,
    /// No cue: follows the act above.
    pub straight_on: bool,
    /// How it is reported.
    pub report: Report,
    /// Counted act, with the count known.
    pub count: Option<(u32, Counted)>,
    /// Held act: the first way of holding, which the guide leads through.
    pub hold: Option<Hold>,
    /// Other sources' ways of holding: nobody is led through them, but each is proven.
    pub or_hold: Vec<Hold>,
    /// The step whose held thing is let go by this act.
    pub lets_go: Option<StepIx>,
    /// Windows that hold in this turn.
    pub windows: Vec<PlanWindow>,
    /// Answers, hoped-for first.
    pub met: Vec<PlanMet>,
    /// Silence, where it is declared.
    pub silence: Option<PlanSilence>,
    /// Anything else.
    pub otherwise: Target,
    /// A slip.
    pub slip: Target,
    /// A missed window; `None` where no window can be missed.
    pub late: Option<Target>,
    /// Where an act reported without a sign leads: what `go on` means here.
    pub go_on: Next,
    /// Readings asked when the step is reached.
    pub asks: Vec<ReadingId>,
    /// What to do if the run breaks off in this step.
    pub break_off: Option<TextId>,
    /// Whether no window is open between the step above and this one on any path: the run can be
    /// held before it.
    pub rest_before: bool,
    /// The same but for limits on stretches: a few more words may be said before it.
    pub breath_before: bool,
    /// Whether no window is open in this step either: words may be said at any time.
    pub free: bool,
    /// The last step of its turn: reaching its `go_on` forward ends `thing` as learned.
    pub closes_thing: bool,
}

/// How a step is reported.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Report {
    /// The vehicle's answer is reported.
    Answer,
    /// The act is reported.
    Act,
    /// Nobody tells.
    None,
}

/// A moment of a step of the plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Anchor {
    /// Which step.
    pub step: StepIx,
    /// Which moment.
    pub event: Event,
}

/// A window of a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanWindow {
    /// The moment it binds: begun, done or released.
    pub subject: Event,
    /// The bounds.
    pub range: Range,
    /// Measured from.
    pub anchor: Anchor,
    /// Only on the first try.
    pub first_try_only: bool,
    /// Where the numbers come from.
    pub basis: Basis,
    /// Its line.
    pub place: Place,
}

/// An answer of a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanMet {
    /// All must appear.
    pub signs: Vec<SignId>,
    /// The vehicle's delay until the (last) sign begins.
    pub delay: Span,
    /// Measured from.
    pub anchor: Anchor,
    /// From the sign's beginning until it is known for sure: lasting and quiet.
    pub recognise: Span,
    /// What follows.
    pub then: Target,
    /// Where the numbers come from.
    pub basis: Basis,
    /// Its line.
    pub place: Place,
}

/// Silence of a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanSilence {
    /// Nothing seen by then, after the anchor.
    pub within: Millis,
    /// Measured from.
    pub anchor: Anchor,
    /// What follows.
    pub then: Target,
    /// Where the number comes from.
    pub basis: Basis,
    /// Its line.
    pub place: Place,
}

/// A guard with the steps in which it holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanGuard {
    /// What must stay true, or must not be done.
    pub text: TextId,
    /// Whether it forbids an act.
    pub forbids: bool,
    /// From where it can be watched.
    pub watched: Vec<PlaceId>,
    /// First and last step, both included.
    pub from: StepIx,
    /// Last step, included.
    pub to: StepIx,
    /// What follows. `This one` and `go on` are already resolved for the innermost turn at `from`.
    pub lost: Target,
    /// Its line.
    pub place: Place,
}

/// A point of no return.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoReturn {
    /// Crossed at `called` of this step.
    pub before: StepIx,
    /// What is past changing.
    pub text: TextId,
    /// Whether a retry may cross it.
    pub safe: bool,
    /// Its line.
    pub place: Place,
}

/// A limit on the end of a stretch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limit {
    /// First step.
    pub from: StepIx,
    /// Last step; the limit binds its `over`.
    pub to: StepIx,
    /// The bounds.
    pub range: Range,
    /// Measured from.
    pub anchor: Anchor,
    /// What follows when it is missed.
    pub late: Option<Target>,
    /// Where the numbers come from.
    pub basis: Basis,
    /// Its line.
    pub place: Place,
}

/// Something to do every so often.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Awake {
    /// How often.
    pub every: Millis,
    /// What to do.
    pub text: TextId,
    /// The stretches in which it holds, in the order of the plan: first and last step, both included.
    pub stretches: Vec<(StepIx, StepIx)>,
    /// Its line.
    pub place: Place,
}

impl Awake {
    /// Whether it holds in a step.
    #[must_use]
    pub fn covers(&self, step: StepIx) -> bool {
        self.stretches.iter().any(|(from, to)| *from <= step && step <= *to)
    }
}

impl Plan {
    /// The step with this index. Indices come from this plan only.
    #[must_use]
    pub fn step(&self, ix: StepIx) -> &PlanStep {
        &self.steps[ix.0 as usize]
    }

    /// All steps with their indices.
    pub fn indexed(&self) -> impl Iterator<Item = (StepIx, &PlanStep)> {
        self.steps.iter().enumerate().map(|(i, s)| (StepIx(u32::try_from(i).unwrap_or(0)), s))
    }

    /// Where the hoped-for way leads from a step.
    #[must_use]
    pub fn hoped(&self, at: StepIx) -> Next {
        let step = self.step(at);
        match step.met.first() {
            Some(met) if step.report == Report::Answer => met.then.first(),
            _ => step.go_on,
        }
    }

    /// The step on the hoped-for way that is prepared while the answer of this one is awaited: no one
    /// can rest before it, nothing is asked there, and it has a cue of its own.
    #[must_use]
    pub fn ahead(&self, at: StepIx) -> Option<StepIx> {
        let Next::Step(next) = self.hoped(at) else { return None };
        let step = self.steps.get(next.0 as usize)?;
        let asks = || self.chain(next).iter().any(|ix| !self.step(*ix).asks.is_empty());
        (!step.rest_before && !step.straight_on && !asks()).then_some(next)
    }

    /// The same, where it is not awaited in quiet.
    #[must_use]
    pub fn said_ahead(&self, at: StepIx) -> Option<StepIx> {
        let quiet = self.quiet.as_ref().is_some_and(|quiet| quiet.steps.contains(&at));
        self.ahead(at).filter(|_| !quiet)
    }

    /// A step and all that follow it straight on, up to the one whose answer is awaited.
    #[must_use]
    pub fn chain(&self, first: StepIx) -> Vec<StepIx> {
        let mut chain = vec![first];
        let mut at = first;
        while self.step(at).report != Report::Answer {
            match self.step(at).go_on {
                Next::Step(next) if next > at && self.step(next).straight_on => {
                    chain.push(next);
                    at = next;
                }
                _ => break,
            }
        }
        chain
    }
}

/// The person who does a step: a helper, or the operator.
#[must_use]
pub fn person(procedure: &Procedure, by: Option<HelperId>) -> &Profile {
    by.and_then(|helper| procedure.helpers.get(helper.0 as usize)).unwrap_or(&procedure.operator)
}

/// Makes a procedure flat for what a run has chosen.
///
/// # Errors
/// Every complaint of the grave kind that this plan has.
pub fn plan(procedure: &Procedure, choices: &Choices) -> Result<Plan, Vec<Complaint>> {
    let (plan, found) = plan_and_complaints(procedure, choices);
    let grave: Vec<Complaint> = found.into_iter().filter(Complaint::is_error).collect();
    if grave.is_empty() { Ok(plan) } else { Err(grave) }
}

/// The plan as well as it can be made, and everything that is wrong with it.
pub(crate) fn plan_and_complaints(
    procedure: &Procedure,
    choices: &Choices,
) -> (Plan, Vec<Complaint>) {
    let mut builder = build::Builder::new(unroll::Flat::new(procedure, choices));
    let mut plan = builder.plan();
    let mut found = builder.found;
    let graph = graph::Graph::new(&plan);
    carry::fill(procedure, &mut plan, &graph, &mut found);
    rest::fill(&mut plan, &graph);
    find::complaints(procedure, &plan, &graph, &builder.falls_off, &mut found);
    (plan, found)
}

/// What only all plans of a script together show: steps and endings that no path reaches.
pub(crate) fn unreached(procedure: &Procedure, plans: &[Plan]) -> Vec<Complaint> {
    find::unreached(procedure, plans)
}
