//! The checked model of a procedure: every name of a thing resolved, every unit known.
//!
//! Takes nothing; gives the types that `check` fills and `plan` unrolls. It is distinct from the
//! tree: nothing downstream of `check` can see a name that means nothing. Parts are already
//! inlined, with their stand-ins replaced. Step names stay names here, since which step a name
//! means depends on the path; `plan` resolves them.

use crate::clock::{Millis, Span};
use crate::power::Millivolts;
use crate::source::Place;
pub use crate::syntax::tree::{
    EndingClass, Event, HandCount, ItemClass, Role, Sense, SignalWord, Status, SubjectKind, Turns,
    Unit,
};

/// A text for people, in [`Procedure::texts`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TextId(pub u32);
/// An item, in [`Procedure::items`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ItemId(pub u32);
/// A place, in [`Procedure::places`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PlaceId(pub u32);
/// A round of places, in [`Procedure::rounds`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RoundId(pub u32);
/// A sign, in [`Procedure::signs`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SignId(pub u32);
/// A reading, in [`Procedure::readings`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ReadingId(pub u32);
/// An ending, in [`Procedure::endings`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EndingId(pub u32);
/// A purse of tries, in [`Procedure::purses`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct PurseId(pub u32);
/// A helper, in [`Procedure::helpers`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct HelperId(pub u32);
/// A part that is only done on the way of a retry, in [`Procedure::ways`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct WayId(pub u32);

/// A text and where it was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Said {
    /// The words.
    pub text: String,
    /// Where they stand.
    pub place: Place,
}

/// Where a number comes from.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Basis {
    /// Nobody says.
    #[default]
    Unsaid,
    /// Common practice, no source.
    CommonPractice,
    /// A document.
    Source(String),
    /// The author's assumption, with the reason.
    Assumed(String),
}

/// A whole procedure.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Procedure {
    /// Every text that can be shown or spoken.
    pub texts: Vec<Said>,
    /// What it is for.
    pub title: Option<TextId>,
    /// What it is done to.
    pub subject: Option<(SubjectKind, TextId)>,
    /// The author's edition number.
    pub edition: Option<u32>,
    /// How far it may be trusted.
    pub status: Option<Status>,
    /// Whether ownership must be affirmed, and where that stands.
    pub affirm_ownership: Option<Place>,
    /// Further affirmations, in order.
    pub affirm: Vec<TextId>,
    /// Cautions before all else, in order.
    pub alerts: Vec<Alert>,
    /// Items.
    pub items: Vec<Item>,
    /// Places; a script without any has one, where everything happens.
    pub places: Vec<PlaceDef>,
    /// Rounds of places.
    pub rounds: Vec<Round>,
    /// Signs; inline `read "…"` texts are signs too, without a name.
    pub signs: Vec<Sign>,
    /// Secrets that must be at hand.
    pub secrets: Vec<(String, TextId)>,
    /// Readings, in the order of asking.
    pub readings: Vec<Reading>,
    /// Gates, in order.
    pub gates: Vec<Gate>,
    /// What the vehicle's battery must hold, where the author says.
    pub battery: Option<BatteryNeed>,
    /// The checklist, any order.
    pub checklist: Vec<TextId>,
    /// The person guided.
    pub operator: Profile,
    /// Further persons.
    pub helpers: Vec<Profile>,
    /// Tries: one purse a written retry line, one a shared `allow`.
    pub purses: Vec<Purse>,
    /// Endings: the four built in come first, in the order of [`EndingClass`]' declaration
    /// (learned, not learned, unsure, stopped).
    pub endings: Vec<Ending>,
    /// What holds throughout.
    pub head: Stretch,
    /// The steps and blocks.
    pub body: Vec<Node>,
    /// Parts done on the way of a retry.
    pub ways: Vec<Way>,
    /// Functional tests after a learned ending.
    pub tests: Vec<Test>,
    /// Counts asked again after a learned ending.
    pub recounts: Vec<Recount>,
}

/// A caution with its signal word.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Alert {
    /// How strong.
    pub word: SignalWord,
    /// What it warns of, where the author says.
    pub hazard: Option<Hazard>,
    /// What is said.
    pub text: TextId,
    /// Where it stands.
    pub place: Place,
}

/// Kinds of harm that a step can do (common practice, no source).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Hazard {
    /// Exhaust gas indoors.
    Exhaust,
    /// The vehicle may start or move.
    Movement,
    /// A battery on charge, hydrogen.
    Charging,
    /// A high-voltage vehicle.
    HighVoltage,
    /// The locks cycle: keys shut inside.
    Locks,
    /// The siren or horn may sound.
    Siren,
    /// Moving glass.
    Glass,
    /// A moving door.
    Door,
    /// Low-frequency antennas and implants.
    Implants,
    /// The only working key.
    LastKey,
    /// A ladder.
    Ladder,
    /// People and pets.
    Children,
}

/// A thing, or a group of like things.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Item {
    /// Its name.
    pub name: String,
    /// Least and most, for a group whose count is chosen at the start; 1 and 1 for a single thing.
    pub count: (u32, u32),
    /// Whether it was declared as a group.
    pub group: bool,
    /// What it is to the vehicle.
    pub role: Role,
    /// `key`, `remote` …
    pub kind: Option<String>,
    /// Its label.
    pub label: TextId,
    /// Its label as felt.
    pub felt: Option<TextId>,
    /// Where it is declared.
    pub place: Place,
}

/// A place where something is done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlaceDef {
    /// Its name.
    pub name: String,
    /// What to call it.
    pub text: TextId,
    /// The way from another place: paces and time on top.
    pub far: Option<(PlaceId, u32, Span)>,
    /// Where it is declared.
    pub place: Place,
}

/// Places in compulsory order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Round {
    /// Its name.
    pub name: String,
    /// The places, in order.
    pub places: Vec<PlaceId>,
}

/// Something that can be seen, heard, felt or read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sign {
    /// Its name; empty for an inline text.
    pub name: String,
    /// By which sense.
    pub sense: Sense,
    /// What is sensed.
    pub object: TextId,
    /// What makes it this sign.
    pub pattern: SignPattern,
    /// How long it is watched before it is known.
    pub lasting: Span,
    /// Quiet after it that completes a count.
    pub quiet: Millis,
    /// Where it is declared.
    pub place: Place,
}

/// What makes a sign this sign.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SignPattern {
    /// It is there at all.
    Plain,
    /// This often.
    Times(u32),
    /// In this state.
    State(String),
}

/// A value asked of the person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reading {
    /// Its name, `rest` or `chip of green`.
    pub name: String,
    /// The item it belongs to.
    pub of: Option<ItemId>,
    /// How it is answered.
    pub answer: ReadingKind,
    /// The question.
    pub text: TextId,
    /// Whether it is asked before the run (else at its step).
    pub before: bool,
    /// Where it is declared.
    pub place: Place,
}

/// How a reading is answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ReadingKind {
    /// A number in thousandths of the unit, with its plausible range.
    Number {
        /// The unit.
        unit: Unit,
        /// Least and most that is plausible, in thousandths.
        plausible: Option<(i64, i64)>,
    },
    /// Free text, compared without regard to case and outer blanks.
    Text,
    /// One of these.
    Choice(Vec<String>),
}

/// A condition on readings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Condition {
    /// What is compared.
    pub reading: ReadingId,
    /// A group whose chosen count is added.
    pub with: Option<ItemId>,
    /// With what.
    pub test: ConditionTest,
    /// Where it stands.
    pub place: Place,
}

/// What a reading is compared with. Numbers in thousandths.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ConditionTest {
    /// At least this.
    AtLeast(i64),
    /// At most this.
    AtMost(i64),
    /// Between these, both included.
    Between(i64, i64),
    /// The same text as another reading.
    SameAs(ReadingId),
    /// This answer of a choice.
    Is(String),
}

/// A gate before the start.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gate {
    /// What must hold.
    pub condition: Condition,
    /// Whether the run must not start without it; otherwise the person may go on, recorded.
    pub must: bool,
    /// What the person is told when it does not hold.
    pub otherwise: TextId,
}

/// What the vehicle's battery must hold through the run. Both voltages are ones that a 12 V battery
/// can have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BatteryNeed {
    /// The voltage that must not be undercut.
    pub floor: Millivolts,
    /// The voltage that must not be exceeded.
    pub ceiling: Option<Millivolts>,
    /// Where it stands.
    pub place: Place,
}

/// The bounds of a person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Profile {
    /// Its name.
    pub name: String,
    /// What it describes.
    pub text: Option<TextId>,
    /// Reaction to a cue.
    pub reacts: Span,
    /// From an event seen (or an act done) to the report at the guide.
    pub reports: Span,
    /// Upper bound of speech: words a minute.
    pub words_a_minute: u32,
    /// A pace.
    pub pace: Span,
    /// Hands.
    pub hands: u32,
}

impl Default for Profile {
    /// The profile `standard`.
    fn default() -> Profile {
        Profile {
            name: "standard".to_owned(),
            text: None,
            reacts: Span::new(Millis(200), Millis(1500)),
            reports: Span::new(Millis(300), Millis(3000)),
            words_a_minute: 110,
            pace: Span::new(Millis(500), Millis(800)),
            hands: 2,
        }
    }
}

/// Cue jitter: how late a cue may be given, at most.
pub const CUE_JITTER: Millis = Millis(50);
/// Clock and screen error that shrinks every window on both sides.
pub const CLOCK_ERROR: Millis = Millis(20);

/// Tries that can be spent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Purse {
    /// Its name; `None` for one retry line of its own.
    pub name: Option<String>,
    /// How many over the run.
    pub tries: u32,
    /// What it counts.
    pub text: Option<TextId>,
    /// Where it stands.
    pub place: Place,
}

/// How a run can end.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ending {
    /// Its name.
    pub name: String,
    /// Its class.
    pub class: EndingClass,
    /// What the person is told; `None` for a built-in one (a face words it).
    pub text: Option<TextId>,
    /// The script to go on with.
    pub hand_over: Option<String>,
    /// Where it is declared; `None` for a built-in one.
    pub place: Option<Place>,
}

/// What holds in a stretch: the whole file, a phase, a turn, a step.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Stretch {
    /// What must stay true.
    pub guards: Vec<Guard>,
    /// What to do every so often.
    pub awake: Vec<(Millis, TextId, Place)>,
    /// What to lay at a distance.
    pub away: Vec<(ItemId, TextId, Place)>,
    /// What follows a missed window.
    pub late: Option<Outcome>,
    /// What follows a slip.
    pub slip: Option<Outcome>,
    /// What follows anything else.
    pub otherwise: Option<Outcome>,
    /// What to do if the run breaks off here.
    pub break_off: Option<TextId>,
    /// Limits on the end of the stretch.
    pub limits: Vec<Window>,
}

/// Something that must stay true.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Guard {
    /// Its name; empty for a `never`.
    pub name: String,
    /// What must stay true, or must not be done.
    pub text: TextId,
    /// Whether it forbids an act (`never`).
    pub forbids: bool,
    /// From where it can be watched; empty: not said.
    pub watched: Vec<PlaceId>,
    /// What follows.
    pub lost: Outcome,
    /// Where it stands.
    pub place: Place,
}

/// A reference that may be the thing of this turn.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Ref<Id> {
    /// This very one.
    This(Id),
    /// The one of this turn of the `for each` with this name.
    Turn(String),
}

/// A step or a block.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Node {
    /// One instruction.
    Step(Box<Step>),
    /// `for each`
    Each {
        /// The name of the turn's thing.
        turn: String,
        /// Over what.
        over: Over,
        /// What holds inside.
        head: Stretch,
        /// What is done each turn.
        body: Vec<Node>,
        /// Where it stands.
        place: Place,
    },
    /// `repeat k times`
    Repeat {
        /// How often.
        times: u32,
        /// What holds inside.
        head: Stretch,
        /// What is done each turn.
        body: Vec<Node>,
        /// Where it stands.
        place: Place,
    },
    /// `only if`
    OnlyIf {
        /// When.
        condition: Condition,
        /// What is done then.
        body: Vec<Node>,
    },
    /// `phase`
    Phase {
        /// Its name; its moments are `NAME begun` and `NAME over`.
        name: String,
        /// What holds inside.
        head: Stretch,
        /// What is done.
        body: Vec<Node>,
        /// Where it stands.
        place: Place,
    },
    /// A part, inlined. Its steps are reached as `ALIAS STEP` (or by their own name, without alias).
    Part {
        /// The alias.
        alias: Option<String>,
        /// What holds inside.
        head: Stretch,
        /// What is done.
        body: Vec<Node>,
        /// Where the `do` stands.
        place: Place,
    },
    /// `no way back`: crossed at `called` of the next step.
    NoWayBack {
        /// What is past changing.
        text: TextId,
        /// Whether a retry may cross it.
        safe: bool,
        /// Where it stands.
        place: Place,
    },
    /// `finish as`
    Finish(EndingId, Place),
}

/// What a `for each` goes over.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Over {
    /// The items of a group.
    Items(ItemId),
    /// The places of a round.
    Places(RoundId),
}

/// A part done on the way of a retry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Way {
    /// Its name.
    pub name: String,
    /// What is done.
    pub body: Vec<Node>,
}

/// One instruction.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Step {
    /// Its name.
    pub name: String,
    /// The instruction.
    pub text: TextId,
    /// A shorter text for the prepare cue.
    pub prepare: Option<TextId>,
    /// The words of the now cue.
    pub say: Option<TextId>,
    /// The length of the now words, where the author states it.
    pub say_lasting: Option<Span>,
    /// Cautions directly before it.
    pub alerts: Vec<Alert>,
    /// No act at all.
    pub only_watch: bool,
    /// From the first movement to what the vehicle feels; hull of all variants.
    pub takes: Option<Timed>,
    /// No cue: it follows the act above at once.
    pub straight_on: bool,
    /// Nobody tells.
    pub no_report: bool,
    /// Items in use.
    pub with: Vec<Ref<ItemId>>,
    /// Where.
    pub at: Option<Ref<PlaceId>>,
    /// By whom, if not the operator.
    pub by: Option<HelperId>,
    /// Items taken into the hand at the act.
    pub take: Vec<Ref<ItemId>>,
    /// Items put down at the step's end.
    pub put_down: Vec<Ref<ItemId>>,
    /// Hands needed beyond what is held.
    pub hands: Option<HandCount>,
    /// Counted act.
    pub count: Option<Counted>,
    /// Held act; more than one where sources differ, each is its own way of acting.
    pub hold: Vec<Hold>,
    /// The step whose held thing is let go by this act.
    pub lets_go: Option<(String, Place)>,
    /// Equally good ways to do it.
    pub ways: Vec<(TextId, Option<Span>)>,
    /// Windows, variants as further windows.
    pub windows: Vec<Window>,
    /// What can be sensed, in order; the first that goes on is the hoped-for one.
    pub met: Vec<Met>,
    /// When silence is declared.
    pub silence: Vec<Silence>,
    /// Own `late`, `slip`, `anything else`, guards, keep-away.
    pub own: Stretch,
    /// Readings asked here.
    pub asks: Vec<ReadingId>,
    /// The whole step's first line.
    pub place: Place,
}

/// A length of the person's own, with its ground.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Timed {
    /// The bounds.
    pub span: Span,
    /// Where the numbers come from.
    pub basis: Basis,
    /// Where they stand.
    pub place: Place,
}

/// A length with an open end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range {
    /// The least.
    pub lo: Millis,
    /// The most, if there is one.
    pub hi: Option<Millis>,
}

/// A counted act.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Counted {
    /// How often.
    pub how_many: HowMany,
    /// The person's time from the first to the last stroke.
    pub lasting: Option<Span>,
    /// The person's time from one stroke to the next.
    pub lasting_each: Option<Span>,
    /// The vehicle's limit from first to last.
    pub within: Option<Millis>,
    /// The vehicle's limit from one to the next.
    pub each_within: Option<Millis>,
    /// Paced: ticks this far apart, with the tolerance.
    pub every: Option<Span>,
    /// The end state.
    pub ending: Option<TextId>,
    /// Where the numbers come from.
    pub basis: Basis,
    /// Where it stands.
    pub place: Place,
}

/// How often.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HowMany {
    /// Exactly.
    Exactly(u32),
    /// As the reading says.
    Reading(ReadingId),
    /// Until the step's answer.
    UntilAnswered,
}

/// How long something is held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Hold {
    /// Until a later step lets go.
    On,
    /// Until the answer, then this much more.
    UntilAnswered(Option<Range>, Basis, Place),
    /// This long; the guide calls the release.
    For(Range, Basis, Place),
}

/// A moment of a step by name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EventRef {
    /// Of the turn before.
    pub previous: bool,
    /// The step or block, perhaps behind an alias; empty: this step.
    pub path: Vec<String>,
    /// Which moment.
    pub event: Event,
    /// Where it stands.
    pub place: Place,
}

/// A window: `lo ≤ time(subject) − time(anchor) ≤ hi`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Window {
    /// Which moment of this step it binds (`Over` for a stretch's limit).
    pub subject: Event,
    /// The bounds.
    pub range: Range,
    /// Measured from.
    pub anchor: EventRef,
    /// In which turns.
    pub turns: Option<Turns>,
    /// Where the numbers come from.
    pub basis: Basis,
    /// Where it stands.
    pub place: Place,
}

/// A hoped-for or other answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Met {
    /// All must appear.
    pub signs: Vec<SignId>,
    /// The vehicle's own delay, hull of all variants; the maximum is always known.
    pub delay: Span,
    /// Measured from.
    pub anchor: EventRef,
    /// In which turns.
    pub turns: Option<Turns>,
    /// What follows.
    pub so: Outcome,
    /// Where the numbers come from.
    pub basis: Basis,
    /// Where it stands.
    pub place: Place,
}

/// When silence is declared.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Silence {
    /// Nothing seen by the person by this long after the anchor.
    pub within: Millis,
    /// Measured from.
    pub anchor: EventRef,
    /// In which turns.
    pub turns: Option<Turns>,
    /// What follows.
    pub so: Outcome,
    /// Where the number comes from.
    pub basis: Basis,
    /// Where it stands.
    pub place: Place,
}

/// What follows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// The next step, the next turn, or out of the block.
    GoOn,
    /// A later step.
    GoTo(String, Place),
    /// Begin again.
    GoBack {
        /// From this step.
        to: String,
        /// By way of this.
        way: Option<WayId>,
        /// After this cool-down.
        after: Millis,
        /// As long as this purse lasts.
        purse: PurseId,
        /// Then.
        otherwise: Box<Outcome>,
        /// Where it stands.
        place: Place,
    },
    /// An ending.
    Finish(EndingId),
    /// This item's ending, then the next turn.
    ThisOne(ItemClass),
}

/// A functional test.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Test {
    /// Each item of this name, alone.
    pub item: Option<ItemId>,
    /// What to do.
    pub text: TextId,
    /// What must be seen.
    pub expect: TextId,
    /// Lowers to this ending.
    pub otherwise: EndingId,
    /// Where it stands.
    pub place: Place,
}

/// A count asked again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recount {
    /// Which reading.
    pub reading: ReadingId,
    /// Grown by this…
    pub more: u32,
    /// …for each learned item of this group.
    pub per: Option<ItemId>,
    /// Lowers to this ending.
    pub otherwise: EndingId,
    /// Where it stands.
    pub place: Place,
}

impl Procedure {
    /// The words of a text; empty if it is not one of ours.
    #[must_use]
    pub fn text(&self, id: TextId) -> &str {
        self.texts.get(id.0 as usize).map_or("", |said| said.text.as_str())
    }
}
