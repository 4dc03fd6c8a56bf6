//! What must be kept: windows, limits, counts and holds laid on the network.
//!
//! Takes hidden moments; gives bounds between the points that the guide knows.

use super::{Demand, Maker, Path, TooLarge, WindowKey};
use crate::clock::Millis;
use crate::procedure::model::{CLOCK_ERROR, Event, Hold, HowMany, Range};
use crate::procedure::plan::{PlanWindow, StepIx};
use crate::procedure::timing::{Mark, Point as Named, What};
use crate::proof::hidden::{Ground, Hidden, grounds};
use crate::proof::network::Point;

impl Maker<'_> {
    /// What a count or a hold demands of itself.
    pub(super) fn own_demands(
        &mut self,
        at: StepIx,
        path: &Path,
        cue: Point,
    ) -> Result<(), TooLarge> {
        let step = self.plan.step(at);
        let seen = |mark| path.seen.get(&Named { step: at, mark }).map(|forms| forms[0].clone());
        if let (Some((many, count)), Some(begun), Some(done)) =
            (&step.count, seen(Mark::Begun), seen(Mark::Done))
            && count.how_many != HowMany::UntilAnswered
        {
            let gaps = i64::from(many.saturating_sub(1));
            let each = count.each_within.map(|hi| hi.times(gaps));
            for hi in count.within.into_iter().chain(each) {
                let range = Range { lo: Millis::ZERO, hi: Some(hi) };
                let key = WindowKey { step: at, place: count.place };
                self.demand(key, What::Window, range, &done, &begun, cue)?;
            }
        }
        if let (Some(Hold::For(range, _, place)), Some(done), Some(free)) =
            (&step.hold, seen(Mark::Done), seen(Mark::Released))
        {
            let key = WindowKey { step: at, place: *place };
            self.demand(key, What::Holding, *range, &free, &done, cue)?;
        }
        Ok(())
    }

    /// The windows of a step: all but those on a release that waits for the answer, or only those.
    pub(super) fn windows(
        &mut self,
        at: StepIx,
        path: &Path,
        cue: Point,
        first_try: bool,
        answered: bool,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        let waits = matches!(step.hold, Some(Hold::UntilAnswered(..)));
        for window in &step.windows {
            let late = waits && window.subject == Event::Released;
            if late != answered || self.past(window, at, path, first_try) {
                continue;
            }
            if step.hold == Some(Hold::On) && window.subject == Event::Released {
                // Laid where it is let go of, if anywhere.
                if !plan.steps.iter().any(|s| s.lets_go == Some(at)) {
                    let key = WindowKey { step: at, place: window.place };
                    self.made.unanchored.get_or_insert(key);
                }
                continue;
            }
            self.window(at, window, path, cue)?;
        }
        let held = step.lets_go.filter(|held| plan.step(*held).hold == Some(Hold::On));
        for held in held.into_iter().filter(|_| !answered) {
            let on = plan.step(held).windows.iter().filter(|w| w.subject == Event::Released);
            for window in on {
                if !self.past(window, held, path, first_try) {
                    self.window(held, window, path, cue)?;
                }
            }
        }
        Ok(())
    }

    /// Whether a window of the first try does not hold here. A run that begins again after a miss went
    /// back behind whatever it has not seen.
    fn past(&self, window: &PlanWindow, at: StepIx, path: &Path, first_try: bool) -> bool {
        let anchor = window.anchor.step;
        let between = |back: &StepIx| anchor < *back && *back <= at;
        let unseen = self.afresh && !path.seen.contains_key(&Named::of(window.anchor));
        window.first_try_only && (!first_try || unseen || path.returns.iter().any(between))
    }

    pub(super) fn window(
        &mut self,
        at: StepIx,
        window: &PlanWindow,
        path: &Path,
        cue: Point,
    ) -> Result<(), TooLarge> {
        let subject = Named { step: at, mark: Mark::of(window.subject) };
        let key = WindowKey { step: at, place: window.place };
        let Some(to) = path.seen.get(&subject).and_then(|forms| forms.first()).cloned() else {
            self.made.unanchored.get_or_insert(key);
            return Ok(());
        };
        let Some(from) = self.anchor(key, Named::of(window.anchor), path, window.range)? else {
            return Ok(());
        };
        self.demand(key, What::Window, window.range, &to, &from, cue)
    }

    /// The form in which an anchor is counted from. A least alone, anchored before the segment, can
    /// always be waited for before the segment begins.
    pub(super) fn anchor(
        &mut self,
        key: WindowKey,
        anchor: Named,
        path: &Path,
        range: Range,
    ) -> Result<Option<Hidden>, TooLarge> {
        let forms = path.seen.get(&anchor);
        let Some(forms) = forms else {
            if range.hi.is_none() {
                return Ok(Some(Hidden::seen(self.earlier(anchor)?)));
            }
            self.made.unanchored.get_or_insert(key);
            return Ok(None);
        };
        let form = if self.forms.contains(&key) { forms.first() } else { forms.last() };
        if forms.len() > 1 {
            self.made.forms.insert(key);
        }
        Ok(form.cloned())
    }

    /// The point of a moment before the segment: no later than its first cue.
    fn earlier(&mut self, named: Named) -> Result<Point, TooLarge> {
        if let Some(known) = self.made.earlier.get(&named) {
            return Ok(*known);
        }
        let start = self.made.start;
        let point = self.point(start)?;
        self.made.earlier.insert(named, point);
        if let Some((_, cue)) = self.made.cues.first().copied() {
            self.after(point, cue, Vec::new(), start)?;
        }
        Ok(point)
    }

    /// Lays `lo ≤ to − from ≤ hi` on the network, the clock's error taken off on both sides (not off
    /// an equality, of which nothing would be left).
    pub(super) fn demand(
        &mut self,
        key: WindowKey,
        what: What,
        range: Range,
        to: &Hidden,
        from: &Hidden,
        cue: Point,
    ) -> Result<(), TooLarge> {
        let exact = range.hi == Some(range.lo);
        let error = if exact { Millis::ZERO } else { CLOCK_ERROR };
        let own = |length| Ground { step: key.step, place: key.place, what, length };
        if let Some(hi) = range.hi.filter(|_| !self.leaves_out(key, true)) {
            let (to_legs, from_legs) = to.apart(from);
            let mut by = vec![own(hi.minus(error))];
            by.extend(grounds(to_legs, false, -1));
            by.extend(grounds(from_legs, true, 1));
            self.lay(key, hi, from.root, to.root, by, cue)?;
        }
        if range.lo > Millis::ZERO && !self.leaves_out(key, false) {
            let root = self.latest_root(from);
            let (to_legs, from_legs) = to.apart_at_least(from);
            let mut by = vec![own(Millis::ZERO.minus(range.lo.plus(error)))];
            by.extend(grounds(to_legs, true, 1));
            by.extend(grounds(from_legs, false, -1));
            self.lay(key, range.lo, to.root, root, by, cue)?;
        }
        Ok(())
    }

    /// One edge of a demand. Between moments of one root it is a sum of constants: kept, or a
    /// contradiction of its own.
    pub(super) fn lay(
        &mut self,
        key: WindowKey,
        length: Millis,
        from: Point,
        to: Point,
        by: Vec<Ground>,
        cue: Point,
    ) -> Result<(), TooLarge> {
        let most = by.iter().fold(Millis::ZERO, |sum, ground| sum.plus(ground.length));
        let upper = by.first().is_some_and(|own| own.length > Millis::ZERO);
        let what = by.first().map_or(What::Window, |own| own.what);
        let tag = self.tag(by);
        let demand = Demand { key, what, bound: None, left: None, from, cue, length };
        if from != to {
            let bound = self.made.network.bounds().len();
            self.made.network.add_bound(from, to, most, tag).map_err(Self::too_long(key.step))?;
            if upper {
                self.made.demands.push(Demand { bound: Some(bound), ..demand });
            }
            return Ok(());
        }
        if upper {
            self.made.demands.push(Demand { left: Some(most), ..demand });
        }
        if most < Millis::ZERO {
            let wall = self.point(key.step)?;
            let none = self.tag(Vec::new());
            let network = &mut self.made.network;
            network.add_bound(from, wall, most, tag).map_err(Self::too_long(key.step))?;
            network.add_bound(wall, from, Millis::ZERO, none).map_err(Self::too_long(key.step))?;
        }
        Ok(())
    }
}
