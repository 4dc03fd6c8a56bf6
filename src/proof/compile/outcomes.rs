//! What can come of a stretch of hands, and what follows: answers, silence, reports, retries.
//!
//! Takes the end of an act; gives a branch for each outcome, cut at resting points.

use super::{Ahead, End, Entry, Maker, Onward, Path, Retry, TooLarge, WindowKey, Work, forward};
use crate::clock::{Millis, Span};
use crate::procedure::model::{Hold, PurseId, Range};
use crate::procedure::plan::{
    Anchor, Limit, Next, PlanMet, PlanStep, Report, StepIx, Target, person,
};
use crate::procedure::timing::{Mark, Point as Named, What, report_delay};
use crate::proof::hidden::{Ground, Hidden, Leg};
use crate::proof::network::Point;
use crate::source::Place;
use std::collections::BTreeMap;

impl Maker<'_> {
    pub(super) fn outcomes(
        &mut self,
        at: StepIx,
        cue: Point,
        end: &Hidden,
        first_try: bool,
        chain: &[StepIx],
        path: &Path,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        let ahead = self.ahead(at, cue, path);
        match step.report {
            Report::Answer => self.answers(at, cue, end, first_try, path, ahead)?,
            Report::Act => {
                let told = report_delay(self.procedure, step);
                let leg = self.leg(told, at, step.place, What::Report);
                let over = self.report(at, cue, &end.then(leg))?;
                let mut path = path.clone();
                self.tell(&mut path, end, over, told, at, step.place);
                let onward = vec![forward(step.go_on)];
                self.follow(at, over, ahead, Some(end), onward, &path)?;
            }
            Report::None => {
                let over = self.point(at)?;
                let by =
                    Ground { step: at, place: step.place, what: What::Order, length: Millis::ZERO };
                self.exactly(end.root, over, end.span().hi, by)?;
                let mut path = path.clone();
                self.over(&mut path, at, over);
                let onward = vec![forward(step.go_on)];
                self.follow(at, over, ahead, Some(end), onward, &path)?;
            }
        }
        self.asides(at, cue, end, ahead, chain, path)
    }

    /// The step on the hoped-for way is prepared while this answer is awaited, unless in quiet.
    pub(super) fn ahead(&self, at: StepIx, cue: Point, path: &Path) -> Option<Ahead> {
        let next = self.plan.said_ahead(at)?;
        let mut words = path.seen.iter();
        let words = words.find(|(named, f)| named.mark == Mark::Heard && f[0].root == cue);
        let (by, heard) = words.map_or((at, Millis::ZERO), |(n, f)| (n.step, f[0].span().hi));
        Some(Ahead { during: cue, by, heard, whose: next })
    }

    /// A report: nature decides when it comes.
    pub(super) fn report(
        &mut self,
        at: StepIx,
        cue: Point,
        when: &Hidden,
    ) -> Result<Point, TooLarge> {
        let over = self.point(at)?;
        let takes = when.span();
        let takes = Span::new(takes.lo.max(Millis::ZERO), takes.hi.max(Millis::ZERO));
        let tag = self.tag(Vec::new());
        self.made.legs.insert(tag.0, when.legs.clone());
        self.made.network.add_link(when.root, over, takes, tag).map_err(Self::too_long(at))?;
        if when.root != cue {
            // An answer to an earlier act must not be told before the cue that waits for it, and the
            // cue must not wait for it: it comes before the quickest report.
            let quickest = super::super::hidden::grounds(&when.legs, true, 1);
            let tag = self.tag(quickest);
            let network = &mut self.made.network;
            network.add_bound(when.root, cue, takes.lo, tag).map_err(Self::too_long(at))?;
        }
        Ok(over)
    }

    pub(super) fn answers(
        &mut self,
        at: StepIx,
        cue: Point,
        end: &Hidden,
        first_try: bool,
        path: &Path,
        ahead: Option<Ahead>,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        for group in self.groups(step, path) {
            self.answer(at, cue, end, first_try, path, ahead, &group)?;
        }
        let Some(silence) = &step.silence else { return Ok(()) };
        // The person says so once it is sure, or the guide decides when a report could have come.
        let from =
            self.from(WindowKey { step: at, place: silence.place }, silence.anchor, path, end);
        let report = report_delay(self.procedure, step).hi;
        let until = Span::new(silence.within, silence.within.plus(report));
        let leg = self.leg(until, at, silence.place, What::Silence);
        let over = self.report(at, cue, &from.then(leg))?;
        let mut path = path.clone();
        self.over(&mut path, at, over);
        let onward = self.onward(&silence.then, &path);
        self.follow(at, over, ahead, Some(end), onward, &path)
    }

    /// Answers with the same continuation and anchor share one link: what differs between them does
    /// not matter later, or is held by the hull of both.
    pub(super) fn groups<'s>(&mut self, step: &'s PlanStep, path: &Path) -> Vec<Vec<&'s PlanMet>> {
        let mut groups: Vec<(Vec<Onward>, Vec<&PlanMet>)> = Vec::new();
        for met in &step.met {
            let onward = self.onward(&met.then, path);
            let same = groups
                .iter_mut()
                .find(|(other, mets)| *other == onward && mets[0].anchor == met.anchor);
            match same {
                Some((_, mets)) => {
                    mets.push(met);
                    self.made.merged = true;
                }
                None => groups.push((onward, vec![met])),
            }
        }
        groups.into_iter().map(|(_, mets)| mets).collect()
    }

    #[expect(clippy::too_many_arguments, reason = "one branch of one stretch, all of it needed")]
    pub(super) fn answer(
        &mut self,
        at: StepIx,
        cue: Point,
        end: &Hidden,
        first_try: bool,
        path: &Path,
        ahead: Option<Ahead>,
        group: &[&PlanMet],
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        let report = report_delay(self.procedure, step);
        let hull = |of: &dyn Fn(&PlanMet) -> Span| {
            group.iter().map(|met| of(met)).reduce(Span::hull).unwrap_or(Span::ZERO)
        };
        let delay = hull(&|met| met.delay);
        let until = hull(&|met| met.delay.then(met.recognise));
        let recognise = hull(&|met| met.recognise);
        let place = group.first().map_or(step.place, |met| met.place);
        let from = match group.first() {
            Some(met) => self.from(WindowKey { step: at, place: met.place }, met.anchor, path, end),
            None => end.clone(),
        };
        let answer = self.leg(delay, at, place, What::Answer);
        let answered = from.then(answer);
        let mut told = recognise.then(report);
        if let Some(Hold::UntilAnswered(more, ..)) = &step.hold {
            // The same hand lets go first.
            let more = more.and_then(|m| m.hi).unwrap_or(Millis::ZERO);
            let reacts = person(self.procedure, step.by).reacts;
            told = told.then(Span::new(Millis::ZERO, reacts.hi.plus(more)));
        }
        // The hull of the sums, which may be less than the sum of the hulls.
        let whole = until.then(Span::new(told.lo.minus(recognise.lo), told.hi.minus(recognise.hi)));
        let rest = Span::new(whole.lo.minus(delay.lo), whole.hi.minus(delay.hi));
        let leg = self.leg(rest, at, place, What::Report);
        let over = self.report(at, cue, &answered.then(leg))?;
        let mut path = path.clone();
        path.seen.insert(Named { step: at, mark: Mark::Answered }, vec![answered.clone()]);
        self.tell(&mut path, &answered, over, told, at, place);
        if let Some(Hold::UntilAnswered(more, _, held)) = &step.hold {
            let reacts = person(self.procedure, step.by).reacts;
            let more = more.map_or(Span::ZERO, |m| Span::new(m.lo, m.hi.unwrap_or(m.lo)));
            let free = self.leg(reacts.then(more), at, *held, What::LettingGo);
            path.seen.insert(Named { step: at, mark: Mark::Released }, vec![answered.then(free)]);
            self.windows(at, &path, cue, first_try, true)?;
        }
        let then = group.first().map(|met| self.onward(&met.then, &path));
        self.follow(at, over, ahead, Some(end), then.unwrap_or_default(), &path)
    }

    /// The form of a moment from its cue: links start there. One before the segment is not known.
    pub(super) fn from(
        &mut self,
        key: WindowKey,
        anchor: Anchor,
        path: &Path,
        end: &Hidden,
    ) -> Hidden {
        let known = path.seen.get(&Named::of(anchor)).and_then(|forms| forms.first()).cloned();
        known.unwrap_or_else(|| {
            self.made.unanchored.get_or_insert(key);
            end.clone()
        })
    }

    /// What was reported tells of every moment on the way to it: each lies the rest of that way, and
    /// then `back`, before the report. And the step is over.
    pub(super) fn tell(
        &mut self,
        path: &mut Path,
        told: &Hidden,
        over: Point,
        back: Span,
        at: StepIx,
        place: Place,
    ) {
        let report = self.leg(negative(back), at, place, What::Report);
        for forms in path.seen.values_mut() {
            let Some(first) = forms.first() else { continue };
            let way = first.legs.len();
            let shared = first.root == told.root
                && way <= told.legs.len()
                && first.legs.iter().zip(&told.legs).all(|(a, b)| a.id == b.id);
            // A moment without legs is seen itself; the end of the words may lie behind the act.
            let words = first.legs.last().is_none_or(|leg| leg.what == What::NowWords);
            if !shared || words {
                continue;
            }
            let rest = told.legs[way..].iter().rev();
            let rest = rest.map(|leg| Leg { span: negative(leg.span), ..*leg });
            let legs = std::iter::once(report).chain(rest).collect();
            forms.truncate(1);
            forms.push(Hidden { root: over, legs });
        }
        self.over(path, at, over);
    }

    pub(super) fn over(&mut self, path: &mut Path, at: StepIx, over: Point) {
        for mark in [Mark::Reported, Mark::Over] {
            path.seen.insert(Named { step: at, mark }, vec![Hidden::seen(over)]);
        }
    }

    /// Where missed windows and limits and lost guards lead, from any step of a stretch: always to a
    /// segment of its own, for nothing is known of when it happens. A hold of a fixed length can be
    /// missed without a `late`; then it is something else.
    pub(super) fn afresh_from(&mut self, chain: &[StepIx]) {
        let plan = self.plan;
        for at in chain.iter().copied() {
            let step = plan.step(at);
            let guards = plan.guards.iter().filter(|g| g.from <= at && at <= g.to);
            let limits = plan.limits.iter().filter(|l| l.from <= at && at <= l.to);
            let late = limits.filter_map(|l| l.late.as_ref()).chain(&step.late);
            for target in late.chain(guards.map(|g| &g.lost)) {
                self.lead(target, true);
            }
            if step.late.is_none() && matches!(step.hold, Some(Hold::For(..))) {
                self.lead(&step.otherwise, true);
            }
        }
    }

    /// Anything else, a slip: a branch of its own where it does not lead to an ending or a rest.
    pub(super) fn asides(
        &mut self,
        at: StepIx,
        cue: Point,
        end: &Hidden,
        ahead: Option<Ahead>,
        chain: &[StepIx],
        path: &Path,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let step = plan.step(at);
        let inside = |onward: &Onward| match onward.to {
            Next::Step(enter) => !plan.step(enter).rest_before,
            Next::End(_) => false,
        };
        self.broken_off(at, cue, end, path);
        let mut done: Vec<Vec<Onward>> = Vec::new();
        for target in [&step.otherwise, &step.slip] {
            let onward = self.onward(target, path);
            self.lead(target, false);
            let told = step.report != Report::None;
            if !told || !onward.iter().any(inside) || done.contains(&onward) {
                continue;
            }
            done.push(onward.clone());
            // It may be said at once, and before anything is done.
            let early = Millis::ZERO.minus(end.span().lo);
            let told = Span::new(early, self.latest_report(step));
            let leg = self.leg(told, at, step.place, What::Report);
            let over = self.report(at, cue, &end.then(leg))?;
            let mut path = path.clone();
            path.entered.retain(|tried| !chain.contains(tried));
            self.over(&mut path, at, over);
            self.follow(at, over, ahead, Some(end), onward, &path)?;
        }
        Ok(())
    }

    /// Ends that may come at any time in the stretch: anything else, a slip, a lost guard, where they
    /// do not lead on in this segment. Nothing is awaited of them; they only bound how long a run is.
    fn broken_off(&mut self, at: StepIx, cue: Point, end: &Hidden, path: &Path) {
        let plan = self.plan;
        let step = plan.step(at);
        let first = self.made.cues.iter().rev().find(|(_, point)| *point == cue);
        let first = first.map_or(at, |(step, _)| *step).min(at);
        let guards = plan.guards.iter().filter(|g| g.from <= at && first <= g.to);
        let told =
            [&step.otherwise, &step.slip].into_iter().filter(|_| step.report != Report::None);
        let mut done: Vec<Onward> = Vec::new();
        let latest = end.span().hi.plus(self.longest_stay(step));
        let inside = |to: Next, lost: bool| match to {
            Next::Step(enter) => !lost && !plan.step(enter).rest_before,
            Next::End(_) => false,
        };
        let targets = told.map(|target| (target, false)).chain(guards.map(|g| (&g.lost, true)));
        for (target, lost) in targets {
            for onward in self.onward(target, path) {
                if done.contains(&onward) || inside(onward.to, lost) {
                    continue;
                }
                done.push(onward);
                let ended = ended(at, onward, (end.root, latest), None, path);
                self.made.ends.push(ended);
            }
        }
    }

    /// How long after its act a step may last: until the latest report, and until what was held for
    /// the answer is free.
    fn longest_stay(&self, step: &PlanStep) -> Millis {
        let free = match &step.hold {
            Some(Hold::UntilAnswered(more, ..)) => {
                let more = more.and_then(|m| m.hi).unwrap_or(Millis::ZERO);
                person(self.procedure, step.by).reacts.hi.plus(more)
            }
            _ => Millis::ZERO,
        };
        match step.report {
            Report::None => Millis::ZERO,
            Report::Act | Report::Answer => self.latest_report(step).plus(free),
        }
    }

    /// After the end of the act, the latest report of anything.
    pub(super) fn latest_report(&self, step: &PlanStep) -> Millis {
        let report = report_delay(self.procedure, step).hi;
        let met = step.met.iter().map(|m| m.delay.hi.plus(m.recognise.hi));
        let silence = step.silence.iter().map(|s| s.within);
        met.chain(silence).max().unwrap_or(Millis::ZERO).plus(report)
    }

    /// Every resting point that a target can lead to, its tries spent or not; `afresh`: every step,
    /// for the run begins again there whatever was under way.
    pub(super) fn lead(&mut self, target: &Target, afresh: bool) {
        match target {
            Target::To(Next::Step(next)) | Target::ThisOne { next: Next::Step(next), .. } => {
                if afresh || self.plan.step(*next).rest_before {
                    self.made.leads.insert(*next);
                }
            }
            Target::To(Next::End(_)) | Target::ThisOne { .. } => {}
            Target::Again { enter, spent, .. } => {
                if afresh || self.plan.step(*enter).rest_before {
                    self.made.leads.insert(*enter);
                }
                self.lead(spent, afresh);
            }
        }
    }

    /// What a target can mean on this path: a retry while its purse lasts, and what follows when it
    /// does not. Tries may have been spent before this segment, so both are possible from the first.
    pub(super) fn onward(&self, target: &Target, path: &Path) -> Vec<Onward> {
        match target {
            Target::To(next) | Target::ThisOne { next, .. } => vec![forward(*next)],
            Target::Again { purse, enter, back, cool_down, spent, place } => {
                let tries = self.procedure.purses.get(purse.0 as usize).map_or(0, |p| p.tries);
                let mut all = self.onward(spent, path);
                all.iter_mut().for_each(|onward| onward.spent = Some(*purse));
                if path.used.get(purse).copied().unwrap_or(0) < tries {
                    let retry =
                        Retry { purse: *purse, back: *back, cool: *cool_down, place: *place };
                    let to = Next::Step(*enter);
                    all.insert(0, Onward { to, retry: Some(retry), spent: None });
                }
                all
            }
        }
    }

    /// Goes on behind an outcome: to an ending, to a rest (cut here), or on in this segment.
    pub(super) fn follow(
        &mut self,
        at: StepIx,
        over: Point,
        ahead: Option<Ahead>,
        end: Option<&Hidden>,
        onward: Vec<Onward>,
        path: &Path,
    ) -> Result<(), TooLarge> {
        for onward in onward {
            self.limits(at, over, onward.to, path)?;
            let cool = onward.retry.map_or(Millis::ZERO, |retry| retry.cool);
            self.stay_awake(at, over, (onward.to, cool), path)?;
            let enter = match onward.to {
                Next::Step(enter) if !self.plan.step(enter).rest_before => enter,
                to => {
                    if let Next::Step(rest) = to {
                        self.made.leads.insert(rest);
                    }
                    let end = ended(at, onward, (over, Millis::ZERO), Some(over), path);
                    self.made.ends.push(end);
                    continue;
                }
            };
            let mut path = path.clone();
            spend(onward, &mut path.used, &mut path.empty);
            let mut entry =
                Entry { over: Some(over), ahead, act: end.cloned(), ..Entry::default() };
            if let Some(Retry { back, cool, place, .. }) = onward.retry {
                *self.made.retried.entry(place).or_insert(0) += 1;
                path.back = Some(back);
                entry.act = None;
                entry.cool = (cool > Millis::ZERO).then_some((cool, place));
            }
            self.work.push(Work { at: enter, entry, path });
        }
        Ok(())
    }

    /// Limits on stretches that are left here: behind their last step, to an ending, or to a step
    /// outside. A stretch that is broken off has no least. One that is left before the limit began to
    /// run keeps it.
    pub(super) fn limits(
        &mut self,
        at: StepIx,
        over: Point,
        to: Next,
        path: &Path,
    ) -> Result<(), TooLarge> {
        let plan = self.plan;
        let inside = |limit: &&Limit| limit.from <= at && at <= limit.to;
        for limit in plan.limits.iter().filter(inside) {
            let stays = match to {
                Next::Step(enter) => limit.from <= enter && enter <= limit.to,
                Next::End(_) => false,
            };
            let last = at == limit.to;
            let anchor = Named::of(limit.anchor);
            let not_yet = !path.seen.contains_key(&anchor) && self.made.start <= anchor.step;
            if !last && (stays || not_yet) {
                continue;
            }
            let lo = if last { limit.range.lo } else { Millis::ZERO };
            let range = Range { lo, ..limit.range };
            let key = WindowKey { step: at, place: limit.place };
            let Some(from) = self.anchor(key, anchor, path, range)? else { continue };
            self.demand(key, What::Limit, range, &Hidden::seen(over), &from, over)?;
        }
        Ok(())
    }
}

/// An end of a branch behind an outcome.
fn ended(
    step: StepIx,
    onward: Onward,
    latest: (Point, Millis),
    earliest: Option<Point>,
    path: &Path,
) -> End {
    let (mut used, mut empty) = (path.used.clone(), path.empty.clone());
    spend(onward, &mut used, &mut empty);
    let cool = onward.retry.map_or(Millis::ZERO, |retry| retry.cool);
    End { step, to: onward.to, cool, latest, earliest, used, empty }
}

/// What a way costs in tries, and which purse it needs empty.
fn spend(onward: Onward, used: &mut BTreeMap<PurseId, u32>, empty: &mut BTreeMap<PurseId, u32>) {
    if let Some(retry) = onward.retry {
        *used.entry(retry.purse).or_insert(0) += 1;
    }
    if let Some(purse) = onward.spent {
        empty.entry(purse).or_insert(used.get(&purse).copied().unwrap_or(0));
    }
}

/// The same length counted backwards.
fn negative(span: Span) -> Span {
    Span::new(Millis::ZERO.minus(span.hi), Millis::ZERO.minus(span.lo))
}
