//! A script together with the files that it uses, read and parsed, circles found.
//!
//! Takes the script's name and text and a way to get a used file's text; gives a [`Library`]: all
//! sources, one tree a file, and what is wrong with the `use` lines. It opens no file itself.

use std::collections::BTreeMap;

use crate::complaint::{Code, Complaint};
use crate::source::{FileId, Place, Source, SourceMap};
use crate::syntax::build;
use crate::syntax::tree::{BlockKind, Sentence, Tree};

/// The most files that one script may bring in.
const MOST_FILES: usize = 32;

/// A script and the files it uses.
#[derive(Clone, Debug, Default)]
pub struct Library {
    /// Every text, the script itself first.
    pub sources: SourceMap,
    /// Every tree, the script's own first, a used file before the files that it uses.
    pub trees: Vec<(FileId, Tree)>,
    /// What the reading found: syntax, and `use` lines that lead nowhere.
    pub complaints: Vec<Complaint>,
}

/// Reads a script and every file that it uses, each once.
///
/// `read` gives a file's text by its path relative to the script's folder, or a short reason why
/// it cannot.
pub fn load(
    name: &str,
    text: String,
    read: &mut dyn FnMut(&str) -> Result<String, String>,
) -> Library {
    let normal = name.replace('\\', "/");
    let (folder, own) =
        normal.rsplit_once('/').map_or(("", &*normal), |(folder, own)| (folder, own));
    let prefix = if folder.is_empty() && !normal.starts_with('/') {
        String::new()
    } else {
        format!("{folder}/")
    };
    let mut loader = Loader {
        prefix,
        library: Library::default(),
        known: BTreeMap::new(),
        chain: Vec::new(),
        read,
    };
    loader.take_in(own, name.to_owned(), text);
    loader.library
}

struct Loader<'r> {
    /// What stands before a relative path when a person is shown it.
    prefix: String,
    library: Library,
    /// Files by their path relative to the script's folder.
    known: BTreeMap<String, FileId>,
    /// The files being read, outermost first.
    chain: Vec<String>,
    read: &'r mut dyn FnMut(&str) -> Result<String, String>,
}

impl Loader<'_> {
    fn take_in(&mut self, path: &str, shown: String, text: String) -> FileId {
        let file = self.library.sources.add(Source::new(shown, text));
        self.known.insert(path.to_owned(), file);
        let text = self.library.sources.get(file).map_or("", Source::text);
        let (tree, complaints) = build::read(file, text);
        self.library.complaints.extend(complaints);
        let uses: Vec<(String, Place)> = tree
            .lines
            .iter()
            .filter_map(|line| match &line.sentence {
                Sentence::Use(file) => Some((file.value.clone(), file.place)),
                _ => None,
            })
            .collect();
        self.library.trees.push((file, tree));
        self.chain.push(path.to_owned());
        for (wanted, place) in uses {
            self.follow(path, &wanted, place);
        }
        self.chain.pop();
        file
    }

    fn follow(&mut self, from: &str, wanted: &str, place: Place) {
        let Some(path) = beside(from, wanted) else {
            self.complain(Complaint::new(Code::PartFileOutside, place).with("file", wanted));
            return;
        };
        if let Some(at) = self.chain.iter().position(|open| *open == path) {
            let mut chain = self.chain[at..].to_vec();
            chain.push(path);
            let complaint = Complaint::new(Code::UseCircle, place).with("file", wanted);
            self.complain(complaint.with("chain", chain.join(", ")));
            return;
        }
        if self.known.contains_key(&path) {
            return;
        }
        if self.known.len() >= MOST_FILES {
            let because = format!("a script may bring in {MOST_FILES} files at most");
            self.missing(wanted, place, because);
            return;
        }
        match (self.read)(&path) {
            Ok(text) => {
                let file = self.take_in(&path, format!("{}{path}", self.prefix), text);
                self.judge(file, wanted, place);
            }
            Err(because) => self.missing(wanted, place, because),
        }
    }

    fn missing(&mut self, wanted: &str, place: Place, because: String) {
        let complaint = Complaint::new(Code::PartFileMissing, place).with("file", wanted);
        self.complain(complaint.with("because", because));
    }

    /// A used file that holds more than can be used is pointed out where it is used.
    fn judge(&mut self, file: FileId, wanted: &str, place: Place) {
        let Some((_, tree)) = self.library.trees.iter().find(|(f, _)| *f == file) else { return };
        let mut in_part = false;
        let extra = tree.lines.iter().find(|line| {
            match &line.sentence {
                Sentence::Part(..) => in_part = true,
                Sentence::End(kind) if kind.value == BlockKind::Part => in_part = false,
                sentence => return !in_part && !usable(sentence),
            }
            false
        });
        let Some(extra) = extra.map(|line| line.place) else { return };
        let complaint = Complaint::new(Code::PartNotAScript, place).with("file", wanted);
        self.complain(complaint.and(extra, "this is not used"));
    }

    fn complain(&mut self, complaint: Complaint) {
        self.library.complaints.push(complaint);
    }
}

/// What a used file may hold outside its parts. A title and a status do no harm.
fn usable(sentence: &Sentence) -> bool {
    matches!(
        sentence,
        Sentence::Blank
            | Sentence::Remark(_)
            | Sentence::Stray(_)
            | Sentence::Procedure(_)
            | Sentence::Subject(..)
            | Sentence::Edition(_)
            | Sentence::Status(_)
            | Sentence::Basis(_)
            | Sentence::Use(_)
            | Sentence::Place { .. }
            | Sentence::Sign { .. }
    )
}

/// The path of `wanted`, written in the file `from`, relative to the script's folder; `None` if it
/// is absolute or leads above that folder.
fn beside(from: &str, wanted: &str) -> Option<String> {
    let wanted = wanted.replace('\\', "/");
    let drive = wanted.as_bytes().get(1) == Some(&b':');
    if wanted.starts_with('/') || drive || wanted.contains('\0') {
        return None;
    }
    let mut parts: Vec<&str> = from.split('/').collect();
    parts.pop();
    for part in wanted.split('/') {
        match part {
            "" | "." => {}
            ".." => {
                parts.pop()?;
            }
            part => parts.push(part),
        }
    }
    (!parts.is_empty()).then(|| parts.join("/"))
}

#[cfg(test)]
mod tests {
    use super::beside;

    #[test]
    fn paths_stay_beside_the_script_or_below() {
        assert_eq!(beside("a.bell", "b.bell").as_deref(), Some("b.bell"));
        assert_eq!(beside("parts/a.bell", "b.bell").as_deref(), Some("parts/b.bell"));
        assert_eq!(beside("parts/a.bell", "../b.bell").as_deref(), Some("b.bell"));
        assert_eq!(beside("a.bell", "./parts//b.bell").as_deref(), Some("parts/b.bell"));
        for outside in ["../b.bell", "/etc/b.bell", "C:\\b.bell", "parts/../../b.bell", ".."] {
            assert_eq!(beside("a.bell", outside), None, "{outside}");
        }
    }
}
