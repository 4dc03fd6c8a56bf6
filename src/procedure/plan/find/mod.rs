//! What is wrong with a plan's paths.
//!
//! Takes a plan and its graph; gives complaints that point at the written lines. The same line in
//! several turns complains several times: `examine` keeps one.

mod ends;
mod moments;
mod targets;

use super::carry::Ways;
use super::graph::Graph;
use super::{Plan, PlanStep, StepIx};
use crate::clock::Millis;
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{PlaceId, Procedure};
use crate::procedure::timing::speech_lengths;

pub(super) use ends::unreached;
pub use moments::prompt_too_long;

/// Finds everything that one plan shows.
pub(super) fn complaints(
    procedure: &Procedure,
    plan: &Plan,
    graph: &Graph,
    falls_off: &[StepIx],
    found: &mut Vec<Complaint>,
) {
    let reached = graph.reached();
    ends::falling_off(plan, &reached, falls_off, found);
    ends::items_without_ending(plan, &reached, found);
    moments::not_happened(plan, graph, found);
    moments::silence_too_early(plan, found);
    moments::not_staged(procedure, plan, found);
    moments::prompt_too_long(procedure, plan, &speech_lengths(procedure), found);
    targets::late(plan, found);
    targets::across_no_return(plan, graph, &reached, found);
    targets::break_off(plan, graph, &reached, found);
    unwatched(procedure, plan, found);
}

/// A guard that says from where it is watched, at a step that is done elsewhere. A place no pace
/// away is the same spot; a helper at a watched place watches for both.
fn unwatched(procedure: &Procedure, plan: &Plan, found: &mut Vec<Complaint>) {
    let ways = Ways::new(procedure);
    let spot = |one: PlaceId, other: PlaceId| {
        ways.between(&procedure.operator, one, other).is_some_and(|way| way.hi == Millis::ZERO)
    };
    for guard in plan.guards.iter().filter(|g| !g.forbids && !g.watched.is_empty()) {
        let watches = |step: &PlanStep| guard.watched.iter().any(|place| spot(*place, step.at));
        let steps = &plan.steps[guard.from.0 as usize..=guard.to.0 as usize];
        let helped = steps.iter().any(|step| step.by.is_some() && watches(step));
        let blind = steps.iter().find(|step| step.by.is_none() && !watches(step));
        if let (Some(step), false) = (blind, helped) {
            found.push(
                Complaint::new(Code::GuardUnwatched, guard.place)
                    .with("name", procedure.text(guard.text))
                    .with("where", where_words(procedure, step.at))
                    .and(step.place, "in this step"),
            );
        }
    }
}

fn where_words(procedure: &Procedure, place: PlaceId) -> String {
    let place = procedure.places.get(place.0 as usize);
    place.map_or_else(|| "here".to_owned(), |p| procedure.text(p.text).to_owned())
}
