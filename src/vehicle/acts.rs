//! The imaginary hands and the imaginary vehicle: what happens between a cue and its report.
//!
//! Takes a cue's moment and the plan; gives the moments at which hands and vehicle truly act, drawn
//! uniformly inside the declared bounds, and what the vehicle answers. The vehicle keeps its windows:
//! an act outside them is not answered.

use crate::clock::{Millis, Moment, Span};
use crate::procedure::model::{Event, Hold, Procedure};
use crate::procedure::plan::{Next, Plan, PlanStep, Report, StepIx, person};
use crate::procedure::timing::{
    Known, Mark, Point, SpeechLengths, hands, now_words, report_delay, strokes,
};
use crate::vehicle::draw::Draw;
use std::collections::BTreeMap;

/// Stands for the length of a hold among the windows of a step.
pub const HELD: usize = usize::MAX;

/// What truly happened, and when.
#[derive(Clone, Debug, Default)]
pub struct Truth {
    /// The latest occurrence of every moment.
    pub points: BTreeMap<Point, Moment>,
    /// Acts outside a window of theirs: step, window (or [`HELD`]), by how much; negative: too early,
    /// or not held long enough. A hold of one exact length is held at least so long.
    pub outside: Vec<(StepIx, usize, Millis)>,
    /// What was tried, and where the run went back to: windows of the first try may be past.
    pub tries: Known,
}

/// A stretch of hands going on: the acts that are still to be done.
#[derive(Clone, Debug)]
pub(super) struct Stretch {
    /// The steps not begun yet, the next one last.
    rest: Vec<StepIx>,
    /// The last step of the stretch.
    pub last: StepIx,
    /// A hold of a fixed length that waits for the guide's word.
    pub holding: Option<StepIx>,
    /// The end of the act before.
    end: Moment,
}

/// What the world around the draws is.
pub(super) struct World<'a> {
    pub procedure: &'a Procedure,
    pub plan: &'a Plan,
    pub speech: &'a SpeechLengths,
}

impl World<'_> {
    /// The acts that follow one cue: this step and all that go straight on, up to an answer.
    pub fn stretch(&self, first: StepIx, end: Moment) -> Stretch {
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
        Stretch { rest: steps, last: at, holding: None, end }
    }

    /// Hands hear the cue and begin: the first act of a stretch. They may start at the second word,
    /// or wait for the last.
    pub fn begin(&self, stretch: &mut Stretch, slow: Millis, draw: &mut Draw, truth: &mut Truth) {
        let Some(first) = stretch.rest.last().copied() else { return };
        let step = self.plan.step(first);
        let called = stretch.end;
        let words = now_words(self.speech, step);
        let point = Point { step: first, mark: Mark::Called };
        truth.points.insert(point, called);
        truth.tries.at(point, called);
        let heard = called.after(draw.within(words));
        truth.points.insert(Point { step: first, mark: Mark::Heard }, heard);
        if step.only_watch {
            stretch.rest.pop();
            return;
        }
        let act = hands(self.procedure, step);
        let span = Span::new(act.lo, act.hi.plus(words.hi));
        let begun = called.after(draw.within(span)).after(slow);
        self.act(stretch, begun, draw, truth);
        self.go_on(stretch, draw, truth);
    }

    /// The acts after the first, until one holds for the guide's word or the stretch is over.
    pub fn go_on(&self, stretch: &mut Stretch, draw: &mut Draw, truth: &mut Truth) {
        while let (None, Some(next)) = (stretch.holding, stretch.rest.last().copied()) {
            let step = self.plan.step(next);
            let begun = stretch.end.after(draw.within(step.walk.then(step.takes)));
            self.act(stretch, begun, draw, truth);
        }
    }

    /// The guide says let go.
    pub fn let_go(&self, stretch: &mut Stretch, at: Moment, draw: &mut Draw, truth: &mut Truth) {
        let Some(step) = stretch.holding.take() else { return };
        let reacts = person(self.procedure, self.plan.step(step).by).reacts;
        let released = at.after(draw.within(reacts)).max(stretch.end);
        truth.points.insert(Point { step, mark: Mark::Released }, released);
        stretch.end = released;
        self.held(step, released, truth);
        self.check(step, Event::Released, truth);
        self.go_on(stretch, draw, truth);
    }

    fn act(&self, stretch: &mut Stretch, begun: Moment, draw: &mut Draw, truth: &mut Truth) {
        let Some(ix) = stretch.rest.pop() else { return };
        let step = self.plan.step(ix);
        let done = begun.after(draw.within(strokes(step)));
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
    }

    /// Whether something was held long enough, and not too long.
    fn held(&self, ix: StepIx, released: Moment, truth: &mut Truth) {
        let done = truth.points.get(&Point { step: ix, mark: Mark::Done }).copied();
        let (Some(Hold::For(range, ..)), Some(done)) = (&self.plan.step(ix).hold, done) else {
            return;
        };
        let long = released.since(done);
        let over = range.hi.filter(|hi| *hi > range.lo).map_or(Millis::ZERO, |hi| long.minus(hi));
        if long < range.lo {
            truth.outside.push((ix, HELD, long.minus(range.lo)));
        } else if over > Millis::ZERO {
            truth.outside.push((ix, HELD, over));
        }
    }

    /// Whether a moment kept its windows.
    fn check(&self, ix: StepIx, event: Event, truth: &mut Truth) {
        for (n, window) in self.plan.step(ix).windows.iter().enumerate() {
            let at = |point| truth.points.get(&point).copied();
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
            let late = window.range.hi.map_or(Millis::ZERO, |hi| after.minus(hi));
            let early = window.range.lo.minus(after);
            let by = late.max(early);
            if by > Millis::ZERO {
                truth.outside.push((ix, n, if late > Millis::ZERO { by } else { Millis(-by.0) }));
            }
        }
    }

    /// Whether every act of the last stretch up to this step was inside its windows.
    pub fn accepts(&self, since: usize, truth: &Truth) -> bool {
        truth.outside.len() <= since
    }

    /// When the nth answer of a step begins, and when it is known for sure. `None`: what it is
    /// measured from never happened.
    pub fn answer(
        &self,
        ix: StepIx,
        n: usize,
        draw: &mut Draw,
        truth: &mut Truth,
    ) -> Option<Moment> {
        let step = self.plan.step(ix);
        let met = step.met.get(n)?;
        let from = truth.points.get(&Point::of(met.anchor)).copied()?;
        let answered = from.after(draw.within(met.delay));
        truth.points.insert(Point { step: ix, mark: Mark::Answered }, answered);
        if let Some(Hold::UntilAnswered(more, ..)) = &step.hold {
            let more = more.map_or(Span::ZERO, |m| Span::new(m.lo, m.hi.unwrap_or(m.lo)));
            let reacts = person(self.procedure, step.by).reacts;
            let released = answered.after(draw.within(reacts)).after(draw.within(more));
            truth.points.insert(Point { step: ix, mark: Mark::Released }, released);
            self.check(ix, Event::Released, truth);
        }
        Some(answered.after(draw.within(met.recognise)))
    }

    /// How long a report takes.
    pub fn report(&self, step: &PlanStep, draw: &mut Draw) -> Millis {
        draw.within(report_delay(self.procedure, step))
    }
}

impl Stretch {
    /// When the last act ended.
    pub fn end(&self) -> Moment {
        self.end
    }

    /// Whether every act is done.
    pub fn over(&self) -> bool {
        self.rest.is_empty() && self.holding.is_none()
    }
}
