//! The least changes that would make a refused script proven: takes the refusal, gives changes of one
//! number each, every one of them checked again over all plans.
//!
//! Only numbers in the cycle can help: a window or limit may close later, hands may be quicker, words
//! may be fewer. Whether a change is true of the vehicle or the person is the author's to know.

use super::verdict::{Refusal, Verdict, verdict};
use crate::clock::Millis;
use crate::procedure::model::Procedure;
use crate::procedure::plan::Plan;
use crate::procedure::timing::{SpeechLengths, What};
use crate::source::Place;

/// A change of one number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Repair {
    /// The sentence.
    pub place: Place,
    /// What kind of length it is.
    pub what: What,
    /// The upper bound now.
    pub from: Millis,
    /// The upper bound that would do, rounded the safe way to a tenth of a second.
    pub to: Millis,
}

/// How often a change is enlarged by what is still short.
const MOST_TRIES: u32 = 12;
/// Changes are tenths of a second.
const STEP: i64 = 100;

/// The repairs, smallest change first.
#[must_use]
pub fn repairs(
    procedure: &Procedure,
    plans: &[Plan],
    speech: &SpeechLengths,
    refusal: &Refusal,
) -> Vec<Repair> {
    let mut found: Vec<Repair> = Vec::new();
    for ground in &refusal.grounds {
        let known = found.iter().any(|r| (r.place, r.what) == (ground.place, ground.what));
        if !known && let Some(from) = bound(plans, ground.place, ground.what) {
            found.extend(least(
                procedure,
                plans,
                speech,
                refusal.short,
                (ground.place, ground.what, from),
            ));
        }
    }
    found.sort_by_key(|repair| repair.to.minus(repair.from).0.abs());
    found
}

/// The upper bound that a sentence states, where a change of it can help.
fn bound(plans: &[Plan], place: Place, what: What) -> Option<Millis> {
    let steps = plans.iter().flat_map(|plan| &plan.steps);
    match what {
        What::Window => {
            let windows = steps.flat_map(|step| &step.windows);
            windows.filter(|w| w.place == place).find_map(|w| w.range.hi)
        }
        What::Limit => {
            let limits = plans.iter().flat_map(|plan| &plan.limits);
            limits.filter(|l| l.place == place).find_map(|l| l.range.hi)
        }
        What::Hands => {
            let mut steps = steps.filter(|step| step.takes_place == place);
            steps.find_map(|step| Some(step.takes.hi).filter(|hi| *hi > step.takes.lo))
        }
        _ => None,
    }
}

fn least(
    procedure: &Procedure,
    plans: &[Plan],
    speech: &SpeechLengths,
    short: Millis,
    (place, what, from): (Place, What, Millis),
) -> Option<Repair> {
    let up = |ms: i64| (ms + STEP - 1).div_euclid(STEP) * STEP;
    let mut change = up(short.0);
    for _ in 0..MOST_TRIES {
        let to = match what {
            What::Hands => Millis((from.0 - change).div_euclid(STEP) * STEP),
            _ => Millis(up(from.0 + change)),
        };
        let changed = with(plans, place, what, to)?;
        match verdict(procedure, &changed, speech) {
            Verdict::Proven(_) => return Some(Repair { place, what, from, to }),
            Verdict::Refused(refusal) if refusal.grounds.iter().any(|g| g.place == place) => {
                change += up(refusal.short.0);
            }
            _ => return None,
        }
    }
    None
}

/// The plans with one bound changed; `None` where it would lie below its lower bound.
fn with(plans: &[Plan], place: Place, what: What, to: Millis) -> Option<Vec<Plan>> {
    let mut plans = plans.to_vec();
    for plan in &mut plans {
        if what == What::Limit {
            let limits = plan.limits.iter_mut().filter(|limit| limit.place == place);
            limits.for_each(|limit| limit.range.hi = Some(to));
        }
        for step in &mut plan.steps {
            if what == What::Window {
                let windows = step.windows.iter_mut().filter(|window| window.place == place);
                windows.for_each(|window| window.range.hi = Some(to));
            }
            if what == What::Hands && step.takes_place == place {
                if to < step.takes.lo {
                    return None;
                }
                step.takes.hi = to;
            }
        }
    }
    Some(plans)
}
