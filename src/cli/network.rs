//! `stepbell network FILE…`: takes the texts of plain networks and what is asked about them, gives
//! one verdict a file, as text or JSON, and an exit code.

use std::fmt::Write as _;

use clap::{Args, ValueEnum};
use serde::Serialize;

use crate::proof::controllable::{Cycle, LatestSafe, Part, Role, Use, Verdict, check, latest_safe};
use crate::proof::network::{LARGEST, MOST_DISTANCES, MOST_POINTS, NetworkError, Point};
use crate::proof::tn::{self, NamedNetwork, TnError, TnErrorKind};

/// Check plain temporal networks (`.tn` files).
#[derive(Args, Clone, Debug)]
pub struct NetworkArgs {
    /// The networks to check
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<std::path::PathBuf>,
    /// How to answer
    #[arg(long, value_enum, default_value = "human")]
    pub format: Format,
    /// Print the most that every point can lie after every other: row i, column j, `inf` where
    /// unbounded
    #[arg(long)]
    pub minimal: bool,
    /// Print the most that POINT can be kept behind REF, `none` where there is no limit
    #[arg(long, num_args = 2, value_names = ["REF", "POINT"])]
    pub latest: Option<Vec<String>>,
}

impl NetworkArgs {
    /// What is asked, apart from the files.
    #[must_use]
    pub fn options(&self) -> Options {
        let latest = match self.latest.as_deref() {
            Some([reference, point]) => Some((reference.clone(), point.clone())),
            _ => None,
        };
        Options { format: self.format, minimal: self.minimal, latest }
    }
}

/// How to answer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Lines for people
    #[default]
    Human,
    /// One JSON document for programs
    Json,
}

/// What is asked about each network.
#[derive(Clone, Debug, Default)]
pub struct Options {
    /// How to answer.
    pub format: Format,
    /// Whether the matrix is wanted.
    pub minimal: bool,
    /// Reference and point whose largest distance is wanted.
    pub latest: Option<(String, String)>,
}

/// What the command prints and how it ends.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Output {
    /// The answers.
    pub stdout: String,
    /// What could not be answered.
    pub stderr: String,
    /// 0 done · 1 a network is `not` or `inconsistent` · 2 a point asked for does not exist ·
    /// 3 a file could not be read or understood · 4 a matrix would be too large.
    pub exit: u8,
}

/// Answers for each input: its name, and its text or why it could not be read.
#[must_use]
pub fn run(inputs: &[(String, Result<String, String>)], options: &Options) -> Output {
    let mut output = Output::default();
    let mut reports = Vec::new();
    for (file, text) in inputs {
        let report = match text {
            Ok(text) => report(file, text, options),
            Err(message) => Err(Trouble { exit: 3, line: None, message: message.clone() }),
        };
        match report {
            Ok(report) => {
                output.exit = output.exit.max(u8::from(report.cycle.is_some()));
                reports.push(report);
            }
            Err(trouble) => {
                output.exit = output.exit.max(trouble.exit);
                let line = trouble.line.map(|line| format!(":{line}")).unwrap_or_default();
                let _ = writeln!(output.stderr, "{file}{line}: {}", trouble.message);
                reports.push(Report::without_answer(file, trouble));
            }
        }
    }
    output.stdout = match options.format {
        Format::Human => reports.iter().map(|report| human(report, inputs.len() == 1)).collect(),
        Format::Json => json(&reports),
    };
    output
}

/// Why a file got no answer.
#[derive(Debug)]
struct Trouble {
    exit: u8,
    line: Option<usize>,
    message: String,
}

/// All that is known about one file.
#[derive(Debug, Default, Serialize)]
struct Report {
    file: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    verdict: Option<&'static str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cycle: Option<CycleReport>,
    #[serde(skip_serializing_if = "Option::is_none")]
    minimal: Option<Vec<Vec<Option<i64>>>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    latest: Option<LatestReport>,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<ErrorReport>,
}

/// `value` is the sum of `weight` × `times` over `edges`.
#[derive(Debug, Serialize)]
struct CycleReport {
    value: i64,
    edges: Vec<EdgeReport>,
}

/// time(`to`) − time(`from`) ≤ `weight`, as the cycle reads it.
#[derive(Debug, Serialize)]
struct EdgeReport {
    kind: &'static str,
    from: String,
    to: String,
    weight: i64,
    times: u64,
    line: u32,
}

#[derive(Debug, Serialize)]
struct LatestReport {
    reference: String,
    point: String,
    /// `null` where there is no limit.
    most: Option<i64>,
}

#[derive(Debug, Serialize)]
struct ErrorReport {
    line: Option<usize>,
    message: String,
}

impl Report {
    fn without_answer(file: &str, trouble: Trouble) -> Report {
        let error = ErrorReport { line: trouble.line, message: trouble.message };
        Report { file: file.to_owned(), error: Some(error), ..Report::default() }
    }
}

fn report(file: &str, text: &str, options: &Options) -> Result<Report, Trouble> {
    let named = tn::parse(text).map_err(|error| not_understood(&error))?;
    let verdict = check(&named.network);
    let mut report = Report { file: file.to_owned(), ..Report::default() };
    report.verdict = Some(match (&verdict, named.network.links().is_empty()) {
        (Verdict::Controllable, false) => "dc",
        (Verdict::Not(_), false) => "not",
        (Verdict::Controllable, true) => "consistent",
        (Verdict::Not(_), true) => "inconsistent",
    });
    if let Some((reference, point)) = &options.latest {
        let ends = (asked_for(&named, reference)?, asked_for(&named, point)?);
        report.latest = match latest_safe(&named.network, ends.0, ends.1) {
            LatestSafe::NotControllable => None,
            LatestSafe::Unbounded => Some(None),
            LatestSafe::After(most) => Some(Some(most.0)),
        }
        .map(|most| LatestReport {
            reference: reference.clone(),
            point: point.clone(),
            most,
        });
    }
    if options.minimal {
        let distances = named.network.distances().map_err(|too_many| Trouble {
            exit: 4,
            line: None,
            message: format!(
                "the matrix of {} points would be too large: at most {MOST_DISTANCES}",
                too_many.points
            ),
        })?;
        report.minimal =
            distances.map(|d| d.rows().map(|row| row.map(|m| m.map(|m| m.0)).collect()).collect());
    }
    if let Verdict::Not(cycle) = verdict {
        report.cycle = Some(cycle_report(&named, &cycle));
    }
    Ok(report)
}

fn asked_for(named: &NamedNetwork, name: &str) -> Result<Point, Trouble> {
    named.point(name).ok_or_else(|| Trouble {
        exit: 2,
        line: None,
        message: format!("there is no point {}", shown(name)),
    })
}

fn cycle_report(named: &NamedNetwork, cycle: &Cycle) -> CycleReport {
    let edges = cycle.uses.iter().map(|used| edge_report(named, used));
    CycleReport { value: cycle.value.0, edges: edges.collect() }
}

fn edge_report(named: &NamedNetwork, used: &Use) -> EdgeReport {
    let network = &named.network;
    let (kind, from, to, tag) = match used.part {
        Part::Bound(number) => {
            let bound = network.bounds()[number];
            ("bound", bound.from, bound.to, bound.tag)
        }
        Part::Link(number, role) => {
            let link = network.links()[number];
            let (start, end) = (link.activation, link.outcome);
            match role {
                Role::Quick => ("link-quick", start, end, link.tag),
                Role::AtMost => ("link-at-most", start, end, link.tag),
                Role::Slow => ("link-slow", end, start, link.tag),
                Role::AtLeast => ("link-at-least", end, start, link.tag),
            }
        }
    };
    EdgeReport {
        kind,
        from: named.name(from).to_owned(),
        to: named.name(to).to_owned(),
        weight: used.part.length(network).0,
        times: used.times,
        line: tag.0,
    }
}

/// The answer in lines. What was asked for beyond the verdict stands alone where there is only
/// one file, so that other programs can read it; else the verdict comes first.
fn human(report: &Report, alone: bool) -> String {
    let Some(verdict) = report.verdict else { return String::new() };
    let mut text = String::new();
    if !alone || (report.minimal.is_none() && report.latest.is_none()) {
        let _ = writeln!(text, "{} {verdict}", report.file);
    }
    for row in report.minimal.iter().flatten() {
        let cells: Vec<String> = row
            .iter()
            .map(|most| most.map_or_else(|| "inf".to_owned(), |m| m.to_string()))
            .collect();
        let _ = writeln!(text, "{}", cells.join(" "));
    }
    if let Some(latest) = &report.latest {
        let most = latest.most.map_or_else(|| "none".to_owned(), |most| most.to_string());
        let _ = writeln!(text, "{most}");
    }
    text
}

fn json(reports: &[Report]) -> String {
    #[derive(Serialize)]
    struct Document<'a> {
        format: &'static str,
        version: u32,
        files: &'a [Report],
    }
    let document = Document { format: "stepbell-network", version: 1, files: reports };
    // Numbers and strings only: nothing that could fail to be written.
    let text = serde_json::to_string_pretty(&document).unwrap_or_default();
    text + "\n"
}

fn not_understood(error: &TnError) -> Trouble {
    let message = match &error.kind {
        TnErrorKind::MissingHeader => "the first line has to be `network 1`".to_owned(),
        TnErrorKind::UnknownVersion(version) => {
            format!("version {} of the format is not known, only `network 1`", shown(version))
        }
        TnErrorKind::UnknownWord(word) => {
            format!("{} is not known: a line is a `point`, a `bound` or a `link`", shown(word))
        }
        TnErrorKind::WrongShape(shape) => format!("this line is written `{shape}`"),
        TnErrorKind::NotAWholeNumber(word) => format!("{} is not a whole number", shown(word)),
        TnErrorKind::DuplicatePoint(name) => format!("point {} is declared twice", shown(name)),
        TnErrorKind::UnknownPoint(name) => format!("no line above declares point {}", shown(name)),
        TnErrorKind::Refused(error) => refused(*error),
    };
    Trouble { exit: 3, line: Some(error.line), message }
}

fn refused(error: NetworkError) -> String {
    match error {
        NetworkError::TooManyPoints => format!("more than {MOST_POINTS} points"),
        NetworkError::UnknownPoint => "a point that is not declared".to_owned(),
        NetworkError::TooLong(_) => {
            format!("the number is too large: at most {}, either way", LARGEST.0)
        }
        NetworkError::LowerAboveUpper(takes) => {
            format!("the least, {}, is more than the most, {}", takes.lo.0, takes.hi.0)
        }
        NetworkError::BeforeActivation(takes) => {
            format!("the least, {}, is negative: an outcome comes after its cause", takes.lo.0)
        }
        NetworkError::OutcomeTwice => "this outcome already has a link".to_owned(),
        NetworkError::ActivatesItself => "these links go round in a circle".to_owned(),
    }
}

/// A word from a file, short and harmless enough for a terminal.
fn shown(word: &str) -> String {
    const MOST: usize = 40;
    let mut text: String = word.chars().take(MOST).flat_map(char::escape_debug).collect();
    if word.chars().nth(MOST).is_some() {
        text.push('…');
    }
    format!("`{text}`")
}
