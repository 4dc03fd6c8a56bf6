//! Every way of holding: takes a plan, gives one plan for each choice among the ways of holding that
//! its sources tell.
//!
//! A person who follows one source holds its way in every turn of the line, so the turns of a line
//! choose together and different lines choose apart.

use crate::procedure::model::Hold;
use crate::procedure::plan::{Plan, StepIx};
use crate::source::Place;

/// At most so many choices of ways are proven (common practice, no source: as many as variants).
pub const MOST_WAYS: usize = crate::procedure::plan::MOST_VARIANTS;

/// The plan once for each choice of ways, the first ways first.
///
/// # Errors
/// The step with the most ways, where there are more than [`MOST_WAYS`] choices.
pub(super) fn ways(plan: &Plan) -> Result<Vec<Plan>, StepIx> {
    let mut lines: Vec<(Place, Vec<Option<Hold>>)> = Vec::new();
    for step in plan.steps.iter().filter(|step| !step.or_hold.is_empty()) {
        if lines.iter().all(|(place, _)| *place != step.place) {
            let others = step.or_hold.iter().cloned().map(Some);
            lines.push((step.place, std::iter::once(step.hold.clone()).chain(others).collect()));
        }
    }
    let many = lines.iter().fold(1_usize, |n, (_, holds)| n.saturating_mul(holds.len()));
    if many > MOST_WAYS {
        let most = plan.indexed().max_by_key(|(_, step)| step.or_hold.len());
        return Err(most.map_or(StepIx(0), |(at, _)| at));
    }
    let mut all = vec![plan.clone()];
    for (place, holds) in lines {
        all =
            all.iter().flat_map(|plan| holds.iter().map(|hold| with(plan, place, hold))).collect();
    }
    Ok(all)
}

fn with(plan: &Plan, place: Place, hold: &Option<Hold>) -> Plan {
    let mut plan = plan.clone();
    for step in plan.steps.iter_mut().filter(|step| step.place == place) {
        step.hold.clone_from(hold);
    }
    plan
}
