//! A tally in words, as JSON, as a table of comma-separated values, and as a page.
//!
//! Takes a [`Tally`]; gives text. Success rates stand with Wilson's and Jeffreys' intervals, never
//! alone; what is left of a window is rounded down.

use std::fmt::Write as _;

use maud::{DOCTYPE, Markup, PreEscaped, html};
use serde_json::{Value, json};

use super::phrases;
use super::safe::{fit, safe};
use crate::clock::Millis;
use crate::training::intervals::{exact, jeffreys};
use crate::training::statistics::{Interval, Z95, fraction, wilson};
use crate::training::tally::{Group, Key, Tally};

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
    told(&mut text, "given twice, counted once", &tally.again);
    told(&mut text, "the computer's clock stopped or jumped in", &tally.jumped);
    for (name, why) in &tally.refused {
        let _ = writeln!(text, "not counted: {}: {}", safe(name), safe(why));
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
            "\n  {:<28} {:>6} {:>7}  left: 5 %, half, 95 %",
            "window", "met", "missed"
        );
    }
    for ((step, line), window) in &group.windows {
        let missed = group.missed.get(step).copied().unwrap_or(0);
        let name = fit(&safe(&format!("{step} (line {line})")), 28);
        let left: Vec<String> =
            SHOWN.iter().filter_map(|p| window.left.quantile(*p)).map(tenths).collect();
        let of = window.length.map_or_else(String::new, |of| format!(" of {}", tenths(of)));
        let _ = writeln!(
            text,
            "  {name:<28} {:>6} {missed:>7}  {}{of}",
            window.left.n(),
            left.join(", ")
        );
    }
    for ((step, mark), broken) in &group.broken {
        let n = group.entered.get(step).copied().unwrap_or(0);
        let _ = writeln!(
            text,
            "  contradicted: {} {mark}: outside the script's bound {} of {n}, by up to {}",
            safe(step),
            plural(broken.by.n(), "time"),
            up(broken.most)
        );
    }
    practice(text, group);
    text.push('\n');
}

fn practice(text: &mut String, group: &Group) {
    match group.curve() {
        Some(curve) => {
            let _ = writeln!(
                text,
                "  practice: {} learned straight through; from {} to {} by a curve that falls to {} of what \
                 is above {} with each doubling (off by {})",
                plural(u64::try_from(group.lengths.len()).unwrap_or(u64::MAX), "run"),
                tenths(curve.first),
                group.lengths.last().map_or_else(String::new, |(_, last)| tenths(*last)),
                percent(curve.rate()),
                tenths(curve.floor),
                tenths(curve.off)
            );
        }
        None if group.lengths.len() >= crate::training::learning::LEAST_RUNS => {
            text.push_str("  practice: the runs get no shorter\n");
        }
        None => {}
    }
}

/// For programs.
#[must_use]
pub fn document(tally: &Tally) -> Value {
    let groups: Vec<Value> = tally.groups.iter().map(|(key, group)| one(key, group)).collect();
    let refused = tally.refused.iter().map(|(name, why)| json!({ "record": name, "why": why }));
    json!({
        "counted": tally.counted(),
        "scripts": groups,
        "damaged": tally.damaged,
        "twice": tally.again,
        "clock_jumped": tally.jumped,
        "not_counted": refused.collect::<Vec<_>>(),
    })
}

fn one(key: &Key, group: &Group) -> Value {
    let (k, n) = (group.learned, group.runs);
    let pair = |interval: Interval| json!([interval.lo, interval.hi]);
    let windows = group.windows.iter().map(|((step, line), window)| {
        let left = |p| window.left.quantile(p).map(|left| left.0);
        json!({
            "step": step, "line": line, "met": window.left.n(),
            "missed": group.missed.get(step).copied().unwrap_or(0),
            "window_ms": window.length.map(|length| length.0),
            "left_ms": { "5%": left(50), "50%": left(500), "95%": left(950) },
        })
    });
    let broken = group.broken.iter().map(|((step, mark), broken)| {
        json!({
            "step": step, "moment": mark, "times": broken.by.n(),
            "of": group.entered.get(step).copied().unwrap_or(0), "most_ms": broken.most.0,
        })
    });
    json!({
        "title": key.title, "script_sha256": key.sha256, "rehearsal": key.rehearsal,
        "person": key.person, "runs": n, "learned": k, "damaged": group.damaged,
        "learned_95%": { "wilson": pair(wilson(k, n, Z95)), "jeffreys": pair(jeffreys(k, n)),
            "exact": pair(exact(k, n)) },
        "keys": { "learned": group.things.0, "of": group.things.1 },
        "endings": group.endings.iter().map(|(name, (_, n))| (name.clone(), json!(n))).collect::<serde_json::Map<_, _>>(),
        "windows": windows.collect::<Vec<_>>(),
        "contradicted": broken.collect::<Vec<_>>(),
        "practice": group.curve().map(|curve| json!({
            "form": "unit", "runs": group.lengths.len(), "floor_ms": curve.floor.0,
            "first_ms": curve.first.0, "exponent": curve.exponent, "rate": curve.rate(),
            "off_ms": curve.off.0,
        })),
    })
}

/// For a spreadsheet: one line a window.
#[must_use]
pub fn table(tally: &Tally) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let heading = [
        "title",
        "script_sha256",
        "kind",
        "person",
        "runs",
        "learned",
        "step",
        "line",
        "met",
        "missed",
        "window_ms",
        "left_5%_ms",
        "left_50%_ms",
        "left_95%_ms",
    ];
    // Writing into memory does not fail.
    let _ = writer.write_record(heading);
    for (key, group) in &tally.groups {
        let kind = if key.rehearsal { "rehearsal" } else { "live" };
        for ((step, line), window) in &group.windows {
            let left = |p| window.left.quantile(p).map_or_else(String::new, |l| l.0.to_string());
            let missed = group.missed.get(step).copied().unwrap_or(0);
            let _ = writer.write_record([
                harmless(&key.title),
                key.sha256.clone(),
                kind.to_owned(),
                harmless(key.person.as_deref().unwrap_or("")),
                group.runs.to_string(),
                group.learned.to_string(),
                harmless(step),
                line.to_string(),
                window.left.n().to_string(),
                missed.to_string(),
                window.length.map_or_else(String::new, |l| l.0.to_string()),
                left(50),
                left(500),
                left(950),
            ]);
        }
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}

/// A text that a spreadsheet would reckon with is kept a text (OWASP, *CSV Injection*).
fn harmless(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        format!("'{text}")
    } else {
        text.to_owned()
    }
}

/// A page of its own.
#[must_use]
pub fn page(tally: &Tally) -> String {
    let style = "body{font-family:'DejaVu Sans',Arial,sans-serif;max-width:56rem;margin:1rem auto;padding:0 1rem;\
        color:#000;background:#fff;line-height:1.4}table{border-collapse:collapse;width:100%}th,td{border:1px \
        solid #555;padding:.25em .5em;text-align:left}thead th{background:#e8e8e8}svg{width:100%;height:auto}";
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "What the records say" }
                style { (PreEscaped(style)) }
            }
            body {
                h1 { "What the records say" }
                main { @for (key, group) in &tally.groups { (section(key, group)) } }
                p { (plural(tally.counted(), "record")) " counted." }
                @if !tally.damaged.is_empty() { p { "Damaged, counted as far as they can be read: " (tally.damaged.join(", ")) } }
                @if !tally.again.is_empty() { p { "Given twice, counted once: " (tally.again.join(", ")) } }
                @for (name, why) in &tally.refused { p { "Not counted: " (name) ": " (why) } }
            }
        }
    };
    page.into_string()
}

fn section(key: &Key, group: &Group) -> Markup {
    let (k, n) = (group.learned, group.runs);
    html! {
        section {
            h2 { (key.title) }
            p { @if key.rehearsal { strong { "REHEARSALS" } } @else { "Live runs" }
                @if let Some(who) = &key.person { ", " (who) } ", text " (key.sha256.get(..8).unwrap_or("")) }
            p { strong { (k) " of " (n) " learned, " (percent(fraction(k, n))) }
                " (95 %: Wilson " (between(wilson(k, n, Z95))) ", Jeffreys " (between(jeffreys(k, n))) ")" }
            (rate(k, n))
            @if !group.windows.is_empty() {
                table {
                    thead { tr { th scope="col" { "Window" } th scope="col" { "met" } th scope="col" { "missed" }
                        th scope="col" { "left: 5 %, half, 95 %" } } }
                    tbody {
                        @for ((step, line), window) in &group.windows {
                            tr {
                                th scope="row" { (step) " (line " (line) ")" }
                                td { (window.left.n()) }
                                td { (group.missed.get(step).copied().unwrap_or(0)) }
                                td {
                                    (SHOWN.iter().filter_map(|p| window.left.quantile(*p)).map(tenths).collect::<Vec<_>>().join(", "))
                                    @if let Some(of) = window.length { " of " (tenths(of)) }
                                }
                            }
                        }
                    }
                }
            }
            @for ((step, mark), broken) in &group.broken {
                p { "Contradicted: " (step) " " (mark) ": outside the script's bound " (plural(broken.by.n(), "time"))
                    " of " (group.entered.get(step).copied().unwrap_or(0)) ", by up to " (up(broken.most)) }
            }
            ul { @for (name, (class, n)) in &group.endings {
                li { (name) @if let Some(class) = class { " (" (phrases::class(*class)) ")" } ": " (n) } } }
        }
    }
}

/// The rate with its interval, as a picture that reads in black and white.
fn rate(k: u64, n: u64) -> Markup {
    let x = |p: f64| format!("{:.1}", 10.0 + 580.0 * p);
    let interval = wilson(k, n, Z95);
    html! {
        svg viewBox="0 0 600 44" role="img" aria-label={ (k) " of " (n) ", interval " (between(interval)) } {
            line x1="10" y1="14" x2="590" y2="14" stroke="#000" stroke-width="1" {}
            rect x=(x(interval.lo)) y="8" width=(format!("{:.1}", 580.0 * (interval.hi - interval.lo))) height="12"
                fill="#ddd" stroke="#000" {}
            line x1=(x(fraction(k, n))) y1="3" x2=(x(fraction(k, n))) y2="25" stroke="#000" stroke-width="4" {}
            text x="10" y="40" font-size="12" { "0 %" }
            text x="590" y="40" font-size="12" text-anchor="end" { "100 %" }
        }
    }
}

fn percent(p: f64) -> String {
    format!("{:.1} %", p * 100.0)
}

fn between(interval: Interval) -> String {
    format!("{:.1} to {:.1} %", interval.lo * 100.0, interval.hi * 100.0)
}

fn plural(n: u64, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
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
