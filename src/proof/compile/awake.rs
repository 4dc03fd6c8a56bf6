//! What has to be done every so often: reminders said where there is breath for them, close enough.
//!
//! The guide says a reminder before the cue of a resting point, or of a step before which only limits
//! run ([`PlanStep::breath_before`](crate::procedure::plan::PlanStep)); never in an open window. So the
//! network counts its words there, and demands that from one such place to the next, and to the end of
//! the stretch, no more time passes than the vehicle stays awake. Nobody says how long the act takes:
//! it lies between the first word and a reaction after the last.

use super::{Entry, Maker, Path, TooLarge, WindowKey};
use crate::clock::{Millis, Span};
use crate::procedure::model::Range;
use crate::procedure::plan::{Awake, Next, StepIx};
use crate::procedure::timing::What;
use crate::proof::hidden::{Ground, Hidden};
use crate::proof::network::Point;

impl Maker<'_> {
    /// The reminders that may have to be said before the cue of a step, other than a resting point.
    pub(super) fn reminders(&self, at: StepIx) -> Vec<Ground> {
        if !self.plan.step(at).breath_before {
            return Vec::new();
        }
        let awake = self.plan.awake.iter().filter(|awake| awake.covers(at));
        let ground = |awake: &Awake| Ground {
            step: at,
            place: awake.place,
            what: What::Awake,
            length: Millis::ZERO.minus(self.speech.of(awake.text).hi),
        };
        awake.map(ground).collect()
    }

    /// Where the last reminder, or the beginning of its stretch, lies at the earliest, once the cue of
    /// this step is made.
    pub(super) fn reminded(&self, at: StepIx, entry: &Entry, cue: Point, path: &mut Path) {
        let said = self.reminders(at);
        let all = said.iter().fold(Millis::ZERO, |all, ground| all.plus(ground.length));
        for (n, awake) in self.plan.awake.iter().enumerate() {
            if !awake.covers(at) {
                path.awake.remove(&n);
                continue;
            }
            // At a resting point the cue waits for it; else it comes first.
            let from = entry.over.map_or((cue, all), |over| (over, Millis::ZERO));
            if !said.is_empty() {
                path.awake.insert(n, from);
            } else {
                path.awake.entry(n).or_insert(from);
            }
        }
    }

    /// A step is over: the next reminder, or the end of the stretch, must not be too late.
    pub(super) fn stay_awake(
        &mut self,
        at: StepIx,
        over: Point,
        (to, cool): (Next, Millis),
        path: &Path,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        if plan.step(self.made.start).free {
            // It is said whenever it is due.
            return Ok(());
        }
        for (n, (from, since)) in &path.awake {
            let Some(awake) = plan.awake.get(*n).filter(|awake| awake.covers(at)) else { continue };
            let inside = match to {
                Next::Step(enter) => awake.covers(enter).then_some(enter),
                Next::End(_) => None,
            };
            let mut to = Hidden::seen(over);
            if let Some(enter) = inside {
                let next = plan.step(enter);
                if !next.breath_before {
                    continue;
                }
                let words = plan.awake.iter().filter(|other| other.covers(enter));
                let words = words.fold(Millis::ZERO, |all, a| all.plus(self.speech.of(a.text).hi));
                let reacts = self.procedure.operator.reacts.hi;
                let cool = if next.rest_before { Millis::ZERO } else { cool };
                let said = Span::exactly(cool.plus(words).plus(reacts));
                to = to.then(self.leg(said, at, awake.place, What::Awake));
            }
            let back = self.leg(Span::exactly(*since), at, awake.place, What::Awake);
            let from = Hidden::seen(*from).then(back);
            let key = WindowKey { step: at, place: awake.place };
            let range = Range { lo: Millis::ZERO, hi: Some(awake.every) };
            self.demand(key, What::Awake, range, &to, &from, over)?;
        }
        Ok(())
    }
}
