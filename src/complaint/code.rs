//! Every complaint there is: its stable code, how grave it is, and its sentence with gaps for facts.
//!
//! Takes nothing; gives [`Code`]. The sentences here are the only place where a complaint is worded;
//! the longer texts of `why CODE` stand in `why.rs`. A code never changes its meaning or its name.

/// How grave a complaint is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Severity {
    /// The script cannot be proven or run.
    Error,
    /// It can, but a careful author mends it.
    Warning,
}

impl Severity {
    /// `error` or `warning`, the words of SARIF 2.1.0 §3.27.10.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Severity::Error => "error",
            Severity::Warning => "warning",
        }
    }
}

/// What is wrong, by its stable code.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Code {
    /// The file is longer than <limit>. A script is a page or two; split it with `use`.
    FileTooLarge,
    /// This line is longer than <limit> bytes. No sentence needs that.
    LineTooLong,
    /// The character <char> is not allowed here: it can hide or reorder what a person reads.
    ForbiddenCharacter,
    /// This line is too complex to read.
    TooComplex,
    /// No sentence begins with `<word>`.
    NotASentence,
    /// Here <expected> should stand, not <found>.
    UnfinishedSentence,
    /// The text that opens here is not closed. Put a quote at its end.
    TextNotClosed,
    /// `<number>` needs a unit: ms, s, min or h.
    BareNumber,
    /// Write a length of time from large to small, each unit once: `2min 30s`.
    DurationOrder,
    /// `<unit>` is no unit of time here. The units are ms, s, min and h.
    DurationUnknownUnit,
    /// <length> is longer than a day. No step waits that long.
    DurationTooLong,
    /// Write decimals with a point: `<better>`.
    DecimalComma,
    /// `<number>` is too large here; the most is <most>.
    NumberTooLarge,
    /// This `end <block>` closes nothing.
    EndWithoutBlock,
    /// This closes `<found>`, but `<open>` is open since line <line>.
    WrongEnd,
    /// This `<block>` is never closed. Write `end <block>` below its last line.
    BlockNotClosed,
    /// Blocks stand <depth> deep here; at most <most> are allowed.
    NestedTooDeep,
    /// `<sentence>` cannot stand <where>. It belongs <belongs>.
    SentenceOutOfPlace,
    /// `<sentence>` is said a second time here. Once is meant.
    SaidTwice,
    /// `<one>` and `<other>` cannot both hold for one step.
    Contradiction,
    /// The script does not say what it is for. Begin with `procedure "…"`.
    ProcedureMissing,
    /// The script has no step. There is nothing to lead through.
    NoSteps,
    /// This `or` line has no line above it to be another version of.
    OrWithoutLine,
    /// There is no <kind> called `<name>`.
    UnknownName,
    /// `<name>` is <is>, not <wanted>.
    WrongKindOfName,
    /// The name `<name>` is taken already.
    NameTwice,
    /// `<name>` and `<other>` are easily taken for each other.
    NamesAlike,
    /// Step `<step>` has no moment `<event>`: <because>.
    NoSuchEvent,
    /// On a path to this line, `<event>` has not happened yet.
    EventNotHappened,
    /// `previous` needs a turn before: put this in a `for each` or `repeat`, with `, later turns only`.
    NoTurnBefore,
    /// `<turns>` has no meaning outside a `for each` or `repeat`.
    TurnsOutsideBlock,
    /// `this one` has no meaning outside a `for each` over new items.
    ThisOneOutside,
    /// `<name>` is never used.
    ItemUnused,
    /// The sign `<name>` never appears.
    SignUnused,
    /// The part `<name>` is never done.
    PartUnused,
    /// The file `<file>` cannot be used: <because>.
    PartFileMissing,
    /// `<file>` lies outside the script's own folder. Parts come from beside the script or below it.
    PartFileOutside,
    /// `<file>` uses itself, by way of <chain>.
    UseCircle,
    /// The part `<name>` does itself, by way of <chain>.
    PartCircle,
    /// The part `<name>` wants <wanted> stand-ins; <given> are given.
    PartArguments,
    /// `<file>` holds more than parts; only its parts, signs and places are used.
    PartNotAScript,
    /// `<unit>` is no unit known here. Known are V, A, Ah, MHz, kHz, °C, kPa, km/h, % and the name of what is counted.
    UnknownUnit,
    /// `<value>` is given in <unit>; this compares it with <other>.
    UnitMismatch,
    /// The lower bound <lo> lies above the upper bound <hi>.
    RangeReversed,
    /// Once is the least: zero <what> is nothing to do.
    ZeroCount,
    /// At most <most> are allowed here, not <count>.
    CapTooLarge,
    /// The versions of this window share no moment: <lo> to <hi> is empty.
    WindowEmpty,
    /// `<answer>` is no answer to `<value>`. The answers are <answers>.
    ChoiceUnknown,
    /// `only if` needs an answer from before the start; `<value>` is asked during the run.
    LateChoice,
    /// The choices and counts make <count> variants of this script; at most <most> are checked.
    TooManyVariants,
    /// <length> from what? Name the moment: `after NAME event`.
    AnchorMissing,
    /// No source stands behind this number. Say `according to …` or `assumed "why"`, here or at the top.
    NumberWithoutSource,
    /// `about <length>` by how much? Add `give or take …`.
    AboutWithoutTolerance,
    /// How long may the vehicle take at most? Without a latest moment nobody knows when to give up.
    DelayWithoutMaximum,
    /// How long do the hands take? Add `takes … to …`.
    TakesMissing,
    /// "<word>" has no number. Say how many or how long.
    VagueWord,
    /// What if nothing comes? Add `nothing within …, so …`.
    AnswerWithoutSilence,
    /// Silence is declared before a report can arrive: the sign may come <answer> after the moment it is measured from.
    SilenceTooEarly,
    /// Nothing is awaited in this step, so `nothing within` has no meaning.
    SilenceWithoutAnswer,
    /// Two outcomes of this step look the same: <sign>. Nobody could tell them apart.
    SameObservation,
    /// `<name>` is the same sign as `<other>`: the same sense, thing and pattern.
    SignTwice,
    /// `<name>` is a sign to <wanted>, not to <found>.
    SignVerb,
    /// `<name>` is known only when no further one follows. Add `, quiet …` to the sign.
    QuietMissing,
    /// What if this window is missed? Add `late, so …` to the step or above it.
    LateMissing,
    /// After a missed window or a lost guard the run can only end, or begin again from a resting point. `<target>` is neither.
    LateTarget,
    /// `go to` leads forward only. To begin again, say `go back to <target>, at most …, else …`.
    GoToBackward,
    /// `go back to <target>` leads forward. Say `go to <target>`.
    GoBackForward,
    /// This goes back across a point of no return (line <line>).
    RetryAcrossNoReturn,
    /// Nobody can watch `<name>` <where>.
    GuardUnwatched,
    /// <length> is too short to react to what was seen: a person needs 1.5 s and more.
    ReactionTooShort,
    /// `<name>` and `<other>` differ by colour alone. Say what the fingers feel: `felt as "one band of tape"`.
    ToldApartByColour,
    /// Two keys are at one place here: `<name>` is in hand while `<other>` is near. Add `keep away <other>, "where"`.
    KeysNotKeptApart,
    /// `<name>` is not in the hand here.
    ItemNotInHand,
    /// `<name>` must be in the hand before the window opens: it is <length> long. Take it in a step before.
    ItemNotStaged,
    /// This needs <needed> hands; <who> has <has>.
    ThirdHand,
    /// From <from> to <to> no way is given. Add `, … paces from <from>` to the place.
    NoWalkingTime,
    /// The person may stand at <one> or at <other> here. Say where with `at`, in each path.
    PlaceDiffers,
    /// In which state does the count end? Add `, ending "…"`.
    BurstWithoutEndState,
    /// One stroke every <length> is faster than a person can be paced; they will be announced and then left alone.
    BurstTooFast,
    /// <count> strokes within <length> are not comfortable for a person: <each> for each.
    BurstTooFastForHand,
    /// The prompt takes up to <speech> to say; the gap before its window may be <gap>.
    PromptTooLong,
    /// <count> words are too many for one instruction; 20 are the most a busy person takes in.
    InstructionTooLong,
    /// Two instructions stand in one step. Make two steps of them.
    TwoInstructions,
    /// What is called at the moment itself must be short: at most three words, not <count>.
    NowWordsTooLong,
    /// A procedure that adds or removes a key begins with `affirm ownership`.
    OwnershipMissing,
    /// This stores a key without one that already works. We do not lead through that.
    NoWorkingKey,
    /// The first trial is made with the only working key.
    WorkingKeyFirst,
    /// How much may this be trusted? Add `status demonstration`, `status from a handbook` or `status tried on …`.
    StatusMissing,
    /// Here <what>. Warn of it before: `<word> <hazard>, "…"`.
    CautionMissing,
    /// This caution stands after the step that it concerns (line <line>).
    CautionLate,
    /// `<hazard>` is no hazard known here. Known are <known>.
    UnknownHazard,
    /// What if the run is broken off here, past the point of no return? Add `if broken off, "…"`.
    BreakOffMissing,
    /// `<name>` is a secret: it is never <how>. Ask only whether it is at hand.
    SecretRecorded,
    /// `<name>` is not tried at the end. Add `test <name>, "…", expect "…", else finish as …`.
    KeyNotTested,
    /// The count of registered keys is read before and not after. Add `recount <name>, …`.
    CountNotChecked,
    /// No path leads to step `<name>`.
    StepUnreachable,
    /// No path reaches the ending `<name>`.
    EndingUnreachable,
    /// A path runs off the end here. Close it with `finish as …`.
    PathWithoutEnding,
    /// On a path through this `for each` the item ends neither learned nor not learned.
    ItemWithoutEnding,
}

/// Code, name, severity and sentence of every complaint, in the order of `Code`.
const ALL: &[(Code, &str, Severity, &str)] = &[
    // the file as a text
    (
        Code::FileTooLarge,
        "file-too-large",
        Severity::Error,
        "The file is longer than {limit}. A script is a page or two; split it with `use`.",
    ),
    (
        Code::LineTooLong,
        "line-too-long",
        Severity::Error,
        "This line is longer than {limit} bytes. No sentence needs that.",
    ),
    (
        Code::ForbiddenCharacter,
        "forbidden-character",
        Severity::Error,
        "The character {char} is not allowed here: it can hide or reorder what a person reads.",
    ),
    (Code::TooComplex, "too-complex", Severity::Error, "This line is too complex to read."),
    // sentences
    (Code::NotASentence, "not-a-sentence", Severity::Error, "No sentence begins with `{word}`."),
    (
        Code::UnfinishedSentence,
        "unfinished-sentence",
        Severity::Error,
        "Here {expected} should stand, not {found}.",
    ),
    (
        Code::TextNotClosed,
        "text-not-closed",
        Severity::Error,
        "The text that opens here is not closed. Put a quote at its end.",
    ),
    (Code::BareNumber, "bare-number", Severity::Error, "`{number}` needs a unit: ms, s, min or h."),
    (
        Code::DurationOrder,
        "duration-order",
        Severity::Error,
        "Write a length of time from large to small, each unit once: `2min 30s`.",
    ),
    (
        Code::DurationUnknownUnit,
        "duration-unknown-unit",
        Severity::Error,
        "`{unit}` is no unit of time here. The units are ms, s, min and h.",
    ),
    (
        Code::DurationTooLong,
        "duration-too-long",
        Severity::Error,
        "{length} is longer than a day. No step waits that long.",
    ),
    (
        Code::DecimalComma,
        "decimal-comma",
        Severity::Error,
        "Write decimals with a point: `{better}`.",
    ),
    (
        Code::NumberTooLarge,
        "number-too-large",
        Severity::Error,
        "`{number}` is too large here; the most is {most}.",
    ),
    // blocks and order
    (
        Code::EndWithoutBlock,
        "end-without-block",
        Severity::Error,
        "This `end {block}` closes nothing.",
    ),
    (
        Code::WrongEnd,
        "wrong-end",
        Severity::Error,
        "This closes `{found}`, but `{open}` is open since line {line}.",
    ),
    (
        Code::BlockNotClosed,
        "block-not-closed",
        Severity::Error,
        "This `{block}` is never closed. Write `end {block}` below its last line.",
    ),
    (
        Code::NestedTooDeep,
        "nested-too-deep",
        Severity::Error,
        "Blocks stand {depth} deep here; at most {most} are allowed.",
    ),
    (
        Code::SentenceOutOfPlace,
        "sentence-out-of-place",
        Severity::Error,
        "`{sentence}` cannot stand {where}. It belongs {belongs}.",
    ),
    (
        Code::SaidTwice,
        "said-twice",
        Severity::Error,
        "`{sentence}` is said a second time here. Once is meant.",
    ),
    (
        Code::Contradiction,
        "contradiction",
        Severity::Error,
        "`{one}` and `{other}` cannot both hold for one step.",
    ),
    (
        Code::ProcedureMissing,
        "procedure-missing",
        Severity::Error,
        "The script does not say what it is for. Begin with `procedure \"…\"`.",
    ),
    (
        Code::NoSteps,
        "no-steps",
        Severity::Error,
        "The script has no step. There is nothing to lead through.",
    ),
    (
        Code::OrWithoutLine,
        "or-without-line",
        Severity::Error,
        "This `or` line has no line above it to be another version of.",
    ),
    // names
    (Code::UnknownName, "unknown-name", Severity::Error, "There is no {kind} called `{name}`."),
    (
        Code::WrongKindOfName,
        "wrong-kind-of-name",
        Severity::Error,
        "`{name}` is {is}, not {wanted}.",
    ),
    (Code::NameTwice, "name-twice", Severity::Error, "The name `{name}` is taken already."),
    (
        Code::NamesAlike,
        "names-alike",
        Severity::Warning,
        "`{name}` and `{other}` are easily taken for each other.",
    ),
    (
        Code::NoSuchEvent,
        "no-such-event",
        Severity::Error,
        "Step `{step}` has no moment `{event}`: {because}.",
    ),
    (
        Code::EventNotHappened,
        "event-not-happened",
        Severity::Error,
        "On a path to this line, `{event}` has not happened yet.",
    ),
    (
        Code::NoTurnBefore,
        "no-turn-before",
        Severity::Error,
        "`previous` needs a turn before: put this in a `for each` or `repeat`, with `, later turns only`.",
    ),
    (
        Code::TurnsOutsideBlock,
        "turns-outside-block",
        Severity::Error,
        "`{turns}` has no meaning outside a `for each` or `repeat`.",
    ),
    (
        Code::ThisOneOutside,
        "this-one-outside",
        Severity::Error,
        "`this one` has no meaning outside a `for each` over new items.",
    ),
    (Code::ItemUnused, "item-unused", Severity::Warning, "`{name}` is never used."),
    (Code::SignUnused, "sign-unused", Severity::Warning, "The sign `{name}` never appears."),
    (Code::PartUnused, "part-unused", Severity::Warning, "The part `{name}` is never done."),
    // files and parts
    (
        Code::PartFileMissing,
        "part-file-missing",
        Severity::Error,
        "The file `{file}` cannot be used: {because}.",
    ),
    (
        Code::PartFileOutside,
        "part-file-outside",
        Severity::Error,
        "`{file}` lies outside the script's own folder. Parts come from beside the script or below it.",
    ),
    (Code::UseCircle, "use-circle", Severity::Error, "`{file}` uses itself, by way of {chain}."),
    (
        Code::PartCircle,
        "part-circle",
        Severity::Error,
        "The part `{name}` does itself, by way of {chain}.",
    ),
    (
        Code::PartArguments,
        "part-arguments",
        Severity::Error,
        "The part `{name}` wants {wanted} stand-ins; {given} are given.",
    ),
    (
        Code::PartNotAScript,
        "part-not-a-script",
        Severity::Warning,
        "`{file}` holds more than parts; only its parts, signs and places are used.",
    ),
    // values and units
    (
        Code::UnknownUnit,
        "unknown-unit",
        Severity::Error,
        "`{unit}` is no unit known here. Known are V, A, Ah, MHz, kHz, °C, kPa, km/h, % and the name of what is counted.",
    ),
    (
        Code::UnitMismatch,
        "unit-mismatch",
        Severity::Error,
        "`{value}` is given in {unit}; this compares it with {other}.",
    ),
    (
        Code::RangeReversed,
        "range-reversed",
        Severity::Error,
        "The lower bound {lo} lies above the upper bound {hi}.",
    ),
    (
        Code::ZeroCount,
        "zero-count",
        Severity::Error,
        "Once is the least: zero {what} is nothing to do.",
    ),
    (
        Code::CapTooLarge,
        "cap-too-large",
        Severity::Error,
        "At most {most} are allowed here, not {count}.",
    ),
    (
        Code::WindowEmpty,
        "window-empty",
        Severity::Error,
        "The versions of this window share no moment: {lo} to {hi} is empty.",
    ),
    (
        Code::ChoiceUnknown,
        "choice-unknown",
        Severity::Error,
        "`{answer}` is no answer to `{value}`. The answers are {answers}.",
    ),
    (
        Code::LateChoice,
        "late-choice",
        Severity::Error,
        "`only if` needs an answer from before the start; `{value}` is asked during the run.",
    ),
    (
        Code::TooManyVariants,
        "too-many-variants",
        Severity::Error,
        "The choices and counts make {count} variants of this script; at most {most} are checked.",
    ),
    // time said without its ground
    (
        Code::AnchorMissing,
        "anchor-missing",
        Severity::Error,
        "{length} from what? Name the moment: `after NAME event`.",
    ),
    (
        Code::NumberWithoutSource,
        "number-without-source",
        Severity::Warning,
        "No source stands behind this number. Say `according to …` or `assumed \"why\"`, here or at the top.",
    ),
    (
        Code::AboutWithoutTolerance,
        "about-without-tolerance",
        Severity::Error,
        "`about {length}` by how much? Add `give or take …`.",
    ),
    (
        Code::DelayWithoutMaximum,
        "delay-without-maximum",
        Severity::Error,
        "How long may the vehicle take at most? Without a latest moment nobody knows when to give up.",
    ),
    (
        Code::TakesMissing,
        "takes-missing",
        Severity::Error,
        "How long do the hands take? Add `takes … to …`.",
    ),
    (
        Code::VagueWord,
        "vague-word",
        Severity::Warning,
        "\"{word}\" has no number. Say how many or how long.",
    ),
    // answers, silence, failure
    (
        Code::AnswerWithoutSilence,
        "answer-without-silence",
        Severity::Error,
        "What if nothing comes? Add `nothing within …, so …`.",
    ),
    (
        Code::SilenceTooEarly,
        "silence-too-early",
        Severity::Error,
        "Silence is declared before a report can arrive: the sign may come {answer} after the moment it is measured from.",
    ),
    (
        Code::SilenceWithoutAnswer,
        "silence-without-answer",
        Severity::Warning,
        "Nothing is awaited in this step, so `nothing within` has no meaning.",
    ),
    (
        Code::SameObservation,
        "same-observation",
        Severity::Error,
        "Two outcomes of this step look the same: {sign}. Nobody could tell them apart.",
    ),
    (
        Code::SignTwice,
        "sign-twice",
        Severity::Error,
        "`{name}` is the same sign as `{other}`: the same sense, thing and pattern.",
    ),
    (
        Code::SignVerb,
        "sign-verb",
        Severity::Error,
        "`{name}` is a sign to {wanted}, not to {found}.",
    ),
    (
        Code::QuietMissing,
        "quiet-missing",
        Severity::Error,
        "`{name}` is known only when no further one follows. Add `, quiet …` to the sign.",
    ),
    (
        Code::LateMissing,
        "late-missing",
        Severity::Error,
        "What if this window is missed? Add `late, so …` to the step or above it.",
    ),
    (
        Code::LateTarget,
        "late-target",
        Severity::Error,
        "After a missed window or a lost guard the run can only end, or begin again from a resting point. `{target}` is neither.",
    ),
    (
        Code::GoToBackward,
        "go-to-backward",
        Severity::Error,
        "`go to` leads forward only. To begin again, say `go back to {target}, at most …, else …`.",
    ),
    (
        Code::GoBackForward,
        "go-back-forward",
        Severity::Error,
        "`go back to {target}` leads forward. Say `go to {target}`.",
    ),
    (
        Code::RetryAcrossNoReturn,
        "retry-across-no-return",
        Severity::Error,
        "This goes back across a point of no return (line {line}).",
    ),
    (
        Code::GuardUnwatched,
        "guard-unwatched",
        Severity::Warning,
        "Nobody can watch `{name}` {where}.",
    ),
    (
        Code::ReactionTooShort,
        "reaction-too-short",
        Severity::Warning,
        "{length} is too short to react to what was seen: a person needs 1.5 s and more.",
    ),
    // hands, places, items
    (
        Code::ToldApartByColour,
        "told-apart-by-colour",
        Severity::Warning,
        "`{name}` and `{other}` differ by colour alone. Say what the fingers feel: `felt as \"one band of tape\"`.",
    ),
    (
        Code::KeysNotKeptApart,
        "keys-not-kept-apart",
        Severity::Warning,
        "Two keys are at one place here: `{name}` is in hand while `{other}` is near. Add `keep away {other}, \"where\"`.",
    ),
    (Code::ItemNotInHand, "item-not-in-hand", Severity::Error, "`{name}` is not in the hand here."),
    (
        Code::ItemNotStaged,
        "item-not-staged",
        Severity::Error,
        "`{name}` must be in the hand before the window opens: it is {length} long. Take it in a step before.",
    ),
    (Code::ThirdHand, "third-hand", Severity::Error, "This needs {needed} hands; {who} has {has}."),
    (
        Code::NoWalkingTime,
        "no-walking-time",
        Severity::Error,
        "From {from} to {to} no way is given. Add `, … paces from {from}` to the place.",
    ),
    (
        Code::PlaceDiffers,
        "place-differs",
        Severity::Error,
        "The person may stand at {one} or at {other} here. Say where with `at`, in each path.",
    ),
    (
        Code::BurstWithoutEndState,
        "burst-without-end-state",
        Severity::Warning,
        "In which state does the count end? Add `, ending \"…\"`.",
    ),
    (
        Code::BurstTooFast,
        "burst-too-fast",
        Severity::Warning,
        "One stroke every {length} is faster than a person can be paced; they will be announced and then left alone.",
    ),
    (
        Code::BurstTooFastForHand,
        "burst-too-fast-for-hand",
        Severity::Warning,
        "{count} strokes within {length} are not comfortable for a person: {each} for each.",
    ),
    (
        Code::PromptTooLong,
        "prompt-too-long",
        Severity::Warning,
        "The prompt takes up to {speech} to say; the gap before its window may be {gap}.",
    ),
    // words for people
    (
        Code::InstructionTooLong,
        "instruction-too-long",
        Severity::Warning,
        "{count} words are too many for one instruction; 20 are the most a busy person takes in.",
    ),
    (
        Code::TwoInstructions,
        "two-instructions",
        Severity::Warning,
        "Two instructions stand in one step. Make two steps of them.",
    ),
    (
        Code::NowWordsTooLong,
        "now-words-too-long",
        Severity::Warning,
        "What is called at the moment itself must be short: at most three words, not {count}.",
    ),
    // safety
    (
        Code::OwnershipMissing,
        "ownership-missing",
        Severity::Error,
        "A procedure that adds or removes a key begins with `affirm ownership`.",
    ),
    (
        Code::NoWorkingKey,
        "no-working-key",
        Severity::Error,
        "This stores a key without one that already works. We do not lead through that.",
    ),
    (
        Code::WorkingKeyFirst,
        "working-key-first",
        Severity::Warning,
        "The first trial is made with the only working key.",
    ),
    (
        Code::StatusMissing,
        "status-missing",
        Severity::Warning,
        "How much may this be trusted? Add `status demonstration`, `status from a handbook` or `status tried on …`.",
    ),
    (
        Code::CautionMissing,
        "caution-missing",
        Severity::Warning,
        "Here {what}. Warn of it before: `{word} {hazard}, \"…\"`.",
    ),
    (
        Code::CautionLate,
        "caution-late",
        Severity::Warning,
        "This caution stands after the step that it concerns (line {line}).",
    ),
    (
        Code::UnknownHazard,
        "unknown-hazard",
        Severity::Error,
        "`{hazard}` is no hazard known here. Known are {known}.",
    ),
    (
        Code::BreakOffMissing,
        "break-off-missing",
        Severity::Warning,
        "What if the run is broken off here, past the point of no return? Add `if broken off, \"…\"`.",
    ),
    (
        Code::SecretRecorded,
        "secret-recorded",
        Severity::Error,
        "`{name}` is a secret: it is never {how}. Ask only whether it is at hand.",
    ),
    (
        Code::KeyNotTested,
        "key-not-tested",
        Severity::Warning,
        "`{name}` is not tried at the end. Add `test {name}, \"…\", expect \"…\", else finish as …`.",
    ),
    (
        Code::CountNotChecked,
        "count-not-checked",
        Severity::Warning,
        "The count of registered keys is read before and not after. Add `recount {name}, …`.",
    ),
    // paths
    (
        Code::StepUnreachable,
        "step-unreachable",
        Severity::Warning,
        "No path leads to step `{name}`.",
    ),
    (
        Code::EndingUnreachable,
        "ending-unreachable",
        Severity::Warning,
        "No path reaches the ending `{name}`.",
    ),
    (
        Code::PathWithoutEnding,
        "path-without-ending",
        Severity::Error,
        "A path runs off the end here. Close it with `finish as …`.",
    ),
    (
        Code::ItemWithoutEnding,
        "item-without-ending",
        Severity::Warning,
        "On a path through this `for each` the item ends neither learned nor not learned.",
    ),
];

impl Code {
    /// Every code, in the order in which they are declared.
    pub fn all() -> impl Iterator<Item = Code> {
        ALL.iter().map(|row| row.0)
    }

    fn row(self) -> &'static (Code, &'static str, Severity, &'static str) {
        &ALL[self as usize]
    }

    /// The code as a person types it after `why`.
    #[must_use]
    pub fn name(self) -> &'static str {
        self.row().1
    }

    /// How grave it is.
    #[must_use]
    pub fn severity(self) -> Severity {
        self.row().2
    }

    /// The sentence, with `{fact}` gaps.
    #[must_use]
    pub fn sentence(self) -> &'static str {
        self.row().3
    }

    /// The code with this name.
    #[must_use]
    pub fn find(name: &str) -> Option<Code> {
        ALL.iter().find(|row| row.1 == name).map(|row| row.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_follows_the_order_of_the_codes_and_names_are_unique() {
        for (i, row) in ALL.iter().enumerate() {
            assert_eq!(row.0 as usize, i, "{}", row.1);
            assert_eq!(Code::find(row.1), Some(row.0));
        }
    }
}
