//! A rehearsal's score in words: takes rows, gives a table that fits 80 columns, what went wrong and
//! what to prepare earlier.

use std::fmt::Write as _;

use super::odds::seconds;
use super::phrases;
use super::safe::{fit, safe, wrap};
use crate::clock::Millis;
use crate::journal::happened::{Outcome, Sentence};
use crate::journal::practice::Left;
use crate::training::replay::Missed;
use crate::training::score::{Came, Row, Score, Then};

/// Columns of the score.
const COLUMNS: usize = 79;

/// The score of a rehearsal.
#[must_use]
pub fn score(score: &Score) -> String {
    let mut text = String::from("Score of this rehearsal. There was no vehicle.\n\n");
    if score.rows.is_empty() {
        text.push_str("No step was begun.\n");
        return text;
    }
    let _ = writeln!(
        text,
        "  {:<20} {:>15} {:>11}  truly left of its window",
        "step", "act, of at most", "told after"
    );
    for row in &score.rows {
        let _ = writeln!(text, "  {}", line(row));
    }
    text.push('\n');
    let advice: Vec<String> = score.rows.iter().flat_map(advice).collect();
    for advice in &advice {
        for (n, line) in wrap(advice, COLUMNS - 2, 0).iter().enumerate() {
            let _ = writeln!(text, "{} {line}", if n == 0 { "-" } else { " " });
        }
    }
    if !advice.is_empty() {
        text.push('\n');
    }
    for line in wrap(&verdict(score), COLUMNS, 0) {
        let _ = writeln!(text, "{line}");
    }
    text
}

fn line(row: &Row) -> String {
    let act = row.act.map_or_else(
        || "-".to_owned(),
        |(after, most)| format!("{} of {}", seconds(after), seconds(most)),
    );
    let told = row.told.map_or_else(|| "-".to_owned(), seconds);
    let unfelt = row.unfelt().and_then(|missed| missed.why.as_ref()).map(|why| match why.is {
        Sentence::Limit => format!("LIMIT MISSED (line {})", why.line),
        Sentence::Window | Sentence::Hold => format!("MISSED (line {})", why.line),
    });
    let left: Vec<String> = row.left.iter().map(left).chain(unfelt).collect();
    let left = if left.is_empty() { "-".to_owned() } else { left.join(", ") };
    let name = fit(&safe(&phrases::step(&row.step)), 20);
    let pad = 20_usize.saturating_sub(unicode_width::UnicodeWidthStr::width(name.as_str()));
    format!("{name}{} {act:>15} {told:>11}  {left}", " ".repeat(pad))
}

fn left(left: &Left) -> String {
    let line = left.line;
    match (left.left < 0, left.early) {
        (true, true) => format!("TOO EARLY {} (line {line})", lacked(left)),
        (true, false) => format!("MISSED {} (line {line})", lacked(left)),
        (false, _) => format!("{} (line {line})", seconds(Millis(left.left))),
    }
}

/// By how much a window was missed, rounded up: never less than it was.
fn lacked(left: &Left) -> String {
    seconds(Millis((-left.left + 99).div_euclid(100) * 100))
}

/// What is to be learned from one row.
fn advice(row: &Row) -> Vec<String> {
    let step = safe(&phrases::step(&row.step)).into_owned();
    let mut all = Vec::new();
    for missed in row.missed() {
        let by = lacked(missed);
        let line = missed.line;
        all.push(match missed.early {
            true => {
                format!("{step}: {by} too early for the window of line {line}. Wait for the cue.")
            }
            false => format!("{step}: the window of line {line} was missed by {by}."),
        });
    }
    all.extend(row.unfelt().and_then(|missed| unfelt(row, missed)));
    if let (Some(late), Some((after, most))) = (row.late(), row.act) {
        all.push(format!(
            "{step}: your hand came {} after its cue, {} later than the script allows ({}). {}",
            seconds(after),
            seconds(late),
            seconds(most),
            earlier(row)
        ));
    }
    if let (Some(late), Some(told)) = (row.told_late(), row.told) {
        all.push(format!(
            "{step}: you told of the answer after {}, {} later than the script allows. Press as soon \
             as you are sure of it.",
            seconds(told),
            seconds(late)
        ));
    }
    if row.never_came() {
        all.push(format!("{step}: {}", never_came(row)));
    }
    let slipped = row.outcome == Some(Outcome::Slip);
    let told = wrongly(row).or_else(|| slipped.then(|| "you told of a slip.".to_owned()));
    let led = row.then.as_ref().filter(|_| slipped).map(|then| led(row, then));
    all.extend(told.map(|told| format!("{step}: {told}{}", led.unwrap_or_default())));
    all
}

/// A window that closed before the vehicle felt anything that it is about.
fn unfelt(row: &Row, missed: &Missed) -> Option<String> {
    let why = missed.why.as_ref()?;
    let step = phrases::step(&missed.step);
    let what = sentence(why.is);
    let before = match row.act {
        None => "before the act was complete",
        Some(_) => "before this was told of",
    };
    let own = if missed.step == row.step { String::new() } else { format!(", of {step},") };
    let name = phrases::step(&row.step);
    Some(
        safe(&format!("{name}: the {what} of line {}{own} closed {before}.", why.line))
            .into_owned(),
    )
}

const fn sentence(is: Sentence) -> &'static str {
    match is {
        Sentence::Limit => "limit",
        Sentence::Window | Sentence::Hold => "window",
    }
}

/// What a slip led to.
fn led(row: &Row, then: &Then) -> String {
    match then {
        Then::Ended(class) => format!(" It ended the run: {}.", phrases::class(*class)),
        Then::Step(step) => {
            let way = if step.ix <= row.step.ix { "back" } else { "on" };
            format!(" It led {way} to {}.", safe(&phrases::step(step)))
        }
    }
}

/// The act that was cued and not felt in full.
fn never_came(row: &Row) -> &'static str {
    if row.ended_by_clock() {
        "your act never came, or not all of it. Begin at the tone: touch the vehicle with the act key, as \
         often as the act says."
    } else {
        "you told of it, and the act had not come, or not all of it. Act first, then tell."
    }
}

/// What to prepare before the cue, so that the hand comes in time.
fn earlier(row: &Row) -> String {
    let taken: Vec<String> = row.taken.iter().map(|label| safe(label).into_owned()).collect();
    let taken = taken.join(" and ");
    match (taken.is_empty(), &row.walked) {
        (true, None) => "Have the hand ready while the words are said.".to_owned(),
        (true, Some(place)) => format!("Be ready to walk at the tone: {}.", safe(place)),
        (false, None) => format!("Lay {taken} within reach while the words are said."),
        (false, Some(place)) => format!(
            "Lay {taken} within reach while the words are said, and be ready to walk at the tone: {}.",
            safe(place)
        ),
    }
}

/// What came, where something else was told; and trouble that was told rightly.
fn wrongly(row: &Row) -> Option<String> {
    let came = match row.came.as_ref()? {
        Came::Answer(_, signs) if row.slow.is_some() => format!(
            "{}, {} later than the script allows",
            phrases::signs(signs),
            row.slow.map_or_else(String::new, seconds)
        ),
        Came::Answer(0, _) if row.told_rightly()? => return None,
        Came::Answer(_, signs) => phrases::signs(signs),
        Came::Unknown => "an answer that the script does not know".to_owned(),
        Came::Nothing(why) => {
            use crate::journal::practice::Why;
            match why {
                Why::Ordered => "the vehicle was silent, as ordered".to_owned(),
                Why::Outside => {
                    "the vehicle was silent, since the act was outside its window".to_owned()
                }
                Why::OneMore => {
                    "the vehicle was silent, since there was a stroke too many".to_owned()
                }
            }
        }
        Came::Lost(what) => format!("this was broken: {}", safe(what.trim_end_matches('.'))),
        Came::Slip => "a slip was to be told".to_owned(),
    };
    let outcome = row.outcome.as_ref()?;
    if row.passed {
        return Some(format!("{came}; the step was over by then."));
    }
    if row.guessed {
        return Some(format!("{came}; it was told of before it came. Wait until you are sure."));
    }
    Some(match (row.told_rightly()?, outcome) {
        (true, _) => format!("{came}; you met it well ({}).", safe(&phrases::outcome(outcome))),
        (false, _) if matches!(row.came, Some(Came::Lost(_))) => {
            format!("{came}; you did not tell of it.")
        }
        (false, Outcome::Silent | Outcome::Late) => {
            format!("{came}; it was not told of in time.")
        }
        (false, _) => {
            format!("{came}; what was told is: {}.", safe(&phrases::outcome(outcome)))
        }
    })
}

fn verdict(score: &Score) -> String {
    let never = score.rows.iter().filter(|row| row.never_came()).count();
    let acts = never + score.rows.iter().filter(|row| row.act.is_some()).count();
    let late = score.rows.iter().filter(|row| row.late().is_some()).count();
    let told = score.rows.iter().filter(|row| row.told_rightly().is_some()).count();
    let wrong = score.rows.iter().filter(|row| row.told_rightly() == Some(false)).count();
    let (right_after, wrong_after) = score.asked_after();
    let (told, wrong) = (told + right_after + wrong_after, wrong + wrong_after);
    let in_time = match acts {
        0 => "No act was done".to_owned(),
        _ => format!("{} of {acts} acts in time", acts - never - late),
    };
    let mut text = match told {
        0 => format!("{in_time}."),
        _ => format!("{in_time}; {} of {told} happenings told as they were.", told - wrong),
    };
    if wrong_after > 0 {
        let _ = write!(text, " Answered otherwise after the last step: {wrong_after}.");
    }
    if never > 0 {
        let _ = write!(text, " Acts that never came: {never}.");
    }
    let closed = score.rows.iter().find_map(|row| row.unfelt()?.why.as_ref().map(|why| (row, why)));
    let narrowest = score.narrowest().filter(|(_, left)| closed.is_none() || left.left < 0);
    if let (None, Some((row, why))) = (narrowest, closed) {
        let _ = write!(
            text,
            " Worst: {} missed its {} (line {}).",
            safe(&phrases::step(&row.step)),
            sentence(why.is),
            why.line
        );
    }
    if let Some((row, left)) = narrowest {
        let step = phrases::step(&row.step);
        let line = left.line;
        let _ = match left.left < 0 {
            true => write!(text, " Worst: {} missed its window (line {line}).", safe(&step)),
            false => write!(
                text,
                " Narrowest: {} with {} left of its window (line {line}).",
                safe(&step),
                seconds(Millis(left.left))
            ),
        };
    }
    let quick = score.rows.iter().filter(|row| row.too_quick()).count();
    if quick > 0 {
        let _ = write!(
            text,
            " Sooner than a hand can by the script: {quick} of {acts}. Go the way, take the thing and do \
             the act before you touch."
        );
    }
    if score.needless > 0 {
        let _ = write!(text, " Needless touches: {}.", score.needless);
    }
    if score.hints > 0 {
        let _ = write!(text, " Looked up: {}.", score.hints);
    }
    text
}
