//! What `check --format json` says: takes what is known of scripts, gives one document for programs.
//!
//! The types here are the form that is published (`grammar/check.schema.json` is made from them); the
//! core never works on them. Lengths are whole milliseconds, exact, not rounded; lines count from 1. A
//! member may be added; one never changes its meaning.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

use super::prompts::Voice;
use super::verdict::{explosion, what, word};
use crate::complaint::Severity;
use crate::complaint::json::json as complaints_json;
use crate::procedure::Examined;
use crate::procedure::model::Basis;
use crate::procedure::timing::{Decides, Mark, SpeechSource, What};
use crate::proof::lengths::Lengths;
use crate::proof::report::{Assumption, Hard, InPlan, Judgement, Report, Rests};
use crate::source::Place;

/// The answer of `stepbell check --format json`.
#[derive(Clone, Debug, Serialize, JsonSchema)]
#[schemars(title = "The answer of `stepbell check --format json`")]
pub struct Document {
    /// One a script, in the order asked for; those that cannot be read are told of elsewhere.
    pub scripts: Vec<Script>,
}

/// One script.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Script {
    /// Its name as it was given.
    pub file: Option<String>,
    /// Whether it is without errors.
    pub sound: bool,
    /// How many errors.
    pub errors: usize,
    /// How many warnings.
    pub warnings: usize,
    /// How many variants it has by counts and answers.
    pub variants: usize,
    /// What is known of its timing; nothing while it has errors.
    pub timing: Option<Timing>,
    /// With `--voice`: how long each text takes to say.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub voice: Option<Voice>,
    /// What is wrong with it, in the order of places.
    #[schemars(with = "Vec<Complaint>")]
    pub complaints: Value,
}

/// A complaint.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Complaint {
    /// Its code; `stepbell why CODE` tells more.
    pub code: String,
    /// `error` or `warning`.
    pub severity: String,
    /// One plain sentence.
    pub message: String,
    /// The file.
    pub file: String,
    /// The line, from 1.
    pub line: u32,
    /// The column in characters, from 1.
    pub column: u32,
}

/// What is known of a script's timing.
#[derive(Clone, Debug, Default, Serialize, JsonSchema)]
pub struct Timing {
    /// `proven`, `not proven`, `impossible` or `too large`.
    #[schemars(extend("enum" = ["proven", "not proven", "impossible", "too large"]))]
    pub verdict: String,
    /// Proven: how much was looked at.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub extent: Option<Extent>,
    /// Proven: on what it rests.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rests_on: Option<RestsOn>,
    /// Proven: how long a run takes.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub lengths: Option<RunLengths>,
    /// Proven: every window, limit, hold and count with an upper end, the tightest first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub windows: Option<Vec<Window>>,
    /// Proven: every answer for the ear while which the next words are said: no time is left after it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub talked_over: Option<Vec<TalkedOver>>,
    /// Proven: every cue, in the order of the script.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cues: Option<Vec<Cue>>,
    /// Refused: by how much the time is short.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub short_ms: Option<i64>,
    /// Refused: the lines that add up to it, along the story.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub grounds: Option<Vec<Share>>,
    /// Refused: changes of one number each that make it proven, each checked again, the least first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub repairs: Option<Vec<Repair>>,
    /// Too large, or a line that cannot be laid: why, in a sentence.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why: Option<String>,
    /// The line of the retry that explodes, or of what cannot be laid.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub line: Option<u32>,
}

/// An answer for the ear that is talked over.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct TalkedOver {
    /// The line of its step.
    pub line: u32,
    /// Its step.
    pub step: String,
    /// The step whose words are said meanwhile.
    pub by: String,
}

/// How much was proven.
#[derive(Clone, Copy, Debug, Serialize, JsonSchema)]
pub struct Extent {
    /// Variants.
    pub variants: usize,
    /// Segments between resting points, over all variants.
    pub segments: usize,
    /// Moments of all segments.
    pub points: usize,
    /// Moments of the largest.
    pub largest_segment: usize,
    /// Windows, limits, holds and counts laid, over all turns and branches.
    pub demands: usize,
}

/// On which bounds a proof rests.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct RestsOn {
    /// How many bounds.
    pub total: usize,
    /// How many of them are assumed: by the author, or because no line says them.
    pub assumed: usize,
    /// Those in lines of the script.
    pub lines: Vec<BoundLine>,
    /// Those that no line says.
    pub defaults: Vec<ToolDefault>,
    /// How many spoken texts go by which source: `model`, `stated`, `measured`, `recorded`.
    pub spoken: BTreeMap<String, usize>,
    /// Which voice, or whose recordings, were measured.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub voice: Option<String>,
}

/// A bound in a line of the script.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct BoundLine {
    /// The line.
    pub line: u32,
    /// What it bounds, in words.
    pub what: String,
    /// Who decides: `person`, `vehicle`, `guide`, `speech`, or `demand`: nobody, it must be met.
    pub decides: &'static str,
    /// `source`, `common practice`, `assumed` or `unsaid`.
    pub basis: &'static str,
    /// The source, or the reason of the assumption.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A bound that no line says.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ToolDefault {
    /// Which: `reaction`, `report`, `pace`, `speech`, `clock`, `cue`.
    pub what: &'static str,
    /// At least, in milliseconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub least_ms: Option<i64>,
    /// At most, in milliseconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most_ms: Option<i64>,
    /// Speech: words a minute.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub words_a_minute: Option<u32>,
}

/// How long a run takes, from its first words to its ending.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct RunLengths {
    /// The shortest run that ends as learned; null where none can.
    pub best_ms: Option<i64>,
    /// The longest run; null where nothing bounds it, because the guide waits for the person.
    pub worst_ms: Option<i64>,
    /// The longest run, waits for the person left out.
    pub worst_without_pauses_ms: i64,
    /// The longest run in which nothing is done twice, waits for the person left out.
    pub worst_without_retries_ms: i64,
    /// Cool-downs in the longest run.
    pub cool_downs_ms: i64,
    /// Whether the longest is a run that can be; else a bound that no run exceeds.
    pub exact: bool,
    /// Where the guide waits for the person, as long as the person likes.
    pub pauses: Vec<Pause>,
}

/// A wait for the person.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Pause {
    /// Its line.
    pub line: u32,
    /// The step before whose cue it lies.
    pub step: String,
}

/// A line with an upper end.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Window {
    /// The line.
    pub line: u32,
    /// Its words.
    pub words: String,
    /// `window`, `limit` or `hold`.
    pub kind: &'static str,
    /// Its step.
    pub step: String,
    /// Its own upper end.
    pub length_ms: i64,
    /// So much sooner it could close, in every turn, and still be met in the worst case.
    pub slack_ms: i64,
    /// The latest safe moment of its cue, where a cue can still decide.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub latest_cue: Option<LatestCue>,
    /// Whether it is comfortable for a person.
    pub comfortable: bool,
    /// Why not: `burst`, `reaction` or `little to spare`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hard: Option<&'static str>,
}

/// A latest safe moment.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct LatestCue {
    /// At the latest so long after …
    pub after_ms: i64,
    /// … this step …
    pub step: String,
    /// … is `reported` or `called`.
    pub moment: &'static str,
}

/// A cue.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Cue {
    /// The line of its step.
    pub line: u32,
    /// Its step.
    pub step: String,
    /// How much later than at once it may be given, each time; null where as late as one likes.
    pub may_wait_ms: Option<i64>,
    /// The line that binds it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub because_line: Option<u32>,
}

/// A line's share of a sum.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Share {
    /// What it gives (above zero) or takes.
    pub ms: i64,
    /// The line.
    pub line: u32,
    /// What it bounds, in words.
    pub what: &'static str,
    /// Its step.
    pub step: Option<String>,
}

/// A change of one number.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Repair {
    /// The line.
    pub line: u32,
    /// What it bounds, in words.
    pub what: &'static str,
    /// The upper bound now.
    pub from_ms: i64,
    /// The upper bound that would do.
    pub to_ms: i64,
    /// Where less has to be said: the words now, and those that may be left, by the model.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub words: Option<(u32, u32)>,
}

/// The JSON Schema of the document, as text with a final newline: what `grammar/check.schema.json` holds.
#[must_use]
pub fn schema() -> String {
    let schema = schemars::schema_for!(Document);
    serde_json::to_string_pretty(&schema).map(|text| text + "\n").unwrap_or_default()
}

/// One script with what is known of its timing.
#[must_use]
pub fn script(examined: &Examined, judgement: Option<&Judgement>) -> Script {
    let count =
        |severity| examined.complaints.iter().filter(|c| c.code.severity() == severity).count();
    let errors = count(Severity::Error);
    Script {
        file: examined.sources.files().next().map(|(_, file)| file.name().to_owned()),
        sound: errors == 0,
        errors,
        warnings: count(Severity::Warning),
        variants: examined.plans.len(),
        timing: judgement.map(|judgement| timing(judgement, examined)),
        voice: None,
        complaints: complaints_json(&examined.complaints, &examined.sources),
    }
}

struct Names<'a>(&'a Examined);

impl Names<'_> {
    fn line(&self, place: Place) -> u32 {
        self.0.sources.line_col(place).line
    }

    fn words(&self, place: Place) -> String {
        self.0.sources.slice(place).split_whitespace().collect::<Vec<_>>().join(" ")
    }

    fn step(&self, at: InPlan) -> Option<String> {
        let plan = self.0.plans.get(at.plan)?;
        plan.steps.get(at.step.0 as usize).map(|step| step.name.clone())
    }
}

fn timing(judgement: &Judgement, examined: &Examined) -> Timing {
    let names = Names(examined);
    let verdict = word(&judgement.verdict()).to_owned();
    match judgement {
        Judgement::Proven(report) => proven(report, &names, verdict),
        Judgement::Refused(refusal, repairs) => {
            let grounds = refusal.grounds.iter().map(|ground| Share {
                ms: ground.length.0,
                line: names.line(ground.place),
                what: what(ground.what),
                step: names.step(InPlan { plan: refusal.plan, step: ground.step }),
            });
            let repairs = repairs.iter().map(|repair| Repair {
                line: names.line(repair.place),
                what: what(repair.what),
                from_ms: repair.from.0,
                to_ms: repair.to.0,
                words: repair.words,
            });
            Timing {
                verdict,
                short_ms: Some(refusal.short.0),
                grounds: Some(grounds.collect()),
                repairs: Some(repairs.collect()),
                ..Timing::default()
            }
        }
        Judgement::TooLarge(large) => {
            let line = large.retry().map(|place| names.line(place));
            Timing { verdict, why: Some(explosion(large, examined)), line, ..Timing::default() }
        }
        Judgement::Unanchored(place) => {
            let why = "it measures from before a place where the run begins again";
            let line = Some(names.line(*place));
            Timing { verdict, why: Some(why.to_owned()), line, ..Timing::default() }
        }
    }
}

fn proven(report: &Report, names: &Names<'_>, verdict: String) -> Timing {
    let extent = Extent {
        variants: report.extent.plans,
        segments: report.extent.segments,
        points: report.extent.all_points,
        largest_segment: report.extent.points,
        demands: report.extent.demands,
    };
    Timing {
        verdict,
        extent: Some(extent),
        rests_on: Some(rests_on(&report.rests, names)),
        lengths: Some(lengths(&report.lengths, names)),
        windows: Some(windows(report, names)),
        talked_over: Some(talked_over(report, names)),
        cues: Some(cues(report, names)),
        ..Timing::default()
    }
}

fn lengths(lengths: &Lengths, names: &Names<'_>) -> RunLengths {
    let pauses = lengths.pauses.iter().map(|pause| Pause {
        line: names.line(pause.place),
        step: names.step(InPlan { plan: 0, step: pause.step }).unwrap_or_default(),
    });
    RunLengths {
        best_ms: lengths.best.map(|best| best.0),
        worst_ms: lengths.pauses.is_empty().then_some(lengths.most.0),
        worst_without_pauses_ms: lengths.most.0,
        worst_without_retries_ms: lengths.once.0,
        cool_downs_ms: lengths.cool_downs.0,
        exact: lengths.exact,
        pauses: pauses.collect(),
    }
}

fn windows(report: &Report, names: &Names<'_>) -> Vec<Window> {
    let hard = |hard| match hard {
        Hard::Burst => "burst",
        Hard::Reaction => "reaction",
        Hard::LittleToSpare => "little to spare",
    };
    let rows = report.windows.iter().map(|window| Window {
        line: names.line(window.place),
        words: names.words(window.place),
        kind: match window.what {
            What::Limit => "limit",
            What::Holding => "hold",
            _ => "window",
        },
        step: names.step(window.at).unwrap_or_default(),
        length_ms: window.length.0,
        slack_ms: window.slack.0,
        latest_cue: window.latest.map(|latest| LatestCue {
            after_ms: latest.after.0,
            step: names.step(latest.from).unwrap_or_default(),
            moment: if latest.mark == Mark::Called { "called" } else { "reported" },
        }),
        comfortable: window.hard.is_none(),
        hard: window.hard.map(hard),
    });
    rows.collect()
}

fn talked_over(report: &Report, names: &Names<'_>) -> Vec<TalkedOver> {
    let rows = report.talked_over.iter().map(|row| TalkedOver {
        line: names.line(row.place),
        step: names.step(row.at).unwrap_or_default(),
        by: names.step(row.next).unwrap_or_default(),
    });
    rows.collect()
}

fn cues(report: &Report, names: &Names<'_>) -> Vec<Cue> {
    let rows = report.cues.iter().map(|cue| Cue {
        line: names.line(cue.place),
        step: names.step(cue.at).unwrap_or_default(),
        may_wait_ms: cue.may_wait.map(|wait| wait.0),
        because_line: cue.because.map(|place| names.line(place)),
    });
    rows.collect()
}

fn rests_on(rests: &Rests, names: &Names<'_>) -> RestsOn {
    let lines = rests.written.iter().map(|bound| {
        let (basis, note) = match &bound.basis {
            Basis::Source(text) => ("source", Some(text.clone())),
            Basis::CommonPractice => ("common practice", None),
            Basis::Assumed(why) => ("assumed", Some(why.clone())),
            Basis::Unsaid => ("unsaid", None),
        };
        let decides = match bound.decides {
            Decides::Guide => "guide",
            Decides::Speech => "speech",
            Decides::Person => "person",
            Decides::Vehicle => "vehicle",
            Decides::Demand => "demand",
        };
        let what = what(bound.what).to_owned();
        BoundLine { line: names.line(bound.place), what, decides, basis, note }
    });
    let spoken = rests.spoken.iter().map(|(source, n)| {
        let name = match source {
            SpeechSource::Model => "model",
            SpeechSource::Stated => "stated",
            SpeechSource::Measured => "measured",
            SpeechSource::Recorded => "recorded",
        };
        (name.to_owned(), *n)
    });
    RestsOn {
        total: rests.total(),
        assumed: rests.assumptions(),
        lines: lines.collect(),
        defaults: rests.assumed.iter().map(|one| default(*one)).collect(),
        spoken: spoken.collect(),
        voice: rests.voice.clone(),
    }
}

fn default(assumption: Assumption) -> ToolDefault {
    let (least, most) = assumption.span().map(|span| (span.lo.0, span.hi.0)).unzip();
    let (what, most_ms, words_a_minute) = match assumption {
        Assumption::Reaction(_) => ("reaction", most, None),
        Assumption::Report(_) => ("report", most, None),
        Assumption::Pace(_) => ("pace", most, None),
        Assumption::Speech { rate, .. } => ("speech", None, Some(rate)),
        Assumption::Clock(error) => ("clock", Some(error.0), None),
        Assumption::Jitter(late) => ("cue", Some(late.0), None),
    };
    ToolDefault { what, least_ms: least, most_ms, words_a_minute }
}
