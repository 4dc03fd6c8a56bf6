//! One step's life in time: what is due next, and what happens when it is.
//!
//! Takes the state of a run and the present; gives the next due moment, or brings it about.

use crate::clock::{Millis, Moment};
use crate::guide::cue::{Cue, Fact, Notice, OutcomeKind, Tone};
use crate::guide::out::Out;
use crate::guide::run::{Acting, Before, Phase, Run, next_let_go};
use crate::guide::world::{Expected, World, plus};
use crate::procedure::plan::{Next, PlanMet, Report, StepIx};
use crate::procedure::timing::{Bracket, CueTimes, Mark, Point, What, Why};
use std::borrow::Cow;
use std::sync::Arc;

/// A cue given later than this is written down and shown.
const LATE_CUE: Millis = Millis(100);

/// What is due.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Due {
    /// The cool-down is over.
    CoolDownOver,
    /// The next words before the now cue, of this step or ahead of the next.
    Saying,
    /// The now cue.
    Cue,
    /// A tick.
    Tick,
    /// Let go.
    LetGo,
    /// Nothing was seen in time.
    Silence,
    /// The window of this step was missed: the sentence that decides it.
    Late(StepIx, Option<Why>),
    /// The act is over, nobody tells.
    Unreported,
    /// The nth limit of the plan was missed.
    Limit(u32),
    /// The nth reminder of the plan.
    Awake(u32),
}

/// A cue that is not given any more: when that is decided, and what follows.
#[derive(Clone, Copy, Debug)]
pub(super) struct GivenUp {
    /// Until then the person keeps still.
    pub at: Moment,
    /// What is due after it.
    pub due: Due,
    /// The sentence that can no more be met.
    pub why: Option<Why>,
}

/// What is due first; of several at one moment the one that was named first.
#[derive(Default)]
struct First(Option<(Moment, Due)>);

impl First {
    fn or(&mut self, at: Moment, due: Due) {
        if self.0.is_none_or(|(first, _)| at < first) {
            self.0 = Some((at, due));
        }
    }
}

/// Whose window was missed, and the sentence that decided it.
type Missed = (StepIx, Option<Why>);

/// The close of a window: when, whose, and why.
#[derive(Clone, Copy, Debug)]
pub(super) struct Close {
    pub at: Moment,
    pub step: StepIx,
    pub mark: Mark,
    pub why: Option<Why>,
}

impl Run {
    /// What is due next, and when. A due moment may lie in the past: then it is due now.
    pub fn next_due(&self, world: &World, now: Moment) -> Option<(Moment, Due)> {
        let mut due = First::default();
        match &self.phase {
            Phase::CoolDown { until } => due.or(*until, Due::CoolDownOver),
            Phase::Before(before) => {
                let (at, what) = self.before_due(world, before, now);
                due.or(at, what);
            }
            Phase::Acting(acting) => self.acting_due(world, acting, &mut due),
            Phase::Resting | Phase::Cautions(_) | Phase::Asks(..) => {}
            Phase::Testing(_) | Phase::Over(_) => return None,
        }
        self.limits_due(world, &mut due);
        if let Some((at, n)) = self.awake_due(world) {
            due.or(at, Due::Awake(n));
        }
        due.0
    }

    fn before_due(&self, world: &World, before: &Before, now: Moment) -> (Moment, Due) {
        if self.too_late(world, before, now) {
            let given_up = self.given_up(world, now);
            return (given_up.at.after(Millis(1)), given_up.due);
        }
        if !before.to_say().is_empty() {
            return (before.since.max(self.voice_free), Due::Saying);
        }
        let due = self.cue_due(world, before);
        let reminder = self.awake_before_cue(world, due.max(now));
        (due, reminder.map_or(Due::Cue, Due::Awake))
    }

    /// When the now cue is due: not before the words are said and the windows allow it.
    pub fn cue_due(&self, world: &World, before: &Before) -> Moment {
        let allowed = self.cue(world).earliest;
        let words = before.to_say().iter();
        let words = words.fold(Millis::ZERO, |sum, (text, _)| sum.plus(world.speech(*text).hi));
        let said = before.prepared.unwrap_or(before.since.max(self.voice_free).after(words));
        before.since.max(said).max(allowed)
    }

    /// Whether the now cue can no more be given in time.
    pub fn too_late(&self, world: &World, before: &Before, now: Moment) -> bool {
        let bound = self.cue(world).bound;
        bound.is_some_and(|(latest, _)| self.cue_due(world, before).max(now) > latest)
    }

    /// What decides where the now cue can no more be given in time: nothing is tried while the vehicle
    /// may still wait. The first to close of the stretch's own windows and of the one that can no more
    /// be met, which may lie further ahead.
    pub fn given_up(&self, world: &World, now: Moment) -> GivenUp {
        let own = self.close(world).map(|close| GivenUp {
            at: close.at,
            due: Due::Late(close.step, close.why),
            why: close.why,
        });
        let why = self.cue(world).bound.and_then(|(_, why)| why);
        let binding = why.and_then(|why| self.broken_at(world, why));
        let none =
            GivenUp { at: now.before(Millis(1)), due: Due::Late(self.step, None), why: None };
        own.into_iter().chain(binding).min_by_key(|given_up| given_up.at).unwrap_or(none)
    }

    /// When a sentence can no more be met whatever happens, and what is due then.
    fn broken_at(&self, world: &World, why: Why) -> Option<GivenUp> {
        let at = self.known.get(why.anchor)?.earliest.after(why.length);
        let due = match why.what {
            What::Limit => Due::Limit(limit_of(world, &why)?),
            _ => Due::Late(why.step, Some(why)),
        };
        Some(GivenUp { at, due, why: Some(why) })
    }

    /// The sentence that decides how long there is to act, when that may still be tried though it is no
    /// more certain to be met; what lies ahead is only called for once this act is reported.
    pub fn tried_until(&self, world: &World, acting: &Acting, now: Moment) -> Option<GivenUp> {
        let (safe, why) = self.safe_act(world, acting, self.shown(now))?;
        self.broken_at(world, why?).filter(|_| now > safe)
    }

    /// The moment of the now cue.
    pub fn called(&self) -> Point {
        Point { step: self.step, mark: Mark::Called }
    }

    /// When the now cue of this step may be given, by the timing.
    pub fn cue(&self, world: &World) -> CueTimes {
        self.known.cue(world, self.step)
    }

    fn acting_due(&self, world: &World, acting: &Acting, due: &mut First) {
        if let Some((at, ..)) = acting.ticks {
            due.or(at, Due::Tick);
        }
        if let Some((_, at)) = acting.let_go {
            due.or(at, Due::LetGo);
        }
        if let Some(early) = &self.early
            && !early.before.to_say().is_empty()
        {
            due.or(early.before.since.max(self.voice_free), Due::Saying);
        }
        if world.step(acting.last()).report == Report::None {
            due.or(acting.end().latest, Due::Unreported);
            return;
        }
        let late = self.late_at(world, acting);
        // Where the window closed while the computer was away, nobody can say that nothing came.
        let unattended = late.is_some_and(|(at, ..)| at == acting.grace && at > acting.called);
        if let Some(at) = self.silence_at(world, acting).filter(|_| !unattended) {
            due.or(at, Due::Silence);
        }
        if let Some((at, step, why)) = late {
            due.or(at, Due::Late(step, why));
        }
        if let Some((at, what)) = self.late_ahead(world, acting) {
            due.or(at, what);
        }
    }

    /// When a window that lies ahead of this act closes for good: its own act is not even called for
    /// before this one is reported. An answer may lead another way, so nothing is decided in its place.
    fn late_ahead(&self, world: &World, acting: &Acting) -> Option<(Moment, Due)> {
        let (_, why) = self.safe_act(world, acting, acting.first())?;
        let why = why.filter(|why| why.what == What::Window)?;
        let ahead = self.broken_at(world, why)?;
        leads_to(world, acting.last(), why.step)
            .then(|| (ahead.at.after(Millis(1)).max(acting.grace), ahead.due))
    }

    /// When silence is declared: the latest act, the time in which the person would have seen it, and
    /// the longest report. A report at that very moment still counts.
    pub fn silence_at(&self, world: &World, acting: &Acting) -> Option<Moment> {
        self.silence_by(world, acting).map(|at| at.max(acting.grace))
    }

    fn silence_by(&self, world: &World, acting: &Acting) -> Option<Moment> {
        let step = world.step(acting.last());
        let silence = step.silence.as_ref()?;
        let anchor = world.anchor(silence.anchor, &acting.expected, &self.known);
        let from = anchor.unwrap_or(acting.end()).latest;
        Some(from.after(silence.within).after(world.reports(step).hi))
    }

    /// When a missed window is decided: its close, and as long as the report of an act in the last
    /// moment can take to arrive.
    fn late_at(&self, world: &World, acting: &Acting) -> Option<(Moment, StepIx, Option<Why>)> {
        let report = self.latest_report(world, acting);
        let closes = self.closes(world);
        let closes = closes.iter().map(|close| {
            let subject = acting.expected.iter().find(|e| e.step == close.step);
            let subject = subject.map_or(acting.end(), |e| at_mark(e, close.mark)).latest;
            let tail = report.since(subject).max(Millis::ZERO);
            (close.at.after(tail).max(acting.grace), close.step, close.why)
        });
        closes.min_by_key(|(at, step, _)| (*at, *step))
    }

    /// The latest moment at which a report can arrive, by the bounds.
    fn latest_report(&self, world: &World, acting: &Acting) -> Moment {
        let step = world.step(acting.last());
        let reports = world.reports(step).hi;
        let of_act = acting.end().latest.after(reports);
        let answers = step.met.iter().map(|met| {
            let from = world.anchor(met.anchor, &acting.expected, &self.known);
            let from = from.unwrap_or(acting.end()).latest;
            from.after(met.delay.hi).after(met.recognise.hi).after(reports)
        });
        // An act in the last moment may be answered by nothing, and that takes its time to be known.
        answers.chain(self.silence_by(world, acting)).fold(of_act, Moment::max)
    }

    /// The earliest moment at which a report can be true: of this answer, or of the act.
    pub fn earliest_report(&self, world: &World, acting: &Acting, met: Option<&PlanMet>) -> Moment {
        let Some(met) = met else { return acting.end().earliest };
        let from = world.anchor(met.anchor, &acting.expected, &self.known);
        let from = from.unwrap_or(acting.end()).earliest;
        from.after(met.delay.lo).after(met.recognise.lo).max(acting.called)
    }

    /// Every window of the stretch that can still close.
    pub fn closes(&self, world: &World) -> Cow<'_, [Close]> {
        match &self.phase {
            Phase::Before(_) => self.known.closes(world, self.step),
            Phase::Acting(acting) => self.known.closes(world, acting.first()),
            _ => Cow::Borrowed(&[]),
        }
    }

    /// The latest safe act of a stretch from one of its steps on: what follows can then still be met.
    pub fn safe_act(
        &self,
        world: &World,
        acting: &Acting,
        from: StepIx,
    ) -> Option<(Moment, Option<Why>)> {
        let safe = self.known.safe(world, acting.first());
        let open = safe.iter().filter(|safe| safe.step >= from);
        open.min_by_key(|safe| safe.at).map(|safe| (safe.at, safe.why))
    }

    /// The first window of the stretch to close.
    pub fn close(&self, world: &World) -> Option<Close> {
        self.closes(world).iter().copied().min_by_key(|close| close.at)
    }

    fn limits_due(&self, world: &World, due: &mut First) {
        for (n, limit) in (0..).zip(&world.plan.limits) {
            let anchor = world.anchor(limit.anchor, &[], &self.known);
            let inside = limit.from <= self.step && self.step <= limit.to;
            let (true, Some(hi), Some(anchor)) = (inside, limit.range.hi, anchor) else { continue };
            let close = anchor.earliest.after(hi);
            let at = match &self.phase {
                Phase::Acting(acting) if acting.chain.contains(&limit.to) => {
                    close.after(world.reports(world.step(acting.last())).hi).max(acting.grace)
                }
                _ => close,
            };
            due.or(at, Due::Limit(n));
        }
    }

    /// Brings about what is due.
    pub fn fire(&mut self, world: &World, at: Moment, due: Due, out: &mut Out) {
        match due {
            Due::CoolDownOver => self.arrive(world, at, out),
            Due::Saying => self.say_next(world, at, out),
            Due::Cue => self.give_cue(world, at, out),
            Due::Tick => self.tick(out),
            Due::LetGo => self.say_let_go(world, at, out),
            Due::Silence => self.silent(world, at, out),
            Due::Late(step, why) => self.late(world, (step, why), at, out),
            Due::Unreported => self.unreported(world, at, out),
            Due::Limit(n) => self.limit(world, n, at, out),
            Due::Awake(n) => self.remind(world, n, out),
        }
    }

    /// The next words before a now cue; with the last of them the step is prepared.
    fn say_next(&mut self, world: &World, due: Moment, out: &mut Out) {
        let ahead = self.early.as_ref().map(|early| early.step);
        let (step, before) = match (&mut self.phase, &mut self.early) {
            (Phase::Before(before), _) => (self.step, before),
            (_, Some(early)) => (ahead.unwrap_or(self.step), &mut early.before),
            _ => return,
        };
        let Some((text, cue)) = before.to_say().first().copied() else { return };
        before.said += 1;
        let ended = self.voice_free.max(out.now).after(world.speech(text).hi);
        let announce = cue == Cue::Prepare && !before.announced;
        before.announced |= announce;
        let last = before.to_say().is_empty();
        if last {
            before.prepared = Some(ended);
        }
        self.voice_free = ended;
        if announce {
            let point = Point { step, mark: Mark::Prepare };
            self.known.change().at(point, out.now);
            out.record(Fact::CueGiven { point, due, given: out.now });
            out.ring(Tone::Prepare);
        }
        if last {
            self.known.change().at(Point { step, mark: Mark::Prepared }, ended);
        }
        out.say(text, cue);
    }

    /// The now cue: a tone, and at most three words.
    fn give_cue(&mut self, world: &World, due: Moment, out: &mut Out) {
        let step = world.step(self.step);
        let point = self.called();
        out.cue_given = true;
        out.ring(Tone::Now);
        if let Some(text) = step.say {
            out.say(text, Cue::Now);
        }
        out.record(Fact::CueGiven { point, due, given: out.now });
        let late = out.now.since(due);
        if late > LATE_CUE {
            out.notice(Notice::CueLate(late));
        }
        for (n, no_return) in (0..).zip(&world.plan.no_returns) {
            if no_return.before == self.step {
                out.record(Fact::NoReturn(n));
            }
        }
        let words = world.now_words(step);
        let called = Bracket { earliest: out.now, latest: out.now };
        self.voice_free = self.voice_free.max(out.now.after(words.hi));
        self.known.change().at(point, out.now);
        self.known
            .change()
            .between(Point { step: self.step, mark: Mark::Heard }, plus(called, words));
        let expected = world.expect(world.chain(self.step), out.now);
        self.act(world, self.step, expected, out.now);
    }

    /// One tick; ticks that were slept through are not made up for.
    fn tick(&mut self, out: &mut Out) {
        let Phase::Acting(acting) = &mut self.phase else { return };
        let acting = Arc::make_mut(acting);
        let Some((mut at, mut left, period)) = acting.ticks else { return };
        out.ring(Tone::Tick);
        let skipped = out.now.since(at).0 / period.0.max(1);
        let steps = skipped.max(0).saturating_add(1);
        at = at.after(period.times(steps));
        left = left.saturating_sub(u32::try_from(steps).unwrap_or(u32::MAX));
        acting.ticks = (left > 0).then_some((at, left, period));
    }

    /// The held thing is to be let go now.
    fn say_let_go(&mut self, world: &World, due: Moment, out: &mut Out) {
        let Phase::Acting(acting) = &mut self.phase else { return };
        let acting = Arc::make_mut(acting);
        let Some((step, _)) = acting.let_go else { return };
        let point = Point { step, mark: Mark::LetGo };
        out.ring(Tone::LetGo);
        out.record(Fact::CueGiven { point, due, given: out.now });
        let reacts = world.actor(world.step(step)).reacts;
        let said = Bracket { earliest: out.now, latest: out.now.after(world.speech.jitter()) };
        let shift = out.now.since(due).max(Millis::ZERO);
        let mut passed = false;
        for e in &mut acting.expected {
            if passed {
                *e = later(*e, shift);
            }
            if e.step == step {
                e.released = Some(plus(said, reacts));
                passed = true;
            }
        }
        acting.let_go = next_let_go(world, &acting.expected, Some(step));
        self.known.change().at(point, out.now);
        self.held.remove(&step);
    }

    /// A limit on a stretch was missed.
    fn limit(&mut self, world: &World, n: u32, at: Moment, out: &mut Out) {
        let Some(limit) = world.plan.limits.get(n as usize) else { return };
        let step = world.step(self.step);
        let target = limit.late.as_ref().or(step.late.as_ref()).unwrap_or(&step.otherwise);
        let why = limit.range.hi.map(|length| Why {
            step: self.step,
            place: limit.place,
            what: What::Limit,
            anchor: Point::of(limit.anchor),
            length,
        });
        self.missed((self.step, why), at, out);
        self.conclude(world, OutcomeKind::Late, target, at, out);
    }

    /// A window closed before the act was reported, or before it could be called for.
    fn late(&mut self, world: &World, whose: Missed, at: Moment, out: &mut Out) {
        let closed = match self.phase {
            Phase::Before(_) => self.cue(world).bound.map(|(latest, _)| latest),
            _ => self.close(world).map(|close| close.at),
        };
        let own = world.step(whose.0);
        let reported = world.step(self.reported_step());
        let target = own.late.as_ref().or(reported.late.as_ref()).unwrap_or(&reported.otherwise);
        self.missed(whose, closed.unwrap_or(at), out);
        self.conclude(world, OutcomeKind::Late, target, at, out);
    }

    /// Says that a window was missed; if its last chance passed while the computer was away, the
    /// person is not blamed.
    fn missed(&self, (step, why): Missed, closed: Moment, out: &mut Out) {
        match self.gap.filter(|gap| gap.holds(closed)) {
            Some(gap) => out.warn(Notice::Unattended(step, gap.kind, gap.length)),
            None => out.warn(Notice::Late(step, why)),
        }
    }

    /// The step whose outcome decides: the last of the stretch.
    pub fn reported_step(&self) -> StepIx {
        match &self.phase {
            Phase::Acting(acting) => acting.last(),
            _ => self.step,
        }
    }
}

/// Whether a later step is reached from this one by acts alone, so that no answer leads past it.
fn leads_to(world: &World, mut at: StepIx, to: StepIx) -> bool {
    while world.step(at).report != Report::Answer {
        match world.step(at).go_on {
            Next::Step(next) if next > at && next <= to => at = next,
            _ => return false,
        }
        if at == to {
            return true;
        }
    }
    false
}

/// The number of the limit that a sentence states for a step.
fn limit_of(world: &World, why: &Why) -> Option<u32> {
    let mut limits = (0..).zip(&world.plan.limits);
    let inside = |from: StepIx, to: StepIx| from <= why.step && why.step <= to;
    limits.find(|(_, l)| l.place == why.place && inside(l.from, l.to)).map(|(n, _)| n)
}

/// A moment of an expected act.
fn at_mark(expected: &Expected, mark: Mark) -> Bracket {
    match mark {
        Mark::Begun => expected.begun,
        Mark::Released => expected.end(),
        _ => expected.done,
    }
}

/// An expected act that much later.
fn later(e: Expected, by: Millis) -> Expected {
    let by = crate::clock::Span::exactly(by);
    Expected {
        begun: plus(e.begun, by),
        done: plus(e.done, by),
        released: e.released.map(|released| plus(released, by)),
        ..e
    }
}
