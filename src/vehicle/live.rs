//! The imaginary vehicle in front of a real person: takes what the guide does and when the person's hand
//! touches it, gives what it feels, shows and keeps back.
//!
//! The hand is a key of its own: one tap is one act, or one stroke of a count; what is held for a length
//! of time is let go with a second tap. Where the hands are imaginary too, they act by their drawn
//! lengths. A sign that was on its way comes even when the guide has gone on, as it would.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::acts::{Stretch, World};
use super::draw::What;
use super::order::{Order, Refused, fault};
use super::{Draw, Fault, Truth, Wrong};
use crate::clock::{Millis, Moment};
use crate::guide::cue::{Effect, Fact};
use crate::procedure::model::{Hold, Procedure};
use crate::procedure::plan::{GuardIx, Plan, Report, StepIx};
use crate::procedure::timing::{Mark, Point, SpeechLengths};

// Lengths of this program's own choice, tried with keyboards; no source.

/// Two taps of a count are at least so far apart; closer ones are a key that repeats itself.
const STROKE: Millis = Millis(80);
/// The same for acts without a count.
const ACT: Millis = Millis(300);
/// The same while something is held: the longest gap of a held key.
const HELD_KEY: Millis = Millis(700);
/// A tap so soon after a finished count is one stroke too many.
const ONE_MORE: Millis = Millis(1500);
/// How long after its cue a slip is told.
const SLIPS: Millis = Millis(1000);

/// Whose hands touch the vehicle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Hands {
    /// The person's: every touch is a tap of a key.
    Own,
    /// Imaginary ones.
    Drawn,
}

/// What the vehicle felt, showed or kept back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// It felt an act, complete.
    Felt {
        /// Of which step.
        step: StepIx,
        /// How long after its cue (or after the act before) it was begun.
        after: Millis,
        /// How long that takes at least by the script.
        least: Millis,
        /// How long that may take at most by the script.
        most: Millis,
        /// What was left of each window of it: which, and how much.
        left: Vec<(usize, Millis)>,
        /// Windows that it came too early for: which, and by how much.
        early: Vec<(usize, Millis)>,
    },
    /// It felt a stroke of a count: this of so many.
    Stroke(StepIx, u32, u32),
    /// What was held is free, after so long; windows of it: which, what was left, whether too early.
    LetGo(StepIx, Millis, Vec<(usize, Millis, bool)>),
    /// It gives the nth answer of a step.
    Shows(StepIx, u32),
    /// It gives an answer that the script does not know.
    ShowsUnknown(StepIx),
    /// It will not answer. Nobody is told before the end.
    Silent(StepIx, WhySilent),
    /// Something that must stay true no longer does.
    Lost(StepIx, GuardIx),
    /// The hand did something else than told.
    Slipped(StepIx),
    /// It did not take a tap.
    NotFelt(WhyNotFelt),
}

/// Why the vehicle does not answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhySilent {
    /// It was ordered.
    Fault,
    /// The act lay outside a window.
    Outside,
    /// There was a stroke too many.
    OneMore,
}

/// Why a tap was not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WhyNotFelt {
    /// Nothing is to be done now.
    NotNow,
    /// The count was complete.
    OneMore,
}

/// A stretch of hands that was cued.
#[derive(Debug)]
struct Going {
    stretch: Stretch,
    wrong: Option<Wrong>,
    /// Strokes of the present act, and when the first was.
    strokes: u32,
    begun: Moment,
    /// The last act that was complete: its step, when, and whether it was counted.
    last: Option<(StepIx, Moment, bool)>,
    /// Acts that were told of, where the hands are imaginary.
    told: usize,
    chain: Vec<StepIx>,
}

/// The vehicle.
pub struct Live {
    procedure: Arc<Procedure>,
    speech: SpeechLengths,
    plan: Option<Arc<Plan>>,
    hands: Hands,
    orders: Vec<Order>,
    faults: Vec<Fault>,
    draw: Draw,
    truth: Truth,
    times: BTreeMap<StepIx, u32>,
    reached: Option<StepIx>,
    going: Option<Going>,
    due: Vec<(Moment, Event)>,
    tapped: Option<Moment>,
    held: bool,
}

impl Live {
    /// A vehicle whose lengths are drawn so, in which this goes wrong.
    #[must_use]
    pub fn new(
        procedure: Arc<Procedure>,
        speech: SpeechLengths,
        draw: Draw,
        orders: Vec<Order>,
        hands: Hands,
    ) -> Live {
        Live {
            procedure,
            speech,
            plan: None,
            hands,
            orders,
            faults: Vec::new(),
            draw,
            truth: Truth::default(),
            times: BTreeMap::new(),
            reached: None,
            going: None,
            due: Vec::new(),
            tapped: None,
            held: false,
        }
    }

    /// The run is planned. Gives the orders that cannot be carried out in this plan.
    pub fn begins(&mut self, plan: Arc<Plan>) -> Vec<(Order, Refused)> {
        let mut refused = Vec::new();
        for order in &self.orders {
            match fault(order, &self.procedure, &plan, &mut self.draw) {
                Ok(fault) => self.faults.push(fault),
                Err(why) => refused.push((order.clone(), why)),
            }
        }
        self.plan = Some(plan);
        refused
    }

    /// Whether the run is planned.
    #[must_use]
    pub fn has_begun(&self) -> bool {
        self.plan.is_some()
    }

    /// When it does something by itself.
    #[must_use]
    pub fn next(&self) -> Option<Moment> {
        self.due.iter().map(|(at, _)| *at).min()
    }

    /// What it does by itself up to this moment, in order.
    pub fn wake(&mut self, now: Moment) -> Vec<(Moment, Event)> {
        self.due.sort_by_key(|(at, _)| *at);
        let later = self.due.split_off(self.due.partition_point(|(at, _)| *at <= now));
        std::mem::replace(&mut self.due, later)
    }

    /// Hears what the guide does.
    pub fn follow(&mut self, effect: &Effect) -> Vec<Event> {
        let Effect::Record(fact) = effect else { return Vec::new() };
        match fact {
            Fact::CueGiven { point: Point { step, mark: Mark::Called }, given, .. } => {
                self.called(*step, *given)
            }
            Fact::CueGiven { point: Point { mark: Mark::LetGo, .. }, given, .. } => {
                self.told_to_let_go(*given)
            }
            Fact::Entered(step, _) => self.entered(*step),
            Fact::Outcome(..) => {
                // An act that was not done by then is not awaited any more.
                self.going.take_if(|going| !going.stretch.over());
                Vec::new()
            }
            _ => Vec::new(),
        }
    }

    fn world(&self) -> Option<(Arc<Procedure>, Arc<Plan>, SpeechLengths)> {
        Some((Arc::clone(&self.procedure), self.plan.clone()?, self.speech.clone()))
    }

    /// The hands have a step to do now.
    fn called(&mut self, step: StepIx, at: Moment) -> Vec<Event> {
        let Some((procedure, plan, speech)) = self.world() else { return Vec::new() };
        let world = World { procedure: &procedure, plan: &plan, speech: &speech };
        let time = *self.times.entry(step).and_modify(|time| *time += 1).or_insert(1);
        self.order_troubles(step, time, at);
        let mut stretch = world.stretch(step, time, at, &self.truth);
        let wrong = self.wrong(step, time).or_else(|| self.wrong(stretch.last, time));
        let chain = world.steps_of(&stretch);
        self.held = false;
        match self.hands {
            Hands::Own => {
                world.cue(&mut stretch, &mut self.draw, &mut self.truth);
            }
            Hands::Drawn => {
                world.begin(&mut stretch, Millis::ZERO, &mut self.draw, &mut self.truth);
            }
        }
        if wrong == Some(Wrong::Slip) {
            self.due.push((at.after(SLIPS), Event::Slipped(stretch.last)));
        }
        self.going =
            Some(Going { stretch, wrong, strokes: 0, begun: at, last: None, told: 0, chain });
        self.told_of(&world);
        self.answer(&world)
    }

    fn wrong(&self, step: StepIx, time: u32) -> Option<Wrong> {
        self.faults.iter().find_map(|fault| match fault {
            Fault::Step(at, times, wrong) if *at == step && time <= *times => Some(*wrong),
            _ => None,
        })
    }

    fn order_troubles(&mut self, step: StepIx, time: u32, at: Moment) {
        for fault in &self.faults {
            if let Fault::Lost(guard, of, nth, after) = fault
                && (*of, *nth) == (step, time)
            {
                self.due.push((at.after(*after), Event::Lost(step, *guard)));
            }
        }
    }

    /// A step that goes straight on after an answer has no cue.
    fn entered(&mut self, step: StepIx) -> Vec<Event> {
        let Some((procedure, plan, speech)) = self.world() else { return Vec::new() };
        if step.0 < plan.main {
            if self.reached.is_some_and(|reached| step <= reached) {
                self.truth.tries.forget_from(step);
            }
            self.reached = Some(step);
        }
        let straight = plan.steps.get(step.0 as usize).is_some_and(|step| step.straight_on);
        let Some(before) = self.going.take_if(|going| straight && going.stretch.over()) else {
            return Vec::new();
        };
        let world = World { procedure: &procedure, plan: &plan, speech: &speech };
        let (time, end) = (before.stretch.time, before.stretch.end());
        let mut stretch = world.stretch(step, time, end, &self.truth);
        let chain = world.steps_of(&stretch);
        if self.hands == Hands::Drawn {
            world.go_on(&mut stretch, &mut self.draw, &mut self.truth);
        }
        self.going = Some(Going { stretch, wrong: None, told: 0, chain, strokes: 0, ..before });
        self.told_of(&world);
        self.answer(&world)
    }

    /// The guide says let go; the person's own hand does it when it does.
    fn told_to_let_go(&mut self, at: Moment) -> Vec<Event> {
        let Some((procedure, plan, speech)) = self.world() else { return Vec::new() };
        let world = World { procedure: &procedure, plan: &plan, speech: &speech };
        let (Hands::Drawn, Some(going)) = (self.hands, &mut self.going) else { return Vec::new() };
        world.let_go(&mut going.stretch, at, &mut self.draw, &mut self.truth);
        self.told_of(&world);
        self.answer(&world)
    }

    /// Imaginary acts are told of when they are done.
    fn told_of(&mut self, world: &World<'_>) {
        let Some(going) = self.going.as_mut().filter(|_| self.hands == Hands::Drawn) else {
            return;
        };
        while let Some(step) = going.chain.get(going.told).copied() {
            let at = |mark| self.truth.points.get(Point { step, mark }).copied();
            let waits = going.stretch.awaits(step);
            let (false, Some(begun), Some(done)) = (waits, at(Mark::Begun), at(Mark::Done)) else {
                return;
            };
            let from = match going.told {
                0 if !world.plan.step(step).straight_on => at(Mark::Called).unwrap_or(begun),
                _ => begun,
            };
            let (least, most) = (world.least_of(step), world.most_of(step));
            let after = begun.since(from);
            let (left, early) = (Vec::new(), Vec::new());
            self.due.push((done, Event::Felt { step, after, least, most, left, early }));
            going.told += 1;
        }
    }

    /// The person's hand touches the vehicle.
    pub fn tap(&mut self, at: Moment) -> Vec<Event> {
        let Some((procedure, plan, speech)) = self.world() else { return Vec::new() };
        let world = World { procedure: &procedure, plan: &plan, speech: &speech };
        let before = self.tapped.replace(at);
        let Some(going) = self.going.as_mut().filter(|_| self.hands == Hands::Own) else {
            return vec![Event::NotFelt(WhyNotFelt::NotNow)];
        };
        let counted = world.strokes_of(&going.stretch) > 1;
        let just_counted = going.last.is_some_and(|(.., counted)| counted);
        let least = match () {
            () if going.stretch.holding.is_some() || self.held => HELD_KEY,
            () if counted || just_counted => STROKE,
            () => ACT,
        };
        if before.is_some_and(|before| at.since(before) < least) {
            return Vec::new();
        }
        if let Some(step) = going.stretch.holding {
            let from = going.stretch.end();
            let (kept, missed) = (self.truth.margins.len(), self.truth.outside.len());
            world.released(&mut going.stretch, at, &mut self.truth);
            let early = self.truth.outside[missed..].iter().filter(|(.., by)| *by < Millis::ZERO);
            let left = self.truth.margins[kept..].iter().map(|(_, n, by)| (*n, *by, false));
            let left = left.chain(early.map(|(_, n, by)| (*n, *by, true))).collect();
            let mut events = vec![Event::LetGo(step, at.since(from), left)];
            events.extend(self.answer(&world));
            return events;
        }
        match going.stretch.next() {
            Some(step) => self.stroke(&world, step, at),
            None if self.held => Vec::new(),
            None => self.too_many(at),
        }
    }

    /// One stroke of the next act.
    fn stroke(&mut self, world: &World<'_>, step: StepIx, at: Moment) -> Vec<Event> {
        let Some(going) = &mut self.going else { return Vec::new() };
        let of = world.strokes_of(&going.stretch);
        going.strokes += 1;
        if going.strokes == 1 {
            going.begun = at;
        }
        if going.strokes < of {
            return vec![Event::Stroke(step, going.strokes, of)];
        }
        let (from, most) = world.most(&going.stretch).unwrap_or((at, Millis::ZERO));
        let (kept, missed) = (self.truth.margins.len(), self.truth.outside.len());
        let begun = going.begun;
        world.acted(&mut going.stretch, (begun, at), &mut self.truth);
        going.strokes = 0;
        going.last = Some((step, at, of > 1));
        self.held = matches!(world.plan.step(step).hold, Some(Hold::UntilAnswered(..)));
        let left = self.truth.margins[kept..].iter().map(|(_, n, left)| (*n, *left)).collect();
        let early = self.truth.outside[missed..].iter().filter(|(.., by)| *by < Millis::ZERO);
        let early = early.map(|(_, n, by)| (*n, *by)).collect();
        let (after, least) = (begun.since(from), world.least_of(step));
        let mut events = vec![Event::Felt { step, after, least, most, left, early }];
        events.extend(self.answer(world));
        events
    }

    /// A tap when the hands have nothing more to do: after a count it spoils it.
    fn too_many(&mut self, at: Moment) -> Vec<Event> {
        let last = self.going.as_ref().and_then(|going| going.last);
        match last {
            Some((step, done, true)) if at.since(done) < ONE_MORE => {
                let own = |event: &Event| matches!(event, Event::Shows(of, _) if *of == step);
                let before = self.due.len();
                self.due.retain(|(_, event)| !own(event));
                let mut events = vec![Event::NotFelt(WhyNotFelt::OneMore)];
                if self.due.len() < before {
                    events.push(Event::Silent(step, WhySilent::OneMore));
                }
                events
            }
            _ => vec![Event::NotFelt(WhyNotFelt::NotNow)],
        }
    }

    /// Once the acts are over: what the vehicle answers, and when.
    fn answer(&mut self, world: &World<'_>) -> Vec<Event> {
        let Some(going) = self.going.as_ref().filter(|going| going.stretch.over()) else {
            return Vec::new();
        };
        let (step, time) = (going.stretch.last, going.stretch.time);
        let of = world.plan.step(step);
        if of.report != Report::Answer {
            return Vec::new();
        }
        let end = going.stretch.end();
        match going.wrong {
            Some(Wrong::Silence | Wrong::Slip) => {
                return vec![Event::Silent(step, WhySilent::Fault)];
            }
            _ if !going.stretch.accepted(&self.truth) => {
                return vec![Event::Silent(step, WhySilent::Outside)];
            }
            Some(Wrong::Other) => {
                let span = of.met.first().map(|met| met.delay).unwrap_or_default();
                self.draw.about(step, time, What::Answer);
                let after = self.draw.within(span);
                self.due.push((end.after(after), Event::ShowsUnknown(step)));
                return Vec::new();
            }
            _ => {}
        }
        let nth = match going.wrong {
            Some(Wrong::Answer(nth)) => nth,
            _ => 0,
        };
        let late = match going.wrong {
            Some(Wrong::Late(late)) => late,
            _ => Millis::ZERO,
        };
        let truth = &mut self.truth;
        if world.answer((step, time), nth as usize, late, &mut self.draw, truth).is_some()
            && let Some(at) = truth.points.get(Point { step, mark: Mark::Answered })
        {
            self.due.push((*at, Event::Shows(step, nth)));
        }
        Vec::new()
    }
}
