//! A second check that shares nothing with the prover, for networks too large to be played out:
//! the reduction rules of P. Morris & N. Muscettola, *Temporal dynamic controllability revisited*,
//! AAAI 2005, applied to full matrices until nothing changes. Slow and plain. Reaction at the very
//! instant of an outcome is allowed, so a bound of zero after an outcome is not reduced.

use proptest::prelude::*;
use stepbell::proof::controllable::{Verdict, check};

use crate::proofs::{config, tiny};
use crate::proofs_game::{Plain, person_wins};

const FAR: i64 = i64::MAX / 4;

struct Rules<'a> {
    plain: &'a Plain,
    /// most[u][v]: time(v) − time(u) is at most this
    most: Vec<Vec<i64>>,
    /// wait[l][u]: the same towards the activation of link l, lifted by its outcome
    wait: Vec<Vec<i64>>,
    changed: bool,
}

/// Whether the rules find nothing that cannot be kept.
fn rules_allow(plain: &Plain) -> bool {
    let mut rules = Rules {
        plain,
        most: vec![vec![FAR; plain.points]; plain.points],
        wait: vec![vec![FAR; plain.points]; plain.links.len()],
        changed: true,
    };
    for u in 0..plain.points {
        rules.most[u][u] = 0;
    }
    for &(u, v, w) in &plain.bounds {
        rules.most[u][v] = rules.most[u][v].min(w);
    }
    for (l, &(a, c, lo, hi)) in plain.links.iter().enumerate() {
        rules.most[a][c] = rules.most[a][c].min(hi);
        rules.most[c][a] = rules.most[c][a].min(-lo);
        // An exact link is two bounds and nothing else.
        if lo < hi {
            rules.wait[l][c] = -hi;
        }
    }
    while rules.changed {
        rules.changed = false;
        rules.close();
        if rules.contradict_each_other() {
            return false;
        }
        rules.follow_waits();
        rules.react();
    }
    true
}

impl Rules<'_> {
    fn tighten(&mut self, u: usize, v: usize, w: i64) {
        if w < self.most[u][v] {
            self.most[u][v] = w;
            self.changed = true;
        }
    }

    fn tighten_wait(&mut self, l: usize, u: usize, w: i64) {
        if w < self.wait[l][u] {
            self.wait[l][u] = w;
            self.changed = true;
        }
    }

    /// Two bounds one after the other make a third.
    fn close(&mut self) {
        for k in 0..self.plain.points {
            for u in 0..self.plain.points {
                for v in 0..self.plain.points {
                    if self.most[u][k] < FAR && self.most[k][v] < FAR {
                        self.tighten(u, v, self.most[u][k] + self.most[k][v]);
                    }
                }
            }
        }
    }

    /// Whether bounds and waits together, all outcomes being slow, go in a negative circle.
    fn contradict_each_other(&self) -> bool {
        let mut all = self.most.clone();
        for (l, waits) in self.wait.iter().enumerate() {
            let activation = self.plain.links[l].0;
            for (u, &w) in waits.iter().enumerate() {
                all[u][activation] = all[u][activation].min(w);
            }
        }
        let points = self.plain.points;
        for k in 0..points {
            for u in 0..points {
                for v in 0..points {
                    if all[u][k] < FAR && all[k][v] < FAR {
                        all[u][v] = all[u][v].min(all[u][k] + all[k][v]);
                    }
                }
            }
        }
        (0..points).any(|u| all[u][u] < 0)
    }

    /// What must come before something that waits, waits too. A wait that is over before the
    /// outcome can come is a plain bound, and every wait lasts at least that long.
    fn follow_waits(&mut self) {
        for l in 0..self.plain.links.len() {
            let (a, c, lo, _) = self.plain.links[l];
            for u in 0..self.plain.points {
                for v in 0..self.plain.points {
                    if self.most[u][v] < FAR && self.wait[l][v] < FAR {
                        self.tighten_wait(l, u, self.most[u][v] + self.wait[l][v]);
                    }
                }
                if u != c && self.wait[l][u] < FAR {
                    self.tighten(u, a, self.wait[l][u].max(-lo));
                }
            }
        }
    }

    /// What must come before a quick outcome must be settled when its link begins.
    fn react(&mut self) {
        for l in 0..self.plain.links.len() {
            let (a, c, lo, hi) = self.plain.links[l];
            if lo == hi {
                continue;
            }
            for v in 0..self.plain.points {
                if self.most[c][v] < 0 {
                    self.tighten(a, v, lo + self.most[c][v]);
                }
            }
            for other in (0..self.plain.links.len()).filter(|&other| other != l) {
                if self.wait[other][c] < 0 {
                    self.tighten_wait(other, a, lo + self.wait[other][c]);
                }
            }
        }
    }
}

/// A script in small: cue, act, answer again and again, with windows that reach over several
/// steps, drawn so that about half can be kept.
fn small_script() -> impl Strategy<Value = Plain> {
    let step = (0..=2_i64, 0..=3_i64, 0..=2_i64, 0..=3_i64, 1..=9_i64, 0..=2_i64);
    let steps = proptest::collection::vec(step, 2..=4);
    let across = proptest::collection::vec((0..14_usize, 0..14_usize, -3..=16_i64), 0..=4);
    (steps, across).prop_map(|(steps, across)| {
        let mut plain = Plain { points: 1, ..Plain::default() };
        let mut previous = 0;
        for (lo, more, answer_lo, answer_more, window, gap) in steps {
            let (cue, act, answer) = (plain.points, plain.points + 1, plain.points + 2);
            plain.points += 3;
            plain.links.push((cue, act, lo, lo + more));
            plain.links.push((act, answer, answer_lo, answer_lo + answer_more));
            plain.bounds.push((cue, previous, -gap));
            plain.bounds.push((previous, act, window + gap));
            previous = answer;
        }
        let points = plain.points;
        plain.bounds.extend(across.iter().map(|&(u, v, w)| (u % points, v % points, w)));
        plain
    })
}

fn controllable(plain: &Plain) -> bool {
    check(&plain.build()) == Verdict::Controllable
}

proptest! {
    #![proptest_config(config(2000))]

    #[test]
    fn the_rules_agree_with_the_game(plain in tiny(5)) {
        prop_assert_eq!(rules_allow(&plain), person_wins(&plain));
    }

    #[test]
    fn the_verdict_follows_the_rules(plain in tiny(12)) {
        prop_assert_eq!(controllable(&plain), rules_allow(&plain));
    }

    #[test]
    fn the_verdict_on_small_scripts_follows_the_rules(plain in small_script()) {
        prop_assert_eq!(controllable(&plain), rules_allow(&plain));
    }
}

#[test]
fn small_scripts_are_of_both_kinds() {
    use proptest::strategy::ValueTree;
    let mut runner = proptest::test_runner::TestRunner::new(config(1));
    let kept = (0..1000)
        .filter(|_| controllable(&small_script().new_tree(&mut runner).expect("one").current()))
        .count();
    assert!((250..=750).contains(&kept), "{kept} of 1000 can be kept");
}
