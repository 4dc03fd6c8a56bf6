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
use crate::procedure::timing::{Mark, Point, Promise};

/// What the digits say of a window, and when that changes by itself.
struct Window {
    state: WindowState,
    count: Option<CountTo>,
    changes: Vec<Moment>,
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
    /// What every face shows now.
    pub fn frame(&self, world: &World, now: Moment) -> Frame {
        match &self.phase {
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
            _ => self.step_frame(world, now),
        }
    }

    fn step_frame(&self, world: &World, now: Moment) -> Frame {
        let ix = self.shown(now);
        let step = world.step(ix);
        let window = self.window(world, now);
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
                frame.act = world.alerts(ix).get(*n as usize).map(|alert| alert.text);
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
        let Some(id) = world.asks(self.step).get(n as usize).copied() else { return };
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
    fn shown(&self, now: Moment) -> StepIx {
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
            None => way.iter().filter(|ix| self.entered.contains_key(ix)).count(),
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

    /// Moments at which the frame changes although nothing happens.
    pub fn changes(&self, world: &World, now: Moment) -> Vec<Moment> {
        let window = self.window(world, now);
        let mut changes = window.changes;
        if let Phase::Acting(acting) = &self.phase {
            changes.extend(acting.expected.iter().map(|e| e.end().latest.after(Millis(1))));
        }
        if let (Some(seconds), Some(count)) = (self.seconds, window.count)
            && seconds.next > 0
        {
            changes.push(count.at.before(Millis::secs(seconds.next)));
        }
        changes
    }

    fn window(&self, world: &World, now: Moment) -> Window {
        match &self.phase {
            Phase::Before(before) => self.window_before(world, before, now),
            Phase::Acting(acting) => self.window_after(world, acting, now),
            _ => Window { state: WindowState::None, count: None, changes: Vec::new() },
        }
    }

    /// Before the now cue the digits count to the latest safe cue, or to the cue where it is not
    /// allowed yet.
    fn window_before(&self, world: &World, before: &Before, now: Moment) -> Window {
        let called = self.called();
        let due = self.cue_due(world, before);
        let allowed = world.timing.earliest(called, &self.known);
        let to_cue = CountTo { at: due, what: CountWhat::Cue, why: None };
        let mut changes = vec![allowed];
        let Some((latest, why)) = world.timing.bound(called, &self.known) else {
            return match allowed > now {
                true => Window { state: WindowState::NotYet, count: Some(to_cue), changes },
                false => Window { state: WindowState::None, count: None, changes },
            };
        };
        changes.push(latest.after(Millis(1)));
        let (state, count) = if due.max(now) > latest {
            let given_up = self.given_up(world, now);
            let count = CountTo { at: given_up.at, what: CountWhat::StepOver, why: given_up.why };
            (WindowState::TooLate, Some(count).filter(|count| count.at >= now))
        } else if allowed > now {
            (WindowState::NotYet, Some(to_cue))
        } else {
            let count = CountTo { at: latest, what: CountWhat::LatestCue, why };
            (self.open(world, called), Some(count))
        };
        Window { state, count, changes }
    }

    /// How an open window is told: one that can be met for certain, or one that can be tried.
    fn open(&self, world: &World, cue: Point) -> WindowState {
        match world.timing.promise(cue, &self.known) {
            Promise::All | Promise::Own => WindowState::Safe,
            Promise::AtRisk => WindowState::AtRisk,
        }
    }

    /// After the now cue the digits count to the latest act. Where an answer is awaited they count to
    /// the moment at which silence is declared, once the act is over by its bounds.
    fn window_after(&self, world: &World, acting: &Acting, now: Moment) -> Window {
        // Windows of acts that are over for certain are no concern any more.
        let shown = self.shown(now);
        let open = acting.chain.iter().skip_while(|ix| **ix != shown);
        let open: Vec<StepIx> = open.copied().collect();
        let closes = self.closes(world).into_iter().filter(|close| open.contains(&close.step));
        let close = closes.min_by_key(|close| close.at);
        let reports_act = world.step(acting.last()).report == Report::Act;
        // Once the act is over by its bounds, how long it had is no concern any more.
        let may_act = reports_act || now <= acting.end().latest;
        let safe = self.safe_act(world, &open);
        let safe = safe.filter(|(at, _)| may_act && now <= *at);
        let state = match close {
            Some(close) if now > close.at => WindowState::Closed,
            None if safe.is_none() => WindowState::None,
            _ => {
                let step = acting.chain.first().copied().unwrap_or(self.step);
                self.open(world, Point { step, mark: Mark::Called })
            }
        };
        let mut changes: Vec<Moment> = close.iter().map(|c| c.at.after(Millis(1))).collect();
        changes.extend(safe.iter().map(|(at, _)| at.after(Millis(1))));
        let to = |at, what, why| Some(CountTo { at, what, why });
        let begun = acting.expected.first().map_or(acting.called, |e| e.begun.latest);
        changes.push(begun.after(Millis(1)));
        let count = match (acting.let_go, safe) {
            (Some((_, at)), _) if now > begun => to(at, CountWhat::LetGo, None),
            (_, Some((at, why))) => to(at, CountWhat::LatestAct, why),
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
