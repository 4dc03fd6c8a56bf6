//! Paths that end nowhere, and steps, endings and items that no path serves.

use super::super::graph::{Graph, blind, ends, outcomes};
use super::super::{Next, Plan, StepIx, Target};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{EndingId, Procedure};
use crate::source::Place;
use std::collections::BTreeSet;

/// A step from which a path runs off the end of the script.
pub(super) fn falling_off(
    plan: &Plan,
    reached: &[bool],
    falls_off: &[StepIx],
    found: &mut Vec<Complaint>,
) {
    for step in falls_off.iter().filter(|s| reached[s.0 as usize]) {
        found.push(Complaint::new(Code::PathWithoutEnding, plan.step(*step).place));
    }
}

/// A path that leaves a thing's turn without saying how the thing ended.
pub(super) fn items_without_ending(plan: &Plan, reached: &[bool], found: &mut Vec<Complaint>) {
    for (_, step) in plan.indexed().filter(|(at, _)| reached[at.0 as usize]) {
        if step.thing.is_none() {
            continue;
        }
        let outcomes = outcomes(step).into_iter().map(|(_, target)| target);
        if outcomes
            .into_iter()
            .any(|target| leaves(plan, step.thing, step.closes_thing, step.go_on, target))
        {
            found.push(Complaint::new(Code::ItemWithoutEnding, step.place));
        }
    }
}

fn leaves(
    plan: &Plan,
    thing: Option<super::super::Thing>,
    closes: bool,
    go_on: Next,
    target: &Target,
) -> bool {
    match target {
        Target::To(Next::Step(to)) => {
            plan.step(*to).thing != thing && !(closes && go_on == Next::Step(*to))
        }
        Target::To(Next::End(_)) | Target::ThisOne { .. } => false,
        Target::Again { spent, .. } => leaves(plan, thing, closes, go_on, spent),
    }
}

/// Steps and endings that no plan reaches.
pub(in super::super) fn unreached(procedure: &Procedure, plans: &[Plan]) -> Vec<Complaint> {
    let mut there: BTreeSet<(Place, String)> = BTreeSet::new();
    let mut reached: BTreeSet<Place> = BTreeSet::new();
    let mut endings: BTreeSet<EndingId> = BTreeSet::new();
    for plan in plans {
        let seen = Graph::new(plan).reached();
        for (at, step) in plan.indexed() {
            there.insert((step.place, step.name.clone()));
            if seen[at.0 as usize] {
                reached.insert(step.place);
                endings.extend(endings_of(plan, at));
            }
        }
        if let Some(Next::End(ending)) = plan.entry {
            endings.insert(ending);
        }
    }
    endings.extend(procedure.tests.iter().map(|t| t.otherwise));
    endings.extend(procedure.recounts.iter().map(|r| r.otherwise));
    let steps = there
        .into_iter()
        .filter(|(place, _)| !reached.contains(place))
        .map(|(place, name)| Complaint::new(Code::StepUnreachable, place).with("name", name));
    let idle =
        procedure.endings.iter().zip(0..).filter(|(_, nth)| !endings.contains(&EndingId(*nth)));
    let idle = idle.filter_map(|(ending, _)| {
        let place = ending.place?;
        Some(Complaint::new(Code::EndingUnreachable, place).with("name", ending.name.as_str()))
    });
    steps.chain(idle).collect()
}

fn endings_of(plan: &Plan, at: StepIx) -> BTreeSet<EndingId> {
    let step = plan.step(at);
    let mut all: Vec<(Next, bool)> =
        outcomes(step).into_iter().flat_map(|(_, t)| ends(t)).collect();
    if blind(step) {
        all.push((step.go_on, false));
    }
    for guard in plan.guards.iter().filter(|g| g.from <= at && at <= g.to) {
        all.extend(ends(&guard.lost));
    }
    for limit in plan.limits.iter().filter(|l| l.from <= at && at <= l.to) {
        all.extend(limit.late.iter().flat_map(ends));
    }
    all.into_iter()
        .filter_map(|(next, _)| match next {
            Next::End(ending) => Some(ending),
            Next::Step(_) => None,
        })
        .collect()
}
