//! What sounds when: takes tones and words as they are called for, gives samples, piece by piece. No
//! clock: time is the number of samples given so far.
//!
//! A cue is never late for another sound's sake. *Now* cuts everything; its words begin as its third
//! pulse ends. *Prepare* rings whole, and its words begin [`LEAD`] after it was called for. Words never
//! overlap words: a question replaces the one before, prompts and notices follow each other, and what is
//! only an extra (ten, five, time is up) is left out or cut where something else is said. Nothing clips:
//! what sounds together is made quieter.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use super::tones::{Register, Signal, samples};
use crate::clock::Millis;
use crate::journal::happened::{Cue, Tone};
use crate::procedure::timing::NOW_TONE;

/// From the beginning of the prepare tone to its words (the silence that the length of a prompt counts
/// with, `procedure::timing`; the tone leads the text by at most 0.5 s of silence: MIL-DTL-87268D
/// 3.3.6.1.1).
pub const LEAD: Millis = Millis(600);
/// The pause between two sentences; shorter than the silence that the length of a prompt counts with.
const PAUSE: Millis = Millis(250);
/// Words and pulses that are cut fade out this long, so that they do not click.
const FADE: Millis = Millis(5);
/// Words that are as good as over fade out over what is left of them instead: a player that takes sound in
/// lumps is behind by that much.
const NEARLY_OVER: Millis = Millis(100);
/// More sentences than this do not wait: they would be said too late to be true.
const MOST_WAITING: usize = 6;
/// A *prepare* so soon behind the third pulse of a *now* would run together with it.
const APART: Millis = Millis(350);
/// While a count is paced, its ticks are this far apart at the most; no other ticks ring between them.
const PACED: Millis = Millis(3000);

/// The sounds of one run.
#[derive(Clone, Debug)]
pub struct Mixer {
    rate: u32,
    tones: BTreeMap<Signal, Arc<[i16]>>,
    /// Samples given so far.
    now: u64,
    ringing: Vec<Ringing>,
    said: VecDeque<Said>,
    /// No words begin before this.
    words_from: u64,
    /// When the last *now* had rung its three pulses; `None` where words followed it.
    called: Option<u64>,
    fading: Vec<Fading>,
    last_tick: Option<u64>,
}

/// A tone on its way, in samples since the beginning.
#[derive(Clone, Debug)]
struct Ringing {
    signal: Signal,
    from: u64,
    until: u64,
}

/// Words, waiting or being said.
#[derive(Clone, Debug)]
struct Said {
    samples: Arc<[i16]>,
    what: What,
    /// How much of it has been given.
    given: usize,
}

/// Words that were cut, or a tone.
#[derive(Clone, Debug)]
struct Fading {
    samples: Arc<[i16]>,
    given: usize,
    left: usize,
    over: usize,
}

/// How words stand to other words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum What {
    /// Said before any question: that this is no real run.
    Sign,
    /// A question, or what was asked for again: over once something else is to be done.
    Asked,
    /// A prompt, a caution, a notice.
    Prompt,
    /// Given up for anything else.
    Extra,
}

impl Mixer {
    /// Silence, at so many samples a second.
    #[must_use]
    pub fn new(register: Register, rate: u32) -> Mixer {
        let tones = Signal::ALL.map(|signal| (signal, samples(signal, register, rate).into()));
        Mixer {
            rate,
            tones: tones.into(),
            now: 0,
            ringing: Vec::new(),
            said: VecDeque::new(),
            words_from: 0,
            called: None,
            fading: Vec::new(),
            last_tick: None,
        }
    }

    /// Samples a second.
    #[must_use]
    pub fn rate(&self) -> u32 {
        self.rate
    }

    /// Says what this is, before everything else.
    pub fn sign(&mut self, words: Arc<[i16]>) {
        self.said.push_back(Said { samples: words, what: What::Sign, given: 0 });
    }

    /// Rings. The words for ten and five seconds, where there are any, take the place of ticks.
    pub fn ring(&mut self, tone: Tone, words: Option<Arc<[i16]>>) {
        match tone {
            Tone::Now | Tone::LetGo => {
                self.ringing.clear();
                self.hush(|_| true);
                self.start(Signal::Now, self.now);
                self.words_from = self.now + self.samples_in(NOW_TONE);
                self.called = Some(self.words_from);
            }
            Tone::Prepare => {
                self.hush(|what| what != What::Prompt);
                let missed = self.ringing.iter().find(|r| r.signal == Signal::Missed);
                let from = match missed.map(|missed| missed.from) {
                    // It has called for attention already, and is as long.
                    Some(from) => from,
                    None => self.prepare(),
                };
                self.words_from = self.words_from.max(from + self.samples_in(LEAD));
            }
            Tone::Missed => {
                self.ringing.retain(|ringing| ringing.signal == Signal::Now);
                let from = self.after_now();
                self.start(Signal::Missed, from);
                self.words_from = self.words_from.max(from + self.samples_in(LEAD));
            }
            Tone::Tick => {
                self.last_tick = Some(self.now);
                self.start(Signal::Tick, self.now);
            }
            Tone::TenLeft => self.left(Signal::Ten, words),
            Tone::FiveLeft => self.left(Signal::Five, words),
        }
    }

    /// Says that a window was missed, behind the tone, where nothing else is to be said.
    pub fn time_is_up(&mut self, words: Arc<[i16]>) {
        self.extra(words);
    }

    /// Says words for a cue.
    pub fn say(&mut self, cue: Cue, words: Arc<[i16]>) {
        match cue {
            Cue::Now => {
                self.hush(|_| true);
                self.called = None;
                let lead = self.samples_in(NOW_TONE);
                for ringing in self.ringing.iter_mut().filter(|r| r.signal == Signal::Now) {
                    ringing.until = ringing.until.min(ringing.from + lead).max(self.now);
                }
            }
            Cue::Question | Cue::Caution | Cue::Again => self.hush(|what| what != What::Sign),
            Cue::Prepare => self.hush(|what| what != What::Prompt),
            Cue::Notice => self.hush(|what| what == What::Extra),
        }
        let asked = matches!(cue, Cue::Question | Cue::Again);
        let what = if asked { What::Asked } else { What::Prompt };
        if self.said.len() < MOST_WAITING {
            self.said.push_back(Said { samples: words, what, given: 0 });
        }
    }

    /// Whether nothing sounds and nothing waits.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.said.is_empty() && self.ringing.is_empty() && self.fading.is_empty()
    }

    /// The next `many` samples.
    pub fn next(&mut self, many: usize) -> Vec<i16> {
        (0..many).map(|_| self.sample()).collect()
    }

    /// Everything from here to the silence.
    #[must_use]
    pub fn rest(&self) -> Vec<i16> {
        let mut copy = self.clone();
        let mut rest = Vec::new();
        while !copy.is_silent() {
            rest.push(copy.sample());
        }
        rest
    }

    fn samples_in(&self, length: Millis) -> u64 {
        (length.0 * i64::from(self.rate) / 1000).unsigned_abs()
    }

    fn start(&mut self, signal: Signal, from: u64) {
        let many = self.tones.get(&signal).map_or(0, |tone| tone.len() as u64);
        self.ringing.retain(|ringing| ringing.signal != signal);
        self.ringing.push(Ringing { signal, from, until: from + many });
    }

    /// Rings *prepare*; gives from when on its words are counted.
    fn prepare(&mut self) -> u64 {
        let from = self.after_now();
        let apart = self.samples_in(APART);
        match self.called.filter(|called| from < called + apart) {
            // Its whole rhythm ends where its words begin, which are not later for it. The quiet before
            // it is nearly twice that between the pulses of *now*, and its first pulse alone is longer
            // than two of those: behind three quick ones come two calm ones.
            Some(_) => {
                let quiet = LEAD.minus(Signal::Prepare.length());
                self.start(Signal::Prepare, from + self.samples_in(quiet));
            }
            None => self.start(Signal::Prepare, from),
        }
        from
    }

    /// Now, or as soon as the now tone can be taken for nothing else; it ends there.
    fn after_now(&mut self) -> u64 {
        let lead = self.samples_in(NOW_TONE);
        let now = self.now;
        let fade = usize::try_from(self.samples_in(FADE)).unwrap_or(0).max(1);
        let mut from = now;
        for ringing in self.ringing.iter_mut().filter(|r| r.signal == Signal::Now) {
            let cut = (ringing.from + lead).max(now);
            if cut == now
                && ringing.until > now
                && let Some(samples) = self.tones.get(&ringing.signal).map(Arc::clone)
            {
                // It may be in the midst of a pulse.
                let given = usize::try_from(now - ringing.from).unwrap_or(0);
                self.fading.push(Fading { samples, given, left: fade, over: fade });
            }
            ringing.until = ringing.until.min(cut);
            from = from.max(ringing.until);
        }
        from
    }

    /// Ticks in pairs, or words in their place, where they can be taken for nothing else.
    fn left(&mut self, signal: Signal, words: Option<Arc<[i16]>>) {
        let paced = self.samples_in(PACED);
        let counts = self.last_tick.is_some_and(|last| last + paced > self.now);
        match words {
            Some(words) if self.said.is_empty() => self.extra(words),
            _ if counts || !self.ringing.is_empty() => {}
            _ => self.start(signal, self.now),
        }
    }

    fn extra(&mut self, words: Arc<[i16]>) {
        if self.said.is_empty() {
            self.said.push_back(Said { samples: words, what: What::Extra, given: 0 });
        }
    }

    /// Gives up words of these kinds; what is being said fades out.
    fn hush(&mut self, which: impl Fn(What) -> bool) {
        let many = |length| usize::try_from(self.samples_in(length)).unwrap_or(0);
        let (fade, nearly) = (many(FADE).max(1), many(NEARLY_OVER));
        if let Some(first) = self.said.front().filter(|first| which(first.what) && first.given > 0)
        {
            let rest = first.samples.len() - first.given;
            let over = if rest <= nearly { rest } else { fade };
            let samples = Arc::clone(&first.samples);
            self.fading.push(Fading { samples, given: first.given, left: over, over });
        }
        self.said.retain(|said| !which(said.what));
    }

    fn sample(&mut self) -> i16 {
        let at = self.now;
        self.now += 1;
        let (mut sum, mut many) = (0_i64, 0_i64);
        for Ringing { signal, from, until } in &self.ringing {
            if (*from..*until).contains(&at) {
                let tone = self.tones.get(signal).and_then(|tone| nth(tone, at - from));
                sum += i64::from(tone.unwrap_or(0));
                many += 1;
            }
        }
        self.ringing.retain(|ringing| ringing.until > at + 1);
        if let Some(word) = self.word(at) {
            sum += i64::from(word);
            many += 1;
        }
        for Fading { samples, given, left, over } in &mut self.fading {
            let [part, whole] = [*left, *over].map(|n| i64::try_from(n).unwrap_or(1).max(1));
            sum += samples.get(*given).map_or(0, |s| i64::from(*s)) * part / whole;
            many += 1;
            (*given, *left) = (*given + 1, left.saturating_sub(1));
        }
        self.fading.retain(|fading| fading.left > 0);
        i16::try_from(sum / many.max(1)).unwrap_or(0)
    }

    /// The next sample of what is being said, if anything is.
    fn word(&mut self, at: u64) -> Option<i16> {
        let first = self.said.front_mut()?;
        if first.given == 0 && at < self.words_from {
            return None;
        }
        let word = first.samples.get(first.given).copied();
        first.given += 1;
        if first.given >= first.samples.len() {
            self.said.pop_front();
            self.words_from = self.words_from.max(at + 1 + self.samples_in(PAUSE));
        }
        word
    }
}

fn nth(tone: &[i16], at: u64) -> Option<i16> {
    tone.get(usize::try_from(at).ok()?).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    const RATE: u32 = 8_000;

    fn mixer() -> Mixer {
        Mixer::new(Register::Real, RATE)
    }

    /// Words that are a constant, told apart from tones by never changing their sign.
    fn words(level: i16, ms: i64) -> Arc<[i16]> {
        vec![level; usize::try_from(ms * 8).unwrap()].into()
    }

    fn ms(n: i64) -> usize {
        usize::try_from(n * 8).unwrap()
    }

    /// From when to when this level sounds alone, in ms.
    fn when(sound: &[i16], level: i16) -> Option<(usize, usize)> {
        let first = sound.iter().position(|s| *s == level)?;
        let last = sound.iter().rposition(|s| *s == level)?;
        Some((first / 8, (last + 1) / 8))
    }

    #[test]
    fn a_prompt_follows_its_tone() {
        let mut mixer = mixer();
        mixer.ring(Tone::Prepare, None);
        mixer.say(Cue::Prepare, words(4000, 900));
        let sound = mixer.next(ms(2000));
        assert_eq!(when(&sound, 4000), Some((600, 1500)));
        assert!(mixer.is_silent());
    }

    #[test]
    fn now_cuts_what_is_said_and_its_word_follows_the_third_pulse() {
        let mut mixer = mixer();
        mixer.say(Cue::Prepare, words(4000, 5000));
        mixer.next(ms(1000));
        mixer.ring(Tone::Now, None);
        mixer.say(Cue::Now, words(9000, 400));
        let sound = mixer.next(ms(1000));
        assert_eq!(when(&sound, 9000), Some((300, 700)));
        assert_eq!(when(&sound[ms(6)..], 4000), None);
        let alone = samples(Signal::NowBeforeWords, Register::Real, RATE);
        assert_eq!(sound[ms(6)..ms(300)], alone[ms(6)..ms(300)]);
    }

    #[test]
    fn now_without_words_rings_to_its_end() {
        let mut mixer = mixer();
        mixer.ring(Tone::Now, None);
        let whole = samples(Signal::Now, Register::Real, RATE);
        assert_eq!(mixer.next(whole.len()), whole);
        assert!(mixer.is_silent());
    }

    #[test]
    fn a_question_replaces_a_question_and_prompts_wait_for_each_other() {
        let mut mixer = mixer();
        mixer.say(Cue::Question, words(1000, 500));
        mixer.next(ms(100));
        mixer.say(Cue::Question, words(2000, 500));
        mixer.say(Cue::Notice, words(3000, 100));
        let sound = mixer.next(ms(1500));
        assert_eq!(when(&sound, 2000), Some((5, 500)));
        assert_eq!(when(&sound, 1000), None, "it fades from where it was cut");
        assert_eq!(when(&sound, 3000).unwrap().0, when(&sound, 2000).unwrap().1 + 250);
    }

    /// The tone for something missed takes the place of the prepare tone: what follows is not later.
    #[test]
    fn a_prompt_after_a_missed_window_is_not_late() {
        let mut mixer = mixer();
        mixer.ring(Tone::Missed, None);
        mixer.time_is_up(words(7000, 800));
        mixer.ring(Tone::Prepare, None);
        mixer.say(Cue::Prepare, words(4000, 300));
        let sound = mixer.next(ms(2000));
        assert_eq!(when(&sound, 4000), Some((600, 900)));
        assert_eq!(when(&sound, 7000), None);
        let missed = samples(Signal::Missed, Register::Real, RATE);
        assert_eq!(sound[..missed.len()], missed[..]);
    }

    /// Wherever it comes, all of its two calm pulses sound (at least half a second: MIL-STD-1472E
    /// 5.3.4.3.3, 5.3.6.5), apart from the quick ones before them, and its words are not later.
    #[test]
    fn a_prompt_directly_behind_a_now_is_kept_apart_from_it() {
        let calm = samples(Signal::Prepare, Register::Real, RATE);
        assert!(calm.len() >= ms(500));
        let fresh = mixer();
        for after in (300..900).step_by(10) {
            let mut mixer = fresh.clone();
            mixer.ring(Tone::Now, None);
            mixer.next(ms(after));
            mixer.ring(Tone::Prepare, None);
            mixer.say(Cue::Prepare, words(4000, 300));
            let sound = mixer.next(ms(1000));
            assert_eq!(when(&sound, 4000), Some((600, 900)), "{after} ms after the cue");
            let near = after < 650;
            let quiet = if near { ms(80) } else { 0 };
            let cut = ms(5).min(quiet);
            assert_eq!(sound[cut..quiet], vec![0; quiet - cut], "{after} ms after the cue");
            let edge = |n: usize| i32::from(sound[n]).abs();
            assert!(!near || edge(cut - 1) < 3500, "no click, {after} ms after the cue");
            assert_eq!(sound[quiet..][..calm.len()], calm[..], "{after} ms after the cue");
        }
    }

    /// Called for while the three pulses of *now* still sound, it waits for them.
    #[test]
    fn a_prompt_in_the_midst_of_a_now_waits_for_its_third_pulse() {
        let mut mixer = mixer();
        mixer.ring(Tone::Now, None);
        mixer.next(ms(100));
        mixer.ring(Tone::Prepare, None);
        let sound = mixer.next(ms(1000));
        let (now, calm) = (Signal::NowBeforeWords, Signal::Prepare);
        let [now, calm] = [now, calm].map(|signal| samples(signal, Register::Real, RATE));
        assert_eq!(sound[..ms(200)], now[ms(100)..]);
        assert_eq!(sound[ms(200)..ms(280)], vec![0; ms(80)]);
        assert_eq!(sound[ms(280)..][..calm.len()], calm[..]);
    }

    #[test]
    fn time_is_up_is_said_where_nothing_else_is() {
        let mut mixer = mixer();
        mixer.ring(Tone::Missed, None);
        mixer.time_is_up(words(7000, 800));
        assert_eq!(when(&mixer.next(ms(2000)), 7000), Some((600, 1400)));
    }

    #[test]
    fn seconds_left_are_words_ticks_or_nothing() {
        let five = samples(Signal::Five, Register::Real, RATE);
        let mut spoken = mixer();
        spoken.ring(Tone::FiveLeft, Some(words(5000, 300)));
        assert_eq!(when(&spoken.next(ms(500)), 5000), Some((0, 300)));
        let mut ticks = mixer();
        ticks.ring(Tone::FiveLeft, None);
        assert_eq!(ticks.next(five.len()), five);
        let mut busy = mixer();
        busy.say(Cue::Prepare, words(4000, 900));
        busy.next(ms(10));
        busy.ring(Tone::FiveLeft, Some(words(5000, 300)));
        let sound = busy.next(ms(1000));
        assert_eq!(when(&sound, 5000), None, "a prompt is not cut for it");
        assert_ne!(sound[..five.len()], vec![4000; five.len()], "but it is heard");
        let mut paced = mixer();
        paced.ring(Tone::Tick, None);
        paced.next(ms(500));
        paced.ring(Tone::FiveLeft, None);
        assert_eq!(paced.next(ms(500)), vec![0; ms(500)], "no tick between the strokes");
    }

    #[test]
    fn the_sign_is_said_to_its_end_before_the_first_question() {
        let mut mixer = mixer();
        mixer.sign(words(6000, 700));
        mixer.say(Cue::Question, words(1000, 100));
        mixer.next(ms(50));
        mixer.say(Cue::Question, words(2000, 100));
        let sound = mixer.next(ms(2000));
        assert_eq!(when(&sound, 6000), Some((0, 650)));
        assert_eq!(when(&sound, 1000), None);
        assert_eq!(when(&sound, 2000), Some((900, 1000)));
    }

    #[test]
    fn the_rest_is_what_would_still_sound() {
        let mut mixer = mixer();
        mixer.ring(Tone::Prepare, None);
        mixer.say(Cue::Prepare, words(4000, 300));
        mixer.next(ms(100));
        let rest = mixer.rest();
        assert_eq!(rest.len(), ms(800));
        assert_eq!(rest, mixer.next(rest.len()));
    }
}
