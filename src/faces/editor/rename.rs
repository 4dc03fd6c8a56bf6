//! Another name for a thing: takes the names of every script that may say it, gives the places to change,
//! or why it cannot be done.
//!
//! A change of name must change nothing else. So it is tried on the texts first: every name must stand
//! for the same things as before, and no line that could not be read may hold the old name.

use std::collections::{BTreeMap, BTreeSet};

use super::names::Names;
use crate::faces::safe::safe;
use crate::procedure::library::{self, Library};
use crate::source::{FileId, Place};
use crate::syntax::hopes::is_name;
use crate::syntax::tree::Sentence;

/// The places to change, by the path of their file, each a byte range.
pub type Places = BTreeMap<String, BTreeSet<(usize, usize)>>;

/// The name at a byte of a file, and where it stands; nothing where there is no name, or one that no
/// line declares.
#[must_use]
pub fn renamable(names: &Names, byte: usize) -> Option<Place> {
    let spot = names.at(FileId(0), byte)?;
    (!spot.symbols.is_empty()).then_some(spot.place)
}

/// The places where the thing that is named at `byte` of the file called `path` has its name, in one
/// script and the files that it uses.
#[must_use]
pub fn places(library: &Library, names: &Names, path: &str, byte: usize) -> Places {
    let mut all = Places::new();
    let file = library.sources.files().find(|(_, source)| source.name() == path);
    let Some(spot) = file.and_then(|(file, _)| names.at(file, byte)) else { return all };
    for symbol in names.together(&spot.symbols) {
        let symbol = &names.symbols[symbol];
        for place in symbol.declared.iter().chain(&symbol.used) {
            let name = library.sources.get(place.file).map_or("", |source| source.name());
            let range = (place.start as usize, place.end as usize);
            all.entry(name.to_owned()).or_default().insert(range);
        }
    }
    all
}

/// Whether `old` can be called `new` at these places of a script.
///
/// # Errors
/// Why not, in one sentence.
pub fn try_it(library: &Library, places: &Places, old: &str, new: &str) -> Result<(), String> {
    if !is_name(new) {
        return Err(format!(
            "`{}` is no name: small letters, digits and single hyphens, and no word of the language \
             that has another meaning there.",
            safe(new)
        ));
    }
    for (file, tree) in &library.trees {
        let lost = tree.lines.iter().find(|line| match &line.sentence {
            Sentence::Stray(text) => {
                text.split(|c: char| !c.is_ascii_alphanumeric() && c != '-').any(|w| w == old)
            }
            _ => false,
        });
        if let Some(line) = lost {
            let name = library.sources.get(*file).map_or("", |source| source.name());
            let line = library.sources.line_col(line.place).line;
            return Err(format!(
                "Line {line} of {} holds `{old}` and is no sentence yet. Mend it first.",
                safe(name)
            ));
        }
    }
    let changed = changed(library, places, new);
    let (before, after) = (Names::of(library), Names::of(&changed));
    let same = before.symbols.len() == after.symbols.len()
        && before.spots.len() == after.spots.len()
        && before.spots.iter().zip(&after.spots).all(|(a, b)| a.symbols == b.symbols);
    let mut built_in = after.spots.iter().zip(&before.spots);
    if !same || built_in.any(|(a, b)| a.symbols.is_empty() != b.symbols.is_empty()) {
        return Err(format!("`{new}` is the name of something else here."));
    }
    Ok(())
}

/// The texts of a script with other words at these places.
#[must_use]
pub fn replaced(text: &str, places: &BTreeSet<(usize, usize)>, new: &str) -> String {
    let mut changed = text.to_owned();
    for (start, end) in places.iter().rev() {
        if changed.get(*start..*end).is_some() {
            changed.replace_range(*start..*end, new);
        }
    }
    changed
}

fn changed(library: &Library, places: &Places, new: &str) -> Library {
    let none = BTreeSet::new();
    let texts: BTreeMap<String, String> = library
        .sources
        .files()
        .map(|(_, source)| {
            let places = places.get(source.name()).unwrap_or(&none);
            (source.name().to_owned(), replaced(source.text(), places, new))
        })
        .collect();
    let main = library.sources.get(FileId(0)).map_or("", |source| source.name());
    let folder = main.rsplit_once('/').map_or(String::new(), |(folder, _)| format!("{folder}/"));
    let text = texts.get(main).cloned().unwrap_or_default();
    library::load(main, text, &mut |path| {
        texts.get(&format!("{folder}{path}")).cloned().ok_or_else(String::new)
    })
}
