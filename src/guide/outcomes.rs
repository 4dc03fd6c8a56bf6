//! How a step ends: by a press, by time, or by a lost guard.
//!
//! Takes what the person reported and when; gives the brackets within which it happened, what is
//! written down, and the way on.

use crate::clock::{Moment, Span};
use crate::guide::cue::{AnswerText, Cue, Fact, HoldState, Notice, OutcomeKind, Rest, Tone};
use crate::guide::out::Out;
use crate::guide::run::{Acting, Before, Phase, Run};
use crate::guide::world::{Expected, World, meet, plus};
use crate::procedure::model::{Event, Hold, ItemClass};
use crate::procedure::plan::{GuardIx, PlanStep, Report, StepIx, Target};
use crate::procedure::timing::{Bracket, Mark, Point, Promise};

/// When the last act of a stretch ended, by what was reported.
#[derive(Clone, Copy, Debug)]
struct Told {
    end: Bracket,
    /// The bounds do not allow it: what they say of the stretch no longer holds either.
    broken: bool,
}

impl Run {
    /// A press of *done* in a step.
    pub fn done(&mut self, world: &World, out: &mut Out) {
        match &self.phase {
            Phase::Acting(acting) => match world.step(acting.last()).report {
                Report::Answer => self.answer(world, 0, out),
                Report::Act => self.act_reported(world, out),
                Report::None => out.refuse(Notice::TooEarly),
            },
            Phase::Resting => self.go_on(world, out),
            Phase::Cautions(n) => {
                let n = n.saturating_add(1);
                self.cautions(world, n, out.now, out);
            }
            _ => out.refuse(Notice::TooEarly),
        }
    }

    /// Goes on from a rest.
    pub fn go_on(&mut self, world: &World, out: &mut Out) {
        self.hold = HoldState::No;
        out.record(Fact::Held(false));
        self.cautions(world, 0, out.now, out);
    }

    /// Hold at the next resting point; asked again, go on.
    pub fn hold(&mut self, world: &World, out: &mut Out) {
        match (&self.phase, self.hold) {
            (Phase::Resting, _) => self.go_on(world, out),
            (_, HoldState::Asked(_)) => self.hold = HoldState::No,
            (Phase::Cautions(_) | Phase::Asks(..) | Phase::Before(_), _)
                if world.step(self.step).rest_before =>
            {
                self.hold = HoldState::Held;
                self.phase = Phase::Resting;
                out.record(Fact::Held(true));
            }
            _ => {
                let here = matches!(self.phase, Phase::CoolDown { .. });
                let here = (here && world.step(self.step).rest_before).then_some(self.step);
                let at = here.or_else(|| world.next_rest(self.reported_step()));
                self.hold = HoldState::Asked(at);
                out.notice(Notice::HoldAt(at));
            }
        }
    }

    /// The numbered answers on offer, from 1.
    pub fn numbered(&self, world: &World) -> Vec<AnswerText> {
        let mut answers = Vec::new();
        match &self.phase {
            Phase::Testing(_) | Phase::Over(_) => return answers,
            Phase::Acting(acting) => {
                let step = world.step(acting.last());
                let others = 1..u32::try_from(step.met.len()).unwrap_or(0).max(1);
                answers.extend(others.map(AnswerText::Met));
                if step.silence.is_some() {
                    answers.push(AnswerText::Nothing);
                }
                answers.push(AnswerText::NoneOfThese);
            }
            _ => {}
        }
        answers.push(AnswerText::Cannot);
        answers.extend(self.guards(world).into_iter().map(AnswerText::Lost));
        answers
    }

    /// A numbered answer, from 1. While an answer is awaited the numbers are the same whether or not
    /// they are on show; elsewhere they mean something only while they are.
    pub fn number(&mut self, world: &World, n: u8, out: &mut Out) {
        if !self.listing && !matches!(self.phase, Phase::Acting(_)) {
            return out.refuse(Notice::NotUnderstood);
        }
        let answers = self.numbered(world);
        let chosen = usize::from(n).checked_sub(1).and_then(|i| answers.get(i)).copied();
        match chosen {
            Some(AnswerText::Met(i)) => self.answer(world, i, out),
            Some(AnswerText::Nothing) => self.nothing(world, out),
            Some(AnswerText::NoneOfThese) => self.other(world, OutcomeKind::Other, out),
            Some(AnswerText::Cannot) => self.other(world, OutcomeKind::Cannot, out),
            Some(AnswerText::Lost(guard)) => self.lost(world, guard, out),
            Some(AnswerText::Choice(_)) | None => out.refuse(Notice::NotUnderstood),
        }
    }

    /// The nth answer of the step came.
    fn answer(&mut self, world: &World, i: u32, out: &mut Out) {
        let Phase::Acting(acting) = &self.phase else { return out.refuse(Notice::TooEarly) };
        let acting = acting.clone();
        let ix = acting.last();
        let step = world.step(ix);
        let Some(met) = step.met.get(i as usize) else { return out.refuse(Notice::NotUnderstood) };
        if out.now < self.earliest_report(world, &acting, Some(met)) {
            return out.refuse(Notice::TooEarly);
        }
        let from = world.anchor(met.anchor, &acting.expected, &self.known);
        let by_bounds = plus(from.unwrap_or(acting.end()), met.delay);
        let mut seen = self.reported_at(world, &acting, met.recognise, out.now);
        // A sign that answers an earlier act may have been seen before anybody could report it.
        if seen.earliest <= acting.heard(world) && by_bounds.earliest < acting.called {
            seen.earliest = seen.earliest.min(by_bounds.earliest);
        }
        let (answered, broken) = meet(by_bounds, seen);
        let answered = so_far(answered, acting.called.min(by_bounds.earliest), out.now);
        let holds = acting.expected.last().is_some_and(|e| e.released.is_some());
        let last = if holds { Event::Released } else { Event::Done };
        let own = met.anchor.step == ix && met.anchor.event == last;
        let cause = own.then(|| Bracket {
            earliest: answered.earliest.before(met.delay.hi),
            latest: answered.latest.before(met.delay.lo),
        });
        let told = cause.map(|cause| Told { end: cause, broken: broken.is_some() });
        self.note_acts(world, &acting, told, out);
        self.note(Point { step: ix, mark: Mark::Answered }, answered, out);
        if let Some(by) = broken {
            out.record(Fact::Broken(ix, Mark::Answered, by));
            out.notice(Notice::Broken(ix, Mark::Answered, by));
        }
        let ready = self.answer_frees(world, step, ix, answered, out);
        let target = met.then.clone();
        self.report(world, OutcomeKind::Met(i), &target, ready, out);
        if broken.is_some() {
            self.recheck(world, out);
        }
    }

    /// What was held until the answer is let go, perhaps a little later: when all of it is over.
    fn answer_frees(
        &mut self,
        world: &World,
        step: &PlanStep,
        ix: StepIx,
        answered: Bracket,
        out: &mut Out,
    ) -> Moment {
        let Some(Hold::UntilAnswered(more, ..)) = &step.hold else { return out.now };
        let more = more.map_or(Span::ZERO, |m| Span::new(m.lo, m.hi.unwrap_or(m.lo)));
        let released = plus(answered, world.actor(step).reacts.then(more));
        self.held.remove(&ix);
        self.note(Point { step: ix, mark: Mark::Released }, released, out);
        out.now.max(released.latest)
    }

    /// The act was reported.
    fn act_reported(&mut self, world: &World, out: &mut Out) {
        let Phase::Acting(acting) = &self.phase else { return };
        let acting = acting.clone();
        let ix = acting.last();
        let step = world.step(ix);
        if out.now < self.earliest_report(world, &acting, None) {
            return out.refuse(Notice::TooEarly);
        }
        let seen = self.reported_at(world, &acting, Span::ZERO, out.now);
        let (end, broken) = meet(acting.end(), seen);
        let end = so_far(end, acting.called, out.now);
        self.note_acts(world, &acting, Some(Told { end, broken: broken.is_some() }), out);
        if let Some(by) = broken {
            out.record(Fact::Broken(ix, Mark::Done, by));
            out.notice(Notice::Broken(ix, Mark::Done, by));
        }
        let target = Target::To(step.go_on);
        let now = out.now;
        self.report(world, OutcomeKind::Done, &target, now, out);
        if broken.is_some() {
            self.recheck(world, out);
        }
    }

    /// Within which moments something lay that was reported now. The computer's own absence, in which
    /// nobody was heard, may have delayed the report.
    fn reported_at(&self, world: &World, acting: &Acting, known: Span, now: Moment) -> Bracket {
        let delay = known.then(world.reports(world.step(acting.last())));
        Bracket { earliest: now.before(delay.hi).before(acting.away), latest: now.before(delay.lo) }
    }

    /// Nothing came, as the person says. Not before anything can have come at all.
    fn nothing(&mut self, world: &World, out: &mut Out) {
        let Phase::Acting(acting) = &self.phase else { return out.refuse(Notice::TooEarly) };
        let acting = acting.clone();
        let Some(silence) = &world.step(acting.last()).silence else {
            return out.refuse(Notice::NotUnderstood);
        };
        let from = world.anchor(silence.anchor, &acting.expected, &self.known);
        if out.now < from.unwrap_or(acting.end()).earliest.after(silence.within) {
            return out.refuse(Notice::TooEarly);
        }
        let now = out.now;
        self.silent(world, now, out);
    }

    /// Nothing was seen in time. The act is taken as done.
    pub fn silent(&mut self, world: &World, since: Moment, out: &mut Out) {
        let Phase::Acting(acting) = &self.phase else { return };
        let acting = acting.clone();
        let ix = acting.last();
        let step = world.step(ix);
        let target = step.silence.as_ref().map_or(&step.otherwise, |silence| &silence.then);
        let target = target.clone();
        self.note_acts(world, &acting, None, out);
        // Where nothing is to come, silence is what was hoped for.
        match target == Target::To(step.go_on) {
            true => out.notice(Notice::Silence(ix)),
            false => out.warn(Notice::Silence(ix)),
        }
        self.still_held(step, ix, out);
        self.report(world, OutcomeKind::Silent, &target, since, out);
    }

    /// Nobody tells: the act is over at the latest by its bounds.
    pub fn unreported(&mut self, world: &World, since: Moment, out: &mut Out) {
        let Phase::Acting(acting) = &self.phase else { return };
        let acting = acting.clone();
        self.note_acts(world, &acting, None, out);
        let target = Target::To(world.step(acting.last()).go_on);
        self.conclude(world, OutcomeKind::Unreported, &target, since, out);
    }

    /// Another answer, or the person cannot do it.
    fn other(&mut self, world: &World, kind: OutcomeKind, out: &mut Out) {
        let ix = self.reported_step();
        let step = world.step(ix);
        if let (OutcomeKind::Other, Phase::Acting(acting)) = (kind, &self.phase) {
            let acting = acting.clone();
            self.note_acts(world, &acting, None, out);
        }
        self.still_held(step, ix, out);
        let now = out.now;
        self.report(world, kind, &step.otherwise, now, out);
    }

    /// The person did something else than told.
    pub fn slip(&mut self, world: &World, out: &mut Out) {
        let ix = self.reported_step();
        let step = world.step(ix);
        out.notice(Notice::Slipped(ix));
        self.still_held(step, ix, out);
        let now = out.now;
        self.report(world, OutcomeKind::Slip, &step.slip, now, out);
    }

    /// A guard was lost, or a forbidden thing was done. Without one that holds now, nothing follows.
    pub fn lost(&mut self, world: &World, guard: GuardIx, out: &mut Out) {
        if !self.guarded(world, guard) {
            return;
        }
        let Some(lost) = world.plan.guards.get(guard.0 as usize) else { return };
        out.warn(Notice::GuardLost(guard));
        self.let_go(StepIx(0), out);
        let now = out.now;
        self.conclude(world, OutcomeKind::LostGuard(guard), &lost.lost, now, out);
    }

    /// A hold until the answer whose answer did not come: the hand still holds.
    fn still_held(&mut self, step: &PlanStep, ix: StepIx, out: &mut Out) {
        if matches!(step.hold, Some(Hold::UntilAnswered(..))) && self.held.remove(&ix) {
            // Not the sound of *now*: whoever only hears is called to look.
            out.warn(Notice::LetGoFirst);
        }
    }

    /// Notes when the acts of the stretch lay: by their bounds, and by what the report tells of the
    /// last of them.
    fn note_acts(&mut self, world: &World, acting: &Acting, told: Option<Told>, out: &mut Out) {
        let broken = told.is_some_and(|told| told.broken);
        let acts = match told {
            Some(told) if told.broken => loosened(&acting.expected, told.end),
            told => world.told(&acting.expected, told.map(|told| told.end)),
        };
        for e in &acts {
            let step = world.step(e.step);
            if !step.only_watch {
                self.note(Point { step: e.step, mark: Mark::Begun }, e.begun, out);
                self.note(Point { step: e.step, mark: Mark::Done }, e.done, out);
            }
            if let Some(released) = e.released {
                self.note(Point { step: e.step, mark: Mark::Released }, released, out);
            }
            if let Some(other) = step.lets_go {
                self.held.remove(&other);
                self.note(Point { step: other, mark: Mark::Released }, e.done, out);
            }
            self.margins(world, if broken { &[] } else { &acts }, e.step, out);
        }
        let inner = acting.chain.iter().take(acting.chain.len().saturating_sub(1));
        for ix in inner {
            let step = world.step(*ix);
            if let (true, Some(thing)) = (step.closes_thing, step.thing) {
                self.thing_ended(thing, ItemClass::Learned, *ix, out);
            }
        }
    }

    fn note(&mut self, point: Point, bracket: Bracket, out: &mut Out) {
        self.known.change().between(point, bracket);
        out.record(Fact::Happened(point, bracket));
    }

    /// How much of each window was left when its moment had come at the latest.
    fn margins(&self, world: &World, acts: &[Expected], ix: StepIx, out: &mut Out) {
        for (n, window) in (0..).zip(&world.step(ix).windows) {
            let subject = Point { step: ix, mark: Mark::of(window.subject) };
            let Some(hi) = window.range.hi else { continue };
            let anchor = world.anchor(window.anchor, acts, &self.known);
            let left = match (world.apart(acts, window.anchor, subject), anchor) {
                (Some(apart), _) => hi.minus(apart),
                (None, Some(anchor)) => match self.known.get(subject) {
                    Some(at) => anchor.earliest.after(hi).since(at.latest),
                    None => continue,
                },
                (None, None) => continue,
            };
            out.record(Fact::Margin { step: ix, window: n, left });
        }
    }

    /// An outcome that a person reported, or that the guide decided in their stead.
    fn report(
        &mut self,
        world: &World,
        kind: OutcomeKind,
        target: &Target,
        since: Moment,
        out: &mut Out,
    ) {
        let point = Point { step: self.reported_step(), mark: Mark::Reported };
        self.known.change().at(point, out.now);
        self.conclude(world, kind, target, since, out);
    }

    /// The step is over: on to what follows. `since`: from when the next step may begin.
    pub fn conclude(
        &mut self,
        world: &World,
        kind: OutcomeKind,
        target: &Target,
        since: Moment,
        out: &mut Out,
    ) {
        let ix = self.reported_step();
        out.record(Fact::Outcome(ix, kind));
        let over = Bracket { earliest: out.now, latest: out.now.max(since) };
        self.known.change().between(Point { step: ix, mark: Mark::Over }, over);
        self.step = ix;
        self.take(world, target, since, out);
    }

    /// A bound of the script was broken: what lies ahead is looked at again from what has truly
    /// happened. Where it can no more be met, the next cue is not given: see [`Run::given_up`].
    fn recheck(&self, world: &World, out: &mut Out) {
        let fresh = |since| Before::new(world, self.step, since);
        let lost = match &self.phase {
            Phase::Before(before) => self.too_late(world, before, out.now),
            Phase::CoolDown { until } => self.too_late(world, &fresh(*until), out.now),
            Phase::Resting | Phase::Cautions(_) | Phase::Asks(..) => {
                self.too_late(world, &fresh(out.now), out.now)
            }
            // Hands that go straight on are not held back by a cue, and behind the end nothing is left.
            Phase::Acting(_) | Phase::Testing(_) | Phase::Over(_) => return,
        };
        let cue = self.cue(world);
        let rest = match (lost, cue.bound.and_then(|(_, why)| why)) {
            (true, Some(why)) => Rest::Lost(why),
            _ if cue.promise == Promise::All => Rest::Holds,
            _ => Rest::HoldsInPart,
        };
        out.record(Fact::Rechecked(self.step, rest));
        out.notice(Notice::Rechecked(rest));
    }

    /// Says the present words again: the word of the now cue, or the prompt. Where they would not be over
    /// before something else is due or the window closes, only their tone rings. While words are being
    /// said nothing is said again.
    pub fn again(&self, world: &World, out: &mut Out) {
        let step = world.step(self.step);
        let (text, tone) = match &self.phase {
            Phase::Cautions(n) => {
                (world.alert(self.step, *n).map_or(step.text, |alert| alert.text), None)
            }
            Phase::Asks(n, _) => {
                let reading = world.asked(self.step, *n);
                let reading = reading.and_then(|id| world.procedure.readings.get(id.0 as usize));
                (reading.map_or(step.text, |reading| reading.text), None)
            }
            Phase::Testing(tests) => return tests.say(world, Cue::Again, out),
            Phase::Over(_) => return,
            Phase::Resting => (step.text, None),
            Phase::CoolDown { .. } => (step.text, Some(Tone::Prepare)),
            Phase::Before(_) => (step.prepare, Some(Tone::Prepare)),
            Phase::Acting(_) => (step.say.unwrap_or(step.text), Some(Tone::Now)),
        };
        if tone.is_some() && self.voice_free > out.now {
            return;
        }
        let over = out.now.after(world.speech(text).hi);
        let due = self.next_due(world, out.now).map(|(at, _)| at);
        let close = self.close(world).map(|close| close.at);
        let limit = due.into_iter().chain(close).min();
        match tone {
            Some(tone) if limit.is_some_and(|limit| over > limit) => out.ring(tone),
            // A prompt that comes sooner than that, after a report, does not wait for it.
            _ => out.say(text, Cue::Again),
        }
    }
}

/// The acts of a stretch whose bounds do not agree with what was told of its end. Nobody knows which of them
/// was broken: each act may have lain by its bounds or up to what was told.
fn loosened(expected: &[Expected], end: Bracket) -> Vec<Expected> {
    let wide = |by_bounds: Bracket| Bracket {
        earliest: by_bounds.earliest.min(end.earliest),
        latest: by_bounds.latest.max(end.latest),
    };
    let wide = |e: &Expected| Expected {
        begun: wide(e.begun),
        done: wide(e.done),
        released: e.released.map(wide),
        ..*e
    };
    expected.iter().map(wide).collect()
}

/// What was reported has happened, and not before its cue: nothing else is left possible by a bound that
/// was broken.
fn so_far(bracket: Bracket, from: Moment, now: Moment) -> Bracket {
    let latest = bracket.latest.min(now);
    Bracket { earliest: bracket.earliest.max(from).min(latest), latest }
}
