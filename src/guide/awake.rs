//! What keeps the vehicle awake: reminders, said early enough, and only where a few words are free.
//!
//! Takes the state of a run and the present; gives reminders. While a window is open nothing is said
//! that it does not count on, so a reminder comes before it opens wherever it could become due in it.

use crate::clock::{Millis, Moment};
use crate::guide::cue::{Cue, Notice};
use crate::guide::out::Out;
use crate::guide::run::{Phase, Run};
use crate::guide::world::{World, targets};
use crate::procedure::model::Hold;
use crate::procedure::plan::{Next, Report, StepIx};

/// One reminder of the plan while it holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Reminder {
    /// Its words have to begin by then: after them come a reaction and the act.
    pub due: Moment,
    /// When it was said last; `None` since its stretch began.
    said: Option<Moment>,
}

impl Run {
    /// Reminders hold from the step in which their stretch begins.
    pub fn keep_awake(&mut self, world: &World, now: Moment) {
        for (n, awake) in world.plan.awake.iter().enumerate() {
            let holds = awake.covers(self.step);
            let begun = Reminder { due: now.after(spare(world, n)), said: None };
            if let Some(reminder) = self.awake.get_mut(n) {
                *reminder = holds.then(|| reminder.unwrap_or(begun));
            }
        }
    }

    /// The reminder that time alone makes due.
    pub fn awake_due(&self, world: &World) -> Option<(Moment, u32)> {
        let free = match &self.phase {
            Phase::Resting
            | Phase::Cautions(_)
            | Phase::Asks(..)
            | Phase::CoolDown { .. }
            | Phase::Before(_) => world.step(self.step).rest_before,
            Phase::Acting(acting) => acting.chain.iter().all(|ix| world.step(*ix).free),
            Phase::Testing(_) | Phase::Over(_) => false,
        };
        let all = self.reminders().filter(|_| free);
        all.map(|(n, reminder)| (reminder.due, n)).min()
    }

    /// The reminder that has to come before a cue at this moment, because it could become due behind it.
    /// Only where the cue can wait for it.
    pub fn awake_before_cue(&self, world: &World, at: Moment) -> Option<u32> {
        let step = world.step(self.step);
        // Mostly nothing has to be kept awake, and how long it all lasts takes longer to find.
        if !step.rest_before || step.free || !self.reminds() {
            return None;
        }
        let until = longest(world, self.step).map(|longest| at.after(longest));
        let all = self.reminders().fold(Millis::ZERO, |all, (n, _)| all.plus(words(world, n)));
        let pressing = |(n, reminder): (u32, Reminder)| {
            let fresh = reminder.said.is_some_and(|said| said.after(all) >= at);
            let late = until.is_none_or(|until| reminder.due < until);
            (late && !fresh).then_some(n)
        };
        self.reminders().find_map(pressing)
    }

    /// Says what would become due while something else is said, or behind a cue that cannot wait.
    pub fn remind_before(&mut self, world: &World, length: Option<Millis>, out: &mut Out) {
        let until = length.map(|length| out.now.max(self.voice_free).after(length));
        let pressing = |(n, reminder): (u32, Reminder)| {
            until.is_none_or(|until| reminder.due < until).then_some(n)
        };
        let due: Vec<u32> = self.reminders().filter_map(pressing).collect();
        due.into_iter().for_each(|n| self.remind(world, n, out));
    }

    /// On arrival at a step whose cue cannot wait for a reminder, but which has breath for one.
    pub fn remind_on_arrival(&mut self, world: &World, out: &mut Out) {
        if !self.reminds() {
            return;
        }
        let step = world.step(self.step);
        if step.breath_before && !step.rest_before {
            let before = said_before(world, self.step);
            let length = longest(world, self.step).map(|longest| longest.plus(before));
            self.remind_before(world, length, out);
        } else if step.rest_before {
            self.remind_before(world, Some(said_before(world, self.step)), out);
        }
    }

    /// Says one reminder; a cue that was ready waits for its end.
    pub fn remind(&mut self, world: &World, n: u32, out: &mut Out) {
        let Some(awake) = world.plan.awake.get(n as usize) else { return };
        out.notice(Notice::KeepAwake(awake.text));
        self.speak(world, awake.text, Cue::Notice, out);
        let due = out.now.after(spare(world, n as usize)).max(self.voice_free.after(Millis(1000)));
        if let Some(reminder) = self.awake.get_mut(n as usize) {
            *reminder = Some(Reminder { due, said: Some(self.voice_free.before(words(world, n))) });
        }
        if let Phase::Before(before) = &mut self.phase
            && before.prepared.is_some()
        {
            before.prepared = Some(self.voice_free);
        }
    }

    /// Whether a reminder holds.
    fn reminds(&self) -> bool {
        self.awake.iter().any(Option::is_some)
    }

    fn reminders(&self) -> impl Iterator<Item = (u32, Reminder)> + '_ {
        (0..).zip(&self.awake).filter_map(|(n, reminder)| reminder.map(|reminder| (n, reminder)))
    }
}

fn words(world: &World, n: u32) -> Millis {
    world.plan.awake.get(n as usize).map_or(Millis::ZERO, |awake| world.speech(awake.text).hi)
}

/// From the beginning of one reminder to that of the next, at the most.
fn spare(world: &World, n: usize) -> Millis {
    let Some(awake) = world.plan.awake.get(n) else { return Millis::ZERO };
    awake.every.minus(world.speech(awake.text).hi).minus(world.procedure.operator.reacts.hi)
}

/// What is said before the cue of a step.
fn said_before(world: &World, step: StepIx) -> Millis {
    let texts = world.sayings(step).iter();
    texts.fold(Millis::ZERO, |all, (text, _)| all.plus(world.speech(*text).hi))
}

/// The longest time from the cue of a step to the next moment at which words are free; `None` where it
/// is not known, for a way leads back. More than the truth does no harm: a reminder then comes earlier.
fn longest(world: &World, from: StepIx) -> Option<Millis> {
    fn behind(world: &World, at: StepIx, way: &mut Vec<StepIx>) -> Option<Millis> {
        let chain = world.chain(at);
        if way.contains(&at) {
            return None;
        }
        way.push(at);
        let own = chain.iter().fold(Millis::ZERO, |all, ix| all.plus(lasts(world, *ix)));
        let last = chain.last().copied().unwrap_or(at);
        let mut most = Millis::ZERO;
        for next in targets(world.step(last)) {
            if let Next::Step(to) = next
                && !world.step(to).breath_before
            {
                most = most.max(said_before(world, to).plus(behind(world, to, way)?));
            }
        }
        way.pop();
        Some(own.plus(most))
    }
    behind(world, from, &mut Vec::new())
}

/// One step from its cue, or the end of the act above, to its end at the latest.
fn lasts(world: &World, ix: StepIx) -> Millis {
    use crate::procedure::timing::{hands, report_delay, strokes};
    let step = world.step(ix);
    let act = hands(&world.procedure, step).hi.plus(strokes(step).hi);
    let cue = world.now_words(step).hi.plus(act);
    let waits = step.windows.iter().fold(Millis::ZERO, |all, window| all.plus(window.range.lo));
    let reacts = world.actor(step).reacts.hi;
    let held = match &step.hold {
        Some(Hold::For(range, ..)) => range.lo.plus(reacts).plus(act),
        Some(Hold::UntilAnswered(more, ..)) => {
            reacts.plus(more.and_then(|more| more.hi).unwrap_or(Millis::ZERO))
        }
        Some(Hold::On) | None => Millis::ZERO,
    };
    let met = step.met.iter().map(|met| met.delay.hi.plus(met.recognise.hi));
    let told = met.chain(step.silence.iter().map(|silence| silence.within)).max();
    let report = report_delay(&world.procedure, step).hi.plus(told.unwrap_or(Millis::ZERO));
    let report = if step.report == Report::None { Millis::ZERO } else { report };
    cue.plus(waits).plus(held).plus(report)
}
