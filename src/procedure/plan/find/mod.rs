//! What is wrong with a plan's paths.
//!
//! Takes a plan and its graph; gives complaints that point at the written lines. The same line in
//! several turns complains several times: `examine` keeps one.

mod ends;
mod moments;
mod targets;

use super::graph::Graph;
use super::{Plan, StepIx};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{PlaceId, Procedure};

pub(super) use ends::unreached;

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
    moments::prompt_too_long(procedure, plan, found);
    targets::late(plan, found);
    targets::across_no_return(plan, graph, &reached, found);
    targets::break_off(plan, graph, &reached, found);
    unwatched(procedure, plan, found);
}

/// A guard that says from where it is watched, at a step that is done elsewhere.
fn unwatched(procedure: &Procedure, plan: &Plan, found: &mut Vec<Complaint>) {
    for guard in plan.guards.iter().filter(|g| !g.forbids && !g.watched.is_empty()) {
        let steps = (guard.from.0..=guard.to.0).filter_map(|s| plan.steps.get(s as usize));
        let mut blind = steps.filter(|s| !guard.watched.contains(&s.at));
        if let Some(step) = blind.next() {
            found.push(
                Complaint::new(Code::GuardUnwatched, guard.place)
                    .with("name", procedure.text(guard.text))
                    .with("where", where_words(procedure, step.at))
                    .and(step.place, "done there"),
            );
        }
    }
}

fn where_words(procedure: &Procedure, place: PlaceId) -> String {
    let place = procedure.places.get(place.0 as usize);
    place.map_or_else(|| "here".to_owned(), |p| procedure.text(p.text).to_owned())
}
