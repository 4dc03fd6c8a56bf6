//! The lengths of spoken texts as a record keeps them: takes what a run counts with, gives the header's
//! members; and back, so that a run can be done again with the lengths it had.

use super::entry::{SpokenSource, SpokenText};
use crate::clock::Millis;
use crate::procedure::model::TextId;
use crate::procedure::timing::{SpeechLengths, SpeechSource};

/// What a record and a verdict call the source of the lengths: `model`, or `measured: VOICE`, or
/// `recordings: WHOSE`, or both, and how many texts still go by the model.
#[must_use]
pub fn source_name(speech: &SpeechLengths) -> String {
    let sources = speech.sources();
    let count = |source| sources.get(&source).copied().unwrap_or(0);
    let by_model = count(SpeechSource::Model);
    let mut names = Vec::new();
    for (source, name) in
        [(SpeechSource::Measured, "measured"), (SpeechSource::Recorded, "recordings")]
    {
        if count(source) > 0 {
            names.push(name.to_owned());
        }
    }
    if names.is_empty() {
        return "model".to_owned();
    }
    let mut text = names.join(" and ");
    if let Some(voice) = &speech.voice {
        text = format!("{text}: {voice}");
    }
    if by_model > 0 {
        text = format!("{text}; {by_model} by the model");
    }
    text
}

/// The texts whose length is neither the model's nor the script's.
#[must_use]
pub fn spoken(speech: &SpeechLengths) -> Vec<SpokenText> {
    let of = |source| match source {
        SpeechSource::Measured => Some(SpokenSource::Measured),
        SpeechSource::Recorded => Some(SpokenSource::Recorded),
        SpeechSource::Model | SpeechSource::Stated => None,
    };
    let texts = speech.iter().filter_map(|(text, spoken)| {
        Some(SpokenText { text: text.0, ms: spoken.span.hi.0, source: of(spoken.source)? })
    });
    texts.collect()
}

/// Puts what a record kept into the lengths of its script.
pub fn put_back(speech: &mut SpeechLengths, kept: &[SpokenText]) {
    for text in kept {
        let source = match text.source {
            SpokenSource::Measured => SpeechSource::Measured,
            SpokenSource::Recorded => SpeechSource::Recorded,
        };
        speech.measured(TextId(text.text), Millis(text.ms), source);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::procedure::model::{Procedure, Said};
    use crate::procedure::timing::speech_lengths;
    use crate::source::Place;

    #[test]
    fn what_was_measured_comes_back_from_the_record() {
        let said = |text: &str| Said { text: text.to_owned(), place: Place::default() };
        let texts = vec![said("Press the button."), said("Now."), said("Let go.")];
        let procedure = Procedure { texts, ..Procedure::default() };
        let mut speech = speech_lengths(&procedure);
        assert_eq!((source_name(&speech), spoken(&speech)), ("model".to_owned(), Vec::new()));
        speech.measured(TextId(0), Millis(1420), SpeechSource::Measured);
        speech.measured(TextId(1), Millis(900), SpeechSource::Measured);
        speech.voice = Some("a low voice".to_owned());
        assert_eq!(source_name(&speech), "measured: a low voice; 1 by the model");
        let mut again = speech_lengths(&procedure);
        put_back(&mut again, &spoken(&speech));
        again.voice.clone_from(&speech.voice);
        assert_eq!(again, speech);
    }
}
