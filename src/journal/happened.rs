//! What an `input` and an `effect` line of a record hold: version 1's own types, every text in full.
//!
//! Takes nothing; gives serde types. A record is shown as it was recorded by every later version,
//! so nothing here is a number into a table that only the writing version had: steps carry their
//! names and lines, prompts their words. The faces word these same types during a live run, so a
//! replay can show nothing else than what stood there. `convert` fills them.

use serde::{Deserialize, Serialize};

use super::entry::EndingClass;
pub use super::outcome::Outcome;
pub use super::question::Question;

/// Something that the person, or the world through the person, did.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "input", rename_all = "snake_case")]
pub enum Input {
    /// Time had passed.
    Wake,
    /// Done.
    Done,
    /// A numbered answer, from 1.
    Answer {
        /// Which.
        number: u8,
    },
    /// Something else.
    SomethingElse,
    /// I did something else than told.
    Slip,
    /// Say it again.
    SayAgain,
    /// Take the last press back.
    TakeBack,
    /// Hold at the next resting point, or go on.
    Hold,
    /// Stop.
    Stop,
    /// A text, as typed.
    Typed {
        /// The text.
        text: String,
    },
    /// A guard was lost.
    Lost {
        /// Its number in the plan.
        guard: u32,
        /// What must stay true.
        text: String,
    },
    /// The computer was away.
    Away {
        /// How.
        how: Away,
        /// How long.
        ms: i64,
    },
}

/// How the computer was away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Away {
    /// It slept.
    Slept,
    /// The program was stopped.
    Stopped,
    /// It woke late.
    Late,
}

/// Something that the guide did.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "effect", rename_all = "snake_case")]
pub enum Effect {
    /// It showed this.
    Show(Box<Shown>),
    /// It said this.
    Say {
        /// As which cue.
        cue: Cue,
        /// The words.
        text: String,
    },
    /// It rang this.
    Ring {
        /// Which rhythm.
        tone: Tone,
    },
    /// It took note of this.
    Fact {
        /// What.
        fact: Fact,
    },
    /// The run ended.
    Ended {
        /// The ending's name.
        ending: String,
        /// Its class.
        class: EndingClass,
        /// What the person is told, where the author says.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        text: Option<String>,
        /// The script to go on with.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        hand_over: Option<String>,
    },
}

/// Which cue a text belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cue {
    /// Prepare.
    Prepare,
    /// Now.
    Now,
    /// A caution.
    Caution,
    /// A question.
    Question,
    /// Repeated on demand.
    Again,
    /// A notice.
    Notice,
}

/// The sounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Tone {
    /// Prepare.
    Prepare,
    /// Now.
    Now,
    /// One tick of a paced count.
    Tick,
    /// Something was missed or not taken.
    Missed,
    /// Ten seconds are left.
    TenLeft,
    /// Five seconds are left.
    FiveLeft,
    /// Let go.
    LetGo,
}

/// A step, found again in the script by a person and by a program.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StepAt {
    /// Its number in the plan, from 0.
    pub ix: u32,
    /// Its name in the script.
    pub name: String,
    /// Its line, from 1.
    pub line: u32,
    /// Its file, where it is not the script itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<String>,
    /// Which turn of how many, from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turn: Option<(u32, u32)>,
}

/// Everything that the faces showed at once.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shown {
    /// Where in the whole.
    pub stage: Stage,
    /// The step, if one was going on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<StepAt>,
    /// Steps begun, steps in all.
    pub progress: (u32, u32),
    /// Who acts, if not the operator.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub who: Option<String>,
    /// Labels of what is in the hands.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hands: Vec<String>,
    /// What to do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub act: Option<String>,
    /// Equally good ways to do it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub ways: Vec<String>,
    /// What lies at a distance meanwhile: its label, and where.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub away: Vec<(String, String)>,
    /// How grave it is, where `act` is a caution before its step.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub caution: Option<Signal>,
    /// What a press of *done* means.
    pub means: Means,
    /// The signs of the hoped-for answer, where a press reports it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hoped: Vec<Sign>,
    /// What comes next.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub next: Option<String>,
    /// The state of the window.
    #[serde(default, skip_serializing_if = "Window::is_none")]
    pub window: Window,
    /// What the digits count to.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<Count>,
    /// Numbered answers on offer.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub answers: Vec<Answer>,
    /// The question.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub question: Option<Question>,
    /// Something said once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub notice: Option<Notice>,
    /// Whether the run is held.
    #[serde(default, skip_serializing_if = "Hold::is_no")]
    pub hold: Hold,
}

/// Where in the whole the guide is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Questions before the run.
    #[default]
    Preparing,
    /// A step awaits its moment.
    BeforeCue,
    /// The act or its answer is awaited.
    Acting,
    /// A cool-down or a quiet time passes.
    Waiting,
    /// Functional tests.
    Testing,
    /// It has ended.
    Ended,
}

/// What a press of *done* means.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Means {
    /// Nothing now.
    Nothing,
    /// I understand.
    Understood,
    /// Yes.
    Yes,
    /// The act is done.
    ActDone,
    /// The first answer of the step came.
    AnswerCame,
    /// Go on from a rest.
    GoOn,
    /// No press is needed.
    NoPress,
}

/// The state of a window.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Window {
    /// No window.
    #[default]
    None,
    /// Not yet.
    NotYet,
    /// Starting is safe.
    Safe,
    /// Starting is allowed, but it is not proven that the window can be met.
    AtRisk,
    /// Too late to start safely.
    TooLate,
    /// Closed.
    Closed,
}

impl Window {
    fn is_none(&self) -> bool {
        *self == Window::None
    }
}

/// What the digits count to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Count {
    /// Zero is here, in milliseconds since the run's start.
    pub to: i64,
    /// What happens there.
    pub what: CountWhat,
    /// The binding sentence.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub why: Option<Why>,
}

/// What happens at the count's zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CountWhat {
    /// The cue is given.
    Cue,
    /// The latest safe cue.
    LatestCue,
    /// The latest act.
    LatestAct,
    /// Silence is declared.
    Silence,
    /// Let go.
    LetGo,
    /// A cool-down ends.
    CoolDown,
    /// The step ends by itself.
    StepOver,
}

/// The sentence that binds a moment.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Why {
    /// Its line, from 1.
    pub line: u32,
    /// Its length.
    pub ms: i64,
    /// The step that it is measured from.
    pub after: String,
    /// Which moment of that step; records of the first versions do not say.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub event: Option<Mark>,
    /// What kind of sentence it is.
    #[serde(default, skip_serializing_if = "Sentence::is_window")]
    pub is: Sentence,
}

/// What kind of sentence binds a moment.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sentence {
    /// A window of a step.
    #[default]
    Window,
    /// A limit on a stretch of steps.
    Limit,
    /// How long something is held.
    Hold,
}

impl Sentence {
    fn is_window(&self) -> bool {
        *self == Sentence::Window
    }
}

/// One numbered answer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Answer {
    /// These signs appear.
    Met {
        /// All of them.
        signs: Vec<Sign>,
    },
    /// Nothing came.
    Nothing,
    /// None of these.
    NoneOfThese,
    /// I cannot do it.
    Cannot,
    /// A guard was lost.
    Lost {
        /// What must stay true, or must not be done.
        text: String,
        /// Whether it must not be done.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        forbids: bool,
    },
    /// A choice.
    Choice {
        /// Its words.
        text: String,
    },
}

/// Something that can be sensed.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sign {
    /// By which sense.
    pub sense: Sense,
    /// What.
    pub object: String,
    /// How often, where that is what makes it this sign.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub times: Option<u32>,
    /// In which state, where that is what makes it this sign.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<String>,
}

/// By which sense.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Sense {
    /// With the eyes.
    See,
    /// With the ears.
    Hear,
    /// By touch.
    Feel,
    /// A text on a display.
    Read,
}

/// How grave a caution is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Signal {
    /// Will cause death or serious injury.
    Danger,
    /// Could cause death or serious injury.
    Warning,
    /// Could cause minor or moderate injury.
    Caution,
    /// Not about injury.
    Notice,
}

/// A value that was given.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Value {
    /// In thousandths of the unit.
    Number {
        /// Thousandths.
        thousandths: i64,
        /// The unit; empty where none is known.
        unit: String,
    },
    /// A text.
    Text(String),
}

/// Something said once on every face.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "says", rename_all = "snake_case")]
pub enum Notice {
    /// A press came too early.
    TooEarly,
    /// A typed value was not understood.
    NotUnderstood,
    /// A typed value is not plausible.
    NotPlausible,
    /// The window closed first.
    Late {
        /// Of this step.
        step: StepAt,
        /// The sentence that decided it; the records of the first versions do not say.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        why: Option<Why>,
    },
    /// The window closed while the computer was away.
    Unattended {
        /// Of this step.
        step: StepAt,
        /// How it was away.
        how: Away,
        /// How long.
        ms: i64,
    },
    /// The computer was away.
    WasAway {
        /// How.
        how: Away,
        /// How long.
        ms: i64,
    },
    /// Nothing was seen in time.
    Silence {
        /// In this step.
        step: StepAt,
    },
    /// An answer outside its declared bounds, as the first versions recorded it.
    OutOfBounds {
        /// In this step.
        step: StepAt,
        /// Not before.
        earliest: i64,
        /// Not after.
        latest: i64,
    },
    /// An act or an answer outside its declared bounds.
    Broken {
        /// In this step.
        step: StepAt,
        /// Which moment.
        mark: Mark,
        /// By at least so much; negative: sooner.
        ms: i64,
    },
    /// What lies ahead was looked at again after that.
    Rechecked {
        /// What came of it.
        rest: Rest,
    },
    /// A guard was lost.
    GuardLost {
        /// What must stay true.
        text: String,
    },
    /// A slip.
    Slipped {
        /// In this step.
        step: StepAt,
    },
    /// A press was taken back.
    TakenBack {
        /// Of this step.
        step: StepAt,
    },
    /// Beginning again.
    Again {
        /// This try.
        nth: u32,
        /// Of so many.
        of: u32,
    },
    /// The tries are spent.
    TriesSpent,
    /// Let go first.
    LetGoFirst,
    /// Where the run will be held.
    HoldAt {
        /// Before this step, where it is known.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        step: Option<StepAt>,
    },
    /// A thing has ended.
    ThingEnded {
        /// Its label.
        label: String,
        /// How.
        class: EndingClass,
    },
    /// Keep the vehicle awake.
    KeepAwake {
        /// How.
        text: String,
    },
    /// A cue was late.
    CueLate {
        /// How late.
        ms: i64,
    },
    /// A point of no return was crossed.
    NoReturn {
        /// What is past changing.
        text: String,
    },
}

/// What is left to hope for after a bound was broken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Rest {
    /// Every window up to the next resting point can still be met.
    Holds,
    /// So can those that are proven; others are at risk as before.
    HoldsInPart,
    /// A sentence can no more be met for certain.
    Lost {
        /// Whose it is.
        step: StepAt,
        /// The sentence.
        why: Why,
    },
}

/// Whether the run is held.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Hold {
    /// It runs.
    #[default]
    No,
    /// It will be held.
    Asked {
        /// Before this step, where it is known.
        before: Option<StepAt>,
    },
    /// It is held.
    Held,
}

impl Hold {
    fn is_no(&self) -> bool {
        *self == Hold::No
    }
}

/// A moment of a step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PointAt {
    /// The step.
    pub step: StepAt,
    /// Which moment of it.
    pub mark: Mark,
}

/// The moments of a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// The prepare cue begins.
    Prepare,
    /// The prepare cue has ended.
    Prepared,
    /// The now cue begins.
    Called,
    /// The now cue has ended.
    Heard,
    /// The act begins.
    Begun,
    /// The act is complete.
    Done,
    /// The guide says let go.
    LetGo,
    /// What was held is free.
    Released,
    /// The sign begins.
    Answered,
    /// The report reaches the guide.
    Reported,
    /// The step is over.
    Over,
}

/// What the guide took note of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum Fact {
    /// A question was answered.
    Answered {
        /// Which.
        question: Question,
        /// With what; nothing for a plain yes.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        value: Option<Value>,
    },
    /// The steps begin.
    Chosen {
        /// How many of each group.
        counts: Vec<(String, u32)>,
    },
    /// A step was entered.
    Entered {
        /// Which.
        step: StepAt,
        /// For the nth time.
        nth: u32,
        /// What to do if the run breaks off here, where the author says.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        break_off: Option<String>,
    },
    /// A moment of a step, as far as it is known.
    Happened {
        /// Which.
        point: PointAt,
        /// Not before.
        earliest: i64,
        /// Not after.
        latest: i64,
    },
    /// A cue was given.
    CueGiven {
        /// Which.
        point: PointAt,
        /// When it was due.
        due: i64,
        /// When it was given.
        given: i64,
    },
    /// A step's outcome.
    Outcome {
        /// Of this step.
        step: StepAt,
        /// What.
        outcome: Outcome,
    },
    /// How much of a window was left.
    Margin {
        /// Of this step.
        step: StepAt,
        /// The window's line; 0 where the window is not known.
        line: u32,
        /// The window's own length, where it has an upper end.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        window: Option<i64>,
        /// What was left.
        left: i64,
    },
    /// A try was spent.
    Tried {
        /// This try.
        nth: u32,
        /// Of so many.
        of: u32,
    },
    /// A thing ended.
    Thing {
        /// Its label.
        label: String,
        /// How.
        class: EndingClass,
    },
    /// A point of no return was crossed.
    NoReturn {
        /// What is past changing.
        text: String,
    },
    /// A bound of the script was broken by what happened.
    Broken {
        /// In this step.
        step: StepAt,
        /// Which moment.
        mark: Mark,
        /// By how much.
        ms: i64,
    },
    /// After a broken bound the rest was looked at again, before this step.
    Rechecked {
        /// Before this step.
        step: StepAt,
        /// What came of it.
        rest: Rest,
    },
    /// Something was said once.
    Noticed {
        /// What.
        notice: Notice,
    },
    /// The run was held, or goes on.
    Held {
        /// Whether it is held.
        held: bool,
    },
}
