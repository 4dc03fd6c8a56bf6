//! A document's outline and its canonical form: takes a tree, gives symbols nested as its blocks are,
//! and the change that `tidy` would make.

use lsp_types::{DocumentSymbol, SymbolKind, TextEdit};

use super::text::{Text, Unit};
use crate::source::Place;
use crate::syntax::blocks;
use crate::syntax::tree::{Name, Sentence, Tree};
use crate::syntax::{build, print};

/// The outline.
#[must_use]
pub fn outline(text: &Text, tree: &Tree, unit: Unit) -> Vec<DocumentSymbol> {
    let opener = blocks::pair(tree).opener;
    let mut done: Vec<DocumentSymbol> = Vec::new();
    // Blocks that are open, with their lines; a step ends where something else begins.
    let mut open: Vec<(usize, DocumentSymbol)> = Vec::new();
    let close = |open: &mut Vec<(usize, DocumentSymbol)>, done: &mut Vec<DocumentSymbol>| {
        let Some((_, symbol)) = open.pop() else { return };
        let into = open.last_mut().map(|(_, outer)| outer.children.get_or_insert_default());
        into.unwrap_or(done).push(symbol);
    };
    for (at, line) in tree.lines.iter().enumerate() {
        if let Sentence::End(_) = line.sentence {
            let within =
                opener[at].and_then(|from| open.iter().position(|(line, _)| *line == from));
            while let Some(within) = within
                && open.len() > within
            {
                if let Some((_, symbol)) = open.last_mut() {
                    symbol.range.end = text.position(line.place.end as usize, unit);
                }
                close(&mut open, &mut done);
            }
            continue;
        }
        let Some((name, kind, detail)) = named(&line.sentence) else {
            // A line of a step draws it out.
            if let (Some((_, symbol)), false) = (open.last_mut(), line.sentence == Sentence::Blank)
            {
                symbol.range.end = text.position(line.place.end as usize, unit);
            }
            continue;
        };
        let symbol = symbol(text, line.place, name, kind, detail, unit);
        let is_step = |line: usize| matches!(tree.lines[line].sentence, Sentence::Step(..));
        if open.last().is_some_and(|(line, _)| is_step(*line)) {
            close(&mut open, &mut done);
        }
        if is_step(at) || blocks::opens(&line.sentence).is_some() {
            open.push((at, symbol));
        } else {
            let into = open.last_mut().map(|(_, outer)| outer.children.get_or_insert_default());
            into.unwrap_or(&mut done).push(symbol);
        }
    }
    while !open.is_empty() {
        close(&mut open, &mut done);
    }
    done.iter_mut().for_each(cover);
    done
}

/// What is inside lies inside, as the protocol wants it.
fn cover(symbol: &mut DocumentSymbol) {
    for child in symbol.children.iter_mut().flatten() {
        cover(child);
        symbol.range.end = symbol.range.end.max(child.range.end);
    }
}

#[expect(deprecated, reason = "the protocol's type has a field that is left empty")]
fn symbol(
    text: &Text,
    place: Place,
    name: &Name,
    kind: SymbolKind,
    detail: Option<&str>,
    unit: Unit,
) -> DocumentSymbol {
    DocumentSymbol {
        // An editor takes no blank name.
        name: if name.value.trim().is_empty() { "…".to_owned() } else { name.value.clone() },
        detail: detail.map(str::to_owned),
        kind,
        tags: None,
        deprecated: None,
        range: text.range(place.start as usize, place.end as usize, unit),
        selection_range: text.range(name.place.start as usize, name.place.end as usize, unit),
        children: None,
    }
}

/// The name under which a line stands in the outline, and what the line says of it.
fn named(sentence: &Sentence) -> Option<(&Name, SymbolKind, Option<&str>)> {
    use Sentence as S;
    Some(match sentence {
        S::Procedure(text) => (text, SymbolKind::FILE, None),
        S::Ending { name, text, .. } => (name, SymbolKind::ENUM_MEMBER, Some(&text.value)),
        S::Have { name, label, .. } => (name, SymbolKind::VARIABLE, Some(&label.value)),
        S::Place { name, text, .. } => (name, SymbolKind::FIELD, Some(&text.value)),
        S::Round(name, _) => (name, SymbolKind::ARRAY, None),
        S::Sign { name, object, .. } => (name, SymbolKind::EVENT, Some(&object.value)),
        S::Secret(name, text) => (name, SymbolKind::KEY, Some(&text.value)),
        S::Ask { value, text, .. } => (&value.name, SymbolKind::PROPERTY, Some(&text.value)),
        S::Allow(name, _, text) => (name, SymbolKind::NUMBER, Some(&text.value)),
        S::Operator(name, text) | S::Helper(name, text) => {
            (name, SymbolKind::CLASS, text.as_ref().map(|text| &*text.value))
        }
        S::Part(name, _) => (name, SymbolKind::MODULE, None),
        S::Phase(name) => (name, SymbolKind::NAMESPACE, None),
        S::Each(name, group) => (name, SymbolKind::NAMESPACE, Some(&group.value)),
        S::Table(name) => (name, SymbolKind::ENUM, None),
        S::Step(name, text) => (name, SymbolKind::FUNCTION, Some(&text.value)),
        S::Do(name, _, alias) => {
            (alias.as_ref().unwrap_or(name), SymbolKind::METHOD, Some(&name.value))
        }
        _ => return None,
    })
}

/// The change that makes a document canonical: one, as small as whole lines allow; none where it is, or
/// where it is too long to be read.
#[must_use]
pub fn tidied(text: &Text, tree: &Tree, unit: Unit) -> Option<TextEdit> {
    let old = text.as_str();
    if build::beyond(old).is_some() {
        return None;
    }
    let new = print::tidy(tree);
    if new == old {
        return None;
    }
    let same = |one: &mut dyn Iterator<Item = (&str, &str)>| -> usize {
        one.take_while(|(a, b)| a == b).map(|(a, _)| a.len()).sum()
    };
    let lines = |text| str::split_inclusive(text, '\n');
    let front = same(&mut lines(old).zip(lines(&new)));
    let (old_rest, new_rest) = (&old[front..], &new[front..]);
    let back = same(&mut lines(old_rest).rev().zip(lines(new_rest).rev()));
    let range = text.range(front, old.len() - back, unit);
    Some(TextEdit { range, new_text: new_rest[..new_rest.len() - back].to_owned() })
}
