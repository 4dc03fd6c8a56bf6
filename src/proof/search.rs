//! The search behind the check: takes a network, gives a cycle of its edges that cannot be kept, or
//! says that there is none; and unfolds derived edges to the bounds and links they came from.
//!
//! The method is the cubic backward search of P. Morris, *Dynamic controllability and
//! dispatchability relationships*, CPAIOR 2014: from every point that something must follow by a
//! positive length, walk back until the length is used up, and write down the bound that results.
//! A point met again while its own walk is still open closes a cycle that nobody can keep.
//!
//! Inside the search a link A ⇒ C \[x, y\] becomes A —x→ S exactly, then S ⇒ C \[0, y−x\], where S
//! belongs to this link alone. So links may share an activation, and each walk either starts over
//! ordinary bounds or over one "nature is slow" edge, never over a mixture.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::controllable::{Cycle, Part, Role, Stopped, Use};
use super::network::{Bound, Link, Network};
use super::order::Order;
use crate::clock::Millis;

/// Which derived edges a search writes down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Keep {
    /// Those that are not negative: enough for the verdict.
    ForTheCheck,
    /// All: what a dispatcher needs.
    ForDispatch,
}

/// The number of an edge of the search: first those of the network, then derived ones, each
/// derived only from edges with smaller numbers.
pub(super) type EdgeId = u32;

const NONE: u32 = u32::MAX;

/// What an edge of the network stands for.
#[derive(Clone, Copy, Debug)]
enum Origin {
    Bound(usize),
    Link(usize, Role),
    /// Between an activation and the point S of its link: exactly x apart. Drops out of a closed
    /// walk, because the other parts of the link already carry x.
    Inner,
}

/// An edge `from -weight-> to` of the search.
#[derive(Clone, Copy, Debug)]
pub(super) struct Edge {
    pub from: u32,
    pub to: u32,
    pub weight: i64,
    /// Derived edges: the first step of the walk they stand for.
    step: u32,
}

/// The walk of a derived edge: over `edge`, then on with `next`. These are its two parents; the
/// rule follows from what `edge` is (ordinary, quick link) and where the walk ends (at a point, or
/// at the S of a slow link, with the label gone once the length is not negative any more).
#[derive(Clone, Copy, Debug)]
struct Step {
    edge: EdgeId,
    next: u32,
}

/// An edge as its end point lists it.
#[derive(Clone, Copy, Debug)]
struct Entering {
    weight: i64,
    from: u32,
    edge: EdgeId,
}

/// How far the walk back from a point has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// Nothing negative enters the point: no walk is needed.
    Idle,
    Waiting,
    Open,
    Done,
}

/// A walk back from `source`. While another walk runs inside it, its places are in `saved`.
#[derive(Debug, Default)]
struct Walk {
    source: u32,
    heap: BinaryHeap<Reverse<(i64, u32)>>,
    saved: Vec<(u32, i64, EdgeId)>,
}

/// The places of the walk that is running now: for each point the length to the source and the
/// edge by which it starts.
#[derive(Debug, Default)]
struct Places {
    round: u32,
    seen_in: Vec<u32>,
    length: Vec<i64>,
    via: Vec<EdgeId>,
    touched: Vec<u32>,
}

impl Places {
    fn new(count: usize) -> Places {
        Places {
            round: 0,
            seen_in: vec![0; count],
            length: vec![0; count],
            via: vec![NONE; count],
            touched: Vec::new(),
        }
    }

    fn clear(&mut self) {
        self.touched.clear();
        self.round = self.round.wrapping_add(1);
        if self.round == 0 {
            self.seen_in.fill(0);
            self.round = 1;
        }
    }

    /// Notes a shorter length, or says that it is none.
    fn improve(&mut self, at: u32, length: i64, via: EdgeId) -> bool {
        let i = at as usize;
        if self.seen_in[i] == self.round {
            if length >= self.length[i] {
                return false;
            }
        } else {
            self.seen_in[i] = self.round;
            self.touched.push(at);
        }
        self.length[i] = length;
        self.via[i] = via;
        true
    }

    fn save(&self) -> Vec<(u32, i64, EdgeId)> {
        self.touched
            .iter()
            .map(|&at| (at, self.length[at as usize], self.via[at as usize]))
            .collect()
    }

    fn restore(&mut self, saved: Vec<(u32, i64, EdgeId)>) {
        self.clear();
        for (at, length, via) in saved {
            self.improve(at, length, via);
        }
    }
}

/// What a running walk came upon.
enum Found {
    /// Nothing more: the walk is complete.
    End,
    /// A point whose own walk has to come first.
    Needs(u32),
}

/// The backward search over one network.
#[derive(Debug)]
pub(super) struct Search {
    points: usize,
    keep: Keep,
    origins: Vec<Origin>,
    edges: Vec<Edge>,
    steps: Vec<Step>,
    /// Non-negative edges into each point; grows as edges are derived.
    entering: Vec<Vec<Entering>>,
    /// Negative edges into each point: where its walk starts.
    starts: Vec<Vec<Entering>>,
    /// For the outcome of a link: the "nature is quick" edge into it.
    quick: Vec<Option<Entering>>,
    /// For the S of a link: the link's number.
    link_of_start: Vec<usize>,
    stages: Vec<Stage>,
    places: Places,
    walks: Vec<Walk>,
    /// For each point, its step in the walk being written down.
    step_of: Vec<u32>,
    /// For each point, the tightest edge straight to the source being written down.
    direct: Vec<i64>,
    order: Order,
}

impl Search {
    pub(super) fn new(network: &Network, keep: Keep) -> Search {
        let uncertain: Vec<usize> =
            (0..network.links().len()).filter(|&i| !network.links()[i].is_exact()).collect();
        let points = network.point_count();
        let nodes = points + uncertain.len();
        let mut search = Search {
            points,
            keep,
            origins: Vec::with_capacity(network.bounds().len() + 6 * network.links().len()),
            edges: Vec::with_capacity(2 * (network.bounds().len() + 6 * network.links().len())),
            steps: Vec::new(),
            entering: vec![Vec::new(); nodes],
            starts: vec![Vec::new(); nodes],
            quick: vec![None; nodes],
            link_of_start: Vec::with_capacity(uncertain.len()),
            stages: vec![Stage::Idle; nodes],
            places: Places::new(nodes),
            walks: Vec::new(),
            step_of: vec![NONE; nodes],
            direct: vec![i64::MAX; nodes],
            order: Order::default(),
        };
        for (number, bound) in network.bounds().iter().enumerate() {
            search.add_bound(number, bound);
        }
        for (number, link) in network.links().iter().enumerate() {
            search.add_link(number, link);
        }
        search.leave_out_weak_edges();
        search
    }

    /// "At most w before" says nothing about a point that lies after the other anyway. Without
    /// such edges, here and among those derived, walks stay near their start instead of running
    /// to the end of a long script. Nothing is lost: the chain of bounds that proves the order is
    /// tighter, ordinary, and followed by the walks of the points on it.
    fn leave_out_weak_edges(&mut self) {
        let mut steps = Vec::new();
        for (edge, origin) in self.edges.iter().zip(&self.origins) {
            let ordinary = !matches!(origin, Origin::Link(_, Role::Slow | Role::Quick));
            if ordinary && edge.weight <= 0 {
                steps.push((edge.from, edge.to, -edge.weight));
            }
        }
        self.order = Order::new(self.stages.len(), &steps);
        for (to, entering) in (0..).zip(&mut self.entering) {
            entering.retain(|entering| !self.order.is_after(entering.from, to));
        }
    }

    fn add_bound(&mut self, number: usize, bound: &Bound) {
        // "At most w after itself" says nothing unless w is negative, and then it is a cycle.
        if bound.from != bound.to || bound.most < Millis::ZERO {
            self.add(bound.from.0, bound.to.0, bound.most.0, Origin::Bound(number));
        }
    }

    fn add_link(&mut self, number: usize, link: &Link) {
        let (from, to) = (link.activation.0, link.outcome.0);
        let (lo, hi) = (link.takes.lo.0, link.takes.hi.0);
        if link.is_exact() {
            self.add(from, to, hi, Origin::Link(number, Role::AtMost));
            self.add(to, from, -lo, Origin::Link(number, Role::AtLeast));
            return;
        }
        let start = as_u32(self.points + self.link_of_start.len());
        self.link_of_start.push(number);
        self.add(from, start, lo, Origin::Inner);
        self.add(start, from, -lo, Origin::Inner);
        self.add(start, to, hi - lo, Origin::Link(number, Role::AtMost));
        self.add(to, start, 0, Origin::Link(number, Role::AtLeast));
        self.add(to, start, lo - hi, Origin::Link(number, Role::Slow));
        let edge = self.push_base(start, to, 0, Origin::Link(number, Role::Quick));
        self.quick[to as usize] = Some(Entering { weight: 0, from: start, edge });
    }

    fn push_base(&mut self, from: u32, to: u32, weight: i64, origin: Origin) -> EdgeId {
        let edge = as_u32(self.edges.len());
        self.origins.push(origin);
        self.edges.push(Edge { from, to, weight, step: NONE });
        edge
    }

    fn add(&mut self, from: u32, to: u32, weight: i64, origin: Origin) {
        let edge = self.push_base(from, to, weight, origin);
        let entering = Entering { weight, from, edge };
        if weight < 0 {
            self.starts[to as usize].push(entering);
            self.stages[to as usize] = Stage::Waiting;
        } else {
            self.entering[to as usize].push(entering);
        }
    }

    /// Runs the walk of every point that needs one. Gives the edges of a negative cycle in order,
    /// or nothing where there is none.
    pub(super) fn run(&mut self, stop: &dyn Fn() -> bool) -> Result<Option<Vec<EdgeId>>, Stopped> {
        // Later points tend to have larger numbers, and a walk meets later points only: going
        // down, the walks it needs are mostly done. The order decides nothing but memory.
        for source in (0..as_u32(self.stages.len())).rev() {
            if self.stages[source as usize] != Stage::Waiting {
                continue;
            }
            self.open(source);
            while let Some(mut walk) = self.walks.pop() {
                if stop() || self.edges.len() >= (NONE / 2) as usize {
                    return Err(Stopped);
                }
                match self.advance(&mut walk) {
                    Found::End => self.close(walk.source),
                    Found::Needs(point) => {
                        walk.saved = self.places.save();
                        self.walks.push(walk);
                        if self.stages[point as usize] == Stage::Open {
                            return Ok(Some(self.close_cycle(point)));
                        }
                        self.open(point);
                    }
                }
            }
        }
        Ok(None)
    }

    fn open(&mut self, source: u32) {
        self.stages[source as usize] = Stage::Open;
        self.places.clear();
        let mut walk = Walk { source, ..Walk::default() };
        for start in &self.starts[source as usize] {
            if self.places.improve(start.from, start.weight, start.edge) {
                walk.heap.push(Reverse((start.weight, start.from)));
            }
        }
        self.walks.push(walk);
    }

    /// Goes on with a walk, nearest place first, until it ends or needs another walk.
    fn advance(&mut self, walk: &mut Walk) -> Found {
        while let Some(Reverse((length, at))) = walk.heap.pop() {
            if length != self.places.length[at as usize] {
                continue;
            }
            if matches!(self.stages[at as usize], Stage::Waiting | Stage::Open) {
                walk.heap.push(Reverse((length, at)));
                return Found::Needs(at);
            }
            for entering in &self.entering[at as usize] {
                let longer = length + entering.weight;
                if self.places.improve(entering.from, longer, entering.edge) && longer < 0 {
                    walk.heap.push(Reverse((longer, entering.from)));
                }
            }
            // Never back over the quick edge of the link whose slow edge began this walk: one
            // and the same outcome cannot be both quick and slow.
            if let Some(quick) = self.quick[at as usize].filter(|quick| quick.from != walk.source)
                && self.places.improve(quick.from, length, quick.edge)
            {
                walk.heap.push(Reverse((length, quick.from)));
            }
        }
        Found::End
    }

    /// Writes down what a complete walk has derived, and takes up the walk that waited for it.
    fn close(&mut self, source: u32) {
        self.stages[source as usize] = Stage::Done;
        let touched = std::mem::take(&mut self.places.touched);
        let direct = std::mem::take(&mut self.entering[source as usize]);
        for entering in &direct {
            let tightest = &mut self.direct[entering.from as usize];
            *tightest = (*tightest).min(entering.weight);
        }
        let mut derived = Vec::new();
        for &at in &touched {
            let (length, via) = (self.places.length[at as usize], self.places.via[at as usize]);
            let one_edge = self.edges[via as usize].to == source;
            let kept = match length {
                0.. => !self.order.is_after(at, source),
                _ => self.keep == Keep::ForDispatch,
            };
            if at == source || one_edge || !kept || self.direct[at as usize] <= length {
                continue;
            }
            let step = self.write_steps(at, source);
            let edge = as_u32(self.edges.len());
            self.edges.push(Edge { from: at, to: source, weight: length, step });
            if length >= 0 {
                derived.push(Entering { weight: length, from: at, edge });
            }
        }
        for entering in &direct {
            self.direct[entering.from as usize] = i64::MAX;
        }
        self.entering[source as usize] = direct;
        self.entering[source as usize].append(&mut derived);
        for &at in &touched {
            self.step_of[at as usize] = NONE;
        }
        if let Some(waiting) = self.walks.last_mut() {
            let saved = std::mem::take(&mut waiting.saved);
            self.places.restore(saved);
        }
    }

    /// Turns the walk from `at` to `source` into steps, sharing those already written.
    fn write_steps(&mut self, at: u32, source: u32) -> u32 {
        let mut chain = Vec::new();
        let mut point = at;
        while point != source && self.step_of[point as usize] == NONE {
            chain.push(point);
            point = self.edges[self.places.via[point as usize] as usize].to;
        }
        let mut next = if point == source { NONE } else { self.step_of[point as usize] };
        for point in chain.into_iter().rev() {
            self.steps.push(Step { edge: self.places.via[point as usize], next });
            next = as_u32(self.steps.len() - 1);
            self.step_of[point as usize] = next;
        }
        next
    }

    /// The edges from `point`, through the sources of the open walks inside its own, back to it.
    fn close_cycle(&mut self, point: u32) -> Vec<EdgeId> {
        let mut cycle = Vec::new();
        let mut at = point;
        while let Some(walk) = self.walks.pop() {
            self.places.restore(walk.saved);
            // A walk that came back to its own start has to take one step before it may end.
            loop {
                let via = self.places.via[at as usize];
                cycle.push(via);
                at = self.edges[via as usize].to;
                if at == walk.source {
                    break;
                }
            }
            if walk.source == point {
                break;
            }
        }
        cycle
    }

    pub(super) fn cycle(&self, edges: &[EdgeId]) -> Cycle {
        let value = edges.iter().map(|&edge| self.edges[edge as usize].weight).sum();
        Cycle { value: Millis(value), uses: self.unfold(edges) }
    }

    /// The bounds and links that `edges` were derived from, in the order of the walk, with how
    /// often each is used. Shared parts are counted, not written out: a walk written out in full
    /// can be exponentially long (L. Hunsberger, *Magic loops and the dynamic controllability of
    /// simple temporal networks with uncertainty*, ICAART 2013).
    pub(super) fn unfold(&self, edges: &[EdgeId]) -> Vec<Use> {
        let mut times = vec![0_u64; self.edges.len()];
        let mut order = Vec::new();
        for edge in self.in_walk_order(edges) {
            if (edge as usize) < self.origins.len() {
                order.push(edge);
            }
        }
        for &edge in edges {
            times[edge as usize] = times[edge as usize].saturating_add(1);
        }
        // Parents have smaller numbers, so one sweep downwards sees every use of an edge first.
        for edge in (self.origins.len()..self.edges.len()).rev() {
            if times[edge] == 0 {
                continue;
            }
            let mut step = self.edges[edge].step;
            while step != NONE {
                let Step { edge: parent, next } = self.steps[step as usize];
                times[parent as usize] = times[parent as usize].saturating_add(times[edge]);
                step = next;
            }
        }
        let mut uses = Vec::new();
        for edge in order {
            let part = match self.origins[edge as usize] {
                Origin::Bound(number) => Part::Bound(number),
                Origin::Link(number, role) => Part::Link(number, role),
                Origin::Inner => continue,
            };
            uses.push(Use { part, times: times[edge as usize] });
        }
        uses
    }

    /// All edges behind `edges`, each once, in the order in which the walk first meets them.
    fn in_walk_order(&self, edges: &[EdgeId]) -> Vec<EdgeId> {
        let mut met = vec![false; self.edges.len()];
        let mut order = Vec::new();
        let mut ahead: Vec<EdgeId> = edges.iter().rev().copied().collect();
        let mut parts = Vec::new();
        while let Some(edge) = ahead.pop() {
            if std::mem::replace(&mut met[edge as usize], true) {
                continue;
            }
            order.push(edge);
            let mut step = self.edges[edge as usize].step;
            while step != NONE {
                let Step { edge: parent, next } = self.steps[step as usize];
                parts.push(parent);
                step = next;
            }
            ahead.extend(parts.drain(..).rev());
        }
        order
    }

    /// How many points the search has, the inner ones of links included: those come last.
    pub(super) fn node_count(&self) -> usize {
        self.stages.len()
    }

    /// The edge with that number.
    pub(super) fn edge(&self, edge: EdgeId) -> Edge {
        self.edges[edge as usize]
    }

    /// All edges, those of the network first.
    pub(super) fn edges(&self) -> impl Iterator<Item = (EdgeId, Edge)> + '_ {
        (0..).zip(self.edges.iter().copied())
    }

    /// The link whose inner point S has the number `node`.
    pub(super) fn link_of_inner(&self, node: u32) -> Option<usize> {
        self.link_of_start.get((node as usize).checked_sub(self.points)?).copied()
    }
}

/// Numbers of points and edges are kept small by the limits of [`Network`] and of [`Search::run`].
fn as_u32(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(NONE)
}
