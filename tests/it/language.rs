//! The written language: what is well formed reads without complaint, what is printed reads back
//! as the same tree, and every stray line gets the one complaint that a person needs.

use std::path::{Path, PathBuf};

use proptest::prelude::*;
use stepbell::complaint::{Code, json, render};
use stepbell::source::{FileId, Source, SourceMap};
use stepbell::syntax::build::read;
use stepbell::syntax::print::{self, tidy};
use stepbell::syntax::tree::{Line, Sentence, Tree};

use crate::trees;

/// All scripts below a folder of the project.
pub fn scripts(folder: &str) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "bell") {
                found.push((path.clone(), std::fs::read_to_string(path).unwrap()));
            }
        }
    }
    found.sort();
    found
}

#[test]
fn what_is_well_formed_reads_without_complaint() {
    let scripts = scripts("tests/scripts/well_formed");
    assert!(!scripts.is_empty());
    for (path, text) in scripts {
        let (tree, complaints) = read(FileId(0), &text);
        assert_eq!(complaints, [], "{}", path.display());
        assert_eq!(tree.lines.len(), text.lines().count(), "{}", path.display());
    }
}

/// The tree with empty lines as `tidy` leaves them.
fn without_needless_blanks(tree: &Tree) -> Tree {
    let mut kept: Vec<Line> = Vec::new();
    for line in &tree.lines {
        let blank = line.sentence == Sentence::Blank;
        if !blank || kept.last().is_some_and(|before| before.sentence != Sentence::Blank) {
            kept.push(line.clone());
        }
    }
    if kept.last().is_some_and(|last| last.sentence == Sentence::Blank) {
        kept.pop();
    }
    Tree { lines: kept }
}

/// Printing gives the same tree back, and printing again gives the same text.
#[track_caller]
fn prints_and_reads_back(text: &str, of: &str) {
    let (tree, _) = read(FileId(0), text);
    let tidied = tidy(&tree);
    let (again, _) = read(FileId(0), &tidied);
    assert_eq!(again, without_needless_blanks(&tree), "{of}");
    assert_eq!(tidy(&again), tidied, "{of}");
}

#[test]
fn every_script_prints_and_reads_back_as_it_was() {
    let all = ["tests/scripts", "procedures"].into_iter().flat_map(scripts);
    for (path, text) in all {
        prints_and_reads_back(&text, &path.display().to_string());
    }
}

/// The same complaints for a program.
#[test]
fn complaints_as_objects() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scripts/stray/ten.bell");
    let text = std::fs::read_to_string(path).unwrap();
    let (_, complaints) = read(FileId(0), &text);
    assert_eq!(complaints.len(), 10);
    let objects = json(&complaints, &only(&text));
    insta::assert_snapshot!(serde_json::to_string_pretty(&objects).unwrap());
}

#[test]
fn well_formed_scripts_are_tidy() {
    for (path, text) in scripts("tests/scripts/well_formed") {
        assert_eq!(tidy(&read(FileId(0), &text).0), text, "{}", path.display());
    }
}

/// The script as the only file of a map, under a short name.
fn only(text: &str) -> SourceMap {
    let mut sources = SourceMap::default();
    sources.add(Source::new("script.bell", text));
    sources
}

/// Every stray line gets the one complaint that a person needs.
#[test]
fn stray_lines() {
    insta::glob!("../scripts/stray", "*.bell", |path| {
        let text = std::fs::read_to_string(path).unwrap();
        let (_, complaints) = read(FileId(0), &text);
        insta::assert_snapshot!(render(&complaints, &only(&text), false));
    });
}

/// What the remarks of a tree say, in their order.
fn remarks(tree: &Tree) -> Vec<&str> {
    tree.lines
        .iter()
        .filter_map(|line| match &line.sentence {
            Sentence::Remark(text) => Some(text.as_str()),
            _ => None,
        })
        .collect()
}

proptest! {
    #[test]
    fn any_tree_prints_and_reads_back_as_it_was(tree in trees::tree()) {
        let tidied = tidy(&tree);
        let (again, _) = read(FileId(0), &tidied);
        prop_assert_eq!(&again, &without_needless_blanks(&tree), "{}", tidied);
        prop_assert_eq!(tidy(&again), tidied);
        prop_assert_eq!(remarks(&again), remarks(&tree));
    }

    #[test]
    fn any_sentence_reads_without_complaint(sentence in trees::sentence()) {
        let line = print::sentence(&sentence);
        let (tree, complaints) = read(FileId(0), &line);
        let strays = complaints.iter().filter(|complaint| {
            !matches!(complaint.code, Code::BlockNotClosed | Code::EndWithoutBlock)
        });
        let expected = usize::from(matches!(sentence, Sentence::Stray(_)));
        prop_assert_eq!(strays.count(), expected, "{}", line);
        prop_assert_eq!(tree.lines.len(), usize::from(sentence != Sentence::Blank));
    }
}
