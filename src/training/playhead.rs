//! Where a replay is: takes the viewer's moves and the viewer's clock, gives which scenes are due, when
//! the next one is, and how quickly time goes by. Pure: the clock is whoever asks.
//!
//! The place is a moment of the record and the number of scenes shown before it. Two clocks meet here:
//! `now` is the viewer's, `at` the record's; at a pace of ×2 one second of the viewer is two of the record.
//! Where idle stretches are shortened, a stretch without a scene that is longer than [`KEPT`] takes
//! [`KEPT`] instead: the record's time runs through it more quickly, and is shown as it runs.

pub use super::moves::{Move, read_move};
use super::reel::Reel;
use crate::clock::{Millis, Moment};

/// A shortened stretch takes so long at the pace of ×1.
pub const KEPT: Millis = Millis(3000);
/// The quickest pace.
pub const QUICKEST: u32 = 1000;
/// The slowest is one part in so many.
pub const SLOWEST: u32 = 8;
/// *Back a cue* goes to the cue before the last one where that is no longer ago than this (common
/// practice, no source): else a replay that goes on would catch up with the hand.
const JUST_NOW: Millis = Millis(1000);

/// How quickly the record's time goes by, as a fraction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace {
    num: u32,
    den: u32,
}

impl Pace {
    /// As it happened.
    pub const TRUE: Pace = Pace { num: 1, den: 1 };

    /// So many times quicker; 0 is all at once.
    #[must_use]
    pub fn times(n: u32) -> Pace {
        Pace { num: n.min(QUICKEST), den: 1 }
    }

    /// Twice as quick, up to [`QUICKEST`].
    #[must_use]
    pub fn quicker(self) -> Pace {
        match self.den {
            1 => Pace { num: self.num.saturating_mul(2).min(QUICKEST), den: 1 },
            den => Pace { num: 1, den: den / 2 },
        }
    }

    /// Half as quick, down to one part in [`SLOWEST`].
    #[must_use]
    pub fn slower(self) -> Pace {
        match self.num {
            // From all at once the next is the quickest that can be followed.
            0 => Pace::times(QUICKEST),
            1 => Pace { num: 1, den: self.den.saturating_mul(2).min(SLOWEST) },
            num => Pace { num: num / 2, den: 1 },
        }
    }

    /// Whether everything is shown at once.
    #[must_use]
    pub fn is_at_once(self) -> bool {
        self.num == 0
    }
}

impl std::fmt::Display for Pace {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.den {
            1 => write!(f, "×{}", self.num),
            den => write!(f, "×1/{den}"),
        }
    }
}

/// What became of a move.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Moved {
    /// It stands still, runs on, or runs in another way.
    Runs,
    /// It is somewhere else now.
    Jumped,
    /// There is no such step.
    NoStep(String),
    /// There is none further on, or further back.
    NoMore,
}

/// See the file's head.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Playhead {
    at: Moment,
    seen: usize,
    running: bool,
    pace: Pace,
    shortens: bool,
    stops: bool,
    /// A moment of the viewer at which the record was at this moment, at the rate of now.
    anchor: (Moment, Moment),
    /// It goes no further than to before this scene.
    limit: Option<usize>,
}

impl Playhead {
    /// At the beginning of a record, going on at a pace from the viewer's `now` on.
    #[must_use]
    pub fn new(reel: &Reel, pace: Pace, now: Moment) -> Playhead {
        let at = reel.first();
        Playhead {
            at,
            seen: 0,
            running: true,
            pace,
            shortens: false,
            stops: false,
            anchor: (now, at),
            limit: None,
        }
    }

    /// From now on it goes no further than to before this scene, and stands still there.
    pub fn limit(&mut self, ix: Option<usize>, now: Moment) {
        self.limit = ix;
        self.anchor = (now, self.at);
    }

    /// Whether it stands before the scene that it may not pass.
    #[must_use]
    pub fn is_at_limit(&self, reel: &Reel) -> bool {
        self.limit == Some(self.seen) && reel.time(self.seen).is_some_and(|at| self.at >= at)
    }

    /// The record's moment.
    #[must_use]
    pub fn at(&self) -> Moment {
        self.at
    }

    /// How many scenes have been shown.
    #[must_use]
    pub fn seen(&self) -> usize {
        self.seen
    }

    /// Whether time goes on.
    #[must_use]
    pub fn is_running(&self) -> bool {
        self.running
    }

    /// How quickly.
    #[must_use]
    pub fn pace(&self) -> Pace {
        self.pace
    }

    /// Whether idle stretches are shortened.
    #[must_use]
    pub fn shortens(&self) -> bool {
        self.shortens
    }

    /// Whether it stops at marks.
    #[must_use]
    pub fn stops(&self) -> bool {
        self.stops
    }

    /// Whether everything has been shown.
    #[must_use]
    pub fn is_at_end(&self, reel: &Reel) -> bool {
        self.seen >= reel.scenes().len()
    }

    /// Whether this very stretch is being shortened.
    #[must_use]
    pub fn is_shortening(&self, reel: &Reel) -> bool {
        self.shortens && reel.stretch(self.seen).is_some_and(|(from, to)| to.since(from).0 > KEPT.0)
    }

    /// How quickly the record's time goes by in this stretch, as a fraction of the viewer's.
    fn rate(&self, reel: &Reel) -> (i128, i128) {
        let (num, den) = (i128::from(self.pace.num), i128::from(self.pace.den));
        match reel.stretch(self.seen) {
            Some((from, to)) if self.is_shortening(reel) => {
                (num * i128::from(to.since(from).0), den * i128::from(KEPT.0))
            }
            _ => (num, den),
        }
    }

    /// When the next scene is due on the viewer's clock; `None` while nothing will come by itself.
    #[must_use]
    pub fn due(&self, reel: &Reel) -> Option<Moment> {
        let next = reel.time(self.seen).filter(|_| !self.is_at_limit(reel))?;
        if !self.running {
            return (next <= self.at).then_some(self.anchor.0);
        }
        let (num, den) = self.rate(reel);
        if num == 0 {
            return Some(self.anchor.0);
        }
        let left = i128::from(next.since(self.anchor.1).0.max(0));
        // Never early: rounded up.
        let wait = (left * den + num - 1) / num;
        Some(self.anchor.0.after(Millis(i64::try_from(wait).unwrap_or(i64::MAX))))
    }

    /// The next scene that is due, one after the other; `None` once everything due has been given. Then
    /// the place is that of `now`.
    pub fn cross(&mut self, reel: &Reel, now: Moment) -> Option<usize> {
        let due = self.due(reel);
        let Some(due) = due.filter(|due| *due <= now) else {
            self.glide(reel, now);
            return None;
        };
        let (ix, next) = (self.seen, reel.time(self.seen)?);
        if self.limit == Some(ix) {
            (self.at, self.running) = (next.max(self.at), false);
            self.anchor = (due.max(self.anchor.0), self.at);
            return None;
        }
        let rate = self.rate(reel);
        self.seen += 1;
        if next > self.at {
            self.at = next;
            if self.stops && reel.marks().binary_search_by_key(&next, |(at, _)| *at).is_ok() {
                self.running = false;
            }
        }
        if rate != self.rate(reel) || !self.running {
            self.anchor = (due.max(self.anchor.0), self.at);
        }
        if self.is_at_end(reel) || self.is_at_limit(reel) {
            self.running = false;
        }
        Some(ix)
    }

    /// Between two scenes: only time goes by.
    fn glide(&mut self, reel: &Reel, now: Moment) {
        let Some(next) = reel.time(self.seen).filter(|_| self.running) else { return };
        let (num, den) = self.rate(reel);
        let gone = i128::from(now.since(self.anchor.0).0.max(0)) * num / den;
        let at = self.anchor.1.after(Millis(i64::try_from(gone).unwrap_or(i64::MAX)));
        self.at = at.min(next).max(self.at);
    }

    /// What the viewer wants, at the viewer's `now`. After a jump the caller shows the state anew.
    pub fn go(&mut self, reel: &Reel, what: &Move, now: Moment) -> Moved {
        self.glide(reel, now);
        let moved = match what {
            Move::Pause => self.run(reel, !self.running),
            Move::Run => self.run(reel, true),
            Move::Still => self.run(reel, false),
            Move::Quicker => self.at_pace(self.pace.quicker()),
            Move::Slower => self.at_pace(self.pace.slower()),
            Move::Idle => {
                self.shortens = !self.shortens;
                Moved::Runs
            }
            Move::Stops => {
                self.stops = !self.stops;
                Moved::Runs
            }
            Move::By(by) => self.jump(reel, self.at.after(*by)),
            Move::To(at) => self.jump(reel, *at),
            Move::Begin => self.jump(reel, reel.first()),
            Move::End => self.jump(reel, reel.last()),
            Move::Cue => self.jump_to(reel, after(reel.cues(), self.at, |at| *at)),
            Move::CueBack => self.jump_to(reel, self.before(reel.cues(), |at| *at)),
            Move::Mark => self.jump_to(reel, after(reel.marks(), self.at, |(at, _)| *at)),
            Move::MarkBack => self.jump_to(reel, self.before(reel.marks(), |(at, _)| *at)),
            Move::Step(name, nth) => match self.step(reel, name, *nth) {
                Some(at) => self.jump(reel, at),
                None => Moved::NoStep(name.clone()),
            },
        };
        self.anchor = (now, self.at);
        moved
    }

    fn run(&mut self, reel: &Reel, running: bool) -> Moved {
        if running && self.is_at_limit(reel) {
            return Moved::NoMore;
        }
        if running && self.is_at_end(reel) {
            // From the last frame it begins anew: there is nothing further on.
            self.jump(reel, reel.first());
            self.running = true;
            return Moved::Jumped;
        }
        self.running = running;
        Moved::Runs
    }

    fn at_pace(&mut self, pace: Pace) -> Moved {
        self.pace = pace;
        Moved::Runs
    }

    fn jump_to(&mut self, reel: &Reel, at: Option<Moment>) -> Moved {
        at.map_or(Moved::NoMore, |at| self.jump(reel, at))
    }

    fn jump(&mut self, reel: &Reel, at: Moment) -> Moved {
        let furthest = self.limit.and_then(|ix| reel.time(ix)).unwrap_or(reel.last());
        self.at = at.max(reel.first()).min(furthest);
        let seen = reel.seen_at(self.at);
        self.seen = self.limit.map_or(seen, |limit| seen.min(limit));
        if self.is_at_end(reel) || self.is_at_limit(reel) {
            self.running = false;
        }
        Moved::Jumped
    }

    fn before<T>(&self, all: &[T], at: impl Fn(&T) -> Moment) -> Option<Moment> {
        // While time goes on the last one is skipped that was passed just now.
        let slack = if self.running { JUST_NOW } else { Millis::ZERO };
        let from = self.at.before(slack);
        let found = all.partition_point(|one| at(one) < from).checked_sub(1);
        found.and_then(|ix| all.get(ix)).map(at)
    }

    fn step(&self, reel: &Reel, name: &str, nth: Option<u32>) -> Option<Moment> {
        let mut named = reel.steps().iter().filter(|one| one.step.name == name);
        match nth {
            // Turns of a block and tries both count: the nth time that it was entered.
            Some(nth) => named.nth(usize::try_from(nth.checked_sub(1)?).ok()?).map(|one| one.at),
            None => {
                let all: Vec<Moment> = named.map(|one| one.at).collect();
                all.iter().find(|at| **at > self.at).or(all.first()).copied()
            }
        }
    }
}

fn after<T>(all: &[T], from: Moment, at: impl Fn(&T) -> Moment) -> Option<Moment> {
    all.get(all.partition_point(|one| at(one) <= from)).map(at)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paces_go_up_and_down_in_doubles() {
        let mut pace = Pace::times(3);
        let mut told = Vec::new();
        for _ in 0..6 {
            told.push(pace.to_string());
            pace = pace.slower();
        }
        assert_eq!(told, ["×3", "×1", "×1/2", "×1/4", "×1/8", "×1/8"]);
        assert_eq!(pace.quicker().to_string(), "×1/4");
        assert_eq!(Pace::times(800).quicker().to_string(), "×1000");
        assert_eq!(Pace::times(0).slower().to_string(), "×1000");
    }
}
