//! A tally as a page of its own: takes a [`Tally`], gives HTML with its pictures, nothing from outside.
//!
//! The pictures read in black and white and have their figures in words beside them.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{SHOWN, left};
use super::{
    between, contradiction, limit, percent, practice, proposal, proposals, tenths, verdict,
};
use crate::clock::Millis;
use crate::faces::phrases::{self, plural};
use crate::training::intervals::jeffreys;
use crate::training::learning::Curve;
use crate::training::statistics::{Z95, float, fraction, wilson};
use crate::training::tally::{Group, Key, Tally, Window};

const STYLE: &str = "body{font-family:'DejaVu Sans',Arial,sans-serif;max-width:56rem;margin:1rem auto;\
    padding:0 1rem;color:#000;background:#fff;line-height:1.4}\
    table{border-collapse:collapse;width:100%}th,td{border:1px solid #555;padding:.25em .5em;\
    text-align:left;font-weight:normal}thead th{background:#e8e8e8;font-weight:bold}\
    svg{width:100%;height:auto;display:block}td svg{min-width:10rem}.wide{overflow-x:auto}";

/// A page of its own.
#[must_use]
pub fn page(tally: &Tally) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { "What the records say" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                main {
                    h1 { "What the records say" }
                    @for (key, group) in &tally.groups { (section(key, group)) }
                    (told(tally))
                }
            }
        }
    };
    page.into_string()
}

/// What was counted, and what was not.
fn told(tally: &Tally) -> Markup {
    let lists = [
        ("Damaged, counted as far as they can be read: ", &tally.damaged),
        ("Still being recorded, not counted yet: ", &tally.running),
        ("Given twice, counted once: ", &tally.again),
        ("The computer's clock stopped or jumped in: ", &tally.jumped),
    ];
    html! {
        h2 { "Counted" }
        p { (plural(tally.counted(), "record")) " counted." }
        @for (what, names) in lists {
            @if !names.is_empty() { p { (what) (names.join(", ")) } }
        }
        @for (copy, whole) in &tally.cut {
            p { "Not counted again: " (copy) ": the same run as " (whole) ", cut short" }
        }
        @for (name, why) in &tally.refused { p { "Not counted: " (name) ": " (why) } }
    }
}

fn section(key: &Key, group: &Group) -> Markup {
    let (k, n) = (group.learned, group.runs);
    let kind = if key.rehearsal { "REHEARSALS" } else { "Live runs" };
    html! {
        section {
            h2 { (key.title) }
            p { @if key.rehearsal { strong { (kind) } } @else { (kind) }
                @if let Some(who) = &key.person { ", " (who) }
                ", text " (key.sha256.get(..8).unwrap_or("")) }
            p { strong { (k) " of " (n) " learned, " (percent(fraction(k, n))) }
                " (95 %: Wilson " (between(wilson(k, n, Z95))) ", Jeffreys " (between(jeffreys(k, n))) ")" }
            (rate(k, n))
            @if group.things.1 > 0 {
                p { (group.things.0) " of " (group.things.1) " keys learned, each by itself" }
            }
            h3 { "How they ended" }
            ul { @for (name, (class, n)) in &group.endings {
                li { (name) @if let Some(class) = class { " (" (phrases::class(*class)) ")" } ": " (n) } } }
            @if !group.windows.is_empty() { (windows(group)) }
            @for (line, n) in &group.limits { p { (limit(*line, *n)) } }
            @if !group.broken.is_empty() { (contradicted(group)) }
            (practised(group))
        }
    }
}

fn windows(group: &Group) -> Markup {
    html! {
        h3 { "What was left of each window" }
        div class="wide" tabindex="0" role="region" aria-label="What was left of each window" {
            table {
                thead { tr {
                    th scope="col" { "Window" } th scope="col" { "met" } th scope="col" { "missed" }
                    th scope="col" { "not known" }
                    th scope="col" { "left: 5 %, half, 95 %" }
                    th scope="col" { "from none left to all of it" }
                } }
                tbody {
                    @for ((step, line), window) in &group.windows {
                        @let met = group.met(step, *line);
                        tr {
                            th scope="row" { (step) " (line " (line) ")" }
                            td { (met.met) }
                            td { (met.missed) }
                            td { (met.not_known) }
                            td { (left(window)) }
                            td { (strip(window)) }
                        }
                    }
                }
            }
        }
    }
}

/// What was left of one window: a bar from 5 % to 95 %, a stroke at the half.
fn strip(window: &Window) -> Markup {
    let all: Vec<Millis> = SHOWN.iter().filter_map(|p| window.left.quantile(*p)).collect();
    let (Some(of), [lo, half, hi]) = (window.length, all.as_slice()) else { return html! {} };
    let x = |left: &Millis| 5.0 + 190.0 * (part(*left, of));
    html! {
        svg viewBox="0 0 200 20" aria-hidden="true" {
            line x1="5" y1="10" x2="195" y2="10" stroke="#000" {}
            line x1="5" y1="3" x2="5" y2="17" stroke="#000" stroke-width="2" {}
            rect x=(at(x(lo))) y="5" width=(at((x(hi) - x(lo)).max(1.0))) height="10" fill="#ccc" stroke="#000" {}
            line x1=(at(x(half))) y1="1" x2=(at(x(half))) y2="19" stroke="#000" stroke-width="3" {}
        }
    }
}

fn contradicted(group: &Group) -> Markup {
    html! {
        h3 { "Declared times that were contradicted" }
        ul { @for (at, broken) in &group.broken {
            li { (contradiction(group, at, broken))
                ul { @for wider in proposals(group, at) { li { (proposal(wider)) } } } }
        } }
        @if let Some(proposed) = &group.proposed {
            p { "As it is written the script is " (verdict(&proposed.as_declared)) "." }
        }
    }
}

fn practised(group: &Group) -> Markup {
    let Some(words) = practice(group) else { return html! {} };
    html! {
        h3 { "Practice" }
        p { (words) }
        @if let Some(curve) = group.curve() { (learning(group, &curve)) }
    }
}

/// The length of each run that was learned straight through, and the curve.
fn learning(group: &Group, curve: &Curve) -> Markup {
    let longest = group.lengths.iter().map(|(_, length)| *length).max().unwrap_or(Millis(1));
    let top = longest.max(curve.first);
    let n = group.lengths.len();
    let x = |nth: f64| at(20.0 + 560.0 * (nth - 1.0) / float(n.saturating_sub(1).max(1) as u64));
    let y = |part: f64| at(150.0 - 130.0 * part);
    let of_curve =
        |nth: u64| format!("{},{}", x(float(nth)), y(curve.of(nth) / float(top.0.unsigned_abs())));
    let line: Vec<String> = (1..=n as u64).map(of_curve).collect();
    html! {
        svg viewBox="0 0 600 175" role="img" aria-label={ "The lengths of " (n) " runs and their curve" } {
            line x1="20" y1="150" x2="590" y2="150" stroke="#000" {}
            polyline points=(line.join(" ")) fill="none" stroke="#000" stroke-dasharray="6 4" {}
            @for (nth, (_, length)) in (1_u64..).zip(&group.lengths) {
                circle cx=(x(float(nth))) cy=(y(part(*length, top))) r="4" {}
            }
            text x="20" y="170" font-size="12" { "first" }
            text x="590" y="170" font-size="12" text-anchor="end" { "run " (n) }
            text x="24" y="16" font-size="12" { (tenths(top)) }
        }
    }
}

/// The rate with its interval, as a picture.
fn rate(k: u64, n: u64) -> Markup {
    let x = |p: f64| at(10.0 + 580.0 * p);
    let interval = wilson(k, n, Z95);
    html! {
        svg viewBox="0 0 600 44" role="img" aria-label={ (k) " of " (n) ", interval " (between(interval)) } {
            line x1="10" y1="14" x2="590" y2="14" stroke="#000" stroke-width="1" {}
            rect x=(x(interval.lo)) y="8" width=(at(580.0 * (interval.hi - interval.lo))) height="12"
                fill="#ddd" stroke="#000" {}
            line x1=(x(fraction(k, n))) y1="3" x2=(x(fraction(k, n))) y2="25" stroke="#000" stroke-width="4" {}
            text x="10" y="40" font-size="12" { "0 %" }
            text x="590" y="40" font-size="12" text-anchor="end" { "100 %" }
        }
    }
}

/// A place in a picture.
fn at(units: f64) -> String {
    format!("{units:.1}")
}

/// A length as a part of another, from nothing to all of it.
fn part(length: Millis, of: Millis) -> f64 {
    fraction(length.0.clamp(0, of.0.max(1)).unsigned_abs(), of.0.max(1).unsigned_abs())
}
