//! What is kept from one run to the next beside the records: takes where the user's settings are, gives and
//! keeps small texts there, such as the chosen keys.

use std::ffi::OsStr;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use super::disk;
use super::files::{self, Unreadable, Why};
use super::keymap::{KeyMap, one_line};
use crate::faces::safe::safe;

/// A file of ours with this name: in `stepbell` in `XDG_CONFIG_HOME`, or in `.config` at home (XDG Base
/// Directory Specification 0.8); `None` where neither is known.
#[must_use]
pub fn file(config_home: Option<&OsStr>, home: Option<&OsStr>, name: &str) -> Option<PathBuf> {
    let absolute = |path: Option<&OsStr>| path.map(PathBuf::from).filter(|path| path.is_absolute());
    let config = absolute(config_home).or_else(|| Some(absolute(home)?.join(".config")))?;
    Some(config.join("stepbell").join(name))
}

/// The file of the chosen keys.
#[must_use]
pub fn keys_file(config_home: Option<&OsStr>, home: Option<&OsStr>) -> Option<PathBuf> {
    file(config_home, home, "keys")
}

/// The keys that `ready --keys` has kept.
#[derive(Clone, Debug, Default)]
pub struct KeptKeys {
    /// As one text for `--keys`; empty where there are none.
    pub text: String,
    /// What they mean, or the default ones.
    pub map: KeyMap,
    /// Why those that were kept cannot be used, and the way out.
    pub trouble: Option<String>,
}

/// Reads the chosen keys.
#[must_use]
pub fn kept_keys(config_home: Option<&OsStr>, home: Option<&OsStr>) -> KeptKeys {
    let Some(file) = keys_file(config_home, home) else { return KeptKeys::default() };
    let kept = match read(&file) {
        Ok(None) => return KeptKeys::default(),
        Ok(Some(text)) => KeyMap::saved(&text)
            .map(|map| (one_line(&text), map))
            .map_err(|why| format!("{}: {why}", safe(&file.display().to_string()))),
        Err(why) => Err(why.to_string()),
    };
    match kept {
        Ok((text, map)) => KeptKeys { text, map, trouble: None },
        Err(why) => {
            let trouble = format!(
                "the kept keys are left aside: {why}; `stepbell ready --keys` sets them anew"
            );
            KeptKeys { trouble: Some(trouble), ..KeptKeys::default() }
        }
    }
}

/// Reads a small text; `None` where there is no such file.
///
/// # Errors
/// [`Unreadable`] where there is something that is no small text.
pub fn read(path: &Path) -> Result<Option<String>, Unreadable> {
    match files::read_small(path) {
        Ok(text) => Ok(Some(text)),
        Err(Unreadable { why: Why::Missing, .. }) => Ok(None),
        Err(why) => Err(why),
    }
}

/// Writes a small text that is the user's alone, whole or not at all; the folders are made.
///
/// # Errors
/// The operating system's own words.
pub fn write(path: &Path, text: &str) -> io::Result<()> {
    let folder = path.parent().unwrap_or(Path::new("."));
    disk::create_folder(folder)?;
    let beside = path.with_extension(format!("part-{}", std::process::id()));
    let written = disk::create(&beside).and_then(|mut file| {
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        std::fs::rename(&beside, path)
    });
    if written.is_err() {
        // What is half written helps nobody; it may never have come to be.
        let _ = std::fs::remove_file(&beside);
    }
    written
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_is_where_settings_are() {
        let at = |xdg: Option<&str>, home: Option<&str>| {
            keys_file(xdg.map(OsStr::new), home.map(OsStr::new))
        };
        assert_eq!(at(Some("/x"), Some("/h")), Some("/x/stepbell/keys".into()));
        assert_eq!(at(Some("x"), Some("/h")), Some("/h/.config/stepbell/keys".into()));
        assert_eq!(at(None, None), None);
    }
}
