//! The guide as a whole: inputs with their moments go in, effects come out, nothing else happens.
//!
//! Takes a checked procedure and settings; gives [`Guide`]. It is total: every input in every state
//! has an answer, and every state either waits for a press or wants to be woken.

use crate::clock::{Millis, Moment};
use crate::guide::cue::{
    AnswerText, CountTo, CountWhat, Cue, Effect, Fact, Frame, GapKind, Input, Means, Notice, Press,
    Question, Stage, Tone,
};
use crate::guide::frame;
use crate::guide::out::Out;
use crate::guide::preparation::{Led, Preparation};
use crate::guide::reading;
use crate::guide::run::{Gap, Phase, Run, Seconds, built_in};
use crate::guide::world::World;
use crate::power::Length;
use crate::procedure::model::{EndingClass, EndingId, Procedure};
use crate::procedure::plan::{Plan, StepIx, plan};
use crate::procedure::timing::{SpeechLengths, Timing};
use std::sync::Arc;

/// How long the question before an end stays; the same press within it ends the run.
const ASKED: Millis = Millis(5000);
/// A plan with more changes than this in one moment goes round in circles; the run ends unsure.
const MOST_CHANGES: u32 = 10_000;

/// Makes the timing of a plan: plain window arithmetic, or the proof's network.
pub type MakeTiming = fn(&Procedure, &Plan, &SpeechLengths) -> Box<dyn Timing + Send>;

/// What a guide is told besides the procedure.
#[derive(Clone)]
pub struct Settings {
    /// How long each text takes to say.
    pub speech: SpeechLengths,
    /// What is allowed when.
    pub timing: MakeTiming,
    /// Whether no real vehicle stands there.
    pub rehearsal: bool,
    /// The worst length of the run, for the battery.
    pub length: Length,
}

/// Leads a person through a procedure.
pub struct Guide {
    procedure: Arc<Procedure>,
    settings: Settings,
    life: Life,
    now: Moment,
    asked: Option<Asked>,
    notice: Option<Notice>,
    shown: Option<Arc<Frame>>,
    /// When to be woken, worked out once at the end of each input.
    wakes: Option<Moment>,
    woken: Option<Moment>,
    ended: Option<EndingId>,
}

/// The state of a run at one moment, to go back to.
#[derive(Clone)]
pub struct Saved {
    run: Run,
    undo: Option<Box<Run>>,
    now: Moment,
    asked: Option<Asked>,
    notice: Option<Notice>,
    shown: Option<Arc<Frame>>,
    wakes: Option<Moment>,
    woken: Option<Moment>,
    ended: Option<EndingId>,
}

/// A press that would end the run, asked about once.
#[derive(Clone, Copy, Debug)]
struct Asked {
    ends: Ends,
    until: Moment,
}

/// What would end the run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Ends {
    /// The person stops it.
    Stop,
    /// A slip in this step, entered for the nth time, behind which nothing comes but this ending.
    Slip { step: StepIx, nth: u32, class: EndingClass },
}

impl Ends {
    const fn question(self) -> Question {
        match self {
            Ends::Stop => Question::ReallyStop,
            Ends::Slip { class, .. } => Question::ReallySlip(class),
        }
    }
}

/// The two lives of a guide.
enum Life {
    /// Questions before the run.
    Preparing(Preparation),
    /// The run, its tests, and its end.
    Running(Box<Running>),
}

/// A run with what it rests on.
struct Running {
    world: World,
    run: Run,
    undo: Option<Box<Run>>,
    /// When something is due next, as it was found last of all.
    due: Option<Moment>,
}

impl Guide {
    /// A guide that has not started.
    #[must_use]
    pub fn new(procedure: Arc<Procedure>, settings: Settings) -> Guide {
        let preparation = Preparation::new(&procedure, settings.rehearsal, settings.length);
        Guide {
            procedure,
            settings,
            life: Life::Preparing(preparation),
            now: Moment(i64::MIN),
            asked: None,
            notice: None,
            shown: None,
            wakes: None,
            woken: None,
            ended: None,
        }
    }

    /// Shows and says the first question.
    pub fn start(&mut self, at: Moment) -> Vec<Effect> {
        self.now = self.now.max(at);
        let mut out = Out::new(self.now);
        if let (Life::Preparing(preparation), None) = (&self.life, &self.shown) {
            preparation.say(&self.procedure, Cue::Question, &mut out);
        }
        self.complete(out)
    }

    /// Takes one input at its moment. A moment before the last one is taken as the last one.
    pub fn handle(&mut self, input: Input, at: Moment) -> Vec<Effect> {
        if self.ended.is_some() {
            return Vec::new();
        }
        self.now = self.now.max(at);
        let mut out = Out::new(self.now);
        if matches!(input, Input::Press(_) | Input::Typed(_)) {
            self.notice = None;
        }
        if !self.asked_to_end(&input, &mut out) {
            match &mut self.life {
                Life::Preparing(_) => self.prepare(input, &mut out),
                Life::Running(running) => running.handle(input, &mut out),
            }
        }
        self.complete(out)
    }

    /// When the guide wants to be woken, at the latest. `None`: it waits for a press.
    #[must_use]
    pub fn next_wakeup(&self) -> Option<Moment> {
        self.wakes
    }

    /// `window`: when the window on show changes by itself.
    fn wakes(&self, window: Option<Moment>) -> Option<Moment> {
        if self.ended.is_some() {
            return None;
        }
        let asked = self.asked.map(|asked| asked.until.after(Millis(1)));
        let run = match &self.life {
            Life::Running(running) => running.next_wakeup(self.now),
            Life::Preparing(_) => None,
        };
        asked.into_iter().chain(run).chain(window).filter(|at| *at > self.now).min()
    }

    /// The plan, once the run has begun.
    #[must_use]
    pub fn plan(&self) -> Option<&Plan> {
        match &self.life {
            Life::Running(running) => Some(&running.world.plan),
            Life::Preparing(_) => None,
        }
    }

    /// The plan, once the run has begun, for whoever keeps it.
    #[must_use]
    pub fn shared_plan(&self) -> Option<Arc<Plan>> {
        match &self.life {
            Life::Running(running) => Some(Arc::clone(&running.world.plan)),
            Life::Preparing(_) => None,
        }
    }

    /// The state of the run, once it has begun.
    #[must_use]
    pub fn save(&self) -> Option<Saved> {
        let Life::Running(running) = &self.life else { return None };
        Some(Saved {
            run: running.run.clone(),
            undo: running.undo.clone(),
            now: self.now,
            asked: self.asked,
            notice: self.notice.clone(),
            shown: self.shown.clone(),
            wakes: self.wakes,
            woken: self.woken,
            ended: self.ended,
        })
    }

    /// Goes back to a state that this very guide gave. Before the run there is nothing to go back to.
    pub fn restore(&mut self, saved: &Saved) {
        let Life::Running(running) = &mut self.life else { return };
        running.run.clone_from(&saved.run);
        running.undo.clone_from(&saved.undo);
        self.now = saved.now;
        self.asked = saved.asked;
        self.notice.clone_from(&saved.notice);
        self.shown.clone_from(&saved.shown);
        self.wakes = saved.wakes;
        self.woken = saved.woken;
        self.ended = saved.ended;
    }

    /// The numbered answers that a press would give now, also while they are not on show: for a face
    /// with room for them.
    #[must_use]
    pub fn offers(&self) -> Vec<AnswerText> {
        match &self.life {
            Life::Running(running) if matches!(running.run.phase, Phase::Acting(_)) => {
                running.run.numbered(&running.world)
            }
            _ => Vec::new(),
        }
    }

    /// How it ended.
    #[must_use]
    pub fn ended(&self) -> Option<EndingId> {
        self.ended
    }

    /// What would end the run asks once; the same press while the question stands does it. Any other
    /// press means what it always means, and the question goes; where it hid another question, that one
    /// is on show again and still wants its answer.
    fn asked_to_end(&mut self, input: &Input, out: &mut Out) -> bool {
        self.asked = self.asked.filter(|asked| self.now <= asked.until);
        let press = match input {
            Input::Press(press) => *press,
            Input::Typed(_) => {
                self.asked = None;
                return false;
            }
            Input::Wake | Input::Gap(..) | Input::Lost(_) => return false,
        };
        let shows = self.asked.is_some_and(|asked| self.still_asks(asked.ends));
        let hides = shows && self.beneath(self.now).0.question.is_some();
        let asked = self.asked.take();
        let Some(ends) = self.would_end(press, out) else {
            // Nobody answers a question that another one hides: such a press only takes that away.
            let answers = matches!(press, Press::Done | Press::SomethingElse | Press::Answer(_));
            return hides && answers;
        };
        if asked.is_some_and(|asked| asked.ends == ends) {
            out.record(Fact::Answered(ends.question(), None));
            if ends == Ends::Stop {
                self.stop(out);
            }
            // A slip goes the way of every report.
            return ends == Ends::Stop;
        }
        self.asked = Some(Asked { ends, until: self.now.after(ASKED) });
        // Whoever does not look hears that it was not taken yet.
        out.ring(Tone::Tick);
        if let Life::Running(running) = &mut self.life {
            running.settle(false, out);
        }
        true
    }

    /// What this press would end the run by.
    fn would_end(&mut self, press: Press, out: &mut Out) -> Option<Ends> {
        match (press, &mut self.life) {
            (Press::Stop, _) => Some(Ends::Stop),
            (Press::Slip, Life::Running(running)) => running.slip_ends(out),
            _ => None,
        }
    }

    fn stop(&mut self, out: &mut Out) {
        match &mut self.life {
            Life::Running(running) => running.run.stop(&running.world, out),
            Life::Preparing(_) => self.ended = Some(built_in(EndingClass::Stopped)),
        }
    }

    fn prepare(&mut self, input: Input, out: &mut Out) {
        let Life::Preparing(preparation) = &mut self.life else { return };
        let led = match input {
            Input::Press(press) => preparation.press(&self.procedure, press, out),
            Input::Typed(text) => preparation.typed(&self.procedure, &text, out),
            Input::Wake | Input::Lost(_) => Led::On,
            Input::Gap(kind, length) => {
                out.notice(Notice::WasAway(kind, length));
                Led::On
            }
        };
        match led {
            Led::On => {}
            Led::Stop => self.ended = Some(built_in(EndingClass::Stopped)),
            Led::Begin => {
                let choices = preparation.choices.clone();
                match plan(&self.procedure, &choices) {
                    Ok(plan) => self.begin(plan, out),
                    // `check` has planned every variant; a choice outside them cannot be led.
                    Err(_) => self.ended = Some(built_in(EndingClass::Stopped)),
                }
            }
        }
    }

    fn begin(&mut self, plan: Plan, out: &mut Out) {
        let timing = (self.settings.timing)(&self.procedure, &plan, &self.settings.speech);
        let choices = match &self.life {
            Life::Preparing(preparation) => preparation.choices.clone(),
            Life::Running(_) => plan.choices.clone(),
        };
        let (procedure, speech) = (Arc::clone(&self.procedure), self.settings.speech.clone());
        let world = World::new(procedure, Arc::new(plan), timing, speech);
        let mut run = Run::new(&world, choices, out.now);
        run.begin(&world, out);
        let mut running = Running { world, run, undo: None, due: None };
        running.settle(false, out);
        self.life = Life::Running(Box::new(running));
    }

    /// Adds what follows from the state: notices and the frame, the next wake-up, the end.
    fn complete(&mut self, mut out: Out) -> Vec<Effect> {
        if let Life::Running(running) = &self.life
            && let Phase::Over(ending) = running.run.phase
        {
            self.ended = Some(ending);
        }
        let (frame, window) = self.frame(out.now);
        if let Life::Running(running) = &mut self.life {
            running.ring_seconds(frame.count, &mut out);
        }
        if out.cue_given {
            self.notice = None;
        }
        let notices = std::mem::take(&mut out.notices);
        for notice in notices {
            self.notice = Some(notice);
            self.show(Frame { notice: self.notice.clone(), ..frame.clone() }, &mut out);
        }
        self.show(Frame { notice: self.notice.clone(), ..frame }, &mut out);
        self.wakes = self.wakes(window);
        match (self.ended, self.wakes) {
            (Some(ending), _) => {
                let class = self.procedure.endings.get(ending.0 as usize);
                let class = class.map_or(EndingClass::Unsure, |ending| ending.class);
                out.effects.push(Effect::Ended(ending, class));
            }
            (None, Some(at)) if self.woken != Some(at) => {
                self.woken = Some(at);
                out.effects.push(Effect::WakeAt(at));
            }
            _ => {}
        }
        out.effects
    }

    fn show(&mut self, frame: Frame, out: &mut Out) {
        if self.shown.as_deref() != Some(&frame) {
            let frame = Arc::new(frame);
            self.shown = Some(Arc::clone(&frame));
            out.effects.push(Effect::Show(frame));
        }
    }

    /// What is on show where nobody is asked about an end, and the next moment at which its window changes
    /// by itself.
    fn beneath(&self, now: Moment) -> (Frame, Option<Moment>) {
        match &self.life {
            Life::Preparing(preparation) => (frame::preparing(&self.procedure, preparation), None),
            Life::Running(running) => running.run.frame(&running.world, now),
        }
    }

    /// What is on show, and the next moment at which its window changes by itself.
    fn frame(&self, now: Moment) -> (Frame, Option<Moment>) {
        let (mut frame, changes) = self.beneath(now);
        if self.ended.is_some() {
            frame.stage = Stage::Ended;
        } else if let Some(asked) = self.asked.filter(|asked| self.still_asks(asked.ends)) {
            if frame.question.is_some() {
                frame.means = Means::GoOn;
            }
            frame.question = Some(asked.ends.question());
        }
        (frame, changes)
    }

    /// Whether what was asked about can still be meant: a slip belongs to its step.
    fn still_asks(&self, ends: Ends) -> bool {
        match (ends, &self.life) {
            (Ends::Stop, _) => true,
            (Ends::Slip { step, nth, .. }, Life::Running(running)) => {
                running.run.at() == (step, nth)
            }
            (Ends::Slip { .. }, Life::Preparing(_)) => false,
        }
    }
}

impl Running {
    fn handle(&mut self, input: Input, out: &mut Out) {
        if !matches!(input, Input::Wake | Input::Gap(..)) {
            // What was due before a press comes first; a press at the very moment still counts.
            self.settle(true, out);
        }
        match input {
            Input::Wake => {}
            Input::Gap(kind, length) => self.away(kind, length, out),
            Input::Press(press) => self.press(press, out),
            Input::Typed(text) => self.typed(&text, out),
            Input::Lost(guard) => {
                if self.run.guarded(&self.world, guard) {
                    self.undo = Some(Box::new(self.run.clone()));
                }
                self.run.lost(&self.world, guard, out);
            }
        }
        self.settle(false, out);
    }

    /// The end that a slip would lead to now; `None` where the run goes on behind it, or its steps are
    /// over. What was due before the press comes first.
    fn slip_ends(&mut self, out: &mut Out) -> Option<Ends> {
        self.settle(true, out);
        if matches!(self.run.phase, Phase::Testing(_) | Phase::Over(_)) {
            return None;
        }
        let mut after = self.run.clone();
        after.slip(&self.world, &mut Out::new(out.now));
        let Phase::Over(ending) = after.phase else { return None };
        let ((step, nth), class) = (self.run.at(), self.world.class(ending));
        Some(Ends::Slip { step, nth, class })
    }

    /// Brings about everything that is due; with `before` only what was due before this moment.
    fn settle(&mut self, before: bool, out: &mut Out) {
        let limit = if before { out.now.before(Millis(1)) } else { out.now };
        let earlier = std::mem::take(&mut out.cue_given);
        for _ in 0..MOST_CHANGES {
            match self.run.next_due(&self.world, out.now) {
                Some((at, due)) if at <= limit => self.run.fire(&self.world, at, due, out),
                next => {
                    self.due = next.map(|(at, _)| at);
                    if out.cue_given {
                        self.undo = None;
                    }
                    out.cue_given |= earlier;
                    return self.tests_over();
                }
            }
        }
        self.run.phase = Phase::Over(built_in(EndingClass::Unsure));
        self.due = None;
    }

    fn tests_over(&mut self) {
        let Phase::Testing(tests) = &self.run.phase else { return };
        if let Some(ending) = tests.over() {
            self.run.phase = Phase::Over(ending);
        }
    }

    /// The computer was away. Reports may come that much later; nothing is decided before the person
    /// could be heard again.
    fn away(&mut self, kind: GapKind, length: Millis, out: &mut Out) {
        let length = length.max(Millis::ZERO);
        out.notice(Notice::WasAway(kind, length));
        self.run.gap = Some(Gap { kind, length, end: out.now });
        if kind != GapKind::Late {
            self.run.prepare_again(&self.world, out.now);
        }
        if let Phase::Acting(acting) = &mut self.run.phase {
            let reports = self.world.reports(self.world.step(acting.last())).hi;
            let since = out.now.since(acting.called).max(Millis::ZERO);
            let acting = Arc::make_mut(acting);
            acting.away = acting.away.plus(length.min(since));
            acting.grace = acting.grace.max(out.now.after(reports));
        }
    }

    fn press(&mut self, press: Press, out: &mut Out) {
        match press {
            Press::SayAgain => self.run.again(&self.world, out),
            Press::TakeBack => self.take_back(out),
            Press::Hold if !matches!(self.run.phase, Phase::Testing(_)) => {
                self.run.hold(&self.world, out);
            }
            Press::Hold | Press::Stop => {}
            Press::SomethingElse if self.lists() => self.run.listing = !self.run.listing,
            Press::Done | Press::Answer(_) | Press::SomethingElse | Press::Slip => {
                self.taken(out, |world, run, out| press_taken(world, run, press, out));
            }
        }
    }

    fn typed(&mut self, text: &str, out: &mut Out) {
        self.taken(out, |world, run, out| match run.phase.clone() {
            Phase::Testing(mut tests) => {
                tests.typed(world, run, text, out);
                run.phase = Phase::Testing(tests);
            }
            Phase::Asks(n, _) => run.typed(world, n, text, out),
            _ => {}
        });
    }

    /// Whether *something else* shows the numbered answers here; elsewhere it is a no.
    fn lists(&self) -> bool {
        !matches!(self.run.phase, Phase::Testing(_) | Phase::Asks(_, Some(_)) | Phase::Over(_))
    }

    /// Does what a press asks for; if that changed anything, it can be taken back.
    fn taken(&mut self, out: &mut Out, act: impl FnOnce(&World, &mut Run, &mut Out)) {
        let before = self.run.clone();
        let facts = out.effects.len();
        act(&self.world, &mut self.run, out);
        let refused = out.effects[facts..].iter().any(is_refusal);
        if !refused && out.effects.len() > facts {
            self.undo = Some(Box::new(before));
        }
    }

    /// Back to the state before the last press. The time that has passed since then has passed.
    fn take_back(&mut self, out: &mut Out) {
        let Some(before) = self.undo.take() else { return out.ring(Tone::Tick) };
        let voice_free = self.run.voice_free;
        self.run = *before;
        self.run.voice_free = self.run.voice_free.max(voice_free);
        out.notice(Notice::TakenBack(self.run.step));
    }

    /// Asked for when everything was settled.
    fn next_wakeup(&self, now: Moment) -> Option<Moment> {
        let due = self.due.filter(|at| at.0 < i64::MAX);
        let changes = self.run.changes(now);
        due.into_iter().chain(changes).filter(|at| *at > now).min()
    }

    /// Rings the last ten and five seconds of a window that counts down.
    fn ring_seconds(&mut self, count: Option<CountTo>, out: &mut Out) {
        let counts = |what| matches!(what, CountWhat::LatestCue | CountWhat::LatestAct);
        let Some(count) = count.filter(|count| counts(count.what)) else {
            self.run.seconds = None;
            return;
        };
        let left = count.at.since(out.now);
        let first = |left: Millis| match left {
            left if left > Millis::secs(10) => 10,
            left if left > Millis::secs(5) => 5,
            _ => 0,
        };
        let mut seconds = match self.run.seconds {
            Some(seconds) if seconds.zero == count.at => seconds,
            _ => Seconds { zero: count.at, next: first(left) },
        };
        if seconds.next > 0 && left <= Millis::secs(seconds.next) {
            let five = left <= Millis::secs(5);
            out.ring(if five { Tone::FiveLeft } else { Tone::TenLeft });
            seconds.next = if five { 0 } else { 5 };
        }
        self.run.seconds = Some(seconds);
    }
}

fn is_refusal(effect: &Effect) -> bool {
    let refusals = [Notice::TooEarly, Notice::NotUnderstood, Notice::NotPlausible];
    matches!(effect, Effect::Record(Fact::Noticed(notice)) if refusals.contains(notice))
}

/// A press that reports or answers something.
fn press_taken(world: &World, run: &mut Run, press: Press, out: &mut Out) {
    match (run.phase.clone(), press) {
        // What was due before the press has ended the run.
        (Phase::Over(_), _) => {}
        (Phase::Testing(_), Press::Slip) => out.refuse(Notice::NotUnderstood),
        (Phase::Testing(mut tests), press) => {
            tests.press(world, run, press, out);
            for (thing, class) in std::mem::take(&mut tests.failed) {
                run.verdicts.insert(thing, (class, run.step));
            }
            run.phase = Phase::Testing(tests);
        }
        (_, Press::Slip) => run.slip(world, out),
        (Phase::Asks(..), Press::Answer(n)) if run.listing => run.number(world, n, out),
        (Phase::Asks(n, typed), press) => run.asked(world, n, typed, press, out),
        (_, Press::Answer(n)) => run.number(world, n, out),
        (_, Press::Done) => run.done(world, out),
        _ => {}
    }
}

impl Run {
    /// The step going on, and how often it was entered.
    fn at(&self) -> (StepIx, u32) {
        (self.step, self.entered.get(self.step.0 as usize).copied().unwrap_or(0))
    }

    /// A text typed for a reading of the step.
    fn typed(&mut self, world: &World, n: u32, text: &str, out: &mut Out) {
        let reading = world.asked(self.step, n);
        let reading = reading.and_then(|id| world.procedure.readings.get(id.0 as usize));
        let Some(reading) = reading else { return };
        match reading::read(&reading.answer, text) {
            Ok(value) => {
                let as_typed = reading::as_typed(&value, text);
                self.phase = Phase::Asks(n, Some(value.clone()));
                if as_typed {
                    self.asked(world, n, Some(value), Press::Done, out);
                }
            }
            Err(reading::Refused::NotUnderstood) => out.refuse(Notice::NotUnderstood),
            Err(reading::Refused::NotPlausible) => out.refuse(Notice::NotPlausible),
        }
    }

    /// A press while a reading of the step is asked.
    fn asked(
        &mut self,
        world: &World,
        n: u32,
        typed: Option<crate::procedure::plan::Value>,
        press: Press,
        out: &mut Out,
    ) {
        let Some(id) = world.asked(self.step, n) else { return };
        let value = match (press, typed) {
            (Press::Done | Press::Answer(1), Some(value)) => value,
            (Press::Answer(k), None) => {
                match crate::guide::preparation::nth_choice(&world.procedure, id, k) {
                    Some(value) => value,
                    None => return out.refuse(Notice::NotUnderstood),
                }
            }
            (_, Some(_)) => {
                self.asks(world, n, out.now, out);
                return;
            }
            _ => return out.refuse(Notice::NotUnderstood),
        };
        let choices = Arc::make_mut(&mut self.choices);
        choices.answers.retain(|(r, _)| *r != id);
        choices.answers.push((id, value.clone()));
        out.record(Fact::Answered(Question::Reading(id), Some(value)));
        self.asks(world, n.saturating_add(1), out.now, out);
    }
}
