//! How declared bounds become draws: takes a span `lo` to `hi`, gives a length.
//!
//! *Inside*: uniform between the bounds, ends included; what the proof speaks of.
//!
//! *With tails*: `lo` is a hard floor, what lies above it is log-normal, and `hi` is the length that 19
//! of 20 stay under (its 95th percentile). The time of an act spreads log-normally (NRC report
//! ML23279A092, IDHEAS-ECA, treats a miss as the overlap of such a time with the time available); the
//! floor is what a hand cannot be quicker than. The spread (the standard deviation of the logarithm)
//! is a setting, because its values are of different worth:
//!
//! * hands, 0.5: common practice for a present-and-turn act; crews in a control room showed 0.38 to
//!   0.77 (both from memory);
//! * reports, 0.5: busy hands that answer a request, mean 2.72 s and standard deviation 1.45 s give
//!   0.50 (Zhang et al. 2019, 129 studies; the two figures from memory);
//! * the vehicle, 0.25: an assumption of ours, no source. A control unit varies less than a hand.

use super::normal::quantile;
use crate::clock::{Millis, Span};

/// The 95th percentile of a standard normal variable.
const P95: f64 = 1.644_853_626_951_472_2;
/// The part of lengths that lies above the declared most, in a thousand.
pub const BEYOND_IN_1000: u32 = 50;

/// How lengths are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Law {
    /// Uniform inside the bounds.
    Inside,
    /// Only the bounds themselves.
    Edges,
    /// Always the least.
    Least,
    /// Always the most.
    Most,
    /// Log-normal above a hard floor.
    Tails(Spreads),
}

impl Law {
    /// The spreads, where there are tails.
    #[must_use]
    pub const fn tails(&self) -> Option<Spreads> {
        match self {
            Law::Tails(spreads) => Some(*spreads),
            Law::Inside | Law::Edges | Law::Least | Law::Most => None,
        }
    }
}

/// Whose time it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Share {
    /// Reaction, walking, hands, letting go.
    Hands,
    /// From what was seen or done to the press.
    Report,
    /// The vehicle's own.
    Vehicle,
}

/// A spread in thousandths: the standard deviation of the logarithm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spread(pub u32);

/// The spreads of all shares.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spreads {
    /// Of hands.
    pub hands: Spread,
    /// Of reports.
    pub reports: Spread,
    /// Of the vehicle.
    pub vehicle: Spread,
}

impl Default for Spreads {
    fn default() -> Spreads {
        Spreads { hands: Spread(500), reports: Spread(500), vehicle: Spread(250) }
    }
}

impl Spreads {
    /// The spread of a share.
    #[must_use]
    pub const fn of(self, share: Share) -> Spread {
        match share {
            Share::Hands => self.hands,
            Share::Report => self.reports,
            Share::Vehicle => self.vehicle,
        }
    }
}

impl Spread {
    /// The widest spread that can be set: 1.5, where one in twenty takes twelve times the median.
    pub const WIDEST: Spread = Spread(1500);

    /// The length below which a draw lies with probability `p` (strictly between 0 and 1), to the
    /// nearest millisecond. A span of one length is that length.
    #[must_use]
    pub fn length(self, p: f64, span: Span) -> Millis {
        let room = span.hi.minus(span.lo);
        if room <= Millis::ZERO {
            return span.lo;
        }
        let sigma = f64::from(self.0) / 1000.0;
        #[expect(clippy::cast_precision_loss, reason = "lengths are far below 2^53 ms")]
        let above = libm::exp(sigma * (quantile(p) - P95)) * room.0 as f64;
        // As far as a length can go in a script, a million times over.
        let above = libm::round(above).min(1e14);
        #[expect(clippy::cast_possible_truncation, reason = "held below 1e14 in the line above")]
        let above = above as i64;
        span.lo.plus(Millis(above))
    }

    /// The part of draws that is longer than `length`, in closed form.
    #[must_use]
    pub fn beyond(self, length: Millis, span: Span) -> f64 {
        let (room, above) = (span.hi.minus(span.lo).0, length.minus(span.lo).0);
        if above <= 0 || room <= 0 {
            return if length < span.lo { 1.0 } else { 0.0 };
        }
        #[expect(clippy::cast_precision_loss, reason = "lengths are far below 2^53 ms")]
        let part = libm::log(above as f64 / room as f64);
        let z = part * 1000.0 / f64::from(self.0.max(1)) + P95;
        0.5 * libm::erfc(z / core::f64::consts::SQRT_2)
    }
}
