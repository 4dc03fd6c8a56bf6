//! An oracle that shares nothing with the prover: tiny networks played out as a game over whole
//! time, nature against the person, every move of both tried.
//!
//! At each instant nature may let outcomes happen, then the person may act, and nature may let
//! outcomes happen after that at the same instant (in real time: just after), to which the person
//! may react at once. The person wins where every point happens and no bound is broken.

use std::collections::HashMap;

use stepbell::clock::{Millis, Span};
use stepbell::proof::network::{EdgeTag, Network, Point};

/// A network in plain numbers, for generators and the game.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Plain {
    pub points: usize,
    /// from, to, most
    pub bounds: Vec<(usize, usize, i64)>,
    /// activation, outcome, least, most
    pub links: Vec<(usize, usize, i64, i64)>,
}

impl Plain {
    pub fn build(&self) -> Network {
        let mut network = Network::new();
        let points: Vec<Point> =
            (0..self.points).map(|_| network.add_point().expect("few points")).collect();
        for (i, &(from, to, most)) in self.bounds.iter().enumerate() {
            let tag = EdgeTag(u32::try_from(i).expect("few bounds"));
            network.add_bound(points[from], points[to], Millis(most), tag).expect("a small bound");
        }
        for &(activation, outcome, lo, hi) in &self.links {
            network
                .add_link(
                    points[activation],
                    points[outcome],
                    Span::new(Millis(lo), Millis(hi)),
                    EdgeTag(1000),
                )
                .expect("a good link");
        }
        network
    }

    pub fn of(network: &Network) -> Plain {
        Plain {
            points: network.point_count(),
            bounds: network
                .bounds()
                .iter()
                .map(|b| (b.from.index(), b.to.index(), b.most.0))
                .collect(),
            links: network
                .links()
                .iter()
                .map(|l| (l.activation.index(), l.outcome.index(), l.takes.lo.0, l.takes.hi.0))
                .collect(),
        }
    }

    pub fn largest(&self) -> i64 {
        let bounds = self.bounds.iter().map(|b| b.2.abs());
        bounds.chain(self.links.iter().map(|l| l.3)).max().unwrap_or(0)
    }
}

/// How long ago each point happened; −1 where it has not. Ages beyond the longest bound are all
/// the same.
type Ages = Vec<i64>;

struct Game<'a> {
    plain: &'a Plain,
    cap: i64,
    outcome_of: Vec<Option<usize>>,
    nature: HashMap<Ages, bool>,
    person: HashMap<Ages, bool>,
}

/// Whether the person can win.
pub fn person_wins(plain: &Plain) -> bool {
    let mut outcome_of = vec![None; plain.points];
    for (i, link) in plain.links.iter().enumerate() {
        outcome_of[link.1] = Some(i);
    }
    let mut game = Game {
        plain,
        cap: plain.largest() + 1,
        outcome_of,
        nature: HashMap::new(),
        person: HashMap::new(),
    };
    game.after_nature(&vec![-1; plain.points])
}

impl Game<'_> {
    /// Nature to move: every outcome that may happen now, or none.
    fn after_nature(&mut self, ages: &Ages) -> bool {
        if let Some(&known) = self.nature.get(ages) {
            return known;
        }
        let mut wins = self.after_person(ages);
        for outcome in self.may_happen(ages) {
            wins = wins && self.happens(ages, outcome).is_some_and(|next| self.after_nature(&next));
        }
        self.nature.insert(ages.clone(), wins);
        wins
    }

    /// The person to move: act, or let time pass.
    fn after_person(&mut self, ages: &Ages) -> bool {
        if let Some(&known) = self.person.get(ages) {
            return known;
        }
        let mut wins = ages.iter().all(|&age| age >= 0);
        for point in 0..self.plain.points {
            if !wins && ages[point] < 0 && self.outcome_of[point].is_none() {
                wins = self.happens(ages, point).is_some_and(|next| self.after_nature(&next));
            }
        }
        wins = wins || self.waiting_wins(ages);
        self.person.insert(ages.clone(), wins);
        wins
    }

    fn waiting_wins(&mut self, ages: &Ages) -> bool {
        let due = self.plain.links.iter().any(|&(a, c, _, hi)| ages[c] < 0 && ages[a] == hi);
        if due {
            // Time cannot pass before what is due has happened; nature picks what comes first.
            return self
                .may_happen(ages)
                .into_iter()
                .all(|c| self.happens(ages, c).is_some_and(|next| self.after_nature(&next)));
        }
        let next: Ages =
            ages.iter().map(|&age| if age < 0 { age } else { (age + 1).min(self.cap) }).collect();
        let too_late =
            |&(u, v, w): &(usize, usize, i64)| next[u] >= 0 && next[v] < 0 && next[u] > w;
        if next == *ages || self.plain.bounds.iter().any(too_late) {
            return false;
        }
        self.after_nature(&next)
    }

    fn may_happen(&self, ages: &Ages) -> Vec<usize> {
        let open = self
            .plain
            .links
            .iter()
            .filter(|&&(a, c, lo, hi)| ages[c] < 0 && ages[a] >= lo.max(0) && ages[a] <= hi);
        open.map(|link| link.1).collect()
    }

    /// The state after `point` happens now, unless that breaks a bound.
    fn happens(&self, ages: &Ages, point: usize) -> Option<Ages> {
        let mut next = ages.clone();
        next[point] = 0;
        let kept = self.plain.bounds.iter().all(|&(u, v, w)| {
            (u != point && v != point) || next[u] < 0 || next[v] < 0 || next[u] - next[v] <= w
        });
        kept.then_some(next)
    }
}
