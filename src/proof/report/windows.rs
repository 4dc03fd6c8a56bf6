//! How much every window has to spare: takes a proof, gives a row for each line with an upper end.
//!
//! A line stands for all its turns: its window is closed sooner in all of them at once, as an author
//! would change the line, and its cue is given as late in all of them.

use super::trial::{Trial, Trials};
use super::{COMFORTABLE, Hard, InPlan, Latest, PACED, REACTION, WindowReport};
use crate::clock::Millis;
use crate::procedure::model::{Event, HowMany};
use crate::procedure::plan::StepIx;
use crate::procedure::timing::{Mark, What};
use crate::proof::compile::{Demand, Segment, WindowKey};
use crate::proof::controllable::Stopped;
use crate::proof::network::{Network, Point};
use crate::proof::verdict::{Proof, ProvenPlan};
use crate::source::Place;
use std::collections::BTreeMap;

/// A line, and what it demands.
type Line = (Place, What);

/// Every window, limit, hold and count with an upper end, the tightest first.
pub(super) fn windows(proof: &Proof, trials: Trials<'_>) -> Result<Vec<WindowReport>, Stopped> {
    let mut rows: BTreeMap<(Place, u8), WindowReport> = BTreeMap::new();
    for part in &proof.parts {
        for (start, segment) in &part.segments {
            let trial = Trial { with: trials, part, start: *start, segment };
            for ((place, what), demands) in lines(segment) {
                let key = (place, what as u8);
                let row = rows.entry(key).or_insert_with(|| fresh(part, place, what, &demands));
                tighten(row, trial, &demands)?;
                later(row, trial, &demands)?;
            }
        }
    }
    let mut rows: Vec<WindowReport> = rows.into_values().collect();
    for row in &mut rows {
        row.hard = hard(row, proof);
    }
    rows.sort_by_key(|row| (row.slack, row.place));
    Ok(rows)
}

/// The demands of a segment by line.
fn lines(segment: &Segment) -> Vec<(Line, Vec<Demand>)> {
    let mut all: Vec<(Line, Vec<Demand>)> = Vec::new();
    for demand in &segment.demands {
        let line = (demand.key.place, demand.what);
        match all.iter_mut().find(|(known, _)| *known == line) {
            Some((_, demands)) => demands.push(*demand),
            None => all.push((line, vec![*demand])),
        }
    }
    all
}

fn fresh(part: &ProvenPlan, place: Place, what: What, demands: &[Demand]) -> WindowReport {
    let first = demands.first();
    let step = first.map_or(StepIx(0), |demand| demand.key.step);
    let length = first.map_or(Millis::ZERO, |demand| demand.length);
    let at = InPlan { plan: part.plan, step };
    WindowReport { place, what, at, length, slack: length, latest: None, hard: None }
}

/// Lowers the slack of a line to what it has in this segment.
fn tighten(row: &mut WindowReport, trial: Trial<'_>, demands: &[Demand]) -> Result<(), Stopped> {
    let here = |step| InPlan { plan: trial.part.plan, step };
    for demand in demands {
        if let Some(left) = demand.left.filter(|left| *left < row.slack) {
            row.slack = left;
            row.at = here(demand.key.step);
        }
    }
    let Some(first) = demands.iter().find(|demand| demand.bound.is_some()) else { return Ok(()) };
    let line = (row.place, row.what);
    let short = |sooner: i64| {
        let change = |segment: &Segment| closed(segment, line, Millis(sooner));
        Ok(trial.fails(&change)?.map(|why| why.short))
    };
    // One check tells whether this segment is tighter than those before.
    if let Some(by) = short(row.slack.0)? {
        row.slack = Millis(between(0, (row.slack.0, by), &short)?);
        row.at = here(first.key.step);
    }
    Ok(())
}

/// The network with one line's windows closed so much sooner.
fn closed(segment: &Segment, line: Line, by: Millis) -> Network {
    let mine = segment.demands.iter().filter(|demand| (demand.key.place, demand.what) == line);
    let bounds: Vec<usize> = mine.filter_map(|demand| demand.bound).collect();
    segment.network.with_less(&bounds, by)
}

/// Lowers the latest safe moment of a line's cue to what it is in this segment, its cue given as late as
/// that in every turn and branch.
fn later(row: &mut WindowReport, trial: Trial<'_>, demands: &[Demand]) -> Result<(), Stopped> {
    let Trial { part, segment, .. } = trial;
    let windows = demands.iter().filter(|demand| demand.what == What::Window);
    let windows = windows.filter_map(|demand| {
        let most = segment.network.bounds()[demand.bound?].most;
        Some((counted_from(part, segment, demand)?, demand, most))
    });
    let windows: Vec<_> = windows.collect();
    let name = |step: StepIx| part.way.step(step).name.as_str();
    let same = |one: (StepIx, Mark), other: (StepIx, Mark)| {
        one.1 == other.1 && name(one.0) == name(other.0)
    };
    // Counted from one and the same moment; what is known of another is left as it is.
    let known = row.latest.map(|latest| (latest.from.step, latest.mark));
    let Some(from) = known.or_else(|| windows.first().map(|(from, ..)| *from)) else {
        return Ok(());
    };
    let pairs: Vec<(Point, Point, Millis)> = windows
        .iter()
        .filter(|(other, ..)| same(from, *other))
        .map(|(_, demand, most)| (demand.from, demand.cue, *most))
        .collect();
    let Some(most) = pairs.iter().map(|(_, _, most)| *most).min() else { return Ok(()) };
    let most = row.latest.map_or(most, |latest| latest.after.min(most));
    let short = |least: i64| {
        let pairs = pairs.iter().map(|(from, cue, _)| (*from, *cue));
        let network = segment.network.with_least(pairs, Millis(least));
        trial.short_as_it_is(&network)
    };
    let after = match short(most.0)? {
        None => most,
        Some(by) => Millis(below((most.0, by), &short)?),
    };
    if row.latest.is_none_or(|latest| after < latest.after) {
        let from = InPlan { plan: part.plan, step: from.0 };
        row.latest =
            Some(Latest { after, from, mark: known.map_or(windows[0].0.1, |known| known.1) });
    }
    Ok(())
}

/// By how much a network falls short with a number in it; nothing where it holds.
type Short<'a> = &'a dyn Fn(i64) -> Result<Option<Millis>, Stopped>;

/// The largest number that holds, below one that does not (with by how much it falls short), found in
/// growing strides downwards.
fn below((most, by): (i64, Millis), short: Short<'_>) -> Result<i64, Stopped> {
    let (mut bad, mut by, mut stride) = (most, by, 1000_i64);
    loop {
        let far = most.saturating_sub(stride).min(bad.saturating_sub(by.0));
        match short(far)? {
            Some(still) if stride < Millis::LONGEST.0.saturating_mul(4) => {
                (bad, by) = (far, still);
            }
            _ => return between(far, (bad, by), short),
        }
        stride = stride.saturating_mul(2);
    }
}

/// A number that is tried before halving.
#[derive(Clone, Copy)]
enum Guess {
    /// Less by what the last one was short by.
    Short(i64),
    /// The next after such a one that held: where it fails, that was the answer.
    Next(i64),
}

impl Guess {
    const fn at(self) -> i64 {
        match self {
            Guess::Short(at) | Guess::Next(at) => at,
        }
    }
}

/// The largest number that holds, between one that does and one that does not. What a cycle falls short
/// by is mostly what the number is too large by (the cycle runs over it once): that is tried first, and
/// the next larger one after it. Between two such guesses the range is halved, so that it ends as soon as
/// halving does but for a factor, and with the same answer.
fn between(mut good: i64, (bad, by): (i64, Millis), short: Short<'_>) -> Result<i64, Stopped> {
    let (mut bad, mut guess) = (bad, Some(Guess::Short(bad.saturating_sub(by.0))));
    while bad - good > 1 {
        let guessed = guess.take().filter(|guess| good < guess.at() && guess.at() < bad);
        let tried = guessed.map_or(good + (bad - good) / 2, Guess::at);
        match (short(tried)?, guessed) {
            (None, Some(Guess::Short(at))) => (good, guess) = (tried, Some(Guess::Next(at + 1))),
            (None, _) => good = tried,
            (Some(by), None) => {
                (bad, guess) = (tried, Some(Guess::Short(tried.saturating_sub(by.0))));
            }
            (Some(_), Some(_)) => bad = tried,
        }
    }
    Ok(good)
}

/// Which moment a demand counts from, as the guide knows it: a cue, or the report of a step.
fn counted_from(part: &ProvenPlan, segment: &Segment, demand: &Demand) -> Option<(StepIx, Mark)> {
    let is = |(_, point): &&(StepIx, Point)| *point == demand.from;
    if let Some((step, _)) = segment.cues.iter().find(is) {
        return Some((*step, Mark::Called));
    }
    let WindowKey { step, place } = demand.key;
    let window = part.way.step(step).windows.iter().find(|window| window.place == place)?;
    // A stretch of acts is reported once, at its last.
    let reported = part.way.chain(window.anchor.step).last().copied();
    Some((reported.unwrap_or(window.anchor.step), Mark::Reported))
}

/// Why a person may find a window hard.
fn hard(row: &WindowReport, proof: &Proof) -> Option<Hard> {
    let part = proof.parts.iter().find(|part| part.plan == row.at.plan)?;
    let step = part.way.step(row.at.step);
    if let Some((many, count)) = step.count.as_ref().filter(|(_, count)| count.place == row.place) {
        let gaps = i64::from(many.saturating_sub(1)).max(1);
        let fast = row.length < PACED.times(gaps) || row.length <= REACTION;
        if fast && count.how_many != HowMany::UntilAnswered {
            return Some(Hard::Burst);
        }
    }
    let own = |subject: Event| matches!(subject, Event::Begun | Event::Done);
    let window = step.windows.iter().find(|window| window.place == row.place);
    let reaction = row.what == What::Window && row.length <= REACTION;
    if reaction && window.is_none_or(|window| own(window.subject)) {
        return Some(Hard::Reaction);
    }
    (row.slack < COMFORTABLE).then_some(Hard::LittleToSpare)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::Cell;

    /// A line that a cycle runs over so many times: the shortfall is as many times the excess.
    fn tries(times: i64, answer: i64, range: (i64, i64)) -> u32 {
        let tried = Cell::new(0);
        let short = |at: i64| {
            tried.set(tried.get() + 1);
            Ok((at > answer).then(|| Millis((at - answer) * times)))
        };
        let by = Millis((range.1 - answer) * times);
        assert_eq!(between(range.0, (range.1, by), &short).ok(), Some(answer), "{times} {answer}");
        tried.get()
    }

    #[test]
    fn the_largest_number_that_holds_is_found_in_few_tries() {
        assert_eq!(tries(1, 45_000, (0, 60_000)), 2);
        for times in [1, 2, 3, 7, 1000] {
            for answer in [0, 1, 17, 29_999, 45_000, 59_998, 59_999] {
                let tried = tries(times, answer, (0, 60_000));
                assert!(tried <= 3 * 16 + 3, "{times} {answer}: {tried}");
            }
        }
    }

    #[test]
    fn a_shortfall_that_tells_little_costs_little_more() {
        for answer in [0, 1, 31_234, 59_999] {
            let tried = Cell::new(0);
            let short = |at: i64| {
                tried.set(tried.get() + 1);
                Ok((at > answer).then_some(Millis(1)))
            };
            assert_eq!(between(0, (60_000, Millis(1)), &short).ok(), Some(answer));
            assert!(tried.get() <= 3 * 16 + 3, "{answer}: {}", tried.get());
        }
    }
}
