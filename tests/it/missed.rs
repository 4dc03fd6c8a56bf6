//! Runs of a person and a vehicle that keep every bound: how many windows they miss. Used by a short
//! test and by the long one, `benches/windows.rs`.

use std::sync::Arc;

use stepbell::clock::{Millis, Moment};
use stepbell::guide::cue::{Effect, Fact, Input, OutcomeKind};
use stepbell::guide::{Guide, Settings};
use stepbell::power::Length;
use stepbell::procedure::model::Procedure;
use stepbell::procedure::plan::{GuardIx, Plan, Report, StepIx};
use stepbell::procedure::timing::speech_lengths;
use stepbell::procedure::{Examined, examine, plans};
use stepbell::proof::timing::network;
use stepbell::vehicle::law::Law;
use stepbell::vehicle::{Draw, Fault, Practice, Truth, Witness, Wrong};

/// Folders of scripts that may be proven.
pub const FOLDERS: [&str; 4] =
    ["procedures", "tests/scripts/sequences", "tests/runs", "tests/terminal"];
/// How lengths are drawn, run after run.
const LAWS: [Law; 4] = [Law::Inside, Law::Edges, Law::Least, Law::Most];

/// Every script of a folder, planned although it may have errors.
pub fn scripts(folder: &str) -> Vec<(String, Examined)> {
    let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let entries = std::fs::read_dir(root).expect("a folder");
    let mut paths: Vec<_> = entries.map(|entry| entry.expect("an entry").path()).collect();
    paths.retain(|path| path.extension().is_some_and(|e| e == "bell"));
    paths.sort();
    let one = |path: &std::path::PathBuf| {
        let name = path.file_stem().and_then(|n| n.to_str()).expect("a name").to_owned();
        let text = std::fs::read_to_string(path).expect("readable");
        let mut examined = examine(&name, text, &mut |_| Err("no file".to_owned()));
        if let (true, Some(procedure)) = (examined.plans.is_empty(), &examined.procedure) {
            examined.plans = plans(procedure).0;
        }
        (name, examined)
    };
    // What has no model says nothing of time, and leads nobody.
    paths.iter().map(one).filter(|(_, examined)| examined.procedure.is_some()).collect()
}

/// What came of a number of runs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Count {
    pub runs: u64,
    /// Runs in which a window, a limit or a dwell was missed.
    pub missed: u64,
    /// Runs that came to no end.
    pub standstills: u64,
}

impl Count {
    pub fn and(self, other: Count) -> Count {
        Count {
            runs: self.runs + other.runs,
            missed: self.missed + other.missed,
            standstills: self.standstills + other.standstills,
        }
    }
}

/// Plays a plan so often. The vehicle may answer anything that the script knows, or nothing; the person
/// may slip; guards may be lost. Nobody is slower or quicker than the bounds.
pub fn play(procedure: &Arc<Procedure>, plan: &Plan, seed: u64, runs: u64) -> Count {
    let speech = speech_lengths(procedure);
    let settings = Settings {
        speech: speech.clone(),
        timing: network,
        rehearsal: true,
        length: Length::Unbounded,
    };
    let guide = Guide::new(Arc::clone(procedure), settings);
    // A script with an error is not led through.
    let Some(mut practice) = Practice::new(guide, procedure, &speech, &plan.choices) else {
        return Count::default();
    };
    let mut count = Count { runs, ..Count::default() };
    for run in 0..runs {
        let law = LAWS[usize::try_from(run).unwrap_or(0) % LAWS.len()];
        let mut chance = Draw::new(seed.wrapping_mul(1_000_003).wrapping_add(run));
        let faults = trouble(&mut chance, plan);
        let ran = practice.run(Draw::of_run(seed, run, law), &faults, Watch::default());
        count.missed += u64::from(ran.witness.late || outside(&ran.truth));
        count.standstills += u64::from(ran.ending.is_none());
    }
    count
}

fn outside(truth: &Truth) -> bool {
    !truth.outside.is_empty()
}

/// Nothing in every third run, else what may go wrong in one, two or three places.
fn trouble(chance: &mut Draw, plan: &Plan) -> Vec<Fault> {
    let steps = i64::from(plan.main.max(1)) - 1;
    let many = chance.between(0, 3);
    (0..many).filter_map(|_| one(chance, plan, steps)).collect()
}

fn one(chance: &mut Draw, plan: &Plan, steps: i64) -> Option<Fault> {
    let at = StepIx(u32::try_from(chance.between(0, steps)).ok()?);
    let step = plan.steps.get(at.0 as usize)?;
    let times = u32::try_from(chance.between(1, 2)).ok()?;
    let answers = i64::try_from(step.met.len()).unwrap_or(1);
    let wrong = match chance.between(0, 4) {
        0 if step.silence.is_some() => Wrong::Silence,
        1 if answers > 1 => Wrong::Answer(u32::try_from(chance.between(1, answers - 1)).ok()?),
        2 if step.report == Report::Answer => Wrong::Other,
        3 if !plan.guards.is_empty() => {
            let last = i64::try_from(plan.guards.len()).ok()? - 1;
            let guard = GuardIx(u32::try_from(chance.between(0, last)).ok()?);
            return Some(Fault::Lost(guard, at, 1, Millis(chance.between(0, 20_000))));
        }
        _ if step.report != Report::None => Wrong::Slip,
        _ => return None,
    };
    Some(Fault::Step(at, times, wrong))
}

/// Sees whether the guide had to say that something is too late.
#[derive(Debug, Default)]
struct Watch {
    late: bool,
}

impl Witness for Watch {
    fn note(&mut self, _: Moment, _: Option<Input>, effects: Vec<Effect>) {
        let late =
            |effect: &Effect| matches!(effect, Effect::Record(Fact::Outcome(_, OutcomeKind::Late)));
        self.late |= effects.iter().any(late);
    }
}
