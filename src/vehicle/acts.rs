//! The imaginary hands and the imaginary vehicle: what happens between a cue and its report.
//!
//! Takes a cue's moment and the plan; gives the moments at which hands and vehicle truly act, drawn
//! by the law of the draws, and what the vehicle answers. The vehicle keeps its windows: an act outside
//! them is not answered.

use crate::clock::{Millis, Moment, Span};
use crate::procedure::model::{Event, Hold, HowMany, Procedure};
use crate::procedure::plan::{Next, Plan, Report, StepIx, person};
use crate::procedure::timing::{
    ByPoint, Known, Mark, Point, SpeechLengths, Why, hands, now_words, report_delay, strokes,
};
use crate::vehicle::draw::{Draw, What};
use crate::vehicle::law::Share;

/// Stands for the length of a hold among the windows of a step.
pub const HELD: usize = usize::MAX;
/// Stands for the vehicle's limit on a count among them.
pub const COUNTED: usize = usize::MAX - 1;

/// What truly happened, and when.
#[derive(Clone, Debug, Default)]
pub struct Truth {
    /// The latest occurrence of every moment.
    pub points: ByPoint<Moment>,
    /// Acts outside a window of theirs: step, window (or [`HELD`]), by how much; negative: too early,
    /// or not held long enough. A hold of one exact length is held at least so long.
    pub outside: Vec<(StepIx, usize, Millis)>,
    /// What was tried, and where the run went back to: windows of the first try may be past.
    pub tries: Known,
    /// What was left of every window with an end, as often as its moment came: step, window (or
    /// [`HELD`]), what was left (negative: too late).
    pub margins: Vec<(StepIx, usize, Millis)>,
}

impl Truth {
    /// Nothing has happened.
    pub(super) fn clear(&mut self) {
        self.points.clear();
        self.outside.clear();
        self.tries = Known::default();
        self.margins.clear();
    }

    /// So much of a window was left when its moment came.
    fn left(&mut self, step: StepIx, window: usize, left: Millis) {
        self.margins.push((step, window, left));
        if left < Millis::ZERO {
            self.outside.push((step, window, Millis::ZERO.minus(left)));
        }
    }
}

/// A stretch of hands going on: the acts that are still to be done.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    /// The steps not begun yet, the next one last.
    rest: Vec<StepIx>,
    /// The last step of the stretch.
    pub last: StepIx,
    /// For which time (from 1) its first step is done: part of every draw's name.
    pub time: u32,
    /// A hold of a fixed length that waits for the guide's word.
    pub holding: Option<StepIx>,
    /// The end of the act before.
    end: Moment,
    /// How many acts lay outside their windows before it.
    seen: usize,
}

/// What the world around the draws is.
pub(super) struct World<'a> {
    pub procedure: &'a Procedure,
    pub plan: &'a Plan,
    pub speech: &'a SpeechLengths,
}

impl World<'_> {
    /// The acts that follow one cue: this step and all that go straight on, up to an answer.
    pub fn stretch(&self, first: StepIx, time: u32, end: Moment, truth: &Truth) -> Stretch {
        let mut steps = vec![first];
        let mut at = first;
        while self.plan.step(at).report != Report::Answer {
            match self.plan.step(at).go_on {
                Next::Step(next) if next > at && self.plan.step(next).straight_on => {
                    steps.push(next);
                    at = next;
                }
                _ => break,
            }
        }
        steps.reverse();
        let seen = truth.outside.len();
        Stretch { rest: steps, last: at, time, holding: None, end, seen }
    }

    /// The now cue of a stretch is given and heard. What is only watched needs no hand.
    pub fn cue(&self, stretch: &mut Stretch, draw: &mut Draw, truth: &mut Truth) -> Moment {
        let called = stretch.end;
        let Some(first) = stretch.rest.last().copied() else { return called };
        let step = self.plan.step(first);
        let point = Point { step: first, mark: Mark::Called };
        truth.points.insert(point, called);
        truth.tries.at(point, called);
        draw.about(first, stretch.time, What::Words);
        let heard = called.after(draw.within(now_words(self.speech, step)));
        truth.points.insert(Point { step: first, mark: Mark::Heard }, heard);
        if step.only_watch {
            stretch.rest.pop();
        }
        heard
    }

    /// Hands hear the cue and begin: the first act of a stretch. They may start at the second word,
    /// or wait for the last.
    pub fn begin(&self, stretch: &mut Stretch, slow: Millis, draw: &mut Draw, truth: &mut Truth) {
        let called = stretch.end;
        let heard = self.cue(stretch, draw, truth);
        let Some(first) = stretch.rest.last().copied() else { return };
        let step = self.plan.step(first);
        draw.about(first, stretch.time, What::Hands);
        let begun = if draw.has_tails() {
            let reacts = person(self.procedure, step.by).reacts;
            heard.after(draw.takes(Share::Hands, &[reacts, step.walk, step.takes]))
        } else {
            let (words, act) = (now_words(self.speech, step), hands(self.procedure, step));
            called.after(draw.within(Span::new(act.lo, act.hi.plus(words.hi))))
        };
        let begun = begun.after(slow);
        self.act(stretch, begun, draw, truth);
        self.go_on(stretch, draw, truth);
    }

    /// From when the next act of a stretch counts, and how long after that it begins at the latest by
    /// the script: from the cue, or from the end of the act before.
    pub fn most(&self, stretch: &Stretch) -> Option<(Moment, Millis)> {
        Some((stretch.end, self.most_of(stretch.next()?)))
    }

    /// How long after its cue, or after the act before, an act begins at the latest by the script.
    pub fn most_of(&self, step: StepIx) -> Millis {
        let step = self.plan.step(step);
        if step.straight_on {
            return step.walk.then(step.takes).hi;
        }
        now_words(self.speech, step).hi.plus(hands(self.procedure, step).hi)
    }

    /// How long after its cue, or after the act before, an act begins at the earliest by the script.
    pub fn least_of(&self, step: StepIx) -> Millis {
        hands(self.procedure, self.plan.step(step)).lo
    }

    /// The steps whose acts are still to be done, in order.
    pub fn steps_of(&self, stretch: &Stretch) -> Vec<StepIx> {
        let steps = stretch.rest.iter().rev().copied();
        steps.filter(|step| !self.plan.step(*step).only_watch).collect()
    }

    /// How many strokes the next act of a stretch has.
    pub fn strokes_of(&self, stretch: &Stretch) -> u32 {
        let step = stretch.next().map(|ix| self.plan.step(ix));
        match step.and_then(|step| step.count.as_ref()) {
            Some((many, count)) if count.how_many != HowMany::UntilAnswered => (*many).max(1),
            _ => 1,
        }
    }

    /// The acts after the first, until one holds for the guide's word or the stretch is over.
    pub fn go_on(&self, stretch: &mut Stretch, draw: &mut Draw, truth: &mut Truth) {
        while let (None, Some(next)) = (stretch.holding, stretch.rest.last().copied()) {
            let step = self.plan.step(next);
            draw.about(next, stretch.time, What::Hands);
            let hands = draw.takes(Share::Hands, &[step.walk, step.takes]);
            let begun = stretch.end.after(hands);
            self.act(stretch, begun, draw, truth);
        }
    }

    /// The guide says let go.
    pub fn let_go(&self, stretch: &mut Stretch, at: Moment, draw: &mut Draw, truth: &mut Truth) {
        let Some(step) = stretch.holding else { return };
        let reacts = person(self.procedure, self.plan.step(step).by).reacts;
        draw.about(step, stretch.time, What::LetGo);
        let released = at.after(draw.takes(Share::Hands, &[reacts])).max(stretch.end);
        self.released(stretch, released, truth);
        self.go_on(stretch, draw, truth);
    }

    /// What was held is let go.
    pub fn released(&self, stretch: &mut Stretch, at: Moment, truth: &mut Truth) {
        let Some(step) = stretch.holding.take() else { return };
        truth.points.insert(Point { step, mark: Mark::Released }, at);
        stretch.end = at;
        self.held(step, at, truth);
        self.check(step, Event::Released, truth);
    }

    fn act(&self, stretch: &mut Stretch, begun: Moment, draw: &mut Draw, truth: &mut Truth) {
        let Some(ix) = stretch.next() else { return };
        draw.about(ix, stretch.time, What::Strokes);
        let done = begun.after(draw.takes(Share::Hands, &[strokes(self.plan.step(ix))]));
        self.acted(stretch, (begun, done), truth);
    }

    /// The next act of a stretch was begun and done at these moments.
    pub fn acted(&self, stretch: &mut Stretch, (begun, done): (Moment, Moment), truth: &mut Truth) {
        let Some(ix) = stretch.rest.pop() else { return };
        let step = self.plan.step(ix);
        truth.points.insert(Point { step: ix, mark: Mark::Begun }, begun);
        truth.points.insert(Point { step: ix, mark: Mark::Done }, done);
        stretch.end = done;
        if let Some(held) = step.lets_go {
            truth.points.insert(Point { step: held, mark: Mark::Released }, done);
        }
        if matches!(step.hold, Some(Hold::For(..))) {
            stretch.holding = Some(ix);
        }
        self.check(ix, Event::Begun, truth);
        self.check(ix, Event::Done, truth);
        self.counted(ix, done.since(begun), truth);
    }

    /// Whether a count was quick enough for the vehicle.
    fn counted(&self, ix: StepIx, long: Millis, truth: &mut Truth) {
        let Some((many, count)) = &self.plan.step(ix).count else { return };
        if count.how_many == HowMany::UntilAnswered {
            return;
        }
        let gaps = i64::from(many.saturating_sub(1));
        let each = count.each_within.map(|hi| hi.times(gaps));
        if let Some(most) = count.within.into_iter().chain(each).min() {
            truth.left(ix, COUNTED, most.minus(long));
        }
    }

    /// Whether something was held long enough, and not too long.
    fn held(&self, ix: StepIx, released: Moment, truth: &mut Truth) {
        let done = truth.points.get(Point { step: ix, mark: Mark::Done }).copied();
        let (Some(Hold::For(range, ..)), Some(done)) = (&self.plan.step(ix).hold, done) else {
            return;
        };
        let long = released.since(done);
        if long < range.lo {
            truth.outside.push((ix, HELD, long.minus(range.lo)));
        } else if let Some(most) = range.hi.filter(|hi| *hi > range.lo) {
            truth.left(ix, HELD, most.minus(long));
        }
    }

    /// Whether a moment kept its windows.
    fn check(&self, ix: StepIx, event: Event, truth: &mut Truth) {
        for (n, window) in self.plan.step(ix).windows.iter().enumerate() {
            let at = |point| truth.points.get(point).copied();
            let subject = at(Point { step: ix, mark: Mark::of(event) });
            let (true, Some(subject), Some(anchor)) =
                (window.subject == event, subject, at(Point::of(window.anchor)))
            else {
                continue;
            };
            if window.first_try_only && truth.tries.first_try_past(window.anchor.step, ix) {
                continue;
            }
            let after = subject.since(anchor);
            let early = after.minus(window.range.lo);
            if let Some(hi) = window.range.hi {
                truth.left(ix, n, hi.minus(after));
            }
            if early < Millis::ZERO {
                truth.outside.push((ix, n, early));
            }
        }
    }

    /// A step was given up as late at this moment: of its windows and limits the one with the least room
    /// had closed on it. What is left of such a window is what was left then, and less than nothing: the
    /// act would have come later still. Whose act came before has its rest already.
    pub fn closed(&self, ix: StepIx, now: Moment, truth: &mut Truth) {
        let Some(step) = self.plan.steps.get(ix.0 as usize) else { return };
        let at = |point| truth.points.get(point).copied();
        let own = step.windows.iter().enumerate().filter_map(|(n, window)| {
            let anchor = at(Point::of(window.anchor))?;
            let came = at(Point { step: ix, mark: Mark::of(window.subject) });
            let past = window.first_try_only && truth.tries.first_try_past(window.anchor.step, ix);
            let counts = !past && came.is_none_or(|came| came < anchor);
            counts.then_some((anchor.after(window.range.hi?).since(now), Some(n)))
        });
        let limits = self.plan.limits.iter().filter_map(|limit| {
            let inside = limit.from <= ix && ix <= limit.to;
            let anchor = at(Point::of(limit.anchor)).filter(|_| inside)?;
            Some((anchor.after(limit.range.hi?).since(now), None))
        });
        if let Some((left, Some(window))) = own.chain(limits).min_by_key(|(left, _)| *left) {
            truth.left(ix, window, left.min(Millis(-1)));
        }
    }

    /// It was too late for this window of a step further ahead, which nobody came to: nothing is left of it.
    /// A limit has no rest of its own.
    pub fn closed_ahead(&self, why: &Why, now: Moment, truth: &mut Truth) {
        let Some(step) = self.plan.steps.get(why.step.0 as usize) else { return };
        let Some(n) = step.windows.iter().position(|window| window.place == why.place) else {
            return;
        };
        let anchor = truth.points.get(Point::of(step.windows[n].anchor)).copied();
        let Some((anchor, most)) = anchor.zip(step.windows[n].range.hi) else { return };
        let left = anchor.after(most).since(now);
        truth.left(why.step, n, left.min(Millis(-1)));
    }

    /// When the nth answer of a step begins, so much later than it may where a fault says so, and
    /// when it is known for sure. `None`: what it is measured from never happened.
    pub fn answer(
        &self,
        (ix, time): (StepIx, u32),
        n: usize,
        late: Millis,
        draw: &mut Draw,
        truth: &mut Truth,
    ) -> Option<Moment> {
        let step = self.plan.step(ix);
        let met = step.met.get(n)?;
        let from = truth.points.get(Point::of(met.anchor)).copied()?;
        draw.about(ix, time, What::Answer);
        let drawn = draw.takes(Share::Vehicle, &[met.delay]);
        let delay = if late > Millis::ZERO { met.delay.hi.plus(late) } else { drawn };
        let answered = from.after(delay);
        truth.points.insert(Point { step: ix, mark: Mark::Answered }, answered);
        if let Some(Hold::UntilAnswered(more, ..)) = &step.hold {
            let more = more.map_or(Span::ZERO, |m| Span::new(m.lo, m.hi.unwrap_or(m.lo)));
            let reacts = person(self.procedure, step.by).reacts;
            draw.about(ix, time, What::LetGo);
            let reaction = draw.takes(Share::Hands, &[reacts]);
            let released = answered.after(reaction).after(draw.takes(Share::Hands, &[more]));
            truth.points.insert(Point { step: ix, mark: Mark::Released }, released);
            self.check(ix, Event::Released, truth);
        }
        draw.about(ix, time, What::Know);
        Some(answered.after(draw.takes(Share::Vehicle, &[met.recognise])))
    }

    /// How long a report takes.
    pub fn report(&self, (ix, time): (StepIx, u32), draw: &mut Draw) -> Millis {
        draw.about(ix, time, What::Report);
        draw.takes(Share::Report, &[report_delay(self.procedure, self.plan.step(ix))])
    }
}

impl Stretch {
    /// Whether this act is still to be done.
    pub fn awaits(&self, step: StepIx) -> bool {
        self.rest.contains(&step)
    }

    /// The next act that is still to be done.
    pub fn next(&self) -> Option<StepIx> {
        self.rest.last().copied()
    }

    /// When the last act ended.
    pub fn end(&self) -> Moment {
        self.end
    }

    /// Whether every act so far was inside its windows.
    pub fn accepted(&self, truth: &Truth) -> bool {
        truth.outside.len() <= self.seen
    }

    /// Whether every act is done.
    pub fn over(&self) -> bool {
        self.rest.is_empty() && self.holding.is_none()
    }
}
