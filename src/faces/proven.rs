//! What a proof says, in words: takes a [`Report`], gives lines for people, at most 80 columns wide.
//!
//! ```text
//! Proven: there is a rule for when to cue that keeps every window, limit, hold and count (4 lines), …
//!
//! It rests on 31 bounds, 31 of them assumed:
//!    25  in lines of the script: 25 assumed by its author
//!     6  that no line says: reaction 200ms to 1.5s; …
//!
//! A run takes, from its first words to its ending,
//!   at best   40s to a learned ending, all at its quickest
//!   at worst  2min 20s with nothing done twice
//!             6min 52s with every retry, 40s of it cool-downs
//!
//! The windows, in the worst case,
//!      8.5s to spare  line 88, show-new: within 30s after show-working answered
//!                     latest safe cue: 15.4s after show-working is reported
//! ```
//!
//! Figures are short and rounded the safe way: what is to spare and latest moments down, the worst length
//! up, the best down.

use std::fmt::Write as _;

use super::safe::{fit, safe, wrap};
use crate::clock::Millis;
use crate::procedure::Examined;
use crate::procedure::model::Basis;
use crate::procedure::timing::{Mark, SpeechSource};
use crate::proof::lengths::{Lengths, Worst};
use crate::proof::report::{
    Assumption, COMFORTABLE, CueReport, Hard, InPlan, Latest, Report, Rests, TalkedOver,
    WindowReport,
};
use crate::source::Place;

/// Columns of a text for reading.
const COLUMNS: usize = 78;
/// Columns before the words of a row.
const FIGURE: usize = 20;
/// So many of the tightest windows are shown.
pub const MOST_WINDOWS: usize = 5;

/// A length rounded down: whole minutes from an hour on, whole seconds from a minute on, tenths below,
/// hundredths below a second.
#[must_use]
pub fn down(length: Millis) -> String {
    rounded(length, false)
}

/// A length rounded up to the same places.
#[must_use]
pub fn up(length: Millis) -> String {
    rounded(length, true)
}

fn rounded(length: Millis, up: bool) -> String {
    let step: i64 = match length.0.abs() {
        3_600_000.. => 60_000,
        60_000.. => 1000,
        1000.. => 100,
        _ => 10,
    };
    let more = if up { step - 1 } else { 0 };
    let round = Millis(length.0.saturating_add(more).div_euclid(step) * step);
    match round.0 {
        0..1000 => format!("{}.{:02}s", 0, round.0 / 10),
        1000..60_000 => format!("{}.{}s", round.0 / 1000, round.0 % 1000 / 100),
        _ => round.to_string(),
    }
}

/// The report in lines, each ended; with `all`, every window and every cue.
#[must_use]
pub fn proven(report: &Report, examined: &Examined, all: bool) -> String {
    let mut text = lines(&claim(report, examined));
    let _ = write!(text, "\n{}\n{}", rests(&report.rests), lengths(&report.lengths, examined));
    text.push_str(&windows(report, examined, all));
    text.push_str(&talked_over(&report.talked_over, examined));
    if all {
        text.push_str(&cues(&report.cues, examined));
    }
    text
}

fn lines(text: &str) -> String {
    wrap(text, COLUMNS, 0).join("\n") + "\n"
}

fn line(place: Place, examined: &Examined) -> u32 {
    examined.sources.line_col(place).line
}

fn step(at: InPlan, examined: &Examined) -> String {
    let plan = examined.plans.get(at.plan);
    let name = plan.and_then(|plan| plan.steps.get(at.step.0 as usize)).map(|step| &step.name);
    name.map_or_else(String::new, |name| safe(name).into_owned())
}

/// What *proven* means, in the script's terms.
#[must_use]
pub fn claim(report: &Report, examined: &Examined) -> String {
    if report.extent.demands == 0 {
        return "Proven: there is no window to miss. Waits and cool-downs are kept by the guide."
            .to_owned();
    }
    let lines = match report.windows.len() {
        1 => "1 line".to_owned(),
        n => format!("{n} lines"),
    };
    let variants = match examined.plans.len() {
        1 => String::new(),
        n => format!(" in each of the {n} variants by count and answer,"),
    };
    let bursts = report.windows.iter().any(|window| window.hard == Some(Hard::Burst));
    let bursts = if bursts { " How fast a burst is pressed is your own claim." } else { "" };
    format!(
        "Proven: there is a rule for when to cue that keeps every window, limit, hold and count \
         ({lines}),{variants} in whatever order the outcomes come and however many of the allowed \
         retries it takes, for every hand, answer and spoken word inside the bounds below; provided \
         that each act is done once it is called for, reports come within their delay, and clock and \
         cues are as exact as stated. Nothing is claimed about the bounds being true.{bursts}"
    )
}

fn rests(rests: &Rests) -> String {
    let total = rests.total();
    let mut text =
        format!("It rests on {total} bounds, {} of them assumed:\n", rests.assumptions());
    let written = rests.written.len();
    let words = format!("  {written:>3}  in lines of the script: {}", kinds(rests).join(", "));
    let _ = writeln!(text, "{}", wrap(&words, COLUMNS, 7).join("\n"));
    let assumed: Vec<String> = rests.assumed.iter().map(|one| assumption(*one)).collect();
    let words = format!("  {:>3}  that no line says: {}", assumed.len(), assumed.join("; "));
    let _ = writeln!(text, "{}", wrap(&words, COLUMNS, 7).join("\n"));
    if let Some(words) = spoken(rests) {
        let _ = writeln!(text, "{}", wrap(&format!("       {words}"), COLUMNS, 7).join("\n"));
    }
    text
}

/// How many of the script's bounds come from where.
#[must_use]
pub fn kinds(rests: &Rests) -> Vec<String> {
    let kinds = [
        (rests.count(|basis| matches!(basis, Basis::Source(_))), "from a source"),
        (rests.count(|basis| *basis == Basis::CommonPractice), "common practice"),
        (rests.count(|basis| matches!(basis, Basis::Assumed(_))), "assumed by its author"),
        (rests.count(|basis| *basis == Basis::Unsaid), "from nowhere"),
    ];
    let kinds = kinds.iter().filter(|(n, _)| *n > 0);
    kinds.map(|(n, kind)| format!("{n} {kind}")).collect()
}

/// Where the lengths of spoken words come from, unless all go by the model.
#[must_use]
pub fn spoken(rests: &Rests) -> Option<String> {
    let kinds = [
        (SpeechSource::Stated, "stated in the script"),
        (SpeechSource::Measured, "rendered and measured"),
        (SpeechSource::Recorded, "recorded by a teacher"),
    ];
    let told = kinds.iter().filter_map(|(source, words)| {
        let n = rests.spoken.get(source)?;
        Some(format!("{n} {words}"))
    });
    let told: Vec<String> = told.collect();
    if told.is_empty() {
        return None;
    }
    let voice = rests.voice.as_ref().map(|voice| format!(" (voice: {})", safe(voice)));
    Some(format!("spoken texts: {}{}", told.join(", "), voice.unwrap_or_default()))
}

fn assumption(assumption: Assumption) -> String {
    match assumption {
        Assumption::Reaction(span) => format!("reaction {} to {}", span.lo, span.hi),
        Assumption::Report(span) => format!("reports in {} to {}", span.lo, span.hi),
        Assumption::Pace(span) => format!("a pace in {} to {}", span.lo, span.hi),
        Assumption::Speech { rate, texts } => {
            let plural = if texts == 1 { "" } else { "s" };
            format!("{texts} spoken text{plural} by the model ({rate} words a minute and 600ms)")
        }
        Assumption::Clock(error) => format!("the clock within {error}"),
        Assumption::Jitter(late) => format!("cues at most {late} late"),
    }
}

fn lengths(lengths: &Lengths, examined: &Examined) -> String {
    let whole = |length: Millis, up: i64| {
        let seconds = length.0.saturating_add(up * 999).div_euclid(1000);
        Millis::secs(seconds).to_string()
    };
    let mut text = "A run takes, from its first words to its ending,\n".to_owned();
    let best = match lengths.best {
        Some(best) => format!("{} to a learned ending, all at its quickest", whole(best, 0)),
        None => "not told: none of its ways leads to a learned ending".to_owned(),
    };
    let _ = writeln!(text, "  at best   {best}");
    let _ = writeln!(text, "  at worst  {} with nothing done twice", whole(lengths.once, 1));
    if lengths.most > lengths.once {
        let cool = match lengths.cool_downs {
            Millis(0) => String::new(),
            cool => format!(", {} of it cool-downs", whole(cool, 1)),
        };
        let bound = if lengths.exact { "" } else { " (a bound: the tries are too many to follow)" };
        let _ =
            writeln!(text, "            {} with every retry{cool}{bound}", whole(lengths.most, 1));
    }
    if let Worst::Unbounded(at, place) = lengths.worst() {
        let words = format!(
            "  No length bounds it: before step {}, line {}, the guide waits for you as long as you \
             like{}. Times above leave that out.",
            step(InPlan { plan: 0, step: at }, examined),
            line(place, examined),
            match lengths.pauses.len() {
                1 => String::new(),
                n => format!(", and so at {} more places", n - 1),
            }
        );
        let _ = writeln!(text, "{}", wrap(&words, COLUMNS, 2).join("\n"));
    }
    text
}

fn windows(report: &Report, examined: &Examined, all: bool) -> String {
    let shown = if all { report.windows.len() } else { MOST_WINDOWS };
    if report.windows.is_empty() {
        return String::new();
    }
    let more = report.windows.len().saturating_sub(shown);
    let head = match (all, more) {
        (true, _) => "Every window, in the worst case,".to_owned(),
        (false, 0) => "The windows, in the worst case,".to_owned(),
        (false, n) => format!("The {shown} tightest windows, in the worst case ({n} more: --all),"),
    };
    let mut text = format!("\n{head}\n");
    for window in report.windows.iter().take(shown) {
        for row in row(window, examined) {
            let _ = writeln!(text, "{row}");
        }
    }
    text
}

fn row(window: &WindowReport, examined: &Examined) -> Vec<String> {
    let spare = format!("{:>9} to spare  ", down(window.slack));
    let said =
        examined.sources.slice(window.place).split_whitespace().collect::<Vec<_>>().join(" ");
    let line = line(window.place, examined);
    // Where the number comes from is told above.
    let cut = [", according to", ", assumed \""].iter().filter_map(|tail| said.find(tail)).min();
    let said = &said[..cut.unwrap_or(said.len())];
    let name = step(window.at, examined);
    let words = format!("{spare}line {line}, {name}: {}", safe(said));
    let mut rows = wrap(&words, COLUMNS, FIGURE);
    let mut more = Vec::new();
    if let Some(latest) = window.latest {
        more.push(cue(latest, examined));
    }
    if let Some(hard) = window.hard {
        more.push(hardness(hard));
    }
    for words in more {
        let words = format!("{}{words}", " ".repeat(FIGURE));
        rows.extend(wrap(&words, COLUMNS, FIGURE + 2));
    }
    rows
}

fn cue(latest: Latest, examined: &Examined) -> String {
    let from = step(latest.from, examined);
    let from = match latest.mark {
        Mark::Called => format!("the cue of {from}"),
        _ => format!("{from} is reported"),
    };
    format!("latest safe cue: {} after {from}", down(latest.after))
}

fn hardness(hard: Hard) -> String {
    match hard {
        Hard::Burst => "not comfortable for a person: too fast to be paced by sounds. Practise it \
                        before; the proof takes your pace as given"
            .to_owned(),
        Hard::Reaction => {
            "not comfortable for a person: all of it is no longer than a slow reaction".to_owned()
        }
        Hard::LittleToSpare => {
            format!("not comfortable for a person: less than {COMFORTABLE} to spare")
        }
    }
}

fn talked_over(rows: &[TalkedOver], examined: &Examined) -> String {
    if rows.is_empty() {
        return String::new();
    }
    let why =
        "An answer is listened for while the next words are said, which leave no time after it,";
    let mut text = format!("\n{}", lines(why));
    for row in rows {
        let answer = format!("line {}, {}", line(row.place, examined), step(row.at, examined));
        let plan = examined.plans.get(row.next.plan);
        let said = plan.and_then(|plan| plan.steps.get(row.next.step.0 as usize));
        let said = said.map_or(0, |step| line(step.place, examined));
        let words = format!("     meanwhile  {answer}: the words of line {said}");
        let _ = writeln!(text, "{}", fit(&words, COLUMNS));
    }
    text
}

fn cues(cues: &[CueReport], examined: &Examined) -> String {
    let mut text =
        "\nEvery cue, and how much later than at once it may be given each time,\n".to_owned();
    for cue in cues {
        let wait = cue.may_wait.map_or_else(|| "any time".to_owned(), down);
        let mut words =
            format!("{wait:>9}  line {}: {}", line(cue.place, examined), step(cue.at, examined));
        if let Some(because) = cue.because {
            let _ = write!(words, ", because of line {}", line(because, examined));
        }
        let _ = writeln!(text, "{}", fit(&words, COLUMNS));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_short_and_never_promise_more_than_there_is() {
        let told = |ms| (down(Millis(ms)), up(Millis(ms)));
        let pair = |down: &str, up: &str| (down.to_owned(), up.to_owned());
        assert_eq!(told(0), pair("0.00s", "0.00s"));
        assert_eq!(told(89), pair("0.08s", "0.09s"));
        assert_eq!(told(999), pair("0.99s", "1.0s"));
        assert_eq!(told(8_589), pair("8.5s", "8.6s"));
        assert_eq!(told(59_999), pair("59.9s", "1min"));
        assert_eq!(told(263_643), pair("4min 23s", "4min 24s"));
        assert_eq!(told(3_599_001), pair("59min 59s", "1h"));
        assert_eq!(told(28_566_000), pair("7h 56min", "7h 57min"));
    }
}
