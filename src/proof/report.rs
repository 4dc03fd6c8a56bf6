//! What a proof tells beside *proven*: takes a proof, gives what it rests on, how long a run takes, and
//! how much every window and cue has to spare.
//!
//! All figures are for the worst case: whatever hands, vehicle and outcomes do inside their bounds. A
//! figure that is found by search is found by asking the check itself, again and again; a shortest path
//! through the network would be too generous.

mod cues;
mod rests;
mod trial;
mod windows;

use super::compile::{Explosion, TooLarge};
use super::controllable::Stopped;
use super::lengths::{Lengths, from_segments};
use super::quiet::talked_over;
use super::repair::{Repair, repairs_until};
use super::verdict::{Extent, Proof, Refusal, Verdict, prove};
use crate::clock::{Millis, Span};
use crate::procedure::model::Procedure;
use crate::procedure::plan::{Plan, StepIx};
use crate::procedure::timing::{Mark, SpeechLengths, What};
use crate::source::Place;

pub use super::quiet::TalkedOver;
pub use rests::{Assumption, Rests, WrittenBound, rests};

/// Less than this to spare is not comfortable for a person (common practice, no source).
pub const COMFORTABLE: Millis = Millis(1000);
/// A window this short or shorter is a matter of reaction: the slowest declared reaction alone takes as
/// long (the standard profile's 1.5 s; common practice, no source).
pub const REACTION: Millis = Millis(1500);
/// Strokes that follow each other faster than this cannot be paced by sounds (common practice, no
/// source).
pub const PACED: Millis = Millis(500);

/// What a proof tells.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Report {
    /// How much was proven.
    pub extent: Extent,
    /// On which bounds it rests.
    pub rests: Rests,
    /// How long a run takes.
    pub lengths: Lengths,
    /// Every window, limit, hold and count with an upper end, the tightest first.
    pub windows: Vec<WindowReport>,
    /// Every answer for the ear while which something is said.
    pub talked_over: Vec<TalkedOver>,
    /// Every cue, in the order of the script; empty where they were not asked for.
    pub cues: Vec<CueReport>,
}

/// A step of one of the plans.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct InPlan {
    /// The number of the plan.
    pub plan: usize,
    /// The step.
    pub step: StepIx,
}

/// One line's window, limit, hold or count, in all turns and plans together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WindowReport {
    /// The line.
    pub place: Place,
    /// A window, a limit, a holding.
    pub what: What,
    /// Its step where it is tightest.
    pub at: InPlan,
    /// Its own upper end.
    pub length: Millis,
    /// So much sooner it could close, in every turn, and still be met in the worst case; 1 ms more is
    /// not proven any more with the same answers awaited in quiet.
    pub slack: Millis,
    /// The latest safe moment of the cue that it binds.
    pub latest: Option<Latest>,
    /// Why a person may find it hard all the same.
    pub hard: Option<Hard>,
}

/// The latest moment at which a cue may be given, each time, such that all that follows can still be met;
/// 1 ms later is not proven any more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Latest {
    /// At most this long after.
    pub after: Millis,
    /// The step from which it counts.
    pub from: InPlan,
    /// Its moment: `Reported` or `Called`, which the guide knows exactly.
    pub mark: Mark,
}

/// Why a window is not comfortable for a person.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Hard {
    /// A count whose strokes follow faster than sounds can pace, or that lasts no longer than a slow
    /// reaction: whether it is met is a claim about the person, which the proof takes as given.
    Burst,
    /// The whole window is no longer than a slow reaction.
    Reaction,
    /// Less than [`COMFORTABLE`] to spare.
    LittleToSpare,
}

/// One cue, in all turns and plans together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CueReport {
    /// The line of its step.
    pub place: Place,
    /// Its step where it may wait least.
    pub at: InPlan,
    /// So much later than it could be given, each time, and all is still met; 1 ms more is not proven
    /// any more. `None`: as late as one likes.
    pub may_wait: Option<Millis>,
    /// The line of the window or limit that binds it.
    pub because: Option<Place>,
}

/// All that is known of a script's timing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Judgement {
    /// It is proven, and this is what can be told of it.
    Proven(Box<Report>),
    /// No rule for when to cue was found; with the least changes that would do, each checked again.
    Refused(Box<Refusal>, Vec<Repair>),
    /// The branches explode; nothing is known.
    TooLarge(TooLarge),
    /// What this sentence measures from cannot be laid; nothing is known.
    Unanchored(Place),
}

impl Judgement {
    /// The bare verdict.
    #[must_use]
    pub fn verdict(&self) -> Verdict {
        match self {
            Judgement::Proven(report) => Verdict::Proven(report.extent),
            Judgement::Refused(refusal, _) => Verdict::Refused(refusal.clone()),
            Judgement::TooLarge(large) => Verdict::TooLarge(*large),
            Judgement::Unanchored(place) => Verdict::Unanchored(*place),
        }
    }
}

/// Decides over all plans and tells all that can be told; every cue only `with_cues`. Asks `stop` many times a second whether to
/// give up.
///
/// # Errors
/// [`Stopped`] once `stop` has said so.
pub fn judge(
    procedure: &Procedure,
    plans: &[Plan],
    speech: &SpeechLengths,
    with_cues: bool,
    stop: &dyn Fn() -> bool,
) -> Result<Judgement, Stopped> {
    let verdict = match prove(procedure, plans, speech, stop)? {
        Ok(proof) => {
            let report = report(procedure, plans, speech, &proof, with_cues, stop)?;
            return Ok(Judgement::Proven(Box::new(report)));
        }
        Err(verdict) => verdict,
    };
    Ok(match verdict {
        Verdict::Refused(refusal) => {
            let repairs = repairs_until(procedure, plans, speech, &refusal, stop)?;
            Judgement::Refused(refusal, repairs)
        }
        Verdict::Unanchored(place) => Judgement::Unanchored(place),
        Verdict::TooLarge(large) => Judgement::TooLarge(large),
        Verdict::Proven(_) => Judgement::TooLarge(TooLarge::Points(Explosion::default())),
    })
}

/// The report on a proof; `with_cues` also how long every cue may wait.
///
/// # Errors
/// [`Stopped`] once `stop` has said so.
pub fn report(
    procedure: &Procedure,
    plans: &[Plan],
    speech: &SpeechLengths,
    proof: &Proof,
    with_cues: bool,
    stop: &dyn Fn() -> bool,
) -> Result<Report, Stopped> {
    let trials = trial::Trials { procedure, speech, stop };
    let lengths: Result<Vec<Lengths>, Stopped> = proof
        .parts
        .iter()
        .map(|part| from_segments(procedure, &part.way, speech, &part.segments, stop))
        .collect();
    Ok(Report {
        extent: proof.extent,
        rests: rests(procedure, plans, speech),
        lengths: lengths?.into_iter().reduce(Lengths::or).unwrap_or_default(),
        windows: windows::windows(proof, trials)?,
        talked_over: talked_over(procedure, proof),
        cues: if with_cues { cues::cues(proof, trials)? } else { Vec::new() },
    })
}

impl Assumption {
    /// The bounds, where they are two.
    #[must_use]
    pub const fn span(self) -> Option<Span> {
        match self {
            Assumption::Reaction(span) | Assumption::Report(span) | Assumption::Pace(span) => {
                Some(span)
            }
            Assumption::Speech { .. } | Assumption::Clock(_) | Assumption::Jitter(_) => None,
        }
    }
}
