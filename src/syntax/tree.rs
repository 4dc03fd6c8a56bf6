//! What was written: one [`Line`] a source line, in order, nothing resolved and nothing lost.
//!
//! Takes nothing; gives the types that `build` fills and `print` writes out again. Blocks are not
//! nested here: a line is a sentence, and `procedure::check` pairs the blocks. Two trees are equal
//! when they say the same; places do not count.

use crate::clock::Millis;
use crate::source::Place;

/// A value and where it stands. Equality ignores the place.
#[derive(Clone, Debug)]
pub struct At<T> {
    /// What was written.
    pub value: T,
    /// Where.
    pub place: Place,
}

impl<T: PartialEq> PartialEq for At<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}

impl<T: Eq> Eq for At<T> {}

/// A name: small letters, digits, single hyphens.
pub type Name = At<String>;
/// A text between quotes, without them.
pub type Text = At<String>;
/// A length of time as written, always with its unit.
pub type Duration = At<Millis>;
/// A whole number.
pub type Number = At<u32>;
/// A decimal number, kept in thousandths so that no rounding enters.
pub type Decimal = At<i64>;

/// A whole script, line by line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tree {
    /// One entry a source line, blank lines and remarks included.
    pub lines: Vec<Line>,
}

/// One source line.
#[derive(Clone, Debug)]
pub struct Line {
    /// The line's own text without leading and trailing blanks.
    pub place: Place,
    /// What it says.
    pub sentence: Sentence,
}

impl PartialEq for Line {
    fn eq(&self, other: &Self) -> bool {
        self.sentence == other.sentence
    }
}

impl Eq for Line {}

/// One line's meaning as a sentence. The variants stand in the grammar's order.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Sentence {
    /// An empty line.
    Blank,
    /// `note …`: kept, never spoken. The text has no leading or trailing blank.
    Remark(String),
    /// A line that is no sentence; a complaint says why. Kept so that `tidy` loses nothing.
    Stray(String),

    /// `procedure "…"`
    Procedure(Text),
    /// `vehicle "…"`, `device "…"`
    Subject(SubjectKind, Text),
    /// `edition 3`
    Edition(Number),
    /// `status …`
    Status(Status),
    /// `according to …`, `assumed "…"` on a line of its own
    Basis(Accord),
    /// `use "file.bell"`
    Use(Text),
    /// `danger "…"`, `warning exhaust, "…"`: signal word, hazard it speaks of, text
    Alert(SignalWord, Option<Name>, Text),
    /// `affirm ownership`
    AffirmOwnership,
    /// `affirm "…"`
    Affirm(Text),
    /// `ending NAME, CLASS, "…", hand over to "…"`
    Ending {
        /// Its name.
        name: Name,
        /// How it is classed.
        class: EndingClass,
        /// What the person is told.
        text: Text,
        /// The script to go on with.
        hand_over: Option<Text>,
    },

    /// `have one, registered key, "…", felt as "…"`
    Have {
        /// Least and most, for a group whose count is chosen at the start.
        group: Option<(Number, Number)>,
        /// Its name.
        name: Name,
        /// What it is to the vehicle.
        role: Role,
        /// The kind word after the role: `key`, `remote`.
        kind: Option<Name>,
        /// The label that the person knows it by.
        label: Text,
        /// The label as the fingers feel it.
        felt: Option<Text>,
    },
    /// `place seat, 3 paces and 1s to 3s from bench, "…"`
    Place {
        /// Its name.
        name: Name,
        /// How far from another place.
        far: Option<Far>,
        /// What to call it.
        text: Text,
    },
    /// `round wheels, left-front, right-front`
    Round(Name, Vec<Name>),
    /// `sign chime-once, hear "the chime" once, quiet 1.5s`
    Sign {
        /// Its name.
        name: Name,
        /// By which sense.
        sense: At<Sense>,
        /// What is sensed.
        object: Text,
        /// How often, or in which state.
        pattern: Option<Pattern>,
        /// How long it lasts before it is known.
        lasting: Option<At<Length>>,
        /// The quiet after a count that makes it complete.
        quiet: Option<Duration>,
    },
    /// `secret pin, "…"`: at hand or not; never entered, shown, spoken or recorded
    Secret(Name, Text),
    /// `ask rest in V, between 9 and 16, "…"`
    Ask {
        /// What is asked.
        value: Value,
        /// How it is answered.
        answer: Answer,
        /// The question.
        text: Text,
    },
    /// `start with "…"`
    StartWith(Text),
    /// `start only if …, else "…"`
    StartOnlyIf(Condition, Text),
    /// `better if …, else "…"`
    BetterIf(Condition, Text),
    /// `battery at least 12.4 V, at most 14.8 V`
    Battery {
        /// The voltage that must not be undercut during the run.
        floor: (Decimal, At<Unit>),
        /// The voltage that must not be exceeded.
        ceiling: Option<(Decimal, At<Unit>)>,
    },

    /// `keep away others, "…"`
    KeepAway(Name, Text),
    /// `keep awake every 4min, "…"`
    KeepAwake(Duration, Text),
    /// `keep charger, "…", watched from seat, if lost …`
    Keep {
        /// The guard's name.
        name: Name,
        /// What must stay true.
        text: Text,
        /// From where it can be watched; empty: not said.
        watched: Vec<Name>,
        /// What follows when it is lost.
        lost: Outcome,
    },
    /// `never "…", if done …`
    Never(Text, Outcome),
    /// `allow wrong 4 times, "…"`
    Allow(Name, At<u32>, Text),
    /// `if broken off, "…"`
    BreakOff(Text),

    /// `operator NAME "…"`
    Operator(Name, Option<Text>),
    /// `helper NAME "…"`
    Helper(Name, Option<Text>),
    /// `part NAME of a and b`
    Part(Name, Vec<Name>),
    /// `phase NAME`
    Phase(Name),
    /// `for each key of keys`
    Each(Name, Name),
    /// `repeat 3 times`
    Repeat(At<u32>),
    /// `only if …`
    OnlyIf(Condition),
    /// `table NAME`
    Table(Name),
    /// `tests`
    Tests,
    /// `end …`
    End(At<BlockKind>),

    /// `step NAME "…"`
    Step(Name, Text),
    /// `do NAME of a and b as c`
    Do(Name, Vec<Name>, Option<Name>),
    /// `finish as NAME`
    Finish(Name),
    /// `no way back "…", safe to start over`
    NoWayBack(Text, bool),
    /// `test spares, "…", expect "…", else finish as NAME`
    Test {
        /// Each item of this name is tried alone.
        item: Option<Name>,
        /// What to do.
        text: Text,
        /// What must be seen.
        expect: Text,
        /// The ending that a failure lowers to.
        otherwise: Name,
    },
    /// `recount known, 1 more for each of spares, else finish as NAME`
    Recount {
        /// The reading asked again.
        reading: Name,
        /// By how much it must have grown.
        more: Number,
        /// For each learned item of this group.
        per: Option<Name>,
        /// The ending that a failure lowers to.
        otherwise: Name,
    },

    /// `only watch`
    OnlyWatch,
    /// `no answer`
    NoAnswer,
    /// `no report`
    NoReport,
    /// `prepare "…"`
    Prepare(Text),
    /// `say "…", lasting 1s to 2s`
    Say(Text, Option<At<Length>>),
    /// `takes 2s to 6s`
    Takes(At<Length>, Option<Accord>),
    /// `straight on`
    StraightOn,
    /// `with green and red at button`
    With(Vec<Name>, Option<Name>),
    /// `at bench`
    AtPlace(Name),
    /// `by mate`
    By(Name),
    /// `take red`
    Take(Name),
    /// `put down green`
    PutDown(Name),
    /// `needs both hands`
    Needs(HandCount),
    /// `hold …`
    Hold(At<Held>, Option<Accord>),
    /// `let go of press`
    LetGoOf(Name),
    /// `let go within 3s after answered`
    LetGo(When, Option<At<Turns>>, Option<Accord>),
    /// `count 8, lasting 5s to 9s, …`
    Count(Count, Option<Accord>),
    /// `one way "…", takes 1s to 4s`
    OneWay(Text, Option<At<Length>>),
    /// `reacts in 0.2s to 2s`
    Reacts(At<Length>),
    /// `reports in 0.3s to 3s`
    Reports(At<Length>),
    /// `speech 140 words a minute`
    Speech(Number),
    /// `walks a pace in 500ms to 900ms`
    Walks(At<Length>),
    /// `has 2 hands`
    Has(Number),

    /// `within 30s after wake answered`
    Window(When, Option<At<Turns>>, Option<Accord>),
    /// `begin within 30s after …`
    Begin(When, Option<At<Turns>>, Option<Accord>),
    /// `or within 45s after …`: another source's version of the line above
    OrWindow(When, Option<At<Turns>>, Option<Accord>),
    /// `or takes …`
    OrTakes(At<Length>, Option<Accord>),
    /// `or hold …`
    OrHold(At<Held>, Option<Accord>),

    /// `hear chime-once and see lamp-dark, within 4s after done, so go on`
    Sensed {
        /// All must appear; the last to appear counts.
        sights: Vec<Sight>,
        /// When.
        when: Option<When>,
        /// In which turns.
        turns: Option<At<Turns>>,
        /// Who says so.
        accord: Option<Accord>,
        /// What follows.
        so: Outcome,
    },
    /// `look up closing, within 10s after done`
    LookUp(Name, Option<When>, Option<At<Turns>>, Option<Accord>),
    /// `nothing within 6s after done, so …`
    Nothing {
        /// When silence is declared.
        when: When,
        /// In which turns.
        turns: Option<At<Turns>>,
        /// Who says so.
        accord: Option<Accord>,
        /// What follows.
        so: Outcome,
    },
    /// `anything else, so …`
    AnythingElse(Outcome),
    /// `late, so …`
    Late(Outcome),
    /// `slip, so …`
    Slip(Outcome),
}

/// What the script is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SubjectKind {
    /// `vehicle`
    Vehicle,
    /// `device`
    Device,
}

/// How much a script may be trusted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Status {
    /// `demonstration`: invented numbers, no real vehicle.
    Demonstration,
    /// `from a handbook`: written down, not tried.
    Handbook,
    /// `tried on 2026-05-01`
    Tried(At<String>),
}

/// The standard signal words, strongest first (ANSI Z535.4 §4.14.1–4).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SignalWord {
    /// Will cause death or serious injury.
    Danger,
    /// Could cause death or serious injury.
    Warning,
    /// Could cause minor or moderate injury.
    Caution,
    /// Not about personal injury.
    Notice,
}

/// How an ending is classed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum EndingClass {
    /// The vehicle stored what was to be stored.
    Learned,
    /// It did not.
    NotLearned,
    /// Nobody can tell.
    Unsure,
    /// Broken off or handed over before it was decided.
    Stopped,
}

/// What an item is to the vehicle.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Role {
    /// Already registered: it works.
    Registered,
    /// To be registered.
    New,
    /// A tool.
    Tool,
}

/// The way to another place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Far {
    /// Paces on the flat.
    pub paces: Number,
    /// Time on top (a ladder, a door).
    pub extra: Option<At<Length>>,
    /// From where.
    pub from: Name,
}

/// By which sense a sign is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Sense {
    /// With the eyes.
    See,
    /// With the ears.
    Hear,
    /// By touch or movement.
    Feel,
    /// A text on a display.
    Read,
}

/// What makes a sign this sign and no other.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Pattern {
    /// Counted: `once`, `twice`, `3 times`.
    Times(At<u32>),
    /// A state: `steady`, `dark`, `flashing`.
    State(Name),
}

/// Something with a value: a reading, one of an item, or one with a chosen count on top.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Value {
    /// The reading.
    pub name: Name,
    /// What stands behind it.
    pub more: ValueMore,
}

/// What stands behind a value's name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ValueMore {
    /// Nothing.
    Alone,
    /// `of green`
    Of(Name),
    /// `with spares`: plus the count chosen for this group
    With(Name),
}

/// How a question is answered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// A number in this unit, perhaps with its plausible range.
    Number(At<Unit>, Option<(Decimal, Decimal)>),
    /// Free text.
    Text,
    /// One of these.
    Choice(Vec<Name>),
}

/// A unit that a reading may have.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub enum Unit {
    /// Volts.
    Volt,
    /// Amperes.
    Ampere,
    /// Ampere hours.
    AmpereHour,
    /// Megahertz.
    Megahertz,
    /// Kilohertz.
    Kilohertz,
    /// Degrees Celsius.
    Celsius,
    /// Kilopascals.
    Kilopascal,
    /// Kilometres an hour.
    KilometreHour,
    /// Per cent.
    Percent,
    /// Things counted, by their name (`keys`).
    Count(String),
}

/// A comparison between a reading and something else.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Condition {
    /// What is compared.
    pub value: Value,
    /// With what.
    pub test: ConditionTest,
    /// The whole condition.
    pub place: At<()>,
}

/// What a value is compared with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ConditionTest {
    /// `at least 13 V`
    AtLeast(Decimal, At<Unit>),
    /// `at most 8 keys`
    AtMost(Decimal, At<Unit>),
    /// `between 70 and 105 °C`
    Between(Decimal, Decimal, At<Unit>),
    /// `the same as chip of green`
    SameAs(Value),
    /// `rolling`
    Is(Name),
}

/// The blocks, as their `end` lines name them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum BlockKind {
    /// `operator`
    Operator,
    /// `helper`
    Helper,
    /// `part`
    Part,
    /// `phase`
    Phase,
    /// `each`
    Each,
    /// `repeat`
    Repeat,
    /// `only`
    Only,
    /// `table`
    Table,
    /// `tests`
    Tests,
}

/// A length between bounds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Length {
    /// `3s`
    Exactly(Duration),
    /// `2s to 6s`
    FromTo(Duration, Duration),
    /// `up to 4s`
    UpTo(Duration),
    /// `at least 3s`
    AtLeast(Duration),
    /// `2s give or take 500ms`, with or without `about` before it
    Around {
        /// The middle.
        middle: Duration,
        /// To either side; `None` after a bare `about`, which is a complaint.
        leeway: Option<Duration>,
        /// Whether `about` was written.
        about: bool,
    },
}

/// A place in time, as a bound and what it is measured from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct When {
    /// How far.
    pub bound: At<Bound>,
    /// From what; `None` where the author left it out.
    pub after: Option<EventOf>,
}

/// How far from the anchor.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Bound {
    /// `within 30s`
    Within(Duration),
    /// `between 3s and 10s`
    Between(Duration, Duration),
    /// `not before 3s`
    NotBefore(Duration),
    /// `about 10s give or take 1s`
    About(Duration, Option<Duration>),
}

/// An event of a step: `previous press done`, `wake answered`, `done`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EventOf {
    /// `previous`: of the turn before.
    pub previous: bool,
    /// The step, perhaps behind the alias of a part; empty: this step.
    pub path: Vec<Name>,
    /// Which moment of it.
    pub event: At<Event>,
}

/// The moments of a step, in the order in which they happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Event {
    /// The guide begins the call (the *now* cue).
    Called,
    /// The call has ended.
    Heard,
    /// The vehicle feels the first of the act.
    Begun,
    /// The act is complete.
    Done,
    /// What was held is let go.
    Released,
    /// The sign begins.
    Answered,
    /// The person's report reaches the guide.
    Reported,
    /// The last of those that exist.
    Over,
}

impl Event {
    /// As it is written.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Event::Called => "called",
            Event::Heard => "heard",
            Event::Begun => "begun",
            Event::Done => "done",
            Event::Released => "released",
            Event::Answered => "answered",
            Event::Reported => "reported",
            Event::Over => "over",
        }
    }
}

/// In which turns of a `for each` or `repeat` a line holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Turns {
    /// `first turn only`
    FirstTurn,
    /// `later turns only`
    LaterTurns,
    /// `earlier turns only`: all but the last
    EarlierTurns,
    /// `last turn only`
    LastTurn,
    /// `first try only`: not on a retry
    FirstTry,
}

/// Where a number comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Accord {
    /// `according to common practice`
    CommonPractice,
    /// `according to "handbook, page 41"`
    Source(Text),
    /// `assumed "no maximum is published"`
    Assumed(Text),
}

/// How many hands a step needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum HandCount {
    /// `needs no hand`
    None,
    /// `needs one hand`
    One,
    /// `needs both hands`
    Both,
}

/// How long something is held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Held {
    /// `hold on`: until a later step lets go of it
    On,
    /// `hold until answered, then 2s to 4s more`
    Until(EventOf, Option<At<Length>>),
    /// `hold 3s to 10s`
    For(At<Length>),
}

/// A counted act.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Count {
    /// How often.
    pub how_many: HowMany,
    /// How long the whole takes, or each stroke with `each`.
    pub lasting: Option<(At<Length>, bool)>,
    /// The vehicle's limit from the first to the last stroke.
    pub within: Option<Duration>,
    /// The vehicle's limit between one stroke and the next.
    pub each_within: Option<Duration>,
    /// Paced: one stroke every so often.
    pub every: Option<At<Length>>,
    /// The state in which it must end.
    pub ending: Option<Text>,
}

/// How often an act is done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum HowMany {
    /// `count 8`
    Exactly(Number),
    /// `count slot`: as many as the reading says
    Reading(Name),
    /// `count until answered`
    Until(EventOf),
}

/// One thing sensed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sight {
    /// The verb.
    pub sense: At<Sense>,
    /// A declared sign, or a text that is read.
    pub what: SightOf,
}

/// What is sensed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SightOf {
    /// A declared sign.
    Sign(Name),
    /// `read "Key stored"`: the text itself is the sign.
    Text(Text),
}

/// What follows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// `go on`
    GoOn,
    /// `go to NAME` (forward only)
    GoTo(Name),
    /// `go back to NAME …`
    GoBack(Box<GoBack>),
    /// `finish as NAME`
    Finish(Name),
    /// `this one is learned`: this item's own ending, then the next turn
    ThisOne(At<ItemClass>),
}

/// A retry.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GoBack {
    /// The step to begin again from.
    pub to: Name,
    /// A part done first.
    pub way: Option<Name>,
    /// A cool-down, from the moment the outcome is known.
    pub after: Option<Duration>,
    /// How often.
    pub tries: Tries,
    /// What follows when the tries are spent. Never itself a `GoBack`.
    pub otherwise: Outcome,
}

/// How often a retry may be taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Tries {
    /// `at most twice`: of this written line, over the whole run
    AtMost(At<u32>),
    /// `while wrong lasts`: a purse shared by all that name it
    While(Name),
}

/// How one item of a group ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ItemClass {
    /// The vehicle stored it.
    Learned,
    /// It did not.
    NotLearned,
    /// Nobody can tell.
    Unsure,
}
