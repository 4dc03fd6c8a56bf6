//! One run: the operator listens to the guide, acts, watches the vehicle, and presses.
//!
//! Takes a guide and what is to go wrong; gives what a witness makes of everything that goes in and
//! comes out. A press that has become pointless, because the step ended another way, is not made.

use crate::clock::{Millis, Moment, Span};
use crate::guide::cue::{
    AnswerText, Effect, Fact, Frame, Input, Means, Notice, OutcomeKind, Press, Question, Stage,
};
use crate::guide::{Guide, Saved};
use crate::procedure::model::{EndingClass, EndingId, ItemClass, Procedure};
use crate::procedure::plan::{Choices, Plan, Report, StepIx, Thing};
use crate::procedure::timing::{Mark, Point, SpeechLengths, Why};
use crate::vehicle::acts::{Stretch, World};
use crate::vehicle::answers::{answers, input_for};
use crate::vehicle::draw::{Draw, What};
use crate::vehicle::{Fault, Transcript, Truth, Witness, Wrong};
use std::collections::BTreeMap;
use std::sync::Arc;

/// How long the operator takes over a question.
const THINKS: Span = Span::new(Millis(500), Millis(2000));
/// From the press that shows the numbered answers to the press of the number, and from a slip to the press
/// that says that it was meant.
const FINDS: Millis = Millis(400);
/// More inputs than this in one run are a standstill in disguise.
const MOST_INPUTS: usize = 200_000;
/// How long the operator waits in front of a guide that waits for them, having nothing to report.
const PATIENCE: Millis = Millis::secs(60);
/// After so long without a press of their own the operator gives up, whatever the guide still says.
const LONGEST_WAIT: Millis = Millis::secs(2 * 60 * 60);

/// Why the operator is about to press.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Reason {
    /// To report a step; pointless once it has ended.
    Step,
    /// To answer a question; pointless once another is asked.
    Question,
    /// Trouble that was ordered.
    Trouble,
}

/// What a frame asks of the person: two frames that ask the same are one question.
type Asked = (Stage, Option<StepIx>, Option<Question>, Option<u32>, Means);

/// A run going on.
pub(super) struct Play<W> {
    pub guide: Guide,
    procedure: Arc<Procedure>,
    plan: Option<Arc<Plan>>,
    speech: Arc<SpeechLengths>,
    choices: Choices,
    faults: Vec<Fault>,
    draw: Draw,
    now: Moment,
    /// When the operator last did anything.
    pressed: Moment,
    /// What the operator is about to do: when, what, and why.
    pending: Vec<(Moment, Input, Reason)>,
    stretch: Option<Stretch>,
    /// How often each step was done.
    times: BTreeMap<StepIx, u32>,
    learned: BTreeMap<Thing, ItemClass>,
    /// The step of the script entered last.
    reached: Option<StepIx>,
    /// What the last frame asked, so that it is answered once.
    asked: Option<Asked>,
    /// How many questions were answered.
    thought: u32,
    inputs: usize,
    wants: Option<AnswerText>,
    gone: bool,
    /// The sentence by which the guide said that it is too late, since the last outcome.
    late: Option<Why>,
    pub truth: Truth,
    pub ending: Option<(EndingId, EndingClass)>,
    pub witness: W,
}

/// Plays one run to its end. `speech` are the lengths that the guide was told.
#[must_use]
pub fn play(
    guide: Guide,
    procedure: &Arc<Procedure>,
    speech: &SpeechLengths,
    seed: u64,
    faults: &[Fault],
    choices: &Choices,
) -> Transcript {
    play_drawn(guide, procedure, speech, Draw::new(seed), faults, choices)
}

/// The same with draws of another kind.
#[must_use]
pub fn play_drawn(
    guide: Guide,
    procedure: &Arc<Procedure>,
    speech: &SpeechLengths,
    draw: Draw,
    faults: &[Fault],
    choices: &Choices,
) -> Transcript {
    let choices = answers(procedure, choices);
    let witness = Transcript::default();
    let mut play = Play::new(guide, (procedure, speech), draw, faults, choices, witness);
    play.begin();
    while play.ending.is_none() && play.one() {}
    let Play { witness, truth, ending, .. } = play;
    Transcript { ending, truth, ..witness }
}

impl<W: Witness> Play<W> {
    pub fn new(
        guide: Guide,
        (procedure, speech): (&Arc<Procedure>, &SpeechLengths),
        draw: Draw,
        faults: &[Fault],
        choices: Choices,
        witness: W,
    ) -> Play<W> {
        Play {
            guide,
            procedure: Arc::clone(procedure),
            plan: None,
            speech: Arc::new(speech.clone()),
            choices,
            faults: faults.to_vec(),
            draw,
            now: Moment::START,
            pressed: Moment::START,
            pending: Vec::new(),
            stretch: None,
            times: BTreeMap::new(),
            learned: BTreeMap::new(),
            reached: None,
            asked: None,
            thought: 0,
            inputs: 0,
            wants: None,
            gone: false,
            late: None,
            truth: Truth::default(),
            ending: None,
            witness,
        }
    }

    pub fn begin(&mut self) {
        let effects = self.guide.start(self.now);
        self.follow(&effects);
        self.witness.note(self.now, None, effects);
    }

    /// Everything as it was when the guide gave this state.
    pub fn again(&mut self, saved: &Saved, at: Moment, draw: Draw, faults: &[Fault]) {
        self.guide.restore(saved);
        self.faults.clear();
        self.faults.extend_from_slice(faults);
        self.draw = draw;
        (self.now, self.pressed) = (at, at);
        (self.stretch, self.asked, self.wants, self.ending) = (None, None, None, None);
        (self.thought, self.inputs, self.gone) = (0, 0, false);
        (self.reached, self.late) = (None, None);
        self.pending.clear();
        self.times.clear();
        self.learned.clear();
        self.truth.clear();
    }

    /// One input, whatever is next; `false` when there were far too many.
    pub fn one(&mut self) -> bool {
        let Some((input, effects)) = self.next() else { return false };
        self.witness.note(self.now, Some(input), effects);
        true
    }

    /// The same for another witness.
    pub fn one_for(&mut self, witness: &mut impl Witness) -> bool {
        let Some((input, effects)) = self.next() else { return false };
        witness.note(self.now, Some(input), effects);
        true
    }

    fn next(&mut self) -> Option<(Input, Vec<Effect>)> {
        self.inputs += 1;
        if self.inputs > MOST_INPUTS {
            return None;
        }
        let own = self.pending.iter().map(|(at, ..)| *at).min();
        let wake = self.guide.next_wakeup();
        let (at, input) = match (own, wake) {
            (Some(own), wake) if wake.is_none_or(|wake| own <= wake) => {
                (own, self.next_pending(own))
            }
            (_, Some(wake)) if wake.since(self.pressed) < LONGEST_WAIT => (wake, Input::Wake),
            // Nobody has anything to do: the operator gives up.
            _ => (self.now.after(PATIENCE), Input::Press(Press::Stop)),
        };
        self.now = self.now.max(at);
        if input != Input::Wake {
            self.pressed = self.now;
        }
        let again = input == Input::Press(Press::Stop) && own.is_none();
        let effects = self.guide.handle(input.clone(), self.now);
        self.follow(&effects);
        if again && self.ending.is_none() {
            let at = self.now.after(Millis(800));
            self.pending.push((at, Input::Press(Press::Stop), Reason::Trouble));
        }
        Some((input, effects))
    }

    fn next_pending(&mut self, at: Moment) -> Input {
        let found = self.pending.iter().position(|(when, ..)| *when == at);
        found.map_or(Input::Wake, |i| self.pending.remove(i).1)
    }

    /// Hears, sees and feels what the guide does.
    pub fn follow(&mut self, effects: &[Effect]) {
        if self.plan.is_none() {
            self.plan = self.guide.shared_plan();
        }
        for effect in effects {
            match effect {
                Effect::Record(fact) => self.fact(fact),
                Effect::Show(frame) => self.see(frame),
                Effect::Ended(ending, class) => self.ending = Some((*ending, *class)),
                Effect::Say(..) | Effect::Ring(_) | Effect::WakeAt(_) => {}
            }
        }
    }

    fn fact(&mut self, fact: &Fact) {
        match fact {
            Fact::CueGiven { point: Point { step, mark: Mark::Called }, given, .. } => {
                self.called(*step, *given);
            }
            Fact::CueGiven { point: Point { mark: Mark::LetGo, .. }, given, .. } => {
                self.let_go(*given);
            }
            Fact::Noticed(Notice::Late(_, why)) => self.late.clone_from(why),
            Fact::Outcome(step, kind) => {
                let late = self.late.take();
                if *kind == OutcomeKind::Late {
                    self.gave_up(*step, late.as_ref());
                }
                self.pending.retain(|(.., why)| *why != Reason::Step);
                self.wants = None;
            }
            Fact::Entered(step, _) => self.entered(*step),
            Fact::Thing(thing, class) => {
                self.learned.insert(*thing, *class);
            }
            _ => {}
        }
    }

    /// A window closed before the act came: the step's own, or one further ahead.
    fn gave_up(&mut self, step: StepIx, late: Option<&Why>) {
        let Some(plan) = self.plan.clone() else { return };
        let world = World { procedure: &self.procedure, plan: &plan, speech: &self.speech };
        match late.filter(|why| why.step > step) {
            Some(ahead) => world.closed_ahead(ahead, self.now, &mut self.truth),
            None => world.closed(step, self.now, &mut self.truth),
        }
    }

    /// The step that goes straight on after an answer has no cue: the hands go on by themselves.
    fn entered(&mut self, step: StepIx) {
        let Some(plan) = self.plan.clone() else { return };
        if step.0 < plan.main {
            if self.reached.is_some_and(|reached| step <= reached) {
                self.truth.tries.forget_from(step);
            }
            self.reached = Some(step);
        }
        let straight = plan.steps.get(step.0 as usize).is_some_and(|s| s.straight_on);
        let Some(before) = self.stretch.take().filter(|before| straight && before.over()) else {
            return;
        };
        let (procedure, speech) = (Arc::clone(&self.procedure), Arc::clone(&self.speech));
        let world = World { procedure: &procedure, plan: &plan, speech: &speech };
        let mut stretch = world.stretch(step, before.time, before.end(), &self.truth);
        world.go_on(&mut stretch, &mut self.draw, &mut self.truth);
        self.stretch = Some(stretch);
        self.watch(&world, None);
    }

    /// What goes wrong in a step this time.
    fn wrong(&self, step: StepIx, time: u32) -> Option<Wrong> {
        self.faults.iter().find_map(|fault| match fault {
            Fault::Step(at, times, wrong) if *at == step && time <= *times => Some(*wrong),
            _ => None,
        })
    }

    fn called(&mut self, step: StepIx, at: Moment) {
        let Some(plan) = self.plan.clone() else { return };
        let time = self.times.entry(step).or_insert(0);
        *time += 1;
        let time = *time;
        self.trouble(step, time, at);
        let (procedure, speech) = (Arc::clone(&self.procedure), Arc::clone(&self.speech));
        let world = World { procedure: &procedure, plan: &plan, speech: &speech };
        let mut stretch = world.stretch(step, time, at, &self.truth);
        let wrong = self.wrong(step, time).or_else(|| self.wrong(stretch.last, time));
        let slow = match wrong {
            Some(Wrong::Slow(more)) => more,
            _ => Millis::ZERO,
        };
        world.begin(&mut stretch, slow, &mut self.draw, &mut self.truth);
        self.stretch = Some(stretch);
        self.watch(&world, wrong);
    }

    /// What else was ordered for this cue.
    fn trouble(&mut self, step: StepIx, time: u32, at: Moment) {
        for fault in self.faults.clone() {
            match fault {
                Fault::Lost(guard, s, nth, after) if s == step && nth == time => {
                    self.pending.push((at.after(after), Input::Lost(guard), Reason::Trouble));
                }
                Fault::Gone(s) if s == step => self.gone = true,
                Fault::Stop(s) if s == step && time == 1 => {
                    for wait in [300, 900] {
                        let press = Input::Press(Press::Stop);
                        self.pending.push((at.after(Millis(wait)), press, Reason::Trouble));
                    }
                }
                _ => {}
            }
        }
    }

    fn let_go(&mut self, at: Moment) {
        let Some(plan) = self.plan.clone() else { return };
        let Some(mut stretch) = self.stretch.take() else { return };
        let (procedure, speech) = (Arc::clone(&self.procedure), Arc::clone(&self.speech));
        let world = World { procedure: &procedure, plan: &plan, speech: &speech };
        world.let_go(&mut stretch, at, &mut self.draw, &mut self.truth);
        let last = stretch.last;
        self.stretch = Some(stretch);
        let time = self.times.get(&last).copied().unwrap_or(1).max(1);
        let wrong = self.wrong(last, time);
        self.watch(&world, wrong);
    }

    /// The acts are done: what the vehicle answers, and when the operator presses.
    fn watch(&mut self, world: &World<'_>, wrong: Option<Wrong>) {
        let Some(stretch) = self.stretch.as_ref().filter(|stretch| stretch.over()) else { return };
        let step = world.plan.step(stretch.last);
        let ended = stretch.end();
        let accepted = stretch.accepted(&self.truth);
        let this = (stretch.last, stretch.time);
        let delay = world.report(this, &mut self.draw);
        let nth = match wrong {
            Some(Wrong::Answer(n)) => n as usize,
            _ => 0,
        };
        match wrong {
            Some(Wrong::Slip) => {
                // It may be asked whether that was meant.
                let first = ended.after(delay).before(FINDS).max(ended);
                return self.press(first, Input::Press(Press::Slip));
            }
            Some(Wrong::Cannot) => return self.list(ended.after(delay), AnswerText::Cannot),
            Some(Wrong::Other) => {
                let longest = step.met.iter().map(|met| met.delay.hi).max();
                let at = ended.after(longest.unwrap_or_default()).after(delay);
                return self.list(at, AnswerText::NoneOfThese);
            }
            Some(Wrong::NoPress | Wrong::Silence) => return,
            _ => {}
        }
        match step.report {
            Report::None => {}
            Report::Act => self.press(ended.after(delay), Input::Press(Press::Done)),
            Report::Answer if !accepted => {}
            Report::Answer => {
                let late = match wrong {
                    Some(Wrong::Late(late)) => late,
                    _ => Millis::ZERO,
                };
                let truth = &mut self.truth;
                let Some(known) = world.answer(this, nth, late, &mut self.draw, truth) else {
                    return;
                };
                match u32::try_from(nth) {
                    Ok(n) if n > 0 => self.list(known.after(delay), AnswerText::Met(n)),
                    _ => self.press(known.after(delay), Input::Press(Press::Done)),
                }
            }
        }
    }

    fn press(&mut self, at: Moment, input: Input) {
        if !self.gone {
            self.pending.push((at.max(self.now), input, Reason::Step));
        }
    }

    /// A numbered answer takes two presses: the list, then the number.
    fn list(&mut self, at: Moment, answer: AnswerText) {
        self.wants = Some(answer);
        self.press(at.before(FINDS), Input::Press(Press::SomethingElse));
    }

    /// Looks at what is shown, and answers what is asked.
    fn see(&mut self, frame: &Frame) {
        if let Some(wants) = self.wants {
            let found = frame.answers.iter().position(|answer| *answer == wants);
            if let Some(number) = found.and_then(|i| u8::try_from(i + 1).ok()) {
                self.wants = None;
                let at = self.now.after(FINDS);
                self.press(at, Input::Press(Press::Answer(number)));
            }
        }
        let waits = matches!(frame.means, Means::Understood | Means::Yes | Means::GoOn)
            || frame.question.is_some();
        let asked = (
            frame.stage,
            frame.step,
            frame.question.clone(),
            frame.act.map(|text| text.0),
            frame.means,
        );
        let stopping = frame.question == Some(Question::ReallyStop);
        if !waits || stopping || self.gone || frame.stage == Stage::Ended {
            self.asked = None;
            return;
        }
        if self.asked.as_ref() == Some(&asked) {
            return;
        }
        self.asked = Some(asked);
        let input = match &frame.question {
            Some(question) => self.answer_to(question),
            None => Input::Press(Press::Done),
        };
        if let Some(Question::ReallySlip(_)) = &frame.question {
            let at = self.now.after(FINDS);
            return self.pending.push((at, input, Reason::Step));
        }
        self.thought = self.thought.saturating_add(1);
        self.draw.about(StepIx(0), self.thought, What::Think);
        let at = self.now.after(self.draw.within(THINKS));
        self.pending.retain(|(.., why)| *why != Reason::Question);
        self.pending.push((at, input, Reason::Question));
    }

    fn answer_to(&self, question: &Question) -> Input {
        let fails = |thing: &Option<Thing>| self.faults.contains(&Fault::Fails(*thing));
        match question {
            Question::Test(_, thing) if fails(thing) => Input::Press(Press::SomethingElse),
            Question::Recount(n) if self.faults.contains(&Fault::Short) => {
                let recount = self.procedure.recounts.get(*n as usize);
                let before = recount.and_then(|recount| self.choices.answer(recount.reading));
                before.map_or(Input::Press(Press::Done), |value| {
                    Input::Typed(crate::vehicle::typed(value))
                })
            }
            _ => input_for(&self.procedure, &self.choices, &self.learned, question),
        }
    }
}
