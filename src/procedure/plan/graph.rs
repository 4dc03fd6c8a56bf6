//! The plan as a graph: where every outcome of every step leads, and what has happened on the way.
//!
//! Takes a [`Plan`]; gives its edges, which steps can be reached, and the moments that have
//! happened on *every* path to a step (going back un-happens what stood at or after the target).

use super::{Anchor, Next, Plan, PlanStep, StepIx, Target};
use crate::procedure::model::Event;
use std::collections::VecDeque;

/// Why an edge is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Because {
    /// The act is over; nothing is awaited.
    Act,
    /// A sign came.
    Met,
    /// Nothing came.
    Silence,
    /// Anything else came.
    Otherwise,
    /// Something else was done.
    Slip,
    /// The window closed first.
    Late,
    /// A guard was lost.
    Lost,
}

/// One way on from a step.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub to: Next,
    pub because: Because,
    /// Whether it begins again.
    pub retry: bool,
}

/// Every edge of a plan, by the step that it leaves.
pub(super) struct Graph {
    pub from: Vec<Vec<Edge>>,
    entry: Option<usize>,
}

/// Where a target can lead: its next, and whether by beginning again.
pub(super) fn ends(target: &Target) -> Vec<(Next, bool)> {
    match target {
        Target::To(next) | Target::ThisOne { next, .. } => vec![(*next, false)],
        Target::Again { enter, spent, .. } => {
            let mut all = ends(spent);
            all.push((Next::Step(*enter), true));
            all
        }
    }
}

/// Every outcome of a step with its target; `go_on` where nothing is awaited.
pub(super) fn outcomes(step: &PlanStep) -> Vec<(Because, &Target)> {
    let met = step.met.iter().map(|m| (Because::Met, &m.then));
    let silence = step.silence.iter().map(|s| (Because::Silence, &s.then));
    let rest = [(Because::Otherwise, &step.otherwise), (Because::Slip, &step.slip)];
    let late = step.late.iter().map(|l| (Because::Late, l));
    met.chain(silence).chain(rest).chain(late).collect()
}

/// Whether the step's own end leads on: nothing is awaited in it.
pub(super) fn blind(step: &PlanStep) -> bool {
    step.met.is_empty() && step.silence.is_none()
}

impl Graph {
    pub fn new(plan: &Plan) -> Graph {
        let mut from: Vec<Vec<Edge>> = plan.steps.iter().map(edges).collect();
        for guard in &plan.guards {
            add_range(&mut from, guard.from, guard.to, &guard.lost, Because::Lost);
        }
        for limit in &plan.limits {
            if let Some(late) = &limit.late {
                add_range(&mut from, limit.from, limit.to, late, Because::Late);
            }
        }
        let entry = match plan.entry {
            Some(Next::Step(step)) => Some(step.0 as usize),
            _ => None,
        };
        Graph { from, entry }
    }

    pub fn entry(&self) -> Option<usize> {
        self.entry
    }

    /// The steps that follow `step`, with the edge.
    pub fn steps_after(&self, step: usize) -> impl Iterator<Item = (usize, &Edge)> {
        self.from[step].iter().filter_map(|edge| match edge.to {
            Next::Step(to) => Some((to.0 as usize, edge)),
            Next::End(_) => None,
        })
    }

    /// Which steps can be reached from the entry.
    pub fn reached(&self) -> Vec<bool> {
        self.entry
            .map_or_else(|| vec![false; self.from.len()], |e| self.reached_from(e, |_, _| true))
    }

    /// Which steps can be reached from `start` over the edges that `along` allows; `start` itself is.
    pub fn reached_from(&self, start: usize, along: impl Fn(usize, &Edge) -> bool) -> Vec<bool> {
        let mut reached = vec![false; self.from.len()];
        let mut open = vec![start];
        while let Some(step) = open.pop() {
            if std::mem::replace(&mut reached[step], true) {
                continue;
            }
            open.extend(self.steps_after(step).filter(|(_, e)| along(step, e)).map(|(to, _)| to));
        }
        reached
    }

    /// What has happened on every path to each step. `retries`: whether beginning again counts as
    /// a path.
    pub fn happened(&self, retries: bool) -> Happened {
        let steps = self.from.len();
        let mut at: Vec<Option<Bits>> = vec![None; steps];
        let Some(entry) = self.entry else { return Happened { at } };
        at[entry] = Some(Bits::none(steps));
        let mut open = VecDeque::from([entry]);
        while let Some(step) = open.pop_front() {
            let Some(before) = at[step].clone() else { continue };
            for (to, edge) in self.steps_after(step).filter(|(_, e)| retries || !e.retry) {
                let mut after = before.clone();
                after.add(step, edge.because);
                if to <= step {
                    after.forget_from(to);
                }
                let merged = match &at[to] {
                    None => after,
                    Some(known) => known.both(&after),
                };
                if at[to].as_ref() != Some(&merged) {
                    at[to] = Some(merged);
                    open.push_back(to);
                }
            }
        }
        Happened { at }
    }
}

/// Edges from every step of a range. Ten guards with one ending are one edge.
fn add_range(edges: &mut [Vec<Edge>], from: StepIx, to: StepIx, target: &Target, because: Because) {
    for (next, retry) in ends(target) {
        for list in &mut edges[from.0 as usize..=to.0 as usize] {
            if !list.iter().any(|e| e.because == because && e.to == next) {
                list.push(Edge { to: next, because, retry });
            }
        }
    }
}

fn edges(step: &PlanStep) -> Vec<Edge> {
    let mut all = Vec::new();
    if blind(step) {
        all.push(Edge { to: step.go_on, because: Because::Act, retry: false });
    }
    for (because, target) in outcomes(step) {
        all.extend(ends(target).into_iter().map(|(to, retry)| Edge { to, because, retry }));
    }
    all
}

/// Three bits a step: it was called, it was done, it was answered.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Bits(Vec<u64>);

const KINDS: usize = 3;

impl Bits {
    fn none(steps: usize) -> Bits {
        Bits(vec![0; (steps * KINDS).div_ceil(64)])
    }

    fn set(&mut self, bit: usize) {
        self.0[bit / 64] |= 1 << (bit % 64);
    }

    fn get(&self, bit: usize) -> bool {
        self.0[bit / 64] >> (bit % 64) & 1 == 1
    }

    fn add(&mut self, step: usize, because: Because) {
        let done = !matches!(because, Because::Slip | Because::Late | Because::Lost);
        self.set(step * KINDS);
        if done {
            self.set(step * KINDS + 1);
        }
        if because == Because::Met {
            self.set(step * KINDS + 2);
        }
    }

    fn forget_from(&mut self, step: usize) {
        let first = step * KINDS;
        for (word, bits) in self.0.iter_mut().enumerate().skip(first / 64) {
            *bits &= if word == first / 64 { (1 << (first % 64)) - 1 } else { 0 };
        }
    }

    fn both(&self, other: &Bits) -> Bits {
        Bits(self.0.iter().zip(&other.0).map(|(a, b)| a & b).collect())
    }
}

/// What has happened on every path, by step; `None` for a step that no path reaches.
pub(super) struct Happened {
    at: Vec<Option<Bits>>,
}

impl Happened {
    /// Whether the moment has happened on every path to `step`.
    pub fn before(&self, step: StepIx, anchor: Anchor) -> bool {
        let kind = match anchor.event {
            Event::Called | Event::Heard | Event::Reported | Event::Over => 0,
            Event::Begun | Event::Done | Event::Released => 1,
            Event::Answered => 2,
        };
        let known = self.at.get(step.0 as usize).and_then(Option::as_ref);
        known.is_none_or(|bits| bits.get(anchor.step.0 as usize * KINDS + kind))
    }
}
