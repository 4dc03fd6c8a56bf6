//! The sheet as Markdown: for a wiki, a message, a pull request.
//!
//! Takes a [`Sheet`]; gives text in CommonMark with tables. Characters of the author that Markdown
//! would read as its own are escaped.

use std::fmt::Write as _;

use super::cost::Costs;
use super::html::{COUNTS, even, money, work};
use super::{Blank, Block, Caution, Row, Sheet, StepLines, WindowLine, said};
use crate::procedure::model::SignalWord;

/// The sheet in Markdown.
#[must_use]
pub fn markdown(sheet: &Sheet, costs: Option<&Costs>) -> String {
    let mut out = String::new();
    let _ = writeln!(out, "<!-- stepbell sheet -->\n\n# {}\n", safe(&sheet.title));
    let subject = sheet.subject.iter().map(|s| safe(s));
    let edition = sheet.edition.map(|n| format!("edition {n}"));
    let head: Vec<String> = subject.chain(edition).collect();
    if !head.is_empty() {
        let _ = writeln!(out, "{}\n", head.join(" · "));
    }
    let _ = writeln!(out, "**{}.** {}\n", sheet.status, safe(&sheet.status_says));
    out.push_str(
        "The numbers are the author's claim. Local rules and licensed practice come first.\n\n",
    );
    if !sheet.proof.lengths.is_empty() {
        let _ = writeln!(out, "**A run takes:** {}\n", safe(&sheet.proof.lengths.join(" ")));
    }
    before(sheet, &mut out);
    out.push_str("## Steps\n\n");
    blocks(&sheet.body, 3, &mut out);
    after(sheet, &mut out);
    out.push_str(
        "## Done\n\nDate ________ · By ________ · Result ________ · Registered keys now ____ · Signature ________\n\n",
    );
    timing(sheet, &mut out);
    if let Some(costs) = costs {
        ways(costs, &mut out);
    }
    out
}

fn before(sheet: &Sheet, out: &mut String) {
    out.push_str("## Before you begin\n\n");
    for caution in &sheet.cautions {
        alert(caution, out);
    }
    for line in &sheet.affirm {
        let _ = writeln!(out, "- [ ] {}", safe(line));
    }
    out.push('\n');
    if !sheet.items.is_empty() {
        out.push_str("## At hand\n\n");
        rows(&sheet.items, out);
        list(&sheet.places, out);
    }
    if !sheet.readings.is_empty() {
        out.push_str("## Readings\n\n");
        readings(&sheet.readings, out);
    }
    list(&sheet.gates, out);
    if !sheet.checklist.is_empty() {
        out.push_str("## Checklist, in any order\n\n");
        for line in &sheet.checklist {
            let _ = writeln!(out, "- [ ] {}", safe(&said::capital(line)));
        }
        out.push('\n');
    }
    if !sheet.throughout.is_empty() {
        out.push_str("## The whole time\n\n");
        list(&sheet.throughout, out);
    }
    if let Some(text) = &sheet.break_off {
        let _ = writeln!(out, "**If broken off:** {}\n", safe(text));
    }
}

fn after(sheet: &Sheet, out: &mut String) {
    if !sheet.tests.is_empty() || !sheet.recounts.is_empty() {
        out.push_str("## Tests after it\n\n");
        rows(&sheet.tests, out);
        list(&sheet.recounts, out);
    }
    out.push_str("## How it ended\n\n");
    rows(&sheet.endings, out);
}

fn timing(sheet: &Sheet, out: &mut String) {
    let _ = writeln!(out, "## Timing: {}\n", safe(&sheet.proof.word));
    if let Some((text, rows)) = sheet.proof.statement.split_first() {
        let _ = writeln!(out, "{}\n", safe(text));
        list(rows, out);
    }
    if !sheet.proof.bounds.is_empty() {
        out.push_str("On what it rests:\n\n");
        list(&sheet.proof.bounds, out);
    }
    out.push_str("For whom it is reckoned:\n\n");
    list(&sheet.operator, out);
    if !sheet.sources.is_empty() {
        out.push_str("Where the numbers come from:\n\n");
        list(&sheet.sources, out);
    }
}

fn alert(caution: &Caution, out: &mut String) {
    let word = match caution.word {
        SignalWord::Danger => "DANGER",
        SignalWord::Warning => "WARNING",
        SignalWord::Caution => "CAUTION",
        SignalWord::Notice => "NOTICE",
    };
    let _ = writeln!(out, "> **{word}:** {}\n", safe(&caution.text));
}

fn rows(rows: &[Row], out: &mut String) {
    for row in rows {
        let more =
            if row.more.is_empty() { String::new() } else { format!(" – {}", safe(&row.more)) };
        let _ = writeln!(out, "- {} {}{more}", ticks(&row.boxes), safe(&row.what));
    }
    out.push('\n');
}

fn ticks(boxes: &[String]) -> String {
    let one = |label: &String| match label.as_str() {
        "" => "☐".to_owned(),
        count if count.starts_with('_') => safe(count),
        label => format!("☐ {label}"),
    };
    boxes.iter().map(one).collect::<Vec<_>>().join(" ")
}

fn readings(blanks: &[Blank], out: &mut String) {
    out.push_str("| Reading | Value | Plausible |\n|---|---|---|\n");
    for blank in blanks {
        let plausible = blank.plausible.as_deref().unwrap_or("");
        let value = if blank.unit.starts_with('☐') {
            safe(&blank.unit)
        } else {
            format!("________ {}", safe(&blank.unit))
        };
        let letter = &blank.letter;
        let _ = writeln!(out, "| {letter} {} | {value} | {plausible} |", safe(&blank.question));
    }
    out.push('\n');
}

fn list(lines: &[String], out: &mut String) {
    for line in lines {
        let _ = writeln!(out, "- {}", safe(line));
    }
    if !lines.is_empty() {
        out.push('\n');
    }
}

fn blocks(body: &[Block], level: usize, out: &mut String) {
    for block in body {
        match block {
            Block::Step(step) => card(step, out),
            Block::Section { heading, notes, limits, body } => {
                let _ = writeln!(out, "{} {}\n", "#".repeat(level.min(6)), safe(heading));
                list(notes, out);
                for limit in limits {
                    window(limit, out);
                }
                if !limits.is_empty() {
                    out.push('\n');
                }
                blocks(body, level + 1, out);
            }
            Block::NoReturn(text) => {
                let _ = writeln!(out, "---\n\n**POINT OF NO RETURN.** {}\n\n---\n", safe(text));
            }
            Block::Finish(ending) => {
                let _ = writeln!(out, "**End: {}**\n", safe(ending));
            }
        }
    }
}

fn card(step: &StepLines, out: &mut String) {
    for caution in &step.cautions {
        alert(caution, out);
    }
    let _ = writeln!(out, "**{}. {}** {}\n", step.number, safe(&step.act), ticks(&step.boxes));
    for line in &step.windows {
        window(line, out);
    }
    if !step.ways.is_empty() {
        let ways: Vec<String> = step.ways.iter().map(|way| format!("☐ {}", safe(way))).collect();
        let _ = writeln!(out, "- One of: {}", ways.join(" "));
    }
    for (label, text) in &step.facts {
        let _ = writeln!(out, "- {label}: {}", safe(text));
    }
    if !(step.windows.is_empty() && step.ways.is_empty() && step.facts.is_empty()) {
        out.push('\n');
    }
    if !step.readings.is_empty() {
        readings(&step.readings, out);
    }
    if !step.outcomes.is_empty() {
        out.push_str("| If | then |\n|---|---|\n");
        for (seen, so) in &step.outcomes {
            let _ = writeln!(out, "| ☐ {} | {} |", safe(seen), safe(so));
        }
        out.push('\n');
    }
    if let Some(text) = &step.break_off {
        let _ = writeln!(out, "If broken off here: {}\n", safe(text));
    }
}

fn ways(costs: &Costs, out: &mut String) {
    let unit = if costs.unit.is_empty() { String::new() } else { format!(" ({})", costs.unit) };
    let _ = writeln!(out, "## Ways to get the key, by the author's own figures{}\n", safe(&unit));
    let counts = COUNTS.map(|n| if n == 1 { "1 key".to_owned() } else { format!("{n} keys") });
    let _ = writeln!(out, "| Way | {} | work for each |", counts.join(" | "));
    let _ = writeln!(out, "|---|{}---|", "---|".repeat(counts.len()));
    for way in &costs.ways {
        let note = if way.note.is_empty() { String::new() } else { format!(" – {}", way.note) };
        let sums = COUNTS.map(|n| money(way.total(n)));
        let name = safe(&format!("{}{note}", way.name));
        let _ = writeln!(out, "| {name} | {} | {} |", sums.join(" | "), work(way));
    }
    out.push('\n');
    list(&even(costs), out);
}

fn window(window: &WindowLine, out: &mut String) {
    let spare = window.spare.map_or_else(String::new, |spare| format!(" ({})", said::spare(spare)));
    let _ = write!(out, "- **{}**{spare}; start ____", safe(&window.text));
    if window.opens {
        out.push_str(" not before ____");
    }
    if window.closes {
        out.push_str(" due ____");
    }
    out.push('\n');
}

/// A text of the author's as text.
fn safe(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if matches!(c, '\\' | '`' | '*' | '_' | '[' | ']' | '<' | '>' | '|' | '#' | '~' | '&') {
            out.push('\\');
        }
        out.push(c);
    }
    out
}
