//! What can come next where an author writes: takes the script's names and the line as far as it goes,
//! gives words of the language and names of what is declared.

use lsp_types::{CompletionItem, CompletionItemKind, CompletionTextEdit, TextEdit};

use super::first_words::{Where, first};
use super::mentions::{Kind, Wants};
use super::names::{Names, Room, Scope, Symbol};
use super::text::{Text, Unit};
use crate::source::FileId;
use crate::syntax::blocks::opens;
use crate::syntax::hopes;
use crate::syntax::tree::{BlockKind, Sense, Sentence, Tree};

/// The hazards that a caution may name (the reference for authors has them).
const HAZARDS: &[&str] = &[
    "exhaust",
    "movement",
    "charging",
    "high-voltage",
    "locks",
    "siren",
    "glass",
    "door",
    "implants",
    "last-key",
    "ladder",
    "children",
];
/// Endings that exist without a line.
const ENDINGS: &[&str] = &["learned", "not-learned", "unsure", "stopped"];

/// A document where something is being written.
#[derive(Clone, Copy, Debug)]
pub struct Writing<'d> {
    /// Its text.
    pub text: &'d Text,
    /// Its sentences.
    pub tree: &'d Tree,
    /// The names of it and of what it uses; it is file 0.
    pub names: &'d Names,
}

/// What can be written at a byte.
#[must_use]
pub fn complete(at: Writing<'_>, byte: usize, unit: Unit) -> Vec<CompletionItem> {
    let line = at.text.line_of(byte);
    let (start, end) = at.text.line(line);
    let byte = byte.clamp(start, end);
    let typed = at.text.as_str().get(start..byte).unwrap_or("");
    let (before, word) = typed.split_at(word_begins(typed));
    if is_in_text(before) {
        return Vec::new();
    }
    let hopes = hopes::after(before);
    let range = at.text.range(start + before.len(), byte, unit);
    let edit =
        |new: &str| Some(CompletionTextEdit::Edit(TextEdit { range, new_text: new.to_owned() }));
    let mut items = Vec::new();
    if hopes.name {
        for (name, kind, detail) in names(&at, before, line) {
            items.push(CompletionItem {
                text_edit: edit(&name),
                sort_text: Some(format!("1{name}")),
                label: name,
                kind: Some(kind),
                detail: Some(detail),
                ..CompletionItem::default()
            });
        }
    }
    let home = before.trim().is_empty().then(|| home(at.tree, line));
    for phrase in hopes.words {
        let (rank, detail) = match home {
            Some(home) => of_first(&phrase, home),
            None => ('2', None),
        };
        items.push(CompletionItem {
            text_edit: edit(&phrase),
            sort_text: Some(format!("{rank}{phrase}")),
            label: phrase,
            kind: Some(CompletionItemKind::KEYWORD),
            detail,
            ..CompletionItem::default()
        });
    }
    items.retain(|item| item.label.starts_with(word) || word.is_empty() || is_near(item, word));
    items
}

/// Editors match loosely themselves; only what has none of the letters is left out.
fn is_near(item: &CompletionItem, word: &str) -> bool {
    let mut letters = item.label.chars();
    word.chars().all(|c| letters.any(|letter| letter == c))
}

/// Where the word begins that is being typed. A number before a unit is no part of it.
fn word_begins(typed: &str) -> usize {
    let run = typed.trim_end_matches(|c: char| c.is_ascii_alphanumeric() || c == '-' || c == '°');
    let word = &typed[run.len()..];
    let digits = word.len() - word.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    run.len() + digits
}

fn is_in_text(before: &str) -> bool {
    before.matches('"').count() % 2 == 1
}

/// How near the top a first word stands, and its example.
fn of_first(phrase: &str, home: &[Where]) -> (char, Option<String>) {
    let word = phrase.split(' ').next().unwrap_or(phrase);
    match first(word) {
        Some((belongs, example)) if home.contains(&belongs) => ('2', Some(example.to_owned())),
        Some((Where::Anywhere, example)) => ('3', Some(example.to_owned())),
        Some((_, example)) => ('4', Some(example.to_owned())),
        None => ('4', None),
    }
}

/// What belongs where a line stands.
fn home(tree: &Tree, line: usize) -> &'static [Where] {
    let above = &tree.lines[..line.min(tree.lines.len())];
    let around = super::names::around(FileId(0), tree);
    let block = around.get(line).or(around.last()).and_then(|around| around.block);
    let block = block.and_then(|line| opens(&tree.lines[line].sentence));
    match block {
        Some(BlockKind::Operator | BlockKind::Helper) => return &[Where::Person],
        Some(BlockKind::Table) => return &[Where::Outcome],
        Some(BlockKind::Tests) => return &[Where::Tests],
        _ => {}
    }
    let last = above.iter().rev().map(|line| &line.sentence).find(|sentence| {
        !matches!(sentence, Sentence::Blank | Sentence::Remark(_) | Sentence::Stray(_))
            && (matches!(
                sentence,
                Sentence::Step(..) | Sentence::Finish(_) | Sentence::Do(..) | Sentence::End(_)
            ) || opens(sentence).is_some())
    });
    match last {
        None => &[Where::Head, Where::Stretch, Where::Flow],
        Some(Sentence::Step(..)) => &[Where::Step, Where::Outcome, Where::Stretch, Where::Flow],
        Some(sentence) if opens(sentence).is_some() => &[Where::Stretch, Where::Flow],
        Some(_) => &[Where::Flow],
    }
}

/// The names that can stand here, each with what it is and how it is declared.
fn names(at: &Writing<'_>, before: &str, line: usize) -> Vec<(String, CompletionItemKind, String)> {
    let words = words(before);
    let fixed = |names: &[&str], what: &str| {
        let kind = CompletionItemKind::ENUM_MEMBER;
        names.iter().map(|name| ((*name).to_owned(), kind, what.to_owned())).collect()
    };
    if let ["danger" | "warning" | "caution" | "notice"] = words[..] {
        return fixed(HAZARDS, "a hazard");
    }
    let Some(wants) = wanted(&words) else { return Vec::new() };
    let mut found: Vec<(String, CompletionItemKind, String)> = Vec::new();
    if wants == Wants::Ending {
        found = fixed(ENDINGS, "an ending that exists without a line");
    }
    let around = super::names::around(FileId(0), at.tree);
    let here = around.get(line).or(around.last());
    let reading = answer_of(&words);
    for symbol in &at.names.symbols {
        let visible = match &symbol.room {
            Room::Inside(file, opener) => here.is_some_and(|here| {
                here.scope == Scope::Part(*file, *opener)
                    || (*file == FileId(0) && here.turns.contains(opener))
            }),
            Room::Answers(of) => *of == reading,
            _ => true,
        };
        if visible && fits(symbol.kind, wants) && of_sense(at, &words, symbol) {
            let name = match &symbol.room {
                Room::Readings(of) if !of.is_empty() => {
                    format!("{} of {}", symbol.name, of.join(" of "))
                }
                _ => symbol.name.clone(),
            };
            found.push((name, kind(symbol.kind), what(symbol.kind).to_owned()));
        }
    }
    found
}

/// A sign is offered behind its own verb.
fn of_sense(at: &Writing<'_>, words: &[&str], symbol: &Symbol) -> bool {
    if symbol.kind != Kind::Sign || symbol.line.0 != FileId(0) {
        return true;
    }
    let line = at.tree.lines.get(symbol.line.1).map(|line| &line.sentence);
    let Some(Sentence::Sign { sense, .. }) = line else { return true };
    let verb = match sense.value {
        Sense::See => "see",
        Sense::Hear => "hear",
        Sense::Feel => "feel",
        Sense::Read => "read",
    };
    words.last().is_none_or(|last| *last == verb || !["see", "hear", "feel", "read"].contains(last))
}

fn fits(kind: Kind, wants: Wants) -> bool {
    match wants {
        Wants::Item => matches!(kind, Kind::Item | Kind::Turn | Kind::StandIn),
        Wants::Place => matches!(kind, Kind::Place | Kind::Turn | Kind::StandIn),
        Wants::Group => matches!(kind, Kind::Item | Kind::Round),
        Wants::Sign => matches!(kind, Kind::Sign | Kind::StandIn),
        Wants::Thing => {
            matches!(kind, Kind::Item | Kind::Place | Kind::Sign | Kind::Turn | Kind::StandIn)
        }
        Wants::Helper => kind == Kind::Helper,
        Wants::Reading => kind == Kind::Reading,
        Wants::Answer => kind == Kind::Answer,
        Wants::Ending => kind == Kind::Ending,
        Wants::Purse => kind == Kind::Purse,
        Wants::Part => kind == Kind::Part,
        Wants::Table => kind == Kind::Table,
        Wants::Step => kind == Kind::Step,
        Wants::Moment => matches!(kind, Kind::Step | Kind::Phase | Kind::Alias | Kind::Turn),
    }
}

/// A kind in words.
#[must_use]
pub const fn what(kind: Kind) -> &'static str {
    match kind {
        Kind::Item => "an item",
        Kind::Place => "a place",
        Kind::Round => "a round of places",
        Kind::Sign => "a sign",
        Kind::Helper => "a helper",
        Kind::Operator => "an operator",
        Kind::Reading => "a reading",
        Kind::Answer => "an answer",
        Kind::Secret => "a secret",
        Kind::Guard => "what must stay true",
        Kind::Ending => "an ending",
        Kind::Purse => "a purse of tries",
        Kind::Part => "a part",
        Kind::Table => "a table",
        Kind::Step => "a step",
        Kind::Phase => "a phase",
        Kind::Alias => "a part done",
        Kind::Turn => "the one of this turn",
        Kind::StandIn => "a stand-in",
    }
}

const fn kind(kind: Kind) -> CompletionItemKind {
    match kind {
        Kind::Item | Kind::Turn | Kind::StandIn => CompletionItemKind::VARIABLE,
        Kind::Place | Kind::Round => CompletionItemKind::FIELD,
        Kind::Sign => CompletionItemKind::EVENT,
        Kind::Helper | Kind::Operator => CompletionItemKind::CLASS,
        Kind::Reading | Kind::Secret | Kind::Guard | Kind::Purse => CompletionItemKind::PROPERTY,
        Kind::Answer | Kind::Ending => CompletionItemKind::ENUM_MEMBER,
        Kind::Part | Kind::Table | Kind::Phase | Kind::Alias => CompletionItemKind::MODULE,
        Kind::Step => CompletionItemKind::FUNCTION,
    }
}

/// The words of a line, a text as `"` and a comma as `,`.
fn words(before: &str) -> Vec<&str> {
    let mut words = Vec::new();
    for (at, piece) in before.split('"').enumerate() {
        if at % 2 == 1 {
            words.push("\"");
            continue;
        }
        for piece in piece.split_inclusive(',') {
            let (bare, comma) = match piece.strip_suffix(',') {
                Some(bare) => (bare, true),
                None => (piece, false),
            };
            words.extend(bare.split_whitespace());
            if comma {
                words.push(",");
            }
        }
    }
    words
}

/// What a name would mean behind these words; nothing where it would be a new one.
fn wanted(words: &[&str]) -> Option<Wants> {
    let first = *words.first()?;
    let condition = matches!(first, "start" | "better" | "only");
    Some(match *words {
        ["see" | "hear" | "feel" | "read"] => Wants::Sign,
        [.., "and", "see" | "hear" | "feel" | "read"] => Wants::Sign,
        ["at" | "by" | "take" | "test" | "recount" | "count" | "do" | "with"] => match first {
            "at" => Wants::Place,
            "by" => Wants::Helper,
            "recount" | "count" => Wants::Reading,
            "do" => Wants::Part,
            _ => Wants::Item,
        },
        ["put", "down"] | ["keep", "away"] => Wants::Item,
        ["look", "up"] => Wants::Table,
        ["let", "go", "of"] | [.., "go" | "back", "to"] => Wants::Step,
        [.., "way", "of"] => Wants::Part,
        [.., "finish", "as"] => Wants::Ending,
        [.., "while"] => Wants::Purse,
        ["for", "each", _, "of"] => Wants::Group,
        ["do", _, "of"] | ["do", .., "and"] => Wants::Thing,
        ["with", .., "and"] => Wants::Item,
        ["with", .., "at"] => Wants::Place,
        ["ask", _, "of"] | ["recount", .., "of"] => Wants::Item,
        ["round", _, .., ","] => Wants::Place,
        [.., "from"] | ["keep", .., "and"] => Wants::Place,
        [.., "if"] | [.., "same", "as"] if condition => Wants::Reading,
        [.., "of" | "with"] if condition => Wants::Item,
        [.., "is"] if condition => Wants::Answer,
        [.., "after" | "previous" | "until"] => Wants::Moment,
        [.., "after" | "previous" | "until", _] => Wants::Moment,
        _ => return None,
    })
}

/// The reading whose answers are wanted: what stands before `is`.
fn answer_of(words: &[&str]) -> Vec<String> {
    let owned = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
    match words {
        [.., reading, "of", item, "is"] => owned(&[reading, item]),
        [.., reading, "is"] => owned(&[reading]),
        _ => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::faces::editor::mentions::{Says, mentions};
    use crate::source::FileId;
    use crate::syntax::build;

    /// Cut at any name, every line of the reference and of the shipped scripts asks for what that
    /// name means.
    #[test]
    fn what_is_wanted_is_what_the_sentence_means() {
        let scripts = [
            include_str!("../../../tests/scripts/well_formed/outcomes.bell"),
            include_str!("../../../tests/scripts/well_formed/blocks.bell"),
            include_str!("../../../tests/scripts/well_formed/flow.bell"),
            include_str!("../../../tests/scripts/well_formed/head.bell"),
            include_str!("../../../tests/scripts/well_formed/readings.bell"),
            include_str!("../../../tests/scripts/well_formed/step.bell"),
            include_str!("../../../tests/scripts/well_formed/stock.bell"),
            include_str!("../../../tests/scripts/well_formed/stretches.bell"),
            include_str!("../../../tests/scripts/well_formed/windows.bell"),
            include_str!("../../../procedures/push-start-spare.bell"),
            include_str!("../../../procedures/used-key.bell"),
        ];
        let mut seen = 0;
        for text in scripts {
            let (tree, _) = build::read(FileId(0), text);
            for line in &tree.lines {
                for mention in mentions(&line.sentence) {
                    let before =
                        &text[line.place.start as usize..mention.name.place.start as usize];
                    // Asking the grammar is slow where nothing is optimised.
                    if seen % 16 == 0 {
                        assert!(hopes::after(before).name, "{before}|{}", mention.name.value);
                    }
                    let wanted = wanted(&words(before));
                    match mention.says {
                        Says::Means(wants) => assert_eq!(wanted, Some(wants), "{before}"),
                        Says::Is(_) => assert_eq!(wanted, None, "{before}"),
                    }
                    seen += 1;
                }
            }
        }
        assert!(seen > 300, "{seen}");
    }
}
