//! What the documents show is true: every block of script parses, the README's script is sound, its
//! commands exist, shipped scripts stand in canonical form.

use std::fs;
use std::path::{Path, PathBuf};

use stepbell::procedure::examine;
use stepbell::source::FileId;
use stepbell::syntax::build::read;
use stepbell::syntax::print::tidy;
use stepbell::syntax::tree::Sentence;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The fenced blocks of a document with this language.
pub fn blocks(document: &str, language: &str) -> Vec<String> {
    let text = fs::read_to_string(root().join(document)).expect("readable");
    let opening = format!("```{language}\n");
    let mut found = Vec::new();
    let mut rest = text.as_str();
    while let Some(at) = rest.find(&opening) {
        rest = &rest[at + opening.len()..];
        let end = rest.find("```").expect("a closed block");
        found.push(rest[..end].to_owned());
        rest = &rest[end..];
    }
    found
}

#[test]
fn every_line_of_script_in_the_documents_is_a_sentence() {
    for document in ["README.md", "grammar/REFERENCE.md", "grammar/PROOF.md"] {
        let blocks = blocks(document, "bell");
        assert!(!blocks.is_empty(), "{document} shows no script");
        for block in blocks {
            let (tree, _) = read(FileId(0), &block);
            let stray = tree.lines.iter().find(|l| matches!(l.sentence, Sentence::Stray(_)));
            assert!(stray.is_none(), "{document}: {stray:?}");
        }
    }
}

#[test]
fn the_readmes_script_is_sound() {
    let block = blocks("README.md", "bell").remove(0);
    let examined = examine("readme.bell", block, &mut |_| Err("no file".to_owned()));
    assert!(examined.complaints.is_empty(), "{:?}", examined.complaints);
}

#[test]
fn the_readmes_commands_name_files_that_are_there() {
    let block = blocks("README.md", "sh").remove(0);
    let files = block.split_whitespace().filter(|word| word.ends_with(".bell"));
    let mut named = 0;
    for file in files {
        assert!(root().join(file).is_file(), "{file}");
        named += 1;
    }
    assert_eq!(named, 1);
}

#[test]
fn shipped_scripts_stand_in_canonical_form() {
    for folder in ["procedures", "tests/scripts/sequences"] {
        let entries = fs::read_dir(root().join(folder)).expect("a readable folder");
        let paths: Vec<PathBuf> = entries.map(|e| e.expect("readable").path()).collect();
        for path in paths.iter().filter(|p| p.extension().is_some_and(|e| e == "bell")) {
            let text = fs::read_to_string(path).expect("readable");
            let (tree, _) = read(FileId(0), &text);
            assert_eq!(tidy(&tree), text, "{}", path.display());
        }
    }
}
