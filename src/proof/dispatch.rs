//! When the person may act: takes a controllable network and what has happened so far, gives for
//! each point the earliest and the latest safe moment, and the bounds that decide them.
//!
//! [`Plan`] is made once. It holds all bounds and waits that the backward search derives, so that
//! looking at what has happened is enough to decide what may happen next (P. Morris, *Dynamic
//! controllability and dispatchability relationships*, CPAIOR 2014). A *wait* says "not before this
//! outcome is seen, or this long after the link began". [`Live`] follows one run.
//!
//! A latest moment is never later than the true one: as long as an outcome is awaited, it counts
//! as coming as soon as it still can.

mod reach;

pub use reach::Reach;

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::sync::Arc;

use super::controllable::{Cycle, LatestSafe, Part, Role, Use, latest_safe};
use super::network::{Bound, Link, Network, Point};
use super::search::{EdgeId, Keep, Search};
use crate::clock::{Millis, Moment, Span};

/// An edge as one of its ends lists it.
#[derive(Clone, Copy, Debug)]
struct Towards {
    other: u32,
    length: i64,
    edge: EdgeId,
}

/// Not before the outcome of `link`, or `length` after the link can first have an outcome.
#[derive(Clone, Copy, Debug)]
struct Wait {
    link: usize,
    length: i64,
    edge: EdgeId,
}

/// A controllable network with everything that follows from it, ready to be acted on.
#[derive(Debug)]
pub struct Plan {
    network: Network,
    search: Search,
    /// For each link with a choice, the number of its inner point S: x after the activation.
    inner_of: Vec<Option<u32>>,
    /// For each point, the links it sets going.
    sets_going: Vec<Vec<usize>>,
    /// For each point, what has to lie before it and by how much.
    after: Vec<Vec<Towards>>,
    /// For each point, what has to lie after it and by how much: `after` from the other end.
    before: Vec<Vec<Towards>>,
    /// For each point, the waits that hold it back.
    waits: Vec<Vec<Wait>>,
    /// For each link, the points that wait for it.
    waiting_for: Vec<Vec<u32>>,
    /// For each point, what limits it from above: not negative, quick outcomes included.
    limits: Vec<Vec<Towards>>,
    /// For each point, the numbers of the bounds that touch it.
    touching: Vec<Vec<usize>>,
}

impl Plan {
    /// Works out everything that follows from `network`.
    ///
    /// # Errors
    /// The reason why the network is not controllable.
    pub fn new(network: Network) -> Result<Plan, Cycle> {
        let mut search = Search::new(&network, Keep::ForDispatch);
        // Never stopped; only the limit on derived edges could end it, long after memory has.
        if let Ok(Some(edges)) = search.run(&|| false) {
            return Err(search.cycle(&edges));
        }
        let (nodes, links) = (search.node_count(), network.links().len());
        let mut plan = Plan {
            inner_of: vec![None; links],
            sets_going: vec![Vec::new(); network.point_count()],
            after: vec![Vec::new(); nodes],
            before: vec![Vec::new(); nodes],
            waits: vec![Vec::new(); nodes],
            waiting_for: vec![Vec::new(); links],
            limits: vec![Vec::new(); nodes],
            touching: vec![Vec::new(); network.point_count()],
            network,
            search,
        };
        plan.list_edges();
        Ok(plan)
    }

    fn list_edges(&mut self) {
        for node in 0..u32::try_from(self.search.node_count()).unwrap_or(u32::MAX) {
            if let Some(link) = self.search.link_of_inner(node) {
                self.inner_of[link] = Some(node);
                self.sets_going[self.network.links()[link].activation.index()].push(link);
            }
        }
        for (number, bound) in self.network.bounds().iter().enumerate() {
            self.touching[bound.from.index()].push(number);
            if bound.from != bound.to {
                self.touching[bound.to.index()].push(number);
            }
        }
        for (edge, ends) in self.search.edges() {
            let (from, to) = (ends.from as usize, ends.to as usize);
            if ends.weight >= 0 {
                self.limits[to].push(Towards { other: ends.from, length: ends.weight, edge });
                continue;
            }
            let length = -ends.weight;
            match self.search.link_of_inner(ends.to) {
                // The outcome itself waits for nothing.
                Some(link) if self.network.links()[link].outcome.index() == from => {}
                Some(link) => {
                    self.waits[from].push(Wait { link, length, edge });
                    self.waiting_for[link].push(ends.from);
                }
                None => {
                    self.after[from].push(Towards { other: ends.to, length, edge });
                    self.before[to].push(Towards { other: ends.from, length, edge });
                }
            }
        }
    }

    /// The network that the plan was made from.
    #[must_use]
    pub fn network(&self) -> &Network {
        &self.network
    }

    /// The bounds and links that decide `limit`, in the order in which they lie between the point
    /// it is counted from and the point it bounds (for an earliest moment the other way round).
    #[must_use]
    pub fn why(&self, limit: &Limit) -> Vec<Use> {
        self.search.unfold(&limit.path)
    }

    /// The point of the network that stands for `node`: for the inner point of a link its
    /// activation.
    fn point(&self, node: u32) -> Point {
        match self.search.link_of_inner(node) {
            Some(link) => self.network.links()[link].activation,
            None => Point(node),
        }
    }
}

/// A moment that bounds a point. [`Plan::why`] says which bounds and links decide it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Limit {
    /// The moment.
    pub at: Moment,
    /// The point it is counted from: one that has happened, or an outcome that is awaited.
    pub counted_from: Point,
    path: Vec<EdgeId>,
}

/// What a point that has just happened did to the bounds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Broken {
    /// Bounds and links that this point broke; empty where all were kept.
    pub parts: Vec<Part>,
}

/// The outcome of a link is later than the link allows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Overdue {
    /// The number of the link.
    pub link: usize,
}

/// What is left of a network during a run.
#[derive(Clone, Debug)]
pub struct Residual {
    /// The points of the plan, then [`Residual::start`]; what has happened stands fixed.
    pub network: Network,
    /// The start of the run: moment 0.
    pub start: Point,
}

/// Whether a point has happened.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Ahead,
    Happened(i64),
    /// It belongs to a branch that was not taken.
    Never,
}

/// One run over a plan.
#[derive(Clone, Debug)]
pub struct Live {
    plan: Arc<Plan>,
    states: Vec<State>,
    /// For each point, how many things still have to happen before it may.
    missing: Vec<usize>,
    /// For each point, the earliest moment by what has happened, waits aside, and the edge.
    not_before: Vec<Option<(i64, EdgeId)>>,
    /// When the first of all points happened.
    first: Option<i64>,
}

impl Live {
    /// A run in which nothing has happened yet.
    #[must_use]
    pub fn new(plan: Arc<Plan>) -> Live {
        let nodes = plan.search.node_count();
        let missing = (0..nodes).map(|node| plan.after[node].len() + plan.waits[node].len());
        Live {
            states: vec![State::Ahead; nodes],
            missing: missing.collect(),
            not_before: vec![None; nodes],
            first: None,
            plan,
        }
    }

    /// The plan that this run follows.
    #[must_use]
    pub fn plan(&self) -> &Plan {
        &self.plan
    }

    /// When `point` happened, if it has.
    #[must_use]
    pub fn happened(&self, point: Point) -> Option<Moment> {
        match self.states[point.index()] {
            State::Happened(at) => Some(Moment(at)),
            State::Ahead | State::Never => None,
        }
    }

    /// Whether the person may act on `point` as soon as its [`Live::earliest`] has come: it lies
    /// ahead, is not nature's to pick, and nothing that must come first is missing.
    #[must_use]
    pub fn is_enabled(&self, point: Point) -> bool {
        self.states[point.index()] == State::Ahead
            && !self.plan.network.is_uncertain(point)
            && self.missing[point.index()] == 0
    }

    /// All points on which the person may act.
    pub fn enabled(&self) -> impl Iterator<Item = Point> + '_ {
        self.plan.network.points().filter(|&point| self.is_enabled(point))
    }

    /// The earliest safe moment of an enabled point and what decides it; nothing where the point
    /// is not enabled, or may happen at any time.
    #[must_use]
    pub fn earliest(&self, point: Point) -> Option<Limit> {
        if !self.is_enabled(point) {
            return None;
        }
        let mut latest_need = self.not_before[point.index()];
        for wait in &self.plan.waits[point.index()] {
            let link = self.plan.network.links()[wait.link];
            let began = self.plan.inner_of[wait.link].map(|inner| self.states[inner as usize]);
            if let (State::Ahead, Some(State::Happened(began))) =
                (self.states[link.outcome.index()], began)
            {
                let until = began + wait.length;
                if latest_need.is_none_or(|(at, _)| until > at) {
                    latest_need = Some((until, wait.edge));
                }
            }
        }
        latest_need.map(|(at, edge)| Limit {
            at: Moment(at),
            counted_from: self.plan.point(self.plan.search.edge(edge).to),
            path: vec![edge],
        })
    }

    /// The latest safe moment of a point that lies ahead and what decides it; nothing where it
    /// has happened, never will, or may wait for ever. Never later than the true latest moment.
    ///
    /// The walk goes back from the point over what limits it, as far as things that have
    /// happened, and over outcomes that are still to come as if they came at their quickest.
    #[must_use]
    pub fn latest(&self, point: Point, now: Moment) -> Option<Limit> {
        let plan = &*self.plan;
        let mut length = vec![i64::MAX; self.states.len()];
        let mut via: Vec<EdgeId> = vec![EdgeId::MAX; self.states.len()];
        let mut heap = BinaryHeap::new();
        let mut best: Option<(i64, u32)> = None;
        if self.states[point.index()] == State::Ahead {
            length[point.index()] = 0;
            heap.push(Reverse((0, point.0)));
        }
        while let Some(Reverse((reached, at))) = heap.pop() {
            if reached > length[at as usize] {
                continue;
            }
            // Nothing known lies before the first point, so no further place can limit more.
            if let (Some((limit, _)), Some(first)) = (best, self.first)
                && limit <= first.saturating_add(reached)
            {
                break;
            }
            if let Some(known) = self.known_from(at, now) {
                let limit = known.saturating_add(reached);
                if best.is_none_or(|(earliest, _)| limit < earliest) {
                    best = Some((limit, at));
                }
                continue;
            }
            for limit in &plan.limits[at as usize] {
                let through = reached + limit.length;
                let other = limit.other as usize;
                if through < length[other] && self.states[other] != State::Never {
                    length[other] = through;
                    via[other] = limit.edge;
                    heap.push(Reverse((through, limit.other)));
                }
            }
        }
        let (at, anchor) = best?;
        let mut path = Vec::new();
        let mut node = anchor;
        while node != point.0 {
            path.push(via[node as usize]);
            node = plan.search.edge(via[node as usize]).to;
        }
        Some(Limit { at: Moment(at), counted_from: plan.point(anchor), path })
    }

    /// The moment of something that has happened; for an awaited outcome the first at which it
    /// can still come.
    fn known_from(&self, node: u32, now: Moment) -> Option<i64> {
        if let State::Happened(at) = self.states[node as usize] {
            return Some(at);
        }
        if node as usize >= self.plan.network.point_count() {
            return None;
        }
        let link = self.plan.network.link_to(Point(node))?;
        let inner = self.plan.inner_of[link]?;
        match self.states[inner as usize] {
            State::Happened(first) => Some(first.max(now.0)),
            State::Ahead | State::Never => None,
        }
    }

    /// Notes that `point` has happened, early, late or in time. The work grows with the number of
    /// edges at the point.
    ///
    /// Gives what the point broke. Where it broke nothing but came outside its earliest and
    /// latest moment, the rest may have become impossible: ask [`Live::residual`].
    pub fn happen(&mut self, point: Point, at: Moment) -> Broken {
        if self.states[point.index()] != State::Ahead {
            return Broken::default();
        }
        let broken = self.broken_by(point, at);
        self.first = Some(self.first.map_or(at.0, |first| first.min(at.0)));
        self.settle(point.0, at.0);
        let plan = Arc::clone(&self.plan);
        for &link in &plan.sets_going[point.index()] {
            if let Some(inner) = plan.inner_of[link] {
                self.settle(inner, at.0.saturating_add(plan.network.links()[link].takes.lo.0));
                for &waiter in &plan.waiting_for[link] {
                    self.missing[waiter as usize] -= 1;
                }
            }
        }
        broken
    }

    fn settle(&mut self, node: u32, at: i64) {
        self.states[node as usize] = State::Happened(at);
        let plan = Arc::clone(&self.plan);
        for later in &plan.before[node as usize] {
            let other = later.other as usize;
            let need = at.saturating_add(later.length);
            self.missing[other] -= 1;
            if self.not_before[other].is_none_or(|(known, _)| need > known) {
                self.not_before[other] = Some((need, later.edge));
            }
        }
    }

    /// Notes that `point` will not happen in this run: it belongs to a branch that was not taken.
    /// Nothing waits for it any more.
    pub fn never(&mut self, point: Point) {
        if self.states[point.index()] != State::Ahead {
            return;
        }
        let plan = Arc::clone(&self.plan);
        let inners = plan.sets_going[point.index()].iter().filter_map(|&link| plan.inner_of[link]);
        for node in std::iter::once(point.0).chain(inners) {
            self.states[node as usize] = State::Never;
            for later in &plan.before[node as usize] {
                self.missing[later.other as usize] -= 1;
            }
        }
        for &link in &plan.sets_going[point.index()] {
            for &waiter in &plan.waiting_for[link] {
                self.missing[waiter as usize] -= 1;
            }
        }
    }

    /// The bounds between `point` at `at` and what has happened before that do not hold.
    fn broken_by(&self, point: Point, at: Moment) -> Broken {
        let time = |other: Point| if other == point { Some(at) } else { self.happened(other) };
        let network = &self.plan.network;
        let mut parts = Vec::new();
        for &number in &self.plan.touching[point.index()] {
            let Bound { from, to, most, .. } = network.bounds()[number];
            if let (Some(from), Some(to)) = (time(from), time(to))
                && to.since(from) > most
            {
                parts.push(Part::Bound(number));
            }
        }
        if let Some(number) = network.link_to(point)
            && let Some(began) = self.happened(network.links()[number].activation)
        {
            let Span { lo, hi } = network.links()[number].takes;
            let took = at.since(began);
            if took < lo {
                parts.push(Part::Link(number, Role::AtLeast));
            } else if took > hi {
                parts.push(Part::Link(number, Role::AtMost));
            }
        }
        Broken { parts }
    }

    /// What is left to be done at `now`, with everything that has happened fixed where it
    /// happened and branches not taken left out. Bounds that lie wholly in the past are gone:
    /// broken or kept, nothing can be done about them.
    ///
    /// # Errors
    /// [`Overdue`] where an outcome should have come by now: nothing is known about the rest.
    pub fn residual(&self, now: Moment) -> Result<Residual, Overdue> {
        let plan = &self.plan.network;
        let mut network = plan.without_edges();
        let start = network.extra_point();
        for point in plan.points() {
            match self.states[point.index()] {
                State::Happened(at) => network.exactly(start, point, Millis(at)),
                State::Ahead => network.at_least(start, point, Millis(now.0)),
                State::Never => {}
            }
        }
        for bound in plan.bounds() {
            let ends = [self.states[bound.from.index()], self.states[bound.to.index()]];
            if ends.contains(&State::Ahead) && !ends.contains(&State::Never) {
                network.keep_bound(*bound);
            }
        }
        for (number, link) in plan.links().iter().enumerate() {
            self.keep_what_is_left(number, *link, now, &mut network)?;
        }
        Ok(Residual { network, start })
    }

    fn keep_what_is_left(
        &self,
        number: usize,
        mut link: Link,
        now: Moment,
        network: &mut Network,
    ) -> Result<(), Overdue> {
        let began = self.states[link.activation.index()];
        let ended = self.states[link.outcome.index()];
        if began == State::Never || ended == State::Never {
            return Ok(());
        }
        if let (State::Happened(began), State::Ahead) = (began, ended) {
            link.takes.lo = link.takes.lo.max(now.since(Moment(began)));
            if link.takes.lo > link.takes.hi {
                return Err(Overdue { link: number });
            }
        }
        match (began, ended) {
            (_, State::Ahead) => network.keep_link(link),
            // The far end of an exact link may be acted on first where the two are simultaneous.
            (State::Ahead, _) if link.is_exact() => {
                network.exactly(link.activation, link.outcome, link.takes.lo);
            }
            _ => {}
        }
        Ok(())
    }

    /// The latest safe moment of `point` found by asking the check again and again: slower than
    /// [`Live::latest`], and the measure of it.
    ///
    /// # Errors
    /// [`Overdue`] as for [`Live::residual`].
    pub fn latest_by_search(&self, point: Point, now: Moment) -> Result<LatestSafe, Overdue> {
        let residual = self.residual(now)?;
        Ok(latest_safe(&residual.network, residual.start, point))
    }
}
