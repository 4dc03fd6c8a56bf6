//! What is wrong with a document, as an editor shows it: takes a script's text and a way to the files
//! that it uses, gives complaints and verdict as one kind of mark, each in the file where it belongs.

use std::collections::BTreeMap;
use std::sync::Arc;

use lsp_types::{
    Diagnostic, DiagnosticRelatedInformation, DiagnosticSeverity, Location, NumberOrString, Range,
    Uri,
};

use super::text::{Text, Unit};
use crate::complaint::visible::visible;
use crate::complaint::{Complaint, Severity, sentence};
use crate::faces::address;
use crate::faces::finding::{Finding, finding};
use crate::procedure::{Examined, examine};
use crate::proof::controllable::Stopped;
use crate::proof::verdict::{Proof, Verdict, prove};
use crate::source::{FileId, Place};

/// The most marks of one script: an editor with more is slow, and nobody reads them.
pub const MOST_MARKS: usize = 500;

/// A document to be looked at, cut off from all that changes.
#[derive(Clone, Debug)]
pub struct Task {
    /// Its address as the editor has it.
    pub address: String,
    /// Its version.
    pub version: i32,
    /// Its path; its address where it has none.
    pub name: String,
    /// Its text.
    pub text: String,
}

/// What is known of one version of a document.
#[derive(Clone, Debug)]
pub struct Judged {
    /// The document's address.
    pub address: String,
    /// The version that was looked at.
    pub version: i32,
    /// What is known of the script.
    pub examined: Examined,
    /// The verdict, where there is no error.
    pub verdict: Option<Verdict>,
    /// What was proven, for what can be told of it later.
    pub proof: Option<Arc<Proof>>,
}

/// Looks at a document and judges its timing; `read` gives a used file by its path from the script's
/// folder.
pub fn judge(task: Task, read: &mut dyn FnMut(&str) -> Result<String, String>) -> Judged {
    let mut judged = look(task, read);
    // A proof that nobody stops comes to its end.
    let _ = judged.prove(&|| false);
    judged
}

/// Looks at a document without judging its timing.
pub fn look(task: Task, read: &mut dyn FnMut(&str) -> Result<String, String>) -> Judged {
    let examined = examine(&task.name, task.text, read);
    let (address, version) = (task.address, task.version);
    Judged { address, version, examined, verdict: None, proof: None }
}

impl Judged {
    /// Judges the timing, where the script has no error. Asks `stop` many times a second whether to
    /// give up.
    ///
    /// # Errors
    /// [`Stopped`] once `stop` has said so.
    pub fn prove(&mut self, stop: &dyn Fn() -> bool) -> Result<(), Stopped> {
        let examined = &self.examined;
        let Some(procedure) = examined.procedure.as_ref().filter(|_| examined.is_sound()) else {
            return Ok(());
        };
        match prove(procedure, &examined.plans, &examined.speech, stop)? {
            Ok(proof) => {
                self.verdict = Some(Verdict::Proven(proof.extent));
                self.proof = Some(Arc::new(proof));
            }
            Err(verdict) => self.verdict = Some(verdict),
        }
        Ok(())
    }
}

/// The address of a file of a script: the document's own, or that of the path.
#[must_use]
pub fn address_of(judged: &Judged, file: FileId) -> String {
    if file == FileId(0) {
        return judged.address.clone();
    }
    let source = judged.examined.sources.get(file);
    source.map_or_else(String::new, |source| address::of_path(source.name()))
}

/// Every mark, by the address of its file. A file without marks is there too.
#[must_use]
pub fn marks(judged: &Judged, unit: Unit) -> BTreeMap<String, Vec<Diagnostic>> {
    let marker = Marker::new(judged, unit);
    let mut all: BTreeMap<String, Vec<Diagnostic>> = BTreeMap::new();
    for (file, _) in judged.examined.sources.files() {
        all.entry(address_of(judged, file)).or_default();
    }
    for complaint in judged.examined.complaints.iter().take(MOST_MARKS) {
        let file = address_of(judged, complaint.place.file);
        all.entry(file).or_default().push(marker.complaint(complaint));
    }
    if let Some(verdict) = judged.verdict.as_ref() {
        let found = finding(verdict, &judged.examined);
        // That all is well is no mark: an editor says it beside the title.
        if !found.proven {
            let file = address_of(judged, found.place.file);
            all.entry(file).or_default().push(marker.verdict(&found));
        }
    }
    all
}

/// A complaint as a mark says it.
#[must_use]
pub fn told(complaint: &Complaint) -> String {
    let mut text = sentence(complaint);
    if let (Some(near), None) = (&complaint.near, &complaint.fix) {
        text.push_str(&format!(" Did you mean `{}`?", visible(near)));
    }
    text
}

struct Marker<'j> {
    judged: &'j Judged,
    unit: Unit,
    texts: Vec<Text>,
}

impl<'j> Marker<'j> {
    fn new(judged: &'j Judged, unit: Unit) -> Marker<'j> {
        let files = judged.examined.sources.files();
        let texts = files.map(|(_, source)| Text::new(source.text())).collect();
        Marker { judged, unit, texts }
    }

    fn range(&self, place: Place) -> Range {
        let text = self.texts.get(place.file.0 as usize);
        text.map_or_else(Range::default, |text| {
            text.range(place.start as usize, place.end as usize, self.unit)
        })
    }

    fn related(&self, place: Place, what: &str) -> Option<DiagnosticRelatedInformation> {
        let uri: Uri = address_of(self.judged, place.file).parse().ok()?;
        let location = Location { uri, range: self.range(place) };
        Some(DiagnosticRelatedInformation { location, message: what.to_owned() })
    }

    fn complaint(&self, complaint: &Complaint) -> Diagnostic {
        let severity = match complaint.code.severity() {
            Severity::Error => DiagnosticSeverity::ERROR,
            Severity::Warning => DiagnosticSeverity::WARNING,
        };
        let also = complaint.also.iter().filter_map(|also| self.related(also.place, also.what));
        let code = complaint.code.name();
        let also: Vec<_> = also.collect();
        self.mark(complaint.place, severity, code, told(complaint), also)
    }

    fn verdict(&self, found: &Finding) -> Diagnostic {
        let shares = found.shares.iter();
        let also = shares.filter_map(|share| self.related(share.place, &share.text)).collect();
        let sums = found.shares.iter().map(|share| {
            let line = self.judged.examined.sources.line_col(share.place).line;
            format!("\n  {}, line {line}", share.text)
        });
        let text = format!("{}{}", found.sentence, sums.collect::<String>());
        self.mark(found.place, DiagnosticSeverity::ERROR, "timing", text, also)
    }

    fn mark(
        &self,
        place: Place,
        severity: DiagnosticSeverity,
        code: &str,
        message: String,
        also: Vec<DiagnosticRelatedInformation>,
    ) -> Diagnostic {
        Diagnostic {
            range: self.range(place),
            severity: Some(severity),
            code: Some(NumberOrString::String(code.to_owned())),
            source: Some("stepbell".to_owned()),
            message,
            related_information: (!also.is_empty()).then_some(also),
            ..Diagnostic::default()
        }
    }
}
