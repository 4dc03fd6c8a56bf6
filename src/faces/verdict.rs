//! A verdict on a script's timing, in words: takes a [`Verdict`], gives lines for people.
//!
//! ```text
//! not proven: with 2 of "the new key", from step first-on, the timing is short by 2.031s
//!     +9.98s  the window, line 56 (first-off)
//!      -3.5s  hands, line 55 (first-off)
//!   would be proven if it closes at 12.1s, not 10s (line 56)
//! ```

use std::fmt::Write as _;

use super::safe::{safe, wrap};
use crate::clock::Millis;
use crate::procedure::Examined;
use crate::procedure::plan::Plan;
use crate::procedure::timing::{What, speech_lengths};
use crate::proof::hidden::Ground;
use crate::proof::repair::{Repair, repairs};
use crate::proof::verdict::{Extent, Refusal, Verdict};

/// More ways to mend it than these help nobody.
pub const MOST_REPAIRS: usize = 3;
/// Columns of a text for reading.
const COLUMNS: usize = 78;

/// The verdict in lines, each ended.
#[must_use]
pub fn verdict(verdict: &Verdict, examined: &Examined) -> String {
    match verdict {
        Verdict::Proven(extent) => proven(extent),
        Verdict::Refused(refusal) => refused(refusal, examined),
        Verdict::TooLarge(_) => {
            "not proven: the outcomes and retries make more branches than are looked at. Lower a \
             count, or let the run rest between steps.\n"
                .to_owned()
        }
        Verdict::Unanchored(place) => {
            let line = examined.sources.line_col(*place).line;
            let text = format!(
                "not proven: what line {line} measures from lies before a place where the run begins \
                 again. Measure from a moment behind that place, or lead back to before it."
            );
            wrap(&text, COLUMNS, 0).join("\n") + "\n"
        }
    }
}

/// One word for programs.
#[must_use]
pub const fn word(verdict: &Verdict) -> &'static str {
    match verdict {
        Verdict::Proven(_) => "proven",
        Verdict::Refused(refusal) if refusal.certain => "impossible",
        Verdict::Refused(_) | Verdict::Unanchored(_) => "not proven",
        Verdict::TooLarge(_) => "too large",
    }
}

fn proven(extent: &Extent) -> String {
    if extent.demands == 0 {
        return "proven: there is no window to miss.\n".to_owned();
    }
    let text = "proven: there is a rule for when to cue that meets every window, limit and dwell, for \
                every outcome and retry, as long as hands, reports, spoken words and the vehicle \
                stay inside the script's bounds. Whether they do is the author's claim.";
    wrap(text, COLUMNS, 0).join("\n") + "\n"
}

fn refused(refusal: &Refusal, examined: &Examined) -> String {
    let Some(plan) = examined.plans.get(refusal.plan) else { return String::new() };
    let head = if refusal.certain { "impossible" } else { "not proven" };
    let step = &plan.step(refusal.start).name;
    let mut text = format!(
        "{head}: on a way that begins with step {}, the time is short by {}\n",
        safe(step),
        refusal.short
    );
    for ground in &refusal.grounds {
        let _ = writeln!(text, "{}", share(ground, plan, examined));
    }
    let Some(procedure) = &examined.procedure else { return text };
    let repairs = repairs(procedure, &examined.plans, &speech_lengths(procedure), refusal);
    for repair in repairs.iter().take(MOST_REPAIRS) {
        let _ = writeln!(text, "{}", mended(repair, examined));
    }
    if repairs.is_empty() {
        text.push_str("  no change of one of these numbers alone would do\n");
    }
    text
}

/// A repair in one line: each was checked again and is enough by itself.
#[must_use]
pub fn mended(repair: &Repair, examined: &Examined) -> String {
    let line = examined.sources.line_col(repair.place).line;
    let (from, to) = (repair.from, repair.to);
    let says = match repair.what {
        What::Hands => format!("if the hands take at most {to}, not {from}"),
        What::Strokes => format!("if the strokes take at most {to}, not {from}"),
        What::Holding => format!("if it may be held for {to}, not {from}"),
        What::Silence => format!("if nothing is seen within {to}, not {from}"),
        What::Awake => format!("if it stays awake for {to}, not {from}"),
        What::PrepareWords => {
            let (now, left) = repair.words.unwrap_or_default();
            format!("if it is said in {left} words, not {now}")
        }
        _ => format!("if it closes at {to}, not {from}"),
    };
    format!("  would be proven {says} (line {line})")
}

/// One share of the sum: what is given (+), what is taken (-), and which line says so.
fn share(ground: &Ground, plan: &Plan, examined: &Examined) -> String {
    let sign = if ground.length > Millis::ZERO { "+" } else { "-" };
    let size = format!("{sign}{}", Millis(ground.length.0.saturating_abs()));
    let line = examined.sources.line_col(ground.place).line;
    let step = &plan.step(ground.step).name;
    format!("  {size:>12}  {}, line {line} ({})", what(ground.what), safe(step))
}

/// A kind of length in words.
#[must_use]
pub const fn what(what: What) -> &'static str {
    match what {
        What::PrepareWords => "words before the cue",
        What::NowWords => "the tone and words of the cue",
        What::Hands => "reaction, walking and hands",
        What::Strokes => "the strokes",
        What::Holding => "holding",
        What::LettingGo => "letting go",
        What::Question => "the answer to a question",
        What::Awake => "what keeps it awake",
        What::Answer => "the vehicle's answer",
        What::Report => "knowing the sign and reporting it",
        What::Silence => "silence",
        What::Window => "the window",
        What::Limit => "the limit",
        What::CoolDown => "the cool-down",
        What::Order => "one after the other",
    }
}
