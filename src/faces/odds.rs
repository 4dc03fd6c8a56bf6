//! The odds in words: takes a study, gives a report that fits 80 columns, and the same as JSON.

use std::fmt::Write as _;

use serde_json::{Value, json};

use super::phrases::plural;
use super::safe::{fit, safe, wrap};
use crate::clock::Millis;
use crate::procedure::model::EndingClass;
use crate::training::odds::How;
use crate::training::sensitivity::Of;
use crate::training::statistics::{Interval, Lengths, Z95, fraction, wilson};
use crate::training::study::{Help, StepRow, Study, WindowRow};
use crate::vehicle::law::{Law, Spread};
use crate::vehicle::window::WindowKind;

/// Columns of the report.
const COLUMNS: usize = 79;
/// More rows than these help nobody; JSON has them all.
const MOST_ROWS: usize = 12;
/// Below this part of a run's chance nothing is said to help.
const MOST_HELP: usize = 6;

/// The report.
#[must_use]
pub fn report(study: &Study) -> String {
    let mut text = String::new();
    let faults = match study.orders.as_slice() {
        [] => String::new(),
        orders => format!(", in every run: {}", orders.join(", ")),
    };
    let _ = writeln!(text, "REHEARSAL, {}, seed {}{faults}", plural(study.runs, "run"), study.seed);
    let _ = writeln!(text, "{}{}\n", safe(&study.title), counts(study));
    for line in wrap(&terms(study.law), COLUMNS, 0) {
        let _ = writeln!(text, "{line}");
    }
    text.push('\n');
    ending(&mut text, study);
    steps(&mut text, study);
    windows(&mut text, study);
    lengths(&mut text, study);
    help(&mut text, study);
    text
}

fn counts(study: &Study) -> String {
    let counts = study.counts.iter().map(|(name, n)| format!("{n} {}", safe(name)));
    let counts: Vec<String> = counts.collect();
    if counts.is_empty() { String::new() } else { format!(" ({})", counts.join(", ")) }
}

/// What the figures rest on.
fn terms(law: Law) -> String {
    match law {
        Law::Inside => {
            "Every hand, report and answer was drawn evenly inside the script's bounds, \
                        each by itself."
                .to_owned()
        }
        Law::Edges => "Every length was the least or the most that the script allows.".to_owned(),
        Law::Least => "Every length was the least that the script allows.".to_owned(),
        Law::Most => "Every length was the most that the script allows.".to_owned(),
        Law::Tails(spreads) => format!(
            "Every hand, report and answer was drawn by itself: never quicker than the script's \
             least, and one of twenty takes longer than its most (log-normal; spread: hands {}, \
             reports {}, vehicle {}). Nobody is slow all day in these figures, and nobody learns.",
            spread(spreads.hands),
            spread(spreads.reports),
            spread(spreads.vehicle)
        ),
    }
}

fn spread(spread: Spread) -> String {
    let text = format!("{}.{:03}", spread.0 / 1000, spread.0 % 1000);
    let short = text.trim_end_matches('0');
    if short.ends_with('.') { format!("{short}0") } else { short.to_owned() }
}

fn ending(text: &mut String, study: &Study) {
    if let Some((name, _, n)) = &study.hoped {
        let _ = writeln!(
            text,
            "It ends as hoped ({}) in {} of runs; 95 % interval {}.\n",
            safe(name),
            percent(fraction(*n, study.runs)),
            interval(wilson(*n, study.runs, Z95))
        );
    }
    let _ = writeln!(text, "{:<34} {:>9} {:>9}   95 % interval", "how it ended", "runs", "share");
    for (name, class, n) in &study.endings {
        let class_words = class_words(*class);
        let label = match name.replace('-', " ") == class_words {
            true => safe(name).into_owned(),
            false => format!("{} ({class_words})", safe(name)),
        };
        let _ = writeln!(
            text,
            "  {} {n:>9} {:>9}   {}",
            column(&label, 32),
            percent(fraction(*n, study.runs)),
            interval(wilson(*n, study.runs, Z95))
        );
    }
    if study.standstills > 0 {
        let _ = writeln!(text, "  {} {:>9}", column("came to a standstill", 32), study.standstills);
    }
}

fn steps(text: &mut String, study: &Study) {
    if study.steps.is_empty() {
        text.push_str("\nIn no step anything went otherwise than hoped.\n");
        return;
    }
    let _ = writeln!(
        text,
        "\n{:<34} {:>9} {:>9}   what happened there",
        "where it first goes wrong", "runs", "lost"
    );
    for row in study.steps.iter().take(MOST_ROWS) {
        let _ = writeln!(
            text,
            "  {} {:>9} {:>9}   {}",
            column(&format!("{}, line {}", safe(&row.name), row.line), 32),
            row.at.first_trouble,
            row.at.lost,
            happened(row)
        );
    }
    more(text, study.steps.len());
    text.push_str("  (lost: of these runs, those that did not end as hoped)\n");
}

fn happened(row: &StepRow) -> String {
    let all = row.at.outcomes.iter().filter(|(how, _)| **how != How::Hoped);
    let all: Vec<String> = all.map(|(how, n)| format!("{} {n}", how_words(*how))).collect();
    all.join(", ")
}

const fn how_words(how: How) -> &'static str {
    match how {
        How::Hoped => "as hoped",
        How::Other => "other answer",
        How::Unknown => "unknown answer",
        How::Silent => "silence",
        How::Late => "too late",
        How::Cannot => "cannot",
        How::Slip => "slip",
        How::LostGuard => "guard lost",
    }
}

fn windows(text: &mut String, study: &Study) {
    if study.windows.is_empty() {
        text.push_str("\nNo window with an end was on the way.\n");
        return;
    }
    let _ = writeln!(
        text,
        "\n{:<40} {:>8}  left in 99, 95, 50 of 100",
        "windows, the narrowest first", "missed"
    );
    for row in study.windows.iter().take(MOST_ROWS) {
        let left = |p| row.left.quantile(p).map_or_else(String::new, seconds);
        let _ = writeln!(
            text,
            "  {} {:>8} {:>8} {:>8} {:>8}",
            column(&window_words(row), 38),
            percent(fraction(row.missed(), row.left.n())),
            left(10),
            left(50),
            left(500)
        );
    }
    more(text, study.windows.len());
}

/// A window by its step, kind, length and line.
#[must_use]
pub fn window_words(row: &WindowRow) -> String {
    let what = match row.kind {
        WindowKind::Window => "",
        WindowKind::Hold => "hold ",
        WindowKind::Count => "count ",
    };
    format!("{}, line {}: {what}{}", safe(&row.step), row.line, row.length)
}

fn lengths(text: &mut String, study: &Study) {
    let at = |p| study.length.quantile(p).map_or_else(String::new, minutes);
    let _ = writeln!(
        text,
        "\nFrom the first step to the end of the last: half within {}, 19 of 20\nwithin {}, 99 of \
         100 within {}. The questions are not in it.",
        at(500),
        at(950),
        at(990)
    );
}

fn help(text: &mut String, study: &Study) {
    if study.help.is_empty() {
        return;
    }
    let _ = writeln!(
        text,
        "\nWhich declared time would help most, each alone, a quarter nearer to its least\n(the same \
         {} draws before and after; ± two standard errors):",
        study.help_runs
    );
    let worth = |help: &&Help| help.chance.change > 0.0 || help.least > Millis::ZERO;
    let helps: Vec<&Help> = study.help.iter().filter(worth).take(MOST_HELP).collect();
    if helps.is_empty() {
        text.push_str("  none of them, by itself\n");
    }
    for help in helps {
        let _ = writeln!(
            text,
            "  {} {:>5} ± {:.1} in 100, least left {}",
            column(&help_words(help), 40),
            format!("{:+.1}", 100.0 * help.chance.change),
            200.0 * help.chance.error,
            signed(help.least)
        );
    }
}

/// A change of a declared time.
#[must_use]
pub fn help_words(help: &Help) -> String {
    let line = help.line.map_or_else(String::new, |line| format!(", line {line}"));
    let what = match &help.of {
        Of::Hands(step, _) => format!("hands, {}", safe(step)),
        Of::Strokes(step, _) => format!("count, {}", safe(step)),
        Of::Answer(step, _) => format!("answer, {}", safe(step)),
        Of::Reaction => "reaction".to_owned(),
        Of::Report => "report".to_owned(),
        Of::Pace => "a pace".to_owned(),
    };
    format!("{what}{line}: {}, not {}", help.to, help.from)
}

fn more(text: &mut String, all: usize) {
    if all > MOST_ROWS {
        let _ = writeln!(text, "  and {} more, which `--format json` lists", all - MOST_ROWS);
    }
}

fn column(text: &str, columns: usize) -> String {
    let text = fit(text, columns);
    let used = unicode_width::UnicodeWidthStr::width(text.as_str());
    format!("{text}{}", " ".repeat(columns.saturating_sub(used)))
}

/// The class of an ending in words.
const fn class_words(class: EndingClass) -> &'static str {
    match class {
        EndingClass::Learned => "learned",
        EndingClass::NotLearned => "not learned",
        EndingClass::Unsure => "unsure",
        EndingClass::Stopped => "stopped",
    }
}

/// A fraction in hundredths. What is not nothing is not called 0, what is not all is not called 100.
#[must_use]
pub fn percent(part: f64) -> String {
    let rounded = format!("{:.1} %", 100.0 * part);
    match rounded.as_str() {
        "0.0 %" if part > 0.0 => "< 0.1 %".to_owned(),
        "100.0 %" if part < 1.0 => "> 99.9 %".to_owned(),
        _ => rounded,
    }
}

fn interval(interval: Interval) -> String {
    format!("{} to {}", percent(interval.lo), percent(interval.hi))
}

/// Seconds with one decimal, rounded down: what is left is never more than it was.
#[must_use]
pub fn seconds(length: Millis) -> String {
    let tenths = length.0.div_euclid(100);
    let sign = if tenths < 0 { "-" } else { "" };
    format!("{sign}{}.{} s", tenths.unsigned_abs() / 10, tenths.unsigned_abs() % 10)
}

fn signed(length: Millis) -> String {
    let sign = if length < Millis::ZERO { "" } else { "+" };
    format!("{sign}{}", seconds(length))
}

/// A length in minutes and whole seconds, rounded up.
fn minutes(length: Millis) -> String {
    Millis((length.0 + 999).div_euclid(1000) * 1000).to_string()
}

/// The study as one JSON document for programs.
#[must_use]
pub fn document(study: &Study) -> Value {
    let share = |n: u64| {
        let Interval { lo, hi } = wilson(n, study.runs, Z95);
        json!({ "runs": n, "share": fraction(n, study.runs), "wilson95": [lo, hi] })
    };
    let law = match study.law {
        Law::Inside => json!({ "kind": "inside" }),
        Law::Edges => json!({ "kind": "edges" }),
        Law::Least => json!({ "kind": "least" }),
        Law::Most => json!({ "kind": "most" }),
        Law::Tails(spreads) => json!({
            "kind": "tails",
            "spread_thousandths": {
                "hands": spreads.hands.0,
                "reports": spreads.reports.0,
                "vehicle": spreads.vehicle.0,
            },
        }),
    };
    json!({
        "rehearsal": true,
        "title": study.title,
        "runs": study.runs,
        "seed": study.seed,
        "law": law,
        "faults": study.orders,
        "counts": study.counts.iter().cloned().collect::<std::collections::BTreeMap<_, _>>(),
        "hoped": study.hoped.as_ref().map(|(name, class, n)| {
            json!({ "ending": name, "class": class_words(*class), "chance": share(*n) })
        }),
        "endings": study.endings.iter().map(|(name, class, n)| {
            json!({ "ending": name, "class": class_words(*class), "chance": share(*n) })
        }).collect::<Vec<_>>(),
        "standstills": study.standstills,
        "steps": study.steps.iter().map(step_document).collect::<Vec<_>>(),
        "windows": study.windows.iter().map(window_document).collect::<Vec<_>>(),
        "length_ms": quantiles(&study.length, &[50, 500, 950, 990]),
        "least_left_ms": quantiles(&study.least, &[10, 50, 500, 950]),
        "help_runs": study.help_runs,
        "help": study.help.iter().map(help_document).collect::<Vec<_>>(),
    })
}

fn step_document(row: &StepRow) -> Value {
    let outcomes = How::ALL.iter().filter_map(|how| {
        let n = row.at.outcomes.get(how)?;
        Some((how_words(*how).replace(' ', "_"), Value::from(*n)))
    });
    json!({
        "step": row.name,
        "line": row.line,
        "outcomes": outcomes.collect::<serde_json::Map<_, _>>(),
        "first_trouble": row.at.first_trouble,
        "lost": row.at.lost,
    })
}

fn window_document(row: &WindowRow) -> Value {
    json!({
        "step": row.step,
        "line": row.line,
        "kind": match row.kind {
            WindowKind::Window => "window",
            WindowKind::Hold => "hold",
            WindowKind::Count => "count",
        },
        "length_ms": row.length.0,
        "times": row.left.n(),
        "missed": row.missed(),
        "left_ms": quantiles(&row.left, &[10, 50, 500, 950]),
    })
}

fn help_document(help: &Help) -> Value {
    let (kind, step) = match &help.of {
        Of::Hands(step, _) => ("hands", Some(step)),
        Of::Strokes(step, _) => ("count", Some(step)),
        Of::Answer(step, _) => ("answer", Some(step)),
        Of::Reaction => ("reaction", None),
        Of::Report => ("report", None),
        Of::Pace => ("pace", None),
    };
    json!({
        "time": kind,
        "step": step,
        "line": help.line,
        "from_ms": help.from.0,
        "to_ms": help.to.0,
        "change": help.chance.change,
        "standard_error": help.chance.error,
        "least_left_change_ms": help.least.0,
    })
}

/// Quantiles by their names: `p1`, `p5`, `p50` …
fn quantiles(lengths: &Lengths, thousandths: &[u32]) -> Value {
    let named = thousandths.iter().map(|p| {
        let value = lengths.quantile(*p).map_or(Value::Null, |length| Value::from(length.0));
        (format!("p{}", p / 10), value)
    });
    Value::Object(named.collect())
}
