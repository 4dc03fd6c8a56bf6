//! A sound as samples: takes them with their rate, gives its length and itself without the silence at
//! its ends.

use crate::clock::Millis;

/// A sound of one channel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clip {
    /// Samples a second.
    pub rate: u32,
    /// The samples.
    pub samples: Vec<i16>,
}

impl Clip {
    /// How long it is, rounded up to a whole millisecond.
    #[must_use]
    pub fn length(&self) -> Millis {
        let samples = i64::try_from(self.samples.len()).unwrap_or(i64::MAX / 1000);
        let rate = i64::from(self.rate.max(1));
        Millis((samples * 1000 + rate - 1) / rate)
    }

    /// Without the silence before and after it: what is quieter than `floor` at either end, but for
    /// `kept` at each.
    #[must_use]
    pub fn trimmed(mut self, floor: i16, kept: Millis) -> Clip {
        let loud = |sample: &i16| sample.unsigned_abs() > floor.unsigned_abs();
        let kept = usize::try_from(kept.0 * i64::from(self.rate) / 1000).unwrap_or(0);
        let last = self.samples.iter().rposition(loud).unwrap_or(0);
        let first = self.samples.iter().position(loud).unwrap_or(0);
        self.samples.truncate(last.saturating_add(1 + kept).min(self.samples.len()));
        self.samples.drain(..first.saturating_sub(kept));
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn clip(samples: &[i16]) -> Clip {
        Clip { rate: 22_050, samples: samples.to_vec() }
    }

    #[test]
    fn lengths_are_rounded_up() {
        assert_eq!(clip(&[0; 22_050]).length(), Millis(1000));
        assert_eq!(clip(&[0; 22_051]).length(), Millis(1001));
        assert_eq!(clip(&[0; 1]).length(), Millis(1));
    }

    #[test]
    fn silence_at_the_ends_is_taken_off_but_for_a_little() {
        let mut samples = vec![3; 1000];
        samples.extend([900; 50]);
        samples.extend([2; 2000]);
        let trimmed = clip(&samples).trimmed(100, Millis(10));
        assert_eq!(trimmed.samples.len(), 220 + 50 + 220);
        assert_eq!(clip(&[1; 500]).trimmed(100, Millis(10)).samples.len(), 221);
    }
}
