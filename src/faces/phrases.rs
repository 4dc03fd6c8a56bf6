//! The sentences: takes recorded data (questions, notices, answers, outcomes, lengths), gives calm,
//! short, plain English. No other file of the faces words any of it.

use std::fmt::Display;

use super::battery;
use super::reach::{LEAST, PREFERRED, RowHeight};
use super::terminal::Size;
use super::words::State;
use crate::clock::{Millis, Moment};
use crate::journal::entry::{EndingClass, Sender};
use crate::journal::happened::{
    Answer, Away, Count, CountWhat, Fact, Mark, Means, Notice, Outcome, Question, Rest, Sense,
    Sentence, Sign, Signal, StepAt, Tone, Value, Why, Window,
};

/// What is left until a moment, rounded down: `9 s`, `1:05`, `1:00:00`. Past it, `0 s`.
#[must_use]
pub fn digits(left: Millis) -> String {
    let s = left.0.max(0) / 1000;
    let (hours, mins, secs) = (s / 3600, s / 60 % 60, s % 60);
    match (hours, mins) {
        (0, 0) => format!("{secs} s"),
        (0, mins) => format!("{mins}:{secs:02}"),
        (hours, mins) => format!("{hours}:{mins:02}:{secs:02}"),
    }
}

/// What is left, rounded down, in whole words: `1 minute 5 seconds`.
#[must_use]
pub fn spelled(left: Millis) -> String {
    let s = left.0.max(0) / 1000;
    let units = [(s / 3600, "hour"), (s / 60 % 60, "minute"), (s % 60, "second")];
    let named = units.iter().filter(|(n, _)| *n > 0).map(|(n, unit)| match n {
        1 => format!("1 {unit}"),
        n => format!("{n} {unit}s"),
    });
    let words = named.collect::<Vec<_>>().join(" ");
    if words.is_empty() { "0 seconds".to_owned() } else { words }
}

/// A moment as seconds of the run with thousandths: `12.345`, `-0.200`.
#[must_use]
pub fn seconds(at: Moment) -> String {
    let sign = if at.0 < 0 { "-" } else { "" };
    let ms = at.0.unsigned_abs();
    format!("{sign}{}.{:03}", ms / 1000, ms % 1000)
}

/// A number given in thousandths, with a decimal point where it needs one.
#[must_use]
pub fn number(thousandths: i64) -> String {
    let sign = if thousandths < 0 { "-" } else { "" };
    let n = thousandths.unsigned_abs();
    let (whole, part) = (n / 1000, n % 1000);
    if part == 0 {
        return format!("{sign}{whole}");
    }
    let part = format!("{part:03}");
    format!("{sign}{whole}.{}", part.trim_end_matches('0'))
}

/// A value with its unit.
#[must_use]
pub fn value(value: &Value) -> String {
    match value {
        Value::Number { thousandths, unit } if unit.is_empty() => number(*thousandths),
        Value::Number { thousandths, unit } => format!("{} {unit}", number(*thousandths)),
        Value::Text(text) => format!("\"{text}\""),
    }
}

/// A step by name, with its turn.
#[must_use]
pub fn step(step: &StepAt) -> String {
    match step.turn {
        Some((nth, of)) => format!("{} ({nth} of {of})", step.name),
        None => step.name.clone(),
    }
}

/// A step by name, turn and line.
#[must_use]
pub fn step_with_line(at: &StepAt) -> String {
    match &at.file {
        Some(file) => format!("{}, {file} line {}", step(at), at.line),
        None => format!("{}, line {}", step(at), at.line),
    }
}

/// The mark of a window's state: told apart by word and by shape, without any colour.
#[must_use]
pub const fn window_mark(window: Window) -> &'static str {
    match window {
        Window::None => "",
        Window::NotYet => ".. NOT YET ..",
        Window::Safe => "[== OPEN ==]",
        Window::AtRisk => "[?? AT RISK ??]",
        Window::TooLate => "!! KEEP STILL !!",
        Window::Closed => "(-- CLOSED --)",
    }
}

/// What the digits count to, with the digits.
#[must_use]
pub fn count(count: &Count, window: Window, at: Moment) -> String {
    let left = digits(Moment(count.to).since(at));
    let (before, after) = around_digits(count.what, window);
    format!("{before}{left}{after}")
}

/// What stands before and after the digits of a count, for a face whose digits run by themselves.
#[must_use]
pub const fn around_digits(what: CountWhat, window: Window) -> (&'static str, &'static str) {
    match what {
        CountWhat::LatestCue | CountWhat::LatestAct if matches!(window, Window::AtRisk) => {
            ("", " left to try it; it may be missed all the same")
        }
        CountWhat::Cue => ("", " to the cue"),
        CountWhat::LatestCue => ("", " left to start safely"),
        CountWhat::LatestAct => ("", " left to act"),
        CountWhat::Silence => ("", " more, then it counts as: nothing came"),
        CountWhat::LetGo => ("let go in ", ""),
        CountWhat::CoolDown => ("", " of waiting left"),
        CountWhat::StepOver => ("", ", then it goes on by itself"),
    }
}

/// The sentence that binds a count: `because the window of line 69 closes 30s after open answered`.
#[must_use]
pub fn why(count: &Count) -> Option<String> {
    count.why.as_ref().map(why_it_binds)
}

fn why_it_binds(why: &Why) -> String {
    let length = Millis(why.ms);
    let line = why.line;
    match why.is {
        Sentence::Window => {
            format!("because the window of line {line} closes {length} after {}", anchor(why))
        }
        Sentence::Limit => {
            format!("because the limit of line {line} is {length} after {}", anchor(why))
        }
        Sentence::Hold => format!("because line {line} holds for {length} at the most"),
    }
}

/// What a sentence is measured from, in the script's words.
fn anchor(why: &Why) -> String {
    why.event.map_or_else(|| why.after.clone(), |event| format!("{} {}", why.after, mark(event)))
}

/// A moment as scripts call it; those that they cannot name are the guide's own.
const fn mark(mark: Mark) -> &'static str {
    match mark {
        Mark::Prepare => "prepared for",
        Mark::Prepared => "prepared",
        Mark::Called => "called",
        Mark::Heard => "heard",
        Mark::Begun => "begun",
        Mark::Done => "done",
        Mark::LetGo => "told to let go",
        Mark::Released => "released",
        Mark::Answered => "answered",
        Mark::Reported => "reported",
        Mark::Over => "over",
    }
}

/// An act or an answer outside its bounds.
fn broken(at: &StepAt, what: Mark, by: Millis) -> String {
    let what = match what {
        Mark::Answered => "the answer came",
        _ => "it was done",
    };
    let (by, way) = if by < Millis::ZERO { (Millis(-by.0), "sooner") } else { (by, "later") };
    format!("{}: {what} at least {by} {way} than the script allows. Noted.", step(at))
}

/// What is left after that.
fn rest(rest: &Rest) -> String {
    match rest {
        Rest::Holds => "Looked ahead again: every window can still be met.".to_owned(),
        Rest::HoldsInPart => "Looked ahead again: what is proven can still be met.".to_owned(),
        Rest::Lost { step: at, why } => format!(
            "Looked ahead again: the window of line {} ({}) can no more be met for certain. Keep \
             still until it has closed; another way follows.",
            why.line,
            step(at)
        ),
    }
}

fn times(n: u32) -> String {
    match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}

/// A sign as something that a person senses.
#[must_use]
pub fn sign(sign: &Sign) -> String {
    let object = &sign.object;
    let how = match (sign.times, &sign.state) {
        (Some(n), _) => format!(" {}", times(n)),
        (None, Some(state)) => format!(" {state}"),
        (None, None) => String::new(),
    };
    match sign.sense {
        Sense::See => format!("you see {object}{how}"),
        Sense::Hear => format!("you hear {object}{how}"),
        Sense::Feel => format!("you feel {object}{how}"),
        Sense::Read => format!("you read \"{object}\"{how}"),
    }
}

/// Several signs that belong together.
#[must_use]
pub fn signs(all: &[Sign]) -> String {
    all.iter().map(sign).collect::<Vec<_>>().join(" and ")
}

/// A numbered answer.
#[must_use]
pub fn answer(answer: &Answer) -> String {
    match answer {
        Answer::Met { signs: all } => signs(all),
        Answer::Nothing => "nothing came".to_owned(),
        Answer::NoneOfThese => "none of these".to_owned(),
        Answer::Cannot => "I cannot do it".to_owned(),
        Answer::Lost { text, forbids: false } => format!("no longer true: {text}"),
        Answer::Lost { text, forbids: true } => format!("this was not kept to: {text}"),
        Answer::Choice { text } => text.clone(),
    }
}

/// What a press of *done* means.
#[must_use]
pub fn means(means: Means, hoped: &[Sign]) -> String {
    match means {
        Means::Nothing => "nothing now".to_owned(),
        Means::Understood => "I understand".to_owned(),
        Means::Yes => "yes".to_owned(),
        Means::ActDone => "I have done it".to_owned(),
        Means::AnswerCame if hoped.is_empty() => "the answer came".to_owned(),
        Means::AnswerCame => format!("the answer came: {}", signs(hoped)),
        Means::GoOn => "go on".to_owned(),
        Means::NoPress => "no press needed, the guide goes on by itself".to_owned(),
    }
}

/// The signal words of ANSI Z535 and ISO 3864-2, as capitals (from memory).
#[must_use]
pub const fn signal(word: Signal) -> &'static str {
    match word {
        Signal::Danger => "DANGER",
        Signal::Warning => "WARNING",
        Signal::Caution => "CAUTION",
        Signal::Notice => "NOTICE",
    }
}

/// What has to be typed where a run begins unproven and there is no way back in it.
const BEGIN_UNPROVEN: &str = "begin unproven";

/// The words that a question wants, letter case aside; `None`: a yes is enough.
#[must_use]
pub const fn in_words(question: &Question) -> Option<&'static str> {
    match question {
        Question::Unproven { .. } => Some(BEGIN_UNPROVEN),
        _ => None,
    }
}

/// A question, in one or two sentences.
#[must_use]
pub fn question(question: &Question) -> String {
    match question {
        Question::Demonstration => "This is a demonstration: its vehicle and its numbers are \
                                    invented. Is no real vehicle meant?"
            .to_owned(),
        Question::LocalRules => "Local rules and licensed practice come first, and the script's \
                                 numbers are its author's claim. Understood?"
            .to_owned(),
        Question::Ownership => {
            "Do you own this vehicle, or act with its owner's written permission?".to_owned()
        }
        Question::Affirm { text } => format!("Is this so? {text}"),
        Question::Alert { word, text } => format!("{}: {text}", signal(*word)),
        Question::HowMany { label, least, most } => {
            format!("How many: {} From {least} to {most}.", asked(label))
        }
        Question::Reading { text, unit, plausible, .. } => {
            reading(text, unit.as_deref(), *plausible)
        }
        Question::ReadBack { text, value: given } => {
            format!("{} {}. Right?", marked(text, ':'), value(given))
        }
        Question::AtHand { text } => {
            let text = marked(text, '.');
            format!("At hand? {text} It is never asked for, shown or written down.")
        }
        Question::GateClosed { text, must: true } => {
            format!("This run must not start: {}", marked(text, '.'))
        }
        Question::GateClosed { text, must: false } => {
            format!("{} Go on all the same?", marked(text, '.'))
        }
        Question::Checklist { text } => format!("Is this so: {}", asked(text)),
        Question::ItemAtHand { label } => format!("At hand: {}", asked(label)),
        Question::Start => "All is ready. Start?".to_owned(),
        Question::Test { text, expect, label } => {
            let with = label.as_ref().map_or_else(String::new, |with| format!(" With: {with}."));
            let (text, expect) = (marked(text, '.'), marked(expect, '.'));
            format!("Test: {text}{with} Expected: {expect} Is it so?")
        }
        Question::Recount { text, unit } => {
            format!("Once more: {}", reading(text, unit.as_deref(), None))
        }
        Question::Battery { about, .. } => battery::ask(*about).to_owned(),
        Question::BatteryReadBack { value: given, .. } => format!("Is it {}?", value(given)),
        Question::BatteryJudged(judged) => battery::judged(judged),
        Question::Unproven { reason, step: at, past } => format!(
            "The timing of this script is not proven: a window may be missed although nobody is slower \
             than the script allows. The reason given: \"{reason}\". From step {} (line {}) on there is \
             no way back: \"{past}\" To begin all the same, type: {BEGIN_UNPROVEN}",
            step(at),
            at.line,
        ),
        Question::ReallyStop => "Stop the run?".to_owned(),
        Question::ReallySlip { ends } => {
            format!("Was something else done than told? That ends the run: {}.", class(*ends))
        }
        Question::TakeUp { record, step: last, act, text, past } => {
            take_up(record, last.as_ref(), act.as_deref(), text.as_deref(), past.as_deref())
        }
    }
}

/// What is to be typed, with its unit and what is plausible: `Voltage, in V, plausible 9 to 16.` or,
/// where the text is a whole question, `Charger connected? In V, plausible 9 to 16.`
fn reading(text: &str, unit: Option<&str>, plausible: Option<(i64, i64)>) -> String {
    let range = |(lo, hi)| format!("plausible {} to {}", number(lo), number(hi));
    let how = unit.map(|unit| format!("in {unit}")).into_iter().chain(plausible.map(range));
    let how = how.collect::<Vec<_>>().join(", ");
    let text = text.trim_end();
    match (how.split_at_checked(1), has_mark(text)) {
        (None, _) => marked(text, '.'),
        (Some((first, rest)), true) => format!("{text} {}{rest}.", first.to_uppercase()),
        (Some(_), false) => format!("{text}, {how}."),
    }
}

/// Whether a text ends a sentence by itself.
fn has_mark(text: &str) -> bool {
    text.ends_with(['.', '?', '!', ':', '…'])
}

/// A text with a mark at its end: its own, or this one.
#[must_use]
pub fn marked(text: &str, mark: char) -> String {
    let text = text.trim_end();
    if has_mark(text) { text.to_owned() } else { format!("{text}{mark}") }
}

/// A text as the end of a question.
fn asked(text: &str) -> String {
    marked(text.trim_end().trim_end_matches('.'), '?')
}

fn take_up(
    record: &str,
    last: Option<&StepAt>,
    act: Option<&str>,
    text: Option<&str>,
    past: Option<&str>,
) -> String {
    let mut said = format!("An earlier run of this script was broken off (record {record}). ");
    match last {
        Some(last) => {
            said.push_str(&format!("Last certain: step {}", step_with_line(last)));
            match act.map(|act| marked(act, '.')) {
                Some(act) => said.push_str(&format!(": \"{act}\" ")),
                None => said.push_str(". "),
            }
        }
        None => said.push_str("It had not begun its first step. "),
    }
    if let Some(past) = past {
        said.push_str(&format!("Past changing since then: {} ", marked(past, '.')));
    }
    if let Some(text) = text {
        said.push_str(&format!("For a break there the script says: {} ", marked(text, '.')));
    }
    said.push_str(
        "What the vehicle holds now is not known. A new record will name the old one. Begin from \
         the start?",
    );
    said
}

const fn away(how: Away) -> &'static str {
    match how {
        Away::Slept => "The computer slept",
        Away::Stopped => "The program stood still",
        Away::Late => "The computer was late",
    }
}

/// How an ending's class is said.
#[must_use]
pub const fn class(class: EndingClass) -> &'static str {
    match class {
        EndingClass::Learned => "learned",
        EndingClass::NotLearned => "not learned",
        EndingClass::Unsure => "unsure",
        EndingClass::Stopped => "stopped",
    }
}

/// An ending's class as the words that are seen from far away.
#[must_use]
pub const fn class_word(class: EndingClass) -> &'static str {
    match class {
        EndingClass::Learned => "LEARNED",
        EndingClass::NotLearned => "NOT LEARNED",
        EndingClass::Unsure => "UNSURE",
        EndingClass::Stopped => "STOPPED",
    }
}

/// Whether to act, as words that are seen from far away.
#[must_use]
pub const fn state(state: State) -> Option<&'static str> {
    match state {
        State::None => None,
        State::Wait => Some("WAIT"),
        State::Ready => Some("READY"),
        State::Doubtful => Some("AT RISK"),
        State::Now => Some("NOW"),
        State::KeepStill => Some("KEEP STILL"),
        State::Closed => Some("CLOSED"),
    }
}

/// A face that takes nothing.
#[must_use]
pub fn stuck(name: &str) -> String {
    format!("{name} shows nothing new: it does not take what it is given")
}

/// Said where a view is left up at the end.
pub const LEAVES: &str = "press any key of the guide to leave this view";

/// Why the small view is shown instead of the big one: with what is needed, where that can be said.
#[must_use]
pub fn too_small(needed: Option<Size>) -> String {
    match needed {
        Some(Size { columns, rows }) => {
            format!("small view: large digits need {columns} columns and {rows} rows")
        }
        None => "small view".to_owned(),
    }
}

/// From how far digits of so many rows can be read, and what that rests on.
#[must_use]
pub fn reach(rows: usize, row: RowHeight) -> String {
    let metres = |angle| {
        let tenths = row.distance_of(rows, angle) / 100;
        format!("{}.{} m", tenths / 10, tenths % 10)
    };
    format!(
        "large digits can be read from {}, at most from {}, where a row of this terminal is {row} mm \
         high; measure it, and say so with --row-height",
        metres(PREFERRED),
        metres(LEAST)
    )
}

/// So many of something.
pub(crate) fn plural<N: Copy + Display + PartialEq + From<u8>>(n: N, what: &str) -> String {
    let end = if n == N::from(1) { "" } else { "s" };
    format!("{n} {what}{end}")
}

/// What a built-in ending tells the person. `begun`: whether a step was.
#[must_use]
pub const fn built_in(class: EndingClass, begun: bool) -> &'static str {
    match class {
        EndingClass::Stopped if !begun => "No step was begun, so there is nothing to try.",
        EndingClass::Learned => "What was to be learned is learned.",
        EndingClass::NotLearned => "The new key is not learned. Try the keys that worked before.",
        EndingClass::Unsure => {
            "Nobody can tell what the vehicle stored. Try every key before you leave it."
        }
        EndingClass::Stopped => "Try every key that worked before you leave the vehicle.",
    }
}

/// A notice.
#[must_use]
pub fn notice(notice: &Notice) -> String {
    match notice {
        Notice::TooEarly => "Too early: not taken. Press when it has happened.".to_owned(),
        Notice::NotUnderstood => "Not understood. Please type it again.".to_owned(),
        Notice::NotPlausible => "Not plausible. Please look and type it again.".to_owned(),
        Notice::Late { step: at, .. } => format!("Time is up for {}.", step(at)),
        Notice::Unattended { step: at, how, ms } => format!(
            "{} for {}. The window of {} closed meanwhile: not missed by you.",
            away(*how),
            Millis(*ms),
            step(at)
        ),
        Notice::WasAway { how, ms } => format!("{} for {}.", away(*how), Millis(*ms)),
        Notice::Silence { step: at } => format!("Nothing came in time for {}.", step(at)),
        Notice::OutOfBounds { step: at, .. } => format!(
            "The answer of {} came outside the bounds that the script gives. Noted.",
            step(at)
        ),
        Notice::Broken { step: at, mark: what, ms } => broken(at, *what, Millis(*ms)),
        Notice::Rechecked { rest: left } => rest(left),
        Notice::GuardLost { text } => format!("No longer so: {text}"),
        Notice::Slipped { step: at } => {
            format!("Something else was done at {}.", step(at))
        }
        Notice::TakenBack { step: at } => format!("Taken back: {}.", step(at)),
        Notice::Again { nth, of } => format!("Once more: try {nth} of {of}."),
        Notice::TriesSpent => "No tries are left.".to_owned(),
        Notice::LetGoFirst => "First let go of everything.".to_owned(),
        Notice::HoldAt { step: Some(at) } => format!("It will be held before {}.", step(at)),
        Notice::HoldAt { step: None } => {
            "It will be held at the next resting point. Keep going until then.".to_owned()
        }
        Notice::ThingEnded { label, class: how } => format!("{label}: {}.", class(*how)),
        Notice::KeepAwake { text } => format!("To keep the vehicle awake: {text}"),
        Notice::CueLate { ms } => format!("The cue came {} late.", Millis(*ms)),
        Notice::NoReturn { text } => format!("No way back from here: {text}"),
    }
}

/// A step's outcome, for a table.
#[must_use]
pub fn outcome(outcome: &Outcome) -> String {
    match outcome {
        Outcome::Done => "done".to_owned(),
        Outcome::Met { signs: all, .. } => signs(all),
        Outcome::Silent => "nothing came".to_owned(),
        Outcome::Other => "something else".to_owned(),
        Outcome::Cannot => "could not".to_owned(),
        Outcome::Slip => "slip".to_owned(),
        Outcome::Late => "late".to_owned(),
        Outcome::LostGuard { text } => format!("no longer so: {text}"),
        Outcome::Unreported => "by the clock".to_owned(),
    }
}

/// Who sent an input from afar.
#[must_use]
pub fn sender(from: Sender) -> String {
    match from {
        Sender { page, helper: false } => format!("page {page}"),
        Sender { page, helper: true } => format!("page {page}, for the helper"),
    }
}

/// A tone, for a face that cannot ring.
#[must_use]
pub const fn tone(tone: Tone) -> &'static str {
    match tone {
        Tone::Prepare => "prepare",
        Tone::Now => "NOW",
        Tone::Tick => "tick",
        Tone::Missed => "missed",
        Tone::TenLeft => "10 s left",
        Tone::FiveLeft => "5 s left",
        Tone::LetGo => "let go",
    }
}

/// A fact that a plain face tells beside what the frames show; most facts are for the record only.
#[must_use]
pub fn fact(fact: &Fact) -> Option<String> {
    match fact {
        Fact::Outcome { step: at, outcome: how } => Some(format!("{}: {}", step(at), outcome(how))),
        Fact::Margin { step: at, line, window, left } => {
            let of = window.map_or_else(String::new, |window| format!(" of {}", Millis(window)));
            let left = match *left {
                ..0 => "nothing left for sure".to_owned(),
                left => format!("{} left", Millis(left)),
            };
            Some(format!("{}: {left}{of} (window in line {line})", step(at)))
        }
        Fact::Thing { label, class: how } => Some(format!("{label}: {}", class(*how))),
        Fact::Tried { nth, of } => Some(format!("try {nth} of {of}")),
        Fact::NoReturn { text } => Some(format!("no way back from here: {text}")),
        Fact::Held { held: true } => Some("held".to_owned()),
        Fact::Held { held: false } => Some("goes on".to_owned()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_round_down_and_never_below_zero() {
        assert_eq!(digits(Millis(9_999)), "9 s");
        assert_eq!(digits(Millis(65_000)), "1:05");
        assert_eq!(digits(Millis(3_600_000)), "1:00:00");
        assert_eq!(digits(Millis(-5)), "0 s");
    }

    #[test]
    fn numbers_and_moments_keep_their_thousandths() {
        assert_eq!(number(12_600), "12.6");
        assert_eq!(number(-500), "-0.5");
        assert_eq!(number(3_000), "3");
        assert_eq!(seconds(Moment(12_345)), "12.345");
        assert_eq!(seconds(Moment(-200)), "-0.200");
    }

    /// A text that ends in a mark gets no second one, one without gets one.
    #[test]
    fn questions_end_in_one_mark() {
        let read = |text: &str, unit: Option<&str>, plausible| {
            let (text, unit) = (text.to_owned(), unit.map(str::to_owned));
            question(&Question::Reading { text, unit, plausible, choice: false })
        };
        let plausible = Some((9_000, 16_500));
        let text = "Battery voltage, charger connected?";
        assert_eq!(read(text, Some("V"), plausible), format!("{text} In V, plausible 9 to 16.5."));
        assert_eq!(read("Voltage", Some("V"), plausible), "Voltage, in V, plausible 9 to 16.5.");
        assert_eq!(read("Count?", None, plausible), "Count? Plausible 9 to 16.5.");
        assert_eq!(read("Chip type", None, None), "Chip type.");
        assert_eq!(read("Chip type?", None, None), "Chip type?");
        let once_more = |text: &str| {
            question(&Question::Recount { text: text.to_owned(), unit: Some("keys".to_owned()) })
        };
        assert_eq!(once_more("How many?"), "Once more: How many? In keys.");
        assert_eq!(once_more("Keys counted"), "Once more: Keys counted, in keys.");
        let checked = |text: &str| question(&Question::Checklist { text: text.to_owned() });
        assert_eq!(checked("window open"), "Is this so: window open?");
        assert_eq!(checked("The window is open."), "Is this so: The window is open?");
        assert_eq!(checked("Window open?"), "Is this so: Window open?");
        let at_hand = |text: &str| question(&Question::AtHand { text: text.to_owned() });
        assert!(at_hand("The owner's code.").starts_with("At hand? The owner's code. It is"));
        assert!(at_hand("The owner's code").starts_with("At hand? The owner's code. It is"));
        let test = Question::Test {
            text: "Ring".to_owned(),
            expect: "it rings.".to_owned(),
            label: Some("the button".to_owned()),
        };
        assert_eq!(question(&test), "Test: Ring. With: the button. Expected: it rings. Is it so?");
    }

    fn at(name: &str) -> StepAt {
        StepAt { ix: 0, name: name.to_owned(), line: 4, file: None, turn: None }
    }

    /// A record of the first versions does not say which moment a window is measured from.
    #[test]
    fn the_line_that_binds_is_named() {
        let told = |event, is| {
            let why = Why { line: 14, ms: 10_000, after: "lamp".to_owned(), event, is };
            why_it_binds(&why)
        };
        let window = told(Some(Mark::Answered), Sentence::Window);
        assert_eq!(window, "because the window of line 14 closes 10s after lamp answered");
        let old = told(None, Sentence::Window);
        assert_eq!(old, "because the window of line 14 closes 10s after lamp");
        let limit = told(Some(Mark::Done), Sentence::Limit);
        assert_eq!(limit, "because the limit of line 14 is 10s after lamp done");
        let hold = told(Some(Mark::Done), Sentence::Hold);
        assert_eq!(hold, "because line 14 holds for 10s at the most");
    }

    #[test]
    fn a_broken_bound_and_what_is_left_are_told() {
        let told = |mark, ms| notice(&Notice::Broken { step: at("tin"), mark, ms });
        assert_eq!(
            told(Mark::Done, 2_150),
            "tin: it was done at least 2.15s later than the script allows. Noted."
        );
        assert_eq!(
            told(Mark::Answered, -300),
            "tin: the answer came at least 300ms sooner than the script allows. Noted."
        );
        let why = Why {
            line: 88,
            ms: 30_000,
            after: "open".to_owned(),
            event: Some(Mark::Answered),
            is: Sentence::Window,
        };
        let lost = Rest::Lost { step: at("show-new"), why };
        assert_eq!(
            notice(&Notice::Rechecked { rest: lost }),
            "Looked ahead again: the window of line 88 (show-new) can no more be met for certain. Keep \
             still until it has closed; another way follows."
        );
    }

    #[test]
    fn an_earlier_run_is_told_of_in_whole_sentences() {
        let told = |act: &str| {
            take_up(
                "r",
                Some(&StepAt { ix: 0, name: "wake".to_owned(), line: 4, file: None, turn: None }),
                Some(act),
                Some("Try every key"),
                None,
            )
        };
        let sentence = "Last certain: step wake, line 4: \"Press it.\" For a break there the script \
                        says: Try every key. What the vehicle";
        assert!(told("Press it.").contains(sentence), "{}", told("Press it."));
        assert_eq!(told("Press it"), told("Press it."));
    }
}
