//! `replay --drill`: takes a record and who is asked, gives the questions and the file for the answers; at
//! the end the score and where the answers are.

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::Args;

use crate::cli::Surroundings;
use crate::cli::exit::Exit;
use crate::cli::out::Answer;
use crate::edge::clock::{any_number, wall_label};
use crate::edge::drills::Book;
use crate::edge::records::default_folder;
use crate::edge::show::{Drill, Drilled};
use crate::faces::safe::{safe, wrap};
use crate::journal::drill::{FORMAT, Header, VERSION};
use crate::journal::entry;
use crate::training::drill::items;
use crate::training::reel::Reel;
use crate::training::replay::script;

/// A score in a terminal is not wider.
const COLUMNS: usize = 79;

/// A drill.
#[derive(Args, Clone, Debug, Default)]
pub struct DrillArgs {
    /// Stand still before each cue and ask what comes next, and by when; then show it. The answers are
    /// kept in a file of their own
    #[arg(long, conflicts_with_all = ["summary", "check", "captions", "chapters", "beside"])]
    pub drill: bool,
    /// The folder for the answers of a drill; it must exist. By default a folder of the user's own
    #[arg(long, value_name = "DIR", requires = "drill", conflicts_with = "no_answers")]
    pub answers: Option<PathBuf>,
    /// Keep no answers of the drill
    #[arg(long, requires = "drill")]
    pub no_answers: bool,
    /// Who is asked, for the answers; a pseudonym will do
    #[arg(long, value_name = "LABEL", requires = "drill")]
    pub operator_label: Option<String>,
    /// The same number asks with the same choices in the same order
    #[arg(long, value_name = "NUMBER", requires = "drill")]
    pub seed: Option<u64>,
}

/// The drill over a record, where one is wanted.
///
/// # Errors
/// Why it cannot be made or its answers cannot be kept.
pub fn begin(
    args: &DrillArgs,
    around: &Surroundings,
    reel: &Reel,
    (name, header): (&str, &entry::Header),
) -> Result<Option<Drill>, String> {
    if !args.drill {
        return Ok(None);
    }
    let started = wall_label();
    // Another order each time: else the places are learned, not the steps.
    let seed = args.seed.unwrap_or_else(any_number);
    let procedure = script(header).map(|(_, procedure)| procedure);
    let items = items(reel, procedure.as_ref(), seed);
    if items.is_empty() {
        return Err("this record has no step to ask for: the run ended before the first".to_owned());
    }
    let header = Header {
        format: FORMAT.to_owned(),
        version: VERSION,
        tool: env!("CARGO_PKG_VERSION").to_owned(),
        started,
        title: header.title.clone(),
        script_sha256: header.script_sha256().to_owned(),
        record: name.to_owned(),
        run_started: header.started.clone(),
        operator: args.operator_label.clone(),
    };
    let place = place(args, around)?;
    let book = place.map(|(folder, make)| Book::begin(&folder, make, header));
    let book = book.transpose().map_err(|why| {
        format!("{why}\nName another folder with --answers, or go on with --no-answers.")
    })?;
    Ok(Some(Drill::new(items, book, seed)))
}

/// Where the answers go, and whether the folder is made.
fn place(args: &DrillArgs, around: &Surroundings) -> Result<Option<(PathBuf, bool)>, String> {
    if args.no_answers {
        return Ok(None);
    }
    if let Some(folder) = &args.answers {
        return Ok(Some((folder.clone(), false)));
    }
    let records = default_folder(around.state_home.as_deref(), around.home.as_deref());
    // Beside the records, never among them.
    let folder = records.map(|records| records.with_file_name("drills"));
    folder.map(|folder| Some((folder, true))).ok_or_else(|| {
        "no folder for the answers is known. Name one with --answers, or go on with --no-answers."
            .to_owned()
    })
}

/// What a drill has come to, for whoever was asked; in a terminal no word is broken.
#[must_use]
pub fn ended(drilled: &Drilled, terminal: bool) -> Answer {
    let mut answer = Answer::ok("");
    for line in &drilled.score {
        let columns = if terminal { COLUMNS } else { usize::MAX };
        for row in wrap(&safe(line), columns, 4) {
            let _ = writeln!(answer.out, "{row}");
        }
    }
    let _ = writeln!(answer.out, "the same choices again: --seed {}", drilled.seed);
    match &drilled.kept {
        Some(Ok(path)) => {
            let _ = writeln!(answer.out, "answers: {}", safe(path));
        }
        Some(Err(why)) => {
            let _ = writeln!(answer.err, "stepbell: the answers are NOT all kept: {}", safe(why));
            answer.exit = Exit::NotRecorded;
        }
        None => {}
    }
    answer
}
