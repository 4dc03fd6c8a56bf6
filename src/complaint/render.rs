//! The one picture of a complaint for a person.
//!
//! Takes complaints and the texts they speak of; gives text for a terminal or a log. Whatever comes
//! from a script is shown with its control characters spelled out.

use annotate_snippets::{Annotation, AnnotationKind, Level, Message, Renderer, Snippet};

use super::visible::visible;
use super::{Complaint, Fact, Fix, Severity};
use crate::source::{Place, SourceMap};

/// A longer line is cut around its mark. The drawing library cuts at the width of a terminal, but
/// only after it has measured the whole line.
const LONGEST_SHOWN: usize = 500;

/// Draws complaints in the order of file and place, an empty line between two:
///
/// ```text
/// error: This closes `phase`, but `each` is open since line 4.
///  --> spare.bell:9:1
///   |
/// 9 | end phase
///   | ^^^^^^^^^
///   |
///  ::: spare.bell:4:3
///   |
/// 4 |   for each spare of spares
///   |   ------------------------ open since here
///   |
///   = help: Did you mean `end each`?
///   = note: wrong-end: `stepbell why wrong-end` says more
/// ```
#[must_use]
pub fn render(complaints: &[Complaint], sources: &SourceMap, colour: bool) -> String {
    let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
    let mut sorted: Vec<&Complaint> = complaints.iter().collect();
    sorted.sort_by_key(|complaint| (complaint.place, complaint.code));
    let mut text = String::new();
    for complaint in sorted {
        if !text.is_empty() {
            text.push('\n');
        }
        text.push_str(&picture(complaint, sources, &renderer));
        text.push('\n');
    }
    text
}

/// The complaint's sentence with its gaps filled.
#[must_use]
pub fn sentence(complaint: &Complaint) -> String {
    let mut sentence = String::new();
    let mut rest = complaint.code.sentence();
    while let Some((before, behind)) = rest.split_once('{') {
        sentence.push_str(before);
        let Some((gap, behind)) = behind.split_once('}') else { break };
        match complaint.facts.iter().find(|(name, _)| *name == gap) {
            Some((_, fact)) => sentence.push_str(&shown(fact)),
            None => sentence.push('…'),
        }
        rest = behind;
    }
    sentence.push_str(rest);
    sentence
}

/// A fact as a person reads it.
fn shown(fact: &Fact) -> String {
    match fact {
        Fact::Text(text) => visible(text).into_owned(),
        Fact::Length(length) => length.to_string(),
        Fact::Number(number) => number.to_string(),
    }
}

fn picture(complaint: &Complaint, sources: &SourceMap, renderer: &Renderer) -> String {
    let level = match complaint.code.severity() {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
    };
    let mut marks = vec![Mark::new(sources, complaint.place, None)];
    let also = complaint.also.iter();
    marks.extend(also.map(|also| Mark::new(sources, also.place, Some(also.what))));
    let pieces = pieces(marks.into_iter().flatten().collect());
    let code = complaint.code.name();
    let group = level
        .primary_title(sentence(complaint))
        .elements(pieces.iter().map(|piece| piece.snippet(sources)))
        .elements(help(complaint, sources))
        .element(Level::NOTE.message(format!("{code}: `stepbell why {code}` says more")));
    renderer.render(&[group])
}

/// How it is mended mechanically, or else what was probably meant.
fn help(complaint: &Complaint, sources: &SourceMap) -> Option<Message<'static>> {
    let near = || complaint.near.as_ref().map(|near| format!("Did you mean `{}`?", visible(near)));
    let fix = complaint.fix.as_ref().map(|fix| mended(fix, sources));
    fix.or_else(near).map(|text| Level::HELP.message(text))
}

/// The line as the fix leaves it, or only the new text where that is no line to show.
fn mended(fix: &Fix, sources: &SourceMap) -> String {
    let whole = sources.get(fix.place.file).and_then(|source| {
        let (start, end) = line_around(source.text(), fix.place.start as usize)?;
        let before = source.text().get(start..fix.place.start as usize)?;
        let behind = source.text().get(fix.place.end as usize..end)?;
        Some(format!("{before}{}{behind}", fix.text))
    });
    let text = whole.filter(|line| line.chars().count() <= 100 && !line.contains(['\n', '\r']));
    let text = text.as_deref().unwrap_or(&fix.text).trim().replace('\t', " ");
    format!("{}: {}", fix.what, visible(&text))
}

/// Where the line around a byte begins and ends.
fn line_around(text: &str, byte: usize) -> Option<(usize, usize)> {
    let start = text.get(..byte)?.rfind(['\n', '\r']).map_or(0, |at| at + 1);
    let end = text.get(byte..)?.find(['\n', '\r']).map_or(text.len(), |at| byte + at);
    Some((start, end))
}

/// One place to be marked: its line as shown, and the mark's bytes in that.
struct Mark {
    place: Place,
    line: u32,
    shown: String,
    start: usize,
    end: usize,
    label: Option<&'static str>,
}

impl Mark {
    /// A mark that runs over several lines is drawn on its first.
    fn new(sources: &SourceMap, place: Place, label: Option<&'static str>) -> Option<Mark> {
        let text = sources.get(place.file)?.text();
        let (from, to) = line_around(text, place.start as usize)?;
        let end = (place.end as usize).clamp(place.start as usize, to);
        let before = text.get(from..place.start as usize)?.trim_start_matches('\u{feff}');
        let (marked, behind) = (text.get(place.start as usize..end)?, text.get(end..to)?);
        let short = before.len() + marked.len() + behind.len() <= LONGEST_SHOWN;
        let (before, marked, behind) = if short {
            (visible(before).into_owned(), visible(marked).into_owned(), behind)
        } else {
            let (before, marked) = (last_of(before, 40), first_of(marked, 60));
            (format!("…{}", visible(before)), visible(marked).into_owned(), first_of(behind, 20))
        };
        let (start, end) = (before.len(), before.len() + marked.len());
        let shown = format!("{before}{marked}{}", visible(behind));
        let line = sources.line_col(place).line;
        Some(Mark { place, line, shown, start, end, label })
    }
}

fn first_of(text: &str, most: usize) -> &str {
    text.char_indices().nth(most).map_or(text, |(at, _)| &text[..at])
}

fn last_of(text: &str, most: usize) -> &str {
    let from = text.char_indices().rev().nth(most.saturating_sub(1));
    from.map_or(text, |(at, _)| &text[at..])
}

/// Marks that are drawn in one piece: of one file, on one line or on lines that follow one another.
struct Piece {
    marks: Vec<Mark>,
}

/// The first mark's piece first, then the others in the order of their places.
fn pieces(mut marks: Vec<Mark>) -> Vec<Piece> {
    let first = marks.first().map(|mark| (mark.place.file, mark.line));
    marks.sort_by_key(|mark| (mark.place.file, mark.line));
    let mut pieces: Vec<Piece> = Vec::new();
    for mark in marks {
        let last = pieces.last_mut().filter(|piece| {
            piece.marks.last().is_some_and(|last| {
                let same_line = mark.line == last.line && mark.shown == last.shown;
                last.place.file == mark.place.file && (same_line || mark.line == last.line + 1)
            })
        });
        match last {
            Some(piece) => piece.marks.push(mark),
            None => pieces.push(Piece { marks: vec![mark] }),
        }
    }
    let main = pieces.iter().position(|piece| {
        piece.marks.iter().any(|mark| Some((mark.place.file, mark.line)) == first)
    });
    if let Some(main) = main {
        pieces[..=main].rotate_right(1);
    }
    pieces
}

impl Piece {
    fn snippet(&self, sources: &SourceMap) -> Snippet<'static, Annotation<'static>> {
        let mut text = String::new();
        let mut annotations = Vec::new();
        let mut line = None;
        let mut begins = 0;
        for mark in &self.marks {
            if line != Some(mark.line) {
                if line.is_some() {
                    text.push('\n');
                }
                begins = text.len();
                text.push_str(&mark.shown);
                line = Some(mark.line);
            }
            let kind = match mark.label {
                None => AnnotationKind::Primary,
                Some(_) => AnnotationKind::Context,
            };
            let span = begins + mark.start..begins + mark.end;
            annotations.push(kind.span(span).label(mark.label));
        }
        let first = &self.marks[0];
        let name = sources.get(first.place.file).map_or("", |source| source.name());
        Snippet::source(text)
            .path(visible(name).into_owned())
            .line_start(first.line as usize)
            .annotations(annotations)
    }
}
