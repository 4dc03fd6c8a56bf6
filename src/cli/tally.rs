//! `stepbell tally RECORD…`: takes records and folders of them, says what they say together.

use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use super::exit::Exit;
use super::out::Answer;
use crate::edge::files;
use crate::edge::records::ENDING;
use crate::faces::tally::{document, page, table, words};
use crate::journal::read::read;
use crate::training::tally::Tally;

/// `tally`
#[derive(Args, Clone, Debug)]
#[command(after_help = "\
Editions of a script are kept apart, and rehearsals from live runs. What cannot be read is named; what
is damaged counts as far as it can be read. Every rate stands with its interval.")]
pub struct TallyArgs {
    /// Records, or folders of them
    #[arg(required = true, value_name = "RECORD")]
    pub records: Vec<PathBuf>,
    /// How to answer
    #[arg(long, value_enum, default_value = "human")]
    pub format: TallyFormat,
    /// Keep the persons apart, by the labels in the records
    #[arg(long)]
    pub by_person: bool,
}

/// How to tell a tally.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum TallyFormat {
    /// For people
    Human,
    /// One JSON document for programs
    Json,
    /// A table for a spreadsheet, one line a window
    Csv,
    /// A page of its own, with pictures
    Html,
}

/// The answer to `tally`.
#[must_use]
pub fn run(args: &TallyArgs) -> Answer {
    let mut tally = Tally::default();
    for path in &args.records {
        for record in inside(path) {
            let name = record.display().to_string();
            match files::read_record(&record) {
                Ok(bytes) => tally.add(&name, &read(&bytes), args.by_person),
                Err(why) => tally.refuse(&name, why.reason()),
            }
        }
    }
    tally.propose();
    let out = match args.format {
        TallyFormat::Human => words(&tally),
        TallyFormat::Json => serde_json::to_string_pretty(&document(&tally))
            .map(|text| text + "\n")
            .unwrap_or_default(),
        TallyFormat::Csv => table(&tally),
        TallyFormat::Html => page(&tally),
    };
    let exit = match (tally.counted(), tally.refused.is_empty() && tally.damaged.is_empty()) {
        (0, _) => Exit::Unreadable,
        (_, true) => Exit::Done,
        (_, false) => Exit::Findings,
    };
    Answer { out, err: String::new(), exit }
}

/// The records in a folder, in the order of their names; a file is itself.
fn inside(path: &Path) -> Vec<PathBuf> {
    let Ok(found) = files::in_folder(path) else { return vec![path.to_owned()] };
    let is_record = |file: &PathBuf| file.to_string_lossy().ends_with(ENDING);
    found.into_iter().filter(is_record).collect()
}
