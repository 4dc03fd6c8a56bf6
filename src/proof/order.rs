//! Which points surely lie after which: takes the bounds that say "not before" or "at least so
//! much later", gives an answer for any two points at once.
//!
//! The backward search uses it to leave out bounds that say less than the order already does.

/// Above this many points the table would take too much memory; then nothing is known.
const MOST: usize = 16_384;

/// For every two points, whether a chain of bounds puts one strictly after the other.
#[derive(Debug, Default)]
pub(super) struct Order {
    /// The class of each point: points tied to the same instant share one.
    class: Vec<u32>,
    /// For each class one row of bits: the classes that lie strictly before it.
    before: Vec<u64>,
    words: usize,
}

impl Order {
    /// Works out the order of `count` points from triples (later, earlier, at least how much, not
    /// negative). Knows nothing where there are too many points or the triples go in a circle.
    pub(super) fn new(count: usize, steps: &[(u32, u32, i64)]) -> Order {
        if count > MOST {
            return Order::default();
        }
        let class = tied(count, steps);
        let mut later_ones: Vec<Vec<(u32, bool)>> = vec![Vec::new(); count];
        let mut waits_for = vec![0_usize; count];
        for &(later, earlier, least) in steps {
            let (later, earlier) = (class[later as usize], class[earlier as usize]);
            if later != earlier || least > 0 {
                later_ones[earlier as usize].push((later, least > 0));
                waits_for[later as usize] += 1;
            }
        }
        let words = count.div_ceil(64);
        let mut order = Order { class, before: vec![0; words * count], words };
        // Earlier classes first, so that a row is complete before it is passed on. A class at or
        // before another only is kept apart from those strictly before: `weak` ends here.
        let mut weak = order.before.clone();
        let mut ready: Vec<u32> =
            (0..).zip(&waits_for).filter(|(_, n)| **n == 0).map(|(class, _)| class).collect();
        let mut done = 0;
        while let Some(earlier) = ready.pop() {
            done += 1;
            set(&mut weak, words, earlier, earlier);
            for &(later, strictly) in &later_ones[earlier as usize] {
                let strict_row = if strictly { &weak } else { &order.before };
                let row = strict_row[row_of(words, earlier)].to_vec();
                merge(&mut order.before, words, later, &row);
                let row = weak[row_of(words, earlier)].to_vec();
                merge(&mut weak, words, later, &row);
                waits_for[later as usize] -= 1;
                if waits_for[later as usize] == 0 {
                    ready.push(later);
                }
            }
        }
        if done == count { order } else { Order::default() }
    }

    /// Whether `later` is known to lie strictly after `earlier`.
    pub(super) fn is_after(&self, later: u32, earlier: u32) -> bool {
        let (Some(&later), Some(&earlier)) =
            (self.class.get(later as usize), self.class.get(earlier as usize))
        else {
            return false;
        };
        let word = later as usize * self.words + earlier as usize / 64;
        self.before[word] >> (earlier % 64) & 1 == 1
    }
}

/// For each point the first point that two opposite bounds of zero tie it to, directly or through
/// others.
fn tied(count: usize, steps: &[(u32, u32, i64)]) -> Vec<u32> {
    let mut zero: Vec<(u32, u32)> =
        steps.iter().filter(|step| step.2 == 0).map(|step| (step.0, step.1)).collect();
    zero.sort_unstable();
    let mut class: Vec<u32> = (0..u32::try_from(count).unwrap_or(u32::MAX)).collect();
    for &(a, b) in &zero {
        if a < b && zero.binary_search(&(b, a)).is_ok() {
            let (a, b) = (root(&class, a), root(&class, b));
            class[a.max(b) as usize] = a.min(b);
        }
    }
    for point in 0..count {
        // Roots have smaller numbers, so they are settled already.
        class[point] = class[class[point] as usize];
    }
    class
}

fn root(class: &[u32], mut point: u32) -> u32 {
    while class[point as usize] != point {
        point = class[point as usize];
    }
    point
}

fn row_of(words: usize, class: u32) -> std::ops::Range<usize> {
    class as usize * words..(class as usize + 1) * words
}

fn set(rows: &mut [u64], words: usize, row: u32, bit: u32) {
    rows[row as usize * words + bit as usize / 64] |= 1 << (bit % 64);
}

fn merge(rows: &mut [u64], words: usize, into: u32, row: &[u64]) {
    for (word, add) in rows[row_of(words, into)].iter_mut().zip(row) {
        *word |= add;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_positive_step_makes_strictly_later() {
        // 1 not before 0; 2 at least 5 after 1; 3 tied to 2; 4 not before 3.
        let steps = [(1, 0, 0), (2, 1, 5), (3, 2, 0), (2, 3, 0), (4, 3, 0)];
        let order = Order::new(5, &steps);
        let after: Vec<(u32, u32)> = (0..5)
            .flat_map(|a| (0..5).map(move |b| (a, b)))
            .filter(|&(a, b)| order.is_after(a, b))
            .collect();
        assert_eq!(after, [(2, 0), (2, 1), (3, 0), (3, 1), (4, 0), (4, 1)]);
    }

    #[test]
    fn a_circle_or_too_many_points_leave_nothing_known() {
        assert!(!Order::new(2, &[(1, 0, 5), (0, 1, 5)]).is_after(1, 0));
        assert!(!Order::new(MOST + 1, &[(1, 0, 5)]).is_after(1, 0));
    }
}
