//! Counting what happened: takes counts and lengths, gives intervals and quantiles.
//!
//! Fractions are `f64` between 0 and 1; lengths stay whole milliseconds. Checked against a reference
//! library through `tests/statistics/golden.tsv`.

use std::collections::BTreeMap;

use crate::clock::Millis;

/// The 97.5th percentile of a standard normal variable: two sides of 95 %.
pub const Z95: f64 = 1.959_963_984_540_054;

/// Between which fractions something lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Interval {
    /// Not less.
    pub lo: f64,
    /// Not more.
    pub hi: f64,
}

/// A count as a number with a fraction. Counts of runs are far below 2^53.
#[must_use]
#[expect(clippy::cast_precision_loss, reason = "counts are far below 2^53")]
pub const fn float(n: u64) -> f64 {
    n as f64
}

/// `k` of `n` as a fraction; nothing of nothing is 0.
#[must_use]
pub fn fraction(k: u64, n: u64) -> f64 {
    if n == 0 { 0.0 } else { float(k) / float(n) }
}

/// The Wilson score interval for `k` of `n` (E. B. Wilson 1927; method 3 of R. G. Newcombe, Statistics
/// in Medicine 17, 1998, 857–872), with `z` standard deviations to each side. Everything is possible
/// where nothing was tried.
#[must_use]
pub fn wilson(k: u64, n: u64, z: f64) -> Interval {
    if n == 0 {
        return Interval { lo: 0.0, hi: 1.0 };
    }
    let (p, n_) = (fraction(k.min(n), n), float(n));
    let whole = 1.0 + z * z / n_;
    let middle = (p + z * z / (2.0 * n_)) / whole;
    let half = z / whole * libm::sqrt(p * (1.0 - p) / n_ + z * z / (4.0 * n_ * n_));
    let lo = if k == 0 { 0.0 } else { (middle - half).max(0.0) };
    let hi = if k >= n { 1.0 } else { (middle + half).min(1.0) };
    Interval { lo, hi }
}

/// The standard error of a fraction `p` that was counted in `n` tries.
#[must_use]
pub fn standard_error(p: f64, n: u64) -> f64 {
    if n == 0 { f64::INFINITY } else { libm::sqrt((p * (1.0 - p)).max(0.0) / float(n)) }
}

/// Lengths with how often each came: exact quantiles, and sums of two collections are the collection
/// of both, in whatever order.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Lengths {
    counts: BTreeMap<i64, u64>,
    n: u64,
}

impl Lengths {
    /// One more.
    pub fn add(&mut self, length: Millis) {
        *self.counts.entry(length.0).or_insert(0) += 1;
        self.n += 1;
    }

    /// All of another collection.
    pub fn merge(&mut self, other: &Lengths) {
        for (length, count) in &other.counts {
            *self.counts.entry(*length).or_insert(0) += count;
        }
        self.n += other.n;
    }

    /// How many.
    #[must_use]
    pub fn n(&self) -> u64 {
        self.n
    }

    /// How many lie below a length.
    #[must_use]
    pub fn below(&self, length: Millis) -> u64 {
        self.counts.range(..length.0).map(|(_, count)| count).sum()
    }

    /// The smallest length that at least `p` of a thousand do not exceed (nearest rank: Hyndman and
    /// Fan 1996, type 1). `None` of nothing.
    #[must_use]
    pub fn quantile(&self, p: u32) -> Option<Millis> {
        if self.n == 0 {
            return None;
        }
        Some(self.quantile_from(0, self.n, p))
    }

    /// The same quantile of `n` lengths, of which those that are not in here are zero.
    #[must_use]
    pub fn quantile_among(&self, n: u64, p: u32) -> Millis {
        self.quantile_from(n.saturating_sub(self.n), n.max(self.n), p)
    }

    fn quantile_from(&self, zeros: u64, n: u64, p: u32) -> Millis {
        let rank = (u128::from(n) * u128::from(p.min(1000))).div_ceil(1000).max(1);
        let mut seen = u128::from(zeros);
        if seen >= rank {
            return Millis::ZERO;
        }
        for (length, count) in &self.counts {
            seen += u128::from(*count);
            if seen >= rank {
                return Millis(*length);
            }
        }
        Millis::ZERO
    }

    /// The longest; nothing of nothing.
    #[must_use]
    pub fn most(&self) -> Option<Millis> {
        self.counts.last_key_value().map(|(length, _)| Millis(*length))
    }
}
