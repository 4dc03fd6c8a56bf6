//! The sheet as one HTML page that prints well.
//!
//! Takes a [`Sheet`]; gives a page without anything from outside: style and picture are inside it. It
//! reads on A4 and Letter, in black and white, at arm's length; `wall` doubles that for a wall.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::cost::{Costs, MOST_KEYS, WayToGet, break_even};
use super::{Blank, Block, Caution, Row, Sheet, StepLines, WindowLine, paper, picture, said};
use crate::clock::Millis;
use crate::procedure::model::SignalWord;

const STYLE: &str = include_str!("sheet.css");

/// The page.
#[must_use]
pub fn html(sheet: &Sheet, costs: Option<&Costs>, wall: bool) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="generator" content="stepbell sheet";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (sheet.title) }
                style { (PreEscaped(STYLE)) (PreEscaped(paper::rule(sheet, wall))) }
            }
            body class=[wall.then_some("wall")] {
                div.status aria-hidden="true" { (paper::across(sheet)) }
                header {
                    h1 { (sheet.title) }
                    p {
                        @if let Some(subject) = &sheet.subject { (subject) " · " }
                        @if let Some(edition) = sheet.edition { "edition " (edition) " · " }
                        strong { (sheet.status_says) }
                    }
                    @if !sheet.proof.lengths.is_empty() {
                        p { strong { "A run takes: " } (sheet.proof.lengths.join(" ")) }
                    }
                    @if paper::unproven(sheet) {
                        p.alert.danger { strong.word { "▲ AT RISK" } span { "The timing is not proven: see \"The windows\"." } }
                    }
                    p.claim { "The numbers are the author's claim. Local rules and licensed practice come first." }
                }
                main {
                    (before(sheet))
                    section.steps {
                        h2 { "Steps" }
                        (blocks(&sheet.body, 3))
                    }
                    (after(sheet))
                    (signed())
                    (timing(sheet))
                    @if let Some(costs) = costs { (ways(costs)) }
                }
            }
        }
    };
    page.into_string()
}

fn before(sheet: &Sheet) -> Markup {
    html! {
        section {
            h2 { "Before you begin" }
            @for caution in &sheet.cautions { (caution_box(caution)) }
            @if !sheet.affirm.is_empty() {
                ul.checks { @for line in &sheet.affirm { li { span.box {} (line) } } }
            }
        }
        @if !sheet.items.is_empty() {
            section {
                h2 { "At hand" }
                ul.checks { @for row in &sheet.items { (row_line(row)) } }
                @if !sheet.places.is_empty() { p { @for place in &sheet.places { (place) ". " } } }
            }
        }
        @if !sheet.readings.is_empty() {
            section {
                h2 { "Readings" }
                table.readings {
                    thead { tr { th scope="col" { "Reading" } th scope="col" { "Value" } th scope="col" { "Plausible" } } }
                    tbody { @for blank in &sheet.readings { (blank_row(blank)) } }
                }
                @if !sheet.gates.is_empty() { ul { @for gate in &sheet.gates { li { (gate) } } } }
            }
        } @else if !sheet.gates.is_empty() {
            section { h2 { "Start only if" } ul { @for gate in &sheet.gates { li { (gate) } } } }
        }
        @if !sheet.checklist.is_empty() {
            section {
                h2 { "Checklist, in any order" }
                ul.checks { @for line in &sheet.checklist { li { span.box {} (said::capital(line)) } } }
            }
        }
        @if !sheet.throughout.is_empty() {
            section {
                h2 { "The whole time" }
                ul { @for line in &sheet.throughout { li { (line) } } }
            }
        }
        @if let Some(text) = &sheet.break_off {
            aside.broken { strong { "If broken off: " } (text) }
        }
    }
}

fn caution_box(caution: &Caution) -> Markup {
    let (word, class) = match caution.word {
        SignalWord::Danger => ("DANGER", "danger"),
        SignalWord::Warning => ("WARNING", "warning"),
        SignalWord::Caution => ("CAUTION", "caution"),
        SignalWord::Notice => ("NOTICE", "notice"),
    };
    html! {
        p class={ "alert " (class) } {
            strong.word { @if caution.word != SignalWord::Notice { "⚠ " } (word) }
            span { (caution.text) }
        }
    }
}

fn row_line(row: &Row) -> Markup {
    html! {
        li {
            (boxes(&row.boxes))
            span.what { (row.what) }
            @if !row.more.is_empty() { " – " (row.more) }
        }
    }
}

fn boxes(labels: &[String]) -> Markup {
    html! {
        span.boxes {
            @for label in labels {
                @if label.starts_with('_') { span.count { (label) } }
                @else {
                    span.pick { span.box {} @if !label.is_empty() { span.label { (label) } } }
                }
            }
        }
    }
}

fn blank_row(blank: &Blank) -> Markup {
    html! {
        tr {
            th scope="row" { @if !blank.letter.is_empty() { strong { (blank.letter) } " " } (blank.question) }
            td.fill {
                @if blank.unit.starts_with('☐') {
                    @for choice in blank.unit.split("  ") { span.choice { (choice) } " " }
                }
                @else { span.line {} " " (blank.unit) }
            }
            td { @if let Some(plausible) = &blank.plausible { (plausible) } }
        }
    }
}

fn blocks(body: &[Block], level: u8) -> Markup {
    html! {
        @for block in body {
            @match block {
                Block::Step(step) => (step_card(step)),
                Block::Section { heading, notes, limits, body } => {
                    section.group {
                        (titled(level, heading))
                        @if !notes.is_empty() { ul.notes { @for note in notes { li { (note) } } } }
                        @for limit in limits { (window_line(limit)) }
                        (blocks(body, level.saturating_add(1).min(6)))
                    }
                }
                Block::NoReturn(text) => {
                    p.no-return { strong { "◆ POINT OF NO RETURN ◆ " } (text) }
                }
                Block::Finish(ending) => { p.finish { "■ End: " (ending) } }
            }
        }
    }
}

fn titled(level: u8, heading: &str) -> Markup {
    html! {
        @match level {
            0..=3 => { h3 { (heading) } }
            4 => { h4 { (heading) } }
            5 => { h5 { (heading) } }
            _ => { h6 { (heading) } }
        }
    }
}

fn step_card(step: &StepLines) -> Markup {
    html! {
        article.step {
            @for caution in &step.cautions { (caution_box(caution)) }
            div.do {
                span.number { (step.number) }
                span.act { (step.act) }
                (boxes(&step.boxes))
            }
            @for window in &step.windows { (window_line(window)) }
            @if !step.ways.is_empty() {
                p.ways { strong { "One of:" } @for way in &step.ways { " " span.box {} (way) } }
            }
            @if !step.facts.is_empty() {
                dl.facts {
                    @for (label, text) in &step.facts { div { dt { (label) } dd { (text) } } }
                }
            }
            @if !step.readings.is_empty() {
                table { tbody { @for blank in &step.readings { (blank_row(blank)) } } }
            }
            @if !step.outcomes.is_empty() {
                table.outcomes {
                    thead { tr { th scope="col" { "If" } th scope="col" { "then" } } }
                    tbody { @for (seen, so) in &step.outcomes { tr { td { span.box {} (seen) } td { (so) } } } }
                }
            }
            @if let Some(text) = &step.break_off { p { strong { "If broken off here: " } (text) } }
        }
    }
}

/// A window with blanks for its times (DOE-STD-1029-92, section 4, time-dependent action steps).
fn window_line(window: &WindowLine) -> Markup {
    let marked = said::marked(window.spare);
    html! {
        p.window.tight[marked] {
            strong { (window.text) }
            @if let Some(spare) = window.spare {
                @if marked { " " (said::spare(spare)) } @else { " (" (said::spare(spare)) ")" }
            }
            " "
            span.times {
                span { "start " span.short {} }
                @if window.opens { " " span { "not before " span.short {} } }
                @if window.closes { " " span { "due " span.short {} } }
            }
        }
    }
}

fn after(sheet: &Sheet) -> Markup {
    html! {
        @if !sheet.tests.is_empty() || !sheet.recounts.is_empty() {
            section {
                h2 { "Tests after it" }
                ul.checks {
                    @for row in &sheet.tests { (row_line(row)) }
                    @for line in &sheet.recounts { li { span.box {} (line) } }
                }
            }
        }
        section.ends {
            h2 { "How it ended" }
            ul.checks { @for row in &sheet.endings { (row_line(row)) } }
        }
    }
}

fn timing(sheet: &Sheet) -> Markup {
    html! {
        section.timing {
            h2 { "The windows, and what the proof says" }
            @if let Some(svg) = picture::picture(sheet) {
                figure {
                    (PreEscaped(svg))
                    figcaption {
                        "Each box is a window, from the moment that it is measured from. Hatched: the longest that \
                         reaction and hands may take, as late as is safe. What is empty behind it is to spare."
                    }
                }
            }
            p { strong { "Timing: " (sheet.proof.word) ". " } }
            @if let Some((text, rows)) = sheet.proof.statement.split_first() {
                p { (text) }
                @if !rows.is_empty() { ul { @for row in rows { li { (row) } } } }
            }
            @if !sheet.proof.bounds.is_empty() {
                h3 { "On what it rests" }
                ul { @for line in &sheet.proof.bounds { li { (line) } } }
            }
            h3 { "For whom it is reckoned" }
            ul { @for line in &sheet.operator { li { (said::capital(line)) } } }
            @if !sheet.sources.is_empty() {
                h3 { "Where the numbers come from" }
                ul { @for source in &sheet.sources { li { (source) } } }
            }
        }
    }
}

/// So many keys are compared in the table.
pub(super) const COUNTS: [i64; 4] = [1, 2, 3, 5];

/// The work for each key.
pub(super) fn work(way: &WayToGet) -> String {
    match way.minutes {
        0 => "none".to_owned(),
        minutes => said::length(Millis(minutes.saturating_mul(60_000))),
    }
}

pub(super) fn money(hundredths: i64) -> String {
    match (hundredths / 100, hundredths % 100) {
        (whole, 0) => whole.to_string(),
        (whole, part) => format!("{whole}.{part:02}"),
    }
}

fn ways(costs: &Costs) -> Markup {
    let unit = if costs.unit.is_empty() { String::new() } else { format!(" ({})", costs.unit) };
    html! {
        section.costs {
            h2 { "Ways to get the key, by the author's own figures" (unit) }
            table {
                thead { tr {
                    th scope="col" { "Way" }
                    @for n in COUNTS { th scope="col" { @if n == 1 { "1 key" } @else { (n) " keys" } } }
                    th scope="col" { "work for each" }
                } }
                tbody {
                    @for way in &costs.ways {
                        tr {
                            th scope="row" { (way.name) @if !way.note.is_empty() { " – " (way.note) } }
                            @for n in COUNTS {
                                td { (money(way.total(n)))
                                    @if costs.ways.iter().all(|other| way.total(n) <= other.total(n)) { " ◀ least" } }
                            }
                            td { (work(way)) }
                        }
                    }
                }
            }
            ul { @for line in even(costs) { li { (line) } } }
        }
    }
}

/// Where one way begins to cost no more than another.
pub(super) fn even(costs: &Costs) -> Vec<String> {
    let mut lines = Vec::new();
    for first in &costs.ways {
        for second in &costs.ways {
            let Some(keys) = break_even(first, second) else { continue };
            lines.push(if keys > MOST_KEYS {
                format!(
                    "{}: costs more than \"{}\" up to {MOST_KEYS} keys and beyond.",
                    second.name, first.name
                )
            } else {
                format!(
                    "From {keys} keys on, \"{}\" costs no more than \"{}\".",
                    second.name, first.name
                )
            });
        }
    }
    lines
}

fn signed() -> Markup {
    html! {
        section.signed {
            h2 { "Done" }
            p {
                span { "Date " span.line {} } " " span { "Vehicle " span.line {} } " "
                span { "By " span.line {} }
            }
            p {
                span { "Result " span.line {} } " " span { "Registered keys now " span.short {} } " "
                span { "Signature " span.line {} }
            }
        }
    }
}
