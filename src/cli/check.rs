//! `stepbell check FILE…`: takes scripts, gives what is wrong with them, for people or programs.

use std::fmt::Write as _;
use std::path::Path;

use serde::Serialize;

use super::Surroundings;
use super::args::{CheckArgs, Format};
use super::exit::Exit;
use super::out::Answer;
use super::script::{examined, pictures};
use super::sound::{self, Late, Speaking, Spoken, Which, late};
use crate::complaint::{Complaint, Severity};
use crate::edge::files::STANDARD_INPUT;
use crate::edge::patience::Stopper;
use crate::faces::judged;
use crate::faces::phrases::plural;
use crate::faces::prompts::{self, Prompts};
use crate::faces::safe::{safe, wrap};
use crate::faces::sarif::{Script, sarif};
use crate::faces::verdict::{MOST_REPAIRS, judgement, mended};
use crate::faces::voicing::spoken;
use crate::procedure::Examined;
use crate::procedure::timing::speech_lengths;
use crate::proof::controllable::Stopped;
use crate::proof::report::{Judgement, judge};
use crate::proof::verdict::{self, Verdict};

/// Columns of a text for reading.
const COLUMNS: usize = 78;

/// The answer to `check`.
#[must_use]
pub fn run(args: &CheckArgs, around: &Surroundings, colour: bool) -> Answer {
    let stopper = match Stopper::new() {
        Ok(stopper) => stopper,
        Err(why) => return Answer::trouble(Exit::Unable, format!("Ctrl-C cannot be heard: {why}")),
    };
    let mut answer = Answer::ok("");
    let mut documents = Vec::new();
    let (mut scripts, mut unread) = (Vec::new(), Vec::new());
    for path in &args.files {
        let mut examined = match examined(path) {
            Ok(examined) => examined,
            Err(why) => {
                let _ = writeln!(answer.err, "stepbell: {why}");
                unread.push(why.to_string());
                answer.exit = Exit::Unreadable;
                continue;
            }
        };
        let which = args.voice.as_ref();
        let prompts = which.and_then(|which| said(which, &args.speaking, around, &mut examined));
        let prompts = prompts.transpose().unwrap_or_else(|why| {
            let _ = writeln!(answer.err, "stepbell: {why}");
            answer.exit = answer.exit.max(Exit::Unable);
            None
        });
        let with_cues = args.all || args.format == Format::Json;
        let Ok(timing) = judged(&examined, with_cues, &stopper) else {
            let name = name(&examined);
            let _ = writeln!(answer.err, "stepbell: stopped; nothing is known of {name}'s timing");
            answer.exit = Exit::Interrupted;
            break;
        };
        let proven = matches!(timing, None | Some(Judgement::Proven(_)));
        if !examined.complaints.is_empty() || !proven {
            answer.exit = answer.exit.max(Exit::Findings);
        }
        match args.format {
            Format::Human => {
                answer.out.push_str(&human(&examined, colour));
                let words = timing.map(|timing| judgement(&timing, &examined, args.all));
                if let Some(words) = words {
                    let _ = write!(answer.out, "\n{words}");
                }
                if let Some(prompts) = &prompts {
                    let _ = write!(answer.out, "\n{}", prompts::table(prompts, &examined));
                }
            }
            Format::Json => {
                let voice = prompts.map(|prompts| prompts::document(&prompts, &examined));
                documents
                    .push(judged::Script { voice, ..judged::script(&examined, timing.as_ref()) });
            }
            Format::Sarif => scripts.push(script(path, examined, timing)),
        }
    }
    stopper.no_more();
    match args.format {
        // Half a document is none.
        _ if answer.exit == Exit::Interrupted && args.format != Format::Human => {}
        Format::Human => {}
        Format::Json => answer.out = pretty(&judged::Document { scripts: documents }),
        Format::Sarif => answer.out = pretty(&sarif(&scripts, &unread, answer.exit as u8)),
    }
    answer
}

/// What is known of a script's timing; nothing while it has errors.
fn judged(
    examined: &Examined,
    with_cues: bool,
    stopper: &Stopper,
) -> Result<Option<Judgement>, Stopped> {
    let Some(procedure) = examined.procedure.as_ref().filter(|_| examined.is_sound()) else {
        return Ok(None);
    };
    let name = name(examined);
    let long = format!("the timing of {name} is still being checked; Ctrl-C stops it");
    let patience = stopper.patience(long);
    let stop = || patience.ends();
    judge(procedure, &examined.plans, &examined.speech, with_cues, &stop).map(Some)
}

/// Renders what a sound script says and counts with it; nothing where the script has errors.
fn said(
    which: &Which,
    speaking: &Speaking,
    around: &Surroundings,
    examined: &mut Examined,
) -> Option<Result<Prompts, String>> {
    let procedure = examined.procedure.as_ref().filter(|_| examined.is_sound())?;
    let texts = spoken(procedure);
    let words: Vec<_> = texts.iter().map(|(_, text)| *text).collect();
    let (bank, silent) = match sound::spoken(which, speaking, around, &words) {
        Ok(Spoken { bank: Some(bank), silent, .. }) => (bank, silent),
        Ok(Spoken { missing, .. }) => {
            return Some(Err(format!("{}. The model's lengths stand", missing.join("; "))));
        }
        Err(why) => return Some(Err(why)),
    };
    let model = speech_lengths(procedure);
    let mut speech = model.clone();
    bank.measure(procedure, &mut speech);
    let Late { lag, checked } = late(around, None);
    speech.lag = lag;
    let mut prompts = Prompts::of(procedure, &bank, (&model, &speech), checked.is_some(), silent);
    prompts.misread = sound::misread_by(which, speaking, &words);
    examined.measured(speech);
    Some(Ok(prompts))
}

fn pretty(value: &impl Serialize) -> String {
    serde_json::to_string_pretty(value).map(|text| text + "\n").unwrap_or_default()
}

/// A script for the log, with the ways in which a refused timing could be mended.
fn script(path: &Path, examined: Examined, timing: Option<Judgement>) -> Script {
    let mut mends = Vec::new();
    if let Some(Judgement::Refused(_, repairs)) = &timing {
        let found = repairs.iter().take(MOST_REPAIRS);
        mends.extend(found.map(|repair| format!("It {}.", mended(repair, &examined).trim())));
    }
    let timing = timing.map(|timing| timing.verdict());
    Script { from_file: path.as_os_str() != STANDARD_INPUT, examined, timing, mended: mends }
}

fn count(complaints: &[Complaint], severity: Severity) -> usize {
    complaints.iter().filter(|c| c.code.severity() == severity).count()
}

fn name(examined: &Examined) -> String {
    let first = examined.sources.files().next();
    first.map_or_else(String::new, |(_, file)| safe(file.name()).into_owned())
}

fn human(examined: &Examined, colour: bool) -> String {
    let mut text = pictures(examined, colour);
    let name = name(examined);
    let errors = count(&examined.complaints, Severity::Error);
    let warnings = count(&examined.complaints, Severity::Warning);
    let head = match (errors, warnings) {
        (0, 0) => format!("{name}: no complaint. {}", extent(examined)),
        (0, _) => format!("{name}: {}. {}", plural(warnings, "warning"), extent(examined)),
        (_, 0) => format!("{name}: {}.", plural(errors, "error")),
        _ => format!("{name}: {}, {}.", plural(errors, "error"), plural(warnings, "warning")),
    };
    for line in wrap(&head, COLUMNS, 2) {
        let _ = writeln!(text, "{line}");
    }
    text
}

/// How large the checked script is.
fn extent(examined: &Examined) -> String {
    let most = examined.plans.iter().map(|plan| plan.main as usize).max().unwrap_or(0);
    let variants = examined.plans.len();
    let steps = plural(most, "step");
    if variants == 1 {
        format!("{steps}.")
    } else {
        format!("{variants} variants by count and answer, up to {steps}.")
    }
}

/// The verdict on a script without errors.
#[must_use]
pub fn proved(examined: &Examined) -> Option<Verdict> {
    let procedure = examined.procedure.as_ref().filter(|_| examined.is_sound())?;
    Some(verdict::verdict(procedure, &examined.plans, &examined.speech))
}
