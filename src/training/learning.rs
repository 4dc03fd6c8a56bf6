//! How somebody gets quicker from run to run: a power law of practice with a floor.
//!
//! Takes the lengths of the runs in their order; gives the curve T(n) = A + B · n^(−β), the *unit* form
//! (the time of the n-th run, not the average up to it: the two are different curves and both are
//! called learning curves). With the floor at zero, each doubling of n multiplies the time by
//! r = 2^(−β), the rate of the published tables (r = 0.8: 100, 80, 70.2, 64 …). Whether practice follows
//! a power at all, and towards which floor, is disputed (Crossman, Ergonomics 2, 1959, 153–166, for
//! the floor); five runs are the least that a curve is laid through.

use super::statistics::float;
use crate::clock::Millis;

/// Fewer runs say nothing of a curve.
pub const LEAST_RUNS: usize = 5;
/// Floors tried, as parts of the shortest run.
const FLOORS: u32 = 400;

/// The curve.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Curve {
    /// Towards what it falls.
    pub floor: Millis,
    /// What the first run takes, by the curve.
    pub first: Millis,
    /// β: 0 does not fall at all.
    pub exponent: f64,
    /// The root of the mean square by which the runs lie off it.
    pub off: Millis,
}

impl Curve {
    /// What the nth run takes by the curve, in milliseconds; the first is run 1.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "milliseconds of runs of a day at most")]
    pub fn of(&self, nth: u64) -> f64 {
        let above = self.first.minus(self.floor).0 as f64;
        self.floor.0 as f64 + above * libm::pow(float(nth.max(1)), -self.exponent)
    }

    /// What a doubling of the runs leaves of the time above the floor.
    #[must_use]
    pub fn rate(&self) -> f64 {
        libm::exp2(-self.exponent)
    }
}

/// Lays a curve through the lengths of runs, in their order. `None` where they are too few, or do not
/// get shorter.
#[must_use]
#[expect(
    clippy::cast_precision_loss,
    clippy::cast_possible_truncation,
    reason = "milliseconds of runs of a day at most"
)]
pub fn curve(runs: &[Millis]) -> Option<Curve> {
    if runs.len() < LEAST_RUNS || runs.iter().any(|run| run.0 <= 0) {
        return None;
    }
    let times: Vec<f64> = runs.iter().map(|run| run.0 as f64).collect();
    let least = times.iter().copied().fold(f64::INFINITY, f64::min);
    let tried = (0..FLOORS).map(|n| least * f64::from(n) / f64::from(FLOORS));
    let logs: Vec<f64> = (1_u32..).zip(&times).map(|(nth, _)| libm::log(f64::from(nth))).collect();
    let fitted = tried.filter_map(|floor| through(&times, &logs, floor));
    let best = fitted.min_by(|a, b| a.3.total_cmp(&b.3))?;
    let (floor, scale, exponent, square) = best;
    if exponent <= 0.0 {
        return None;
    }
    let off = libm::sqrt(square / times.len() as f64);
    let whole = |ms: f64| Millis(libm::round(ms) as i64);
    Some(Curve { floor: whole(floor), first: whole(floor + scale), exponent, off: whole(off) })
}

/// The least squares of the logarithms for one floor, given those of the runs' numbers: floor, B, β, and
/// the sum of squares in time.
#[expect(clippy::cast_precision_loss, reason = "counts of runs")]
fn through(times: &[f64], logs: &[f64], floor: f64) -> Option<(f64, f64, f64, f64)> {
    let n = times.len() as f64;
    let points: Vec<(f64, f64)> =
        logs.iter().zip(times).map(|(log, time)| (*log, libm::log(time - floor))).collect();
    let mean = |of: fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / n;
    let (x, y) = (mean(|p| p.0), mean(|p| p.1));
    let xx: f64 = points.iter().map(|p| (p.0 - x) * (p.0 - x)).sum();
    let xy: f64 = points.iter().map(|p| (p.0 - x) * (p.1 - y)).sum();
    if xx <= 0.0 || !xy.is_finite() {
        return None;
    }
    let slope = xy / xx;
    let scale = libm::exp(y - slope * x);
    let square = (1_u32..)
        .zip(times)
        .map(|(nth, time)| {
            let off = time - floor - scale * libm::pow(f64::from(nth), slope);
            off * off
        })
        .sum();
    Some((floor, scale, -slope, square))
}

#[cfg(test)]
#[expect(clippy::cast_possible_truncation, reason = "milliseconds of a minute")]
mod tests {
    use super::*;

    /// Unit factors of published tables for n = 5, 10, 20.
    #[test]
    fn the_published_factors_are_those_of_the_unit_form() {
        let table = [
            (0.70, [0.437, 0.306, 0.214]),
            (0.75, [0.513, 0.385, 0.288]),
            (0.80, [0.596, 0.477, 0.381]),
            (0.85, [0.686, 0.583, 0.495]),
        ];
        for (rate, factors) in table {
            let exponent = -libm::log2(rate);
            for (n, factor) in [5.0, 10.0, 20.0].into_iter().zip(factors) {
                let unit = libm::pow(n, -exponent);
                assert!((unit - factor).abs() < 0.0006, "{rate} {n}: {unit} {factor}");
            }
        }
    }

    #[test]
    fn a_curve_is_found_again() {
        for (floor, first, rate) in
            [(0.0, 50_000.0, 0.8), (20_000.0, 30_000.0, 0.7), (5_000.0, 60_000.0, 0.9)]
        {
            let exponent = -libm::log2(rate);
            let runs: Vec<Millis> = (1..=12)
                .map(
                    |n| Millis((floor + first * libm::pow(f64::from(n), -exponent)).round() as i64),
                )
                .collect();
            let curve = curve(&runs).expect("a curve");
            assert!((curve.rate() - rate).abs() < 0.02, "{rate}: {curve:?}");
            assert!((curve.floor.0 - floor as i64).abs() < 2_500, "{floor}: {curve:?}");
            assert!(curve.off < Millis(60), "{curve:?}");
        }
    }

    #[test]
    fn four_runs_or_slower_ones_give_no_curve() {
        let runs = |times: &[i64]| times.iter().map(|t| Millis(*t)).collect::<Vec<_>>();
        assert_eq!(curve(&runs(&[50_000, 40_000, 35_000, 32_000])), None);
        assert_eq!(curve(&runs(&[30_000, 31_000, 32_000, 33_000, 34_000])), None);
    }
}
