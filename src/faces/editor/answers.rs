//! What an editor shows at a place: takes an [`Editor`] and a position, gives what can be written there,
//! what would mend it and what is to be told of it, as the protocol wants it. `navigate` has the answers
//! about names.

use std::collections::HashMap;

use lsp_types::{
    CodeAction, CodeActionKind, CompletionItem, Diagnostic, DocumentSymbol, Hover, HoverContents,
    InlayHint, InlayHintLabel, InlayHintTooltip, MarkupContent, MarkupKind, Position, Range,
    TextEdit, Uri, WorkspaceEdit,
};

use super::complete::{Writing, complete, what};
use super::figures::{Figure, of_verdict};
use super::first_words::first;
use super::judge::{Judged, judge};
use super::mend::{Mend, of_complaint};
use super::names::Names;
use super::text::Text;
use super::{Editor, Shelf, address_in, outline, reader};
use crate::complaint::why;
use crate::faces::safe::safe;
use crate::source::{FileId, Place};

impl Editor {
    /// What can be written here.
    #[must_use]
    pub fn complete(&self, address: &str, at: Position, shelf: &dyn Shelf) -> Vec<CompletionItem> {
        let Some((text, tree)) = self.tree(address) else { return Vec::new() };
        let Some(library) = self.library(address, shelf) else { return Vec::new() };
        let names = Names::of(&library);
        let writing = Writing { text, tree: &tree, names: &names };
        complete(writing, text.byte(at, self.unit), self.unit)
    }

    /// The outline of a document.
    #[must_use]
    pub fn outline(&self, address: &str) -> Vec<DocumentSymbol> {
        let Some((text, tree)) = self.tree(address) else { return Vec::new() };
        outline::outline(text, &tree, self.unit)
    }

    /// The change that makes a document canonical.
    #[must_use]
    pub fn tidied(&self, address: &str) -> Option<TextEdit> {
        let (text, tree) = self.tree(address)?;
        outline::tidied(text, &tree, self.unit)
    }

    /// What would mend something here.
    #[must_use]
    pub fn actions(&self, address: &str, range: Range, shelf: &dyn Shelf) -> Vec<CodeAction> {
        let Some(document) = self.document(address) else { return Vec::new() };
        let (start, end) =
            (document.text.byte(range.start, self.unit), document.text.byte(range.end, self.unit));
        let judged = match self.current(address) {
            Some(known) => known.judged.clone(),
            None => {
                let Some(task) = self.task(address) else { return Vec::new() };
                let buffers = self.buffers();
                let mut read = reader(&task.name, &buffers, shelf);
                judge(task, &mut read)
            }
        };
        let marks = super::judge::marks(&judged, self.unit);
        let own = marks.get(address).map(Vec::as_slice).unwrap_or_default();
        let touches = |place: Place| {
            place.file == FileId(0) && place.start as usize <= end && start <= place.end as usize
        };
        let mut actions = Vec::new();
        for complaint in judged.examined.complaints.iter().filter(|c| touches(c.place)) {
            let at = judged.examined.sources.slice(complaint.place);
            let Some(mend) = of_complaint(complaint, at) else { continue };
            let mark = own.iter().find(|mark| mark.message == super::judge::told(complaint));
            actions.extend(self.action(&judged, &mend, mark.cloned()));
        }
        let later = self.current(address).and_then(|known| known.later.as_ref());
        let line = |byte: usize| document.text.line_of(byte);
        for mend in later.iter().flat_map(|later| &later.mends) {
            let at = line(mend.place.start as usize);
            let mark = own.iter().find(|mark| mark.message.contains("short by"));
            let marked = mark.is_some_and(|mark| {
                mark.range.start.line as usize <= line(end)
                    && line(start) <= mark.range.end.line as usize
            });
            if marked || (line(start) <= at && at <= line(end)) {
                actions.extend(self.action(&judged, mend, mark.cloned()));
            }
        }
        actions
    }

    #[expect(clippy::mutable_key_type, reason = "the protocol's own type for addresses")]
    fn action(&self, judged: &Judged, mend: &Mend, mark: Option<Diagnostic>) -> Option<CodeAction> {
        let text = Text::new(judged.examined.sources.get(mend.place.file)?.text());
        let range = text.range(mend.place.start as usize, mend.place.end as usize, self.unit);
        let uri = address_in(judged, mend.place.file).parse::<Uri>().ok()?;
        let edit = TextEdit { range, new_text: mend.text.clone() };
        let changes = HashMap::from([(uri, vec![edit])]);
        Some(CodeAction {
            title: safe(&mend.title).into_owned(),
            kind: Some(CodeActionKind::QUICKFIX),
            diagnostics: mark.map(|mark| vec![mark]),
            edit: Some(WorkspaceEdit { changes: Some(changes), ..WorkspaceEdit::default() }),
            is_preferred: mend.mechanical.then_some(true),
            ..CodeAction::default()
        })
    }

    /// What is to be told about what stands here.
    #[must_use]
    pub fn hover(&self, address: &str, at: Position, shelf: &dyn Shelf) -> Option<Hover> {
        let (library, names, byte) = self.names_at(address, at, shelf)?;
        let text = &self.document(address)?.text;
        let mut pieces = Vec::new();
        let mut range = None;
        if let Some(spot) = names.at(FileId(0), byte) {
            for symbol in spot.symbols.iter().map(|symbol| &names.symbols[*symbol]) {
                let (file, line) = symbol.line;
                let tree = library.trees.iter().find(|(known, _)| *known == file);
                let place = tree.and_then(|(_, tree)| tree.lines.get(line)).map(|line| line.place);
                let said = place.map_or("", |place| library.sources.slice(place));
                let uses = symbol.used.len();
                let times = if uses == 1 { "once".to_owned() } else { format!("{uses} times") };
                pieces.push(self.sentence(said));
                pieces.push(format!("{}, used {times}", what(symbol.kind)));
            }
            let (start, end) = (spot.place.start as usize, spot.place.end as usize);
            range = (!pieces.is_empty()).then(|| text.range(start, end, self.unit));
        }
        pieces.extend(self.told_here(address, byte));
        if pieces.is_empty() {
            pieces.extend(self.example(text, byte));
        }
        let value = pieces.join("\n\n");
        let kind = if self.markdown { MarkupKind::Markdown } else { MarkupKind::PlainText };
        let contents = HoverContents::Markup(MarkupContent { kind, value });
        (!pieces.is_empty()).then_some(Hover { contents, range })
    }

    /// A sentence of a script, in a fence that nothing in it can close.
    fn sentence(&self, said: &str) -> String {
        let said = safe(said.trim());
        if !self.markdown {
            return said.into_owned();
        }
        let longest = said.split(|c| c != '`').map(str::len).max().unwrap_or(0);
        let fence = "`".repeat(longest.max(2) + 1);
        format!("{fence}bell\n{said}\n{fence}")
    }

    /// What the complaints and figures at a place say.
    fn told_here(&self, address: &str, byte: usize) -> Vec<String> {
        let Some(known) = self.current(address) else { return Vec::new() };
        let text = &self.documents[address].text;
        let touches = |place: Place| {
            place.file == FileId(0) && place.start as usize <= byte && byte <= place.end as usize
        };
        let complaints = known.judged.examined.complaints.iter();
        let mut told: Vec<String> = complaints
            .filter(|complaint| touches(complaint.place))
            .map(|complaint| {
                let why = why::of(complaint.code);
                format!("{}\n\n{}", why.matters, why.mend)
            })
            .collect();
        let line = text.line_of(byte);
        let here = |figure: &&Figure| {
            figure.place.file == FileId(0) && text.line_of(figure.place.start as usize) == line
        };
        told.extend(self.figures(address).iter().filter(here).map(|figure| figure.long.clone()));
        told.dedup();
        told
    }

    /// A sentence's first word, with an example.
    fn example(&self, text: &Text, byte: usize) -> Option<String> {
        let (start, end) = text.line(text.line_of(byte));
        let line = text.as_str().get(start..end)?;
        let blank = line.len() - line.trim_start().len();
        let word: &str = line[blank..].split([' ', ',']).next()?;
        let within = start + blank <= byte && byte <= start + blank + word.len();
        let (_, example) = first(word).filter(|_| within)?;
        Some(format!("For example:\n\n{}", self.sentence(example)))
    }

    fn figures(&self, address: &str) -> Vec<Figure> {
        let Some(known) = self.current(address) else { return Vec::new() };
        let later = known.later.iter().flat_map(|later| later.figures.clone());
        of_verdict(&known.judged).into_iter().chain(later).collect()
    }

    /// The figures beside the lines of a range.
    #[must_use]
    pub fn hints(&self, address: &str, range: Range) -> Vec<InlayHint> {
        let Some(document) = self.document(address) else { return Vec::new() };
        let text = &document.text;
        let figures = self.figures(address);
        let lines = range.start.line as usize..=range.end.line as usize;
        let of_this = figures.iter().filter(|figure| figure.place.file == FileId(0));
        let hints = of_this.filter_map(|figure| {
            let line = text.line_of(figure.place.start as usize);
            let (_, end) = text.line(line);
            lines.contains(&line).then(|| InlayHint {
                position: text.position(end, self.unit),
                label: InlayHintLabel::String(figure.short.clone()),
                kind: None,
                text_edits: None,
                tooltip: Some(InlayHintTooltip::String(figure.long.clone())),
                padding_left: Some(true),
                padding_right: None,
                data: None,
            })
        });
        hints.collect()
    }
}
