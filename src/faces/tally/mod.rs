//! A tally in words; beside it as JSON and as a table (`document`), and as a page (`page`).
//!
//! Takes a [`Tally`]; gives text. Success rates stand with Wilson's and Jeffreys' intervals, never
//! alone; what is left of a window is rounded down.

use std::fmt::Write as _;

mod document;
mod page;

pub use document::{document, table};
pub use page::page;

use super::phrases::plural;
use super::safe::{fit, safe};
use crate::clock::{Millis, Span};
use crate::proof::verdict::Verdict;
use crate::training::bounds::Wider;
use crate::training::intervals::jeffreys;
use crate::training::statistics::{Interval, Z95, fraction, wilson};
use crate::training::tally::{Broken, Group, Key, Met, Tally, Timed, Window};

/// The quantiles that are shown of what was left, in thousandths.
const SHOWN: [u32; 3] = [50, 500, 950];

/// For people.
#[must_use]
pub fn words(tally: &Tally) -> String {
    let mut text = String::new();
    for (key, group) in &tally.groups {
        group_words(&mut text, key, group);
    }
    let _ = writeln!(text, "{} counted.", plural(tally.counted(), "record"));
    told(&mut text, "damaged, counted as far as they can be read", &tally.damaged);
    told(&mut text, "still being recorded, not counted yet", &tally.running);
    told(&mut text, "given twice, counted once", &tally.again);
    for (copy, whole) in &tally.cut {
        let (copy, whole) = (safe(copy), safe(whole));
        let _ = writeln!(text, "not counted again: {copy}: the same run as {whole}, cut short");
    }
    told(&mut text, "the computer's clock stopped or jumped in", &tally.jumped);
    for (name, why) in &tally.refused {
        let _ = writeln!(text, "not counted: {}: {}", safe(name), safe(why));
    }
    if !tally.refused.is_empty() {
        let n = u64::try_from(tally.refused.len()).unwrap_or(u64::MAX);
        let _ = writeln!(text, "{} could not be counted.", plural(n, "file"));
    }
    text
}

fn told(text: &mut String, what: &str, names: &[String]) {
    const MOST: usize = 10;
    if names.is_empty() {
        return;
    }
    let shown: Vec<_> = names.iter().take(MOST).map(|name| safe(name).into_owned()).collect();
    let more = names.len().saturating_sub(MOST);
    let more = if more > 0 { format!(", and {more} more") } else { String::new() };
    let _ = writeln!(text, "{what}: {}{more}", shown.join(", "));
}

fn group_words(text: &mut String, key: &Key, group: &Group) {
    let kind = if key.rehearsal { "REHEARSALS" } else { "live runs" };
    let person = key.person.as_ref().map_or_else(String::new, |who| format!(", {}", safe(who)));
    let edition = key.sha256.get(..8).unwrap_or(&key.sha256);
    let _ = writeln!(text, "{}\n{kind}{person}, text {}\n", safe(&key.title), safe(edition));
    let (k, n) = (group.learned, group.runs);
    let _ = writeln!(
        text,
        "  learned  {k} of {n}, {}   (95 %: Wilson {}, Jeffreys {})",
        percent(fraction(k, n)),
        between(wilson(k, n, Z95)),
        between(jeffreys(k, n))
    );
    if group.things.1 > 0 {
        let (k, n) = group.things;
        let _ = writeln!(text, "  keys     {k} of {n} learned, each by itself");
    }
    for (name, (_, n)) in &group.endings {
        let _ = writeln!(text, "  ended    {}: {n}", safe(name));
    }
    if !group.windows.is_empty() {
        let _ = writeln!(
            text,
            "\n  {:<28} {:>6} {:>7} {:>10}  left: 5 %, half, 95 %",
            "window", "met", "missed", "not known"
        );
    }
    for ((step, line), window) in &group.windows {
        let name = fit(&safe(&format!("{step} (line {line})")), 28);
        let Met { met, missed, not_known } = group.met(step, *line);
        let left = left(window);
        let _ = writeln!(text, "  {name:<28} {met:>6} {missed:>7} {not_known:>10}  {left}");
    }
    for (line, n) in &group.limits {
        let _ = writeln!(text, "  {}", limit(*line, *n));
    }
    contradicted(text, group);
    if let Some(practice) = practice(group) {
        let _ = writeln!(text, "  practice: {practice}");
    }
    text.push('\n');
}

/// How often a limit on several steps was missed. Nobody takes note of how often it was met.
fn limit(line: u32, n: u64) -> String {
    format!("the limit of line {line} was missed {}", plural(n, "time"))
}

/// What was left of a window, in quantiles, and of how much.
fn left(window: &Window) -> String {
    let left: Vec<String> =
        SHOWN.iter().filter_map(|p| window.left.quantile(*p)).map(tenths).collect();
    let of = window.length.map_or_else(String::new, |of| format!(" of {}", tenths(of)));
    if left.is_empty() { "-".to_owned() + &of } else { left.join(", ") + &of }
}

/// How practice shortened the runs, from five of them on.
fn practice(group: &Group) -> Option<String> {
    let Some(curve) = group.curve() else {
        let enough = group.lengths.len() >= crate::training::learning::LEAST_RUNS;
        return enough.then(|| "the runs get no shorter".to_owned());
    };
    let runs = plural(u64::try_from(group.lengths.len()).unwrap_or(u64::MAX), "run");
    let last = group.lengths.last().map_or_else(String::new, |(_, last)| tenths(*last));
    let (first, rate) = (tenths(curve.first), percent(curve.rate()));
    let (floor, off) = (tenths(curve.floor), tenths(curve.off));
    Some(format!(
        "{runs} learned straight through; from {first} to {last} by a curve that falls to {rate} of what is \
         above {floor} with each doubling (off by {off})"
    ))
}

/// The declared times that reality contradicts, and what would agree with it.
fn contradicted(text: &mut String, group: &Group) {
    for (at, broken) in &group.broken {
        let _ = writeln!(text, "  contradicted: {}", contradiction(group, at, broken));
        for wider in proposals(group, at) {
            let _ = writeln!(text, "    {}", proposal(wider));
        }
    }
    if let Some(proposed) = group.proposed.as_ref() {
        let _ =
            writeln!(text, "    as it is written the script is {}", verdict(&proposed.as_declared));
    }
}

/// One time that was broken, in a sentence.
fn contradiction(group: &Group, at: &Timed, broken: &Broken) -> String {
    let (step, mark) = (&at.step, at.which.word());
    let n = group.told.get(at).copied().unwrap_or(0);
    let times = group.proposed.iter().flat_map(|proposed| &proposed.times);
    let known = times.into_iter().find(|time| time.at == *at);
    let whose = known.map_or_else(
        || format!("{} {mark}", safe(step)),
        |time| {
            // What it leads to says nothing of its length.
            let times = time.written.split_once(", so ").map_or(&*time.written, |(times, _)| times);
            format!("line {}, {}: \"{}\"", time.line, safe(step), safe(times))
        },
    );
    let one = |word: &str, k: u64, most: Option<Millis>| {
        let most = most.map_or_else(String::new, up);
        (k > 0).then(|| format!("{word} {k} of {}, by up to {most}", plural(n, "time")))
    };
    let longer = one("longer", broken.longer.n(), broken.longer.most());
    let sooner = one("sooner", broken.sooner.n(), broken.sooner.most());
    let said: Vec<String> = longer.into_iter().chain(sooner).collect();
    format!("{whose}; {}", said.join("; "))
}

/// The wider bounds for a time that was broken.
fn proposals<'a>(group: &'a Group, at: &'a Timed) -> impl Iterator<Item = &'a Wider> {
    let times = group.proposed.iter().flat_map(|proposed| &proposed.times);
    times.filter(move |time| time.at == *at).flat_map(|time| &time.wider)
}

/// Wider bounds and what becomes of the proof.
fn proposal(wider: &Wider) -> String {
    let share = match wider.of_thousand {
        1000 => "all of them".to_owned(),
        other => format!("{} of 100", other / 10),
    };
    format!(
        "\"{}\" is long enough for {share}; with it: {}",
        span(wider.span),
        verdict(&wider.verdict)
    )
}

/// Bounds as a script has them.
fn span(span: Span) -> String {
    match (span.lo, span.hi) {
        (Millis::ZERO, hi) => format!("within {hi}"),
        (lo, hi) if lo == hi => hi.to_string(),
        (lo, hi) => format!("{lo} to {hi}"),
    }
}

/// A verdict in a word or two.
fn verdict(verdict: &Verdict) -> String {
    match verdict {
        Verdict::Proven(_) => "proven".to_owned(),
        Verdict::Refused(refusal) if refusal.certain => {
            format!("impossible, {} missing", up(refusal.short))
        }
        Verdict::Refused(refusal) => format!("not proven, {} may be missing", up(refusal.short)),
        Verdict::TooLarge(_) => "too large to be proven".to_owned(),
        Verdict::Unanchored(_) => "not proven: a window has lost its beginning".to_owned(),
    }
}

fn percent(p: f64) -> String {
    format!("{:.1} %", p * 100.0)
}

fn between(interval: Interval) -> String {
    format!("{:.1} to {:.1} %", interval.lo * 100.0, interval.hi * 100.0)
}

/// Tenths of a second, rounded down.
fn tenths(length: Millis) -> String {
    let tenths = length.0.div_euclid(100);
    let sign = if tenths < 0 { "-" } else { "" };
    let tenths = tenths.unsigned_abs();
    format!("{sign}{}.{} s", tenths / 10, tenths % 10)
}

/// Tenths of a second, rounded up.
fn up(length: Millis) -> String {
    tenths(Millis(length.0.saturating_add(99)))
}
