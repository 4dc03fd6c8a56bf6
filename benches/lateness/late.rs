//! How late wakes were: takes nanoseconds, gives the values below which so many lie, and whether the
//! limits on cue lateness are held against another's.

/// At most so many times the other's p99.
pub const RATIO: i64 = 2;
/// At most so many nanoseconds more than the other's p99.9.
pub const MORE: i64 = 10_000_000;
/// Where a limit is not held it is measured on, up to so many times as long in all, and every wait is
/// judged. A few dozen waits make up the p99 of some thousand; whatever else the computer does meanwhile
/// can double it on one side. What the program itself causes stays.
pub const LONGER: usize = 5;

/// Nanoseconds late, sorted.
#[derive(Default)]
pub struct Late(Vec<i64>);

impl Late {
    /// Takes more of them.
    pub fn add(&mut self, nanos: Vec<i64>) {
        self.0.extend(nanos);
        self.0.sort_unstable();
    }

    /// How many.
    pub fn count(&self) -> usize {
        self.0.len()
    }

    /// The value below which `part` in a thousand lie (nearest rank); 0 of none.
    pub fn at(&self, part: usize) -> i64 {
        let rank = (self.0.len() * part).div_ceil(1000).max(1);
        self.0.get(rank - 1).copied().unwrap_or(0)
    }

    /// Which limit is not held against the other.
    pub fn over(&self, other: &Late) -> Option<&'static str> {
        if self.at(990) > RATIO * other.at(990) {
            Some("p99 more than doubled")
        } else if self.at(999) > other.at(999) + MORE {
            Some("p99.9 grew by more than 10 ms")
        } else {
            None
        }
    }
}

/// A ratio in hundredths, as it is written.
pub fn ratio(one: i64, other: i64) -> String {
    let hundredths = one.saturating_mul(100) / other.max(1);
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}
