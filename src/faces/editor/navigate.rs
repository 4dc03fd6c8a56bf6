//! The answers about names: takes an [`Editor`] and a position, gives where the thing is declared and used
//! whose name stands there, and the change of its name.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use lsp_types::{
    DocumentHighlight, DocumentHighlightKind, Location, Position, Range, TextEdit, Uri,
    WorkspaceEdit,
};

use super::names::Names;
use super::rename::{Places, places, renamable, try_it};
use super::text::Text;
use super::{Editor, Shelf, reader};
use crate::procedure::library::{Library, load};
use crate::source::{FileId, Place};
use crate::syntax::tree::Sentence;

impl Editor {
    /// Where the thing is declared whose name stands here; for the text of a `use` line that file.
    #[must_use]
    pub fn definition(&self, address: &str, at: Position, shelf: &dyn Shelf) -> Vec<Location> {
        let Some((library, names, byte)) = self.names_at(address, at, shelf) else {
            return Vec::new();
        };
        if let Some(file) = self.used_here(address, byte, &library) {
            return file.into_iter().collect();
        }
        let Some(spot) = names.at(FileId(0), byte) else { return Vec::new() };
        let symbols = spot.symbols.iter().flat_map(|symbol| &names.symbols[*symbol].declared);
        symbols.filter_map(|place| self.location(&library, address, *place)).collect()
    }

    /// The file that a `use` line names, where the byte stands in its text.
    fn used_here(&self, address: &str, byte: usize, library: &Library) -> Option<Option<Location>> {
        let (_, tree) = library.trees.first()?;
        let wanted = tree.lines.iter().find_map(|line| match &line.sentence {
            Sentence::Use(file)
                if (file.place.start as usize..=file.place.end as usize).contains(&byte) =>
            {
                Some(&file.value)
            }
            _ => None,
        })?;
        let path = self.document(address)?.path.as_ref()?;
        let folder = path.rsplit_once('/')?.0;
        let path = format!("{folder}/{}", wanted.trim_start_matches("./"));
        let known = library.sources.files().any(|(_, source)| source.name() == path);
        let uri = self.address_of_path(&path).parse().ok().filter(|_| known);
        Some(uri.map(|uri| Location { uri, range: Range::default() }))
    }

    /// Every place where the thing is named whose name stands here.
    #[must_use]
    pub fn references(&self, address: &str, at: Position, shelf: &dyn Shelf) -> Vec<Location> {
        let mut found = Vec::new();
        for (path, (text, places)) in self.everywhere(address, at, shelf).0 {
            let Ok(uri) = self.address_of_path(&path).parse::<Uri>() else { continue };
            found.extend(places.iter().map(|(start, end)| Location {
                uri: uri.clone(),
                range: text.range(*start, *end, self.unit),
            }));
        }
        found
    }

    /// The same in this document alone, declarations told from uses.
    #[must_use]
    pub fn highlights(
        &self,
        address: &str,
        at: Position,
        shelf: &dyn Shelf,
    ) -> Vec<DocumentHighlight> {
        let Some((library, names, byte)) = self.names_at(address, at, shelf) else {
            return Vec::new();
        };
        let Some(spot) = names.at(FileId(0), byte) else { return Vec::new() };
        let text = Text::new(library.sources.get(FileId(0)).map_or("", |source| source.text()));
        let mark = |place: &Place, kind| DocumentHighlight {
            range: text.range(place.start as usize, place.end as usize, self.unit),
            kind: Some(kind),
        };
        let mut marks = Vec::new();
        for symbol in spot.symbols.iter().map(|symbol| &names.symbols[*symbol]) {
            let here = |place: &&Place| place.file == FileId(0);
            let declared = symbol.declared.iter().filter(here);
            marks.extend(declared.map(|place| mark(place, DocumentHighlightKind::WRITE)));
            let used = symbol.used.iter().filter(here);
            marks.extend(used.map(|place| mark(place, DocumentHighlightKind::READ)));
        }
        marks
    }

    /// The name that can be changed here.
    #[must_use]
    pub fn renamable(&self, address: &str, at: Position, shelf: &dyn Shelf) -> Option<Range> {
        let (library, names, byte) = self.names_at(address, at, shelf)?;
        let place = renamable(&names, byte)?;
        let text = Text::new(library.sources.get(FileId(0))?.text());
        Some(text.range(place.start as usize, place.end as usize, self.unit))
    }

    /// The change of a name, in every script that says it.
    ///
    /// # Errors
    /// Why it cannot be changed so, in one sentence.
    #[expect(clippy::mutable_key_type, reason = "the protocol's own type for addresses")]
    pub fn rename(
        &self,
        address: &str,
        at: Position,
        new: &str,
        shelf: &dyn Shelf,
    ) -> Result<WorkspaceEdit, String> {
        let (files, scripts) = self.everywhere(address, at, shelf);
        let old = files.values().find_map(|(text, places)| {
            let (start, end) = *places.iter().next()?;
            text.as_str().get(start..end).map(str::to_owned)
        });
        let Some(old) = old else {
            return Err("Here stands no name that a line of the script declares.".to_owned());
        };
        let places: Places =
            files.iter().map(|(path, (_, places))| (path.clone(), places.clone())).collect();
        for library in &scripts {
            try_it(library, &places, &old, new)?;
        }
        let mut changes = HashMap::new();
        for (path, (text, places)) in files {
            let Ok(uri) = self.address_of_path(&path).parse::<Uri>() else { continue };
            let edits = places.iter().map(|(start, end)| TextEdit {
                range: text.range(*start, *end, self.unit),
                new_text: new.to_owned(),
            });
            changes.insert(uri, edits.collect());
        }
        Ok(WorkspaceEdit { changes: Some(changes), ..WorkspaceEdit::default() })
    }

    /// Every place of the name at a position, by file, with the scripts that hold one: the document
    /// itself, other open ones, and those beside it that use it.
    fn everywhere(&self, address: &str, at: Position, shelf: &dyn Shelf) -> (Files, Vec<Library>) {
        let mut files = Files::new();
        let mut scripts = Vec::new();
        let Some(document) = self.document(address) else { return (files, scripts) };
        let byte = document.text.byte(at, self.unit);
        let name = document.path.clone().unwrap_or_else(|| address.to_owned());
        let open = self.addresses().filter_map(|open| self.library(open, shelf));
        let mut libraries: Vec<Library> = open.collect();
        let beside = document.path.iter().flat_map(|path| shelf.beside(path));
        let buffers = self.buffers();
        for path in beside.filter(|path| !buffers.contains_key(path)) {
            let Ok(text) = shelf.read(&path) else { continue };
            let mut read = reader(&path, &buffers, shelf);
            libraries.push(load(&path, text, &mut read));
        }
        for library in libraries {
            let found = places(&library, &Names::of(&library), &name, byte);
            if found.is_empty() {
                continue;
            }
            for (path, places) in found {
                let source = library.sources.files().find(|(_, source)| source.name() == path);
                let text = source.map_or("", |(_, source)| source.text());
                let entry =
                    files.entry(path).or_insert_with(|| (Text::new(text), Default::default()));
                entry.1.extend(places);
            }
            scripts.push(library);
        }
        (files, scripts)
    }

    pub(super) fn names_at(
        &self,
        address: &str,
        at: Position,
        shelf: &dyn Shelf,
    ) -> Option<(Library, Names, usize)> {
        let byte = self.document(address)?.text.byte(at, self.unit);
        let library = self.library(address, shelf)?;
        let names = Names::of(&library);
        Some((library, names, byte))
    }

    fn location(&self, library: &Library, address: &str, place: Place) -> Option<Location> {
        let source = library.sources.get(place.file)?;
        let address = match place.file {
            FileId(0) => address.to_owned(),
            _ => self.address_of_path(source.name()),
        };
        let text = Text::new(source.text());
        let range = text.range(place.start as usize, place.end as usize, self.unit);
        Some(Location { uri: address.parse().ok()?, range })
    }
}

/// Places by path, with the text that they are in.
type Files = BTreeMap<String, (Text, BTreeSet<(usize, usize)>)>;
