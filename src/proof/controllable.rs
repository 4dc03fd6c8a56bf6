//! Whether every bound of a network can be kept, whatever nature picks: takes a network, gives
//! *yes*, or a cycle of its bounds and links that shows why not.
//!
//! The person may act at the very instant at which an outcome is seen.

use super::network::{Network, Point};
use super::search::{Keep, Search};
use crate::clock::Millis;

/// The answer of [`check`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// There is a rule for when to act that keeps every bound, whatever nature picks. For a
    /// network without links: the bounds do not contradict each other.
    Controllable,
    /// There is none, and this cycle shows it.
    Not(Cycle),
}

/// A closed walk over bounds and links whose lengths add up to less than nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cycle {
    /// What the lengths add up to: below zero. The plan is short by the opposite of this.
    pub value: Millis,
    /// The bounds and links used, in the order in which the walk first meets them.
    pub uses: Vec<Use>,
}

/// One bound or link of a cycle and how often the cycle runs over it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Use {
    /// The bound or link.
    pub part: Part,
    /// How often; held at `u64::MAX`, since a cycle may be exponentially long.
    pub times: u64,
}

/// A part of a network as a cycle uses it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Part {
    /// The bound with this number.
    Bound(usize),
    /// The link with this number.
    Link(usize, Role),
}

/// In which of its meanings a cycle uses a link with `takes` x..y.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Role {
    /// Nature is quick: the outcome may come after x already. Adds x.
    Quick,
    /// Nature is slow: the outcome may take y. Adds −y.
    Slow,
    /// The outcome comes y after the activation at the latest. Adds y.
    AtMost,
    /// The outcome comes x after the activation at the earliest. Adds −x.
    AtLeast,
}

impl Part {
    /// What one use adds to the value of a cycle in `network`.
    #[must_use]
    pub fn length(self, network: &Network) -> Millis {
        match self {
            Part::Bound(number) => network.bounds()[number].most,
            Part::Link(number, role) => {
                let takes = network.links()[number].takes;
                match role {
                    Role::Quick => takes.lo,
                    Role::Slow => Millis::ZERO.minus(takes.hi),
                    Role::AtMost => takes.hi,
                    Role::AtLeast => Millis::ZERO.minus(takes.lo),
                }
            }
        }
    }
}

/// The check was stopped before it had an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stopped;

/// Whether every bound of `network` can be kept, whatever nature picks.
#[must_use]
pub fn check(network: &Network) -> Verdict {
    // A search that is never stopped runs to its end.
    check_until(network, &|| false).unwrap_or(Verdict::Controllable)
}

/// As [`check`], asking `stop` now and then whether to give up.
///
/// # Errors
/// [`Stopped`] once `stop` has said so.
pub fn check_until(network: &Network, stop: &dyn Fn() -> bool) -> Result<Verdict, Stopped> {
    let mut search = Search::new(network, Keep::ForTheCheck);
    match search.run(stop)? {
        None => Ok(Verdict::Controllable),
        Some(edges) => Ok(Verdict::Not(search.cycle(&edges))),
    }
}

/// How far apart two points can be kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LatestSafe {
    /// The network is not controllable to begin with.
    NotControllable,
    /// As late as one likes.
    Unbounded,
    /// At most this long after the other point.
    After(Millis),
}

/// The largest L such that `network` with time(`point`) − time(`reference`) ≥ L is still
/// controllable, found by asking [`check`] again and again. A shortest path would be too loose.
#[must_use]
pub fn latest_safe(network: &Network, reference: Point, point: Point) -> LatestSafe {
    latest_safe_until(network, reference, point, &|| false).unwrap_or(LatestSafe::NotControllable)
}

/// As [`latest_safe`], asking `stop` now and then whether to give up.
///
/// # Errors
/// [`Stopped`] once `stop` has said so.
pub fn latest_safe_until(
    network: &Network,
    reference: Point,
    point: Point,
    stop: &dyn Fn() -> bool,
) -> Result<LatestSafe, Stopped> {
    let holds = |least: i64| {
        let mut forced = network.clone();
        forced.at_least(reference, point, Millis(least));
        Ok(check_until(&forced, stop)? == Verdict::Controllable)
    };
    if check_until(network, stop)? != Verdict::Controllable {
        return Ok(LatestSafe::NotControllable);
    }
    let most = largest(beyond_every_path(network), &holds)?;
    Ok(most.map_or(LatestSafe::Unbounded, |most| LatestSafe::After(Millis(most))))
}

/// The largest whole number that `holds`, which all smaller ones do; nothing where `beyond` does.
pub(super) fn largest(
    beyond: i64,
    holds: &dyn Fn(i64) -> Result<bool, Stopped>,
) -> Result<Option<i64>, Stopped> {
    if holds(beyond)? {
        return Ok(None);
    }
    let (mut good, mut bad) = gallop(beyond, holds)?;
    while bad - good > 1 {
        let middle = good + (bad - good) / 2;
        if holds(middle)? {
            good = middle;
        } else {
            bad = middle;
        }
    }
    Ok(Some(good))
}

/// A length that holds and a longer one that does not, found in doubling strides from zero:
/// answers are far smaller than `beyond`, which does not hold and whose opposite does.
fn gallop(
    beyond: i64,
    holds: &dyn Fn(i64) -> Result<bool, Stopped>,
) -> Result<(i64, i64), Stopped> {
    let up = holds(0)?;
    let direction = if up { 1 } else { -1 };
    let (mut near, mut stride) = (0, 1);
    loop {
        let far = direction * beyond.min(stride);
        if stride >= beyond || holds(far)? != up {
            return Ok(if up { (near, far) } else { (far, near) });
        }
        near = far;
        stride *= 2;
    }
}

/// A length that no walk of the search can use up: it steps at most once through each of its
/// points (one more for each link), and no step is longer than the longest bound. So a point that
/// can be pushed this far can be pushed any distance. At most 2^21 · 2^40.
pub(super) fn beyond_every_path(network: &Network) -> i64 {
    let bounds = network.bounds().iter().map(|bound| bound.most.0.abs());
    let links = network.links().iter().map(|link| link.takes.hi.0);
    let longest = bounds.chain(links).max().unwrap_or(0);
    let steps = i64::try_from(network.point_count() + network.links().len() + 1);
    longest.saturating_mul(steps.unwrap_or(i64::MAX)).saturating_add(1).min(i64::MAX / 4)
}
