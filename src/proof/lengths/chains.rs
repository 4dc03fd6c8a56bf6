//! The longest and the shortest chain of legs: takes the legs of every segment and the purses of
//! tries, gives the lengths of a run.
//!
//! A state is where a segment begins and what every purse has spent so far. A run never comes back to
//! a state: to go back costs a try. So the states are searched once each, from the last to the first.
//! Where they are too many, a bound takes the place of the longest chain: the longest way forward, and
//! for each try the longest way forward from where it begins again.

use super::Lengths;
use super::legs::{Leg, Legs};
use crate::clock::Millis;
use crate::procedure::model::{EndingClass, Procedure, PurseId};
use crate::procedure::plan::{Next, Plan, StepIx};
use crate::proof::controllable::Stopped;
use std::collections::{BTreeMap, BTreeSet};

/// More states than these are not searched one by one.
const MOST_STATES: usize = 20_000;

/// Where a segment begins, and the tries spent before it, by purse.
type State = (StepIx, Vec<u32>);

/// What is left of a run from a state on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Rest {
    most: Millis,
    cool: Millis,
    best: Option<Millis>,
}

/// A search over the legs of one plan.
pub(super) struct Chains<'a> {
    procedure: &'a Procedure,
    plan: &'a Plan,
    legs: &'a Legs,
}

impl<'a> Chains<'a> {
    pub fn new(procedure: &'a Procedure, plan: &'a Plan, legs: &'a Legs) -> Chains<'a> {
        Chains { procedure, plan, legs }
    }

    /// The lengths of a run of the plan.
    pub fn lengths(&self, stop: &dyn Fn() -> bool) -> Result<Lengths, Stopped> {
        let Some(Next::Step(entry)) = self.plan.entry else {
            return Ok(Lengths { exact: true, ..Lengths::default() });
        };
        let none: Vec<u32> = self.procedure.purses.iter().map(|_| 0).collect();
        let all: Vec<u32> = self.procedure.purses.iter().map(|purse| purse.tries).collect();
        let whole = self.search(&(entry, none), stop)?;
        let once = self.search(&(entry, all), stop)?;
        let exact = whole.is_some() && once.is_some();
        let whole = whole.unwrap_or_else(|| self.bound(entry));
        let once = once.map_or(whole.most, |once| once.most);
        Ok(Lengths {
            most: whole.most,
            cool_downs: whole.cool,
            once,
            best: whole.best,
            pauses: Vec::new(),
            exact,
        })
    }

    /// What is left from a state on; nothing where the states are too many.
    fn search(&self, root: &State, stop: &dyn Fn() -> bool) -> Result<Option<Rest>, Stopped> {
        let mut known: BTreeMap<State, Rest> = BTreeMap::new();
        let mut open = vec![root.clone()];
        let mut waiting: BTreeSet<State> = BTreeSet::new();
        while let Some(state) = open.last().cloned() {
            if stop() {
                return Err(Stopped);
            }
            if known.contains_key(&state) {
                open.pop();
                continue;
            }
            let next: Vec<State> = self
                .ways(&state)
                .filter_map(|(_, next)| next)
                .filter(|next| !known.contains_key(next))
                .collect();
            if next.is_empty() {
                let rest = self.rest(&state, &known);
                waiting.remove(&state);
                known.insert(state, rest);
                open.pop();
                continue;
            }
            waiting.insert(state);
            // A way back without a try would go round for ever.
            if next.iter().any(|next| waiting.contains(next)) {
                return Ok(None);
            }
            open.extend(next);
            if known.len() + open.len() > MOST_STATES {
                return Ok(None);
            }
        }
        Ok(known.get(root).copied())
    }

    /// The legs that can be gone from a state, with the state behind each; `None` at an ending.
    fn ways<'s>(&'s self, state: &'s State) -> impl Iterator<Item = (&'a Leg, Option<State>)> + 's {
        let (start, spent) = state;
        let legs = self.legs.get(start).map_or(&[][..], Vec::as_slice);
        legs.iter().filter_map(move |leg| {
            let after = self.after(spent, leg)?;
            let next = match leg.to {
                Next::Step(step) => Some((step, after)),
                Next::End(_) => None,
            };
            Some((leg, next))
        })
    }

    /// What the purses have spent behind a leg; nothing where they do not allow it.
    fn after(&self, spent: &[u32], leg: &Leg) -> Option<Vec<u32>> {
        let mut after = spent.to_vec();
        let nth = |purse: PurseId| purse.0 as usize;
        for (purse, more) in &leg.used {
            let count = after.get_mut(nth(*purse))?;
            *count = count.saturating_add(*more);
            if *count > self.procedure.purses.get(nth(*purse))?.tries {
                return None;
            }
        }
        for (purse, used) in &leg.empty {
            let tries = self.procedure.purses.get(nth(*purse))?.tries;
            if spent.get(nth(*purse))?.saturating_add(*used) != tries {
                return None;
            }
        }
        Some(after)
    }

    fn rest(&self, state: &State, known: &BTreeMap<State, Rest>) -> Rest {
        let mut rest = Rest::default();
        for (leg, next) in self.ways(state) {
            let behind = match (&next, leg.to) {
                (Some(next), _) => known.get(next).copied().unwrap_or_default(),
                (None, to) => self.ended(to),
            };
            rest.take(leg, behind);
        }
        rest
    }

    /// Nothing is left behind an ending.
    fn ended(&self, to: Next) -> Rest {
        let Next::End(ending) = to else { return Rest::default() };
        let class = self.procedure.endings.get(ending.0 as usize).map(|ending| ending.class);
        let learned = class == Some(EndingClass::Learned);
        Rest { best: learned.then_some(Millis::ZERO), ..Rest::default() }
    }

    /// A bound on every run, whatever is spent when: each try begins one more way forward.
    fn bound(&self, entry: StepIx) -> Rest {
        let mut forward: BTreeMap<StepIx, Rest> = BTreeMap::new();
        // A way forward is no longer than all segments one after the other.
        for _ in 0..=self.legs.len() {
            let mut next = forward.clone();
            for (start, legs) in self.legs {
                let mut rest = Rest::default();
                for leg in legs {
                    let behind = match leg.to {
                        Next::Step(_) if !leg.used.is_empty() => Rest::default(),
                        Next::Step(step) => forward.get(&step).copied().unwrap_or_default(),
                        to => self.ended(to),
                    };
                    rest.take(leg, behind);
                }
                next.insert(*start, rest);
            }
            if next == forward {
                break;
            }
            forward = next;
        }
        let mut whole = forward.get(&entry).copied().unwrap_or_default();
        let longest = forward.values().map(|rest| rest.most).max().unwrap_or_default();
        let tries = self.procedure.purses.iter().fold(0_i64, |n, p| n + i64::from(p.tries));
        whole.most = whole.most.plus(longest.times(tries));
        whole
    }
}

impl Rest {
    /// One more way to go on.
    fn take(&mut self, leg: &Leg, behind: Rest) {
        let most = leg.takes.hi.plus(behind.most);
        if most > self.most {
            self.most = most;
            self.cool = leg.cool.plus(behind.cool);
        }
        let best = behind.best.map(|behind| leg.takes.lo.plus(behind));
        self.best = self.best.into_iter().chain(best).min();
    }
}
