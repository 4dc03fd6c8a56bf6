//! `stepbell ready --keys`: shows what a foot switch or a presenter sends, measures how it repeats while it
//! is held, and assigns it.

pub mod dialog;

use std::path::Path;

use self::dialog::{Dialog, Found};
use super::Surroundings;
use super::exit::Exit;
use super::out::{self, Answer};
use crate::edge::dialogue::{Ended, converse};
use crate::edge::settings::{self, kept_keys, keys_file};
use crate::faces::safe::safe;

/// Talks with the person about their keys.
#[must_use]
pub fn run(around: &Surroundings) -> Exit {
    if !around.terminal {
        let why = "a foot switch can only be tried in a terminal";
        return out::say(&Answer::trouble(Exit::Unable, why));
    }
    let file = keys_file(around.config_home.as_deref(), around.home.as_deref());
    let kept = kept_keys(around.config_home.as_deref(), around.home.as_deref());
    let path = file.as_deref().map(|path| safe(&path.display().to_string()).into_owned());
    let mut dialog = Dialog::new(kept.map, kept.text, path, kept.trouble);
    match converse(&mut dialog) {
        Ok(Ended::HungUp) => Exit::HungUp,
        Ok(Ended::Terminated) => Exit::Terminated,
        Err(why) => {
            out::say(&Answer::trouble(Exit::Unable, format!("the terminal cannot be used: {why}")))
        }
        Ok(Ended::Over) => match (dialog.found(), file) {
            (Found::Stopped, _) => Exit::Interrupted,
            (Found::Nothing, _) | (_, None) => Exit::Done,
            (Found::Save(text), Some(file)) => save(&file, &text),
        },
    }
}

fn save(file: &Path, text: &str) -> Exit {
    let shown = safe(&file.display().to_string()).into_owned();
    let text =
        format!("# What guide's --keys would say; written by stepbell ready --keys.\n{text}\n");
    match settings::write(file, &text) {
        Ok(()) => out::say(&Answer::ok(format!("Kept in {shown}. guide uses it from now on.\n"))),
        Err(why) => {
            out::say(&Answer::trouble(Exit::Unable, format!("{shown} cannot be written: {why}")))
        }
    }
}
