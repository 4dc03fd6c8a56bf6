//! What stands in `editors/`, against the language itself.

use std::fs;
use std::path::Path;

use serde_json::Value;
use stepbell::syntax::hopes::first_words;

fn read(path: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).expect("readable")
}

fn patterns<'v>(value: &'v Value, found: &mut Vec<&'v str>) {
    match value {
        Value::Object(fields) => {
            for (name, value) in fields {
                match value {
                    Value::String(text) if name == "match" => found.push(text),
                    value => patterns(value, found),
                }
            }
        }
        Value::Array(values) => values.iter().for_each(|value| patterns(value, found)),
        _ => {}
    }
}

/// A new sentence must be coloured: its first word stands at the beginning of some pattern.
#[test]
fn every_first_word_has_a_colour() {
    let grammar: Value =
        serde_json::from_str(&read("editors/grammar/bell.tmLanguage.json")).expect("JSON");
    let mut found = Vec::new();
    patterns(&grammar, &mut found);
    for word in first_words() {
        let named = |pattern: &&&str| {
            pattern.split(|c: char| !c.is_ascii_lowercase()).any(|part| part == *word)
        };
        assert!(found.iter().find(named).is_some(), "{word} has no colour");
    }
}

/// The extension's version is the program's, and it starts a command that there is.
#[test]
fn the_extension_goes_with_the_program() {
    let package: Value =
        serde_json::from_str(&read("editors/extension/package.json")).expect("JSON");
    assert_eq!(package["version"], env!("CARGO_PKG_VERSION"));
    for file in
        ["editors/extension/client.js", "editors/neovim/ftplugin/bell.lua", "editors/README.md"]
    {
        assert!(read(file).contains("language-server"), "{file}");
    }
}
