//! How long every cue may wait: takes a proof, gives a row for each line that cues.
//!
//! A cue waits when it is given later than words, reports and waits before it would allow. The cue of a
//! line is put off in all its turns at once.

use super::trial::{Trial, Trials};
use super::{CueReport, InPlan};
use crate::clock::Millis;
use crate::procedure::plan::StepIx;
use crate::procedure::timing::What;
use crate::proof::compile::Segment;
use crate::proof::controllable::{Stopped, beyond_every_path, largest};
use crate::proof::verdict::{Proof, ProvenPlan};
use crate::source::Place;
use std::collections::BTreeMap;

/// Every cue, in the order of the script.
pub(super) fn cues(proof: &Proof, trials: Trials<'_>) -> Result<Vec<CueReport>, Stopped> {
    let mut rows: BTreeMap<Place, CueReport> = BTreeMap::new();
    for part in &proof.parts {
        for (start, segment) in &part.segments {
            let trial = Trial { with: trials, part, start: *start, segment };
            let mut lines: BTreeMap<Place, StepIx> = BTreeMap::new();
            for (step, _) in &segment.cues {
                lines.entry(part.way.step(*step).place).or_insert(*step);
            }
            for (place, step) in lines {
                let at = InPlan { plan: part.plan, step };
                let fresh = || CueReport { place, at, may_wait: None, because: None };
                let row = rows.entry(place).or_insert_with(fresh);
                wait(row, trial, at)?;
            }
        }
    }
    Ok(rows.into_values().collect())
}

/// Lowers how long a line's cue may wait to what it may in this segment.
fn wait(row: &mut CueReport, trial: Trial<'_>, at: InPlan) -> Result<(), Stopped> {
    let place = row.place;
    if before(trial.part, trial.segment, place).is_empty() {
        return Ok(());
    }
    let fails = |by: i64| {
        let change = |segment: &Segment| {
            segment.network.with_less(&before(trial.part, segment, place), Millis(by))
        };
        trial.fails(&change)
    };
    let holds = |by: i64| Ok(fails(by)?.is_none());
    let beyond = row.may_wait.map_or(beyond_every_path(&trial.segment.network), |known| known.0);
    let Some(most) = largest(beyond, &holds)? else { return Ok(()) };
    row.may_wait = Some(Millis(most));
    row.at = at;
    let why = fails(most + 1)?.map_or_else(Vec::new, |refusal| refusal.grounds);
    let demands = |what| matches!(what, What::Window | What::Limit | What::Holding | What::Awake);
    row.because = why.iter().find(|g| demands(g.what)).map(|ground| ground.place);
    Ok(())
}

/// The bounds that hold a line's cues back: what must lie before each.
fn before(part: &ProvenPlan, segment: &Segment, place: Place) -> Vec<usize> {
    let mine = |step: StepIx| part.way.step(step).place == place;
    let cues: Vec<_> =
        segment.cues.iter().filter(|(step, _)| mine(*step)).map(|(_, point)| *point).collect();
    let bounds = segment.network.bounds().iter().enumerate();
    bounds
        .filter(|(_, bound)| bound.most <= Millis::ZERO && cues.contains(&bound.from))
        .map(|(number, _)| number)
        .collect()
}
