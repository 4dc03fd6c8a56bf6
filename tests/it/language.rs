//! The written language: what is well formed reads without complaint, what is printed reads back
//! as the same tree, and every stray line gets the one complaint that a person needs.

use std::path::{Path, PathBuf};

use stepbell::complaint::render;
use stepbell::source::{FileId, Source, SourceMap};
use stepbell::syntax::build::read;
use stepbell::syntax::print::tidy;
use stepbell::syntax::tree::{Line, Sentence, Tree};

/// All scripts below a folder of the project.
fn scripts(folder: &str) -> Vec<(PathBuf, String)> {
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

#[test]
fn every_stray_line_gets_the_complaint_that_a_person_needs() {
    insta::glob!("../scripts/stray", "*.bell", |path| {
        let text = std::fs::read_to_string(path).unwrap();
        let (_, complaints) = read(FileId(0), &text);
        insta::assert_snapshot!(render(&complaints, &only(&text), false));
    });
}
