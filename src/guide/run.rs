//! What changes during a run: where the guide is, what has happened and was spent.
//!
//! Takes moments and targets; gives the next state, and facts and notices on the way. A run can be
//! copied whole, which is how a press is taken back.

use crate::clock::{Millis, Moment};
use crate::guide::awake::Reminder;
use crate::guide::cue::{Cue, Fact, GapKind, HoldState, Notice};
use crate::guide::out::Out;
use crate::guide::seen::Seen;
use crate::guide::tests_after::Tests;
use crate::guide::world::{Expected, Sayings, World};
use crate::procedure::model::{EndingClass, EndingId, Hold, HowMany, ItemClass, TextId};
use crate::procedure::plan::{Choices, GuardIx, Next, StepIx, Target, Thing, Value};
use crate::procedure::timing::{Bracket, Mark, Point};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// A count paced faster than this cannot be followed tick by tick (common practice, no source).
const FASTEST_TICK: Millis = Millis(500);

/// The built-in ending of a class: the first four endings of every procedure.
pub(super) fn built_in(class: EndingClass) -> EndingId {
    EndingId(match class {
        EndingClass::Learned => 0,
        EndingClass::NotLearned => 1,
        EndingClass::Unsure => 2,
        EndingClass::Stopped => 3,
    })
}

/// The state of a run.
#[derive(Clone, Debug)]
pub(super) struct Run {
    /// The step going on.
    pub step: StepIx,
    /// Where in its life it is.
    pub phase: Phase,
    /// What has happened on this path.
    pub known: Seen,
    /// What was answered, before the run and in it.
    pub choices: Arc<Choices>,
    /// How often each step was entered.
    pub entered: Vec<u32>,
    /// How each thing ended, and in which step.
    pub verdicts: BTreeMap<Thing, (ItemClass, StepIx)>,
    /// Whether a hold is asked for or going on.
    pub hold: HoldState,
    /// Steps whose thing is still held.
    pub held: BTreeSet<StepIx>,
    /// When the voice is free again, at the latest.
    pub voice_free: Moment,
    /// A prepare cue given, or being given, for a step that is not reached yet.
    pub early: Option<Early>,
    /// The reminders to keep awake; `None` where one does not hold.
    pub awake: Vec<Option<Reminder>>,
    /// The last time the computer was away.
    pub gap: Option<Gap>,
    /// The count whose last seconds ring, and what has rung.
    pub seconds: Option<Seconds>,
    /// Whether the numbered answers are on show.
    pub listing: bool,
    /// What to do where the person broke it off.
    pub left: Option<TextId>,
}

/// Where in its life a step is.
#[derive(Clone, Debug)]
pub(super) enum Phase {
    /// A cool-down passes before it.
    CoolDown {
        /// Its end.
        until: Moment,
    },
    /// Held before it, until the person goes on.
    Resting,
    /// Its cautions are acknowledged, one by one.
    Cautions(u32),
    /// Its readings are asked, one by one.
    Asks(u32, Option<Value>),
    /// What it needs is said; then its moment is awaited.
    Before(Before),
    /// The now cue was given.
    Acting(Arc<Acting>),
    /// The functional tests after a learned ending.
    Testing(Tests),
    /// It has ended.
    Over(EndingId),
}

/// A step before its now cue.
#[derive(Clone, Debug)]
pub(super) struct Before {
    /// From when it may be prepared.
    pub since: Moment,
    /// What is said before the cue.
    pub sayings: Sayings,
    /// How much of it was said.
    pub said: usize,
    /// Whether the prepare tone was rung.
    pub announced: bool,
    /// When all of it is said at the latest, once all of it is.
    pub prepared: Option<Moment>,
}

/// A prepare cue for a step that is not reached yet.
#[derive(Clone, Debug)]
pub(super) struct Early {
    /// Which step.
    pub step: StepIx,
    /// How far it is.
    pub before: Before,
}

/// A stretch of hands after its now cue.
#[derive(Clone, Debug)]
pub(super) struct Acting {
    /// Its steps; the last is reported.
    pub chain: Arc<[StepIx]>,
    /// The cue, or the end of the act above where there is none.
    pub called: Moment,
    /// The brackets of its acts.
    pub expected: Vec<Expected>,
    /// Ticks still to come: when, how many, how far apart.
    pub ticks: Option<(Moment, u32, Millis)>,
    /// The step whose held thing is to be let go, and when.
    pub let_go: Option<(StepIx, Moment)>,
    /// How long the computer was away since the cue.
    pub away: Millis,
    /// Nothing is decided by time before this: the person was not heard while it was away.
    pub grace: Moment,
}

impl Acting {
    /// The step that is reported.
    pub fn last(&self) -> StepIx {
        self.chain.last().copied().unwrap_or(StepIx(0))
    }

    /// The step that it begins with.
    pub fn first(&self) -> StepIx {
        self.chain.first().copied().unwrap_or(StepIx(0))
    }

    /// When the now cue has ended, at the latest.
    pub fn heard(&self, world: &World) -> Moment {
        self.called.after(world.now_words(world.step(self.first())).hi)
    }

    /// The brackets of the act that is reported.
    pub fn end(&self) -> Bracket {
        let none = Bracket { earliest: self.called, latest: self.called };
        self.expected.last().map_or(none, Expected::end)
    }
}

/// A time in which the computer was away.
#[derive(Clone, Copy, Debug)]
pub(super) struct Gap {
    pub kind: GapKind,
    pub length: Millis,
    pub end: Moment,
}

impl Gap {
    /// Whether a moment lies in it.
    pub fn holds(&self, at: Moment) -> bool {
        self.end.before(self.length) < at && at <= self.end
    }
}

/// The last seconds of a count.
#[derive(Clone, Copy, Debug)]
pub(super) struct Seconds {
    /// Where the count is zero.
    pub zero: Moment,
    /// The next mark to ring: 10, 5, or none.
    pub next: i64,
}

impl Run {
    /// A run before its first step.
    pub fn new(world: &World, choices: Choices, now: Moment) -> Run {
        Run {
            step: StepIx(0),
            phase: Phase::Resting,
            known: Seen::default(),
            choices: Arc::new(choices),
            entered: vec![0; world.plan.steps.len()],
            verdicts: BTreeMap::new(),
            hold: HoldState::No,
            held: BTreeSet::new(),
            voice_free: now,
            early: None,
            awake: vec![None; world.plan.awake.len()],
            gap: None,
            seconds: None,
            listing: false,
            left: None,
        }
    }

    /// Begins, or ends at once where there is no step.
    pub fn begin(&mut self, world: &World, out: &mut Out) {
        out.record(Fact::Chosen(self.choices.counts.clone()));
        let now = out.now;
        match world.plan.entry {
            Some(next) => self.go(world, next, now, out),
            None => self.finish(world, built_in(EndingClass::Unsure), out),
        }
    }

    /// Goes forward. `since`: from when the next step may begin.
    fn go(&mut self, world: &World, next: Next, since: Moment, out: &mut Out) {
        match next {
            Next::Step(ix) if (ix.0 as usize) < world.plan.steps.len() => {
                // Only the end of a part on the way leads back without a retry of its own.
                if ix < self.step {
                    self.undo_from(ix);
                }
                self.enter(world, ix, since, None, out);
            }
            Next::Step(_) => self.finish(world, built_in(EndingClass::Unsure), out),
            Next::End(ending) => self.finish(world, ending, out),
        }
    }

    /// Takes what an outcome leads to.
    pub fn take(&mut self, world: &World, target: &Target, since: Moment, out: &mut Out) {
        match target {
            Target::To(next) => {
                let step = world.step(self.step);
                if let (true, Some(thing)) = (step.closes_thing, step.thing)
                    && *next == step.go_on
                {
                    self.verdict(thing, ItemClass::Learned, out);
                }
                self.go(world, *next, since, out);
            }
            Target::ThisOne { thing, class, next } => {
                self.verdict(*thing, *class, out);
                self.go(world, *next, since, out);
            }
            Target::Again { purse, enter, back, cool_down, spent, .. } => {
                let tries = world.tries(*purse);
                if self.known.spent(*purse) >= tries {
                    out.notice(Notice::TriesSpent);
                    return self.take_spent(world, spent, since, out);
                }
                let used = self.known.change().spend(*purse);
                self.let_go(*back, out);
                out.record(Fact::Tried(used, tries));
                out.notice(Notice::Again(used, tries));
                // A part on the way still counts on what is behind the target; see `go`.
                if enter == back {
                    self.undo_from(*back);
                }
                let until = (*cool_down > Millis::ZERO).then(|| out.now.after(*cool_down));
                self.enter(world, *enter, since, until, out);
            }
        }
    }

    /// What follows when the tries are spent is never a retry; if a plan says so all the same, the
    /// run ends unsure instead of going round for ever.
    fn take_spent(&mut self, world: &World, spent: &Target, since: Moment, out: &mut Out) {
        match spent {
            Target::Again { .. } => self.finish(world, built_in(EndingClass::Unsure), out),
            other => self.take(world, other, since, out),
        }
    }

    /// Going back: what stood at or after the target has un-happened.
    fn undo_from(&mut self, back: StepIx) {
        self.known.change().forget_from(back);
        self.verdicts.retain(|_, (_, decided)| *decided < back);
        self.early = None;
    }

    fn verdict(&mut self, thing: Thing, class: ItemClass, out: &mut Out) {
        self.thing_ended(thing, class, self.step, out);
    }

    /// A thing ended in this step.
    pub fn thing_ended(&mut self, thing: Thing, class: ItemClass, step: StepIx, out: &mut Out) {
        self.verdicts.insert(thing, (class, step));
        out.record(Fact::Thing(thing, class));
        out.notice(Notice::ThingEnded(thing, class));
    }

    fn enter(
        &mut self,
        world: &World,
        ix: StepIx,
        since: Moment,
        cool_down: Option<Moment>,
        out: &mut Out,
    ) {
        let nth = self.entered.get(ix.0 as usize).map_or(1, |times| times.saturating_add(1));
        if let Some(times) = self.entered.get_mut(ix.0 as usize) {
            *times = nth;
        }
        out.record(Fact::Entered(ix, nth));
        let above = self.step;
        self.step = ix;
        self.listing = false;
        self.keep_awake(world, out.now);
        if let Some(early) = self.early.take_if(|early| early.step != ix) {
            self.known.change().forget_step(early.step);
        }
        if let (true, None, Some(end)) = (world.step(ix).straight_on, cool_down, self.end_of(above))
        {
            let expected = world.expect_after(world.chain(ix), end);
            return self.act(world, ix, expected, since);
        }
        match cool_down {
            Some(until) => self.phase = Phase::CoolDown { until },
            None => self.arrive(world, since, out),
        }
    }

    /// When the act of a step ended, as far as it is known.
    fn end_of(&self, step: StepIx) -> Option<Bracket> {
        let at = |mark| self.known.get(Point { step, mark });
        at(Mark::Released).or_else(|| at(Mark::Done))
    }

    /// A step is reached and nothing hinders: hold here if asked, then cautions, readings, prepare.
    pub fn arrive(&mut self, world: &World, since: Moment, out: &mut Out) {
        if matches!(self.hold, HoldState::Asked(_)) && world.step(self.step).rest_before {
            self.hold = HoldState::Held;
            self.phase = Phase::Resting;
            // After a rest everything is said again.
            self.early = None;
            out.record(Fact::Held(true));
            return;
        }
        self.cautions(world, 0, since, out);
    }

    /// The computer was away: what was said before is said again before the next now cue.
    pub fn prepare_again(&mut self, world: &World, now: Moment) {
        self.voice_free = self.voice_free.min(now);
        self.early = None;
        if let Phase::Before(before) = &self.phase {
            let since = before.since.max(now);
            self.phase = Phase::Before(Before::new(world, self.step, since));
        }
    }

    /// The nth caution is shown and said, to be acknowledged, where the run can rest for it.
    pub fn cautions(&mut self, world: &World, n: u32, since: Moment, out: &mut Out) {
        match world.alert(self.step, n) {
            Some(alert) if world.step(self.step).rest_before => {
                self.remind_before(world, Some(world.speech(alert.text).hi), out);
                self.speak(world, alert.text, Cue::Caution, out);
                self.phase = Phase::Cautions(n);
            }
            _ => self.asks(world, 0, since, out),
        }
    }

    /// The nth reading of the step is asked.
    pub fn asks(&mut self, world: &World, n: u32, since: Moment, out: &mut Out) {
        let reading = world.asked(self.step, n);
        match reading.and_then(|id| world.procedure.readings.get(id.0 as usize)) {
            Some(reading) => {
                self.remind_before(world, Some(world.speech(reading.text).hi), out);
                self.speak(world, reading.text, Cue::Question, out);
                self.phase = Phase::Asks(n, None);
            }
            None => {
                self.prepare(world, since);
                self.warn(world, out);
                self.remind_on_arrival(world, out);
            }
        }
    }

    /// That there is no way back is said while one can still stop.
    fn warn(&self, world: &World, out: &mut Out) {
        for (n, no_return) in (0..).zip(&world.plan.no_returns) {
            if no_return.before == self.step {
                out.notice(Notice::NoReturn(n));
            }
        }
    }

    /// From here on the step is prepared, or has been while the answer above was awaited.
    fn prepare(&mut self, world: &World, since: Moment) {
        let before = match self.early.take() {
            Some(early) if early.step == self.step => Before { since, ..early.before },
            _ => Before::new(world, self.step, since),
        };
        self.phase = Phase::Before(before);
    }

    /// Says a text now, or as soon as the voice is free.
    pub fn speak(&mut self, world: &World, text: TextId, cue: Cue, out: &mut Out) {
        out.say(text, cue);
        self.voice_free = self.voice_free.max(out.now).after(world.speech(text).hi);
    }

    /// The hands begin: a stretch of acts whose brackets are known from the cue.
    pub fn act(&mut self, world: &World, first: StepIx, expected: Vec<Expected>, called: Moment) {
        self.listing = false;
        let chain = Arc::clone(world.chain(first));
        self.held.extend(chain.iter().filter(|ix| world.step(**ix).hold.is_some()));
        let acting = Acting {
            ticks: ticks(world, &expected),
            let_go: next_let_go(world, &expected, None),
            chain,
            called,
            expected,
            away: Millis::ZERO,
            grace: called,
        };
        let words = world.now_words(world.step(self.step)).hi;
        self.prepare_ahead(world, acting.last(), called.after(words));
        self.phase = Phase::Acting(Arc::new(acting));
    }

    /// The next step on the hoped-for way is prepared while this answer is awaited, unless the ear is
    /// needed for it and enough time is left afterwards.
    fn prepare_ahead(&mut self, world: &World, last: StepIx, heard: Moment) {
        let Some(next) = world.plan.said_ahead(last) else { return };
        self.early = Some(Early { step: next, before: Before::new(world, next, heard) });
    }

    /// The run's way is over: item verdicts are settled, and a learned ending is tested.
    pub fn finish(&mut self, world: &World, ending: EndingId, out: &mut Out) {
        self.let_go(StepIx(0), out);
        let class = world.class(ending);
        self.settle_things(world, class, out);
        if class != EndingClass::Learned {
            self.phase = Phase::Over(ending);
            return;
        }
        let all_learned = self.verdicts.values().all(|(class, _)| *class == ItemClass::Learned);
        let ending = if all_learned { ending } else { built_in(EndingClass::Unsure) };
        let tests = Tests::new(world, self, ending);
        if tests.any() {
            tests.say(world, Cue::Question, out);
            self.phase = Phase::Testing(tests);
        } else {
            self.phase = Phase::Over(ending);
        }
    }

    /// Every thing whose turn could have been ends, if only as unsure. A thing without a turn of its
    /// own ends as the run does. Where no turn was begun at all the run was not about things.
    fn settle_things(&mut self, world: &World, class: EndingClass, out: &mut Out) {
        let steps = |thing: Thing| {
            let all = world.plan.indexed();
            all.filter(move |(_, step)| step.thing == Some(thing)).map(|(ix, _)| ix)
        };
        let begun = |thing: &Thing| steps(*thing).any(|ix| self.was_entered(ix));
        let any_begun = world.plan.things.iter().any(begun);
        for thing in &world.plan.things {
            let has_turn = steps(*thing).next().is_some();
            if self.verdicts.contains_key(thing) || (has_turn && !any_begun) {
                continue;
            }
            let verdict = match class {
                EndingClass::Learned if !has_turn => ItemClass::Learned,
                EndingClass::NotLearned => ItemClass::NotLearned,
                _ => ItemClass::Unsure,
            };
            self.verdicts.insert(*thing, (verdict, self.step));
            out.record(Fact::Thing(*thing, verdict));
        }
    }

    /// Whether a step was entered, ever.
    pub fn was_entered(&self, ix: StepIx) -> bool {
        self.entered.get(ix.0 as usize).is_some_and(|times| *times > 0)
    }

    /// The person stops it.
    pub fn stop(&mut self, world: &World, out: &mut Out) {
        self.let_go(StepIx(0), out);
        self.settle_things(world, EndingClass::Stopped, out);
        self.left = match self.phase {
            Phase::Testing(_) => None,
            _ => world.plan.steps.get(self.step.0 as usize).and_then(|step| step.break_off),
        };
        if let Some(text) = self.left {
            out.say(text, Cue::Notice);
        }
        self.phase = Phase::Over(built_in(EndingClass::Stopped));
    }

    /// The guard holds now.
    pub fn guarded(&self, world: &World, guard: GuardIx) -> bool {
        let running = !matches!(self.phase, Phase::Testing(_) | Phase::Over(_));
        world
            .plan
            .guards
            .get(guard.0 as usize)
            .is_some_and(|g| running && g.from <= self.step && self.step <= g.to)
    }

    /// Every guard that holds now.
    pub fn guards(&self, world: &World) -> Vec<GuardIx> {
        let all = 0..u32::try_from(world.plan.guards.len()).unwrap_or(0);
        all.map(GuardIx).filter(|guard| self.guarded(world, *guard)).collect()
    }

    /// Whatever is held since this step or a later one has to be let go before anything else.
    pub fn let_go(&mut self, since: StepIx, out: &mut Out) {
        let before = self.held.len();
        self.held.retain(|step| *step < since);
        if self.held.len() < before {
            out.warn(Notice::LetGoFirst);
        }
    }
}

/// The ticks of the first counted act that is paced slowly enough to be followed, one a stroke. The
/// first comes once the hands can be there, so that a hand that reacts to it is inside its bounds.
/// Faster counts are announced and left silent.
fn ticks(world: &World, expected: &[Expected]) -> Option<(Moment, u32, Millis)> {
    expected.iter().find_map(|e| {
        let (n, counted) = world.step(e.step).count.as_ref()?;
        let every = counted.every?;
        let period = Millis(every.lo.plus(every.hi).0 / 2);
        let strokes = match counted.how_many {
            HowMany::UntilAnswered => u32::MAX,
            _ => *n,
        };
        let reaction = world.actor(world.step(e.step)).reacts.hi;
        let first = e.begun.latest.before(reaction).max(e.begun.earliest);
        (period >= FASTEST_TICK && strokes > 1).then_some((first, strokes, period))
    })
}

/// The first hold of a fixed length after `after`, and when the guide says let go.
pub(super) fn next_let_go(
    world: &World,
    expected: &[Expected],
    after: Option<StepIx>,
) -> Option<(StepIx, Moment)> {
    let rest = after.map_or(0, |done| {
        expected.iter().position(|e| e.step == done).map_or(expected.len(), |i| i + 1)
    });
    expected[rest..].iter().find_map(|e| match (&world.step(e.step).hold, e.released) {
        (Some(Hold::For(range, ..)), Some(_)) => {
            Some((e.step, world.let_go_due(world.step(e.step), e.done, *range)))
        }
        _ => None,
    })
}

impl Before {
    /// Nothing of it said yet.
    pub fn new(world: &World, step: StepIx, since: Moment) -> Before {
        let sayings = Arc::clone(world.sayings(step));
        Before { since, sayings, said: 0, announced: false, prepared: None }
    }

    /// What is still to be said.
    pub fn to_say(&self) -> &[(TextId, Cue)] {
        self.sayings.get(self.said..).unwrap_or_default()
    }
}
