//! The run's clock: takes deadlines and a channel, gives moments, wakes and what befell the clock.
//!
//! On Linux the run's time is `CLOCK_BOOTTIME`, which goes on while the computer sleeps (the
//! standard library's `Instant` stands still then). It is read after every wake, no single wait is
//! longer than [`LONGEST_WAIT`], and a wake never comes early: a moment is rounded down to whole
//! milliseconds, so a deadline that reads as reached is reached.

use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::time::{Duration, SystemTime};

use crate::clock::{Millis, Moment};

/// No single wait is longer, so that a sleep of the computer is noticed soon after it.
pub const LONGEST_WAIT: Millis = Millis(200);
/// A gap is told of from here on: the computer slept, the program stood still, the wall clock was set.
pub const GAP: Millis = Millis(250);
/// A slowly steered wall clock may drift by this part of the time that went by (the kernel steers
/// by at most 500 parts in a million, `adjtimex(2)`), which is no step.
const STEERED: i64 = 1000;

/// All clocks at one moment, in nanoseconds since beginnings of their own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reading {
    /// Goes on while the computer sleeps.
    pub boot: i64,
    /// Stands still while the computer sleeps.
    pub mono: i64,
    /// The wall clock.
    pub wall: i64,
}

/// Something that befell the clock or the program between two readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Gap {
    /// The computer slept this long; the run's time went on.
    Slept(Millis),
    /// The program did not run for this long, stopped or starved; the run's time went on.
    Stopped(Millis),
    /// The wall clock was set by this much, back where negative; the run's time is untouched.
    WallStepped(Millis),
}

/// Why a wait ended.
#[derive(Debug, PartialEq, Eq)]
pub enum Wake<T> {
    /// The deadline is reached.
    Due,
    /// Something came through the channel.
    Got(T),
    /// Nobody is left who could send. A caller who wants to wait on keeps a sender of its own.
    Closed,
    /// Nothing but the gaps that go with it, told of as soon as they are noticed.
    Gap,
}

/// A wake with the moment at which it was read and what was noticed on the way.
#[derive(Debug, PartialEq, Eq)]
pub struct Woken<T> {
    /// Why the wait ended.
    pub why: Wake<T>,
    /// The moment of the wake. Never before the deadline where it is due.
    pub at: Moment,
    /// What befell the clock since the last wake; to be dealt with before `why`.
    pub gaps: Vec<Gap>,
}

/// Where a clock began: enough to read its time anywhere else.
#[derive(Clone, Copy, Debug)]
pub struct Beginning(i64);

impl Beginning {
    /// A clock that begins now.
    #[must_use]
    pub fn now() -> Beginning {
        Beginning(read().boot)
    }

    /// Microseconds since then.
    #[must_use]
    pub fn micros(self) -> i64 {
        (read().boot - self.0).div_euclid(1000)
    }
}

/// The run's clock. Its beginning is [`Moment::START`].
#[derive(Debug)]
pub struct RunClock {
    start: i64,
    last: Reading,
    pace: Pace,
}

/// How fast a run's clock goes, in thousandths of the true pace; never faster than that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pace(u16);

impl Pace {
    /// As fast as the world.
    pub const TRUE: Pace = Pace(1000);
    /// A tenth of it; slower is of no use to anybody.
    pub const SLOWEST: u16 = 100;

    /// So many thousandths of the true pace; `None` outside a tenth to all of it.
    #[must_use]
    pub fn new(thousandths: u16) -> Option<Pace> {
        (Pace::SLOWEST..=1000).contains(&thousandths).then_some(Pace(thousandths))
    }

    /// In thousandths.
    #[must_use]
    pub const fn thousandths(self) -> u16 {
        self.0
    }

    /// A length of the world on the run's clock, rounded down.
    fn run(self, length: i64) -> i64 {
        let own = (i128::from(length) * i128::from(self.0)).div_euclid(1000);
        i64::try_from(own).unwrap_or(i64::MAX)
    }

    /// How long the world takes for a length of the run's clock, rounded up: never early.
    fn world(self, length: i64) -> i64 {
        let (long, own) = (i128::from(length) * 1000, i128::from(self.0));
        i64::try_from((long + own - 1).div_euclid(own)).unwrap_or(i64::MAX)
    }
}

impl RunClock {
    /// A clock that starts now.
    #[must_use]
    pub fn start() -> RunClock {
        RunClock::at(Pace::TRUE)
    }

    /// A clock that starts now and goes at this pace.
    #[must_use]
    pub fn at(pace: Pace) -> RunClock {
        let now = read();
        RunClock { start: now.boot, last: now, pace }
    }

    /// The moment now, rounded down to the millisecond.
    #[must_use]
    pub fn now(&self) -> Moment {
        self.moment(read().boot)
    }

    /// The run's moment at an instant of the clock below, rounded down.
    fn moment(&self, boot: i64) -> Moment {
        Moment(self.pace.run(boot - self.start).div_euclid(1_000_000))
    }

    /// Where it began.
    #[must_use]
    pub fn beginning(&self) -> Beginning {
        Beginning(self.start)
    }

    /// Where a moment lies on the clock below this one, in nanoseconds of [`Reading::boot`].
    #[must_use]
    pub fn instant_of(&self, moment: Moment) -> i64 {
        self.start.saturating_add(self.pace.world(moment.0.saturating_mul(1_000_000)))
    }

    /// Waits for the deadline or for the channel, whichever comes first. A deadline that is
    /// reached comes before a message that waits, so that no flood of messages delays a cue. A
    /// pause between two calls that is longer than [`GAP`] counts as [`Gap::Stopped`].
    pub fn wait_until<T>(&mut self, deadline: Moment, from: &Receiver<T>) -> Woken<T> {
        let due = self.instant_of(deadline);
        let mut gaps = self.look(0);
        loop {
            let left = due.saturating_sub(self.last.boot);
            let why = if left <= 0 {
                Wake::Due
            } else if !gaps.is_empty() {
                Wake::Gap
            } else {
                let wait = left.min(LONGEST_WAIT.0 * 1_000_000);
                let answer = from.recv_timeout(Duration::from_nanos(wait.unsigned_abs()));
                gaps = self.look(wait);
                match answer {
                    Ok(got) => Wake::Got(got),
                    Err(RecvTimeoutError::Disconnected) => Wake::Closed,
                    Err(RecvTimeoutError::Timeout) => continue,
                }
            };
            let at = self.moment(self.last.boot);
            return Woken { why, at, gaps };
        }
    }

    /// Reads the clocks after a wait of at most `asked` nanoseconds.
    fn look(&mut self, asked: i64) -> Vec<Gap> {
        let now = read();
        let gaps = gaps_between(self.last, now, asked);
        self.last = now;
        let own = |length: Millis| Millis(self.pace.run(length.0));
        let gaps = gaps.into_iter().map(|gap| match gap {
            Gap::Slept(length) => Gap::Slept(own(length)),
            Gap::Stopped(length) => Gap::Stopped(own(length)),
            stepped @ Gap::WallStepped(_) => stepped,
        });
        gaps.collect()
    }
}

/// What befell the clocks between two readings, where at most `asked` nanoseconds of waiting were
/// meant.
#[must_use]
pub fn gaps_between(before: Reading, now: Reading, asked: i64) -> Vec<Gap> {
    let (boot, mono) = (now.boot - before.boot, now.mono - before.mono);
    let wall = now.wall - before.wall;
    let mut gaps = Vec::new();
    let mut note = |nanos: i64, slack: i64, gap: fn(Millis) -> Gap| {
        if nanos.saturating_abs() > GAP.0 * 1_000_000 + slack {
            gaps.push(gap(Millis(nanos / 1_000_000)));
        }
    };
    note(boot.saturating_sub(mono).max(0), 0, Gap::Slept);
    note(mono.saturating_sub(asked).max(0), 0, Gap::Stopped);
    note(wall.saturating_sub(boot), boot / STEERED, Gap::WallStepped);
    gaps
}

/// Reads all clocks as nearly at once as can be: a stop between two of them would look like a sleep.
#[must_use]
pub fn read() -> Reading {
    let mut tries = 0;
    loop {
        let reading = read_once();
        tries += 1;
        if read_once().mono - reading.mono < 1_000_000 || tries == 5 {
            return reading;
        }
    }
}

#[cfg(target_os = "linux")]
fn read_once() -> Reading {
    use rustix::time::{ClockId, clock_gettime};
    let nanos = |id| {
        let time = clock_gettime(id);
        time.tv_sec.saturating_mul(1_000_000_000).saturating_add(time.tv_nsec)
    };
    Reading {
        boot: nanos(ClockId::Boottime),
        mono: nanos(ClockId::Monotonic),
        wall: nanos(ClockId::Realtime),
    }
}

/// Elsewhere there is one clock that may stand still while the computer sleeps; a sleep then shows
/// only as a step of the wall clock.
#[cfg(not(target_os = "linux"))]
fn read_once() -> Reading {
    use std::sync::OnceLock;
    use std::time::Instant;
    static FIRST: OnceLock<Instant> = OnceLock::new();
    let nanos = |length: Duration| i64::try_from(length.as_nanos()).unwrap_or(i64::MAX);
    let mono = nanos(FIRST.get_or_init(Instant::now).elapsed());
    let wall = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).map_or(0, nanos);
    Reading { boot: mono, mono, wall }
}

/// A number that is another one each time: the wall clock's smallest digits.
#[must_use]
pub fn any_number() -> u64 {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    u64::from(since.subsec_micros())
}

/// The wall-clock time now as RFC 3339 in UTC, in whole seconds: a label, never a time to count with.
#[must_use]
pub fn wall_label() -> String {
    humantime::format_rfc3339_seconds(SystemTime::now()).to_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS: i64 = 1_000_000;
    const BEFORE: Reading = Reading { boot: 5_000 * MS, mono: 4_000 * MS, wall: 9_000_000 * MS };

    fn later(boot: i64, mono: i64, wall: i64) -> Reading {
        let Reading { boot: b, mono: m, wall: w } = BEFORE;
        Reading { boot: b + boot * MS, mono: m + mono * MS, wall: w + wall * MS }
    }

    #[track_caller]
    fn check(now: Reading, asked_ms: i64, gaps: &[Gap]) {
        assert_eq!(gaps_between(BEFORE, now, asked_ms * MS), gaps);
    }

    #[test]
    fn a_slower_clock_is_never_early_and_never_wraps() {
        for thousandths in [100, 333, 500, 999, 1000] {
            let pace = Pace::new(thousandths).expect("inside the bounds");
            for length in [0, 1, 999, 123_456_789, i64::MAX / 1_000_000] {
                let world = pace.world(length);
                assert!(pace.run(world) >= length, "{thousandths}: {length}");
                assert!(pace.run(world - 1) < length || length == 0, "{thousandths}: {length}");
            }
        }
        assert_eq!((Pace::new(99), Pace::new(1001)), (None, None));
        assert_eq!(Pace::new(1000), Some(Pace::TRUE));
    }

    #[test]
    fn an_ordinary_wait_is_no_gap() {
        check(later(200, 200, 200), 200, &[]);
        check(later(450, 450, 450), 200, &[]);
        check(later(3, 3, 3), 200, &[]);
    }

    #[test]
    fn a_sleeping_computer_a_stopped_program_and_a_set_clock_are_told_apart() {
        check(later(600_200, 200, 600_200), 200, &[Gap::Slept(Millis(600_000))]);
        check(later(3_200, 3_200, 3_200), 200, &[Gap::Stopped(Millis(3_000))]);
        check(later(200, 200, 200 - 7_200_000), 200, &[Gap::WallStepped(Millis(-7_200_000))]);
        check(later(200, 200, 7_200_200), 200, &[Gap::WallStepped(Millis(7_200_000))]);
    }

    /// A wall clock steered at 500 parts in a million for an hour drifts by 1.8 s.
    #[test]
    fn a_steered_wall_clock_is_not_a_set_one() {
        check(later(3_600_000, 200, 3_601_800), 200, &[Gap::Slept(Millis(3_599_800))]);
    }

    #[test]
    fn slept_and_stopped_can_come_together() {
        let gaps = [Gap::Slept(Millis(10_000)), Gap::Stopped(Millis(1_000))];
        check(later(11_200, 1_200, 11_200), 200, &gaps);
    }
}
