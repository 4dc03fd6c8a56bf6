//! What `ready` has found out about this computer's sound, kept for the runs: takes a file, gives it back.
//! A file that is damaged or of another version counts as none.

use std::ffi::OsStr;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::{files, settings};
use crate::clock::Millis;
use crate::faces::tapping::LATEST;

/// The version of the file that is written and read.
const VERSION: u32 = 1;
/// A file of ours is far shorter.
const LIMIT: u64 = 64 << 10;

/// A sound check that a person answered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SoundCheck {
    version: u32,
    /// The player that was heard.
    pub player: String,
    /// How much later than given a cue is heard, in milliseconds; `None`: not measured.
    lag_ms: Option<i64>,
    /// How many taps that rests on.
    #[serde(default)]
    taps: usize,
    /// When, as RFC 3339 in UTC.
    pub at: String,
}

impl SoundCheck {
    /// A check with what was found.
    #[must_use]
    pub fn new(player: &str, lag: Option<(Millis, usize)>, at: String) -> SoundCheck {
        SoundCheck {
            version: VERSION,
            player: player.to_owned(),
            lag_ms: lag.map(|(lag, _)| lag.0),
            taps: lag.map_or(0, |(_, taps)| taps),
            at,
        }
    }

    /// The measured lag.
    #[must_use]
    pub fn lag(&self) -> Option<Millis> {
        self.lag_ms.map(Millis)
    }
}

/// Where it lies.
#[must_use]
pub fn place(config_home: Option<&OsStr>, home: Option<&OsStr>) -> Option<PathBuf> {
    settings::file(config_home, home, "sound.json")
}

/// What was found out last, if anything was.
#[must_use]
pub fn load(place: &Path) -> Option<SoundCheck> {
    let bytes = files::read_file(place, LIMIT).ok()?;
    let check: SoundCheck = serde_json::from_slice(&bytes).ok()?;
    let sound = check.version == VERSION
        && check.lag_ms.is_none_or(|lag| (0..=LATEST.0).contains(&lag))
        && check.player.len() < 64;
    sound.then_some(check)
}

/// Keeps it.
///
/// # Errors
/// A short reason.
pub fn save(place: &Path, check: &SoundCheck) -> Result<(), String> {
    let text = serde_json::to_string_pretty(check).map_err(|why| why.to_string())? + "\n";
    settings::write(place, &text).map_err(|why| format!("{}: {why}", place.display()))
}
