//! `stepbell sheet FILE`: takes a script, writes the apprentice's sheet beside where one works.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};

use super::args::{SheetArgs, SheetFormat};
use super::exit::Exit;
use super::out::Answer;
use super::script::{examined, pictures};
use crate::edge::files;
use crate::faces::safe::safe;
use crate::faces::sheet::{Costs, Proof, costs, html, markdown, proof, sheet};
use crate::procedure::Examined;
use crate::proof::report::judge;

/// What says that a page was made here, and may be made anew.
const OURS: [&str; 2] =
    ["<meta name=\"generator\" content=\"stepbell sheet\">", "<!-- stepbell sheet -->"];

/// The answer to `sheet`.
#[must_use]
pub fn run(args: &SheetArgs) -> Answer {
    let examined = match examined(&args.file) {
        Ok(examined) => examined,
        Err(why) => return Answer::trouble(Exit::Unreadable, why),
    };
    let sound = examined.is_sound();
    let Some(procedure) = examined.procedure.as_ref().filter(|_| sound) else {
        let mut err = pictures(&examined, false);
        err.push_str("\nstepbell: no sheet is made while an error stands.\n");
        return Answer { out: String::new(), err, exit: Exit::Findings };
    };
    let costs = match table(args) {
        Ok(costs) => costs,
        Err(answer) => return answer,
    };
    let sheet = sheet(procedure, &examined.sources, judged(&examined));
    let text = match args.format {
        SheetFormat::Html => html(&sheet, costs.as_ref(), args.wall),
        SheetFormat::Markdown => markdown(&sheet, costs.as_ref()),
    };
    let to = args.to.clone().unwrap_or_else(|| beside(&args.file, args.format));
    if to.as_os_str() == "-" {
        return Answer::ok(text);
    }
    put(&to, &text, args.to.is_some())
}

/// The sheet's own name: that of the script, in the folder where the command is given.
fn beside(file: &Path, format: SheetFormat) -> PathBuf {
    if file.as_os_str() == "-" {
        return PathBuf::from("-");
    }
    let ending = match format {
        SheetFormat::Html => "html",
        SheetFormat::Markdown => "md",
    };
    PathBuf::from(file.file_stem().unwrap_or_default()).with_extension(ending)
}

/// Writes the page; what is not a sheet is left alone unless it was named.
fn put(to: &Path, text: &str, named: bool) -> Answer {
    let name = to.display().to_string();
    if !named && !files::may_be_written(to, &OURS) {
        return Answer::trouble(
            Exit::Usage,
            format!("{} is there and is no sheet. Name another place with --to.", safe(&name)),
        );
    }
    match files::put(to, text) {
        Ok(()) => {
            Answer::ok(format!("{}: written. Open it in a browser, or print it.\n", safe(&name)))
        }
        Err(why) => {
            Answer::trouble(Exit::Unable, format!("{} cannot be written: {why}", safe(&name)))
        }
    }
}

/// The table of ways to get the key: the one named, or one beside the script.
fn table(args: &SheetArgs) -> Result<Option<Costs>, Answer> {
    let own = args.file.with_extension("ways.csv");
    let path = match &args.ways {
        Some(path) => path,
        None if own.is_file() => &own,
        None => return Ok(None),
    };
    let source = files::read_script(path).map_err(|why| Answer::trouble(Exit::Unreadable, why))?;
    costs(source.text()).map(Some).map_err(|mistakes| {
        let mut err = String::new();
        for mistake in mistakes {
            let name = safe(source.name());
            let _ = writeln!(err, "stepbell: {name}:{}: {}", mistake.line, safe(&mistake.what));
        }
        Answer { out: String::new(), err, exit: Exit::Findings }
    })
}

fn judged(examined: &Examined) -> Proof {
    let Some(procedure) = &examined.procedure else { return Proof::default() };
    let never = || false;
    match judge(procedure, &examined.plans, &examined.speech, false, &never) {
        Ok(judgement) => proof(&judgement, examined),
        // Nobody stops it.
        Err(_) => Proof::default(),
    }
}
