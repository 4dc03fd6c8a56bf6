//! `stepbell tidy FILE…`: takes scripts, writes them again in canonical form. Nothing is lost: remarks
//! stay, lines that are no sentence stay as they are, and a file is replaced whole or not at all.

use std::fmt::Write as _;
use std::path::Path;

use super::args::TidyArgs;
use super::exit::Exit;
use super::out::Answer;
use crate::edge::files;
use crate::faces::safe::safe;
use crate::source::FileId;
use crate::syntax::{build, print};

/// The answer to `tidy`.
#[must_use]
pub fn run(args: &TidyArgs) -> Answer {
    let mut answer = Answer::ok("");
    for path in &args.files {
        let source = match files::read_script(path) {
            Ok(source) => source,
            Err(why) => {
                let _ = writeln!(answer.err, "stepbell: {why}");
                answer.exit = Exit::Unreadable;
                continue;
            }
        };
        let (tree, _) = build::read(FileId(0), source.text());
        let tidy = print::tidy(&tree);
        if args.check {
            if tidy != source.text() {
                let _ = writeln!(answer.out, "{}: not in canonical form", safe(source.name()));
                answer.exit = answer.exit.max(Exit::Findings);
            }
        } else if path.as_os_str() == "-" {
            answer.out.push_str(&tidy);
        } else if tidy != source.text() {
            put(path, &tidy, &mut answer);
        }
    }
    answer
}

fn put(path: &Path, tidy: &str, answer: &mut Answer) {
    if let Err(why) = files::replace(path, tidy) {
        let name = path.display().to_string();
        let _ = writeln!(answer.err, "stepbell: {} is left as it was: {why}", safe(&name));
        answer.exit = Exit::Unable;
    }
}
