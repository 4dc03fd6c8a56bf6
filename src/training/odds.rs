//! The odds of a script: takes a practice and a range of runs, gives counts of everything that happened
//! in them.
//!
//! Counts of two ranges add up to the counts of both, in whatever order, so the same seed gives the
//! same odds on any number of threads.

use std::collections::BTreeMap;
use std::ops::Range;

use super::statistics::Lengths;
use crate::clock::{Millis, Moment};
use crate::guide::cue::{Effect, Fact, Input, OutcomeKind};
use crate::procedure::model::{EndingId, Procedure};
use crate::procedure::plan::StepIx;
use crate::vehicle::law::Law;
use crate::vehicle::order::{Order, Refused, fault};
use crate::vehicle::{Draw, Fault, Practice, Ran, Witness};

/// What is played.
#[derive(Clone, Debug)]
pub struct Terms {
    /// The seed of all runs.
    pub seed: u64,
    /// How lengths are drawn.
    pub law: Law,
    /// What is to go wrong in every run.
    pub orders: Vec<Order>,
}

/// What happened in a number of runs.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Odds {
    /// How many.
    pub runs: u64,
    /// How they ended.
    pub endings: BTreeMap<EndingId, u64>,
    /// Runs that came to a standstill, which none should.
    pub standstills: u64,
    /// What happened in each step.
    pub steps: BTreeMap<StepIx, AtStep>,
    /// What was left of each window, by step and number (or [`crate::vehicle::HELD`] and
    /// [`crate::vehicle::COUNTED`]).
    pub windows: BTreeMap<(StepIx, usize), Lengths>,
    /// From the first step to the end of the last, tests left out.
    pub length: Lengths,
    /// The least that was left of any window, run by run.
    pub least: Lengths,
    /// How many runs ended as hoped.
    pub hoped: u64,
}

/// What happened in a step.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AtStep {
    /// How often it ended, and how.
    pub outcomes: BTreeMap<How, u64>,
    /// Runs whose first trouble was here.
    pub first_trouble: u64,
    /// Those of them that did not end as hoped.
    pub lost: u64,
}

/// How a step ended, without the numbers of a plan.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum How {
    /// As hoped for.
    Hoped,
    /// With another answer of the script.
    Other,
    /// With an answer that the script does not know.
    Unknown,
    /// Nothing was seen in time.
    Silent,
    /// The window closed first.
    Late,
    /// The person could not do it.
    Cannot,
    /// The person did something else.
    Slip,
    /// A guard was lost.
    LostGuard,
}

impl How {
    /// Every way, in order.
    pub const ALL: [How; 8] = [
        How::Hoped,
        How::Other,
        How::Unknown,
        How::Silent,
        How::Late,
        How::Cannot,
        How::Slip,
        How::LostGuard,
    ];

    const fn of(kind: OutcomeKind) -> How {
        match kind {
            OutcomeKind::Done | OutcomeKind::Met(0) | OutcomeKind::Unreported => How::Hoped,
            OutcomeKind::Met(_) => How::Other,
            OutcomeKind::Silent => How::Silent,
            OutcomeKind::Other => How::Unknown,
            OutcomeKind::Cannot => How::Cannot,
            OutcomeKind::Slip => How::Slip,
            OutcomeKind::Late => How::Late,
            OutcomeKind::LostGuard(_) => How::LostGuard,
        }
    }
}

/// The outcomes of one run and the moment of the last.
#[derive(Debug, Default)]
struct Outcomes {
    all: Vec<(StepIx, How)>,
    last: Moment,
}

impl Witness for &mut Outcomes {
    fn note(&mut self, at: Moment, _: Option<Input>, effects: Vec<Effect>) {
        for effect in &effects {
            if let Effect::Record(Fact::Outcome(step, kind)) = effect {
                self.all.push((*step, How::of(*kind)));
                self.last = at;
            }
        }
    }
}

/// What one run came to, in short.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct One {
    /// Which run.
    pub run: u64,
    /// Whether it ended as hoped.
    pub well: bool,
    /// The least that was left of any window; nothing where there was none.
    pub least: Option<Millis>,
}

/// Plays these runs and counts. `each` hears of every run by itself.
///
/// # Errors
/// Where a fault cannot be ordered.
pub fn play(
    practice: &mut Practice,
    procedure: &Procedure,
    terms: &Terms,
    hoped: Option<EndingId>,
    runs: Range<u64>,
    each: &mut dyn FnMut(One),
) -> Result<Odds, Refused> {
    let mut odds = Odds::default();
    let mut outcomes = Outcomes::default();
    for run in runs {
        let mut draw = Draw::of_run(terms.seed, run, terms.law);
        let plan = std::sync::Arc::clone(practice.plan());
        let orders = terms.orders.iter();
        let faults = orders.map(|order| fault(order, procedure, &plan, &mut draw));
        let faults = faults.collect::<Result<Vec<Fault>, Refused>>()?;
        outcomes.all.clear();
        outcomes.last = practice.start();
        let ran = practice.run(draw, &faults, &mut outcomes);
        let (truth, ending) = (ran.truth, ran.ending);
        let well = ending.is_some_and(|(ending, _)| Some(ending) == hoped);
        let least = truth.margins.iter().map(|(.., left)| *left).min();
        let ending = ending.map(|(ending, _)| ending);
        odds.count(&outcomes, practice.start(), &truth, ending, One { run, well, least });
        each(One { run, well, least });
    }
    Ok(odds)
}

/// The ending that a run comes to when everything stays inside its bounds and nothing goes wrong.
#[must_use]
pub fn hoped_ending(practice: &mut Practice) -> Option<EndingId> {
    let mut outcomes = Outcomes::default();
    let Ran { ending, .. } = practice.run(Draw::named(0, Law::Inside), &[], &mut outcomes);
    ending.map(|(ending, _)| ending)
}

impl Odds {
    fn count(
        &mut self,
        outcomes: &Outcomes,
        start: Moment,
        truth: &crate::vehicle::Truth,
        ending: Option<EndingId>,
        One { well, least, .. }: One,
    ) {
        self.runs += 1;
        self.hoped += u64::from(well);
        match ending {
            Some(ending) => *self.endings.entry(ending).or_insert(0) += 1,
            None => self.standstills += 1,
        }
        for (step, how) in &outcomes.all {
            *self.steps.entry(*step).or_default().outcomes.entry(*how).or_insert(0) += 1;
        }
        if let Some((step, _)) = outcomes.all.iter().find(|(_, how)| *how != How::Hoped) {
            let at = self.steps.entry(*step).or_default();
            at.first_trouble += 1;
            at.lost += u64::from(!well);
        }
        for (step, window, left) in &truth.margins {
            self.windows.entry((*step, *window)).or_default().add(*left);
        }
        if let Some(least) = least {
            self.least.add(least);
        }
        self.length.add(outcomes.last.since(start));
    }

    /// Adds what happened in other runs.
    pub fn merge(&mut self, other: &Odds) {
        self.runs += other.runs;
        self.hoped += other.hoped;
        self.standstills += other.standstills;
        for (ending, n) in &other.endings {
            *self.endings.entry(*ending).or_insert(0) += n;
        }
        for (step, at) in &other.steps {
            let own = self.steps.entry(*step).or_default();
            own.first_trouble += at.first_trouble;
            own.lost += at.lost;
            for (how, n) in &at.outcomes {
                *own.outcomes.entry(*how).or_insert(0) += n;
            }
        }
        for (window, lengths) in &other.windows {
            self.windows.entry(*window).or_default().merge(lengths);
        }
        self.length.merge(&other.length);
        self.least.merge(&other.least);
    }
}
