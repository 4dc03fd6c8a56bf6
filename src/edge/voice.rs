//! A voice: takes the search path, a language and a rate, gives a speech program of this computer and
//! what it says as sounds. The program is a separate one (espeak-ng on Linux; the system's own on macOS
//! and Windows, untested); its text goes in through standard input, cleaned, and never as an argument.
//!
//! What was rendered once lies in a folder of the user's own, named by its content, so that the next run
//! begins at once.

use std::collections::{BTreeMap, BTreeSet};
use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;

use super::programs::{self, PATIENCE, ask, command};
use super::scratch::Scratch;
use super::wav::{from_wav, to_wav};
use super::{disk, wav};
use crate::clock::Millis;
use crate::faces::clip::Clip;
use crate::faces::voicing::{Bank, ENGLISH, Own, clean, is_english};
use crate::journal::sha256_hex;
use crate::procedure::timing::SpeechSource;

/// Words a minute where nobody says otherwise: the lower end of what is comfortable for younger and older
/// listeners (150 to 200: Sutton, King, Hux & Beukelman 1995), for a busy person in noise.
pub const RATE: u32 = 150;
/// The rates that can be asked for; below the lowest no prompt stays within the model's 110 a minute.
pub const RATES: std::ops::RangeInclusive<u32> = 120..=260;
/// What is quieter at a prompt's ends is silence: 46 dB below full scale.
const SILENCE: i16 = 164;
/// So much silence stays at each end.
const KEPT: Millis = Millis(20);
/// A rendered prompt is never larger: a minute at the highest rate.
const LARGEST: u64 = 12 << 20;
/// So many prompts are kept from one run to the next.
const MOST_KEPT: usize = 2000;

/// Which speech program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    EspeakNg,
    /// macOS; untested.
    Say,
    /// Windows; untested.
    PowerShell,
}

/// A speech program, ready to be asked.
#[derive(Clone, Debug)]
pub struct Voice {
    kind: Kind,
    program: PathBuf,
    version: String,
    language: String,
    rate: u32,
}

/// A language as a speech program may be given it: letters, digits, `-`, `_` and `+`, a letter first.
///
/// # Errors
/// A sentence for whoever typed it.
pub fn language(text: &str) -> Result<String, String> {
    let letters = text.chars().all(|c| c.is_ascii_alphanumeric() || "-_+".contains(c));
    let first = text.chars().next().is_some_and(|c| c.is_ascii_alphabetic());
    if letters && first && text.len() <= 32 {
        return Ok(text.to_owned());
    }
    Err("a language as in `en`, `en-gb` or `de`".to_owned())
}

impl Voice {
    /// The speech program of this computer, if it has one.
    #[must_use]
    pub fn find(search: Option<&OsStr>, language: &str, rate: u32) -> Option<Voice> {
        let known =
            [("espeak-ng", Kind::EspeakNg), ("say", Kind::Say), ("powershell", Kind::PowerShell)];
        let here = |kind| match kind {
            Kind::EspeakNg => true,
            Kind::Say => cfg!(target_os = "macos"),
            Kind::PowerShell => cfg!(windows),
        };
        known.into_iter().filter(|(_, kind)| here(*kind)).find_map(|(name, kind)| {
            let program = programs::find(search, name)?;
            let version = version(kind, &program);
            Some(Voice { kind, program, version, language: language.to_owned(), rate })
        })
    }

    /// What it is called, for people and for the record.
    #[must_use]
    pub fn name(&self) -> String {
        let Voice { version, language, rate, .. } = self;
        let program = programs::name(&self.program);
        let version = if version.is_empty() { String::new() } else { format!(" {version}") };
        format!("{program}{version}, {language}, {rate} words a minute")
    }

    /// Its language.
    #[must_use]
    pub fn language(&self) -> &str {
        &self.language
    }

    /// The same program's voice for the words of this program's own, where it is told which language.
    #[must_use]
    pub fn in_english(&self) -> Option<Voice> {
        let told = is_english(&self.language) || self.kind == Kind::EspeakNg;
        let language =
            if is_english(&self.language) { self.language.clone() } else { ENGLISH.to_owned() };
        told.then(|| Voice { language, ..self.clone() })
    }

    /// What tells this rendering of a text from every other.
    fn key(&self, text: &str) -> String {
        let Voice { kind, version, language, rate, .. } = self;
        let all = format!("stepbell voice 1\n{kind:?} {version}\n{language}\n{rate}\n{text}");
        sha256_hex(all.as_bytes())
    }

    /// A text as a sound, without the silence at its ends. `folder` is the user's own: what lies there is
    /// taken, what is rendered anew is left there.
    ///
    /// # Errors
    /// A short reason for a person.
    pub fn render(&self, text: &str, folder: &Path) -> Result<Clip, String> {
        let text = clean(text);
        if text.is_empty() {
            return Err("there is nothing in it to say".to_owned());
        }
        let key = self.key(&text);
        let kept = folder.join(format!("{key}.wav"));
        if let Some(clip) = read(&kept).ok().filter(|clip| !is_silence(clip)) {
            return Ok(clip);
        }
        let raw = folder.join(format!(".{key}-{}.wav", std::process::id()));
        let clip = self.rendered(&text, &raw);
        // It may never have come to be.
        let _ = fs::remove_file(&raw);
        let clip = clip?.trimmed(SILENCE, KEPT);
        if is_silence(&clip) {
            return Err(format!("{} gave only silence", programs::name(&self.program)));
        }
        keep(&kept, &clip);
        Ok(clip)
    }

    fn rendered(&self, text: &str, into: &Path) -> Result<Clip, String> {
        let mut call = self.call(into);
        ask(&mut call, &format!("{text}\n"), PATIENCE)?;
        let name = programs::name(&self.program);
        read(into).map_err(|why| format!("{name} gave no sound: {why}"))
    }

    fn call(&self, into: &Path) -> Command {
        let mut call = command(&self.program);
        match self.kind {
            Kind::EspeakNg => {
                call.arg("-v").arg(&self.language).arg("-s").arg(self.rate.to_string());
                call.arg("--stdin").arg("-w").arg(into);
            }
            Kind::Say => {
                call.arg("-r").arg(self.rate.to_string()).arg("-f").arg("-").arg("-o").arg(into);
                call.arg("--file-format=WAVE").arg("--data-format=LEI16@22050");
            }
            Kind::PowerShell => {
                // The path goes through the environment: nothing in it can be taken for a command.
                let script = "Add-Type -AssemblyName System.Speech; \
                              $in = New-Object IO.StreamReader([Console]::OpenStandardInput()); \
                              $voice = New-Object System.Speech.Synthesis.SpeechSynthesizer; \
                              $voice.SetOutputToWaveFile($env:STEPBELL_SOUND); \
                              $voice.Speak($in.ReadToEnd()); $voice.Dispose()";
                call.args(["-NoProfile", "-NonInteractive", "-Command", script]);
                call.env("STEPBELL_SOUND", into);
            }
        }
        call
    }
}

/// Renders many texts and the program's own words, two at a time. Those are English: where the voice is
/// not, another voice of the same program says them, if it can. Gives the sounds, and each text that could
/// not be rendered with the reason.
#[must_use]
pub fn bank(voice: &Voice, texts: &[&str], folder: &Path) -> (Bank, Vec<(String, String)>) {
    let english = voice.in_english();
    let by = |own: Own| {
        let says = own.is_for(voice.language()).then_some(voice);
        says.or(english.as_ref()).map(|by| (by.language(), own.words()))
    };
    let own: Vec<_> = Own::ALL.into_iter().filter_map(|own| Some((own, by(own)?))).collect();
    let all = texts.iter().map(|text| (voice.language(), *text));
    let all = all.chain(own.iter().map(|(_, said)| *said)).collect::<BTreeSet<_>>();
    let all: Vec<(&str, &str)> = all.into_iter().collect();
    let (left, right) = all.split_at(all.len() / 2);
    let render = |all: &[(&str, &str)]| -> Vec<_> {
        let one = |(language, text): &(&str, &str)| {
            let other = english.as_ref().filter(|english| english.language() == *language);
            let clip = other.unwrap_or(voice).render(text, folder);
            (((*language).to_owned(), (*text).to_owned()), clip)
        };
        all.iter().map(one).collect()
    };
    let rendered = std::thread::scope(|scope| {
        let other = scope.spawn(|| render(left));
        let mut all = render(right);
        all.extend(other.join().unwrap_or_default());
        all
    });
    let mut bank = Bank { source: SpeechSource::Measured, ..Bank::default() };
    let (mut said, mut failed) = (BTreeMap::new(), Vec::new());
    for ((language, text), clip) in rendered {
        match clip {
            // One program has one rate; should it not, the odd ones are only shown.
            Ok(clip) if bank.rate == 0 || bank.rate == clip.rate => {
                bank.rate = clip.rate;
                said.insert((language, text), Arc::<[i16]>::from(clip.samples));
            }
            Ok(clip) => failed.push((text, format!("{} samples a second", clip.rate))),
            Err(why) => failed.push((text, why)),
        }
    }
    let of = |(language, text): (&str, &str)| said.get(&(language.to_owned(), text.to_owned()));
    bank.own = own.into_iter().filter_map(|(own, by)| Some((own, of(by)?.clone()))).collect();
    bank.voice = voice.name();
    if !is_english(voice.language()) && bank.own.contains_key(&Own::Stopped) {
        bank.voice.push_str(", the program's own words in English");
    }
    let own_language = said.into_iter().filter(|((language, _), _)| language == voice.language());
    bank.texts = own_language.map(|((_, text), samples)| (text, samples)).collect();
    (bank, failed)
}

/// What the program says of its version, for the name of what it renders.
fn version(kind: Kind, program: &Path) -> String {
    if kind != Kind::EspeakNg {
        return String::new();
    }
    let told = ask(command(program).arg("--version"), "", PATIENCE).map(|told| told.text());
    let told = told.unwrap_or_default();
    let after = told.split_once(": ").map_or("", |(_, after)| after);
    after.split_whitespace().next().unwrap_or_default().chars().take(20).collect()
}

fn read(path: &Path) -> Result<Clip, String> {
    let file = disk::open_to_read(path).map_err(|why| why.to_string())?;
    let mut bytes = Vec::new();
    disk::read_at_most(&mut &file, LARGEST, &mut bytes).map_err(|why| why.to_string())?;
    if bytes.len() as u64 > LARGEST {
        return Err(format!("longer than {}", wav::LONGEST));
    }
    from_wav(&bytes)
}

fn is_silence(clip: &Clip) -> bool {
    clip.samples.iter().all(|sample| sample.unsigned_abs() <= SILENCE.unsigned_abs())
}

/// Leaves a rendered prompt for the next run. Where that fails it is only rendered again.
fn keep(path: &Path, clip: &Clip) {
    use std::io::Write;
    let part = path.with_extension(format!("part-{}", std::process::id()));
    let written = disk::create(&part).and_then(|mut file| file.write_all(&to_wav(clip)));
    if written.and_then(|()| fs::rename(&part, path)).is_err() {
        let _ = fs::remove_file(&part);
    }
}

/// The folder for rendered prompts: `$XDG_CACHE_HOME/stepbell/voice`, else `~/.cache/stepbell/voice`, made
/// if need be; without either, one of this run's own beside other temporary files. Old prompts make room.
///
/// # Errors
/// When no folder can be made.
pub fn folder(
    cache_home: Option<&OsStr>,
    home: Option<&OsStr>,
    temporary: &Path,
) -> Result<Folder, String> {
    let absolute = |path: Option<&OsStr>| path.map(PathBuf::from).filter(|path| path.is_absolute());
    let cache = absolute(cache_home).or_else(|| absolute(home).map(|home| home.join(".cache")));
    if let Some(path) = cache.map(|cache| cache.join("stepbell/voice"))
        && disk::create_folder(&path).is_ok()
        && is_writable(&path)
    {
        make_room(&path);
        return Ok(Folder::Kept(path));
    }
    let own = Scratch::new(temporary);
    own.map(Folder::Passing)
        .map_err(|why| format!("no folder for spoken prompts in {}: {why}", temporary.display()))
}

fn is_writable(folder: &Path) -> bool {
    let probe = folder.join(format!(".probe-{}", std::process::id()));
    let made = disk::create(&probe).is_ok();
    let _ = fs::remove_file(&probe);
    made
}

/// Where rendered prompts lie.
#[derive(Debug)]
pub enum Folder {
    /// In the user's own cache.
    Kept(PathBuf),
    /// For this run only.
    Passing(Scratch),
}

impl Folder {
    /// Its path.
    #[must_use]
    pub fn path(&self) -> &Path {
        match self {
            Folder::Kept(path) => path,
            Folder::Passing(scratch) => &scratch.path,
        }
    }
}

/// Removes the oldest prompts beyond [`MOST_KEPT`].
fn make_room(folder: &Path) {
    let Ok(entries) = fs::read_dir(folder) else { return };
    let is_ours = |path: &Path| path.extension().is_some_and(|end| end == "wav");
    let mut files: Vec<_> = entries
        .filter_map(|entry| {
            let entry = entry.ok()?;
            Some((entry.metadata().ok()?.modified().ok()?, entry.path()))
        })
        .filter(|(_, path)| is_ours(path))
        .collect();
    if files.len() <= MOST_KEPT {
        return;
    }
    files.sort();
    for (_, path) in &files[..files.len() - MOST_KEPT] {
        // Another run may have removed it.
        let _ = fs::remove_file(path);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_language_can_be_no_option() {
        assert_eq!(language("en-gb"), Ok("en-gb".to_owned()));
        for bad in ["", "-v", "en us", "../x", "x;y", &"a".repeat(33)] {
            assert!(language(bad).is_err(), "{bad}");
        }
    }
}
