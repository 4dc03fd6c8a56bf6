//! Scripts on the disk for the language server: takes paths, gives texts within the limits of
//! [`files`](crate::edge::files), and the scripts that stand beside one.

use std::fs;
use std::path::{Path, PathBuf};

use crate::edge::files;
use crate::faces::editor::Shelf;

/// More scripts than these are not looked through for a name.
const MOST_BESIDE: usize = 300;

/// The disk, as far as an editor's folders go.
#[derive(Debug, Default)]
pub struct Disk {
    /// The folders that the editor works in.
    pub folders: Vec<PathBuf>,
}

impl Shelf for Disk {
    fn read(&self, path: &str) -> Result<String, String> {
        match files::read_script(Path::new(path)) {
            Ok(source) => Ok(source.text().to_owned()),
            Err(why) => Err(why.reason()),
        }
    }

    fn beside(&self, path: &str) -> Vec<String> {
        let path = Path::new(path);
        let inside = |folder: &Path| self.folders.iter().any(|outer| folder.starts_with(outer));
        let own = path.parent();
        let around =
            path.ancestors().skip(1).filter(|folder| Some(*folder) == own || inside(folder));
        let mut found = Vec::new();
        for folder in around {
            let Ok(entries) = fs::read_dir(folder) else { continue };
            let scripts = entries.filter_map(Result::ok).map(|entry| entry.path());
            let scripts = scripts.filter(|path| path.extension().is_some_and(|e| e == "bell"));
            found.extend(scripts.filter_map(|path| path.to_str().map(str::to_owned)));
        }
        found.sort();
        found.truncate(MOST_BESIDE);
        found
    }
}
