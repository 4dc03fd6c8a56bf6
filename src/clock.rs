//! Time as the core knows it: whole milliseconds, lengths and places, never a real clock.
//!
//! Takes nothing from the world; gives [`Millis`] (a length), [`Moment`] (a place in time since the
//! run's start) and [`Span`] (a length known only between two bounds). All arithmetic is checked
//! or saturating: a script cannot make it wrap.

use std::fmt;

/// A length of time in whole milliseconds. May be negative where a difference is meant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Millis(pub i64);

impl Millis {
    /// No time at all.
    pub const ZERO: Millis = Millis(0);
    /// The longest length a script may state: one day. Longer is refused by `procedure::check`.
    pub const LONGEST: Millis = Millis(24 * 60 * 60 * 1000);

    /// A length of `s` whole seconds.
    #[must_use]
    pub const fn secs(s: i64) -> Millis {
        Millis(s.saturating_mul(1000))
    }

    /// The sum, held at the ends of the range instead of wrapping.
    #[must_use]
    pub const fn plus(self, other: Millis) -> Millis {
        Millis(self.0.saturating_add(other.0))
    }

    /// The difference, held at the ends of the range instead of wrapping.
    #[must_use]
    pub const fn minus(self, other: Millis) -> Millis {
        Millis(self.0.saturating_sub(other.0))
    }

    /// `n` times this length, held at the ends of the range.
    #[must_use]
    pub const fn times(self, n: i64) -> Millis {
        Millis(self.0.saturating_mul(n))
    }
}

/// Short and exact, in the language's own spelling: `250ms`, `1.5s`, `2min 30s`, `1h`.
impl fmt::Display for Millis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.0 < 0 {
            f.write_str("-")?;
        }
        let total = self.0.unsigned_abs();
        let (hours, rest) = (total / 3_600_000, total % 3_600_000);
        let (mins, rest) = (rest / 60_000, rest % 60_000);
        let (secs, ms) = (rest / 1000, rest % 1000);
        let mut parts = Vec::new();
        if hours > 0 {
            parts.push(format!("{hours}h"));
        }
        if mins > 0 {
            parts.push(format!("{mins}min"));
        }
        match (secs, ms) {
            (0, 0) if !parts.is_empty() => {}
            (0, 0) => parts.push("0s".to_owned()),
            (0, ms) => parts.push(format!("{ms}ms")),
            (s, 0) => parts.push(format!("{s}s")),
            (s, ms) => {
                parts.push(format!("{s}.{}s", format!("{ms:03}").trim_end_matches('0')));
            }
        }
        f.write_str(&parts.join(" "))
    }
}

/// A place in time: milliseconds since the run's start (the last affirmation before the first cue).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment(pub i64);

impl Moment {
    /// The run's start.
    pub const START: Moment = Moment(0);

    /// The moment `by` later.
    #[must_use]
    pub const fn after(self, by: Millis) -> Moment {
        Moment(self.0.saturating_add(by.0))
    }

    /// The moment `by` earlier.
    #[must_use]
    pub const fn before(self, by: Millis) -> Moment {
        Moment(self.0.saturating_sub(by.0))
    }

    /// How long after `earlier` this moment lies; negative if it lies before.
    #[must_use]
    pub const fn since(self, earlier: Moment) -> Millis {
        Millis(self.0.saturating_sub(earlier.0))
    }
}

/// A length known only between two bounds, both included, `lo ≤ hi`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub struct Span {
    /// The least it can be.
    pub lo: Millis,
    /// The most it can be.
    pub hi: Millis,
}

impl Span {
    /// A length that is exactly zero.
    pub const ZERO: Span = Span { lo: Millis::ZERO, hi: Millis::ZERO };

    /// From `lo` to `hi`, both included. The caller has checked `lo ≤ hi`.
    #[must_use]
    pub const fn new(lo: Millis, hi: Millis) -> Span {
        Span { lo, hi }
    }

    /// Exactly `at`.
    #[must_use]
    pub const fn exactly(at: Millis) -> Span {
        Span { lo: at, hi: at }
    }

    /// One after the other: bounds add.
    #[must_use]
    pub const fn then(self, next: Span) -> Span {
        Span { lo: self.lo.plus(next.lo), hi: self.hi.plus(next.hi) }
    }

    /// The smallest span that holds both.
    #[must_use]
    pub fn hull(self, other: Span) -> Span {
        Span { lo: self.lo.min(other.lo), hi: self.hi.max(other.hi) }
    }

    /// What both allow, or `None` where they share nothing.
    #[must_use]
    pub fn meet(self, other: Span) -> Option<Span> {
        let (lo, hi) = (self.lo.max(other.lo), self.hi.min(other.hi));
        (lo <= hi).then_some(Span { lo, hi })
    }

    /// Whether `at` lies inside, ends included.
    #[must_use]
    pub fn holds(self, at: Millis) -> bool {
        self.lo <= at && at <= self.hi
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(ms: i64, shown: &str) {
        assert_eq!(Millis(ms).to_string(), shown);
    }

    #[test]
    fn lengths_are_spelled_as_the_language_spells_them() {
        check(0, "0s");
        check(250, "250ms");
        check(1500, "1.5s");
        check(1005, "1.005s");
        check(90_000, "1min 30s");
        check(3_600_000, "1h");
        check(3_600_000 + 250, "1h 250ms");
        check(-300, "-300ms");
    }

    #[test]
    fn arithmetic_never_wraps() {
        assert_eq!(Millis(i64::MAX).plus(Millis(1)), Millis(i64::MAX));
        assert_eq!(Moment(i64::MIN).before(Millis(1)), Moment(i64::MIN));
    }
}
