//! The plain window arithmetic that fills [`Timing`]: no search, only sums along a run of acts.
//!
//! Takes a plan and lengths; gives latest and earliest moments. A cue is safe while every window of
//! its step, and of the steps that follow it without a report, can still be met at the slowest.

use super::{
    ByPoint, Known, Mark, Point, SpeechLengths, Timing, What, Why, hands, now_words, prompt,
    report_delay, strokes,
};
use crate::clock::{Millis, Moment, Span};
use crate::procedure::model::{CLOCK_ERROR, Hold, Procedure, Range};
use crate::procedure::plan::{Next, Plan, PlanStep, PlanWindow, Report, StepIx, person};
use crate::source::Place;
use std::collections::BTreeMap;

/// One demand on a point: a window, seen from the moment that the guide can still choose.
#[derive(Clone, Debug)]
struct Claim {
    anchor: Point,
    /// Most after the anchor, clock error taken off.
    hi: Option<Millis>,
    /// Least after the anchor, clock error added; `None`: no least, or it can be waited for later.
    lo: Option<Millis>,
    /// From the point to what the window binds, at the slowest.
    worst: Millis,
    /// The same at the fastest.
    best: Millis,
    /// The step whose first try it binds, if only that.
    first_try: Option<StepIx>,
    /// Whose step, which line, what, how long.
    why: (StepIx, Place, What, Millis),
}

impl Claim {
    fn holds(&self, known: &Known) -> bool {
        self.first_try.is_none_or(|step| !known.first_try_past(self.anchor.step, step))
    }
}

/// Plain window arithmetic over one plan.
#[derive(Clone, Debug, Default)]
pub struct PlainTiming {
    claims: ByPoint<Vec<Claim>>,
    /// By step.
    prompts: Vec<Millis>,
    /// By step: from its cue to the moments of its run of acts, at the slowest.
    reach: Vec<BTreeMap<Point, Millis>>,
}

impl PlainTiming {
    /// Sums up every run of acts once.
    #[must_use]
    pub fn new(procedure: &Procedure, plan: &Plan, speech: &SpeechLengths) -> PlainTiming {
        let mut timing = PlainTiming::default();
        for (at, step) in plan.indexed() {
            timing.prompts.push(prompt(plan, speech, at).hi);
            let mut run =
                Run { procedure, plan, speech, seen: BTreeMap::new(), claims: Vec::new() };
            let mut reach = BTreeMap::new();
            if !step.straight_on {
                run.sum_from(at);
                reach.extend(run.seen.iter().map(|(point, span)| (*point, span.hi)));
                timing.claims.insert(Point { step: at, mark: Mark::Called }, run.claims);
            }
            for mark in [Mark::Begun, Mark::Done, Mark::Released, Mark::LetGo] {
                let claims = act_claims(procedure, speech, at, step, mark);
                timing.claims.insert(Point { step: at, mark }, claims);
            }
            timing.reach.push(reach);
        }
        timing
    }

    fn claims(&self, point: Point) -> &[Claim] {
        let mark = match point.mark {
            Mark::Prepare | Mark::Prepared => Mark::Called,
            other => other,
        };
        self.claims.get(Point { mark, ..point }).map_or(&[], Vec::as_slice)
    }

    /// How long after the cue of `step` that moment of its run of acts lies, at the slowest.
    #[must_use]
    pub fn reach(&self, step: StepIx, point: Point) -> Option<Millis> {
        self.reach.get(step.0 as usize)?.get(&point).copied()
    }

    /// The latest moment of a point and the sentence that binds it, where the windows of `hopeless`
    /// lines are given up last: they count by the quickest hands.
    #[must_use]
    pub fn latest_where(
        &self,
        point: Point,
        known: &Known,
        hopeless: &dyn Fn(StepIx, What, Place) -> bool,
    ) -> Option<(Moment, Why)> {
        let latest = |claim: &Claim| {
            claim.holds(known).then_some(())?;
            let (step, place, what, _) = claim.why;
            let tail = if hopeless(step, what, place) { claim.best } else { claim.worst };
            Some(known.get(claim.anchor)?.earliest.after(claim.hi?).before(tail))
        };
        let claims = self.claims(point).iter();
        let latest = claims.filter_map(|claim| Some((latest(claim)?, claim)));
        let (at, claim) = latest.min_by_key(|(latest, _)| *latest)?;
        let words = match point.mark {
            Mark::Prepare => self.prompts.get(point.step.0 as usize).copied().unwrap_or_default(),
            _ => Millis::ZERO,
        };
        let (step, place, what, length) = claim.why;
        Some((at.before(words), Why { step, place, what, anchor: claim.anchor, length }))
    }
}

impl Timing for PlainTiming {
    fn earliest(&self, point: Point, known: &Known) -> Moment {
        // What is prepared may be prepared at any time.
        if matches!(point.mark, Mark::Prepare | Mark::Prepared) {
            return Moment::START;
        }
        let of = |claim: &Claim| {
            claim.holds(known).then_some(())?;
            Some(known.get(claim.anchor)?.latest.after(claim.lo?).before(claim.best))
        };
        let bounds = self.claims(point).iter().filter_map(of);
        bounds.max().map_or(Moment::START, |m| m.max(Moment::START))
    }

    fn latest(&self, point: Point, known: &Known) -> Option<Moment> {
        self.latest_where(point, known, &|_, _, _| false).map(|(latest, _)| latest)
    }

    fn why(&self, point: Point, known: &Known) -> Option<Why> {
        self.latest_where(point, known, &|_, _, _| false).map(|(_, why)| why)
    }

    fn bound(&self, point: Point, known: &Known) -> Option<(Moment, Option<Why>)> {
        let bound = self.latest_where(point, known, &|_, _, _| false);
        bound.map(|(latest, why)| (latest, Some(why)))
    }
}

/// The window's ends as the guide's clock may trust them. Equalities are not shrunk: nothing would
/// be left of them.
fn ends(range: Range) -> (Option<Millis>, Option<Millis>) {
    let exact = range.hi == Some(range.lo);
    let error = if exact { Millis::ZERO } else { CLOCK_ERROR };
    let lo = (range.lo > Millis::ZERO).then(|| range.lo.plus(error));
    (lo, range.hi.map(|hi| hi.minus(error)))
}

/// A run of acts from one cue on, all times counted from `called` of that cue.
struct Run<'a> {
    procedure: &'a Procedure,
    plan: &'a Plan,
    speech: &'a SpeechLengths,
    seen: BTreeMap<Point, Span>,
    claims: Vec<Claim>,
}

impl Run<'_> {
    fn sum_from(&mut self, first: StepIx) {
        let mut at = first;
        let mut end = self.act(at, Span::ZERO, true);
        self.limits(at, end);
        while let Some(next) = self.goes_on(at) {
            let step = self.plan.step(next);
            let cued = !step.straight_on;
            let start = if cued { self.next_cue(at, next, end) } else { end };
            end = self.act(next, start, !cued);
            at = next;
        }
    }

    /// The step that follows without a report.
    fn goes_on(&self, at: StepIx) -> Option<StepIx> {
        let step = self.plan.step(at);
        match step.go_on {
            // Forward only: a run never turns back.
            Next::Step(next) if next > at => {
                let follows = self.plan.step(next).straight_on || step.report == Report::None;
                follows.then_some(next)
            }
            _ => None,
        }
    }

    /// When the guide calls the next step of a run: once the act is over at the latest, the prompt is
    /// spoken, and its own least waits are kept.
    fn next_cue(&self, at: StepIx, next: StepIx, end: Span) -> Span {
        let heard =
            self.seen.get(&Point { step: at, mark: Mark::Heard }).map_or(Millis::ZERO, |s| s.hi);
        let spoken = heard.plus(prompt(self.plan, self.speech, next).hi);
        let mut called = Span::new(end.hi, end.hi.max(spoken));
        let step = self.plan.step(next);
        let best = hands(self.procedure, step).lo;
        for window in &step.windows {
            let anchor = self.seen.get(&Point::of(window.anchor));
            if let (Some(anchor), (Some(lo), _)) = (anchor, ends(window.range)) {
                let wait = anchor.hi.plus(lo).minus(best);
                called = Span::new(called.lo.max(wait), called.hi.max(wait));
            }
        }
        called
    }

    /// Adds one act, begun at `start` (its cue, or the end of the act before); gives its end.
    fn act(&mut self, at: StepIx, start: Span, bound_below: bool) -> Span {
        let step = self.plan.step(at);
        let act = hands(self.procedure, step);
        let words = if step.straight_on { Span::ZERO } else { now_words(self.speech, step) };
        let heard = start.then(words);
        let begun = Span::new(start.lo.plus(act.lo), heard.hi.plus(act.hi));
        let done = begun.then(strokes(step));
        let (released, end) = self.held(step, done);
        if !step.straight_on {
            self.see(at, Mark::Called, start);
            self.see(at, Mark::Heard, heard);
        }
        if step.only_watch {
            return heard;
        }
        self.see(at, Mark::Begun, begun);
        self.see(at, Mark::Done, done);
        if let Some(released) = released {
            self.see(at, Mark::Released, released);
        }
        for window in &step.windows {
            self.claim(at, window, bound_below);
        }
        end
    }

    /// When what is held is free, and when the act ends.
    fn held(&self, step: &PlanStep, done: Span) -> (Option<Span>, Span) {
        let reacts = person(self.procedure, step.by).reacts;
        match &step.hold {
            Some(Hold::For(range, ..)) => {
                let call = CLOCK_ERROR.plus(self.speech.jitter()).plus(reacts.hi);
                let free = done.then(Span::new(range.lo, range.lo.plus(call)));
                (Some(free), free)
            }
            Some(Hold::UntilAnswered(more, ..)) => {
                let delays = step.met.iter().map(|m| m.delay).reduce(Span::hull);
                let more = more.map_or(Span::ZERO, |m| Span::new(m.lo, m.hi.unwrap_or(m.lo)));
                let free = done.then(delays.unwrap_or(Span::ZERO)).then(reacts).then(more);
                (Some(free), free)
            }
            Some(Hold::On) | None => (None, done),
        }
    }

    fn see(&mut self, step: StepIx, mark: Mark, when: Span) {
        self.seen.insert(Point { step, mark }, when);
    }

    fn claim(&mut self, at: StepIx, window: &PlanWindow, bound_below: bool) {
        let anchor = Point::of(window.anchor);
        let subject = self.seen.get(&Point { step: at, mark: Mark::of(window.subject) });
        let (Some(subject), false) = (subject, self.seen.contains_key(&anchor)) else {
            // Measured from inside the run: the cue cannot change it.
            return;
        };
        let (lo, hi) = ends(window.range);
        let why = (at, window.place, What::Window, window.range.hi.unwrap_or(window.range.lo));
        let lo = lo.filter(|_| bound_below);
        let first_try = window.first_try_only.then_some(at);
        let (worst, best) = (subject.hi, subject.lo);
        self.claims.push(Claim { anchor, hi, lo, worst, best, first_try, why });
    }

    /// Limits bind the cue by the step's own worst length.
    fn limits(&mut self, at: StepIx, end: Span) {
        let step = self.plan.step(at);
        let worst = over(self.procedure, step, end);
        for limit in self.plan.limits.iter().filter(|l| l.from <= at && at <= l.to) {
            let anchor = Point::of(limit.anchor);
            let (_, hi) = ends(limit.range);
            if hi.is_some() && anchor.step != at {
                let why = (at, limit.place, What::Limit, limit.range.hi.unwrap_or_default());
                let (lo, best, first_try) = (None, end.lo, None);
                self.claims.push(Claim { anchor, hi, lo, worst, best, first_try, why });
            }
        }
    }
}

/// The latest end of a step whose act ends so late: report, answer, silence.
fn over(procedure: &Procedure, step: &PlanStep, end: Span) -> Millis {
    let report = report_delay(procedure, step).hi;
    let met = step.met.iter().map(|m| m.delay.hi.plus(m.recognise.hi));
    let silence = step.silence.iter().map(|s| s.within);
    let told = met.chain(silence).max().unwrap_or(Millis::ZERO);
    match step.report {
        Report::None => end.hi,
        Report::Act | Report::Answer => end.hi.plus(told).plus(report),
    }
}

/// What binds a moment of the act itself.
fn act_claims(
    procedure: &Procedure,
    speech: &SpeechLengths,
    at: StepIx,
    step: &PlanStep,
    mark: Mark,
) -> Vec<Claim> {
    let reacts = person(procedure, step.by).reacts;
    let free = reacts.then(Span::new(Millis::ZERO, speech.jitter()));
    // From the moment in question to what a window binds, as far as it follows from it.
    let reach = |subject: Mark| match (mark, subject) {
        (Mark::Begun, Mark::Done) => Some(strokes(step)),
        (Mark::LetGo, Mark::Released) => Some(free),
        (mark, subject) => (mark == subject).then_some(Span::ZERO),
    };
    let mut claims = Vec::new();
    for window in &step.windows {
        let Some(reach) = reach(Mark::of(window.subject)) else { continue };
        let (lo, hi) = ends(window.range);
        let why = (at, window.place, What::Window, window.range.hi.unwrap_or(window.range.lo));
        let anchor = Point::of(window.anchor);
        let first_try = window.first_try_only.then_some(at);
        let (worst, best) = (reach.hi, reach.lo);
        claims.push(Claim { anchor, hi, lo, worst, best, first_try, why });
    }
    if let (Some(Hold::For(range, _, place)), Some(reach)) = (&step.hold, reach(Mark::Released)) {
        let (lo, hi) = ends(*range);
        let anchor = Point { step: at, mark: Mark::Done };
        let why = (at, *place, What::Holding, range.hi.unwrap_or(range.lo));
        let (worst, best, first_try) = (reach.hi, reach.lo, None);
        claims.push(Claim { anchor, hi, lo, worst, best, first_try, why });
    }
    claims
}
