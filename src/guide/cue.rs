//! What goes into the guide and what comes out of it: data, no sentences and no escape codes.
//!
//! Inputs are what a person (or the clock) did; effects are what faces show, say and ring, what the
//! record writes and when the guide wants to be woken. Texts are ids into the procedure's table.

use crate::clock::{Millis, Moment};
use crate::power::Assessment;
use crate::procedure::model::{EndingClass, EndingId, ItemClass, ItemId, ReadingId, TextId, Unit};
use crate::procedure::plan::{GuardIx, StepIx, Thing, Value};
use crate::procedure::timing::{Bracket, Mark, Point, Why};
use std::sync::Arc;

/// Everything that can happen to a guide.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Input {
    /// Time has passed; nothing else.
    Wake,
    /// A press.
    Press(Press),
    /// A text typed for the question on show, as typed.
    Typed(String),
    /// A guard was lost, or a forbidden thing was done.
    Lost(GuardIx),
    /// The computer was away: slept, stopped, or woke late. The moment is after the gap.
    Gap(GapKind, Millis),
}

/// What a press means. Faces map keys, pedals and taps to these.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Press {
    /// It is done, or: the hoped-for answer came.
    Done,
    /// The numbered answer, from 1.
    Answer(u8),
    /// Something else: shows the numbered answers.
    SomethingElse,
    /// I did something else than told.
    Slip,
    /// Say it again.
    SayAgain,
    /// Take the last press back.
    TakeBack,
    /// Hold at the next resting point; again: go on.
    Hold,
    /// Stop: asks once; the second stops.
    Stop,
}

/// How the computer was away.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum GapKind {
    /// The computer slept.
    Slept,
    /// The program was stopped.
    Stopped,
    /// It woke late.
    Late,
}

/// Everything that a guide can ask for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Effect {
    /// Show this, whole, until the next.
    Show(Arc<Frame>),
    /// Say this text.
    Say(TextId, Cue),
    /// Ring this.
    Ring(Tone),
    /// Write this down.
    Record(Fact),
    /// Wake me at this moment at the latest; replaces the one before.
    WakeAt(Moment),
    /// The run has ended. Nothing follows.
    Ended(EndingId, EndingClass),
}

/// Which cue a text belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Cue {
    /// What to take and where to stand.
    Prepare,
    /// Now.
    Now,
    /// A caution.
    Caution,
    /// A question before or after the steps.
    Question,
    /// Repeated on demand.
    Again,
    /// What was missed, lost, ended.
    Notice,
}

/// The sounds. Rhythms, not pitches, tell them apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Tone {
    /// Prepare.
    Prepare,
    /// Now.
    Now,
    /// One tick of a paced count.
    Tick,
    /// A window was missed, a guard lost, a press not taken.
    Missed,
    /// Ten seconds are left.
    TenLeft,
    /// Five seconds are left.
    FiveLeft,
    /// Let go.
    LetGo,
}

/// What the faces show: everything, each time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    /// Where in the whole the guide is.
    pub stage: Stage,
    /// The step, if one is going on.
    pub step: Option<StepIx>,
    /// The step whose act or answer a press reports: of a stretch of hands the last, while `step` is
    /// the one that the hands are at.
    pub reported: Option<StepIx>,
    /// How far: steps begun, steps in all (turns counted).
    pub progress: (u32, u32),
    /// What is, or must be, in the hands.
    pub hands: Vec<Thing>,
    /// What to do.
    pub act: Option<TextId>,
    /// What a press of *done* means now.
    pub means: Means,
    /// What comes next, where it is known.
    pub next: Option<TextId>,
    /// The state of the window.
    pub window: WindowState,
    /// What the digits count to.
    pub count: Option<CountTo>,
    /// Numbered answers on offer.
    pub answers: Vec<AnswerText>,
    /// The question on show.
    pub question: Option<Question>,
    /// Something to be said once on every face.
    pub notice: Option<Notice>,
    /// Whether a hold is asked for or going on.
    pub hold: HoldState,
}

/// Where in the whole the guide is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Stage {
    /// Questions before the run.
    Preparing,
    /// A step is being prepared or awaits its moment.
    BeforeCue,
    /// The now cue was given; the act or its answer is awaited.
    Acting,
    /// A cool-down or a quiet time passes.
    Waiting,
    /// Functional tests.
    Testing,
    /// It has ended.
    Ended,
}

/// What a press of *done* means.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Means {
    /// Nothing now.
    Nothing,
    /// I understand; go on.
    Understood,
    /// Yes.
    Yes,
    /// The act is done.
    ActDone,
    /// This answer came: the first of the step.
    AnswerCame,
    /// Go on from a rest.
    GoOn,
    /// No press is needed: the guide goes on by itself.
    NoPress,
}

/// The state of a window, the same on every face by word and shape.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum WindowState {
    /// No window.
    None,
    /// Starting is not allowed yet.
    NotYet,
    /// Starting is safe.
    Safe,
    /// Starting is allowed, but a window may be missed although everything goes by the script's bounds:
    /// it is not proven.
    AtRisk,
    /// Too late to start safely: keep still.
    TooLate,
    /// The window has closed.
    Closed,
}

/// What the digits count to. Digits round down and are never later than the true figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CountTo {
    /// Zero is here.
    pub at: Moment,
    /// What happens there.
    pub what: CountWhat,
    /// The binding sentence.
    pub why: Option<Why>,
}

/// What happens at the count's zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
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

/// One numbered answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum AnswerText {
    /// The n-th answer of the step (from 0).
    Met(u32),
    /// Nothing came.
    Nothing,
    /// None of these.
    NoneOfThese,
    /// I cannot do it.
    Cannot,
    /// A guard was lost.
    Lost(GuardIx),
    /// A choice of the question, by number.
    Choice(u32),
}

/// A question outside the steps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Question {
    /// It is a demonstration: is no real vehicle meant?
    Demonstration,
    /// Local rules and licensed practice come first: understood?
    LocalRules,
    /// Do you own it, or act with its owner's written permission?
    Ownership,
    /// An affirmation of the script, by number.
    Affirm(u32),
    /// A caution of the head, by number.
    Alert(u32),
    /// How many of this group?
    HowMany(ItemId, u32, u32),
    /// A reading.
    Reading(ReadingId),
    /// A value that was read back as this, to be taken with one press.
    ReadBack(ReadingId, Value),
    /// Something about the vehicle's battery.
    Battery(BatteryAsk),
    /// A number about the battery, in thousandths, that was read back, to be taken with one press.
    BatteryReadBack(BatteryAsk, i64),
    /// Whether the battery lasts for the run.
    BatteryJudged(Box<Assessment>),
    /// Is the secret at hand? By number.
    AtHand(u32),
    /// A gate does not hold, by number: `must` ends here, `prefer` asks for the choice.
    GateClosed(u32),
    /// A line of the checklist, by number.
    Checklist(u32),
    /// This item must be at hand.
    ItemAtHand(ItemId),
    /// All is ready: start?
    Start,
    /// A functional test, by number, of this thing.
    Test(u32, Option<Thing>),
    /// A count asked again, by number.
    Recount(u32),
    /// Stop? Asked while a window may be open.
    ReallyStop,
    /// Was something else done than told? The run would end by it, and so.
    ReallySlip(EndingClass),
}

/// What is asked about the vehicle's battery.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum BatteryAsk {
    /// How it is built.
    Kind,
    /// Its rest voltage, in volts.
    RestVoltage,
    /// The rest voltage once more, because the first can only be surface charge.
    RestVoltageAgain,
    /// Its 20-hour capacity, in ampere-hours.
    Capacity,
    /// Its reserve minutes, where the capacity is not known.
    ReserveMinutes,
    /// Its age, in years.
    Age,
    /// Its temperature, in degrees Celsius.
    Temperature,
    /// Its voltage 60 s after key on.
    KeyOnVoltage,
    /// The current with the key on, by a clamp, in amperes.
    Load,
    /// Whether a charger is connected.
    Charger,
    /// What the charger can give, in amperes.
    ChargerCurrent,
    /// The voltage with key and charger on.
    ChargerVoltage,
    /// The same two minutes later.
    ChargerVoltageAgain,
    /// How long the run shall last at most, in minutes, where the script bounds it nowhere.
    Limit,
}

impl BatteryAsk {
    /// Whether *not known* is an answer.
    #[must_use]
    pub const fn may_be_unknown(self) -> bool {
        matches!(
            self,
            BatteryAsk::RestVoltage
                | BatteryAsk::Capacity
                | BatteryAsk::ReserveMinutes
                | BatteryAsk::Age
                | BatteryAsk::KeyOnVoltage
                | BatteryAsk::Load
        )
    }

    /// The unit of the answer; `None` where it is no number.
    #[must_use]
    pub fn unit(self) -> Option<Unit> {
        use BatteryAsk as A;
        Some(match self {
            A::Kind | A::Charger => return None,
            A::RestVoltage
            | A::RestVoltageAgain
            | A::KeyOnVoltage
            | A::ChargerVoltage
            | A::ChargerVoltageAgain => Unit::Volt,
            A::Capacity => Unit::AmpereHour,
            A::ReserveMinutes | A::Limit => Unit::Count("minutes".to_owned()),
            A::Age => Unit::Count("years".to_owned()),
            A::Temperature => Unit::Celsius,
            A::Load | A::ChargerCurrent => Unit::Ampere,
        })
    }
}

/// Something said once on every face.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Notice {
    /// A press came before the act and its answer can have been.
    TooEarly,
    /// A typed value was not understood: ask again.
    NotUnderstood,
    /// A typed value is outside its plausible range.
    NotPlausible,
    /// The window of this step closed before the act was reported; the sentence that decided it.
    Late(StepIx, Option<Why>),
    /// The window closed while the computer was away: not missed by the person.
    Unattended(StepIx, GapKind, Millis),
    /// The computer was away this long.
    WasAway(GapKind, Millis),
    /// Nothing was seen in time.
    Silence(StepIx),
    /// An act or an answer outside its declared bounds, by at least so much; negative: sooner.
    Broken(StepIx, Mark, Millis),
    /// What lies ahead was looked at again after that.
    Rechecked(Rest),
    /// A guard was lost.
    GuardLost(GuardIx),
    /// A slip: what follows is another way.
    Slipped(StepIx),
    /// Taken back.
    TakenBack(StepIx),
    /// Beginning again: this try of so many.
    Again(u32, u32),
    /// The tries are spent.
    TriesSpent,
    /// Let go of what is held before anything else.
    LetGoFirst,
    /// The run will be held at the next resting point: before this step.
    HoldAt(Option<StepIx>),
    /// A thing has ended.
    ThingEnded(Thing, ItemClass),
    /// Do this to keep the vehicle awake.
    KeepAwake(TextId),
    /// A cue was given this much late.
    CueLate(Millis),
    /// A point of no return was crossed, by number.
    NoReturn(u32),
}

/// What is left to hope for after a bound was broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rest {
    /// Every window up to the next resting point can still be met.
    Holds,
    /// So can those that are proven; others are at risk as before.
    HoldsInPart,
    /// This sentence can no more be met for certain.
    Lost(Why),
}

/// Whether the run is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum HoldState {
    /// It runs.
    No,
    /// It will be held before this step (or when it becomes known).
    Asked(Option<StepIx>),
    /// It is held.
    Held,
}

/// What is written down beyond the inputs themselves.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fact {
    /// An answer to a question.
    Answered(Question, Option<Value>),
    /// The steps begin: what was chosen.
    Chosen(Vec<(ItemId, u32)>),
    /// A step was entered, for the nth time (from 1).
    Entered(StepIx, u32),
    /// A moment of a step, as far as it is known.
    Happened(Point, Bracket),
    /// A cue was due and given.
    CueGiven {
        /// Which.
        point: Point,
        /// When it was due.
        due: Moment,
        /// When it was given.
        given: Moment,
    },
    /// A step's outcome.
    Outcome(StepIx, OutcomeKind),
    /// How much of a window was left when its act was done at the latest (negative: missed).
    Margin {
        /// The step.
        step: StepIx,
        /// Which of its windows.
        window: u32,
        /// What was left.
        left: Millis,
    },
    /// A retry was taken: this try of so many.
    Tried(u32, u32),
    /// A thing ended.
    Thing(Thing, ItemClass),
    /// A point of no return was crossed.
    NoReturn(u32),
    /// A bound of the script was broken by what happened.
    Broken(StepIx, Mark, Millis),
    /// After a broken bound the rest was looked at again, before this step.
    Rechecked(StepIx, Rest),
    /// Something said once.
    Noticed(Notice),
    /// The run was held, or goes on.
    Held(bool),
}

/// How a step ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum OutcomeKind {
    /// Acted, no sign.
    Done,
    /// The nth answer (from 0).
    Met(u32),
    /// Nothing by the time.
    Silent,
    /// Another answer.
    Other,
    /// The person cannot do it.
    Cannot,
    /// The person did something else.
    Slip,
    /// The window closed first.
    Late,
    /// A guard was lost.
    LostGuard(GuardIx),
    /// Over by the guide's clock, nobody tells.
    Unreported,
}
