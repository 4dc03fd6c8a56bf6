//! `stepbell replay RECORD`: takes a record, shows it again at its pace, sums it up, or checks it.

use std::fmt::Write as _;

use super::Surroundings;
use super::args::ReplayArgs;
use super::exit::Exit;
use super::out::{self, Answer};
use super::page;
use super::script::worst_length;
use crate::clock::Moment;
use crate::edge::console::{Console, Opening};
use crate::edge::files;
use crate::edge::keys::KeyMap;
use crate::edge::run::How;
use crate::edge::show::play;
use crate::faces::captions::{Film, captions, chapters};
use crate::faces::safe::safe;
use crate::faces::score::score as score_words;
use crate::faces::summary::table;
use crate::faces::words::{Banner, KeyNames, Setting};
use crate::guide::Settings;
use crate::journal::entry::{Header, RunKind};
use crate::journal::read::{ReadBack, read};
use crate::procedure::model::Procedure;
use crate::procedure::timing::speech_lengths;
use crate::proof::timing::network;
use crate::training::replay::{Rerun, rerun, scenes, summary};
use crate::training::score::score;

/// Shows the record.
#[must_use]
pub fn run(args: &ReplayArgs, around: &Surroundings) -> Exit {
    let bytes = match files::read_record(&args.record) {
        Ok(bytes) => bytes,
        Err(why) => return out::say(&Answer::trouble(Exit::Unreadable, why)),
    };
    let record = read(&bytes);
    let name = args.record.display().to_string();
    let Some(header) = &record.header else {
        let why =
            format!("{}: this is not a record of ours, or its first line is damaged", safe(&name));
        return out::say(&Answer {
            err: faults(&record, &why),
            ..Answer::trouble(Exit::Unreadable, "")
        });
    };
    let damaged = !record.faults.is_empty();
    let mut answer = Answer::ok("");
    if damaged {
        answer.err =
            faults(&record, &format!("{}: damaged, shown as far as it can be read", safe(&name)));
        answer.exit = Exit::Findings;
    }
    if args.summary {
        let scenes = scenes(&record);
        answer.out = table(Some(header), &summary(&scenes));
        if header.run == RunKind::Rehearsal {
            answer.out.push('\n');
            answer.out.push_str(&score_words(&score(&scenes)));
        }
        return out::say(&answer);
    }
    if args.captions.is_some() || args.chapters.is_some() {
        return out::say(&filmed(args, &record, header, answer));
    }
    if args.check {
        return out::say(&checked(&record, answer));
    }
    let told = out::say(&answer);
    match show(args, around, &record, header) {
        Ok(How::HungUp) => Exit::HungUp,
        Ok(How::Interrupted) => Exit::Interrupted,
        Ok(How::Terminated) => Exit::Terminated,
        Ok(_) => told,
        Err(why) => out::say(&Answer::trouble(Exit::Unable, why)),
    }
}

/// Captions and chapters, each where it was asked for.
fn filmed(args: &ReplayArgs, record: &ReadBack, header: &Header, mut answer: Answer) -> Answer {
    let offset = args.offset.unwrap_or_default();
    let scenes = scenes(record);
    let film = Film {
        title: header.title.clone(),
        rehearsal: header.run == RunKind::Rehearsal,
        begins: Moment(-offset.0),
    };
    let said = args.captions.as_ref().map(|to| (to, captions(&scenes, &film)));
    let steps = args.chapters.as_ref().map(|to| (to, chapters(&scenes, &film)));
    for (to, text) in said.into_iter().chain(steps) {
        if to.as_os_str() == "-" {
            answer.out.push_str(&text);
        } else if let Err(why) = files::put(to, &text) {
            let name = to.display().to_string();
            let _ = writeln!(answer.err, "stepbell: {} cannot be written: {why}", safe(&name));
            answer.exit = Exit::Unable;
        }
    }
    answer
}

fn faults(record: &ReadBack, first: &str) -> String {
    let mut text = format!("stepbell: {first}\n");
    for fault in &record.faults {
        let _ = writeln!(text, "  {}", safe(&fault.to_string()));
    }
    text
}

fn show(
    args: &ReplayArgs,
    around: &Surroundings,
    record: &ReadBack,
    header: &Header,
) -> Result<How, String> {
    let mut banners = vec![Banner::Replay];
    if header.run == RunKind::Rehearsal {
        banners.push(Banner::Rehearsal);
    }
    let pace = header.rehearsal.as_ref().map(|practice| practice.pace);
    if let Some(pace) = pace.and_then(|pace| u16::try_from(pace).ok()).filter(|pace| *pace < 1000) {
        banners.push(Banner::Slower(pace));
    }
    if header.status == "demonstration" {
        banners.push(Banner::Demonstration);
    }
    let setting = Setting { title: header.title.clone(), banners, keys: KeyNames::default() };
    let page = page::open(&args.page, around, &setting, None)?;
    let opening = Opening {
        terminal: around.terminal && !args.plain && args.record.as_os_str() != "-",
        colour: !around.no_colour,
        setting,
        keys: KeyMap::default(),
        page,
    };
    let console =
        Console::open(opening).map_err(|why| format!("the terminal cannot be used: {why}"))?;
    Ok(play(&scenes(record), args.speed, console))
}

fn settings(procedure: &Procedure) -> Settings {
    Settings {
        speech: speech_lengths(procedure),
        timing: network,
        rehearsal: false,
        length: worst_length(procedure),
    }
}

fn checked(record: &ReadBack, mut answer: Answer) -> Answer {
    let (text, exit) = match rerun(record, env!("CARGO_PKG_VERSION"), settings) {
        Rerun::Same(effects) => {
            (format!("run again: all {effects} effects are the same"), Exit::Done)
        }
        Rerun::OtherVersion(tool) => {
            (format!("recorded by another version ({}): not re-run", safe(&tool)), Exit::Done)
        }
        Rerun::NoScript => {
            ("the script in this record does not check: not re-run".to_owned(), Exit::Findings)
        }
        Rerun::Incomplete => {
            ("lines are missing from this record: not re-run".to_owned(), Exit::Findings)
        }
        Rerun::Differs { line, recorded, came } => {
            let none = || "nothing".to_owned();
            let text = format!(
                "line {line} differs\n  recorded: {}\n  now:      {}",
                recorded.map_or_else(none, |r| safe(&r).into_owned()),
                came.map_or_else(none, |c| safe(&c).into_owned())
            );
            (text, Exit::Findings)
        }
    };
    let _ = writeln!(answer.out, "{text}");
    answer.exit = answer.exit.max(exit);
    answer
}
