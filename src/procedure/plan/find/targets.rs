//! Where missed windows, lost guards and retries may lead.

use super::super::graph::{Graph, outcomes};
use super::super::rest::may_begin_again;
use super::super::{Next, Plan, StepIx, Target};
use crate::complaint::{Code, Complaint};
use crate::source::Place;

/// Every window and limit leads somewhere when it is missed, and only where nothing is under way.
pub(super) fn late(plan: &Plan, found: &mut Vec<Complaint>) {
    for step in &plan.steps {
        match &step.late {
            Some(late) => settled(plan, late, step.place, found),
            None => {
                let missable = step.windows.iter().find(|w| w.range.hi.is_some());
                found.extend(missable.map(|w| Complaint::new(Code::LateMissing, w.place)));
            }
        }
    }
    for limit in plan.limits.iter().filter(|l| l.range.hi.is_some()) {
        match &limit.late {
            Some(late) => settled(plan, late, limit.place, found),
            None => found.push(Complaint::new(Code::LateMissing, limit.place)),
        }
    }
    for guard in &plan.guards {
        settled(plan, &guard.lost, guard.place, found);
    }
}

/// An ending, this item's ending, or beginning again at a resting point; nothing else.
fn settled(plan: &Plan, target: &Target, place: Place, found: &mut Vec<Complaint>) {
    match target {
        Target::To(Next::End(_)) | Target::ThisOne { .. } => {}
        Target::To(Next::Step(step)) => found.push(
            Complaint::new(Code::LateTarget, place).with("target", plan.step(*step).name.as_str()),
        ),
        Target::Again { back, spent, place: written, .. } => {
            if !may_begin_again(plan, *back) {
                let target = plan.step(*back);
                found.push(
                    Complaint::new(Code::LateTarget, *written)
                        .with("target", target.name.as_str())
                        .and(target.place, "something is still under way here"),
                );
            }
            settled(plan, spent, *written, found);
        }
    }
}

/// Retries that go back across a point of no return. It stands before its step and is crossed when
/// that step is called; beginning again with the step itself crosses nothing a second time.
pub(super) fn across_no_return(
    plan: &Plan,
    graph: &Graph,
    reached: &[bool],
    found: &mut Vec<Complaint>,
) {
    for point in plan.no_returns.iter().filter(|p| !p.safe && reached[p.before.0 as usize]) {
        // Forward, and into parts on the way back, but not back into the script.
        let main = plan.main as usize;
        let behind = graph.reached_from(point.before.0 as usize, |_, edge| {
            !edge.retry || matches!(edge.to, Next::Step(to) if to.0 as usize >= main)
        });
        let crosses = |target: &Target| match target {
            Target::Again { back, place, .. } if *back < point.before => Some(*place),
            _ => None,
        };
        let steps = plan.indexed().filter(|(at, _)| behind[at.0 as usize]);
        let places = steps.flat_map(|(at, step)| {
            let own = outcomes(step).into_iter().filter_map(|(_, t)| crosses(t));
            let guards = plan.guards.iter().filter(move |g| g.from <= at && at <= g.to);
            own.chain(guards.filter_map(|g| crosses(&g.lost))).collect::<Vec<_>>()
        });
        for place in places.collect::<std::collections::BTreeSet<_>>() {
            found.push(
                Complaint::new(Code::RetryAcrossNoReturn, place)
                    .and(point.place, "the point of no return"),
            );
        }
    }
}

/// Behind a point of no return every step says what to do if the run breaks off there.
pub(super) fn break_off(plan: &Plan, graph: &Graph, reached: &[bool], found: &mut Vec<Complaint>) {
    for point in plan.no_returns.iter().filter(|p| reached[p.before.0 as usize]) {
        let behind = graph.reached_from(point.before.0 as usize, |_, edge| !edge.retry);
        let silent = |(at, _): &(StepIx, &super::super::PlanStep)| behind[at.0 as usize];
        if let Some((_, step)) = plan.indexed().filter(silent).find(|(_, s)| s.break_off.is_none())
        {
            found.push(
                Complaint::new(Code::BreakOffMissing, point.place)
                    .and(step.place, "nothing is said for this step"),
            );
        }
    }
}
