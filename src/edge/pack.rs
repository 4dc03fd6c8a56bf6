//! A teacher's own recordings: takes a folder with an index, gives its sounds by the text that they say,
//! and everything that is wrong with it.
//!
//! The index is a text file, `recordings.txt`. A line is a text in quotes as it stands in the script, or
//! the name of one of the program's own words, then the name of a WAV file in the same folder:
//!
//! ```text
//! recordings 1
//! by "the morning class"
//! "Hold the new key against the start button."  new-key.wav
//! ten   ten.wav
//! ```
//!
//! All files have one rate. A line that begins with `#` is a remark.

use std::collections::BTreeMap;
use std::fmt;
use std::path::Path;
use std::sync::Arc;

use super::files;
use super::wav::from_wav;
use crate::complaint::visible::visible;
use crate::faces::clip::Clip;
use crate::faces::voicing::{Bank, Own};
use crate::procedure::timing::SpeechSource;

/// The index's name.
pub const INDEX: &str = "recordings.txt";
/// The longest index: 256 KiB.
const INDEX_LIMIT: u64 = 256 << 10;
/// The largest recording: a minute at the highest rate, two channels.
const FILE_LIMIT: u64 = 24 << 20;
/// More complaints than these are only counted.
const MOST_TOLD: usize = 12;
/// A recording that never rises above this is silent: 40 dB below full scale.
const SILENT: u16 = 328;
/// So many samples at full scale are no accident: it is clipped.
const CLIPPED: usize = 20;

/// A pack, read.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pack {
    /// Whose voice it is.
    pub by: String,
    /// Samples a second.
    pub rate: u32,
    /// By the text that they say.
    pub texts: BTreeMap<String, Clip>,
    /// The program's own words.
    pub own: BTreeMap<Own, Clip>,
}

impl Pack {
    /// The sounds of these texts, as far as they are recorded; and those that are not.
    #[must_use]
    pub fn bank<'t>(&self, texts: &[&'t str]) -> (Bank, Vec<&'t str>) {
        let shared = |clip: &Clip| Arc::from(clip.samples.as_slice());
        let mut bank = Bank {
            rate: self.rate,
            own: self.own.iter().map(|(own, clip)| (*own, shared(clip))).collect(),
            voice: self.by.clone(),
            source: SpeechSource::Recorded,
            ..Bank::default()
        };
        let mut missing = Vec::new();
        for text in texts {
            match self.texts.get(&squeezed(text)) {
                Some(clip) => {
                    bank.texts.insert((*text).to_owned(), shared(clip));
                }
                None => missing.push(*text),
            }
        }
        (bank, missing)
    }
}

/// What is wrong with a pack: each with the line of the index that it belongs to, 0 for none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wrong(pub Vec<(usize, String)>);

impl fmt::Display for Wrong {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let told = self.0.iter().take(MOST_TOLD).map(|(line, why)| match line {
            0 => visible(why).into_owned(),
            line => format!("{INDEX} line {line}: {}", visible(why)),
        });
        let mut told: Vec<_> = told.collect();
        if self.0.len() > MOST_TOLD {
            told.push(format!("and {} more", self.0.len() - MOST_TOLD));
        }
        f.write_str(&told.join("\n  "))
    }
}

/// Reads a pack.
///
/// # Errors
/// Everything that is wrong with it, at once.
pub fn read(folder: &Path) -> Result<Pack, Wrong> {
    let text = match files::read_file(&folder.join(INDEX), INDEX_LIMIT) {
        Ok(bytes) => String::from_utf8(bytes).map_err(|_| "it is not UTF-8 text".to_owned()),
        Err(why) => Err(why.reason()),
    };
    let text = text.map_err(|why| Wrong(vec![(0, format!("{INDEX}: {why}"))]))?;
    let mut reading = Reading::default();
    for (line, said) in (1..).zip(text.lines()) {
        if let Err(why) = reading.line(said.trim(), folder) {
            reading.wrong.push((line, why));
        }
    }
    reading.end()
}

#[derive(Default)]
struct Reading {
    begun: bool,
    pack: Pack,
    /// The file whose rate all others must have.
    first: Option<String>,
    wrong: Vec<(usize, String)>,
}

/// What a recording says.
enum Says {
    Text(String),
    Own(Own),
}

impl Reading {
    fn line(&mut self, said: &str, folder: &Path) -> Result<(), String> {
        if said.is_empty() || said.starts_with('#') {
            return Ok(());
        }
        if !self.begun {
            self.begun = true;
            return match said.split_whitespace().collect::<Vec<_>>()[..] {
                ["recordings", "1"] => Ok(()),
                _ => Err("it must begin with the line `recordings 1`".to_owned()),
            };
        }
        if let Some(by) = said.strip_prefix("by ") {
            let by = quoted(by.trim()).filter(|(_, rest)| rest.is_empty());
            let (by, _) =
                by.ok_or("whose voice it is stands in quotes: by \"the morning class\"")?;
            by.clone_into(&mut self.pack.by);
            return Ok(());
        }
        let (says, file) = match quoted(said) {
            Some((text, file)) => (Says::Text(squeezed(text)), file.trim()),
            None => {
                let (name, file) = said.split_once(char::is_whitespace).unwrap_or((said, ""));
                let own = Own::ALL.into_iter().find(|own| own.name() == name);
                let own = own.ok_or_else(|| {
                    let names = Own::ALL.map(Own::name).join(", ");
                    format!("`{name}` is no text in quotes and none of {names}")
                })?;
                (Says::Own(own), file.trim())
            }
        };
        let clip = self.clip(file, folder)?;
        let before = match says {
            Says::Text(text) => self.pack.texts.insert(text, clip),
            Says::Own(own) => self.pack.own.insert(own, clip),
        };
        before.map_or(Ok(()), |_| Err("this has a recording in a line above".to_owned()))
    }

    fn clip(&mut self, file: &str, folder: &Path) -> Result<Clip, String> {
        if file.is_empty() {
            return Err("the name of its WAV file is missing".to_owned());
        }
        if file.contains(['/', '\\', ':']) || file.starts_with('.') {
            return Err(format!("`{file}`: a plain name of a file in the same folder is wanted"));
        }
        let bytes = files::read_file(&folder.join(file), FILE_LIMIT);
        let bytes = bytes.map_err(|why| format!("`{file}`: {}", why.reason()))?;
        let clip = from_wav(&bytes).map_err(|why| format!("`{file}`: {why}"))?;
        let highest = clip.samples.iter().map(|s| s.unsigned_abs()).max().unwrap_or(0);
        if highest < SILENT {
            return Err(format!("`{file}`: there is only silence in it"));
        }
        if clip.samples.iter().filter(|s| s.unsigned_abs() >= 32_767).count() > CLIPPED {
            return Err(format!("`{file}`: it is too loud and clips; record it again, softer"));
        }
        match &self.first {
            None => {
                self.first = Some(file.to_owned());
                self.pack.rate = clip.rate;
            }
            Some(first) if clip.rate != self.pack.rate => {
                let (rate, all) = (clip.rate, self.pack.rate);
                return Err(format!(
                    "`{file}`: {rate} samples a second, but `{first}` has {all}; all must be alike"
                ));
            }
            Some(_) => {}
        }
        Ok(clip)
    }

    fn end(mut self) -> Result<Pack, Wrong> {
        if !self.begun {
            self.wrong.push((0, format!("{INDEX}: it is empty; it begins with `recordings 1`")));
        } else if self.first.is_none() && self.wrong.is_empty() {
            self.wrong.push((0, format!("{INDEX}: it names no recording")));
        }
        if self.pack.by.is_empty() {
            "recordings".clone_into(&mut self.pack.by);
        }
        if self.wrong.is_empty() { Ok(self.pack) } else { Err(Wrong(self.wrong)) }
    }
}

/// A text in quotes at the beginning, and what follows it.
fn quoted(said: &str) -> Option<(&str, &str)> {
    said.strip_prefix('"')?.split_once('"')
}

/// A text with single blanks: how it is broken over lines or aligned does not matter.
#[must_use]
pub fn squeezed(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}
