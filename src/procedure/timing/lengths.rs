//! How long things last that belong to one step: words, hands, strokes, reports.
//!
//! Takes a procedure's profiles and texts; gives spans. Speech is bounded from above by a model
//! until something measured says better.

use super::{SpeechLengths, SpeechSource, Spoken};
use crate::clock::{Millis, Span};
use crate::procedure::model::{CUE_JITTER, HowMany, Node, Procedure, TextId};
use crate::procedure::plan::{Next, Plan, PlanStep, StepIx, person};
use std::collections::BTreeMap;

/// The tone that leads the now words (at most 0.5 s before the text: MIL-DTL-87268D 3.3.6.1.1).
pub const NOW_TONE: Millis = Millis(300);
/// Added to the words of a prompt: the silence around a synthesised sentence (measured: 0.15 s to
/// 0.55 s at its end).
const AROUND_WORDS: Millis = Millis(600);

/// Reaction, walking and hands, up to what the vehicle feels. A step that goes straight on is not
/// reacted to. Its least counts from `called`, its most from `heard`.
#[must_use]
pub fn hands(procedure: &Procedure, step: &PlanStep) -> Span {
    let act = step.walk.then(step.takes);
    if step.straight_on { act } else { person(procedure, step.by).reacts.then(act) }
}

/// From the first stroke to the last; zero for a single act, and for a count that ends with the
/// answer (it is done when it begins).
#[must_use]
pub fn strokes(step: &PlanStep) -> Span {
    let Some((many, count)) = &step.count else { return Span::ZERO };
    let gaps = i64::from(many.saturating_sub(1));
    let each = |span: Span| Span::new(span.lo.times(gaps), span.hi.times(gaps));
    if count.how_many == HowMany::UntilAnswered {
        return Span::ZERO;
    }
    let own = count.lasting.or(count.lasting_each.map(each)).or(count.every.map(each));
    own.or(count.within.map(|hi| Span::new(Millis::ZERO, hi))).unwrap_or(Span::ZERO)
}

/// From an event to its report at the guide. What a helper sees is called out and then pressed by
/// the operator: both delays add.
#[must_use]
pub fn report_delay(procedure: &Procedure, step: &PlanStep) -> Span {
    let operator = procedure.operator.reports;
    step.by.map_or(operator, |_| person(procedure, step.by).reports.then(operator))
}

/// The now cue from its beginning to its end: tone, words, jitter.
#[must_use]
pub fn now_words(speech: &SpeechLengths, step: &PlanStep) -> Span {
    let words = step.say.map_or(Span::ZERO, |text| speech.of(text));
    words.then(Span::new(Millis::ZERO, NOW_TONE.plus(speech.jitter())))
}

/// What is said before the cue of a step, in order: its prepare text, and those of the steps that go
/// straight on from it. Where the author gave the first a prepare text of its own, only those that have
/// one too are added: the first may announce the whole run by itself.
#[must_use]
pub fn announced(plan: &Plan, at: StepIx) -> Vec<TextId> {
    let first = plan.step(at);
    let mut texts = vec![first.prepare];
    let mut step = at;
    while let Next::Step(next) = plan.step(step).go_on {
        let follows = plan.step(next);
        if next <= step || !follows.straight_on {
            break;
        }
        if first.prepare == first.text || follows.prepare != follows.text {
            texts.push(follows.prepare);
        }
        step = next;
    }
    texts
}

/// How long it takes to say what is said before the cue of a step.
#[must_use]
pub fn prompt(plan: &Plan, speech: &SpeechLengths, at: StepIx) -> Span {
    announced(plan, at).into_iter().fold(Span::ZERO, |all, text| all.then(speech.of(text)))
}

impl SpeechLengths {
    /// The length of a text; nothing where nothing is spoken.
    #[must_use]
    pub fn of(&self, text: TextId) -> Span {
        self.texts.get(text.0 as usize).map_or(Span::ZERO, |spoken| spoken.span)
    }

    /// How late a cue may be heard, at most.
    #[must_use]
    pub fn jitter(&self) -> Millis {
        CUE_JITTER.plus(self.lag)
    }

    /// A text was rendered or recorded and takes at most this long, the silence after it included
    /// (round up, never down). It takes the place of the model and of what the script states, longer
    /// or shorter. A text that the procedure does not have is left out.
    pub fn measured(&mut self, text: TextId, longest: Millis, source: SpeechSource) {
        if let Some(spoken) = self.texts.get_mut(text.0 as usize) {
            let span = Span::new(Millis::ZERO, longest.max(Millis::ZERO).min(Millis::LONGEST));
            *spoken = Spoken { span, source };
        }
    }

    /// Every text with its length and where that comes from, in the order of the table of texts.
    pub fn iter(&self) -> impl Iterator<Item = (TextId, Spoken)> + '_ {
        (0..).map(TextId).zip(self.texts.iter().copied())
    }

    /// Where the lengths come from, each source once, with how many texts are from it.
    #[must_use]
    pub fn sources(&self) -> BTreeMap<SpeechSource, usize> {
        let mut all = BTreeMap::new();
        self.texts.iter().for_each(|spoken| *all.entry(spoken.source).or_insert(0) += 1);
        all
    }
}

/// Bounds on every text of a procedure by the model: no less than nothing, no more than its words
/// at the operator's rate and the silence around them. A stated `lasting` wins.
#[must_use]
pub fn speech_lengths(procedure: &Procedure) -> SpeechLengths {
    let rate = procedure.operator.words_a_minute;
    let by_model =
        |text: &str| Spoken { span: words_length(text, rate), source: SpeechSource::Model };
    let mut texts: Vec<Spoken> = procedure.texts.iter().map(|said| by_model(&said.text)).collect();
    let bodies = procedure.ways.iter().map(|way| &way.body).chain([&procedure.body]);
    bodies.for_each(|body| stated(body, &mut texts));
    SpeechLengths { texts, voice: None, lag: Millis::ZERO }
}

/// The model for one text at `rate` words a minute. Digits are spoken one by one.
#[must_use]
pub fn words_length(text: &str, rate: u32) -> Span {
    let words = text.split(|c: char| c.is_whitespace() || c == '-').filter(|word| !word.is_empty());
    let count: usize =
        words.map(|word| word.chars().filter(char::is_ascii_digit).count().max(1)).sum();
    let words = i64::try_from(count).unwrap_or(i64::MAX).saturating_mul(60_000);
    let spoken = Millis(words.saturating_add(i64::from(rate.max(1)) - 1) / i64::from(rate.max(1)));
    Span::new(Millis::ZERO, spoken.plus(AROUND_WORDS))
}

fn stated(nodes: &[Node], texts: &mut [Spoken]) {
    for node in nodes {
        match node {
            Node::Step(step) => {
                if let (Some(say), Some(lasting)) = (step.say, step.say_lasting)
                    && let Some(spoken) = texts.get_mut(say.0 as usize)
                {
                    *spoken = Spoken { span: lasting, source: SpeechSource::Stated };
                }
            }
            Node::Each { body, .. }
            | Node::Repeat { body, .. }
            | Node::OnlyIf { body, .. }
            | Node::Phase { body, .. }
            | Node::Part { body, .. } => stated(body, texts),
            Node::NoWayBack { .. } | Node::Finish(..) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::model::Said;
    use crate::source::Place;

    #[test]
    fn eleven_words_at_110_a_minute_take_six_seconds_and_the_silence_around() {
        let text = "Hold the next new key to the start button right now";
        assert_eq!(words_length(text, 110).hi, Millis(6600));
        assert_eq!(words_length("", 110).hi, Millis(600));
        assert_eq!(words_length("Slot 42, push-start", 60).hi, Millis(5600));
    }

    #[test]
    fn what_was_heard_takes_the_place_of_the_model() {
        let said = |text: &str| Said { text: text.to_owned(), place: Place::default() };
        let texts = vec![said("Press the button."), said("Now.")];
        let mut speech = speech_lengths(&Procedure { texts, ..Procedure::default() });
        assert_eq!(speech.of(TextId(0)).hi, Millis(2237));
        speech.measured(TextId(0), Millis(1420), SpeechSource::Measured);
        speech.measured(TextId(7), Millis(1000), SpeechSource::Measured);
        assert_eq!(speech.of(TextId(0)), Span::new(Millis::ZERO, Millis(1420)));
        assert_eq!(speech.of(TextId(7)), Span::ZERO, "not one of ours");
        let sources = speech.sources();
        assert_eq!(sources[&SpeechSource::Model], 1);
        assert_eq!(sources[&SpeechSource::Measured], 1);
    }
}
