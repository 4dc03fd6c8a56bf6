//! What a run knows of what has happened, and what the timing makes of it.
//!
//! Takes points and their moments; gives the earliest and latest moments that follow from them. They
//! hang on nothing but what is known, while the guide asks for them whenever it looks for what is due
//! or on show. So each is worked out once, and anew as soon as anything else is known.

use crate::clock::Moment;
use crate::guide::steps::Close;
use crate::guide::world::World;
use crate::procedure::plan::StepIx;
use crate::procedure::timing::{CueTimes, Known, Mark, Point, Why};
use std::borrow::Cow;
use std::cell::OnceCell;
use std::ops::Deref;

/// The latest safe moment of one part of an act.
#[derive(Clone, Copy, Debug)]
pub(super) struct Safe {
    pub step: StepIx,
    pub at: Moment,
    pub why: Option<Why>,
}

/// What has happened, with the timing's answers for one stretch of hands each.
#[derive(Debug, Default)]
pub(super) struct Seen {
    known: Known,
    cue: OnceCell<(StepIx, CueTimes)>,
    closes: OnceCell<(StepIx, Vec<Close>)>,
    safe: OnceCell<(StepIx, Vec<Safe>)>,
}

impl Seen {
    /// What is known, to be changed: every answer is forgotten.
    pub fn change(&mut self) -> &mut Known {
        self.cue.take();
        self.closes.take();
        self.safe.take();
        &mut self.known
    }

    /// When the cue of a step may be given.
    pub fn cue(&self, world: &World, step: StepIx) -> CueTimes {
        let ask = || world.timing.cue(step, &self.known);
        let (of, times) = self.cue.get_or_init(|| (step, ask()));
        if *of == step { *times } else { ask() }
    }

    /// Every window of the stretch from this step on that can still close.
    pub fn closes(&self, world: &World, first: StepIx) -> Cow<'_, [Close]> {
        for_stretch(&self.closes, first, || {
            let steps = world.chain(first).iter();
            let points = steps.flat_map(|step| Mark::OF_ACTS.map(|mark| (*step, mark)));
            let closes = points.filter_map(|(step, mark)| {
                let (at, why) = world.timing.closes(Point { step, mark }, &self.known)?;
                Some(Close { at, step, mark, why: Some(why) })
            });
            closes.collect()
        })
    }

    /// The latest safe moments of the acts of the stretch from this step on.
    pub fn safe(&self, world: &World, first: StepIx) -> Cow<'_, [Safe]> {
        for_stretch(&self.safe, first, || {
            let safe = world.chain(first).iter().flat_map(|step| {
                let bounds = world.timing.act(*step, &self.known).into_iter().flatten();
                bounds.map(|(at, why)| Safe { step: *step, at, why })
            });
            safe.collect()
        })
    }
}

/// The answers kept for this stretch. Another one, while nothing new is known, is asked for again.
fn for_stretch<T: Clone>(
    kept: &OnceCell<(StepIx, Vec<T>)>,
    first: StepIx,
    ask: impl Fn() -> Vec<T>,
) -> Cow<'_, [T]> {
    let (of, answers) = kept.get_or_init(|| (first, ask()));
    if *of == first { Cow::Borrowed(answers) } else { Cow::Owned(ask()) }
}

/// To be looked at; changed only by [`Seen::change`].
impl Deref for Seen {
    type Target = Known;

    fn deref(&self) -> &Known {
        &self.known
    }
}

/// A copy knows the same and asks anew: mostly it is kept for a press that is taken back.
impl Clone for Seen {
    fn clone(&self) -> Seen {
        Seen { known: self.known.clone(), ..Seen::default() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::timing::Promise;

    #[test]
    fn answers_last_until_something_else_is_known() {
        let mut seen = Seen::default();
        let times = CueTimes { earliest: Moment(1), bound: None, promise: Promise::All };
        seen.cue.set((StepIx(2), times)).expect("none was kept");
        seen.closes.set((StepIx(2), Vec::new())).expect("none was kept");
        seen.safe.set((StepIx(2), Vec::new())).expect("none was kept");
        assert!(seen.clone().cue.get().is_none(), "a copy asks anew");
        seen.change().at(Point { step: StepIx(2), mark: Mark::Called }, Moment(3));
        let kept = (seen.cue.get().is_some(), seen.closes.get(), seen.safe.get());
        assert!(matches!(kept, (false, None, None)), "{kept:?}");
    }
}
