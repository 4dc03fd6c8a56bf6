//! What a voice takes for each prompt: takes measured sounds beside the model, gives a table for people
//! and a document for programs.
//!
//! ```text
//! spoken by espeak-ng 1.51, en, 150 words a minute: 33 texts, 8 of them in steps
//!   line  measured  counted   model
//!     52     2.31s    2.97s   4.97s  Hold the working key against the start button.
//!   heard at most 230ms after it is given (as tapped along)
//! ```

use std::fmt::Write as _;

use schemars::JsonSchema;
use serde::Serialize;

use super::safe::{fit, safe};
use super::voicing::{Bank, spoken};
use crate::clock::Millis;
use crate::procedure::Examined;
use crate::procedure::model::{Procedure, TextId};
use crate::procedure::timing::SpeechLengths;

/// Columns of a text beside its figures.
const COLUMNS: usize = 56;

/// Every text that can be said, with its lengths.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Prompts {
    /// Whose voice it is.
    pub voice: String,
    /// Those that have a sound, in the order of the script.
    pub said: Vec<Prompt>,
    /// Those that have none, with the reason.
    pub silent: Vec<(String, String)>,
    /// How late they are heard, at most; on top of what is counted for each.
    pub lag: Millis,
    /// Whether that was measured.
    pub lag_measured: bool,
    /// Why they would be read wrongly.
    pub misread: Option<String>,
}

/// One text with its lengths.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Prompt {
    /// Which.
    pub id: TextId,
    /// The words.
    pub text: String,
    /// Whether it is said in a step, where time counts.
    pub in_step: bool,
    /// The sound alone.
    pub measured: Millis,
    /// What the proof counts: with the tone before it and what a player may be behind.
    pub counted: Millis,
    /// What the model allows, the same included.
    pub model: Millis,
}

impl Prompts {
    /// The lengths of what a bank holds, beside the model's and as they are counted with.
    #[must_use]
    pub fn of(
        procedure: &Procedure,
        bank: &Bank,
        (model, speech): (&SpeechLengths, &SpeechLengths),
        lag_measured: bool,
        silent: Vec<(String, String)>,
    ) -> Prompts {
        let said = spoken(procedure).into_iter().filter_map(|(said, text)| {
            Some(Prompt {
                id: said.id,
                text: text.to_owned(),
                in_step: said.prompt || said.now_only,
                measured: bank.length(text)?,
                counted: speech.of(said.id).hi,
                model: model.of(said.id).hi,
            })
        });
        let (voice, lag) = (bank.voice.clone(), speech.lag);
        Prompts { voice, said: said.collect(), silent, lag, lag_measured, misread: None }
    }
}

impl Prompt {
    /// Whether the model, which bounds every voice from above, really does.
    #[must_use]
    pub fn is_within(&self) -> bool {
        self.counted <= self.model
    }
}

/// A length in seconds with two places, rounded up.
fn hundredths(length: Millis) -> String {
    let hundredths = (length.0 + 9) / 10;
    format!("{}.{:02}s", hundredths / 100, hundredths % 100)
}

fn line(examined: &Examined, id: TextId) -> Option<u32> {
    let said = examined.procedure.as_ref()?.texts.get(id.0 as usize)?;
    Some(examined.sources.line_col(said.place).line)
}

/// The lengths of what is said in steps, and how many other texts there are.
#[must_use]
pub fn table(prompts: &Prompts, examined: &Examined) -> String {
    let in_steps: Vec<_> = prompts.said.iter().filter(|prompt| prompt.in_step).collect();
    let mut text = format!(
        "spoken by {}: {} text{}, {} of them in steps\n",
        safe(&prompts.voice),
        prompts.said.len(),
        if prompts.said.len() == 1 { "" } else { "s" },
        in_steps.len()
    );
    if !in_steps.is_empty() {
        text.push_str("  line  measured  counted   model\n");
    }
    for prompt in in_steps {
        let Prompt { measured, counted, model, .. } = prompt;
        let line = line(examined, prompt.id).unwrap_or(0);
        let figures = [measured, counted, model].map(|length| hundredths(*length));
        let words = fit(&safe(&prompt.text), COLUMNS);
        let beyond = if prompt.is_within() { "" } else { "  longer than the model" };
        let _ = writeln!(
            text,
            "  {line:>4}  {:>8}  {:>7}  {:>6}  {words}{beyond}",
            figures[0], figures[1], figures[2]
        );
    }
    let how = if prompts.lag_measured { "as tapped along" } else { "assumed; `ready` measures it" };
    let _ = writeln!(text, "  heard at most {} after it is given ({how})", prompts.lag);
    if let Some(why) = &prompts.misread {
        let _ = writeln!(text, "  {}", safe(why));
    }
    for (silent, why) in &prompts.silent {
        let _ = writeln!(text, "  not said, only shown: \"{}\": {}", safe(silent), safe(why));
    }
    text
}

/// What `check --voice` says of a voice, for programs.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Voice {
    /// Whose it is.
    pub name: String,
    /// Why a voice of that language would read the texts wrongly.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub misread: Option<String>,
    /// Every text that has a sound.
    pub prompts: Vec<Said>,
    /// Every text that has none.
    pub silent: Vec<Silent>,
    /// How much later than given a sound is heard at most, in milliseconds.
    pub lag_ms: i64,
    /// Whether that was measured; else it is assumed.
    pub lag_measured: bool,
}

/// One text with its lengths.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Said {
    /// Where it stands.
    pub line: Option<u32>,
    /// The words.
    pub text: String,
    /// Whether it is said in a step.
    pub in_step: bool,
    /// The sound alone, in milliseconds.
    pub measured_ms: i64,
    /// What is counted: with the tone before it and what a player may be behind.
    pub counted_ms: i64,
    /// What the model allows.
    pub model_ms: i64,
    /// Whether what is counted is within that.
    pub within_model: bool,
}

/// One text that is only shown.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Silent {
    /// The words.
    pub text: String,
    /// Why it has no sound.
    pub why: String,
}

/// The same as a document, every text.
#[must_use]
pub fn document(prompts: &Prompts, examined: &Examined) -> Voice {
    let said = prompts.said.iter().map(|prompt| Said {
        line: line(examined, prompt.id),
        text: prompt.text.clone(),
        in_step: prompt.in_step,
        measured_ms: prompt.measured.0,
        counted_ms: prompt.counted.0,
        model_ms: prompt.model.0,
        within_model: prompt.is_within(),
    });
    let silent = prompts.silent.iter();
    Voice {
        name: prompts.voice.clone(),
        misread: prompts.misread.clone(),
        prompts: said.collect(),
        silent: silent.map(|(text, why)| Silent { text: text.clone(), why: why.clone() }).collect(),
        lag_ms: prompts.lag.0,
        lag_measured: prompts.lag_measured,
    }
}
