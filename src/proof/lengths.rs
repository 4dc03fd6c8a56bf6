//! How long a run can take: takes a procedure and its plans, gives the longest and the shortest run.
//!
//! A run is counted from the first words of its first step to its ending, as the guide leads it: every
//! cue as soon as words, windows and waits allow. The longest has every hand, answer, report and
//! silence at its most, and spends tries wherever that makes it longer; the shortest has all at their
//! least and ends as learned. Not counted: the questions before the run and the tests after it, which
//! take as long as the person likes, and [`Pause`]s inside it.
//!
//! Each segment between resting points gives its legs: where it can lead, how soon and how late, and
//! the tries that this costs. A run is a chain of legs; the longest chain is searched over all states
//! of the purses of tries.

mod chains;
mod legs;

use super::controllable::Stopped;
use super::quiet::hush;
use super::verdict::{Segments, whole};
use super::ways::ways;
use crate::clock::Millis;
use crate::procedure::model::Procedure;
use crate::procedure::plan::{Plan, StepIx};
use crate::procedure::timing::SpeechLengths;
use crate::source::Place;
use chains::Chains;

/// The longest that a run can take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Worst {
    /// No run takes longer, inside the script's bounds.
    AtMost(Millis),
    /// Nothing bounds it: at this step the guide waits for the person, who may take any time. A limit
    /// has to be asked for; none may be assumed.
    Unbounded(StepIx, Place),
}

/// A wait for the person inside a run: a caution to acknowledge, or a reading to type.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Pause {
    /// Before the cue of this step.
    pub step: StepIx,
    /// The caution's line, or that of the step with the question.
    pub place: Place,
}

/// How long the runs of one plan can take.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Lengths {
    /// The longest run with every retry and cool-down, pauses left out. All of it may be time with the
    /// key on: no sentence of a script says when the key is off.
    pub most: Millis,
    /// How much of that run is cool-downs.
    pub cool_downs: Millis,
    /// The longest run in which nothing is done a second time.
    pub once: Millis,
    /// The shortest run that ends as learned; `None` where none can.
    pub best: Option<Millis>,
    /// Where the guide waits for the person, for as long as the person likes.
    pub pauses: Vec<Pause>,
    /// Whether `most` and `once` are the longest runs themselves; else the tries are too many to be
    /// told apart, and they are bounds that no run exceeds.
    pub exact: bool,
}

impl Lengths {
    /// The worst length: bounded only where no pause can come.
    #[must_use]
    pub fn worst(&self) -> Worst {
        match self.pauses.first() {
            Some(pause) => Worst::Unbounded(pause.step, pause.place),
            None => Worst::AtMost(self.most),
        }
    }

    /// The lengths of both together: the longer longest, the shorter shortest run.
    #[must_use]
    pub fn or(self, other: Lengths) -> Lengths {
        let (longer, shorter) = if self.most >= other.most { (self, other) } else { (other, self) };
        Lengths {
            once: longer.once.max(shorter.once),
            best: longer.best.into_iter().chain(shorter.best).min(),
            pauses: if longer.pauses.is_empty() { shorter.pauses } else { longer.pauses },
            exact: longer.exact && shorter.exact,
            ..longer
        }
    }
}

/// How long the runs of one plan can take, whichever way of holding is right; nothing where its timing
/// is not proven.
#[must_use]
pub fn lengths(procedure: &Procedure, plan: &Plan, speech: &SpeechLengths) -> Option<Lengths> {
    let mut ways = ways(plan).ok()?;
    hush(procedure, &mut ways, speech, &|| false).ok()?;
    let one = |way: &Plan| {
        let segments = whole(procedure, way, speech, &|| false).ok()?.ok()?;
        from_segments(procedure, way, speech, &segments, &|| false).ok()
    };
    let all: Option<Vec<Lengths>> = ways.iter().map(one).collect();
    all?.into_iter().reduce(Lengths::or)
}

/// The same from segments that are known to be proven.
///
/// # Errors
/// [`Stopped`] once `stop` has said so.
pub(super) fn from_segments(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    segments: &Segments,
    stop: &dyn Fn() -> bool,
) -> Result<Lengths, Stopped> {
    let legs: legs::Legs = segments
        .iter()
        .map(|(start, segment)| (*start, legs::legs(procedure, plan, speech, segment)))
        .collect();
    let mut lengths = Chains::new(procedure, plan, &legs).lengths(stop)?;
    lengths.pauses = legs::pauses(plan, segments);
    lengths.most = legs::reminded(procedure, plan, speech, lengths.most);
    lengths.once = legs::reminded(procedure, plan, speech, lengths.once);
    Ok(lengths)
}

/// How long the runs of a script can take, over all counts and answers: the longest is that of the
/// largest count. Nothing where it is not proven.
#[must_use]
pub fn of_all(procedure: &Procedure, plans: &[Plan], speech: &SpeechLengths) -> Option<Lengths> {
    let all: Option<Vec<Lengths>> =
        plans.iter().map(|plan| lengths(procedure, plan, speech)).collect();
    all?.into_iter().reduce(Lengths::or)
}
