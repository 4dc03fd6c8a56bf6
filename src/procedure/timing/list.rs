//! The one list of a plan's bounds, each with its line.
//!
//! Takes a plan and speech lengths; gives every [`Bound`]: what the guide, the body, the vehicle
//! decide, and what must be met. Several bounds of kind `Answer` in one step are alternatives.

use super::{
    Bound, Decides, Mark, Point, SpeechLengths, What, hands, now_words, prompt, report_delay,
    strokes,
};
use crate::clock::{Millis, Span};
use crate::procedure::model::{Basis, Hold, HowMany, Procedure, Range};
use crate::procedure::plan::{Next, Plan, PlanStep, Report, StepIx, Target, person};
use crate::source::Place;

/// Every bound of a plan, step by step, limits last.
#[must_use]
pub fn bounds(procedure: &Procedure, plan: &Plan, speech: &SpeechLengths) -> Vec<Bound> {
    let mut list = List { procedure, plan, speech, bounds: Vec::new() };
    for (at, step) in plan.indexed() {
        list.cue(at, step);
        list.act(at, step);
        list.hold(at, step);
        list.answer(at, step);
        list.windows(at, step);
        list.onward(at, step);
    }
    list.limits();
    list.bounds
}

struct List<'a> {
    procedure: &'a Procedure,
    plan: &'a Plan,
    speech: &'a SpeechLengths,
    bounds: Vec<Bound>,
}

fn point(step: StepIx, mark: Mark) -> Point {
    Point { step, mark }
}

fn span(span: Span) -> (Millis, Option<Millis>) {
    (span.lo, Some(span.hi))
}

/// Not before: no upper bound.
const AFTER: (Millis, Option<Millis>) = (Millis::ZERO, None);

/// Where a bound comes from.
#[derive(Clone, Copy)]
struct From<'a> {
    decides: Decides,
    what: What,
    place: Place,
    basis: &'a Basis,
}

impl<'a> From<'a> {
    fn new(decides: Decides, what: What, place: Place, basis: &'a Basis) -> From<'a> {
        From { decides, what, place, basis }
    }
}

impl List<'_> {
    fn add(&mut self, from: Point, to: Point, range: (Millis, Option<Millis>), by: From<'_>) {
        let (lo, hi) = range;
        let From { decides, what, place, basis } = by;
        self.bounds.push(Bound { from, to, lo, hi, decides, place, basis: basis.clone(), what });
    }

    fn cue(&mut self, at: StepIx, step: &PlanStep) {
        if step.straight_on {
            return;
        }
        let words = span(prompt(self.plan, self.speech, at));
        let now = span(now_words(self.speech, step));
        let by = |decides, what| From::new(decides, what, step.place, &Basis::Unsaid);
        let p = |mark| point(at, mark);
        self.add(
            p(Mark::Prepare),
            p(Mark::Prepared),
            words,
            by(Decides::Speech, What::PrepareWords),
        );
        self.add(p(Mark::Prepared), p(Mark::Called), AFTER, by(Decides::Guide, What::Order));
        self.add(p(Mark::Called), p(Mark::Heard), now, by(Decides::Speech, What::NowWords));
    }

    /// The act: its least counts from `called` (hands start at the second word), its most from
    /// `heard`. A step that goes straight on counts from the end of the act above.
    fn act(&mut self, at: StepIx, step: &PlanStep) {
        if step.only_watch {
            return;
        }
        let act = hands(self.procedure, step);
        let p = |mark| point(at, mark);
        let by = |what| From::new(Decides::Person, what, step.takes_place, &step.takes_basis);
        if step.straight_on {
            for above in self.above(at) {
                self.add(above, p(Mark::Begun), span(act), by(What::Hands));
            }
        } else {
            let most = now_words(self.speech, step).hi.plus(act.hi);
            self.add(p(Mark::Called), p(Mark::Begun), (act.lo, Some(most)), by(What::Hands));
        }
        let Some((many, count)) = &step.count else {
            let same = span(Span::ZERO);
            self.add(p(Mark::Begun), p(Mark::Done), same, by(What::Order));
            return;
        };
        let own = From::new(Decides::Person, What::Strokes, count.place, &count.basis);
        self.add(p(Mark::Begun), p(Mark::Done), span(strokes(step)), own);
        let each = count.each_within.map(|hi| hi.times(i64::from(many.saturating_sub(1))));
        if count.how_many == HowMany::UntilAnswered {
            return;
        }
        for hi in count.within.into_iter().chain(each) {
            let demand = From::new(Decides::Demand, What::Window, count.place, &count.basis);
            self.add(p(Mark::Begun), p(Mark::Done), (Millis::ZERO, Some(hi)), demand);
        }
    }

    /// The ends of the acts that this one follows at once.
    fn above(&self, at: StepIx) -> Vec<Point> {
        let above = self.plan.indexed().filter(|(_, s)| s.go_on == Next::Step(at));
        above.map(|(above, step)| end_of_act(above, step)).collect()
    }

    fn hold(&mut self, at: StepIx, step: &PlanStep) {
        let p = |mark| point(at, mark);
        let reacts = person(self.procedure, step.by).reacts;
        match &step.hold {
            Some(Hold::For(range, basis, place)) => {
                let by = From::new(Decides::Demand, What::Holding, *place, basis);
                self.add(p(Mark::Done), p(Mark::Released), (range.lo, range.hi), by);
                let free = reacts.then(Span::new(Millis::ZERO, self.speech.jitter()));
                let by = From::new(Decides::Person, What::LettingGo, *place, &Basis::Unsaid);
                self.add(p(Mark::LetGo), p(Mark::Released), span(free), by);
                let by = From::new(Decides::Guide, What::Order, *place, &Basis::Unsaid);
                self.add(p(Mark::Called), p(Mark::LetGo), AFTER, by);
            }
            Some(Hold::UntilAnswered(more, basis, place)) => {
                let more = more.unwrap_or(Range { lo: Millis::ZERO, hi: Some(Millis::ZERO) });
                let hi = more.hi.map(|hi| hi.plus(reacts.hi));
                let by = From::new(Decides::Person, What::LettingGo, *place, basis);
                self.add(p(Mark::Answered), p(Mark::Released), (reacts.lo.plus(more.lo), hi), by);
            }
            Some(Hold::On) | None => {}
        }
        if let Some(held) = step.lets_go {
            let by = From::new(Decides::Person, What::Order, step.place, &Basis::Unsaid);
            self.add(p(Mark::Done), point(held, Mark::Released), span(Span::ZERO), by);
        }
    }

    fn answer(&mut self, at: StepIx, step: &PlanStep) {
        let p = |mark| point(at, mark);
        let report = report_delay(self.procedure, step);
        for met in &step.met {
            let by = From::new(Decides::Vehicle, What::Answer, met.place, &met.basis);
            self.add(Point::of(met.anchor), p(Mark::Answered), span(met.delay), by);
            let told = met.recognise.then(report);
            let by = From::new(Decides::Person, What::Report, met.place, &met.basis);
            self.add(p(Mark::Answered), p(Mark::Reported), span(told), by);
        }
        if let Some(silence) = &step.silence {
            let by = From::new(Decides::Guide, What::Silence, silence.place, &silence.basis);
            let decided = silence.within.plus(report.hi);
            self.add(Point::of(silence.anchor), p(Mark::Reported), (decided, None), by);
        }
        let by = From::new(Decides::Person, What::Report, step.place, &Basis::Unsaid);
        if step.report == Report::Act {
            self.add(end_of_act(at, step), p(Mark::Reported), span(report), by);
        }
    }

    fn windows(&mut self, at: StepIx, step: &PlanStep) {
        for window in &step.windows {
            let by = From::new(Decides::Demand, What::Window, window.place, &window.basis);
            let to = point(at, Mark::of(window.subject));
            self.add(Point::of(window.anchor), to, (window.range.lo, window.range.hi), by);
        }
    }

    /// The step's end, what follows it, and the cool-downs of its retries.
    fn onward(&mut self, at: StepIx, step: &PlanStep) {
        let p = |mark| point(at, mark);
        let by = || From::new(Decides::Guide, What::Order, step.place, &Basis::Unsaid);
        if step.report == Report::None {
            self.add(end_of_act(at, step), p(Mark::Over), AFTER, by());
        } else {
            self.add(p(Mark::Reported), p(Mark::Over), span(Span::ZERO), by());
        }
        let met = step.met.iter().map(|m| &m.then);
        let silence = step.silence.iter().map(|s| &s.then);
        let others = [&step.otherwise, &step.slip];
        let forward = Target::To(step.go_on);
        let mut next = vec![];
        for target in
            std::iter::once(&forward).chain(met).chain(silence).chain(others).chain(&step.late)
        {
            self.follow(at, target, &mut next);
        }
    }

    fn follow(&mut self, at: StepIx, target: &Target, done: &mut Vec<(StepIx, Place)>) {
        let over = point(at, Mark::Over);
        match target {
            Target::To(Next::Step(to)) | Target::ThisOne { next: Next::Step(to), .. } => {
                let step = self.plan.step(*to);
                if done.contains(&(*to, step.place)) || step.straight_on {
                    return;
                }
                done.push((*to, step.place));
                let by = From::new(Decides::Guide, What::Order, step.place, &Basis::Unsaid);
                self.add(over, point(*to, Mark::Called), AFTER, by);
            }
            Target::To(Next::End(_)) | Target::ThisOne { .. } => {}
            Target::Again { enter, cool_down, spent, place, .. } => {
                if *cool_down > Millis::ZERO && !done.contains(&(*enter, *place)) {
                    done.push((*enter, *place));
                    let by = From::new(Decides::Guide, What::CoolDown, *place, &Basis::Unsaid);
                    self.add(over, point(*enter, Mark::Called), (*cool_down, None), by);
                }
                self.follow(at, spent, done);
            }
        }
    }

    fn limits(&mut self) {
        for limit in &self.plan.limits {
            let by = From::new(Decides::Demand, What::Limit, limit.place, &limit.basis);
            let to = point(limit.to, Mark::Over);
            self.add(Point::of(limit.anchor), to, (limit.range.lo, limit.range.hi), by);
        }
    }
}

/// The last moment of a step's act: let go where something was held for a length, else done.
fn end_of_act(at: StepIx, step: &PlanStep) -> Point {
    let released = matches!(step.hold, Some(Hold::For(..) | Hold::UntilAnswered(..)));
    let mark = match (step.only_watch, released) {
        (true, _) => Mark::Heard,
        (false, true) => Mark::Released,
        (false, false) => Mark::Done,
    };
    point(at, mark)
}
