//! The project's own rules as tests: dependencies point up, every file says what it is, nothing is
//! left unfinished, no test file is forgotten.

use std::fs;
use std::path::{Path, PathBuf};

/// The rooms in the order of the pipeline. A room may use itself and the rooms before it.
const ROOMS: &[&str] = &[
    "clock",
    "source",
    "complaint",
    "syntax",
    "power",
    "procedure",
    "proof",
    "guide",
    "journal",
    "vehicle",
    "training",
    "faces",
    "edge",
    "cli",
];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn rust_files(under: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![under.to_owned()];
    while let Some(folder) = open.pop() {
        let Ok(entries) = fs::read_dir(&folder) else { continue };
        for entry in entries {
            let path = entry.expect("a readable entry").path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn room_of(file: &Path) -> Option<usize> {
    let inside = file.strip_prefix(root().join("src")).expect("a file of ours");
    let first = inside.components().next()?.as_os_str().to_str()?;
    let name = first.strip_suffix(".rs").unwrap_or(first);
    ROOMS.iter().position(|room| *room == name)
}

/// The rooms that a line names behind `crate::`.
fn rooms_named(line: &str) -> Vec<usize> {
    line.match_indices("crate::")
        .filter(|(at, _)| !line[..*at].trim_start().starts_with("//"))
        .filter_map(|(at, word)| {
            let rest = &line[at + word.len()..];
            let name: String =
                rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
            ROOMS.iter().position(|room| *room == name)
        })
        .collect()
}

#[test]
fn dependencies_point_up_only() {
    let mut wrong = Vec::new();
    for file in rust_files(&root().join("src")) {
        let Some(here) = room_of(&file) else { continue };
        let text = fs::read_to_string(&file).expect("readable");
        // Inline tests may look anywhere.
        let code = text.split("#[cfg(test)]").next().unwrap_or("");
        for (number, line) in code.lines().enumerate() {
            for named in rooms_named(line).into_iter().filter(|named| *named > here) {
                wrong.push(format!(
                    "{}:{}: {} uses {}",
                    file.display(),
                    number + 1,
                    ROOMS[here],
                    ROOMS[named]
                ));
            }
        }
    }
    assert!(wrong.is_empty(), "rooms that look down:\n{}", wrong.join("\n"));
}

#[test]
fn every_room_is_in_the_list_and_every_file_says_what_it_is() {
    let mut wrong = Vec::new();
    for file in rust_files(&root().join("src")) {
        let name = file.file_name().and_then(|n| n.to_str()).unwrap_or("");
        if room_of(&file).is_none() && !["lib.rs", "main.rs"].contains(&name) {
            wrong.push(format!("{}: in no room", file.display()));
        }
        if !fs::read_to_string(&file).expect("readable").starts_with("//!") {
            wrong.push(format!("{}: does not say what it takes and gives", file.display()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn only_the_grammar_rooms_name_the_parser_library() {
    let wrong: Vec<_> = rust_files(&root().join("src"))
        .into_iter()
        .filter(|file| !file.starts_with(root().join("src/syntax")))
        .filter(|file| fs::read_to_string(file).expect("readable").contains("pest::"))
        .collect();
    assert!(wrong.is_empty(), "{wrong:?}");
}

#[test]
fn the_guide_and_the_proof_know_no_files_faces_or_serialisers() {
    let banned = ["serde", "std::fs", "std::io", "println!", "crate::faces", "Instant::now"];
    let mut wrong = Vec::new();
    for room in ["src/guide", "src/proof", "src/procedure", "src/syntax"] {
        for file in rust_files(&root().join(room)) {
            // The plain network format speaks JSON to other programs.
            if file.ends_with("proof/tn.rs") {
                continue;
            }
            let text = fs::read_to_string(&file).expect("readable");
            let code = text.split("#[cfg(test)]").next().unwrap_or("");
            for word in banned.iter().filter(|word| {
                code.lines().any(|l| !l.trim_start().starts_with("//") && l.contains(**word))
            }) {
                wrong.push(format!("{}: {word}", file.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn nothing_is_left_unfinished() {
    let markers = ["todo!(", "unimplemented!(", "dbg!(", "#[ignore", "FIXME", "XXX"];
    let mut wrong = Vec::new();
    for folder in ["src", "tests", "benches"] {
        for file in rust_files(&root().join(folder)) {
            if file.ends_with("rules.rs") {
                continue;
            }
            let text = fs::read_to_string(&file).expect("readable");
            for (number, line) in text.lines().enumerate() {
                for marker in markers.iter().filter(|marker| line.contains(**marker)) {
                    wrong.push(format!("{}:{}: {marker}", file.display(), number + 1));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_test_file_is_forgotten() {
    let main = fs::read_to_string(root().join("tests/it/main.rs")).expect("readable");
    for file in rust_files(&root().join("tests/it")) {
        if file.parent() != Some(root().join("tests/it").as_path()) {
            continue;
        }
        let name = file.file_stem().and_then(|n| n.to_str()).unwrap_or("");
        assert!(
            name == "main" || main.contains(&format!("mod {name};")),
            "tests/it/{name}.rs is in no `mod` line"
        );
    }
}

#[test]
fn files_stay_small_enough_to_be_read() {
    let long: Vec<_> = rust_files(&root().join("src"))
        .into_iter()
        .map(|file| {
            let text = fs::read_to_string(&file).expect("readable");
            let code = text.split("#[cfg(test)]").next().unwrap_or("").lines().count();
            (file, code)
        })
        .filter(|(_, lines)| *lines > 900)
        .collect();
    assert!(long.is_empty(), "{long:?}");
}
