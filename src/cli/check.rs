//! `stepbell check FILE…`: takes scripts, gives what is wrong with them, for people or programs.

use std::fmt::Write as _;
use std::path::Path;

use serde_json::{Value, json};

use super::args::{CheckArgs, Format};
use super::exit::Exit;
use super::out::Answer;
use super::script::{examined, pictures};
use crate::complaint::json::json as complaints_json;
use crate::complaint::{Complaint, Severity};
use crate::edge::files::STANDARD_INPUT;
use crate::faces::safe::safe;
use crate::faces::sarif::{Script, sarif};
use crate::faces::verdict::{MOST_REPAIRS, mended, verdict, word};
use crate::procedure::Examined;
use crate::procedure::timing::speech_lengths;
use crate::proof::repair::repairs;
use crate::proof::verdict::{self, Verdict};

/// The answer to `check`.
#[must_use]
pub fn run(args: &CheckArgs, colour: bool) -> Answer {
    let mut answer = Answer::ok("");
    let mut documents = Vec::new();
    let (mut scripts, mut unread) = (Vec::new(), Vec::new());
    for path in &args.files {
        match examined(path) {
            Ok(examined) => {
                let timing = proved(&examined);
                let proven = matches!(timing, None | Some(Verdict::Proven(_)));
                if !examined.complaints.is_empty() || !proven {
                    answer.exit = answer.exit.max(Exit::Findings);
                }
                match args.format {
                    Format::Human => {
                        answer.out.push_str(&human(&examined, colour));
                        let words = timing.map(|timing| verdict(&timing, &examined));
                        answer.out.push_str(&words.unwrap_or_default());
                    }
                    Format::Json => documents.push(document(&examined, timing.as_ref())),
                    Format::Sarif => scripts.push(script(path, examined, timing)),
                }
            }
            Err(why) => {
                let _ = writeln!(answer.err, "stepbell: {why}");
                unread.push(why.to_string());
                answer.exit = Exit::Unreadable;
            }
        }
    }
    match args.format {
        Format::Human => {}
        Format::Json => answer.out = pretty(&json!({ "scripts": documents })),
        Format::Sarif => answer.out = pretty(&sarif(&scripts, &unread, answer.exit as u8)),
    }
    answer
}

fn pretty(value: &Value) -> String {
    serde_json::to_string_pretty(value).map(|text| text + "\n").unwrap_or_default()
}

/// A script for the log, with the ways in which a refused timing could be mended.
fn script(path: &Path, examined: Examined, timing: Option<Verdict>) -> Script {
    let mut mends = Vec::new();
    if let (Some(Verdict::Refused(refusal)), Some(procedure)) = (&timing, &examined.procedure) {
        let found = repairs(procedure, &examined.plans, &speech_lengths(procedure), refusal);
        let found = found.iter().take(MOST_REPAIRS);
        mends.extend(found.map(|repair| format!("It {}.", mended(repair, &examined).trim())));
    }
    Script { from_file: path.as_os_str() != STANDARD_INPUT, examined, timing, mended: mends }
}

fn count(complaints: &[Complaint], severity: Severity) -> usize {
    complaints.iter().filter(|c| c.code.severity() == severity).count()
}

fn name(examined: &Examined) -> String {
    let first = examined.sources.files().next();
    first.map_or_else(String::new, |(_, file)| safe(file.name()).into_owned())
}

fn plural(n: usize, what: &str) -> String {
    format!("{n} {what}{}", if n == 1 { "" } else { "s" })
}

fn human(examined: &Examined, colour: bool) -> String {
    let mut text = pictures(examined, colour);
    let name = name(examined);
    let errors = count(&examined.complaints, Severity::Error);
    let warnings = count(&examined.complaints, Severity::Warning);
    let _ = match (errors, warnings) {
        (0, 0) => writeln!(text, "{name}: no complaint. {}", extent(examined)),
        (0, _) => writeln!(text, "{name}: {}. {}", plural(warnings, "warning"), extent(examined)),
        (_, 0) => writeln!(text, "{name}: {}.", plural(errors, "error")),
        _ => {
            writeln!(text, "{name}: {}, {}.", plural(errors, "error"), plural(warnings, "warning"))
        }
    };
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

fn document(examined: &Examined, timing: Option<&Verdict>) -> Value {
    let errors = count(&examined.complaints, Severity::Error);
    json!({
        "file": examined.sources.files().next().map(|(_, file)| file.name()),
        "sound": errors == 0,
        "errors": errors,
        "warnings": count(&examined.complaints, Severity::Warning),
        "variants": examined.plans.len(),
        "timing": timing.map(|timing| timing_document(timing, examined)),
        "complaints": complaints_json(&examined.complaints, &examined.sources),
    })
}

/// The verdict on a script without errors.
#[must_use]
pub fn proved(examined: &Examined) -> Option<Verdict> {
    let procedure = examined.procedure.as_ref().filter(|_| examined.is_sound())?;
    Some(verdict::verdict(procedure, &examined.plans, &speech_lengths(procedure)))
}

fn timing_document(timing: &Verdict, examined: &Examined) -> Value {
    let mut value = json!({ "verdict": word(timing) });
    if let (Verdict::Refused(refusal), Value::Object(fields)) = (timing, &mut value) {
        let plan = examined.plans.get(refusal.plan);
        let grounds = refusal.grounds.iter().map(|ground| {
            let place = examined.sources.line_col(ground.place);
            let step = plan.map(|plan| plan.step(ground.step).name.as_str());
            json!({ "ms": ground.length.0, "line": place.line, "step": step })
        });
        fields.insert("short_ms".to_owned(), refusal.short.0.into());
        fields.insert("grounds".to_owned(), grounds.collect());
    }
    value
}
