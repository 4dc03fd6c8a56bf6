//! `stepbell tally RECORD…`: takes records and folders of them, says what they say together.

use std::ops::Range;
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};

use super::exit::Exit;
use super::out::Answer;
use crate::edge::records::{ENDING, is_held};
use crate::edge::{copies, files, many};
use crate::faces::drilled;
use crate::faces::tally::{document, page, table, words};
use crate::journal::brief::brief;
use crate::journal::drill;
use crate::training::drilled::Drills;
use crate::training::tally::{Tally, Told};

/// `tally`
#[derive(Args, Clone, Debug)]
#[command(after_help = "\
Editions of a script are kept apart, and rehearsals from live runs. What cannot be read is named; what \
is damaged counts as far as it can be read; a copy that was cut short counts with the run that it is of. A \
window counts as missed only where it decided that a step was too late, and as met only for sure. Every rate \
stands with its interval.")]
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
    /// Count the answers of drills instead of runs; the two are never counted together
    #[arg(long)]
    pub drills: bool,
}

/// How to tell a tally.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum TallyFormat {
    /// For people
    Human,
    /// One JSON document for programs
    Json,
    /// A table for a spreadsheet, one line a window; with --drills, one line a step and question
    Csv,
    /// A page of its own, with pictures; not with --drills
    Html,
}

/// The answer to `tally`.
#[must_use]
pub fn run(args: &TallyArgs) -> Answer {
    if args.drills {
        return drills(args);
    }
    let records: Vec<PathBuf> = args.records.iter().flat_map(|path| inside(path)).collect();
    let mut tally = match counted(&records, args.by_person) {
        Ok(tally) => tally,
        Err(why) => {
            return Answer::trouble(Exit::Unable, format!("no thread could be begun: {why}"));
        }
    };
    tally.list_windows();
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

/// So many records are read before they are counted: what waits is bounded.
const AT_ONCE: usize = 512;
/// So many of them a thread takes at a time.
const PORTION: u64 = 16;

/// Reads the records on every core and counts them in their order.
///
/// # Errors
/// When not one thread can be had.
pub fn counted(records: &[PathBuf], by_person: bool) -> std::io::Result<Tally> {
    let mut tally = Tally::default();
    let cut = copies::cut_short(records)?;
    let name = |record: &Path| record.display().to_string();
    tally.cut = cut.iter().map(|(nth, of)| (name(&records[*nth]), name(&records[*of]))).collect();
    let whole: Vec<&PathBuf> = records
        .iter()
        .enumerate()
        .filter(|(nth, _)| !cut.contains_key(nth))
        .map(|(_, r)| r)
        .collect();
    for some in whole.chunks(AT_ONCE) {
        let read_some = |own: &mut Share, range: Range<u64>| {
            for nth in range {
                let record = usize::try_from(nth).ok().and_then(|nth| some.get(nth));
                own.told.extend(record.map(|record| (nth, told(record, &mut own.bytes))));
            }
        };
        let total = u64::try_from(some.len()).unwrap_or(u64::MAX);
        let shares =
            many::spread_by(PORTION, many::cores(), total, Share::default, read_some, |_| {})?;
        let mut all: Vec<_> = shares.into_iter().flat_map(|share| share.told).collect();
        all.sort_by_key(|(nth, _)| *nth);
        for ((_, told), record) in all.into_iter().zip(some) {
            let name = name(record);
            match told {
                Ok(told) if told.is_open() && is_held(record) => tally.running.push(name),
                Ok(told) => tally.count(&name, told, by_person),
                Err(why) => tally.refuse(&name, why),
            }
        }
    }
    Ok(tally)
}

/// What one thread has read.
#[derive(Default)]
struct Share {
    told: Vec<(u64, Result<Told, String>)>,
    /// The bytes of one record after the other.
    bytes: Vec<u8>,
}

fn told(record: &Path, bytes: &mut Vec<u8>) -> Result<Told, String> {
    files::read_record_into(record, bytes).map_err(|why| why.reason())?;
    // The answers of a drill are no record, so that only what is none need be asked.
    Told::of(brief(bytes)).map_err(|why| match drill::is_drill(bytes) {
        true => "the answers of a drill, not a run; --drills counts those".to_owned(),
        false => why,
    })
}

/// The answers of drills: in a folder, the files that are named as such.
fn drills(args: &TallyArgs) -> Answer {
    let mut all = Drills::default();
    for path in &args.records {
        for file in files_in(path, |name| name.ends_with(drill::ENDING)) {
            let name = file.display().to_string();
            match files::read_record(&file) {
                Ok(bytes) => all.add(&name, &drill::read(&bytes), args.by_person),
                Err(why) => all.refused.push((name, why.reason())),
            }
        }
    }
    let out = match args.format {
        TallyFormat::Human => drilled::table(&all),
        TallyFormat::Json => serde_json::to_string_pretty(&drilled::document(&all))
            .map(|text| text + "\n")
            .unwrap_or_default(),
        TallyFormat::Csv => drilled::sheet(&all),
        TallyFormat::Html => {
            let why = "the answers of drills are told as `human`, `json` or `csv`";
            return Answer::trouble(Exit::Usage, why);
        }
    };
    let exit = match (all.counted(), all.refused.is_empty() && all.damaged.is_empty()) {
        (0, _) => Exit::Unreadable,
        (_, true) => Exit::Done,
        (_, false) => Exit::Findings,
    };
    Answer { out, err: String::new(), exit }
}

/// The records in a folder, in the order of their names; a file is itself.
fn inside(path: &Path) -> Vec<PathBuf> {
    files_in(path, |name| name.ends_with(ENDING) && !name.ends_with(drill::ENDING))
}

fn files_in(path: &Path, wanted: impl Fn(&str) -> bool) -> Vec<PathBuf> {
    let Ok(found) = files::in_folder(path) else { return vec![path.to_owned()] };
    found.into_iter().filter(|file| wanted(&file.to_string_lossy())).collect()
}
