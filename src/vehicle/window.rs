//! What a number among the windows of a step means: takes a step of a plan and the number, gives its kind,
//! its length and its line.

use super::{COUNTED, HELD};
use crate::clock::Millis;
use crate::procedure::model::{Hold, HowMany};
use crate::procedure::plan::PlanStep;
use crate::source::Place;

/// What a window is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WindowKind {
    /// A window of the script.
    Window,
    /// How long something may or must be held.
    Hold,
    /// The longest that a count may take.
    Count,
}

/// What a window of a step is, its longest (its least where it has no end) and its line.
#[must_use]
pub fn window(step: &PlanStep, n: usize) -> Option<(WindowKind, Millis, Place)> {
    match n {
        HELD => match &step.hold {
            Some(Hold::For(range, _, place)) => {
                Some((WindowKind::Hold, range.hi.unwrap_or(range.lo), *place))
            }
            _ => None,
        },
        COUNTED => {
            let (many, count) = step.count.as_ref()?;
            let gaps = i64::from(many.saturating_sub(1));
            let each = count.each_within.map(|hi| hi.times(gaps));
            let most = count.within.into_iter().chain(each).min()?;
            let counted = count.how_many != HowMany::UntilAnswered;
            counted.then_some((WindowKind::Count, most, count.place))
        }
        n => {
            let window = step.windows.get(n)?;
            let longest = window.range.hi.unwrap_or(window.range.lo);
            Some((WindowKind::Window, longest, window.place))
        }
    }
}
