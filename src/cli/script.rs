//! A script from its file to its plans: what `check`, `guide` and others begin with.
//!
//! Takes a path; gives what is known of the script, the files that it uses read from beside it.

use std::fmt::Write as _;
use std::path::{Component, Path};

use crate::complaint::render::render;
use crate::edge::files::{self, Unreadable};
use crate::power::Length;
use crate::procedure::model::Procedure;
use crate::procedure::plan::{plan, variants};
use crate::procedure::timing::speech_lengths;
use crate::procedure::{Examined, examine};
use crate::proof::lengths::{Worst, of_all};

/// More complaints than this are only counted: nobody reads them, and mending the first ones mends many.
const MOST_SHOWN: usize = 100;

/// The complaints about a script as pictures of their places, the first [`MOST_SHOWN`] of them.
#[must_use]
pub fn pictures(examined: &Examined, colour: bool) -> String {
    let complaints = &examined.complaints;
    let shown = &complaints[..complaints.len().min(MOST_SHOWN)];
    let mut text = render(shown, &examined.sources, colour);
    let more = complaints.len() - shown.len();
    if more > 0 {
        let _ =
            writeln!(text, "\nand {more} more, which `--format json` lists. Mend these first.\n");
    }
    text
}

/// Reads and checks the script at `path`.
///
/// # Errors
/// [`Unreadable`] when the script itself cannot be read. A used file that cannot be is a complaint.
pub fn examined(path: &Path) -> Result<Examined, Unreadable> {
    let source = files::read_script(path)?;
    let folder = path.parent().unwrap_or_else(|| Path::new("")).to_owned();
    let mut read = |wanted: &str| {
        let inside = Path::new(wanted);
        // The library keeps paths inside the folder; this holds even if it should not.
        if inside.components().any(|part| !matches!(part, Component::Normal(_))) {
            return Err("it lies outside the script's folder".to_owned());
        }
        let file = folder.join(inside);
        match files::read_script(&file) {
            Ok(source) => Ok(source.text().to_owned()),
            Err(why) => Err(why.reason()),
        }
    };
    Ok(examine(source.name(), source.text().to_owned(), &mut read))
}

/// The worst length of a run, for the battery: over every count and answer, with the words at the
/// model's lengths, which bound every voice. It is reckoned only where the script asks for it.
#[must_use]
pub fn worst_length(procedure: &Procedure) -> Length {
    if procedure.battery.is_none() {
        return Length::Unbounded;
    }
    let Ok(variants) = variants(procedure) else { return Length::Unbounded };
    let plans: Vec<_> =
        variants.iter().filter_map(|choices| plan(procedure, choices).ok()).collect();
    let lengths = of_all(procedure, &plans, &speech_lengths(procedure));
    match lengths.map(|lengths| lengths.worst()) {
        Some(Worst::AtMost(most)) => Length::AtMost(most),
        Some(Worst::Unbounded(..)) | None => Length::Unbounded,
    }
}
