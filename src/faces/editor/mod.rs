//! Scripts in an editor: takes documents, changes to them and questions about places in them, gives
//! answers as the Language Server Protocol (3.17) has them.
//!
//! Nothing here waits, reads a file or speaks to an editor: files come through a [`Shelf`], and an open
//! document always stands before its file. `edge::language` is the transport; what takes long
//! ([`judge`], [`mend`], [`figures`]) is done there beside the answers and handed in when it is ready.

pub mod answers;
pub mod complete;
pub mod figures;
pub mod first_words;
pub mod judge;
pub mod mend;
pub mod mentions;
pub mod names;
pub mod navigate;
pub mod outline;
pub mod rename;
pub mod text;

use std::collections::{BTreeMap, BTreeSet};

use lsp_types::{Diagnostic, TextDocumentContentChangeEvent};

use self::figures::Figure;
use self::judge::{Judged, Task, address_of, marks};
use self::mend::Mend;
use self::text::{Text, Unit};
use super::address;
use crate::procedure::library::{self, Library};
use crate::source::FileId;
use crate::syntax::tree::{Sentence, Tree};

/// Where files are that no editor has open.
pub trait Shelf {
    /// The text of the file at a path.
    ///
    /// # Errors
    /// Why it cannot be read, in a few words.
    fn read(&self, path: &str) -> Result<String, String>;
    /// The scripts in the folder of a path and in the folders around it, as far as the editor's own
    /// folder: those that may use it.
    fn beside(&self, path: &str) -> Vec<String>;
}

/// A document that is open.
#[derive(Clone, Debug)]
pub struct Document {
    /// Its version, counted by the editor.
    pub version: i32,
    /// Its text.
    pub text: Text,
    /// Its path, where it has one.
    pub path: Option<String>,
}

/// The texts of open documents by path, as they were at one moment.
pub type Buffers = BTreeMap<String, String>;

/// What came later about a version of a document.
#[derive(Clone, Debug)]
pub struct Later {
    /// The document's address.
    pub address: String,
    /// The version that was looked at.
    pub version: i32,
    /// What would make a refused timing proven.
    pub mends: Vec<Mend>,
    /// What the proof says of the cues.
    pub figures: Vec<Figure>,
}

/// What is known of a document, perhaps of an earlier version.
#[derive(Clone, Debug)]
struct Known {
    judged: Judged,
    marks: BTreeMap<String, Vec<Diagnostic>>,
    later: Option<Later>,
}

/// Every open document and what is known of each.
#[derive(Clone, Debug, Default)]
pub struct Editor {
    unit: Unit,
    markdown: bool,
    documents: BTreeMap<String, Document>,
    known: BTreeMap<String, Known>,
    /// Addresses for which marks were shown.
    shown: BTreeSet<String>,
}

/// The marks of a file, and its version if it is open.
pub type Shown = (String, Option<i32>, Vec<Diagnostic>);

impl Editor {
    /// No document yet; columns are counted in `unit`, and a hover may be Markdown.
    #[must_use]
    pub fn new(unit: Unit, markdown: bool) -> Editor {
        Editor { unit, markdown, ..Editor::default() }
    }

    /// A document was opened.
    pub fn open(&mut self, address: &str, version: i32, text: String) {
        let path = address::to_path(address);
        let document = Document { version, text: Text::new(text), path };
        self.documents.insert(address.to_owned(), document);
    }

    /// A document was changed. Changes to one that is not open are passed over.
    pub fn change(
        &mut self,
        address: &str,
        version: i32,
        changes: Vec<TextDocumentContentChangeEvent>,
    ) {
        let Some(document) = self.documents.get_mut(address) else { return };
        document.version = version;
        for change in changes {
            match change.range {
                Some(range) => document.text.replace(range, self.unit, &change.text),
                None => document.text = Text::new(change.text),
            }
        }
    }

    /// A document was closed; its file counts again.
    pub fn close(&mut self, address: &str) -> Vec<Shown> {
        self.documents.remove(address);
        let known = self.known.remove(address);
        let files = known.map(|known| known.marks.into_keys().collect()).unwrap_or_default();
        self.show(files)
    }

    /// The document with this address, if it is open.
    #[must_use]
    pub fn document(&self, address: &str) -> Option<&Document> {
        self.documents.get(address)
    }

    /// Every open document's address.
    pub fn addresses(&self) -> impl Iterator<Item = &str> {
        self.documents.keys().map(String::as_str)
    }

    /// The open documents to be looked at again after this one has changed: itself and those that use
    /// it.
    #[must_use]
    pub fn concerned(&self, address: &str) -> Vec<String> {
        let uses = self.known.iter().filter(|(_, known)| known.marks.contains_key(address));
        let uses = uses.map(|(root, _)| root.clone()).filter(|root| root != address);
        let own = self.documents.contains_key(address).then(|| address.to_owned());
        own.into_iter().chain(uses).collect()
    }

    /// A document to be looked at.
    #[must_use]
    pub fn task(&self, address: &str) -> Option<Task> {
        let document = self.documents.get(address)?;
        Some(Task {
            address: address.to_owned(),
            version: document.version,
            name: document.path.clone().unwrap_or_else(|| address.to_owned()),
            text: document.text.as_str().to_owned(),
        })
    }

    /// The texts of all open documents that have a path.
    #[must_use]
    pub fn buffers(&self) -> Buffers {
        let open = self.documents.values();
        open.filter_map(|open| Some((open.path.clone()?, open.text.as_str().to_owned()))).collect()
    }

    /// Takes what was found about a version of a document; gives what is to be shown. What is about
    /// a version that is past is passed over.
    pub fn accept(&mut self, judged: Judged) -> Vec<Shown> {
        let current = self.documents.get(&judged.address).map(|document| document.version);
        if current != Some(judged.version) {
            return Vec::new();
        }
        let address = judged.address.clone();
        let marks = marks(&judged, self.unit);
        let mut files: BTreeSet<String> = marks.keys().cloned().collect();
        let before = self.known.insert(address, Known { judged, marks, later: None });
        files.extend(before.into_iter().flat_map(|known| known.marks.into_keys()));
        self.show(files)
    }

    /// Takes what came later; tells whether it is still of use.
    pub fn accept_later(&mut self, later: Later) -> bool {
        let Some(known) = self.known.get_mut(&later.address) else { return false };
        let current = self.documents.get(&later.address).map(|document| document.version);
        let of_use = current == Some(later.version) && known.judged.version == later.version;
        if of_use {
            known.later = Some(later);
        }
        of_use
    }

    /// What is to be shown for these files, marks of all open scripts together.
    fn show(&mut self, mut files: BTreeSet<String>) -> Vec<Shown> {
        let kept = |file: &String| self.known.values().any(|known| known.marks.contains_key(file));
        files.extend(self.shown.iter().filter(|file| !kept(file)).cloned());
        let shown: Vec<Shown> = files
            .into_iter()
            .map(|file| {
                let version = self.documents.get(&file).map(|document| document.version);
                let marks = self.together(&file);
                (file, version, marks)
            })
            .collect();
        for (file, _, marks) in &shown {
            if marks.is_empty() {
                self.shown.remove(file);
            } else {
                self.shown.insert(file.clone());
            }
        }
        shown
    }

    /// The marks of one file. A file that is no script by itself, but is used by one that is open, has
    /// only the marks of those who use it.
    fn together(&self, file: &str) -> Vec<Diagnostic> {
        let others = || self.known.iter().filter(|(root, _)| *root != file);
        let used = others().any(|(_, known)| known.marks.contains_key(file));
        let own = self.known.get(file).filter(|known| !used || is_script(&known.judged));
        let mut marks: Vec<Diagnostic> = Vec::new();
        let all = own.into_iter().chain(others().map(|(_, known)| known));
        for mark in all.filter_map(|known| known.marks.get(file)).flatten() {
            if !marks.contains(mark) {
                marks.push(mark.clone());
            }
        }
        marks
    }

    /// The script at an address with all that it uses, open documents before their files.
    #[must_use]
    pub fn library(&self, address: &str, shelf: &dyn Shelf) -> Option<Library> {
        let task = self.task(address)?;
        let buffers = self.buffers();
        let mut read = reader(&task.name, &buffers, shelf);
        Some(library::load(&task.name, task.text, &mut read))
    }

    /// The sentences of a document.
    fn tree(&self, address: &str) -> Option<(&Text, Tree)> {
        let text = &self.documents.get(address)?.text;
        Some((text, crate::syntax::build::read(FileId(0), text.as_str()).0))
    }

    /// What is known of a document as it stands now.
    fn current(&self, address: &str) -> Option<&Known> {
        let version = self.documents.get(address)?.version;
        self.known.get(address).filter(|known| known.judged.version == version)
    }

    /// The address of a path: the editor's own where it has that document open.
    fn address_of_path(&self, path: &str) -> String {
        let open = self.documents.iter().find(|(_, open)| open.path.as_deref() == Some(path));
        open.map_or_else(|| address::of_path(path), |(address, _)| address.clone())
    }
}

/// Gives the files that a script uses, by their path from the script's folder: open documents first.
pub fn reader<'r>(
    name: &str,
    buffers: &'r Buffers,
    shelf: &'r dyn Shelf,
) -> impl FnMut(&str) -> Result<String, String> + use<'r> {
    let absolute = name.starts_with('/') || name.as_bytes().get(1) == Some(&b':');
    let folder = name.rsplit_once('/').map(|(folder, _)| folder.to_owned());
    move |path: &str| match &folder {
        Some(folder) if absolute => {
            let path = format!("{folder}/{path}");
            let open = buffers.get(&path).map(|text| Ok(text.clone()));
            open.unwrap_or_else(|| shelf.read(&path))
        }
        _ => Err("this script has no folder yet: save it first".to_owned()),
    }
}

/// Whether a file says what it is for, and so is more than what others use.
fn is_script(judged: &Judged) -> bool {
    let text = judged.examined.sources.get(FileId(0)).map_or("", |source| source.text());
    let (tree, _) = crate::syntax::build::read(FileId(0), text);
    tree.lines.iter().any(|line| matches!(line.sentence, Sentence::Procedure(_)))
}

/// The address under which a file of a judged script is known to the editor.
fn address_in(judged: &Judged, file: FileId) -> String {
    address_of(judged, file)
}
