//! The written language: what is well formed reads without complaint, what is printed reads back
//! as the same tree, and every stray line gets the one complaint that a person needs.

use std::path::{Path, PathBuf};

use stepbell::source::FileId;
use stepbell::syntax::build::read;

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
