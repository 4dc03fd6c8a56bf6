//! Which answers are awaited in quiet: a chime that must be counted is not talked over, unless the time
//! after it is needed for the words.
//!
//! Takes a plan in all its ways of holding; gives the steps whose answer is listened for and behind which
//! everything that follows can still be met, each prompt there counted as a second longer.

use super::report::{COMFORTABLE, InPlan};
use super::verdict::{Proof, Refusal, one};
use crate::clock::Millis;
use crate::procedure::model::{Procedure, Sense};
use crate::procedure::plan::{Next, Plan, Quiet, Report, StepIx};
use crate::procedure::timing::{SpeechLengths, What};
use crate::proof::compile::Segment;
use crate::proof::controllable::Stopped;
use crate::source::Place;
use std::collections::{BTreeMap, BTreeSet};

/// Refused segments of so many points in all, then no more is tried and nothing is awaited in quiet: each
/// refusal costs a check of its segment.
const MOST_REFUSED: usize = 30_000;

/// Decides which answers are awaited in quiet, the same in every way, and writes it into each of them,
/// unless it has been decided before.
///
/// # Errors
/// [`Stopped`] once `stop` has said so.
pub(super) fn hush(
    procedure: &Procedure,
    ways: &mut [Plan],
    speech: &SpeechLengths,
    stop: &dyn Fn() -> bool,
) -> Result<(), Stopped> {
    let Some(plan) = ways.first().filter(|plan| plan.quiet.is_none()) else { return Ok(()) };
    let mut quiet = listened(procedure, plan);
    let mut tried: Vec<Tried> = vec![Tried::default(); ways.len()];
    let mut refused = 0;
    while !quiet.is_empty() && refused <= MOST_REFUSED {
        write(ways, &quiet, COMFORTABLE);
        let (loud, points) = match tightest(procedure, ways, speech, &mut tried, stop)? {
            Held::All => {
                write(ways, &quiet, Millis::ZERO);
                return Ok(());
            }
            Held::AllBut(loud, points) => (loud, points),
        };
        refused += points;
        if loud.is_empty() {
            break;
        }
        quiet.retain(|step| !loud.contains(step));
        tried.iter_mut().for_each(|tried| tried.without(&loud));
    }
    write(ways, &BTreeSet::new(), Millis::ZERO);
    Ok(())
}

fn write(ways: &mut [Plan], steps: &BTreeSet<StepIx>, spare: Millis) {
    for way in ways {
        way.quiet = Some(Quiet { steps: steps.clone(), spare });
    }
}

/// The steps with an answer for the ear, before which something would be said otherwise.
fn listened(procedure: &Procedure, plan: &Plan) -> BTreeSet<StepIx> {
    let heard = |at: &StepIx| {
        let step = plan.step(*at);
        let mut signs = step.met.iter().flat_map(|met| &met.signs);
        step.report == Report::Answer
            && signs.any(|id| {
                let sign = procedure.signs.get(id.0 as usize);
                sign.is_some_and(|sign| sign.sense == Sense::Hear)
            })
    };
    let steps = plan.indexed().map(|(at, _)| at);
    steps.filter(|at| plan.ahead(*at).is_some()).filter(heard).collect()
}

/// A line whose answer is listened for while what comes after it is said: afterwards no time is left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TalkedOver {
    /// The line of the answer's step.
    pub place: Place,
    /// The step.
    pub at: InPlan,
    /// For which step something is said meanwhile.
    pub next: InPlan,
}

/// Every answer for the ear that is talked over, in the order of the script, each line once for each
/// line that is said.
pub(super) fn talked_over(procedure: &Procedure, proof: &Proof) -> Vec<TalkedOver> {
    let mut all = BTreeMap::new();
    for part in &proof.parts {
        for at in listened(procedure, &part.way) {
            let Some(next) = part.way.said_ahead(at) else { continue };
            let in_plan = |step| InPlan { plan: part.plan, step };
            let place = part.way.step(at).place;
            let row = TalkedOver { place, at: in_plan(at), next: in_plan(next) };
            all.entry((place, part.way.step(next).place)).or_insert(row);
        }
    }
    all.into_values().collect()
}

/// The segments that were seen to hold, with the steps in each, and where they lead.
#[derive(Clone, Debug, Default)]
struct Tried(BTreeMap<StepIx, (BTreeSet<StepIx>, BTreeSet<StepIx>)>);

impl Tried {
    /// What holds one of these steps has to be tried again.
    fn without(&mut self, steps: &BTreeSet<StepIx>) {
        self.0.retain(|_, (inside, _)| inside.is_disjoint(steps));
    }
}

/// What came of a try.
enum Held {
    /// Every segment holds.
    All,
    /// Not these answers in quiet; and the points of the segment that showed it.
    AllBut(BTreeSet<StepIx>, usize),
}

/// Whether all segments hold; else which steps are better not awaited in quiet: those whose
/// prompts are in the story of the first that does not, in all turns of their lines. None of them: it
/// would not hold either way.
fn tightest(
    procedure: &Procedure,
    ways: &[Plan],
    speech: &SpeechLengths,
    tried: &mut [Tried],
    stop: &dyn Fn() -> bool,
) -> Result<Held, Stopped> {
    for (way, tried) in ways.iter().zip(tried) {
        let mut met = BTreeSet::new();
        let mut open: Vec<StepIx> = match way.entry {
            Some(Next::Step(entry)) => vec![entry],
            _ => Vec::new(),
        };
        while let Some(start) = open.pop() {
            if !met.insert(start) {
                continue;
            }
            if let Some((_, leads)) = tried.0.get(&start) {
                open.extend(leads);
                continue;
            }
            match one(procedure, way, speech, start, stop)? {
                Ok(Ok(segment)) => {
                    open.extend(&segment.leads);
                    tried.0.insert(start, (inside(way, &segment), segment.leads));
                }
                Ok(Err(refusal)) => {
                    return Ok(Held::AllBut(told_by(way, &refusal), refusal.points));
                }
                Err(_) => return Ok(Held::AllBut(BTreeSet::new(), 0)),
            }
        }
    }
    Ok(Held::All)
}

/// The steps awaited in quiet whose prompts behind are in the story of a refusal, in all their turns.
fn told_by(plan: &Plan, refusal: &Refusal) -> BTreeSet<StepIx> {
    let words = |at: StepIx| {
        refusal.grounds.iter().any(|ground| ground.what == What::PrepareWords && ground.step == at)
    };
    let quiet = || plan.quiet.iter().flat_map(|quiet| quiet.steps.iter().copied());
    let told = quiet().filter(|at| plan.ahead(*at).is_some_and(words));
    let lines: BTreeSet<Place> = told.map(|at| plan.step(at).place).collect();
    quiet().filter(|at| lines.contains(&plan.step(*at).place)).collect()
}

/// The steps of a segment.
fn inside(plan: &Plan, segment: &Segment) -> BTreeSet<StepIx> {
    segment.cues.iter().flat_map(|(at, _)| plan.chain(*at)).collect()
}
