//! Moments that the guide cannot see: a moment that it can, and what lies between.
//!
//! Takes nothing; gives [`Hidden`] and [`Leg`]. A hand's act, a vehicle's answer and a release are
//! never seen by the guide. Each is known as a point of the network (a cue, a report, a decision)
//! and a chain of lengths, each inside its own bounds. A moment that was reported has two such
//! forms: from the cue forwards, and from the report backwards. Either may stand for it (bound
//! substitution; the background is delay controllability: Bhargava, Muise & Williams, *Variable-delay
//! controllability*, IJCAI 2018).

use crate::clock::{Millis, Span};
use crate::procedure::plan::StepIx;
use crate::procedure::timing::What;
use crate::proof::network::Point;
use crate::source::Place;

/// Why an edge is as long as it is: one sentence's share of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ground {
    /// Which step of the plan.
    pub step: StepIx,
    /// The sentence.
    pub place: Place,
    /// What kind of length it is.
    pub what: What,
    /// What it adds to the edge: demands add, what the world takes is negative.
    pub length: Millis,
}

/// One length between two moments, and whose it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Leg {
    /// Two legs with the same number are the same stretch of time.
    pub id: u32,
    /// Its bounds; negative where it is counted backwards.
    pub span: Span,
    /// Which step of the plan.
    pub step: StepIx,
    /// The sentence.
    pub place: Place,
    /// What kind of length it is.
    pub what: What,
}

/// A moment: a point of the network and what lies between.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Hidden {
    /// A moment that the guide sees or decides.
    pub root: Point,
    /// From there on.
    pub legs: Vec<Leg>,
}

impl Hidden {
    /// A moment that the guide itself sees or decides.
    #[must_use]
    pub fn seen(root: Point) -> Hidden {
        Hidden { root, legs: Vec::new() }
    }

    /// The moment one leg later.
    #[must_use]
    pub fn then(&self, leg: Leg) -> Hidden {
        let mut legs = self.legs.clone();
        legs.push(leg);
        Hidden { root: self.root, legs }
    }

    /// How long after its root, at the least and at the most.
    #[must_use]
    pub fn span(&self) -> Span {
        total(&self.legs)
    }

    /// Both moments behind the last one that they share, where they share a root: what is the same
    /// stretch of time must not be counted twice.
    #[must_use]
    pub fn apart<'a>(&'a self, other: &'a Hidden) -> (&'a [Leg], &'a [Leg]) {
        if self.root != other.root {
            return (&self.legs, &other.legs);
        }
        let pairs = self.legs.iter().zip(&other.legs);
        let shared = pairs.take_while(|(a, b)| a.id == b.id).count();
        (&self.legs[shared..], &other.legs[shared..])
    }

    /// The same for the least between them. Hands start at the second word of a cue: what follows its
    /// words may lie before their end, so the words are not shared.
    #[must_use]
    pub fn apart_at_least<'a>(&'a self, other: &'a Hidden) -> (&'a [Leg], &'a [Leg]) {
        match other.legs.last() {
            Some(last) if last.what == What::NowWords => (&self.legs, &other.legs),
            _ => self.apart(other),
        }
    }
}

/// The bounds of several legs one after the other.
#[must_use]
pub fn total(legs: &[Leg]) -> Span {
    legs.iter().fold(Span::ZERO, |sum, leg| sum.then(leg.span))
}

/// What legs take at the most (or, for `least`, give at the least), as grounds of an edge.
pub(super) fn grounds(legs: &[Leg], least: bool, sign: i64) -> Vec<Ground> {
    let share = |leg: &Leg| {
        let length = if least { leg.span.lo } else { leg.span.hi };
        Ground { step: leg.step, place: leg.place, what: leg.what, length: length.times(sign) }
    };
    legs.iter().map(share).filter(|ground| ground.length != Millis::ZERO).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::proof::network::Network;

    fn leg(id: u32, lo: i64, hi: i64) -> Leg {
        let span = Span::new(Millis(lo), Millis(hi));
        Leg { id, span, step: StepIx(0), place: Place::default(), what: What::Hands }
    }

    #[test]
    fn what_two_moments_share_is_not_counted_twice() {
        let mut network = Network::new();
        let root = network.add_point().expect("room");
        let done = Hidden::seen(root).then(leg(1, 2000, 6000));
        let answered = done.then(leg(2, 1000, 4000));
        let (after, before) = answered.apart(&done);
        assert_eq!((total(after), total(before)), (leg(2, 1000, 4000).span, Span::ZERO));
        assert_eq!(answered.span(), Span::new(Millis(3000), Millis(10_000)));
    }
}
