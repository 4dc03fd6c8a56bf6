//! Random draws from a seed: the same seed gives the same run, on every machine and for ever.
//!
//! Takes a seed; gives uniform draws. SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, "Fast splittable
//! pseudorandom number generators", OOPSLA 2014, figure 14).

use crate::clock::{Millis, Moment, Span};
use crate::procedure::timing::Bracket;

/// A stream of draws.
#[derive(Clone, Debug)]
pub struct Draw {
    state: u64,
    edges: bool,
}

impl Draw {
    /// The stream of this seed.
    #[must_use]
    pub fn new(seed: u64) -> Draw {
        Draw { state: seed, edges: false }
    }

    /// The stream of this seed that draws nothing but the least and the most of every bound: where
    /// arithmetic breaks first.
    #[must_use]
    pub fn edges(seed: u64) -> Draw {
        Draw { state: seed, edges: true }
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform between two whole numbers, both included; the first where they are in the wrong order.
    pub fn between(&mut self, lo: i64, hi: i64) -> i64 {
        let width = i128::from(hi) - i128::from(lo) + 1;
        if width <= 1 {
            return lo;
        }
        if self.edges {
            return if self.bits() >> 63 == 0 { lo } else { hi };
        }
        let scaled = (i128::from(self.bits()) * width) >> 64;
        i64::try_from(i128::from(lo) + scaled).unwrap_or(lo)
    }

    /// A length inside a span.
    pub fn within(&mut self, span: Span) -> Millis {
        Millis(self.between(span.lo.0, span.hi.0))
    }

    /// A moment inside a bracket.
    pub fn moment(&mut self, bracket: Bracket) -> Moment {
        Moment(self.between(bracket.earliest.0, bracket.latest.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_published_generator_gives_its_published_numbers() {
        // Seed 1234567: the first values of the reference implementation, from memory.
        let mut draw = Draw::new(1_234_567);
        assert_eq!(draw.bits(), 6_457_827_717_110_365_317);
        assert_eq!(draw.bits(), 3_203_168_211_198_807_973);
    }

    #[test]
    fn draws_stay_inside_and_reach_both_ends() {
        let mut draw = Draw::new(7);
        let drawn: Vec<i64> = (0..200).map(|_| draw.between(-2, 2)).collect();
        assert!(drawn.iter().all(|n| (-2..=2).contains(n)));
        assert!(drawn.contains(&-2) && drawn.contains(&2));
        assert_eq!(draw.between(5, 5), 5);
        assert_eq!(draw.between(5, 4), 5);
        let far = draw.between(i64::MIN, i64::MAX);
        assert!(far != 0, "the whole range does not overflow");
    }
}
