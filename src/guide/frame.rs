//! From the state of a run to what every face shows.
//!
//! Takes the state and the present; gives a [`Frame`], the moments at which it changes by itself,
//! and the window's state by which all faces agree.

use crate::clock::{Millis, Moment};
use crate::guide::cue::{
    CountTo, CountWhat, Frame, HoldState, Means, Question, Stage, WindowState,
};
use crate::guide::preparation::{self, Preparation};
use crate::guide::run::{Acting, Before, Phase, Run};
use crate::guide::world::World;
use crate::procedure::model::Procedure;
use crate::procedure::plan::{Next, Report, StepIx, Thing};
use crate::procedure::timing::{CueTimes, Mark, Point, Promise};

/// What the digits say of a window, and the next moment at which that changes by itself.
struct Window {
    state: WindowState,
    count: Option<CountTo>,
    changes: Option<Moment>,
}

/// The first of these moments that is still to come.
fn next(now: Moment, moments: impl IntoIterator<Item = Moment>) -> Option<Moment> {
    moments.into_iter().filter(|at| *at > now).min()
}

/// A frame in which nothing is on show yet.
pub(super) fn empty(stage: Stage) -> Frame {
    Frame {
        stage,
        step: None,
        reported: None,
        progress: (0, 0),
        hands: Vec::new(),
        act: None,
        means: Means::Nothing,
        next: None,
        window: WindowState::None,
        count: None,
        answers: Vec::new(),
        question: None,
        notice: None,
        hold: HoldState::No,
    }
}

/// The frame of a question before the run.
pub(super) fn preparing(procedure: &Procedure, preparation: &Preparation) -> Frame {
    let question = preparation.question();
    Frame {
        progress: preparation.progress(),
        act: preparation::question_text(procedure, &question),
        means: preparation::means(&question),
        answers: preparation::answers(procedure, &question),
        question: Some(question),
        ..empty(Stage::Preparing)
    }
}

impl Run {
    /// What every face shows now, and the next moment at which its window changes by itself.
    pub fn frame(&self, world: &World, now: Moment) -> (Frame, Option<Moment>) {
        let frame = match &self.phase {
            Phase::Testing(tests) => {
                let question = tests.question(world);
                let text = question.as_ref();
                Frame {
                    act: text.and_then(|q| preparation::question_text(&world.procedure, q)),
                    means: question.as_ref().map_or(Means::Nothing, preparation::means),
                    question,
                    progress: self.progress(world),
                    ..empty(Stage::Testing)
                }
            }
            Phase::Over(_) => {
                Frame { act: self.left, progress: self.progress(world), ..empty(Stage::Ended) }
            }
            _ => {
                let window = self.window(world, now);
                let changes = window.changes;
                return (self.step_frame(world, &window, now), changes);
            }
        };
        (frame, None)
    }

    fn step_frame(&self, world: &World, window: &Window, now: Moment) -> Frame {
        let ix = self.shown(now);
        let step = world.step(ix);
        let next = match world.hoped(ix) {
            Next::Step(next) => world.plan.steps.get(next.0 as usize).map(|step| step.text),
            Next::End(_) => None,
        };
        let mut frame = Frame {
            step: Some(ix),
            reported: Some(self.reported_step()),
            progress: self.progress(world),
            hands: self.hands(world, ix),
            act: Some(step.text),
            next,
            window: window.state,
            count: window.count,
            answers: if self.listing { self.numbered(world) } else { Vec::new() },
            hold: self.hold,
            ..empty(Stage::BeforeCue)
        };
        match &self.phase {
            Phase::CoolDown { until } => {
                frame.stage = Stage::Waiting;
                frame.count = Some(CountTo { at: *until, what: CountWhat::CoolDown, why: None });
            }
            Phase::Resting => frame.means = Means::GoOn,
            Phase::Cautions(n) => {
                frame.act = world.alert(ix, *n).map(|alert| alert.text);
                frame.means = Means::Understood;
            }
            Phase::Asks(n, typed) => self.ask_frame(world, *n, typed.as_ref(), &mut frame),
            Phase::Acting(acting) => {
                frame.stage = Stage::Acting;
                frame.means = match world.step(acting.last()).report {
                    Report::Answer => Means::AnswerCame,
                    Report::Act => Means::ActDone,
                    Report::None => Means::NoPress,
                };
            }
            Phase::Before(_) | Phase::Testing(_) | Phase::Over(_) => {}
        }
        frame
    }

    fn ask_frame(
        &self,
        world: &World,
        n: u32,
        typed: Option<&crate::procedure::plan::Value>,
        frame: &mut Frame,
    ) {
        let Some(id) = world.asked(self.step, n) else { return };
        let question = match typed {
            Some(value) => Question::ReadBack(id, value.clone()),
            None => Question::Reading(id),
        };
        frame.act = preparation::question_text(&world.procedure, &question);
        frame.means = preparation::means(&question);
        if !self.listing {
            frame.answers = preparation::answers(&world.procedure, &question);
        }
        frame.question = Some(question);
    }

    /// The step on show: of a stretch of hands the first that is not over for certain.
    pub fn shown(&self, now: Moment) -> StepIx {
        let Phase::Acting(acting) = &self.phase else { return self.step };
        let going_on = acting.expected.iter().find(|e| now <= e.end().latest);
        going_on.map_or(acting.last(), |e| e.step)
    }

    /// Steps begun and steps in all, on the hoped-for way.
    fn progress(&self, world: &World) -> (u32, u32) {
        let way = &world.way;
        let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let begun = match way.iter().position(|ix| *ix == self.step) {
            Some(at) => at + 1,
            None => way.iter().filter(|ix| self.was_entered(**ix)).count(),
        };
        (count(begun), count(way.len()))
    }

    /// What is, or must be, in the hands.
    fn hands(&self, world: &World, ix: StepIx) -> Vec<Thing> {
        let step = world.step(ix);
        let taken: &[Thing] = match self.phase {
            Phase::Acting(_) => &step.take,
            _ => &[],
        };
        let mut hands: Vec<Thing> = Vec::new();
        for thing in step.in_hand.iter().chain(&step.with).chain(taken) {
            if !hands.contains(thing) {
                hands.push(*thing);
            }
        }
        hands
    }

    /// The next moment at which the step on show or the last seconds of its count change although
    /// nothing happens.
    pub fn changes(&self, now: Moment) -> Option<Moment> {
        let acts = match &self.phase {
            Phase::Acting(acting) => acting.expected.as_slice(),
            _ => &[],
        };
        let acts = acts.iter().map(|e| e.end().latest.after(Millis(1)));
        let seconds = self.seconds.filter(|seconds| seconds.next > 0);
        let rings = seconds.map(|seconds| seconds.zero.before(Millis::secs(seconds.next)));
        next(now, acts.chain(rings))
    }

    fn window(&self, world: &World, now: Moment) -> Window {
        match &self.phase {
            Phase::Before(before) => self.window_before(world, before, now),
            Phase::Acting(acting) => self.window_after(world, acting, now),
            _ => Window { state: WindowState::None, count: None, changes: None },
        }
    }

    /// Before the now cue the digits count to the latest safe cue, or to the cue where it is not
    /// allowed yet.
    fn window_before(&self, world: &World, before: &Before, now: Moment) -> Window {
        let due = self.cue_due(world, before);
        let CueTimes { earliest: allowed, bound, promise } = self.cue(world);
        let to_cue = CountTo { at: due, what: CountWhat::Cue, why: None };
        let Some((latest, why)) = bound else {
            let changes = next(now, [allowed]);
            return match allowed > now {
                true => Window { state: WindowState::NotYet, count: Some(to_cue), changes },
                false => Window { state: WindowState::None, count: None, changes },
            };
        };
        let changes = next(now, [allowed, latest.after(Millis(1))]);
        let (state, count) = if due.max(now) > latest {
            let given_up = self.given_up(world, now);
            let count = CountTo { at: given_up.at, what: CountWhat::StepOver, why: given_up.why };
            (WindowState::TooLate, Some(count).filter(|count| count.at >= now))
        } else if allowed > now {
            (WindowState::NotYet, Some(to_cue))
        } else {
            let count = CountTo { at: latest, what: CountWhat::LatestCue, why };
            (open(promise), Some(count))
        };
        Window { state, count, changes }
    }

    /// After the now cue the digits count to the latest act. Where an answer is awaited they count to
    /// the moment at which silence is declared, once the act is over by its bounds.
    fn window_after(&self, world: &World, acting: &Acting, now: Moment) -> Window {
        // Windows of acts that are over for certain are no concern any more.
        let shown = self.shown(now);
        let closes = self.closes(world);
        let closes = closes.iter().filter(|close| close.step >= shown);
        let close = closes.min_by_key(|close| close.at);
        let reports_act = world.step(acting.last()).report == Report::Act;
        // Once the act is over by its bounds, how long it had is no concern any more.
        let may_act = reports_act || now <= acting.end().latest;
        let safe = self.safe_act(world, acting, shown);
        let safe = safe.filter(|(at, _)| may_act && now <= *at);
        // Past the latest safe act it may still be tried.
        let tried = self.tried_until(world, acting, now).filter(|until| may_act && now <= until.at);
        let state = match close {
            Some(close) if now > close.at => WindowState::Closed,
            _ if tried.is_some() => WindowState::AtRisk,
            None if safe.is_none() => WindowState::None,
            _ => {
                let cue = Point { step: acting.first(), mark: Mark::Called };
                open(world.timing.promise(cue, &self.known))
            }
        };
        let to = |at, what, why| Some(CountTo { at, what, why });
        let begun = acting.expected.first().map_or(acting.called, |e| e.begun.latest);
        let ends = close.map(|close| close.at).into_iter().chain(safe.map(|(at, _)| at));
        let ends = ends.chain(tried.map(|until| until.at));
        let changes = next(now, ends.chain([begun]).map(|at| at.after(Millis(1))));
        let count = match (acting.let_go, safe) {
            (Some((_, at)), _) if now > begun => to(at, CountWhat::LetGo, None),
            (_, Some((at, why))) => to(at, CountWhat::LatestAct, why),
            _ if let Some(until) = tried => to(until.at, CountWhat::LatestAct, until.why),
            (Some((_, at)), None) => to(at, CountWhat::LetGo, None),
            _ if world.step(acting.last()).report == Report::None => {
                to(acting.end().latest, CountWhat::StepOver, None)
            }
            _ => {
                let silence = self.silence_at(world, acting);
                silence.and_then(|at| to(at, CountWhat::Silence, None))
            }
        };
        Window { state, count, changes }
    }
}

/// How an open window is told: one that can be met for certain, or one that can be tried.
const fn open(promise: Promise) -> WindowState {
    match promise {
        Promise::All | Promise::Own => WindowState::Safe,
        Promise::AtRisk => WindowState::AtRisk,
    }
}
