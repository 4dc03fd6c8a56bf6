//! A script from its file to its plans: what `check`, `guide` and others begin with.
//!
//! Takes a path; gives what is known of the script, the files that it uses read from beside it.

use std::path::{Component, Path};

use crate::edge::files::{self, Unreadable};
use crate::procedure::{Examined, examine};

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
