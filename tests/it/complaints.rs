//! Complaints as a person sees them: one small script for each code, and none where none is due.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use stepbell::complaint::{Complaint, Fact};
use stepbell::procedure::check::check;
use stepbell::procedure::library::{self, Library};
use stepbell::procedure::model::Procedure;

fn scripts(folder: &str) -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
    let entries = fs::read_dir(&root).expect("a folder of scripts");
    let paths = entries.map(|entry| entry.expect("a readable entry").path());
    let mut found: Vec<PathBuf> =
        paths.filter(|path| path.extension().is_some_and(|e| e == "bell")).collect();
    found.sort();
    found
}

/// Loads and checks a script; its used files stand beside it or below.
fn checked(path: &Path) -> (Library, Option<Procedure>, Vec<Complaint>) {
    let text = fs::read_to_string(path).expect("readable");
    let folder = path.parent().expect("a folder").to_owned();
    let name = path.file_name().and_then(|name| name.to_str()).expect("a name");
    let mut read = |wanted: &str| {
        fs::read_to_string(folder.join(wanted)).map_err(|_| "there is no such file".to_owned())
    };
    let library = library::load(name, text, &mut read);
    let (procedure, found) = check(&library);
    let mut all = library.complaints.clone();
    all.extend(found);
    all.sort_by_key(|complaint| (complaint.place, complaint.code));
    (library, procedure, all)
}

fn sentence(complaint: &Complaint) -> String {
    let mut words = complaint.code.sentence().to_owned();
    for (gap, fact) in &complaint.facts {
        let fact = match fact {
            Fact::Text(text) => text.clone(),
            Fact::Length(length) => length.to_string(),
            Fact::Number(number) => number.to_string(),
        };
        words = words.replace(&format!("{{{gap}}}"), &fact);
    }
    words
}

fn listed(library: &Library, complaints: &[Complaint]) -> String {
    let mut out = String::new();
    for complaint in complaints {
        let place = library.sources.line_col(complaint.place);
        let file = library.sources.get(complaint.place.file).map_or("", |file| file.name());
        let (code, severity) = (complaint.code.name(), complaint.code.severity().word());
        let words = sentence(complaint);
        writeln!(out, "{file}:{place} {severity} {code}: {words}").expect("a string grows");
    }
    out
}

#[test]
fn sound_scripts_have_no_complaint() {
    let mut found = String::new();
    for folder in ["procedures", "tests/scripts/sequences"] {
        for path in scripts(folder) {
            let (library, procedure, complaints) = checked(&path);
            found.push_str(&listed(&library, &complaints));
            assert!(procedure.is_some() || !complaints.is_empty(), "{}", path.display());
        }
    }
    assert!(found.is_empty(), "{found}");
}
