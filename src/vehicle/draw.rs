//! Random draws from a seed: the same seed gives the same run, on every machine and for ever.
//!
//! Takes a seed and a [`Law`]; gives lengths. SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, "Fast
//! splittable pseudorandom number generators", OOPSLA 2014, figure 14).
//!
//! Draws of a practice run have names: each begins a stream of its own, made from the seed, the step,
//! the try and what is drawn. So the vehicle of a seed is the same vehicle whatever the person does,
//! and a changed time leaves every other draw as it was.

use super::law::{Law, Share};
use crate::clock::{Millis, Moment, Span};
use crate::procedure::plan::StepIx;
use crate::procedure::timing::Bracket;

/// What is drawn, for its name. A new one goes to the end: the numbers are part of every seed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// The now cue is heard.
    Words,
    /// Reaction, walking, hands.
    Hands,
    /// The strokes of a count.
    Strokes,
    /// Letting go.
    LetGo,
    /// The vehicle's delay.
    Answer,
    /// Knowing the sign.
    Know,
    /// The report.
    Report,
    /// A question's answer.
    Think,
    /// Which fault, and where.
    Trouble,
}

/// A stream of draws.
#[derive(Clone, Debug)]
pub struct Draw {
    state: u64,
    seed: u64,
    law: Law,
    named: bool,
}

impl Draw {
    /// The stream of this seed, uniform inside every bound, one draw after the other.
    #[must_use]
    pub fn new(seed: u64) -> Draw {
        Draw { state: seed, seed, law: Law::Inside, named: false }
    }

    /// The stream of this seed that draws nothing but the least and the most of every bound: where
    /// arithmetic breaks first.
    #[must_use]
    pub fn edges(seed: u64) -> Draw {
        Draw { law: Law::Edges, ..Draw::new(seed) }
    }

    /// Draws with names, by this law.
    #[must_use]
    pub fn named(seed: u64, law: Law) -> Draw {
        Draw { state: mix(seed), seed, law, named: true }
    }

    /// The draws of the nth run of a seed.
    #[must_use]
    pub fn of_run(seed: u64, run: u64, law: Law) -> Draw {
        Draw::named(mix(seed) ^ mix(!run), law)
    }

    /// What is drawn next is this, in this try (from 1) of this step.
    pub fn about(&mut self, step: StepIx, time: u32, what: What) {
        if self.named {
            let name = (u64::from(step.0) << 32) ^ (u64::from(time) << 8) ^ what as u64;
            self.state = mix(self.seed ^ mix(name));
        }
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(GAMMA);
        finish(self.state)
    }

    /// Uniform between two whole numbers, both included; the first where they are in the wrong order.
    pub fn between(&mut self, lo: i64, hi: i64) -> i64 {
        let width = i128::from(hi) - i128::from(lo) + 1;
        if width <= 1 {
            return lo;
        }
        match self.law {
            Law::Edges => return if self.bits() >> 63 == 0 { lo } else { hi },
            Law::Least => return lo,
            Law::Most => return hi,
            Law::Inside | Law::Tails(_) => {}
        }
        let scaled = (i128::from(self.bits()) * width) >> 64;
        i64::try_from(i128::from(lo) + scaled).unwrap_or(lo)
    }

    /// A length inside a span, uniform.
    pub fn within(&mut self, span: Span) -> Millis {
        Millis(self.between(span.lo.0, span.hi.0))
    }

    /// A length of several shares, one after the other. Uniform draws are one draw inside their sum;
    /// with tails each share is drawn by itself.
    pub fn takes(&mut self, share: Share, parts: &[Span]) -> Millis {
        match self.law.tails() {
            None => {
                let sum = parts.iter().fold(Span::ZERO, |sum, part| sum.then(*part));
                self.within(sum)
            }
            Some(spreads) => parts.iter().fold(Millis::ZERO, |sum, part| {
                sum.plus(spreads.of(share).length(self.unit(), *part))
            }),
        }
    }

    /// Whether lengths may be longer than their bounds.
    #[must_use]
    pub fn has_tails(&self) -> bool {
        self.law.tails().is_some()
    }

    /// Uniform between 0 and 1, neither reached: the middles of 2^53 equal parts.
    fn unit(&mut self) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "53 bits are held exactly")]
        let part = (self.bits() >> 11) as f64;
        (part + 0.5) / 9_007_199_254_740_992.0
    }

    /// A moment inside a bracket.
    pub fn moment(&mut self, bracket: Bracket) -> Moment {
        Moment(self.between(bracket.earliest.0, bracket.latest.0))
    }
}

const GAMMA: u64 = 0x9e37_79b9_7f4a_7c15;

/// The generator's own way of making neighbours strangers.
fn finish(mut z: u64) -> u64 {
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

fn mix(z: u64) -> u64 {
    finish(z.wrapping_add(GAMMA))
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
