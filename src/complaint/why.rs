//! The long answers of `stepbell why CODE`: what a complaint means, how to mend it, what it rests on.
//!
//! Takes a [`Code`]; gives [`Why`]. The match is exhaustive: a code without an answer does not compile.

use super::Code;

/// The long answer to a complaint.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Why {
    /// What it means and why it matters to the person at the vehicle.
    pub matters: &'static str,
    /// How to mend it, with an example where a line says more than words.
    pub mend: &'static str,
    /// The standard, paper or practice that it rests on; empty where it is a rule of the language.
    pub rests_on: &'static str,
}

const fn why(matters: &'static str, mend: &'static str) -> Why {
    Why { matters, mend, rests_on: "" }
}

const fn on(matters: &'static str, mend: &'static str, rests_on: &'static str) -> Why {
    Why { matters, mend, rests_on }
}

const PRACTICE: &str = "Common practice, no source.";
const STE_LENGTH: &str =
    "ASD-STE100, rule 5.1: a procedural sentence has at most 20 words (read in restatements).";
const STE_ONE: &str = "ASD-STE100, rule 5.2: one instruction in a sentence (read in restatements).";
const BEFORE_STEP: &str = "DOE-STD-1029-92 (CN1 1998), warnings and cautions stand before their \
                           step and hold no action (from memory; the title was read).";
const KEY_CHANGE: &str = "Computed from MTM-1 times (data card 2019; walking and position values \
                          from memory): changing keys takes about 3.7 s trained and twice that for \
                          a novice; with a spoken cue and a reaction that is more than 10 s.";

/// The long answer to this complaint.
#[must_use]
pub fn of(code: Code) -> Why {
    match code {
        Code::FileTooLarge
        | Code::LineTooLong
        | Code::ForbiddenCharacter
        | Code::TooComplex
        | Code::NotASentence
        | Code::UnfinishedSentence
        | Code::TextNotClosed
        | Code::BareNumber
        | Code::DurationOrder
        | Code::DurationUnknownUnit
        | Code::DurationTooLong
        | Code::DecimalComma
        | Code::NumberTooLarge => writing(code),
        Code::EndWithoutBlock
        | Code::WrongEnd
        | Code::BlockNotClosed
        | Code::NestedTooDeep
        | Code::SentenceOutOfPlace
        | Code::SaidTwice
        | Code::Contradiction
        | Code::ProcedureMissing
        | Code::NoSteps
        | Code::OrWithoutLine => order(code),
        Code::PartFileMissing
        | Code::PartFileOutside
        | Code::UseCircle
        | Code::PartCircle
        | Code::PartArguments
        | Code::PartNotAScript
        | Code::UnknownUnit
        | Code::UnitMismatch
        | Code::RangeReversed
        | Code::ZeroCount
        | Code::CapTooLarge
        | Code::WindowEmpty
        | Code::ChoiceUnknown
        | Code::LateChoice
        | Code::TooManyVariants => values(code),
        Code::AnchorMissing
        | Code::NumberWithoutSource
        | Code::AboutWithoutTolerance
        | Code::DelayWithoutMaximum
        | Code::TakesMissing
        | Code::VagueWord
        | Code::AnswerWithoutSilence
        | Code::SilenceTooEarly
        | Code::SilenceWithoutAnswer
        | Code::SameObservation
        | Code::SignTwice
        | Code::SignVerb
        | Code::QuietMissing
        | Code::LateMissing
        | Code::LateTarget
        | Code::GoToBackward
        | Code::GoBackForward
        | Code::RetryAcrossNoReturn
        | Code::GuardUnwatched
        | Code::ReactionTooShort => time(code),
        Code::ToldApartByColour
        | Code::KeysNotKeptApart
        | Code::ItemNotInHand
        | Code::ItemNotStaged
        | Code::ThirdHand
        | Code::NoWalkingTime
        | Code::PlaceDiffers
        | Code::BurstWithoutEndState
        | Code::BurstTooFast
        | Code::BurstTooFastForHand
        | Code::PromptTooLong
        | Code::InstructionTooLong
        | Code::TwoInstructions
        | Code::NowWordsTooLong => hands(code),
        Code::OwnershipMissing
        | Code::NoWorkingKey
        | Code::WorkingKeyFirst
        | Code::StatusMissing
        | Code::CautionMissing
        | Code::CautionLate
        | Code::UnknownHazard
        | Code::BreakOffMissing
        | Code::SecretRecorded
        | Code::KeyNotTested
        | Code::CountNotChecked
        | Code::NotCompared
        | Code::BatteryVoltage => safety(code),
        _ => names(code),
    }
}

fn writing(code: Code) -> Why {
    match code {
        Code::FileTooLarge => why(
            "A script is read whole into memory and shown to a person; a file of a megabyte or of \
             eight thousand lines is something else.",
            "Split it: named parts in files of their own, brought in with `use \"parts/x.bell\"`.",
        ),
        Code::LineTooLong => why(
            "A line is a sentence that is read aloud. Nobody reads four thousand bytes in one \
             breath.",
            "Break it into sentences.",
        ),
        Code::ForbiddenCharacter => on(
            "Control characters can move the cursor, and writing-direction characters can make a \
             line show something other than what is read by the program. At a vehicle that can \
             cost the keys.",
            "Remove it. It is often invisible: delete the text around it and type it again.",
            "The class of tricks is known as CVE-2021-42574 (from memory).",
        ),
        Code::TooComplex => why(
            "The reader gives each line a fixed amount of work, so that no file can hang it.",
            "Write the line in the plain form that the reference shows.",
        ),
        Code::NotASentence => why(
            "The first word of a line says which kind of sentence it is and who decides. This word \
             begins none.",
            "Look for a slip of the pen; the nearest known word is named if there is one. Free \
             remarks begin with `note`.",
        ),
        Code::UnfinishedSentence => why(
            "The sentence began well and then left the form that it must have.",
            "Put what is named at the place marked. `stepbell --help` and the reference show every \
             sentence with an example.",
        ),
        Code::TextNotClosed => why(
            "A text for people stands between two quotes on one line. There is no quote inside a \
             text.",
            "Put the closing quote where the text ends.",
        ),
        Code::BareNumber => why(
            "A number alone may be seconds for one reader and minutes for another.",
            "Write the unit directly behind the number: `30s`, `2min 30s`, `250ms`, `1h`.",
        ),
        Code::DurationOrder => why(
            "`30s 2min` is read as two and a half minutes by one and as a slip by another.",
            "Large units first, each once: `2min 30s`.",
        ),
        Code::DurationUnknownUnit => why(
            "Months and days have no place at a vehicle, and `m` could be minutes or metres.",
            "Use ms, s, min or h.",
        ),
        Code::DurationTooLong => why(
            "No learning step lasts a day. The number is probably a slip.",
            "Check the number and its unit.",
        ),
        Code::DecimalComma => why(
            "The comma separates the parts of a sentence here.",
            "Write a point: `12.65 V`. When a reading is typed during a run, `12,65` is \
             understood and read back.",
        ),
        _ => why(
            "The number is beyond anything that the procedure could mean.",
            "Check it for a digit too many.",
        ),
    }
}

fn order(code: Code) -> Why {
    match code {
        Code::EndWithoutBlock => why(
            "An `end` line closes the block that was opened last. None is open.",
            "Remove the line, or find the opening line that was lost above.",
        ),
        Code::WrongEnd => why(
            "Blocks are closed in the reverse order of their opening, each by its own word.",
            "Close the inner block first.",
        ),
        Code::BlockNotClosed => why(
            "Without its `end` line nobody can see where the block stops, and all that follows \
             would belong to it.",
            "Write the `end` line below the block's last sentence. Steps need none.",
        ),
        Code::NestedTooDeep => why(
            "A note that stands this deep cannot be followed by a person.",
            "Take the inner part out: `part NAME` … `end part`, and `do NAME` in its place.",
        ),
        Code::SentenceOutOfPlace => why(
            "Each sentence has its place: the head says what holds for all, a step's sentences \
             follow its `step` line.",
            "Move the line to where it belongs.",
        ),
        Code::SaidTwice => why(
            "Two lines say the same kind of thing. One of them would silently win.",
            "Keep the one that is meant. Another source's version is an `or` line with its source.",
        ),
        Code::Contradiction => {
            why("The two sentences exclude each other.", "Keep the one that is meant.")
        }
        Code::ProcedureMissing => why(
            "The title is said first, shown on every face and written on the sheet.",
            "Begin the file with `procedure \"…\"`.",
        ),
        Code::NoSteps => why(
            "There is nothing to lead a person through.",
            "Write at least one `step NAME \"…\"`.",
        ),
        _ => why(
            "An `or` line is another source's version of the line directly above it.",
            "Put it below the window, `takes` or `hold` line that it varies.",
        ),
    }
}

fn values(code: Code) -> Why {
    match code {
        Code::PartFileMissing => why(
            "A part from another file is needed before anything can be checked.",
            "Check the name; it is relative to the file that says `use`.",
        ),
        Code::PartFileOutside => why(
            "A script that is handed on must carry its parts with it, and must not reach into \
             other folders of the reader's computer.",
            "Put the file beside the script or in a folder below it.",
        ),
        Code::UseCircle | Code::PartCircle => why(
            "What does itself never ends, and no timing can be proven of it.",
            "Break the circle. A loop with a count is `repeat` or `for each`.",
        ),
        Code::PartArguments => why(
            "A part's stand-ins are replaced by what `do` names, one for one, in order.",
            "Name as many as the `part … of` line does.",
        ),
        Code::PartNotAScript => why(
            "Only the parts, signs and places of a used file are taken over; its steps are not done.",
            "Move the parts to a file of their own, or ignore this.",
        ),
        Code::UnknownUnit => on(
            "Units are checked, so that volts are never compared with a count.",
            "Use one of the known units, or the plural name of what is counted: `8 keys`.",
            "Unit names follow the SI brochure.",
        ),
        Code::UnitMismatch => why(
            "The two sides of the comparison are different kinds of thing.",
            "Compare with a number in the unit in which the reading is asked.",
        ),
        Code::RangeReversed => why(
            "No moment lies between a later first and an earlier second bound.",
            "Exchange the two, if that is what is meant.",
        ),
        Code::ZeroCount => why(
            "An act done zero times is none.",
            "Write the count that is meant, or remove the line.",
        ),
        Code::CapTooLarge => why(
            "Every count up to the cap is unrolled and proven by itself; a cap this large is not \
             a bench procedure.",
            "Lower the cap to what the vehicle stores.",
        ),
        Code::WindowEmpty => why(
            "Where sources differ, all their versions of a window must hold. These have no moment \
             in common, so the sources contradict each other.",
            "Decide for one source; keep the other as a `note`, or make two scripts.",
        ),
        Code::ChoiceUnknown => why(
            "The answer named here is not among those that the question offers.",
            "Use one of the answers of the `ask … as` line.",
        ),
        Code::LateChoice => why(
            "What is done must be known before the start, else the timing cannot be proven. A \
             branch on what the vehicle does is a step with two outcomes.",
            "Move the `ask` into the head, or use `so go to …`.",
        ),
        _ => why(
            "Each combination of counts and answers is its own procedure and is checked by itself.",
            "Lower a cap, or split the script.",
        ),
    }
}

fn time(code: Code) -> Why {
    match code {
        Code::AnchorMissing => why(
            "\"Within 10 s\" of what? Published texts leave it open in half the cases, and the \
             readings differ by many seconds.",
            "Name the moment: `within 10s after key-out done`.",
        ),
        Code::NumberWithoutSource => why(
            "The verdict is only as good as the numbers. A reader must see which come from a \
             document, which from practice, and which are a guess.",
            "`according to \"handbook, page 41\"`, `according to common practice` or \
             `assumed \"why\"` behind the number, in the step, or once in the head.",
        ),
        Code::AboutWithoutTolerance => why(
            "\"About\" alone is not a bound; nothing can be proven from it.",
            "`about 10s give or take 2s`.",
        ),
        Code::DelayWithoutMaximum => why(
            "Without a longest delay nobody knows when waiting is pointless, and no later window \
             can be proven.",
            "Give a maximum; where none is published, an assumed one with the reason.",
        ),
        Code::TakesMissing => why(
            "How long the hands take is what the proof needs most: from the first movement to what \
             the vehicle feels. Reaction and walking are added by themselves.",
            "`takes 2s to 6s`; measure it with the key in the hand, or say `assumed \"…\"`.",
        ),
        Code::VagueWord => on(
            "\"Several seconds\" is 3 s for one person and 10 s for another.",
            "Write the number; if none is published, `assumed \"…\"` with your reason.",
            "NUREG-0899 §5 asks for specific limits (from memory; the title was read).",
        ),
        Code::AnswerWithoutSilence => why(
            "Something may not come. Without a time to give up, the person waits while the \
             vehicle's own window runs out.",
            "`nothing within 6s after done, so go back to …, at most once, else finish as …`.",
        ),
        Code::SilenceTooEarly => why(
            "The answer may still come, or is still being watched, when silence is declared. \
             Guide and vehicle would then be on different paths.",
            "Raise the time above the vehicle's longest delay and the sign's own length. The \
             report's delay is added by the guide itself.",
        ),
        Code::SilenceWithoutAnswer => why(
            "No sign is awaited here, so nothing can fail to come.",
            "Remove the line, or say what is to be seen.",
        ),
        Code::SameObservation => why(
            "What cannot be told apart cannot decide what to do.",
            "Find what differs (a count, a lamp beside the chime), or let both lead to the same.",
        ),
        Code::SignTwice => {
            why("Two names for one sign hide that two answers look the same.", "Use one name.")
        }
        Code::SignVerb => why(
            "The verb says by which sense the sign is known; it was declared with another.",
            "Use the verb of the sign's own line.",
        ),
        Code::QuietMissing => why(
            "One chime is only one when no second follows. Until then it may be the first of three.",
            "`sign chime-once, hear \"the chime\" once, quiet 1.5s`: as long as the longest gap \
             between two of them.",
        ),
        Code::LateMissing => why(
            "A window can be missed by any person. The script must say what the vehicle does then.",
            "`late, so go back to …, at most once, else finish as not-learned` in the step, or \
             once in the head of the phase.",
        ),
        Code::LateTarget => why(
            "After a missed window the clocks that were running mean nothing. Only an ending, or \
             a fresh start where no window reaches back, is sound.",
            "Go back to the step before the first window, or finish.",
        ),
        Code::GoToBackward => why(
            "Going back is a retry: it must be counted, or the run may never end.",
            "`go back to NAME, at most twice, else finish as …`.",
        ),
        Code::GoBackForward => {
            why("The step stands below this line, so nothing is begun again.", "`go to NAME`.")
        }
        Code::RetryAcrossNoReturn => why(
            "Behind a point of no return the vehicle is no longer as it was when the earlier steps \
             were done. Doing them again may lose what is stored.",
            "End the run and say what to do; or, if the source says so, \
             `no way back \"…\", safe to start over`.",
        ),
        Code::GuardUnwatched => why(
            "A guard that nobody can see while busy elsewhere protects nothing.",
            "Say from where it is watched, let a helper watch it, or check it before the start.",
        ),
        _ => on(
            "The person must notice, decide and move. Below 1.5 s an unexpected answer is too \
             late as often as not.",
            "If the act can be prepared, cue it by the guide's clock; else the vehicle cannot be \
             served by one person.",
            "About 1.5 s for an unexpected task (restated from M. Green); simple reactions take \
             0.16 to 0.25 s.",
        ),
    }
}

fn hands(code: Code) -> Why {
    match code {
        Code::ToldApartByColour => on(
            "In bad light, with gloves, or for one man in twelve, red and green tape are the same.",
            "`felt as \"one band of tape\"`, `felt as \"two bands of tape\"`.",
            "The frequency of colour blindness is from memory; the rule is common practice.",
        ),
        Code::KeysNotKeptApart => on(
            "The vehicle may hear the other key and answer for it.",
            "`keep away NAME, \"on the bench, three paces off\"` in the phase or step.",
            PRACTICE,
        ),
        Code::ItemNotInHand => why(
            "The step uses a thing that is in no hand on some path to it.",
            "`take NAME` in a step before, or in this one.",
        ),
        Code::ItemNotStaged => on(
            "Looking for the next key inside a short window is what misses it.",
            "Take it in a step before the window opens: `take two`.",
            KEY_CHANGE,
        ),
        Code::ThirdHand => why(
            "What is held stays in the hand until it is put down or let go.",
            "`put down NAME` before, or let a helper do it.",
        ),
        Code::NoWalkingTime => on(
            "Walking takes time inside the window.",
            "`place bench, 3 paces from seat, \"at the bench\"`.",
            "A pace takes about 0.54 s (MTM-1, 15 TMU, from memory); people walk at 1.31 m/s \
             (Murtagh 2021, 35 studies).",
        ),
        Code::PlaceDiffers => why(
            "Two paths lead here from different places, so the walk has two lengths.",
            "Give the step before, on each path, the same place, or go by a step that brings the \
             person there.",
        ),
        Code::BurstWithoutEndState => why(
            "After eight turns of a switch, is it ON or OFF? The next step depends on it.",
            "`count 8, lasting 5s to 9s, ending \"the switch ON\"`.",
        ),
        Code::BurstTooFast => on(
            "Nobody follows ticks faster than two a second for long; they are told beforehand \
             and then left silent.",
            "Leave the pace out and state how long the whole takes, or slow it down.",
            PRACTICE,
        ),
        Code::BurstTooFastForHand => on(
            "It can be done, with practice, and not reliably.",
            "Practise it away from the vehicle; `rehearse` measures it.",
            "A quarter turn takes 5.4 TMU, 0.19 s (MTM-1 data card 2019); there and back with a \
             stop is more.",
        ),
        Code::PromptTooLong => on(
            "What is said inside the window is taken from it. Prepare words must end before the \
             moment that opens it.",
            "Shorten the instruction, or give it a short `prepare \"…\"`.",
            "Comfortable speech is 150 to 200 words a minute (Sutton, King, Hux & Beukelman 1995); \
             the upper bound used here is 110 words a minute and 0.6 s, so that no voice is slower.",
        ),
        Code::InstructionTooLong => on(
            "A busy person keeps about a line in mind.",
            "Say less, or make two steps.",
            STE_LENGTH,
        ),
        Code::TwoInstructions => on(
            "The second of two instructions is forgotten, and one press cannot report both.",
            "One step for each. Acts that belong together without a report are steps with \
             `straight on` or `no report`.",
            STE_ONE,
        ),
        _ => on(
            "At the moment itself there is time for a tone and a word.",
            "Put the instruction into the step's text and keep `say` to three words.",
            "A tone leads its words by at most 0.5 s (MIL-DTL-87268D 3.3.6.1.1).",
        ),
    }
}

fn safety(code: Code) -> Why {
    match code {
        Code::OwnershipMissing => why(
            "Keys are added only for the owner, or with the owner's written permission. The \
             affirmation is asked before anything else and is recorded.",
            "`affirm ownership` in the head.",
        ),
        Code::NoWorkingKey => why(
            "A procedure that stores a key without one that already works is not written, checked \
             or led through here. A vehicle whose keys are all lost belongs to a dealer or a \
             licensed locksmith.",
            "Declare the working key: `have green, registered key, \"…\"`, and use it.",
        ),
        Code::WorkingKeyFirst => on(
            "If something goes wrong with the only working key, nothing is left.",
            "Try first what can be lost.",
            PRACTICE,
        ),
        Code::StatusMissing => why(
            "The status is said first and stands across the sheet: an invented number must not \
             be taken for a tried one.",
            "`status demonstration`, `status from a handbook` or `status tried on 2026-05-01`.",
        ),
        Code::CautionMissing => on(
            "This kind of step has hurt people or locked them out.",
            "Write the caution before the step, with the signal word that fits: danger will kill, \
             warning may, caution may hurt a little, notice is about things.",
            "ANSI Z535.4 §4.14.1–4 for the signal words; the list of hazards is common practice.",
        ),
        Code::CautionLate => on(
            "A caution that is read after the act warns nobody.",
            "Move it above the step.",
            BEFORE_STEP,
        ),
        Code::UnknownHazard => why(
            "The word between the signal word and the text names the hazard, from a short list, so \
             that the check knows what has been warned of.",
            "Use a word of the list, or leave it out.",
        ),
        Code::BreakOffMissing => why(
            "A customer, a telephone, an empty battery: a run is broken off. Behind a point of no \
             return the person must know what to do.",
            "`if broken off, \"Show every old key again within ten minutes.\"` in the phase's head.",
        ),
        Code::SecretRecorded => why(
            "A PIN or a start code that stands in a record can be read by whoever finds it.",
            "Ask only whether it is at hand: `secret pin, \"the PIN, kept by its owner\"`.",
        ),
        Code::NotCompared => on(
            "A blank of another chip type, frequency or approval number is never accepted, and the \
             run that shows it has used up tries and windows. Asking is only half of it: the answer \
             must be able to stop the start.",
            "`start only if chip of spare is the same as chip of working, else \"Another chip type is \
             never accepted.\"`",
            PRACTICE,
        ),
        Code::BatteryVoltage => on(
            "`battery at least …` makes the guide ask for the battery's state and reckon whether it \
             lasts. Its tables are those of 12 V lead batteries; a voltage outside 9 to 16 V is a \
             slip of the pen, or another kind of battery.",
            "`battery at least 12.4 V, at most 14.8 V`: the floor below which the vehicle gives up, \
             and the ceiling, where there is one.",
            PRACTICE,
        ),
        Code::KeyNotTested => on(
            "A key that was stored and an old key that was forgotten look the same until they are \
             tried, each alone.",
            "`test spares, \"Start with only the new key inside.\", expect \"the engine runs\", else \
             finish as unsure`, and the same for the old keys.",
            PRACTICE,
        ),
        _ => on(
            "The count of registered keys is the one sign that nothing was lost.",
            "`recount known, 1 more for each of spares, else finish as unsure`.",
            PRACTICE,
        ),
    }
}

fn names(code: Code) -> Why {
    match code {
        Code::UnknownName => why(
            "Nothing of this kind has this name.",
            "Check the spelling; the nearest known name is shown if there is one.",
        ),
        Code::WrongKindOfName => why(
            "The name is known, as another kind of thing than is wanted here.",
            "Use a name of the right kind.",
        ),
        Code::NameTwice => why(
            "Two things with one name cannot be told apart.",
            "Rename one. Two steps may share a name only in `only if` blocks that exclude each \
             other.",
        ),
        Code::NamesAlike => {
            why("Two names that look alike are mixed up by the next reader.", "Rename one of them.")
        }
        Code::NoSuchEvent => why(
            "Not every step has every moment: only a held thing is released, only a sign is \
             answered, a step that goes straight on is not called.",
            "Use a moment that the step has.",
        ),
        Code::EventNotHappened => why(
            "On some path to this line the moment has not happened, so the window would silently \
             mean nothing there.",
            "Measure from a moment that every path passes, or make two steps.",
        ),
        Code::NoTurnBefore => why(
            "In a first turn there is no turn before.",
            "Add `, later turns only`, and say what holds in the first turn with `, first turn only`.",
        ),
        Code::TurnsOutsideBlock => why(
            "Turns exist only inside `for each` and `repeat`.",
            "Remove the words, or put the step into such a block.",
        ),
        Code::ThisOneOutside => why(
            "`this one` is the new thing of a turn; there is none here.",
            "`finish as …`, or put the step into the `for each`.",
        ),
        Code::ItemUnused | Code::SignUnused | Code::PartUnused => why(
            "What is declared and never used is a slip, or a leftover that misleads.",
            "Use it or remove it.",
        ),
        Code::StepUnreachable => why(
            "No outcome leads to this step: it would never be done.",
            "Lead to it, or remove it.",
        ),
        Code::EndingUnreachable => why(
            "An ending that no path reaches is a case that somebody thought of and nobody wired.",
            "Lead to it, or remove it.",
        ),
        Code::PathWithoutEnding => why(
            "Every run ends in a named ending, so that the record can say how it went.",
            "`finish as learned` (or another ending) below the last step.",
        ),
        _ => why(
            "Each new thing of a `for each` ends by itself as learned, not learned or unsure.",
            "`so this one is learned` or `is not learned` in the outcomes of the turn.",
        ),
    }
}
