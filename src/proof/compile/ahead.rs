//! What lies ahead of one cue: everything that can follow it up to the next resting points, whatever
//! the times of what was before.
//!
//! Takes a step and what stands before its cue ([`Standing`]); gives a network in which each moment
//! that has happened is two points, the earliest and the latest at which it can have been: upper
//! limits count from the one, lower limits from the other. Its shape does not depend on the clock, so
//! it can be worked out before the run and asked with the true times in it.

use super::{Entry, Forms, MOST_SEGMENT_POINTS, Maker, Path, Segment, TooLarge, WindowKey, Work};
use crate::clock::{Millis, Span};
use crate::procedure::model::{Procedure, PurseId};
use crate::procedure::plan::{Anchor, Next, Plan, StepIx, Target};
use crate::procedure::timing::{Bracket, Known, Mark, Point as Named, SpeechLengths, What};
use crate::proof::hidden::Hidden;
use crate::proof::network::Point;
use std::collections::{BTreeMap, BTreeSet};

/// What stands when a cue is to be given, its times left out.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Standing {
    /// Moments that have happened; how far apart the earliest and the latest at which each can have
    /// been, where an answer or a silence ahead is counted from it (else zero: it does not matter).
    pub happened: BTreeMap<Named, Millis>,
    /// Tries spent.
    pub spent: BTreeMap<PurseId, u32>,
    /// Steps that were tried before.
    pub entered: BTreeSet<StepIx>,
    /// Steps that the run went back to.
    pub returns: BTreeSet<StepIx>,
    /// More lies ahead than a network can hold: the rest is left open.
    pub too_large: bool,
}

/// A moment before the cue.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Past {
    /// Which.
    pub named: Named,
    /// The earliest that it can have been.
    pub early: Point,
    /// The latest.
    pub late: Point,
}

/// The network ahead of a cue.
#[derive(Clone, Debug)]
pub struct Ahead {
    /// The network and what its edges stand for.
    pub segment: Segment,
    /// The cue.
    pub cue: Point,
    /// What was before it.
    pub past: Vec<Past>,
}

/// Ends of windows that are not laid: of each, its upper end (`true`) or its lower one.
pub type Without = BTreeSet<(WindowKey, bool)>;

/// How the cues of a segment are come to while every window is met.
#[derive(Debug, Default)]
pub(super) struct Visits {
    matters: BTreeMap<StepIx, Matters>,
    all: BTreeSet<(StepIx, Standing)>,
}

/// How every cue of a plan can be come to while all windows are met, as far as that matters for what
/// lies ahead of it. Widths are those by the bounds. Where the branches of a segment explode, its cues
/// are left out.
#[must_use]
pub fn visits(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
) -> BTreeSet<(StepIx, Standing)> {
    let mut open: Vec<StepIx> = match plan.entry {
        Some(Next::Step(entry)) => vec![entry],
        _ => Vec::new(),
    };
    let (mut begun, mut all) = (BTreeSet::new(), BTreeSet::new());
    while let Some(start) = open.pop() {
        if !begun.insert(start) {
            continue;
        }
        let forms = Forms::new();
        let mut maker = Maker::new(procedure, plan, speech, start, &forms);
        maker.visits = Some(Visits::default());
        maker.work.push(Work { at: start, entry: Entry::default(), path: Path::default() });
        let Ok(()) = maker.run() else { continue };
        open.extend(&maker.made.leads);
        let visits = maker.visits.unwrap_or_default();
        // A least that is measured from before the segment: nothing, or that moment, was before it.
        let earlier = |at: &StepIx| {
            let moments = visits.matters.get(at).map(|matters| &matters.moments);
            let known = |named: &&Named| moments.is_some_and(|all| all.contains_key(named));
            let earlier = maker.made.earlier.keys().filter(known);
            earlier.map(|named| (*named, Millis::ZERO)).collect::<Vec<_>>()
        };
        for (at, mut standing) in visits.all.iter().cloned() {
            all.insert((at, standing.clone()));
            standing.happened.extend(earlier(&at));
            all.insert((at, standing));
        }
    }
    all
}

/// Compiles what lies ahead of the cue of `start`.
///
/// # Errors
/// [`TooLarge`] where the branches explode.
pub fn ahead(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
    start: StepIx,
    standing: &Standing,
    forms: &Forms,
    without: &Without,
) -> Result<Ahead, TooLarge> {
    let mut maker = Maker::new(procedure, plan, speech, start, forms);
    maker.without.clone_from(without);
    let mut path = Path {
        used: standing.spent.clone(),
        entered: standing.entered.clone(),
        returns: standing.returns.iter().copied().collect(),
        back: leads_back(plan, start),
        ..Path::default()
    };
    let mut past = Vec::new();
    for (named, width) in &standing.happened {
        past.push(maker.happened(start, *named, *width, &mut path)?);
    }
    maker.stretch(Work { at: start, entry: Entry::default(), path })?;
    let cue = maker.made.cues.first().map(|(_, cue)| *cue);
    let cue = match cue {
        Some(cue) => cue,
        None => maker.point(start)?,
    };
    for Past { early, .. } in &past {
        maker.after(*early, cue, Vec::new(), start)?;
    }
    maker.run()?;
    Ok(Ahead { segment: maker.made, cue, past })
}

impl Maker<'_> {
    /// A moment that has happened. Links begin at its earliest and are as much longer as it is wide.
    fn happened(
        &mut self,
        start: StepIx,
        named: Named,
        width: Millis,
        path: &mut Path,
    ) -> Result<Past, TooLarge> {
        let (early, late) = (self.point(start)?, self.point(start)?);
        self.after(early, late, Vec::new(), start)?;
        self.late_of.insert(early, late);
        let mut shapes = vec![Hidden::seen(early)];
        if width > Millis::ZERO {
            let span = Span::new(Millis::ZERO, width);
            let place = self.plan.step(named.step).place;
            let leg = self.leg(span, named.step, place, What::Order);
            shapes.insert(0, Hidden::seen(early).then(leg));
        }
        path.seen.insert(named, shapes);
        Ok(Past { named, early, late })
    }

    /// Notes how a cue is come to, where that is asked for.
    pub(super) fn visited(&mut self, at: StepIx, first_try: bool, path: &Path) {
        let Some(visits) = &mut self.visits else { return };
        let plan = self.plan;
        let matters = visits.matters.entry(at).or_insert_with(|| Matters::ahead_of(plan, at));
        let span = |shapes: &Vec<Hidden>| shapes.first().map_or(Span::ZERO, Hidden::span);
        let happened = matters.moments.iter().filter_map(|(named, links)| {
            let span = span(path.seen.get(named)?);
            Some((*named, if *links { span.hi.minus(span.lo) } else { Millis::ZERO }))
        });
        let used = |purse: &PurseId| path.used.get(purse).copied().unwrap_or(0);
        let tried = |step: &StepIx| path.entered.contains(step) && !(first_try && *step == at);
        let returns = path.returns.iter().copied();
        let standing = matters.standing(happened.collect(), &used, &tried, returns);
        visits.all.insert((at, standing));
    }

    /// From where a lower limit on this form counts: from the latest moment at which it can have been.
    pub(super) fn latest_root(&self, form: &Hidden) -> Point {
        let late = self.late_of.get(&form.root).filter(|_| form.legs.is_empty());
        late.copied().unwrap_or(form.root)
    }

    /// Whether an end of a window is left out.
    pub(super) fn leaves_out(&self, key: WindowKey, upper: bool) -> bool {
        self.without.contains(&(key, upper))
    }
}

/// The step that a part on the way back leads to: what stands at or after it un-happens when it is
/// entered. Outside of such a part nothing does.
fn leads_back(plan: &Plan, start: StepIx) -> Option<StepIx> {
    let mut at = start;
    for _ in 0..=plan.steps.len() {
        if at.0 < plan.main {
            return (at != start).then_some(at);
        }
        match plan.step(at).go_on {
            Next::Step(next) => at = next,
            Next::End(_) => return None,
        }
    }
    None
}

/// What matters ahead of a step: everything else that stands changes nothing.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Matters {
    /// Moments from which something is counted; whether an answer or a silence is.
    pub moments: BTreeMap<Named, bool>,
    /// Tries that something draws on.
    pub purses: BTreeSet<PurseId>,
    /// Steps for which it matters whether they were tried before.
    pub tries: BTreeSet<StepIx>,
    /// Steps for which it matters whether the run went back to them.
    pub returns: BTreeSet<StepIx>,
    /// More lies ahead than a network can hold.
    pub too_large: bool,
}

impl Matters {
    /// What matters ahead of the cue of `start`.
    #[must_use]
    pub fn ahead_of(plan: &Plan, start: StepIx) -> Matters {
        let mut matters = Matters::default();
        let mut met = BTreeSet::new();
        let mut first_tries = false;
        let mut open = vec![start];
        while let Some(at) = open.pop() {
            if !met.insert(at) {
                continue;
            }
            if met.len() > MOST_SEGMENT_POINTS {
                return Matters { too_large: true, ..Matters::default() };
            }
            first_tries |= matters.step(plan, at);
            let step = plan.step(at);
            let targets = step.met.iter().map(|met| &met.then);
            let targets = targets.chain(step.silence.iter().map(|silence| &silence.then));
            let mut next = vec![step.go_on];
            for target in targets.chain([&step.otherwise, &step.slip]) {
                matters.follow(target, &mut next);
            }
            let steps = next.into_iter().filter_map(|next| match next {
                Next::Step(step) => Some(step),
                Next::End(_) => None,
            });
            open.extend(steps.filter(|step| !plan.step(*step).rest_before));
        }
        if first_tries {
            matters.tries = met.into_iter().filter(|at| !plan.step(*at).straight_on).collect();
        }
        matters
    }

    /// Where a target leads, its tries spent or not.
    fn follow(&mut self, target: &Target, next: &mut Vec<Next>) {
        match target {
            Target::To(to) | Target::ThisOne { next: to, .. } => next.push(*to),
            Target::Again { purse, enter, spent, .. } => {
                self.purses.insert(*purse);
                next.push(Next::Step(*enter));
                self.follow(spent, next);
            }
        }
    }

    /// Notes what a step counts from; says whether it has windows of the first try.
    fn step(&mut self, plan: &Plan, at: StepIx) -> bool {
        let step = plan.step(at);
        let held = step.lets_go.map(|held| plan.step(held).windows.as_slice());
        let windows = step.windows.iter().chain(held.unwrap_or_default());
        let mut first_tries = false;
        for window in windows {
            self.counts_from(window.anchor, false);
            if window.first_try_only {
                first_tries = true;
                let between = window.anchor.step.0.saturating_add(1)..=at.0;
                self.returns.extend(between.map(StepIx));
            }
        }
        let limits = plan.limits.iter().filter(|limit| limit.from <= at && at <= limit.to);
        limits.for_each(|limit| self.counts_from(limit.anchor, false));
        let links = step.met.iter().map(|met| met.anchor);
        for anchor in links.chain(step.silence.iter().map(|silence| silence.anchor)) {
            self.counts_from(anchor, true);
        }
        first_tries
    }

    /// Something is counted from here: a link, or not.
    fn counts_from(&mut self, anchor: Anchor, link: bool) {
        *self.moments.entry(Named::of(anchor)).or_insert(false) |= link;
    }

    /// What stands before the cue of `start` and matters, as a guide knows it.
    #[must_use]
    pub fn now(&self, start: StepIx, known: &Known) -> Standing {
        Standing {
            happened: self.happened(known).collect(),
            spent: self.spent(known).collect(),
            entered: self.entered(start, known).collect(),
            returns: self.returned(known).collect(),
            too_large: self.too_large,
        }
    }

    /// Whether what stands before the cue of `start` is this: [`Matters::now`] without making it. Both
    /// sides are in order, so they are gone through together.
    #[must_use]
    pub fn is(&self, standing: &Standing, start: StepIx, known: &Known) -> bool {
        let Standing { happened, spent, entered, returns, .. } = standing;
        self.happened(known).eq(happened.iter().map(|(named, width)| (*named, *width)))
            && self.spent(known).eq(spent.iter().map(|(purse, n)| (*purse, *n)))
            && self.entered(start, known).eq(entered.iter().copied())
            && self.returned(known).eq(returns.iter().copied())
    }

    /// Moments that have happened and matter, with their widths where those do.
    fn happened(&self, known: &Known) -> impl Iterator<Item = (Named, Millis)> {
        self.moments.iter().filter_map(|(named, links)| {
            let Bracket { earliest, latest } = known.get(*named)?;
            Some((*named, if *links { latest.since(earliest) } else { Millis::ZERO }))
        })
    }

    fn spent(&self, known: &Known) -> impl Iterator<Item = (PurseId, u32)> {
        let spent = self.purses.iter().map(|purse| (*purse, known.spent(*purse)));
        spent.filter(|(_, n)| *n > 0)
    }

    fn entered(&self, start: StepIx, known: &Known) -> impl Iterator<Item = StepIx> {
        let called = move |step: StepIx| known.get(Named { step, mark: Mark::Called }).is_some();
        let tried = move |step: &StepIx| known.tried(*step) || (*step != start && called(*step));
        self.tries.iter().copied().filter(tried)
    }

    fn returned(&self, known: &Known) -> impl Iterator<Item = StepIx> {
        known.returns().filter(|step| self.returns.contains(step))
    }

    fn standing(
        &self,
        happened: BTreeMap<Named, Millis>,
        spent: &dyn Fn(&PurseId) -> u32,
        tried: &dyn Fn(&StepIx) -> bool,
        returns: impl Iterator<Item = StepIx>,
    ) -> Standing {
        let spent = self.purses.iter().map(|purse| (*purse, spent(purse)));
        Standing {
            happened,
            spent: spent.filter(|(_, n)| *n > 0).collect(),
            entered: self.tries.iter().copied().filter(tried).collect(),
            returns: returns.filter(|step| self.returns.contains(step)).collect(),
            too_large: self.too_large,
        }
    }
}
