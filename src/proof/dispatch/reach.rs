//! What bounds a point while nothing but some given points has happened: takes a plan, gives lengths
//! from those points, to be added to their true moments in a run. [`Live`](super::Live) at that
//! instant would answer the same, after as much work as this, in every run anew.

use std::cmp::Reverse;
use std::collections::BinaryHeap;

use super::{Part, Plan, Point, Use};
use crate::clock::Millis;

/// A length from a point that has happened to the earliest or latest moment of another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reach {
    /// Counted from here.
    pub from: Point,
    /// So long after it; negative where the bounded point has to lie before it.
    pub length: Millis,
    /// The bounds and links that decide it, in the order of the way there.
    pub uses: Vec<Use>,
}

impl Plan {
    /// From each of `past` how late `point` may be at the most, as far as it limits it at all. The
    /// latest moment is the first of these.
    #[must_use]
    pub fn latest_from(&self, point: Point, past: &[Point]) -> Vec<Reach> {
        let nodes = self.search.node_count();
        let mut happened = vec![false; nodes];
        past.iter().for_each(|point| happened[point.index()] = true);
        let (mut length, mut via) = (vec![i64::MAX; nodes], vec![u32::MAX; nodes]);
        length[point.index()] = 0;
        let mut heap = BinaryHeap::from([Reverse((0, point.0))]);
        while let Some(Reverse((reached, at))) = heap.pop() {
            if reached > length[at as usize] || happened[at as usize] {
                continue;
            }
            for limit in &self.limits[at as usize] {
                let through = reached.saturating_add(limit.length);
                if through < length[limit.other as usize] {
                    length[limit.other as usize] = through;
                    via[limit.other as usize] = limit.edge;
                    heap.push(Reverse((through, limit.other)));
                }
            }
        }
        let mut reaches = Vec::new();
        for from in past.iter().copied().filter(|from| length[from.index()] < i64::MAX) {
            let (mut path, mut node) = (Vec::new(), from.0);
            while node != point.0 {
                path.push(via[node as usize]);
                node = self.search.edge(via[node as usize]).to;
            }
            let uses = self.search.unfold(&path);
            reaches.push(Reach { from, length: Millis(length[from.index()]), uses });
        }
        // What the point has to lie before, so that it is too late once that has happened.
        for later in &self.before[point.index()] {
            if let Some(from) = past.iter().copied().find(|from| from.0 == later.other) {
                let uses = self.search.unfold(&[later.edge]);
                reaches.push(Reach { from, length: Millis(-later.length), uses });
            }
        }
        reaches
    }

    /// From each of `past` how early `point` may be at the least. The earliest moment is the last of
    /// these. `None` where it has to wait for something that is not among them.
    #[must_use]
    pub fn earliest_from(&self, point: Point, past: &[Point]) -> Option<Vec<Reach>> {
        let known = |node: u32| past.iter().copied().find(|from| from.0 == node);
        let mut reaches = Vec::new();
        for need in &self.after[point.index()] {
            let from = known(need.other)?;
            let uses = self.search.unfold(&[need.edge]);
            reaches.push(Reach { from, length: Millis(need.length), uses });
        }
        for wait in &self.waits[point.index()] {
            let link = self.network.links()[wait.link];
            let from = known(link.activation.0)?;
            let uses = vec![Use { part: Part::Link(wait.link, super::Role::Slow), times: 1 }];
            // As if the outcome were still awaited: where it has come, this is later than needed.
            let length = link.takes.lo.plus(Millis(wait.length));
            reaches.push(Reach { from, length, uses });
        }
        Some(reaches)
    }
}
