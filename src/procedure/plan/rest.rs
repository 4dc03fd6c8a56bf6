//! Resting points: steps before which the run can be held, because nothing is under way.
//!
//! Takes a plan; fills `rest_before`. A step rests if no window, limit, answer or hold that
//! matters to it or to a later step began before it. Where only a limit did, there is breath for a few
//! more words.

use super::graph::{Because, Graph};
use super::{Anchor, Next, Plan, StepIx};
use crate::procedure::model::Hold;

/// Fills `rest_before`, `breath_before` and `free` of every step.
pub(super) fn fill(plan: &mut Plan, graph: &Graph) {
    let (reaches, limits) = (reaches(plan, true), limits(plan));
    for nth in 0..plan.steps.len() {
        let at = StepIx(u32::try_from(nth).unwrap_or(u32::MAX));
        let over = |all: &[Reach]| all.iter().any(|reach| reach.over(plan, at));
        let breath = !plan.steps[nth].straight_on && !over(&reaches);
        let rest = breath && !over(&limits);
        (plan.steps[nth].breath_before, plan.steps[nth].rest_before) = (breath, rest);
    }
    for nth in 0..plan.steps.len() {
        // A missed window and a lost guard begin again whatever was under way.
        let on =
            graph.from[nth].iter().filter(|e| !matches!(e.because, Because::Late | Because::Lost));
        let rests = |next: Next| match next {
            Next::Step(to) => plan.step(to).rest_before,
            Next::End(_) => true,
        };
        let step = &plan.steps[nth];
        let open = step.windows.iter().any(|window| window.range.hi.is_some());
        let free = step.rest_before && !open && on.map(|edge| edge.to).all(rests);
        plan.steps[nth].free = free;
    }
}

/// Whether a run may begin again at `step`: as `rest_before`, but windows of the first try are past.
pub(super) fn may_begin_again(plan: &Plan, step: StepIx) -> bool {
    let all = reaches(plan, false);
    !plan.step(step).straight_on && !all.iter().chain(&limits(plan)).any(|r| r.over(plan, step))
}

/// Something that spans from one step to another.
struct Reach {
    from: StepIx,
    to: StepIx,
}

impl Reach {
    /// Whether it is under way when `at` begins.
    fn over(&self, plan: &Plan, at: StepIx) -> bool {
        if at.0 < plan.main {
            return self.from < at && at <= self.to && self.to.0 < plan.main;
        }
        // A part on the way back: what is done after it begins again with the step gone back to.
        let own = self.from < at && at <= self.to;
        let behind = self.from.0 < plan.main && self.to.0 < plan.main;
        let back = backs(plan, at).map(|back| self.from < back && back <= self.to);
        own || behind && back.unwrap_or(false)
    }
}

/// The step that the part around `at` leads back to: the first main step that its steps go on to.
fn backs(plan: &Plan, at: StepIx) -> Option<StepIx> {
    let mut step = at;
    for _ in 0..=plan.steps.len() {
        match plan.step(step).go_on {
            super::Next::Step(next) if next.0 < plan.main => return Some(next),
            super::Next::Step(next) => step = next,
            super::Next::End(_) => return None,
        }
    }
    None
}

fn reaches(plan: &Plan, first_try: bool) -> Vec<Reach> {
    let mut all = Vec::new();
    for (at, step) in plan.indexed() {
        let mut add = |anchor: Anchor| all.push(Reach { from: anchor.step, to: at });
        step.windows
            .iter()
            .filter(|w| w.range.hi.is_some() && (first_try || !w.first_try_only))
            .for_each(|w| add(w.anchor));
        step.met.iter().for_each(|m| add(m.anchor));
        step.silence.iter().for_each(|s| add(s.anchor));
        if let Some(held) = step.lets_go {
            all.push(Reach { from: held, to: at });
        }
    }
    all.extend(holds_without_end(plan));
    all
}

fn limits(plan: &Plan) -> Vec<Reach> {
    let limits = plan.limits.iter().filter(|l| l.range.hi.is_some());
    limits.map(|limit| Reach { from: limit.anchor.step, to: limit.to }).collect()
}

/// A hold that no step lets go of lasts to the end.
fn holds_without_end(plan: &Plan) -> Vec<Reach> {
    let last = StepIx(plan.main.saturating_sub(1));
    plan.indexed()
        .filter(|(at, step)| {
            step.hold == Some(Hold::On) && !plan.steps.iter().any(|s| s.lets_go == Some(*at))
        })
        .map(|(at, _)| Reach { from: at, to: last })
        .collect()
}
