//! A script from its text to its plans, with everything that is wrong with it.
//!
//! Takes a script's name and text and a way to read the files that it uses; gives [`Examined`]. What
//! planning finds is completed here with what only the text can tell: lines and mechanical fixes.

use super::library;
use super::model::Procedure;
use super::plan::{Plan, prompt_too_long};
use super::timing::{SpeechLengths, speech_lengths};
use super::{check, in_order, plans};
use crate::complaint::{Code, Complaint};
use crate::source::{Place, SourceMap};

/// Everything that is known of a script.
#[derive(Clone, Debug)]
pub struct Examined {
    /// The script and the files that it uses.
    pub sources: SourceMap,
    /// The checked model; absent when a part of it would mean nothing.
    pub procedure: Option<Procedure>,
    /// A plan for each choice that there can be; empty while an error stands.
    pub plans: Vec<Plan>,
    /// Sorted by file and place; each code once a place.
    pub complaints: Vec<Complaint>,
    /// How long its texts take to say: by the model, until somebody has measured.
    pub speech: SpeechLengths,
}

impl Examined {
    /// Whether the script can be run.
    #[must_use]
    pub fn is_sound(&self) -> bool {
        !self.complaints.iter().any(Complaint::is_error)
    }

    /// Its texts were rendered or recorded: everything that rests on their lengths is looked at anew.
    pub fn measured(&mut self, speech: SpeechLengths) {
        self.speech = speech;
        let Some(procedure) = &self.procedure else { return };
        self.complaints.retain(|complaint| complaint.code != Code::PromptTooLong);
        for plan in &self.plans {
            prompt_too_long(procedure, plan, &self.speech, &mut self.complaints);
        }
        self.complaints = in_order(std::mem::take(&mut self.complaints));
    }
}

/// Reads, checks and plans a script. `read` gives the text of a used file by its path from the
/// script's folder, or a short reason.
pub fn examine(
    name: &str,
    text: String,
    read: &mut dyn FnMut(&str) -> Result<String, String>,
) -> Examined {
    let library = library::load(name, text, read);
    let (procedure, mut complaints) = check::check(&library);
    let missing = complaints.iter().any(|c| c.code == Code::LateMissing);
    complaints.extend(library.complaints);
    let sources = library.sources;
    let (mut plans, mut found) = procedure.as_ref().map(plans).unwrap_or_default();
    // A step that lacks `late` has been told so already, at the first of its windows.
    found.retain(|c| !(missing && c.code == Code::LateMissing));
    complaints.extend(found.into_iter().map(|complaint| completed(&sources, complaint)));
    let complaints = in_order(complaints);
    if complaints.iter().any(Complaint::is_error) {
        plans.clear();
    }
    let speech = procedure.as_ref().map(speech_lengths).unwrap_or_default();
    Examined { sources, procedure, plans, complaints, speech }
}

/// Adds the line of the other place, and fixes that need the line's own words.
fn completed(sources: &SourceMap, complaint: Complaint) -> Complaint {
    match complaint.code {
        Code::RetryAcrossNoReturn => match complaint.also.first().map(|also| also.place) {
            Some(place) => {
                let line = i64::from(sources.line_col(place).line);
                complaint.with("line", line)
            }
            None => complaint,
        },
        Code::GoToBackward => match words_before(sources, complaint.place, &["go", "to"]) {
            Some((place, before)) if !before.ends_with("else") => {
                let target = sources.slice(complaint.place);
                let better = format!("go back to {target}, at most once, else finish as unsure");
                complaint.fix("begin again, with a limit", place, better)
            }
            _ => complaint,
        },
        Code::GoBackForward => {
            match words_before(sources, complaint.place, &["go", "back", "to"]) {
                Some((place, _)) => {
                    let target = sources.slice(complaint.place).to_owned();
                    let place = to_line_end(sources, place);
                    complaint.fix("lead forward", place, format!("go to {target}"))
                }
                None => complaint,
            }
        }
        _ => complaint,
    }
}

/// The place from the first of `words`, which stand directly before `place`, to its end; and what
/// stands before them on the line.
fn words_before<'s>(
    sources: &'s SourceMap,
    place: Place,
    words: &[&str],
) -> Option<(Place, &'s str)> {
    let text = sources.get(place.file)?.text();
    let mut before = text.get(..place.start as usize)?;
    before = before.rsplit_once('\n').map_or(before, |(_, line)| line);
    let line_start = place.start - u32::try_from(before.len()).ok()?;
    for word in words.iter().rev() {
        before = before.trim_end().strip_suffix(word)?;
    }
    let end = u32::try_from(before.len()).ok()?;
    Some((Place { start: line_start + end, ..place }, before.trim_end()))
}

/// A place drawn out to the end of its line, without trailing blanks.
fn to_line_end(sources: &SourceMap, place: Place) -> Place {
    let rest = sources
        .get(place.file)
        .and_then(|source| source.text().get(place.start as usize..))
        .and_then(|rest| rest.lines().next())
        .map_or(0, |line| line.trim_end().len());
    Place { end: place.start + u32::try_from(rest).unwrap_or(0), ..place }
}
