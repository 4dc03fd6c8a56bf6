//! What the proof says of each cue, beside its line: takes a judged script, gives figures that an editor
//! shows at a line's end and on a hover.

use super::judge::Judged;
use crate::faces::finding::finding;
use crate::faces::proven::down;
use crate::faces::safe::safe;
use crate::procedure::timing::{Mark, What};
use crate::proof::controllable::Stopped;
use crate::proof::report::{CueReport, Hard, InPlan, Report, WindowReport, report};
use crate::source::Place;

/// A figure at a place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Figure {
    /// The sentence that it belongs to.
    pub place: Place,
    /// In a few words, for a line's end.
    pub short: String,
    /// In whole sentences.
    pub long: String,
}

/// The verdict beside the title, or why there is none.
#[must_use]
pub fn of_verdict(judged: &Judged) -> Option<Figure> {
    let found = finding(judged.verdict.as_ref()?, &judged.examined);
    let title = judged.examined.procedure.as_ref()?;
    let title = title.texts.get(title.title?.0 as usize)?;
    let short = match found.short {
        Some(short) => format!("{}, short by {short}", found.word),
        None => found.word.to_owned(),
    };
    Some(Figure { place: title.place, short, long: found.sentence })
}

/// What the proof says of every window and cue of a proven script. Asks `stop` many times a second
/// whether to give up.
///
/// # Errors
/// [`Stopped`] once `stop` has said so.
pub fn of_proof(judged: &Judged, stop: &dyn Fn() -> bool) -> Result<Vec<Figure>, Stopped> {
    let examined = &judged.examined;
    let (Some(procedure), Some(proof)) = (&examined.procedure, &judged.proof) else {
        return Ok(Vec::new());
    };
    let told = report(procedure, &examined.plans, &examined.speech, proof, true, stop)?;
    Ok(of_report(&told, judged))
}

fn of_report(told: &Report, judged: &Judged) -> Vec<Figure> {
    let windows = told.windows.iter().map(|window| of_window(window, judged));
    let cues = told.cues.iter().filter_map(|cue| of_cue(cue, judged));
    windows.chain(cues).collect()
}

fn of_window(window: &WindowReport, judged: &Judged) -> Figure {
    let hard = match window.hard {
        Some(Hard::Burst) => ", faster than can be paced",
        Some(Hard::Reaction) => ", no longer than a slow reaction",
        Some(Hard::LittleToSpare) => ", little for a person",
        None => "",
    };
    let slack = down(window.slack);
    let short = format!("{slack} to spare{hard}");
    let what = match window.what {
        What::Limit => "This limit",
        What::Holding => "This hold",
        What::Strokes => "This count",
        _ => "This window",
    };
    let mut long = format!(
        "{what} of {} has {slack} to spare in the worst case: so much sooner it could close, in every turn, \
         and still be met.",
        window.length
    );
    if let Some(latest) = window.latest {
        let from = step(latest.from, judged);
        let when = match latest.mark {
            Mark::Called => format!("the cue of `{from}`"),
            _ => format!("the report of `{from}`"),
        };
        let cue = step(window.at, judged);
        let after = down(latest.after);
        long.push_str(&format!(
            " The cue of `{cue}` is safe up to {after} after {when}, whatever follows."
        ));
    }
    Figure { place: window.place, short, long }
}

fn of_cue(cue: &CueReport, judged: &Judged) -> Option<Figure> {
    let may_wait = down(cue.may_wait?);
    let mut long = format!(
        "The cue may be given {may_wait} later than it could be, each time, and everything is still met."
    );
    if let Some(because) = cue.because {
        let sources = &judged.examined.sources;
        let line = sources.line_col(because).line;
        let of = match sources.get(because.file) {
            Some(other) if because.file != cue.place.file => format!(" of {}", safe(other.name())),
            _ => String::new(),
        };
        long.push_str(&format!(" Line {line}{of} allows no more."));
    }
    Some(Figure { place: cue.place, short: format!("may wait {may_wait}"), long })
}

fn step(at: InPlan, judged: &Judged) -> String {
    let plan = judged.examined.plans.get(at.plan);
    plan.map_or_else(String::new, |plan| safe(&plan.step(at.step).name).into_owned())
}
