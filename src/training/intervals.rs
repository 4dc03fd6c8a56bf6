//! Two more intervals for a success rate, beside Wilson's in `statistics`.
//!
//! Takes counts; gives fractions. Brown, Cai and DasGupta, *Interval Estimation for a Binomial
//! Proportion*, Statistical Science 16 (2001) 101–133, recommend Wilson's or the equal-tailed Jeffreys
//! interval for few tries; the exact one of Clopper and Pearson (Biometrika 26, 1934, 404–413) is never
//! too narrow and often too wide.

use statrs::distribution::{Beta, ContinuousCDF};

use super::statistics::{Interval, float};

const TAIL: f64 = 0.025;

/// The equal-tailed Jeffreys interval, 95 %: the middle of Beta(k + 1/2, n − k + 1/2).
#[must_use]
pub fn jeffreys(k: u64, n: u64) -> Interval {
    let k = k.min(n);
    let (a, b) = (float(k) + 0.5, float(n - k) + 0.5);
    Interval { lo: quantile(a, b, TAIL), hi: quantile(a, b, 1.0 - TAIL) }
}

/// The exact interval of Clopper and Pearson, 95 %.
#[must_use]
pub fn exact(k: u64, n: u64) -> Interval {
    let k = k.min(n);
    let lo = if k == 0 { 0.0 } else { quantile(float(k), float(n - k) + 1.0, TAIL) };
    let hi = if k == n { 1.0 } else { quantile(float(k) + 1.0, float(n - k), 1.0 - TAIL) };
    Interval { lo, hi }
}

/// A quantile of a Beta distribution; of an impossible one, everything is possible.
fn quantile(a: f64, b: f64, p: f64) -> f64 {
    Beta::new(a, b).map_or(if p < 0.5 { 0.0 } else { 1.0 }, |beta| beta.inverse_cdf(p))
}
