//! Every complaint there is: its stable code, how grave it is, and its sentence with gaps for facts.
//!
//! Takes nothing; gives [`Code`]. The sentences stand in `sentences.rs`, the longer texts of `why CODE`
//! in `why.rs`. A code never changes its meaning or its name.

use super::sentences::ALL;

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
    /// `<one>` and `<other>` exclude each other.
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
    /// `<name>` is asked and compared with nothing. Add `start only if <name> is …`.
    NotCompared,
    /// `battery` speaks of the voltage of a 12 V battery: 9 to 16 V, not <value>.
    BatteryVoltage,
    /// No path leads to step `<name>`.
    StepUnreachable,
    /// No path reaches the ending `<name>`.
    EndingUnreachable,
    /// A path runs off the end here. Close it with `finish as …`.
    PathWithoutEnding,
    /// On a path through this `for each` the item ends neither learned nor not learned.
    ItemWithoutEnding,
}

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
