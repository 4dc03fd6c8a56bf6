//! A simple temporal network with uncertainty: takes points, bounds and links, gives them back by
//! number, and the tightest bound between any two points.
//!
//! A *bound* `from -most-> to` means time(to) − time(from) ≤ most. A *link* says that, once its
//! activation has happened, nature picks when its outcome follows, between `takes.lo` and
//! `takes.hi`. Times are whole milliseconds. Each bound and link carries a tag that its maker
//! understands (a line of a script, say); nothing here looks inside it.

use std::cmp::Reverse;
use std::collections::{BinaryHeap, VecDeque};

use crate::clock::{Millis, Span};

/// The largest size of a bound, either way: 2^40 ms, about 35 years. Sums along any path that the
/// check follows then stay far inside 64 bits.
pub const LARGEST: Millis = Millis(1 << 40);

/// The most points a network may have: 2^20.
pub const MOST_POINTS: usize = 1 << 20;

/// The most points for which all distances are worked out: 4,000, about 128 MB.
pub const MOST_DISTANCES: usize = 4_000;

/// A moment whose place in time the network constrains.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Point(pub(super) u32);

impl Point {
    /// The point's number: points are numbered from 0 in the order they were added.
    #[must_use]
    pub const fn index(self) -> usize {
        self.0 as usize
    }
}

/// Where a bound or link comes from, as its maker numbered it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EdgeTag(pub u32);

impl EdgeTag {
    /// For a bound that the prover itself adds: a time already known, a distance tried out.
    pub const NONE: EdgeTag = EdgeTag(u32::MAX);
}

/// time(`to`) − time(`from`) ≤ `most`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bound {
    /// The point counted from.
    pub from: Point,
    /// The point that may not be later than `most` after `from`.
    pub to: Point,
    /// The limit; negative where `to` must lie before `from`.
    pub most: Millis,
    /// Where the bound comes from.
    pub tag: EdgeTag,
}

/// Nature picks time(`outcome`) − time(`activation`) inside `takes`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Link {
    /// The point that sets the link going.
    pub activation: Point,
    /// The point that nature chooses, seen at once.
    pub outcome: Point,
    /// The least and the most it takes, `0 ≤ lo ≤ hi`.
    pub takes: Span,
    /// Where the link comes from.
    pub tag: EdgeTag,
}

impl Link {
    /// Whether nature has no choice: the outcome follows at one exact length.
    #[must_use]
    pub fn is_exact(&self) -> bool {
        self.takes.lo == self.takes.hi
    }
}

/// Why a point, bound or link was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NetworkError {
    /// More than [`MOST_POINTS`] points.
    TooManyPoints,
    /// A point that does not belong to this network.
    UnknownPoint,
    /// A length beyond [`LARGEST`], either way.
    TooLong(Millis),
    /// A link whose least is more than its most.
    LowerAboveUpper(Span),
    /// A link whose least is negative: an outcome before its cause.
    BeforeActivation(Span),
    /// A point that already is the outcome of another link.
    OutcomeTwice,
    /// A link that would, directly or through others, set itself going.
    ActivatesItself,
}

/// Points, bounds and links, each numbered in the order added.
#[derive(Clone, Debug, Default)]
pub struct Network {
    /// For each point, the number of the link whose outcome it is.
    outcome_of: Vec<Option<u32>>,
    /// Points joined by links, as a union–find forest, to notice a link that sets itself going.
    joined: Vec<u32>,
    bounds: Vec<Bound>,
    links: Vec<Link>,
}

impl Network {
    /// A network without points.
    #[must_use]
    pub fn new() -> Network {
        Network::default()
    }

    /// Adds a point.
    ///
    /// # Errors
    /// [`NetworkError::TooManyPoints`].
    pub fn add_point(&mut self) -> Result<Point, NetworkError> {
        let count = self.outcome_of.len();
        let number = u32::try_from(count).map_err(|_| NetworkError::TooManyPoints)?;
        if count >= MOST_POINTS {
            return Err(NetworkError::TooManyPoints);
        }
        self.outcome_of.push(None);
        self.joined.push(number);
        Ok(Point(number))
    }

    /// Adds time(`to`) − time(`from`) ≤ `most`.
    ///
    /// # Errors
    /// An unknown point, or a length beyond [`LARGEST`].
    pub fn add_bound(
        &mut self,
        from: Point,
        to: Point,
        most: Millis,
        tag: EdgeTag,
    ) -> Result<(), NetworkError> {
        self.known(from)?;
        self.known(to)?;
        within_size(most)?;
        self.bounds.push(Bound { from, to, most, tag });
        Ok(())
    }

    /// Adds a link from `activation` to `outcome`. Several links may share an activation, and an
    /// outcome may set the next link going.
    ///
    /// # Errors
    /// An unknown point, a length beyond [`LARGEST`], bounds the wrong way round or negative, an
    /// outcome that already has a link, or links that go round in a circle.
    pub fn add_link(
        &mut self,
        activation: Point,
        outcome: Point,
        takes: Span,
        tag: EdgeTag,
    ) -> Result<(), NetworkError> {
        self.known(activation)?;
        self.known(outcome)?;
        within_size(takes.lo)?;
        within_size(takes.hi)?;
        if takes.lo > takes.hi {
            return Err(NetworkError::LowerAboveUpper(takes));
        }
        if takes.lo < Millis::ZERO {
            return Err(NetworkError::BeforeActivation(takes));
        }
        if self.outcome_of[outcome.index()].is_some() {
            return Err(NetworkError::OutcomeTwice);
        }
        self.join(activation, outcome)?;
        let number = u32::try_from(self.links.len()).map_err(|_| NetworkError::TooManyPoints)?;
        self.outcome_of[outcome.index()] = Some(number);
        self.links.push(Link { activation, outcome, takes, tag });
        Ok(())
    }

    /// Adds time(`to`) − time(`from`) ≥ `least` without the limit on size: for the prover's own
    /// searches, which push a point as far as it will go.
    pub(super) fn at_least(&mut self, from: Point, to: Point, least: Millis) {
        let most = Millis::ZERO.minus(least);
        self.bounds.push(Bound { from: to, to: from, most, tag: EdgeTag::NONE });
    }

    /// Adds time(`to`) − time(`from`) = `length` without the limit on size.
    pub(super) fn exactly(&mut self, from: Point, to: Point, length: Millis) {
        self.bounds.push(Bound { from, to, most: length, tag: EdgeTag::NONE });
        self.at_least(from, to, length);
    }

    /// The same with some bounds so much shorter, without the limit on size.
    pub(super) fn with_less(&self, bounds: &[usize], by: Millis) -> Network {
        let mut network = self.clone();
        for number in bounds {
            if let Some(bound) = network.bounds.get_mut(*number) {
                bound.most = bound.most.minus(by);
            }
        }
        network
    }

    /// The same with time(to) − time(from) ≥ `least` for each pair, without the limit on size.
    pub(super) fn with_least(
        &self,
        pairs: impl Iterator<Item = (Point, Point)>,
        least: Millis,
    ) -> Network {
        let mut network = self.clone();
        pairs.for_each(|(from, to)| network.at_least(from, to, least));
        network
    }

    /// The same points without bounds and links.
    pub(super) fn without_edges(&self) -> Network {
        let count = self.points().map(|point| point.0).collect();
        let outcome_of = vec![None; self.point_count()];
        Network { outcome_of, joined: count, bounds: Vec::new(), links: Vec::new() }
    }

    /// One more point, even where the network is full.
    pub(super) fn extra_point(&mut self) -> Point {
        let number = u32::try_from(self.outcome_of.len()).unwrap_or(u32::MAX);
        self.outcome_of.push(None);
        self.joined.push(number);
        Point(number)
    }

    /// Takes over a bound that a network with the same points has accepted.
    pub(super) fn keep_bound(&mut self, bound: Bound) {
        self.bounds.push(bound);
    }

    /// Takes over a link that a network with the same points has accepted, perhaps narrowed.
    pub(super) fn keep_link(&mut self, link: Link) {
        self.outcome_of[link.outcome.index()] = u32::try_from(self.links.len()).ok();
        self.links.push(link);
    }

    /// The links, each outcome having at most one, form trees: a new link closes a circle exactly
    /// when its outcome is the root of the tree that holds its activation.
    fn join(&mut self, activation: Point, outcome: Point) -> Result<(), NetworkError> {
        let (above, below) = (self.tree_of(activation.0), self.tree_of(outcome.0));
        if above == below {
            return Err(NetworkError::ActivatesItself);
        }
        self.joined[below as usize] = above;
        Ok(())
    }

    fn tree_of(&mut self, mut point: u32) -> u32 {
        while self.joined[point as usize] != point {
            let up = self.joined[point as usize];
            self.joined[point as usize] = self.joined[up as usize];
            point = up;
        }
        point
    }

    fn known(&self, point: Point) -> Result<(), NetworkError> {
        if point.index() < self.outcome_of.len() { Ok(()) } else { Err(NetworkError::UnknownPoint) }
    }

    /// How many points there are.
    #[must_use]
    pub fn point_count(&self) -> usize {
        self.outcome_of.len()
    }

    /// All points, in order.
    pub fn points(&self) -> impl Iterator<Item = Point> + use<> {
        (0..u32::try_from(self.outcome_of.len()).unwrap_or(u32::MAX)).map(Point)
    }

    /// All bounds, in the order added.
    #[must_use]
    pub fn bounds(&self) -> &[Bound] {
        &self.bounds
    }

    /// All links, in the order added.
    #[must_use]
    pub fn links(&self) -> &[Link] {
        &self.links
    }

    /// The number of the link whose outcome `point` is, if any.
    #[must_use]
    pub fn link_to(&self, point: Point) -> Option<usize> {
        self.outcome_of.get(point.index()).copied().flatten().map(|link| link as usize)
    }

    /// Whether nature, not the person, picks when `point` happens. The outcome of an exact link
    /// follows its activation at one known length, so it is not uncertain.
    #[must_use]
    pub fn is_uncertain(&self, point: Point) -> bool {
        self.link_to(point).is_some_and(|link| !self.links[link].is_exact())
    }

    /// The tightest upper bound between every two points, a link read as its two bounds; or
    /// nothing where the bounds contradict each other.
    ///
    /// Johnson's algorithm: potentials by Bellman–Ford, then a shortest-path search from each
    /// point. Shortest paths are the minimal network: Dechter, Meiri & Pearl, *Temporal constraint
    /// networks*, Artificial Intelligence 49 (1991), Theorem 3.3 and Corollary 3.4.
    ///
    /// # Errors
    /// [`TooManyDistances`] above [`MOST_DISTANCES`] points.
    pub fn distances(&self) -> Result<Option<Distances>, TooManyDistances> {
        let count = self.point_count();
        if count > MOST_DISTANCES {
            return Err(TooManyDistances { points: count });
        }
        let out = self.plain_edges();
        let Some(height) = potentials(&out) else { return Ok(None) };
        let mut most = vec![Distances::UNBOUNDED; count * count];
        let mut heap = BinaryHeap::new();
        for from in 0..count {
            let row = &mut most[from * count..(from + 1) * count];
            shortest_from(from, &out, &height, row, &mut heap);
        }
        Ok(Some(Distances { count, most }))
    }

    /// For each point, the points it bounds from above and by how much; a link is read as the two
    /// bounds that nature keeps.
    fn plain_edges(&self) -> Vec<Vec<(u32, i64)>> {
        let mut out = vec![Vec::new(); self.point_count()];
        for bound in &self.bounds {
            out[bound.from.index()].push((bound.to.0, bound.most.0));
        }
        for link in &self.links {
            out[link.activation.index()].push((link.outcome.0, link.takes.hi.0));
            out[link.outcome.index()].push((link.activation.0, -link.takes.lo.0));
        }
        out
    }
}

fn within_size(length: Millis) -> Result<(), NetworkError> {
    if length > LARGEST || length < Millis::ZERO.minus(LARGEST) {
        return Err(NetworkError::TooLong(length));
    }
    Ok(())
}

/// All distances of a network this large would not fit in memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TooManyDistances {
    /// How many points the network has.
    pub points: usize,
}

/// The tightest bound between every two points of a consistent network.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Distances {
    count: usize,
    most: Vec<i64>,
}

impl Distances {
    /// Stands for "no bound" in the matrix; no path length reaches it.
    const UNBOUNDED: i64 = i64::MAX;

    /// The most that time(`to`) − time(`from`) can be; nothing where it is unbounded.
    #[must_use]
    pub fn most(&self, from: Point, to: Point) -> Option<Millis> {
        let most = self.most[from.index() * self.count + to.index()];
        (most != Distances::UNBOUNDED).then_some(Millis(most))
    }

    /// The rows of the matrix in point order; `None` where unbounded.
    pub fn rows(&self) -> impl Iterator<Item = impl Iterator<Item = Option<Millis>> + '_> + '_ {
        self.most
            .chunks(self.count.max(1))
            .map(|row| row.iter().map(|&m| (m != Distances::UNBOUNDED).then_some(Millis(m))))
    }
}

/// For each point the length of a shortest path that ends there, all at most 0; nothing where a
/// circle of bounds is negative. Bellman–Ford with a queue: a point that was improved as many
/// times as there are points lies on such a circle.
fn potentials(out: &[Vec<(u32, i64)>]) -> Option<Vec<i64>> {
    let mut height = vec![0_i64; out.len()];
    let mut hops = vec![0_usize; out.len()];
    let mut queued = vec![true; out.len()];
    let mut queue: VecDeque<usize> = (0..out.len()).collect();
    while let Some(from) = queue.pop_front() {
        queued[from] = false;
        for &(to, weight) in &out[from] {
            let to = to as usize;
            let reached = height[from] + weight;
            if reached >= height[to] {
                continue;
            }
            height[to] = reached;
            hops[to] = hops[from] + 1;
            if hops[to] >= out.len() {
                return None;
            }
            if !queued[to] {
                queued[to] = true;
                queue.push_back(to);
            }
        }
    }
    Some(height)
}

/// Dijkstra's search from one point over weights made non-negative by `height`.
fn shortest_from(
    from: usize,
    out: &[Vec<(u32, i64)>],
    height: &[i64],
    row: &mut [i64],
    heap: &mut BinaryHeap<Reverse<(i64, usize)>>,
) {
    row[from] = 0;
    heap.push(Reverse((0, from)));
    while let Some(Reverse((reached, at))) = heap.pop() {
        if reached > row[at] {
            continue;
        }
        for &(to, weight) in &out[at] {
            let to = to as usize;
            let through = reached + weight + height[at] - height[to];
            if through < row[to] {
                row[to] = through;
                heap.push(Reverse((through, to)));
            }
        }
    }
    for (to, reached) in row.iter_mut().enumerate() {
        if *reached != Distances::UNBOUNDED {
            *reached += height[to] - height[from];
        }
    }
}
