//! What can be heard in a run: takes what was asked for and what the computer has, gives a voice, a
//! loudspeaker, and in plain words what is missing.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;
use clap::builder::PossibleValuesParser;

use super::Surroundings;
use crate::clock::Millis;
use crate::edge::page::Shelf;
use crate::edge::shelf::RunShelf;
use crate::edge::sound_check::{self, SoundCheck};
use crate::edge::speaker::{NoPlayer, Speaker, Wanted};
use crate::edge::voice::{self, RATE, RATES, Voice};
use crate::edge::{pack, player};
use crate::faces::tones::Register;
use crate::faces::voicing::{Bank, ENGLISH, is_english, misread};
use crate::faces::words::Banner;

/// Which voice.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Which {
    /// The speech program of this computer, if there is one.
    #[default]
    Auto,
    /// None.
    None,
    /// Recordings in this folder.
    Pack(PathBuf),
}

impl Which {
    /// What was typed.
    ///
    /// # Errors
    /// Never: everything else is a folder.
    pub fn parse(text: &str) -> Result<Which, String> {
        Ok(match text {
            "auto" => Which::Auto,
            "none" => Which::None,
            folder => Which::Pack(PathBuf::from(folder)),
        })
    }
}

/// How a voice speaks.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "Sound")]
pub struct Speaking {
    /// The language of the script's texts, as the speech program calls it: en, en-gb, de … The program's own
    /// words stay English
    #[arg(long, value_name = "LANGUAGE", default_value = ENGLISH, value_parser = voice::language)]
    pub language: String,
    /// Words a minute, 120 to 260
    #[arg(long, value_name = "WORDS", default_value_t = RATE, value_parser = rate)]
    pub rate: u32,
}

/// What is to be heard.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "Sound")]
pub struct SoundArgs {
    /// `auto`: this computer's speech program; `none`; or a folder of recordings with an index
    /// `recordings.txt`. Without a terminal nothing is heard unless this or --player is given
    #[arg(long, value_name = "auto|none|FOLDER", value_parser = Which::parse)]
    pub voice: Option<Which>,
    /// How it speaks.
    #[command(flatten)]
    pub speaking: Speaking,
    /// The program that plays: pw-play, paplay, aplay, …; `none` for no sound. By default the first that
    /// works
    #[arg(long, value_name = "NAME", value_parser = PossibleValuesParser::new(players()),
          hide_possible_values = true)]
    pub player: Option<String>,
}

impl Speaking {
    /// The same for what this program says of itself.
    #[must_use]
    fn in_english(&self) -> Speaking {
        if is_english(&self.language) {
            return self.clone();
        }
        Speaking { language: ENGLISH.to_owned(), ..self.clone() }
    }
}

fn players() -> Vec<&'static str> {
    player::KNOWN.iter().map(|known| known.name).chain(["none"]).collect()
}

fn rate(text: &str) -> Result<u32, String> {
    let rate = text.parse().ok().filter(|rate| RATES.contains(rate));
    rate.ok_or_else(|| format!("a whole number from {} to {}", RATES.start(), RATES.end()))
}

impl SoundArgs {
    /// Whether anything is to be heard.
    #[must_use]
    pub fn is_wanted(&self, around: &Surroundings) -> bool {
        let asked = around.terminal || self.voice.is_some() || self.player.is_some();
        asked && self.player.as_deref() != Some("none")
    }
}

/// A voice with everything that it is to say; or why there is none.
#[derive(Debug, Default)]
pub struct Spoken {
    /// The sounds.
    pub bank: Option<Bank>,
    /// What is missing, for a person who would expect it.
    pub missing: Vec<String>,
    /// Texts that have no sound, each with the reason.
    pub silent: Vec<(String, String)>,
}

/// Renders, or reads from recordings, these texts.
///
/// # Errors
/// What is wrong with the recordings.
pub fn spoken(
    which: &Which,
    speaking: &Speaking,
    around: &Surroundings,
    texts: &[&str],
) -> Result<Spoken, String> {
    match which {
        Which::None => Ok(Spoken::default()),
        Which::Auto => Ok(rendered(speaking, around, texts)),
        Which::Pack(folder) => {
            let (bank, missing) = read_pack(folder)?.bank(texts);
            let silent = missing.iter().map(|text| ((*text).to_owned(), "not recorded".to_owned()));
            let silent: Vec<_> = silent.collect();
            let missing = told(silent.len(), "not recorded");
            Ok(Spoken { bank: Some(bank), missing, silent })
        }
    }
}

/// What is to be said in a run.
#[derive(Clone, Copy, Debug, Default)]
pub struct Texts<'a> {
    /// What the timing counts with.
    pub texts: &'a [&'a str],
    /// What else a script or a vehicle says; only left out where it cannot be said.
    pub more: &'a [&'a str],
    /// What this program asks, in English; left out likewise.
    pub own: &'a [&'a str],
}

/// Why these texts would be read wrongly; recordings are in whatever language they are.
#[must_use]
pub fn misread_by(which: &Which, speaking: &Speaking, texts: &[&str]) -> Option<String> {
    misread(texts, &speaking.language).filter(|_| matches!(which, Which::Auto))
}

/// Everything to be heard in a run.
#[derive(Default)]
pub struct Heard {
    /// What can be spoken.
    pub bank: Option<Arc<Bank>>,
    /// The loudspeaker.
    pub speaker: Option<Speaker>,
    /// The same sounds for pages; without them they have the tones.
    pub shelf: Option<Arc<dyn Shelf>>,
    /// What is missing: stays on show.
    pub missing: Vec<String>,
    /// What is there: for the record.
    pub noted: Vec<String>,
    /// How late a sound is heard, at most.
    pub lag: Millis,
}

impl Heard {
    /// Whether anything can be heard at all.
    #[must_use]
    pub fn is_any(&self) -> bool {
        self.bank.is_some() || self.speaker.is_some()
    }

    /// Renders what is to be said and starts the loudspeaker; `page`: pages can sound too.
    ///
    /// # Errors
    /// What is wrong with recordings that were asked for.
    pub fn of(
        args: &SoundArgs,
        around: &Surroundings,
        texts: &Texts<'_>,
        banners: &[Banner],
        page: bool,
    ) -> Result<Heard, String> {
        let Texts { texts, more, own } = *texts;
        let player = args.player.as_deref();
        let which = args.voice.clone().unwrap_or_default();
        // Where nothing plays nothing is rendered: nobody would hear it.
        let plays = page || !player::found(around.path.as_deref()).is_empty();
        let which = if plays || matches!(which, Which::Pack(_)) { which } else { Which::None };
        let Spoken { mut bank, mut missing, .. } = spoken(&which, &args.speaking, around, texts)?;
        for (speaking, also) in [(&args.speaking, more), (&args.speaking.in_english(), own)] {
            if let Some(bank) = bank.as_mut().filter(|_| !also.is_empty())
                && let Some(other) = spoken(&which, speaking, around, also)?.bank
                && other.rate == bank.rate
            {
                bank.texts.extend(other.texts);
            }
        }
        missing.extend(misread_by(&which, &args.speaking, texts).filter(|_| bank.is_some()));
        let bank = bank.map(Arc::new);
        let mut noted = Vec::new();
        let register = if banners.is_empty() { Register::Real } else { Register::Practice };
        let voice = bank.as_ref().map_or("only tones", |bank| &bank.voice);
        let (speaker, by, lag) = match speaker(player, around, bank.clone(), banners) {
            Ok(speaker) => {
                let Late { lag, checked } = late(around, Some(speaker.player()));
                let by = match checked {
                    Some(at) => {
                        format!("played by {}, heard by a person on {at}", speaker.player())
                    }
                    None => {
                        missing.push(NOT_CHECKED.to_owned());
                        format!("played by {}, not checked by ear", speaker.player())
                    }
                };
                (Some(speaker), format!("{by}; heard at most {lag} late"), lag)
            }
            Err(NoSound { told, why }) if page => {
                noted.extend(why);
                missing.push(format!("{told}; only a page can be heard"));
                (None, "for pages".to_owned(), UNMEASURED)
            }
            Err(NoSound { told, why }) => {
                let missing = vec![format!("{told}. Watch the screen; `stepbell ready` says more")];
                let noted = why.into_iter().collect();
                return Ok(Heard { missing, noted, ..Heard::default() });
            }
        };
        noted.push(format!("sound: {voice}; {by}"));
        let shelf = RunShelf::new(register, bank.clone(), &[texts, more, own].concat());
        Ok(Heard { bank, speaker, shelf: Some(Arc::new(shelf)), missing, noted, lag })
    }
}

/// Said as long as nobody has said that the sound can be heard.
const NOT_CHECKED: &str =
    "nobody has said yet that the sound can be heard: make the check of `stepbell ready`";

/// Counted with as long as nobody has tapped along: what is between this program and a wired loudspeaker.
pub const UNMEASURED: Millis = Millis(200);

/// How late a sound is heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Late {
    /// At most.
    pub lag: Millis,
    /// When a person has heard this player; `None`: never.
    pub checked: Option<String>,
}

/// What the last sound check says of a player (`None`: whichever was heard).
#[must_use]
pub fn late(around: &Surroundings, player: Option<&str>) -> Late {
    let check = kept(around).filter(|check| player.is_none_or(|name| name == check.player));
    let lag = check.as_ref().and_then(SoundCheck::lag).unwrap_or(UNMEASURED);
    Late { lag, checked: check.map(|check| check.at) }
}

fn kept(around: &Surroundings) -> Option<SoundCheck> {
    let place = sound_check::place(around.config_home.as_deref(), around.home.as_deref())?;
    sound_check::load(&place)
}

fn read_pack(folder: &std::path::Path) -> Result<pack::Pack, String> {
    pack::read(folder).map_err(|wrong| {
        format!("the recordings in {} cannot be used:\n  {wrong}", folder.display())
    })
}

fn told(many: usize, why: &str) -> Vec<String> {
    let what = match many {
        0 => return Vec::new(),
        1 => "one prompt is only shown, not said".to_owned(),
        many => format!("{many} prompts are only shown, not said"),
    };
    vec![format!("{what}: {why}")]
}

fn rendered(speaking: &Speaking, around: &Surroundings, texts: &[&str]) -> Spoken {
    let Speaking { language, rate } = speaking;
    let nothing = |why: String| Spoken { missing: vec![why], ..Spoken::default() };
    let Some(voice) = Voice::find(around.path.as_deref(), language, *rate) else {
        return nothing(NO_VOICE.to_owned());
    };
    let folder =
        voice::folder(around.cache_home.as_deref(), around.home.as_deref(), &around.temporary);
    let folder = match folder {
        Ok(folder) => folder,
        Err(why) => return nothing(format!("no voice: {why}")),
    };
    let (bank, silent) = voice::bank(&voice, texts, folder.path());
    let why = silent.first().map_or("", |(_, why)| why);
    if bank.texts.is_empty() {
        return nothing(format!("no voice: {why}"));
    }
    Spoken { missing: told(silent.len(), why), bank: Some(bank), silent }
}

/// Said where no speech program is found.
pub const NO_VOICE: &str = if cfg!(target_os = "linux") {
    "no voice: espeak-ng is not installed; prompts are only shown"
} else {
    "no voice: no speech program is found; prompts are only shown"
};

/// Why nothing can be heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoSound {
    /// In a few words, which stay on show.
    pub told: String,
    /// What each player said that was tried.
    pub why: Option<String>,
}

impl NoSound {
    /// All of it.
    #[must_use]
    pub fn whole(self) -> String {
        self.why.unwrap_or(self.told)
    }
}

/// Starts the loudspeaker.
///
/// # Errors
/// What is missing, in plain words.
pub fn speaker(
    player: Option<&str>,
    around: &Surroundings,
    bank: Option<Arc<Bank>>,
    banners: &[Banner],
) -> Result<Speaker, NoSound> {
    let kept = kept(around);
    let wanted = Wanted {
        search: around.path.as_deref(),
        player,
        first: kept.as_ref().map(|check| check.player.as_str()),
        bank,
        banners,
        temporary: &around.temporary,
    };
    Speaker::start(&wanted).map_err(|NoPlayer(tried)| NoSound {
        told: not_played(&tried, player),
        why: (!tried.is_empty()).then(|| format!("no sound: {}", tried.join("; "))),
    })
}

fn not_played(tried: &[String], player: Option<&str>) -> String {
    match (tried.is_empty(), player) {
        (true, Some(name)) => format!("no sound: {name} is not installed"),
        (true, None) => {
            let known = player::KNOWN.iter().filter(|known| !known.package.is_empty());
            let names: Vec<_> = known.map(|known| known.name).collect();
            format!("no sound: none of {} is installed", names.join(", "))
        }
        (false, _) => "no sound: no player here plays".to_owned(),
    }
}
