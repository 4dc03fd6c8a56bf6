//! A verdict on a script's timing, in words: takes a [`Verdict`], gives lines for people.
//!
//! ```text
//! Not proven: no rule for when to cue was found that keeps these lines. On a way that
//! begins with step first-on, 2.031s may be missing:
//!     +9.98s  the window, line 56 (first-off)
//!      -3.5s  hands, line 55 (first-off)
//!   would be proven if it closes at 12.1s, not 10s (line 56)
//! ```

use std::fmt::Write as _;

use super::proven::proven;
use super::safe::{safe, wrap};
use crate::clock::Millis;
use crate::procedure::Examined;
use crate::procedure::plan::{Plan, StepIx};
use crate::procedure::timing::What;
use crate::proof::compile::{Explosion, MOST_SEGMENT_POINTS, TooLarge};
use crate::proof::hidden::Ground;
use crate::proof::repair::{Repair, repairs};
use crate::proof::report::Judgement;
use crate::proof::verdict::{MOST_POINTS, Refusal, Verdict};
use crate::source::Place;

/// More ways to mend it than these help nobody.
pub const MOST_REPAIRS: usize = 3;
/// Columns of a text for reading.
const COLUMNS: usize = 78;

/// All that is known of a script's timing, in lines, each ended; with `all`, every window and cue.
#[must_use]
pub fn judgement(judgement: &Judgement, examined: &Examined, all: bool) -> String {
    match judgement {
        Judgement::Proven(report) => proven(report, examined, all),
        Judgement::Refused(refusal, repairs) => refused(refusal, repairs, examined),
        Judgement::TooLarge(large) => too_large(large, examined),
        Judgement::Unanchored(place) => unanchored(*place, examined),
    }
}

/// A bare verdict in lines, each ended.
#[must_use]
pub fn verdict(verdict: &Verdict, examined: &Examined) -> String {
    match verdict {
        Verdict::Proven(_) => "Proven.\n".to_owned(),
        Verdict::Refused(refusal) => {
            let procedure = examined.procedure.as_ref();
            let repairs = procedure.map_or_else(Vec::new, |procedure| {
                repairs(procedure, &examined.plans, &examined.speech, refusal)
            });
            refused(refusal, &repairs, examined)
        }
        Verdict::TooLarge(large) => too_large(large, examined),
        Verdict::Unanchored(place) => unanchored(*place, examined),
    }
}

fn unanchored(place: Place, examined: &Examined) -> String {
    let line = examined.sources.line_col(place).line;
    let text = format!(
        "Not proven: what line {line} measures from lies before a place where the run begins again. \
         Measure from a moment behind that place, or lead back to before it."
    );
    wrap(&text, COLUMNS, 0).join("\n") + "\n"
}

/// Why no network is made, and what makes it explode.
fn too_large(large: &TooLarge, examined: &Examined) -> String {
    wrap(&format!("Not proven: {}", explosion(large, examined)), COLUMNS, 0).join("\n") + "\n"
}

/// What makes the branches too many, in a sentence, and what can be done.
#[must_use]
pub fn explosion(large: &TooLarge, examined: &Examined) -> String {
    let name = |step: StepIx| {
        let steps = examined.plans.first().and_then(|plan| plan.steps.get(step.0 as usize));
        steps.map_or_else(String::new, |step| safe(&step.name).into_owned())
    };
    match large {
        TooLarge::Points(Explosion { retry: Some((place, times)), .. }) => format!(
            "the outcomes and retries make more branches than are looked at ({MOST_SEGMENT_POINTS} \
             moments between two rests, {MOST_POINTS} in all). The retry of line {} alone is written \
             out {times} times. Lower its count, or let the run rest before the step that it goes back \
             to.",
            examined.sources.line_col(*place).line
        ),
        TooLarge::Points(Explosion { step, retry: None }) => format!(
            "the outcomes make more branches than are looked at ({MOST_SEGMENT_POINTS} moments between \
             two rests, {MOST_POINTS} in all), on a way that leads through step {}. Lower a count, or \
             let the run rest between steps.",
            name(*step)
        ),
        TooLarge::Length(step) => {
            format!("the lengths at step {} add up to more than a network holds.", name(*step))
        }
        TooLarge::Ways(step) => format!(
            "the ways of holding that sources tell make too many choices, above all at step {}.",
            name(*step)
        ),
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

/// The sum by which the time is short, and the least changes that would do.
fn refused(refusal: &Refusal, repairs: &[Repair], examined: &Examined) -> String {
    let Some(plan) = examined.plans.get(refusal.plan) else { return String::new() };
    let step = safe(&plan.step(refusal.start).name);
    let short = refusal.short;
    let head = if refusal.certain {
        format!(
            "Impossible: no rule for when to cue can keep these lines. On a way that begins with step \
             {step}, {short} can be missing whatever is done:"
        )
    } else {
        format!(
            "Not proven: no rule for when to cue was found that keeps these lines. On a way that begins \
             with step {step}, {short} may be missing:"
        )
    };
    let mut text = wrap(&head, COLUMNS, 0).join("\n") + "\n";
    for ground in &refusal.grounds {
        let _ = writeln!(text, "{}", share(ground, plan, examined));
    }
    for repair in repairs.iter().take(MOST_REPAIRS) {
        let _ = writeln!(text, "{}", mended(repair, examined));
    }
    if repairs.is_empty() {
        text.push_str("  no change of one of these numbers alone would do\n");
    }
    let name = if refusal.certain { "impossible" } else { "not-proven" };
    let _ = writeln!(text, "  `stepbell why {name}` says what this means");
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
