//! Scripts in an editor, without its wires: whatever is typed, the marks are those of a check of the text;
//! names, changes of names, outlines, forms and offers, against independent counts.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::Path;

use lsp_types::{
    DocumentSymbol, InlayHintLabel, InlayHintTooltip, Position, Range,
    TextDocumentContentChangeEvent, TextEdit, Uri, WorkspaceEdit,
};
use proptest::prelude::*;
use stepbell::complaint::{Complaint, json};
use stepbell::faces::editor::figures::of_proof;
use stepbell::faces::editor::judge::judge;
use stepbell::faces::editor::mentions::{Says, Wants};
use stepbell::faces::editor::names::Names;
use stepbell::faces::editor::text::Unit;
use stepbell::faces::editor::{Editor, Later, Shelf, Shown, reader};
use stepbell::procedure::examine;
use stepbell::procedure::library::load;
use stepbell::source::FileId;
use stepbell::syntax::build::read;
use stepbell::syntax::print::tidy;

use crate::language::scripts;

const ADDRESS: &str = "file:///bench/a.bell";

/// No file at all.
struct Empty;

impl Shelf for Empty {
    fn read(&self, _: &str) -> Result<String, String> {
        Err("no file".to_owned())
    }

    fn beside(&self, _: &str) -> Vec<String> {
        Vec::new()
    }
}

fn opened(text: &str, unit: Unit) -> Editor {
    let mut editor = Editor::new(unit, true);
    editor.open(ADDRESS, 1, text.to_owned());
    editor
}

fn judged(editor: &mut Editor) -> Vec<Shown> {
    let task = editor.task(ADDRESS).expect("open");
    let buffers = editor.buffers();
    let name = task.name.clone();
    let judged = judge(task, &mut reader(&name, &buffers, &Empty));
    editor.accept(judged)
}

/// Everything an editor can ask about a place.
fn ask_all(editor: &Editor, at: Position) {
    let range = Range::new(at, Position::new(at.line + 3, 0));
    let _ = editor.complete(ADDRESS, at, &Empty);
    let _ = editor.definition(ADDRESS, at, &Empty);
    let _ = editor.references(ADDRESS, at, &Empty);
    let _ = editor.highlights(ADDRESS, at, &Empty);
    let _ = editor.renamable(ADDRESS, at, &Empty);
    let _ = editor.rename(ADDRESS, at, "other-name", &Empty);
    let _ = editor.hover(ADDRESS, at, &Empty);
    let _ = editor.actions(ADDRESS, range, &Empty);
    let _ = editor.hints(ADDRESS, range);
    let _ = editor.outline(ADDRESS);
    let _ = editor.tidied(ADDRESS);
}

/// Every sound script of the project that stands by itself.
fn sound() -> Vec<(String, String)> {
    let mut all = scripts("procedures");
    all.extend(scripts("tests/scripts/sequences"));
    all.extend(scripts("tests/terminal"));
    all.extend(scripts("tests/editor"));
    all.into_iter().map(|(path, text)| (path.display().to_string(), text)).collect()
}

/// Text, as an editor counts its columns: an independent count over 16-bit units.
struct Counted(Vec<Vec<u16>>);

impl Counted {
    fn of(text: &str) -> Counted {
        Counted(text.split('\n').map(|line| line.encode_utf16().collect()).collect())
    }

    fn text(&self) -> String {
        let lines: Vec<String> = self.0.iter().map(|line| String::from_utf16_lossy(line)).collect();
        lines.join("\n")
    }

    fn replace(&mut self, range: Range, new: &str) {
        let at = |position: Position| {
            let line = (position.line as usize).min(self.0.len() - 1);
            (line, (position.character as usize).min(self.0[line].len()))
        };
        let ((from, start), (to, end)) = (at(range.start), at(range.end));
        let before = String::from_utf16_lossy(&self.0[from][..start]);
        let behind = String::from_utf16_lossy(&self.0[to][end..]);
        let middle = Counted::of(&format!("{before}{new}{behind}")).0;
        self.0.splice(from..=to, middle);
    }
}

/// A position on a whole character of a text, as an editor counts.
fn place(counted: &Counted, index: prop::sample::Index) -> Position {
    let all: Vec<Position> = counted
        .0
        .iter()
        .enumerate()
        .flat_map(|(line, units)| {
            let whole = (0..=units.len())
                .filter(|at| units.get(*at).is_none_or(|unit| !(0xdc00..0xe000).contains(unit)));
            whole.map(move |at| (line, at)).collect::<Vec<_>>()
        })
        .map(|(line, at)| Position::new(u32::try_from(line).unwrap(), u32::try_from(at).unwrap()))
        .collect();
    all[index.index(all.len())]
}

fn edits() -> impl Strategy<Value = Vec<(prop::sample::Index, prop::sample::Index, String)>> {
    let new = prop_oneof![
        "[a-z0-9 \",.\\-é🔑鍵]{0,6}",
        Just("\n".to_owned()),
        Just("  takes 1s to 4s\n".to_owned()),
        Just("end phase\n".to_owned()),
        Just(String::new()),
    ];
    prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), new), 1..6)
}

/// What `check` tells of a text.
fn checked(text: &str) -> Vec<Complaint> {
    examine("/bench/a.bell", text.to_owned(), &mut |_| Err("no file".to_owned())).complaints
}

/// What the marks tell, against what `check` tells of the same text.
#[track_caller]
fn same_as_check(editor: &mut Editor) {
    let text = editor.document(ADDRESS).expect("open").text.as_str().to_owned();
    let shown = judged(editor);
    let marks = shown.iter().find(|(address, ..)| address == ADDRESS).expect("shown");
    let mut found: Vec<(String, u32)> = marks
        .2
        .iter()
        .filter_map(|mark| match &mark.code {
            Some(lsp_types::NumberOrString::String(code)) if code != "timing" => {
                Some((code.clone(), mark.range.start.line + 1))
            }
            _ => None,
        })
        .collect();
    let mut sources = stepbell::source::SourceMap::default();
    sources.add(stepbell::source::Source::new("/bench/a.bell", &*text));
    let complaints = checked(&text);
    let wanted = json(&complaints, &sources);
    let mut wanted: Vec<(String, u32)> = wanted
        .as_array()
        .expect("a list")
        .iter()
        .map(|object| {
            let line = object["line"].as_u64().and_then(|line| u32::try_from(line).ok());
            (object["code"].as_str().expect("a code").to_owned(), line.expect("a line"))
        })
        .collect();
    found.sort();
    wanted.sort();
    assert_eq!(found, wanted, "{text}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// Keys and pastes at any place of any script, in the middle of words and characters of two units:
    /// the text is what the editor has, nothing panics, and the marks are those of a check.
    #[test]
    fn whatever_is_typed_the_marks_are_those_of_a_check(
        which in any::<prop::sample::Index>(),
        edits in edits(),
        asked in any::<prop::sample::Index>(),
    ) {
        let all = sound();
        let (_, text) = &all[which.index(all.len())];
        let mut editor = opened(text, Unit::Utf16);
        let mut counted = Counted::of(text);
        for (version, (one, other, new)) in edits.into_iter().enumerate() {
            let (one, other) = (place(&counted, one), place(&counted, other));
            // Most changes are small: the second place is near the first.
            let near = Position::new(one.line, other.character.min(one.character + 9));
            let range = if near > one { Range::new(one, near) } else { Range::new(one, one) };
            let change = TextDocumentContentChangeEvent {
                range: Some(range),
                range_length: None,
                text: new.clone(),
            };
            editor.change(ADDRESS, i32::try_from(version).unwrap() + 2, vec![change]);
            // Half a character stays whole in both.
            let snapped = snap(&counted, range);
            counted.replace(snapped, &new);
            prop_assert_eq!(editor.document(ADDRESS).unwrap().text.as_str(), counted.text());
        }
        ask_all(&editor, place(&counted, asked));
        same_as_check(&mut editor);
        ask_all(&editor, place(&counted, asked));
    }

    /// Any text, half of a script, ends of lines of all kinds.
    #[test]
    fn half_a_script_and_any_text_are_looked_at(
        which in any::<prop::sample::Index>(),
        cut in any::<prop::sample::Index>(),
        tail in "\\PC{0,40}|[\\PC\n\r\t\u{0}-\u{1f}\"]{0,40}",
        (line, column) in (0..200_u32, 0..120_u32),
        crlf in any::<bool>(),
    ) {
        let all = sound();
        let (_, text) = &all[which.index(all.len())];
        let mut cut = cut.index(text.len());
        while !text.is_char_boundary(cut) {
            cut -= 1;
        }
        let mut half = format!("{}{tail}", &text[..cut]);
        if crlf {
            half = half.replace('\n', "\r\n");
        }
        for unit in [Unit::Utf8, Unit::Utf16] {
            let mut editor = opened(&half, unit);
            ask_all(&editor, Position::new(line, column));
            same_as_check(&mut editor);
            ask_all(&editor, Position::new(line, column));
        }
    }
}

/// A range whose ends stand inside a character begins before it.
fn snap(counted: &Counted, range: Range) -> Range {
    let snap = |at: Position| {
        let line = &counted.0[at.line as usize];
        let inside = line.get(at.character as usize).is_some_and(|u| (0xdc00..0xe000).contains(u));
        Position::new(at.line, at.character - u32::from(inside))
    };
    Range::new(snap(range.start), snap(range.end))
}

/// In a sound script every name means something, but for the endings that exist without a line.
#[test]
fn every_name_of_a_sound_script_is_known() {
    let mut names = 0;
    for (path, text) in sound() {
        let library = load("a.bell", text.clone(), &mut |_| Err("no file".to_owned()));
        for spot in Names::of(&library).spots {
            let said = library.sources.slice(spot.place);
            let built_in = spot.says == Says::Means(Wants::Ending)
                && ["learned", "not-learned", "unsure", "stopped"].contains(&said);
            assert_eq!(spot.symbols.is_empty(), built_in, "{path}: {said} {:?}", spot.says);
            names += 1;
        }
    }
    assert!(names > 1000, "{names}");
}

fn apply(text: &str, edits: &[TextEdit]) -> String {
    let mut counted = Counted::of(text);
    let mut edits = edits.to_vec();
    edits.sort_by_key(|edit| std::cmp::Reverse(edit.range.start));
    for edit in edits {
        counted.replace(edit.range, &edit.new_text);
    }
    counted.text()
}

/// The changes of the one document.
#[track_caller]
fn edits_of(edit: WorkspaceEdit) -> Vec<TextEdit> {
    let all: Vec<(Uri, Vec<TextEdit>)> = edit.changes.into_iter().flatten().collect();
    let [(uri, edits)] = &all[..] else { panic!("one document: {all:?}") };
    assert_eq!(uri.as_str(), ADDRESS);
    edits.clone()
}

fn changed(editor: &Editor, at: Position, new: &str) -> Result<String, String> {
    let edits = edits_of(editor.rename(ADDRESS, at, new, &Empty)?);
    Ok(apply(editor.document(ADDRESS).expect("open").text.as_str(), &edits))
}

/// Every name of some sound scripts is given another name and its own again: the complaints are the same
/// between, and the text is the same behind.
#[test]
fn a_name_can_be_changed_and_changed_back() {
    let mut renamed = BTreeSet::new();
    // Each name takes a whole check; these have every kind.
    let some = ["every-name", "18-opener-two-places", "13-tyre-sensors", "turn-key-spare"];
    for (path, text) in sound() {
        if !some.iter().any(|name| path.contains(name)) {
            continue;
        }
        let library = load("a.bell", text.clone(), &mut |_| Err("no file".to_owned()));
        let names = Names::of(&library);
        let before: Vec<_> = checked(&text).iter().map(|complaint| complaint.code).collect();
        let mut done = BTreeSet::new();
        for spot in names.spots.iter().filter(|spot| !spot.symbols.is_empty()) {
            if !done.insert(spot.symbols.clone()) {
                continue;
            }
            let symbol = &names.symbols[spot.symbols[0]];
            let editor = opened(&text, Unit::Utf16);
            let document = editor.document(ADDRESS).expect("open");
            let at = document.text.position(spot.place.start as usize + 1, Unit::Utf16);
            let new = changed(&editor, at, "quite-another").expect(&path);
            assert_ne!(new, text);
            let after: Vec<_> = checked(&new).iter().map(|complaint| complaint.code).collect();
            assert_eq!(before, after, "{path}: {}\n{new}", symbol.name);
            let editor = opened(&new, Unit::Utf16);
            let at = editor.document(ADDRESS).expect("open").text.as_str().find("quite-another");
            let at =
                editor.document(ADDRESS).expect("open").text.position(at.unwrap(), Unit::Utf16);
            assert_eq!(changed(&editor, at, &symbol.name).expect(&path), text, "{}", symbol.name);
            renamed.insert(format!("{:?}", symbol.kind));
        }
    }
    let kinds: Vec<&str> = renamed.iter().map(String::as_str).collect();
    assert_eq!(kinds, KINDS, "every kind of name has been changed");
}

const KINDS: &[&str] = &[
    "Alias", "Answer", "Ending", "Guard", "Helper", "Item", "Operator", "Part", "Phase", "Place",
    "Purse", "Reading", "Round", "Secret", "Sign", "StandIn", "Step", "Table", "Turn",
];

#[test]
fn a_name_that_is_taken_or_half_written_is_not_changed() {
    let text = "have a, registered key, \"x\"\nhave b, registered key, \"y\"\nstep c \"Do it.\"\n  \
                take a\n";
    let editor = opened(text, Unit::Utf16);
    let at = Position::new(0, 5);
    assert!(changed(&editor, at, "b").unwrap_err().contains("something else"));
    assert!(changed(&editor, at, "c").is_ok(), "a step stands in another room");
    for wrong in ["", "A", "two words", "after", "9x", "\"x\""] {
        assert!(changed(&editor, at, wrong).unwrap_err().contains("is no name"), "{wrong}");
    }
    let editor = opened(&format!("{text}  put dwn a\n"), Unit::Utf16);
    assert!(changed(&editor, at, "d").unwrap_err().contains("Line 5"));
    let editor = opened("finish as learned\n", Unit::Utf16);
    assert!(changed(&editor, Position::new(0, 12), "d").is_err(), "it has no line");
}

#[test]
fn the_form_is_that_of_tidy_and_the_change_is_small() {
    for (path, text) in scripts("tests/scripts") {
        let (tree, _) = read(FileId(0), &text);
        let editor = opened(&text, Unit::Utf16);
        let wanted = tidy(&tree);
        match editor.tidied(ADDRESS) {
            Some(edit) if !text.contains('\r') => {
                assert_eq!(apply(&text, &[edit]), wanted, "{}", path.display());
            }
            Some(_) => {}
            None => assert_eq!(text, wanted, "{}", path.display()),
        }
    }
    let text = sound().remove(0).1;
    let (line, rest) = text.split_once('\n').expect("lines");
    let editor = opened(&format!("{line}\n\n\n\n{rest}"), Unit::Utf16);
    let edit = editor.tidied(ADDRESS).expect("a change");
    assert!(edit.new_text.len() < 3 && edit.range.end.line < 6, "{edit:?}");
}

/// What an outline says, in lines.
fn lines(symbols: &[DocumentSymbol], depth: usize, into: &mut String) {
    for symbol in symbols {
        let (start, end) = (symbol.range.start.line + 1, symbol.range.end.line + 1);
        let detail = symbol.detail.as_deref().unwrap_or("");
        let _ = writeln!(into, "{:depth$}{} {start}-{end} {detail}", "", symbol.name);
        let inside = |at: Position| symbol.range.start <= at && at <= symbol.range.end;
        assert!(inside(symbol.selection_range.start) && inside(symbol.selection_range.end));
        for child in symbol.children.iter().flatten() {
            assert!(inside(child.range.start) && inside(child.range.end), "{}", child.name);
        }
        lines(symbol.children.as_deref().unwrap_or_default(), depth + 2, into);
    }
}

#[test]
fn the_outline_of_a_script() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/push-start-spare.bell");
    let text = std::fs::read_to_string(path).expect("readable");
    let mut said = String::new();
    lines(&opened(&text, Unit::Utf16).outline(ADDRESS), 0, &mut said);
    insta::assert_snapshot!(said);
    for (_, text) in scripts("tests/scripts") {
        lines(&opened(&text, Unit::Utf16).outline(ADDRESS), 0, &mut String::new());
    }
}

/// What is offered where `|` stands, the nearest first.
fn offered(text: &str) -> String {
    let byte = text.find('|').expect("a mark");
    let editor = opened(&text.replacen('|', "", 1), Unit::Utf8);
    let at = editor.document(ADDRESS).expect("open").text.position(byte, Unit::Utf8);
    let mut items = editor.complete(ADDRESS, at, &Empty);
    items.sort_by_key(|item| item.sort_text.clone());
    let labels: Vec<&str> = items.iter().map(|item| &*item.label).collect();
    labels.join(" · ")
}

#[test]
fn what_is_offered_where() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/push-start-spare.bell");
    let text = std::fs::read_to_string(path).expect("readable");
    let mut said = String::new();
    for (line, written) in [
        ("    within 30s after open answered\n", "    within 30s after |\n"),
        ("    within 30s after open answered\n", "    within 30s after open |\n"),
        ("    within 30s after open answered\n", "    within 30s after op|en answered\n"),
        ("    with working at seat\n", "    with |\n"),
        ("    with working at seat\n", "    with working at |\n"),
        ("      take spare\n", "      take |\n"),
        ("    hear chime-once, between", "    hear |, between"),
        ("so finish as refused\n", "so |\n"),
        ("so finish as refused\n", "so finish as |\n"),
        ("so go back to open after 5s", "so go back to |"),
        ("    takes 1s to 4s\n    take working\n", "    takes 1|\n    take working\n"),
        ("start only if known is at least", "start only if |"),
        ("chip of spares is the same", "chip of spares is |"),
        ("danger exhaust", "danger |"),
        ("    put down working\n", "    put|\n"),
        ("\"Open the door\"", "|"),
    ] {
        if !text.contains(line) {
            continue;
        }
        let _ = writeln!(
            said,
            "{}\n    {}\n",
            written.trim(),
            offered(&text.replacen(line, written, 1))
        );
    }
    let _ = writeln!(said, "in a new line of a step\n    {}\n", offered("step a \"Do it.\"\n  |"));
    let _ = writeln!(said, "in an empty script\n    {}\n", offered("|"));
    let _ = writeln!(said, "in a text\n    {}\n", offered("step a \"Do |"));
    insta::assert_snapshot!(said);
}

#[test]
fn what_a_hover_and_a_line_say() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("procedures/push-start-spare.bell");
    let text = std::fs::read_to_string(path).expect("readable");
    let text = text.replacen("takes 500ms to 3s", "takes 500 to 3s", 1);
    let mut editor = opened(&text, Unit::Utf16);
    judged(&mut editor);
    let mut said = String::new();
    for word in [
        "working at seat",
        "chime-once, between",
        "open answered",
        "takes 500",
        "500 to 3s",
        "rest is",
        "status",
        "step tin",
    ] {
        let byte = text.find(word).expect(word);
        let at = editor.document(ADDRESS).expect("open").text.position(byte, Unit::Utf16);
        let hover = editor.hover(ADDRESS, at, &Empty).map(|hover| hover.contents);
        let value = match hover {
            Some(lsp_types::HoverContents::Markup(markup)) => markup.value,
            other => format!("{other:?}"),
        };
        let _ = writeln!(said, "---- {word}\n{value}\n");
    }
    insta::assert_snapshot!(said);
    let hints = editor.hints(ADDRESS, Range::new(Position::new(0, 0), Position::new(300, 0)));
    assert!(hints.is_empty(), "nothing is said of the timing while an error stands");
    let mut editor = opened(&text.replacen("takes 500 to 3s", "takes 500ms to 3s", 1), Unit::Utf16);
    judged(&mut editor);
    let hints = editor.hints(ADDRESS, Range::new(Position::new(0, 0), Position::new(300, 0)));
    assert!(matches!(&hints[0].label, InlayHintLabel::String(label) if label == "proven"));
    assert_eq!(hints.len(), 1, "the rest comes later");
    let figures = figures(&mut editor);
    assert!(figures.contains("step show-new") && figures.contains(" to spare"), "{figures}");
    insta::assert_snapshot!("what_the_proof_says_beside_the_lines", figures);
}

/// What the proof says beside the lines, and on a hover.
fn figures(editor: &mut Editor) -> String {
    let task = editor.task(ADDRESS).expect("open");
    let judged = judge(task, &mut |_| Err("no file".to_owned()));
    let later = Later {
        address: ADDRESS.to_owned(),
        version: judged.version,
        mends: Vec::new(),
        figures: of_proof(&judged, &|| false).expect("nobody stops it"),
    };
    assert!(editor.accept_later(later));
    let text = editor.document(ADDRESS).expect("open").text.as_str().to_owned();
    let all = Range::new(Position::new(0, 0), Position::new(300, 0));
    let mut said = String::new();
    for hint in editor.hints(ADDRESS, all) {
        let (InlayHintLabel::String(label), Some(InlayHintTooltip::String(long))) =
            (hint.label, hint.tooltip)
        else {
            panic!("a text")
        };
        let line = text.lines().nth(hint.position.line as usize).unwrap_or("").trim();
        let _ = writeln!(said, "{line}   [{label}]\n    {long}");
    }
    said
}

/// Figures are of the version that they were made for, and a new key ends what makes them.
#[test]
fn figures_of_a_version_that_is_past_are_not_shown() {
    let text = sound().remove(0).1;
    let mut editor = opened(&text, Unit::Utf16);
    judged(&mut editor);
    let task = editor.task(ADDRESS).expect("open");
    let old = judge(task, &mut |_| Err("no file".to_owned()));
    assert_eq!(of_proof(&old, &|| true), Err(stepbell::proof::controllable::Stopped));
    let figures = of_proof(&old, &|| false).expect("nobody stops it");
    let end = TextDocumentContentChangeEvent { range: None, range_length: None, text };
    editor.change(ADDRESS, 2, vec![end]);
    let later =
        Later { address: ADDRESS.to_owned(), version: old.version, mends: Vec::new(), figures };
    assert!(!editor.accept_later(later));
    assert!(editor.accept(old).is_empty());
}

/// Every mechanical fix, as the editor offers and applies it, mends its own complaint.
#[test]
fn every_fix_offered_mends_what_it_is_offered_for() {
    let mut mended = 0;
    for (path, text) in scripts("tests/scripts") {
        if text.contains(['\r', '\u{feff}']) {
            continue;
        }
        let mut editor = opened(&text, Unit::Utf16);
        judged(&mut editor);
        for complaint in checked(&text).iter().filter(|complaint| complaint.fix.is_some()) {
            let document = &editor.document(ADDRESS).expect("open").text;
            let (start, end) = (complaint.place.start as usize, complaint.place.end as usize);
            let range = document.range(start, end, Unit::Utf16);
            let actions = editor.actions(ADDRESS, range, &Empty);
            let fix = complaint.fix.as_ref().expect("one");
            let action = actions.iter().find(|action| action.title.starts_with(fix.what));
            let action = action.unwrap_or_else(|| panic!("{}: {}", path.display(), fix.what));
            let new = apply(&text, &edits_of(action.edit.clone().expect("a change")));
            let (before, after) = (checked(&text), checked(&new));
            let count = |all: &[Complaint]| all.iter().filter(|c| c.code == complaint.code).count();
            assert!(count(&after) < count(&before), "{} {}\n{new}", path.display(), fix.what);
            mended += 1;
        }
    }
    assert!(mended > 15, "{mended}");
}
