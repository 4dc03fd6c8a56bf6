//! `stepbell replay RECORD`: takes a record, shows it again at its pace, sums it up, or checks it.

mod drill;

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::PathBuf;

use clap::Args;

use super::Surroundings;
use super::args::PageArgs;
use super::exit::Exit;
use super::out::{self, Answer};
use super::page;
use super::script::worst_length;
use super::sound::{Heard, SoundArgs, Texts};
use super::view::ViewArgs;
use crate::clock::{Millis, Moment};
use crate::edge::console::{Console, Look, Opening};
use crate::edge::files;
use crate::edge::keymap::KeyMap;
use crate::edge::run::How;
use crate::edge::show::{Drilled, Other, Show, names, play};
use crate::faces::captions::{Film, captions, chapters};
use crate::faces::safe::safe;
use crate::faces::score::score as score_words;
use crate::faces::summary::{side_by_side, table};
use crate::faces::voicing::{Own, questions};
use crate::faces::words::{Banner, Setting};
use crate::guide::Settings;
use crate::journal::entry::{Header, RunKind};
use crate::journal::happened::{Effect, Input};
use crate::journal::read::{ReadBack, read};
use crate::procedure::model::Procedure;
use crate::procedure::timing::speech_lengths;
use crate::proof::timing::network;
use crate::training::playhead::{Move, Pace, read_move};
use crate::training::reel::Reel;
use crate::training::replay::{Happened, Rerun, Scene, rerun, scenes, summary};
use crate::training::score::score;

/// How a replay is told that it is to be heard.
const VOICE: &str = "Let the replay be heard, at the speed it happened: `auto` speaks by this computer's \
speech program; `none` only rings; or a folder of recordings with an index `recordings.txt`. Silent by default";
/// By what.
const PLAYER: &str =
    "The program that plays: pw-play, paplay, aplay, …. By default the first that works";

/// `replay`
#[derive(Args, Clone, Debug)]
#[command(group = clap::ArgGroup::new("film").multiple(true), after_help = "\
Keys: Space pause · ← → the cue before, the next · , . 5 s back, on · m n the next mark, the one before · \
- + slower, quicker · i shorten idle stretches · k stop at marks · g go to a time or a step · Home, End · \
q or Esc quit. The last frame is held until you quit.

Marks are where a window was missed, something went another way than hoped, one of several was learned or \
not, there was no way back from there on, the computer, its clock or the record had trouble, and the end.

Without a terminal it writes plain lines and reads moves as lines: pause, play, \
cue, cue back, +5s, -5s, 1:05, a step's name (or NAME/2 for the second time), mark, mark back, faster, \
slower, idle, stops, begin, end, quit.

With --voice or --player it is heard, an octave lower than a run and begun with the word replay: what was \
said and rung, as long as it goes as fast as it happened. At any other speed nothing is said or rung: it \
would fall behind. Of two records only the first is heard, and the screen says so: to hear the other, give \
it first. A page of a replay is silent.")]
#[command(mut_arg("voice", |arg| arg.help(VOICE)), mut_arg("player", |arg| arg.help(PLAYER)))]
pub struct ReplayArgs {
    /// The record; `-` is standard input
    #[arg(value_name = "RECORD")]
    pub record: PathBuf,
    /// How many times faster than it happened; 0 shows all at once
    #[arg(long, value_name = "N", default_value = "1", value_parser = speed,
          conflicts_with_all = ["summary", "check"])]
    pub speed: u32,
    /// Begin there: a time of the record (1:05, 65s) or a step (NAME, NAME/2)
    #[arg(long, value_name = "PLACE", value_parser = place, allow_hyphen_values = true,
          conflicts_with_all = ["summary", "check"])]
    pub from: Option<Move>,
    /// Shorten stretches in which nothing happens to 3 s; the time shown stays the true one
    #[arg(long)]
    pub shorten_idle: bool,
    /// Stand still at every mark
    #[arg(long)]
    pub stop_at_marks: bool,
    /// Only a table of the steps: when, how it ended, how long, what was left of each window
    #[arg(long, conflicts_with = "check")]
    pub summary: bool,
    /// Run the recorded inputs through the guide again and compare what it does
    #[arg(long)]
    pub check: bool,
    /// Write what was said and seen as captions for a film of the run (WebVTT); `-` is standard output
    #[arg(long, value_name = "FILE.vtt", group = "film", conflicts_with_all = ["summary", "check"])]
    pub captions: Option<PathBuf>,
    /// Write the steps as chapters for a film of the run (WebVTT); `-` is standard output
    #[arg(long, value_name = "FILE.vtt", group = "film", conflicts_with_all = ["summary", "check"])]
    pub chapters: Option<PathBuf>,
    /// How long after the film's beginning the run begins, as in 12.5s; with a minus, how long before
    #[arg(long, value_name = "TIME", value_parser = offset, allow_hyphen_values = true,
          requires = "film")]
    pub offset: Option<Millis>,
    /// Show this record too, at the same time
    #[arg(long, value_name = "RECORD", conflicts_with_all = ["check", "captions", "chapters"])]
    pub beside: Option<PathBuf>,
    /// Lay the two side by side at the beginning of this step (NAME, NAME/2), not at their beginnings
    #[arg(long, value_name = "STEP", requires = "beside", value_parser = step)]
    pub align: Option<(String, usize)>,
    /// Questions before each cue.
    #[command(flatten)]
    pub drill: drill::DrillArgs,
    /// How it is shown.
    #[command(flatten)]
    pub view: ViewArgs,
    /// A page for a phone.
    #[command(flatten)]
    pub page: PageArgs,
    /// What is heard.
    #[command(flatten)]
    pub sound: SoundArgs,
}

fn step(text: &str) -> Result<(String, usize), String> {
    match read_move(text) {
        Some(Move::Step(name, nth)) => {
            let nth = usize::try_from(nth.unwrap_or(1)).unwrap_or(1);
            Ok((name, nth.max(1)))
        }
        _ => Err("a step's name, or NAME/2 for the second time".to_owned()),
    }
}

fn place(text: &str) -> Result<Move, String> {
    match read_move(text) {
        Some(place @ (Move::To(_) | Move::Step(..) | Move::End)) => Ok(place),
        _ => Err("a time like 1:05 or 65s, or a step's name".to_owned()),
    }
}

/// A length as a script writes it, perhaps with a minus.
fn offset(text: &str) -> Result<Millis, String> {
    let (sign, length) = text.strip_prefix('-').map_or((1, text), |rest| (-1, rest));
    let read = humantime::parse_duration(length).ok().filter(|length| length.as_secs() < 86_400);
    let ms = read.and_then(|length| i64::try_from(length.as_millis()).ok());
    ms.map(|ms| Millis(sign * ms))
        .ok_or_else(|| "a length like 12s or 1min 3s, below a day".to_owned())
}

fn speed(text: &str) -> Result<u32, String> {
    match text.parse() {
        Ok(speed) if speed <= 1000 => Ok(speed),
        _ => Err("a whole number from 0 to 1000".to_owned()),
    }
}

/// Why a window has two rests in a rehearsal.
const TWO_RESTS: &str = "\n\
For sure: what the guide could tell from your presses. Truly: what was left when\nyour hand touched. At a \
vehicle nobody knows the second.\n\n";

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
            answer.out.push_str(TWO_RESTS);
            answer.out.push_str(&score_words(&score(&scenes)));
        }
        return out::say(&match beside_summary(args, &record) {
            Ok(Some(text)) => Answer { out: text, ..answer },
            Ok(None) => answer,
            Err((exit, why)) => Answer::trouble(exit, why),
        });
    }
    if args.captions.is_some() || args.chapters.is_some() {
        return out::say(&filmed(args, &record, header, answer));
    }
    if args.check {
        return out::say(&checked(&record, answer));
    }
    // A record that comes through standard input leaves no keys.
    let terminal = around.terminal && args.record.as_os_str() != "-";
    let face = match args.view.look(&Surroundings { terminal, ..around.clone() }, "inline") {
        Ok(face) => face,
        Err(why) => return out::say(&Answer::trouble(Exit::Usage, why)),
    };
    let told = out::say(&answer);
    match show(args, around, face, &record, header) {
        Ok((how, drilled)) => {
            let kept = drilled
                .map_or(Exit::Done, |drilled| out::say(&drill::ended(&drilled, around.terminal)));
            match how {
                How::HungUp => Exit::HungUp,
                How::Interrupted => Exit::Interrupted,
                How::Terminated => Exit::Terminated,
                _ => told.max(kept),
            }
        }
        Err((exit, why)) => out::say(&Answer::trouble(exit, why)),
    }
}

/// Why nothing is shown, and how the command ends then.
type NotShown = (Exit, String);

/// The record beside, with its first line.
fn other(args: &ReplayArgs) -> Result<Option<(String, ReadBack, Header)>, NotShown> {
    let Some(path) = &args.beside else { return Ok(None) };
    let name = path.display().to_string();
    let bytes = files::read_record(path).map_err(|why| (Exit::Unreadable, why.to_string()))?;
    let record = read(&bytes);
    let header = record.header.clone().ok_or_else(|| {
        let why = "this is not a record of ours, or its first line is damaged";
        (Exit::Unreadable, format!("{}: {why}", safe(&name)))
    })?;
    Ok(Some((name, record, header)))
}

/// How much later than in the first record the same moment lies in the other.
fn shift(args: &ReplayArgs, one: &[Scene], two: &[Scene]) -> Result<Millis, NotShown> {
    let begins = |scenes: &[Scene]| scenes.first().map_or(Moment::START, |scene| scene.at);
    let Some((name, nth)) = &args.align else { return Ok(begins(two).since(begins(one))) };
    let at = |scenes: &[Scene], which: &str| {
        let reel = Reel::new(scenes.to_vec());
        let mut named = reel.steps().iter().filter(|entered| entered.step.name == *name);
        named.nth(nth - 1).map(|entered| entered.at).ok_or_else(|| {
            let why = "record did not come to step";
            (Exit::Usage, format!("the {which} {why} \"{}\" so often", safe(name)))
        })
    };
    Ok(at(two, "other")?.since(at(one, "first")?))
}

fn beside_summary(args: &ReplayArgs, record: &ReadBack) -> Result<Option<String>, NotShown> {
    let Some((_, two, _)) = other(args)? else { return Ok(None) };
    let sums = [record, &two].map(|record| summary(&scenes(record)));
    let names = [&args.record, args.beside.as_ref().unwrap_or(&args.record)];
    let names = names.map(|path| path.display().to_string());
    Ok(Some(side_by_side(&names, &sums)))
}

/// Captions and chapters, each where it was asked for.
fn filmed(args: &ReplayArgs, record: &ReadBack, header: &Header, mut answer: Answer) -> Answer {
    if args.captions == args.chapters {
        let why = "captions and chapters are two files: give each a place of its own";
        return Answer::trouble(Exit::Usage, why);
    }
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

/// So many damages of a record are told; more help nobody.
const MOST_FAULTS: usize = 5;

fn faults(record: &ReadBack, first: &str) -> String {
    let mut text = format!("stepbell: {first}\n");
    for fault in record.faults.iter().take(MOST_FAULTS) {
        let _ = writeln!(text, "  {}", safe(&fault.to_string()));
    }
    let more = record.faults.len().saturating_sub(MOST_FAULTS);
    if more > 0 {
        let _ = writeln!(text, "  and {more} more like these");
    }
    text
}

fn show(
    args: &ReplayArgs,
    around: &Surroundings,
    (look, terminal): (Look, bool),
    record: &ReadBack,
    header: &Header,
) -> Result<(How, Option<Drilled>), NotShown> {
    let unable = |why: String| (Exit::Unable, why);
    let banners = banners(header);
    // Two records stand side by side in the small view only.
    let look = match look {
        Look::Big(looks) if args.beside.is_some() => Look::Inline { colour: looks.colour },
        look => look,
    };
    let mut all = scenes(record);
    let other = match other(args)? {
        None => None,
        Some((path, record, header)) => {
            let file = file_name(&path);
            let sign = if header.run == RunKind::Rehearsal { "REHEARSAL, " } else { "" };
            let name = format!("{sign}{file}");
            let scenes = scenes(&record);
            let shift = shift(args, &all, &scenes)?;
            all = with_times(all, &scenes, shift);
            let keys = names(terminal, false);
            let setting = Setting { title: header.title, banners: Vec::new(), keys };
            Some(Other { name, reel: Reel::new(scenes), shift, setting })
        }
    };
    let heard = heard(args, around, &all, &banners).map_err(unable)?;
    let other = other.map(|other| match heard.speaker.is_some() {
        true => Other { name: format!("{}, not heard", other.name), ..other },
        false => other,
    });
    let told = other.as_ref().filter(|_| heard.speaker.is_some()).map(|_| {
        let first = file_name(&args.record.display().to_string()).to_owned();
        format!("only the first, {first}, is heard; to hear the other, give it first")
    });
    let reel = Reel::new(all);
    let name = args.record.display().to_string();
    let drill = drill::begin(&args.drill, around, &reel, (&name, header)).map_err(unable)?;
    let setting =
        Setting { title: header.title.clone(), banners, keys: names(terminal, args.drill.drill) };
    let page = page::open(&args.page, around, &setting, None).map_err(unable)?;
    let keys = KeyMap::default();
    let opening = Opening { terminal, look, setting, keys, hands: false, page };
    let Heard { bank, speaker, missing, .. } = heard;
    let sign = bank.filter(|_| speaker.is_some()).and_then(|bank| bank.own_length(Own::Replay));
    let mut console = Console::open(opening)
        .map_err(|why| unable(format!("the terminal cannot be used: {why}")))?;
    if let Some(speaker) = speaker {
        console.hear(Box::new(speaker));
    }
    let show = Show {
        reel,
        pace: Pace::times(args.speed),
        // What a drill waits for are answers.
        shortens: args.shorten_idle || args.drill.drill,
        stops: args.stop_at_marks,
        from: args.from.clone(),
        other,
        drill,
        notes: missing,
        told,
        sign: sign.unwrap_or_default(),
    };
    Ok(play(show, console))
}

fn file_name(path: &str) -> &str {
    path.rsplit('/').next().unwrap_or(path)
}

/// What is heard of it: the record's own texts, if a voice or a player was asked for.
fn heard(
    args: &ReplayArgs,
    around: &Surroundings,
    scenes: &[Scene],
    banners: &[Banner],
) -> Result<Heard, String> {
    let sound = &args.sound;
    let asked = sound.voice.is_some() || sound.player.is_some();
    if !asked || !sound.is_wanted(around) {
        return Ok(Heard::default());
    }
    let text = |scene: &Scene| match &scene.what {
        Happened::Effect(Effect::Say { text, .. }) => Some(text.clone()),
        Happened::Effect(Effect::Ended { text, .. }) => text.clone(),
        _ => None,
    };
    let texts: BTreeSet<String> = scenes.iter().filter_map(text).collect();
    let texts: Vec<&str> = texts.iter().map(String::as_str).collect();
    let own = questions();
    let own: Vec<&str> = own.iter().map(String::as_str).collect();
    let texts = Texts { texts: &texts, more: &[], own: &own };
    Heard::of(sound, around, &texts, banners, false)
}

fn banners(header: &Header) -> Vec<Banner> {
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
    banners
}

/// The scenes of a record with the moments of another in between, at which nothing happens in this one:
/// so that time goes on until both have ended, and nothing is idle while something happens in one of them.
fn with_times(mut scenes: Vec<Scene>, other: &[Scene], shift: Millis) -> Vec<Scene> {
    let wake = |scene: &Scene| Scene {
        line: 0,
        at: scene.at.before(shift),
        what: Happened::Input(Input::Wake, None),
    };
    scenes.extend(other.iter().map(wake));
    scenes.sort_by_key(|scene| scene.at);
    scenes
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
