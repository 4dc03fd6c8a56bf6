//! What many runs say of a script, with its own names and lines: takes odds and differences, gives rows
//! for whoever words or draws them.

use super::odds::{AtStep, Odds, Terms};
use super::sensitivity::{Difference, Of};
use super::statistics::Lengths;
use crate::clock::Millis;
use crate::procedure::model::{EndingClass, EndingId, Procedure};
use crate::procedure::plan::{Plan, PlanStep, StepIx};
use crate::source::{Place, SourceMap};
use crate::vehicle::law::Law;
use crate::vehicle::window::{WindowKind, window};

/// Many runs of one script.
#[derive(Clone, Debug)]
pub struct Study {
    /// The script's title.
    pub title: String,
    /// The seed.
    pub seed: u64,
    /// How lengths were drawn.
    pub law: Law,
    /// The faults that were ordered, as typed.
    pub orders: Vec<String>,
    /// How many of each group.
    pub counts: Vec<(String, u32)>,
    /// Runs.
    pub runs: u64,
    /// Runs that came to a standstill.
    pub standstills: u64,
    /// The ending that is hoped for: its name, its class, and how many runs came to it.
    pub hoped: Option<(String, EndingClass, u64)>,
    /// Every ending: its name, its class, how many runs; the hoped-for first, then by number.
    pub endings: Vec<(String, EndingClass, u64)>,
    /// The steps in which anything went otherwise than hoped, most first.
    pub steps: Vec<StepRow>,
    /// The windows, the one with the least left (5 % of the time) first.
    pub windows: Vec<WindowRow>,
    /// From the first step to the end of the last.
    pub length: Lengths,
    /// The least that was left of any window, run by run.
    pub least: Lengths,
    /// What would help, most first; empty where nobody asked.
    pub help: Vec<Help>,
    /// In how many runs each of these was tried.
    pub help_runs: u64,
}

/// A step.
#[derive(Clone, Debug)]
pub struct StepRow {
    /// Its name, with its turn.
    pub name: String,
    /// Its line.
    pub line: u32,
    /// What happened.
    pub at: AtStep,
}

/// A window.
#[derive(Clone, Debug)]
pub struct WindowRow {
    /// Its step, with its turn.
    pub step: String,
    /// Its line.
    pub line: u32,
    /// What it is.
    pub kind: WindowKind,
    /// Its whole length.
    pub length: Millis,
    /// What was left of it.
    pub left: Lengths,
}

impl WindowRow {
    /// How often it was missed.
    #[must_use]
    pub fn missed(&self) -> u64 {
        self.left.below(Millis::ZERO)
    }
}

/// What a shorter declared time would do.
#[derive(Clone, Debug)]
pub struct Help {
    /// Which time.
    pub of: Of,
    /// Its line; the operator's own times may stand nowhere.
    pub line: Option<u32>,
    /// The declared most.
    pub from: Millis,
    /// The most that was tried.
    pub to: Millis,
    /// What that does to the chance of ending as hoped.
    pub chance: Difference,
    /// What it adds to the least that is left of any window, in 19 of 20 runs.
    pub least: Millis,
}

/// What a study is made of.
#[derive(Clone, Copy, Debug)]
pub struct Script<'a> {
    /// The script.
    pub procedure: &'a Procedure,
    /// Its plan.
    pub plan: &'a Plan,
    /// Its files.
    pub sources: &'a SourceMap,
}

impl Study {
    /// Puts names and lines to the odds of a plan.
    #[must_use]
    pub fn new(of: Script<'_>, terms: &Terms, odds: Odds, hoped: Option<EndingId>) -> Study {
        let Script { procedure, plan, .. } = of;
        let ending = |id: EndingId| {
            let ending = procedure.endings.get(id.0 as usize);
            ending.map_or((String::new(), EndingClass::Unsure), |e| (e.name.clone(), e.class))
        };
        let mut endings: Vec<_> = odds.endings.iter().map(|(id, n)| (*id, *n)).collect();
        endings.sort_by_key(|(id, n)| (Some(*id) != hoped, std::cmp::Reverse(*n), *id));
        let endings = endings.into_iter().map(|(id, n)| {
            let (name, class) = ending(id);
            (name, class, n)
        });
        let counts =
            plan.choices.counts.iter().filter_map(|(item, n)| {
                Some((procedure.items.get(item.0 as usize)?.name.clone(), *n))
            });
        Study {
            title: procedure.title.map_or("", |id| procedure.text(id)).to_owned(),
            seed: terms.seed,
            law: terms.law,
            orders: terms.orders.iter().map(ToString::to_string).collect(),
            counts: counts.collect(),
            runs: odds.runs,
            standstills: odds.standstills,
            hoped: hoped.map(|id| {
                let (name, class) = ending(id);
                (name, class, odds.hoped)
            }),
            endings: endings.collect(),
            steps: step_rows(of, &odds),
            windows: window_rows(of, &odds),
            length: odds.length,
            least: odds.least,
            help: Vec::new(),
            help_runs: 0,
        }
    }
}

fn line(sources: &SourceMap, place: Place) -> u32 {
    sources.line_col(place).line
}

/// A step by name, with its turn.
fn name(step: &PlanStep) -> String {
    match step.turn {
        Some((nth, of)) if of > 1 => format!("{} ({} of {of})", step.name, nth + 1),
        _ => step.name.clone(),
    }
}

fn step_rows(of: Script<'_>, odds: &Odds) -> Vec<StepRow> {
    use super::odds::How;
    let troubled = |at: &AtStep| at.outcomes.keys().any(|how| *how != How::Hoped);
    let rows = odds.steps.iter().filter(|(ix, at)| known(of.plan, **ix) && troubled(at));
    let mut rows: Vec<StepRow> = rows
        .map(|(ix, at)| {
            let step = of.plan.step(*ix);
            StepRow { name: name(step), line: line(of.sources, step.place), at: at.clone() }
        })
        .collect();
    rows.sort_by_key(|row| std::cmp::Reverse((row.at.lost, row.at.first_trouble)));
    rows
}

fn known(plan: &Plan, ix: StepIx) -> bool {
    (ix.0 as usize) < plan.steps.len()
}

fn window_rows(of: Script<'_>, odds: &Odds) -> Vec<WindowRow> {
    let rows = odds.windows.iter().filter(|((ix, _), _)| known(of.plan, *ix));
    let mut rows: Vec<WindowRow> = rows
        .filter_map(|((ix, n), left)| {
            let step = of.plan.step(*ix);
            let (kind, length, place) = window(step, *n)?;
            let line = line(of.sources, place);
            Some(WindowRow { step: name(step), line, kind, length, left: left.clone() })
        })
        .collect();
    rows.sort_by_key(|row| (row.left.quantile(50), row.line));
    rows
}
