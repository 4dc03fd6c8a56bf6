//! What was found in scripts as one document for other programs: takes what `check` knows, gives a log
//! in the Static Analysis Results Interchange Format (OASIS, *SARIF Version 2.1.0*, 2020; sections are
//! named where they decide something).
//!
//! Complaints are results with their places and mechanical fixes; the verdict on the timing is a result
//! too: `pass` where it is proven. A change that would make the timing proven is only told, never given
//! as a fix: a program must not widen a claim about a vehicle by itself.

use std::collections::BTreeMap;

use serde_json::{Map, Value, json};

use super::address;
use super::finding::{Finding, finding};
use crate::complaint::visible::visible;
use crate::complaint::{Also, Code, Complaint, Fix, sentence, why};
use crate::procedure::Examined;
use crate::proof::verdict::Verdict;
use crate::source::{FileId, Place, SourceMap};

const SCHEMA: &str =
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/os/schemas/sarif-schema-2.1.0.json";
/// The rule of the verdict.
const TIMING: &str = "timing";

/// A script that was read.
#[derive(Clone, Debug)]
pub struct Script {
    /// Whether it came from a file; standard input has no address.
    pub from_file: bool,
    /// What is known of it.
    pub examined: Examined,
    /// The verdict, where it has no error.
    pub timing: Option<Verdict>,
    /// Ways to mend a refused timing, in words.
    pub mended: Vec<String>,
}

/// The whole log: one run over all scripts, and the inputs that could not be read.
#[must_use]
pub fn sarif(scripts: &[Script], unread: &[String], exit: u8) -> Value {
    let mut log = Log::default();
    for script in scripts {
        log.script(script);
    }
    let notices = unread.iter().map(|why| {
        json!({ "level": "error", "message": message(why),
                "descriptor": { "id": "unreadable-input" } })
    });
    let invocation = json!({
        "executionSuccessful": unread.is_empty(),
        "exitCode": exit,
        "toolExecutionNotifications": notices.collect::<Vec<_>>(),
    });
    let run = json!({
        "tool": { "driver": {
            "name": "stepbell",
            "semanticVersion": env!("CARGO_PKG_VERSION"),
            "rules": log.rules,
            "notifications": [{ "id": "unreadable-input",
                                "shortDescription": message("An input cannot be read.") }],
        }},
        "invocations": [invocation],
        // A column is a character; a lone return ends a line too.
        "columnKind": "unicodeCodePoints",
        "newlineSequences": ["\r\n", "\n", "\r"],
        "artifacts": log.artifacts,
        "results": log.results,
    });
    json!({ "$schema": SCHEMA, "version": "2.1.0", "runs": [run] })
}

#[derive(Default)]
struct Log {
    rules: Vec<Value>,
    /// Rules by their name, with their number.
    known: BTreeMap<&'static str, usize>,
    artifacts: Vec<Value>,
    results: Vec<Value>,
}

impl Log {
    fn script(&mut self, script: &Script) {
        let sources = &script.examined.sources;
        let first = self.artifacts.len();
        for (file, source) in sources.files() {
            let main = file == FileId(0);
            let mut artifact = json!({
                "location": artifact_location(sources, file, script.from_file || !main),
                "length": source.text().len(),
                "encoding": "UTF-8",
                "mimeType": "text/plain",
            });
            if let Value::Object(fields) = &mut artifact {
                let stream = ["analysisTarget", "standardStream"];
                let role = match (main, script.from_file) {
                    (true, true) => json!(["analysisTarget", "referencedOnCommandLine"]),
                    (true, false) => json!(stream),
                    _ => json!(["tracedFile"]),
                };
                fields.insert("roles".to_owned(), role);
            }
            self.artifacts.push(artifact);
        }
        let places = Places { sources, first, from_file: script.from_file };
        let mut complaints: Vec<&Complaint> = script.examined.complaints.iter().collect();
        complaints.sort_by_key(|complaint| (complaint.place, complaint.code));
        for complaint in complaints {
            let rule = self.rule(complaint.code.name(), || of_code(complaint.code));
            self.results.push(of_complaint(complaint, rule, &places));
        }
        if let Some(verdict) = &script.timing {
            let rule = self.rule(TIMING, of_timing);
            let found = finding(verdict, &script.examined);
            self.results.push(of_verdict(&found, &script.mended, rule, &places));
        }
    }

    fn rule(&mut self, name: &'static str, make: impl FnOnce() -> Value) -> usize {
        let next = self.rules.len();
        let rules = &mut self.rules;
        *self.known.entry(name).or_insert_with(|| {
            rules.push(make());
            next
        })
    }
}

/// A complaint's code as a rule, with the long answer of `why`.
fn of_code(code: Code) -> Value {
    let why = why::of(code);
    let parts =
        [("Why it matters", why.matters), ("To mend it", why.mend), ("It rests on", why.rests_on)];
    let told = parts.iter().filter(|(_, part)| !part.is_empty());
    let help: Vec<String> = told.map(|(head, part)| format!("{head}:\n{part}")).collect();
    json!({
        "id": code.name(),
        "shortDescription": message(&without_gaps(code.sentence())),
        "fullDescription": message(why.matters),
        "help": message(&help.join("\n\n")),
        "defaultConfiguration": { "level": code.severity().word() },
    })
}

fn of_timing() -> Value {
    json!({
        "id": TIMING,
        "shortDescription": message("Every window, limit and dwell of a script can be met."),
        "fullDescription": message(
            "Whether there is a rule for when to cue that meets every window, limit and dwell, for \
             every outcome and retry that the script allows, as long as hands, reports, spoken \
             words and the vehicle stay inside the script's bounds. Whether they do is the author's \
             claim."),
        "help": message(
            "Each share of the sum names its line. Only a number that is wrong may be changed: a \
             window is the vehicle's, hands are the person's. A shorter text, an item taken in the \
             step before or a resting point help without changing either."),
        "defaultConfiguration": { "level": "error" },
    })
}

/// A sentence with its `{fact}` gaps shown as gaps.
fn without_gaps(sentence: &str) -> String {
    let mut text = String::new();
    let mut rest = sentence;
    while let Some((before, behind)) = rest.split_once('{') {
        text.push_str(before);
        text.push('…');
        rest = behind.split_once('}').map_or("", |(_, rest)| rest);
    }
    text + rest
}

/// §3.11.5: braces are doubled. A text of the script must not become a link (§3.11.6).
fn message(text: &str) -> Value {
    json!({ "text": text.replace('{', "{{").replace('}', "}}").replace("](", "] (") })
}

fn of_complaint(complaint: &Complaint, rule: usize, places: &Places<'_>) -> Value {
    let mut text = sentence(complaint);
    if let (Some(near), None) = (&complaint.near, &complaint.fix) {
        text.push_str(&format!(" Did you mean `{}`?", visible(near)));
    }
    let mut result = json!({
        "ruleId": complaint.code.name(),
        "ruleIndex": rule,
        "level": complaint.code.severity().word(),
        "message": message(&text),
        "locations": [places.location(complaint.place, None)],
    });
    let related: Vec<Value> = complaint.also.iter().map(|also| places.related(also)).collect();
    add(&mut result, "relatedLocations", related);
    let fixes = complaint.fix.iter().map(|fix| places.fix(fix)).collect();
    add(&mut result, "fixes", fixes);
    result
}

/// §3.27.9: a verdict that all is well is a result of the kind `pass` without a level.
fn of_verdict(found: &Finding, mended: &[String], rule: usize, places: &Places<'_>) -> Value {
    let (kind, level) = if found.proven { ("pass", "none") } else { ("fail", "error") };
    let text = std::iter::once(&found.sentence).chain(mended).map(String::as_str);
    let text: Vec<&str> = text.collect();
    let mut result = json!({
        "ruleId": TIMING,
        "ruleIndex": rule,
        "kind": kind,
        "level": level,
        "message": message(&text.join(" ")),
        "locations": [places.location(found.place, None)],
        "properties": { "verdict": found.word },
    });
    if let Some(short) = found.short {
        result["properties"]["shortMs"] = short.0.into();
    }
    if !found.shares.is_empty() {
        let shares = found.shares.iter();
        let steps = shares
            .map(|share| json!({ "location": places.location(share.place, Some(&share.text)) }));
        let flow = json!({ "threadFlows": [{ "locations": steps.collect::<Vec<_>>() }] });
        add(&mut result, "codeFlows", vec![flow]);
    }
    result
}

fn add(result: &mut Value, name: &str, values: Vec<Value>) {
    if let (Value::Object(fields), false) = (result, values.is_empty()) {
        fields.insert(name.to_owned(), values.into());
    }
}

/// The places of one script as regions of artifacts.
struct Places<'s> {
    sources: &'s SourceMap,
    /// The number of the script's own artifact; those of the files that it uses follow.
    first: usize,
    from_file: bool,
}

impl Places<'_> {
    fn location(&self, place: Place, text: Option<&str>) -> Value {
        let mut location = json!({ "physicalLocation": {
            "artifactLocation": self.artifact(place.file),
            "region": self.region(place),
        }});
        if let (Value::Object(fields), Some(text)) = (&mut location, text) {
            fields.insert("message".to_owned(), message(text));
        }
        location
    }

    fn related(&self, also: &Also) -> Value {
        self.location(also.place, Some(also.what))
    }

    fn fix(&self, fix: &Fix) -> Value {
        let replacement = json!({
            "deletedRegion": self.region(fix.place),
            "insertedContent": { "text": fix.text },
        });
        json!({
            "description": message(fix.what),
            "artifactChanges": [{
                "artifactLocation": self.artifact(fix.place.file),
                "replacements": [replacement],
            }],
        })
    }

    fn artifact(&self, file: FileId) -> Value {
        let addressed = self.from_file || file != FileId(0);
        let mut location = artifact_location(self.sources, file, addressed);
        if let Value::Object(fields) = &mut location {
            fields.insert("index".to_owned(), (self.first + file.0 as usize).into());
        }
        location
    }

    fn region(&self, place: Place) -> Value {
        let start = self.sources.line_col(place);
        let end = self.sources.line_col(Place { start: place.end, ..place });
        json!({
            "startLine": start.line, "startColumn": start.col,
            "endLine": end.line, "endColumn": end.col,
        })
    }
}

fn artifact_location(sources: &SourceMap, file: FileId, addressed: bool) -> Value {
    let name = sources.get(file).map_or("", |source| source.name());
    let mut fields = Map::new();
    if addressed {
        fields.insert("uri".to_owned(), address::of_path(name).into());
    } else {
        fields.insert("description".to_owned(), message(&visible(name)));
    }
    fields.into()
}
