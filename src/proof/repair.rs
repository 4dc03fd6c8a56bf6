//! The least changes that would make a refused script proven: takes the refusal, gives changes of one
//! number each, every one of them checked again over all plans.
//!
//! Only numbers in the cycle can help: a window, a limit, a hold or what keeps awake may last longer;
//! hands and strokes may be quicker, silence may be decided sooner, less may be said. Whether a change
//! is true of the vehicle or the person is the author's to know.

use super::controllable::Stopped;
use super::verdict::{Refusal, Verdict, prove};
use crate::clock::{Millis, Span};
use crate::procedure::model::{Hold, Procedure, TextId};
use crate::procedure::plan::{Plan, PlanStep};
use crate::procedure::timing::{SpeechLengths, SpeechSource, What, words_length};
use crate::proof::hidden::Ground;
use crate::source::Place;
use std::collections::BTreeSet;

/// A change of one number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Repair {
    /// The sentence; for words the text.
    pub place: Place,
    /// What kind of length it is.
    pub what: What,
    /// The upper bound now.
    pub from: Millis,
    /// The upper bound that would do, rounded the safe way to a tenth of a second.
    pub to: Millis,
    /// For words: how many there are now and how many may be left, digits counted one by one. Then
    /// `from` and `to` are how long they take to say.
    pub words: Option<(u32, u32)>,
}

/// How often a change is enlarged by what is still short.
const MOST_TRIES: u32 = 12;
/// Changes are tenths of a second.
const STEP: i64 = 100;
/// Fewer words than these tell nobody what to take.
const LEAST_WORDS: i64 = 2;

/// A number that may be changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Number {
    /// Where it stands.
    place: Place,
    what: What,
    text: Option<TextId>,
    from: Millis,
}

/// The repairs, smallest change first.
#[must_use]
pub fn repairs(
    procedure: &Procedure,
    plans: &[Plan],
    speech: &SpeechLengths,
    refusal: &Refusal,
) -> Vec<Repair> {
    repairs_until(procedure, plans, speech, refusal, &|| false).unwrap_or_default()
}

/// As [`repairs`], asking `stop` now and then whether to give up.
///
/// # Errors
/// [`Stopped`] once `stop` has said so.
pub fn repairs_until(
    procedure: &Procedure,
    plans: &[Plan],
    speech: &SpeechLengths,
    refusal: &Refusal,
    stop: &dyn Fn() -> bool,
) -> Result<Vec<Repair>, Stopped> {
    let search = Search { procedure, plans, speech, stop };
    let mut found: Vec<Repair> = Vec::new();
    let mut seen = BTreeSet::new();
    for ground in &refusal.grounds {
        let number = search.number(ground);
        if let Some(number) = number.filter(|number| seen.insert((number.place, number.from))) {
            found.extend(search.least(number, refusal.short)?);
        }
    }
    found.sort_by_key(|repair| repair.to.minus(repair.from).0.abs());
    Ok(found)
}

struct Search<'a> {
    procedure: &'a Procedure,
    plans: &'a [Plan],
    speech: &'a SpeechLengths,
    stop: &'a dyn Fn() -> bool,
}

impl Search<'_> {
    /// The number behind a share of the sum, where a change of it can help.
    fn number(&self, ground: &Ground) -> Option<Number> {
        let (place, what) = (ground.place, ground.what);
        if what == What::PrepareWords {
            let mut texts = (0..).map(TextId).zip(&self.procedure.texts);
            let (text, _) = texts.find(|(_, said)| said.place == place)?;
            let from = self.speech.of(text).hi;
            return Some(Number { place, what, text: Some(text), from });
        }
        let from = self.plans.iter().find_map(|plan| stated(plan, place, what))?;
        Some(Number { place, what, text: None, from })
    }

    /// The least change of one number that is enough by itself.
    fn least(&self, number: Number, short: Millis) -> Result<Option<Repair>, Stopped> {
        let up = |ms: i64| (ms + STEP - 1).div_euclid(STEP) * STEP;
        let mut change = up(short.0);
        for _ in 0..MOST_TRIES {
            let Some((repair, plans, speech)) = self.changed(number, change) else {
                return Ok(None);
            };
            match prove(self.procedure, &plans, &speech, self.stop)? {
                Ok(_) => return Ok(Some(repair)),
                Err(Verdict::Refused(still))
                    if still.grounds.iter().any(|g| g.place == number.place) =>
                {
                    change += up(still.short.0);
                }
                Err(_) => return Ok(None),
            }
        }
        Ok(None)
    }

    /// Everything with one number changed by at least so much; `None` where it cannot be.
    fn changed(&self, number: Number, change: i64) -> Option<(Repair, Vec<Plan>, SpeechLengths)> {
        let Number { place, what, from, .. } = number;
        if let Some(text) = number.text {
            let rate = i64::from(self.procedure.operator.words_a_minute.max(1));
            let around = words_length("", 1).hi.0;
            let count = |length: i64| (length - around).max(0) * rate / 60_000;
            let (now, left) = (count(from.0), count(from.0 - change));
            let to = Millis((left * 60_000 + rate - 1) / rate + around);
            let words = Some((u32::try_from(now).ok()?, u32::try_from(left).ok()?));
            let mut speech = self.speech.clone();
            speech.measured(text, to, SpeechSource::Model);
            let repair = Repair { place, what, from, to, words };
            return (left >= LEAST_WORDS).then(|| (repair, self.plans.to_vec(), speech));
        }
        let less = matches!(what, What::Hands | What::Strokes | What::Silence);
        let to = if less {
            Millis((from.0 - change).div_euclid(STEP) * STEP)
        } else {
            Millis((from.0 + change + STEP - 1).div_euclid(STEP) * STEP)
        };
        let mut plans = self.plans.to_vec();
        for plan in &mut plans {
            set(plan, place, what, to)?;
        }
        Some((Repair { place, what, from, to, words: None }, plans, self.speech.clone()))
    }
}

/// The upper bound that a sentence states.
fn stated(plan: &Plan, place: Place, what: What) -> Option<Millis> {
    let mut steps = plan.steps.iter();
    match what {
        What::Window => steps.find_map(|step| {
            let windows = step.windows.iter().filter(|w| w.place == place);
            let count = step.count.iter().filter(|(_, count)| count.place == place);
            let count = count.filter_map(|(_, count)| count.within.or(count.each_within));
            windows.filter_map(|w| w.range.hi).chain(count).next()
        }),
        What::Limit => plan.limits.iter().find(|l| l.place == place)?.range.hi,
        What::Awake => Some(plan.awake.iter().find(|awake| awake.place == place)?.every),
        What::Hands => {
            let step = steps.find(|step| step.takes_place == place)?;
            Some(step.takes.hi).filter(|hi| *hi > step.takes.lo)
        }
        What::Strokes => steps.find_map(|step| strokes(step, place)).map(|span| span.hi),
        What::Holding => steps.find_map(|step| holds(step).find_map(|hold| most(hold, place))),
        What::Silence => {
            let silence = steps.filter_map(|step| step.silence.as_ref());
            Some(silence.into_iter().find(|silence| silence.place == place)?.within)
        }
        _ => None,
    }
}

/// How long the strokes of a count last, all or each, as one length says.
fn strokes(step: &PlanStep, place: Place) -> Option<Span> {
    let (_, count) = step.count.as_ref().filter(|(_, count)| count.place == place)?;
    count.lasting.or(count.lasting_each)
}

fn holds(step: &PlanStep) -> impl Iterator<Item = &Hold> {
    step.hold.iter().chain(&step.or_hold)
}

fn most(hold: &Hold, place: Place) -> Option<Millis> {
    match hold {
        Hold::For(range, _, at) if *at == place => range.hi,
        _ => None,
    }
}

/// Writes another upper bound into a sentence; `None` where it would lie below what it bounds.
fn set(plan: &mut Plan, place: Place, what: What, to: Millis) -> Option<()> {
    for limit in plan.limits.iter_mut().filter(|l| what == What::Limit && l.place == place) {
        limit.range.hi = Some(to);
    }
    for awake in plan.awake.iter_mut().filter(|a| what == What::Awake && a.place == place) {
        awake.every = to;
    }
    plan.steps.iter_mut().try_for_each(|step| set_in_step(step, place, what, to))
}

fn set_in_step(step: &mut PlanStep, place: Place, what: What, to: Millis) -> Option<()> {
    match what {
        What::Window => {
            let windows = step.windows.iter_mut().filter(|window| window.place == place);
            windows.for_each(|window| window.range.hi = Some(to));
            if let Some((_, count)) = step.count.as_mut().filter(|(_, c)| c.place == place) {
                let within =
                    if count.within.is_some() { &mut count.within } else { &mut count.each_within };
                *within = within.map(|_| to);
            }
        }
        What::Hands if step.takes_place == place => {
            (to >= step.takes.lo).then_some(())?;
            step.takes.hi = to;
        }
        What::Strokes => {
            if let Some((_, count)) = step.count.as_mut().filter(|(_, c)| c.place == place) {
                let lasting = count.lasting.as_mut().or(count.lasting_each.as_mut())?;
                (to >= lasting.lo).then_some(())?;
                lasting.hi = to;
            }
        }
        What::Holding => {
            for hold in step.hold.iter_mut().chain(&mut step.or_hold) {
                if let Hold::For(range, _, at) = hold
                    && *at == place
                {
                    range.hi = Some(to);
                }
            }
        }
        What::Silence => {
            // Not before the latest answer can have been seen.
            let seen = step.met.iter().map(|met| met.delay.hi.plus(met.recognise.hi)).max();
            if let Some(silence) = step.silence.as_mut().filter(|s| s.place == place) {
                (seen.is_none_or(|seen| to >= seen) && to > Millis::ZERO).then_some(())?;
                silence.within = to;
            }
        }
        _ => {}
    }
    Some(())
}
