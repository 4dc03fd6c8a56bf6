//! The windows of a record's own script: takes a record's header, gives each window with an upper end by
//! its step and line, so that those of which no record tells anything can be listed too, and the turns of the
//! step in which it does not hold.

use std::collections::{BTreeMap, BTreeSet};

use super::replay::script;
use crate::clock::Millis;
use crate::journal::entry::Header;
use crate::procedure::plan::PlanStep;
use crate::procedure::plans;

/// Which turn of how many, from 1; nothing outside of turns.
pub type Turn = Option<(u32, u32)>;

/// A window with an upper end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OfScript {
    /// Its length.
    pub length: Millis,
    /// The turns of its step that it says nothing of.
    pub not_in: BTreeSet<Turn>,
}

/// The windows; none where the script no longer checks.
#[must_use]
pub fn of_script(header: &Header) -> BTreeMap<(String, u32), OfScript> {
    let mut all: BTreeMap<(String, u32), OfScript> = BTreeMap::new();
    let Some((sources, procedure)) = script(header) else { return all };
    let plans = plans(&procedure).0;
    let line = |place| sources.line_col(place).line;
    for step in plans.iter().flat_map(|plan| &plan.steps) {
        for window in &step.windows {
            let Some(length) = window.range.hi else { continue };
            let key = (step.name.clone(), line(window.place));
            all.entry(key).or_insert(OfScript { length, not_in: BTreeSet::new() });
        }
    }
    for ((name, of), window) in &mut all {
        let steps = plans.iter().flat_map(|plan| &plan.steps).filter(|step| step.name == *name);
        let without = steps.filter(|step| !step.windows.iter().any(|w| line(w.place) == *of));
        window.not_in = without.map(turn).collect();
    }
    all
}

/// The turn of a step of a plan, as records count it.
fn turn(step: &PlanStep) -> Turn {
    step.turn.map(|(nth, of)| (nth + 1, of))
}
