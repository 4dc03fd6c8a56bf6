//! Resting points: steps before which the run can be held, because nothing is under way.
//!
//! Takes a plan; fills `rest_before`. A step rests if no window, limit, answer or hold that
//! matters to it or to a later step began before it.

use super::{Anchor, Plan, StepIx};
use crate::procedure::model::Hold;

/// Fills `rest_before` of every step.
pub(super) fn fill(plan: &mut Plan) {
    let reaches = reaches(plan, true);
    for nth in 0..plan.steps.len() {
        let at = StepIx(u32::try_from(nth).unwrap_or(u32::MAX));
        let rests = !plan.steps[nth].straight_on && !reaches.iter().any(|r| r.over(plan, at));
        plan.steps[nth].rest_before = rests;
    }
}

/// Whether a run may begin again at `step`: as `rest_before`, but windows of the first try are past.
pub(super) fn may_begin_again(plan: &Plan, step: StepIx) -> bool {
    !plan.step(step).straight_on && !reaches(plan, false).iter().any(|r| r.over(plan, step))
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
    for limit in plan.limits.iter().filter(|l| l.range.hi.is_some()) {
        all.push(Reach { from: limit.anchor.step, to: limit.to });
    }
    all.extend(holds_without_end(plan));
    all
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
