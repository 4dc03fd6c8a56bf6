//! The tones: takes a signal, gives its sound as samples. Pure synthesis, the same for the same rate.
//!
//! Meaning is carried by rhythm, never by pitch (IEC 60601-1-8 codes priority so; read in a summary).
//! There are four distinct signals, the most that can be told apart with certainty (MIL-STD-1472E
//! 5.3.4.3.1): *prepare*, *now*, *missed*, and the *tick*; ten and five seconds left are ticks in
//! pairs, a pair for each five. Each but the tick is longer than half a second, and its first half
//! second is like no other's (5.3.4.3.3), also where it follows closely on another. A face always shows
//! what rings (5.3.6.3).
//!
//! A pulse is a fundamental of 150 to 1000 Hz with at least four harmonics between 300 and 4000 Hz
//! that differ by less than 15 dB (IEC 60601-1-8 table 4, read in two summaries); most of it lies
//! between 500 and 3000 Hz (MIL-STD-1472E 5.3.3.1). Where there is no vehicle, or an invented one,
//! everything sounds an octave lower: rehearsal, replay and demonstration are heard as what they are.

use std::f64::consts::{PI, TAU};

use crate::clock::Millis;

/// What rings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Signal {
    /// Take something, go somewhere: words follow. Two calm pulses.
    Prepare,
    /// Act now. Five quick pulses.
    Now,
    /// Act now, and words follow: the first three of the five.
    NowBeforeWords,
    /// A window was missed, a press not taken. A long pulse and a short one.
    Missed,
    /// One stroke of a paced count.
    Tick,
    /// Ten seconds are left: two pairs of ticks.
    Ten,
    /// Five seconds are left: one pair of ticks.
    Five,
}

/// Whether the real thing is heard, or practice.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Register {
    /// A vehicle stands there.
    #[default]
    Real,
    /// Rehearsal, replay, demonstration: an octave lower.
    Practice,
}

/// One pulse of a rhythm, both in whole milliseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pulse {
    /// When it begins, from the signal's beginning.
    pub at: i64,
    /// How long it lasts, rise and fall included.
    pub lasts: i64,
}

/// How long a pulse takes to rise and to fall, in milliseconds: a ninth of a quick pulse, so that no
/// pulse clicks (common practice, no source).
const RISE: i64 = 8;
/// The highest sample as a part of full scale: 3 dB of room, so that nothing clips.
const PEAK: f64 = 0.707;

const fn pulse(at: i64, lasts: i64) -> Pulse {
    Pulse { at, lasts }
}

const PREPARE: &[Pulse] = &[pulse(0, 200), pulse(320, 200)];
const NOW: &[Pulse] =
    &[pulse(0, 70), pulse(115, 70), pulse(230, 70), pulse(345, 70), pulse(460, 70)];
const MISSED: &[Pulse] = &[pulse(0, 400), pulse(480, 100)];
const TICKS: &[Pulse] = &[pulse(0, 40), pulse(120, 40), pulse(400, 40), pulse(520, 40)];

impl Signal {
    /// Every signal.
    pub const ALL: [Signal; 7] = [
        Signal::Prepare,
        Signal::Now,
        Signal::NowBeforeWords,
        Signal::Missed,
        Signal::Tick,
        Signal::Ten,
        Signal::Five,
    ];

    /// The rhythm. Its pulses are about as long as those of medical alarms (80 to 150 ms for high, 130 to
    /// 200 ms for medium priority; data sheet of a signal chip, 2020); *now* has somewhat shorter ones,
    /// so that an echo leaves their gaps and three of them fit before a word.
    #[must_use]
    pub const fn pulses(self) -> &'static [Pulse] {
        match self {
            Signal::Prepare => PREPARE,
            Signal::Now => NOW,
            Signal::NowBeforeWords => NOW.split_at(3).0,
            Signal::Missed => MISSED,
            Signal::Tick => TICKS.split_at(1).0,
            Signal::Five => TICKS.split_at(2).0,
            Signal::Ten => TICKS,
        }
    }

    /// From its beginning to the end of its last pulse.
    #[must_use]
    pub fn length(self) -> Millis {
        Millis(self.pulses().last().map_or(0, |pulse| pulse.at + pulse.lasts))
    }

    /// A short name, for files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Signal::Prepare => "prepare",
            Signal::Now => "now",
            Signal::NowBeforeWords => "now-before-words",
            Signal::Missed => "missed",
            Signal::Tick => "tick",
            Signal::Ten => "ten",
            Signal::Five => "five",
        }
    }
}

impl Register {
    /// The fundamental in Hz, no multiple of a mains frequency, and how many harmonics there are with
    /// it: up to 2600 Hz, up to 2080 Hz.
    const fn harmonics(self) -> (f64, u32) {
        match self {
            Register::Real => (520.0, 5),
            Register::Practice => (260.0, 8),
        }
    }
}

/// The samples of a signal at `rate` samples a second, one channel, full scale ±32767.
#[must_use]
pub fn samples(signal: Signal, register: Register, rate: u32) -> Vec<i16> {
    let wave = Wave::new(register);
    let mut out = vec![0; samples_in(signal.length().0, rate)];
    for pulse in signal.pulses() {
        let (from, many) = (samples_in(pulse.at, rate), samples_in(pulse.lasts, rate));
        let rise = samples_in(RISE, rate).max(1);
        for (nth, sample) in out.iter_mut().skip(from).take(many).enumerate() {
            let edge = nth.min(many - 1 - nth);
            *sample = level(wave.at(nth, rate) * ramp(edge, rise));
        }
    }
    out
}

/// How many samples lie in so many milliseconds.
fn samples_in(ms: i64, rate: u32) -> usize {
    usize::try_from(ms * i64::from(rate) / 1000).unwrap_or(0)
}

/// From 0 to 1 over `rise` samples, half a period of a cosine.
fn ramp(edge: usize, rise: usize) -> f64 {
    if edge >= rise {
        return 1.0;
    }
    0.5 - 0.5 * (PI * float(edge) / float(rise)).cos()
}

#[expect(clippy::cast_precision_loss, reason = "a signal has far fewer than 2^52 samples")]
const fn float(n: usize) -> f64 {
    n as f64
}

/// A part of full scale as a sample.
#[expect(clippy::cast_possible_truncation, reason = "clamped to what fits")]
fn level(part: f64) -> i16 {
    (part.clamp(-1.0, 1.0) * f64::from(i16::MAX)).round() as i16
}

/// One pulse's inside: harmonics that fall off with the root of their number (7 dB over five), their
/// phases spread so that no moment stands out (M. R. Schroeder, "Synthesis of low-peak-factor signals
/// and binary sequences with low autocorrelation", IEEE Transactions on Information Theory 16, 1970;
/// formula from memory).
struct Wave {
    fundamental: f64,
    /// Strength and phase of each harmonic.
    harmonics: Vec<(f64, f64)>,
    scale: f64,
}

impl Wave {
    fn new(register: Register) -> Wave {
        let (fundamental, many) = register.harmonics();
        let harmonic = |k: u32| {
            let k = f64::from(k);
            (k.sqrt().recip(), -PI * k * (k - 1.0) / f64::from(many))
        };
        let harmonics = (1..=many).map(harmonic).collect();
        let mut wave = Wave { fundamental, harmonics, scale: 1.0 };
        // The highest point of a period, looked for in steps far finer than the highest harmonic.
        let steps = 4096;
        let points = (0..steps).map(|n| wave.turn(f64::from(n) / f64::from(steps)).abs());
        wave.scale = PEAK / points.fold(f64::MIN_POSITIVE, f64::max);
        wave
    }

    /// The wave at a part of its period, unscaled.
    fn turn(&self, part: f64) -> f64 {
        let each = (1..).zip(&self.harmonics);
        each.map(|(k, (a, phase))| a * (TAU * f64::from(k) * part + phase).sin()).sum()
    }

    fn at(&self, nth: usize, rate: u32) -> f64 {
        self.scale * self.turn(self.fundamental * float(nth) / f64::from(rate))
    }
}
