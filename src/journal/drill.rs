//! The answers of a drill as a file of its own: what its lines are, how they are framed, how they read
//! back. Never a record of a run: it says so in its first line, and its file's name ends differently.
//!
//! Lines are framed as those of a record (`journal::write`): the same numbers, links and checksums.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::write::{Framed, Link, Unframed, framed, is_sound};
use crate::clock::Moment;

/// What the header says of itself, word for word.
pub const FORMAT: &str = "stepbell drill";
/// The version that this tool writes.
pub const VERSION: u32 = 1;
/// How the names of these files end.
pub const ENDING: &str = ".drill.jsonl";
/// The longest line that is written or read, in bytes, its newline included: 64 KiB.
const LINE_LIMIT: usize = 64 << 10;

/// One line of the answers of a drill.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "One line of the answers of a Stepbell drill, version 1")]
pub struct Line {
    /// The line's number in the file, from 1.
    #[schemars(range(min = 1))]
    pub seq: u64,
    /// Milliseconds since the drill's start.
    pub at: i64,
    /// What it says.
    #[serde(flatten)]
    pub body: Body,
    /// SHA-256 of the whole line before this one, its newline included, in lower-case hex; in line 1,
    /// sixty-four zeros.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub prev: String,
    /// CRC-32C of this line's bytes before the text `,"crc":"`, in lower-case hex; always last.
    #[schemars(regex(pattern = r"^[0-9a-f]{8}$"))]
    pub crc: String,
}

/// What a line says, told apart by its `kind`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Body {
    /// Line 1 and nowhere else: who was asked, over which record.
    Header(Header),
    /// One question, its answer, and what would have been right.
    Answer(Answer),
    /// The last line: every question was asked.
    End {
        /// How many questions were answered.
        asked: u32,
        /// How many of them rightly.
        right: u32,
    },
}

/// The first line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Header {
    /// Always "stepbell drill".
    #[schemars(extend("const" = "stepbell drill"))]
    pub format: String,
    /// The version of the form: 1.
    #[schemars(range(min = 1))]
    pub version: u32,
    /// The version of the tool that wrote it.
    pub tool: String,
    /// Wall-clock start, RFC 3339 in UTC: a label only.
    #[schemars(extend("format" = "date-time"))]
    pub started: String,
    /// The script's title.
    pub title: String,
    /// SHA-256 of the script's text: another edition has another.
    pub script_sha256: String,
    /// The name of the record that was shown, and when its run began.
    pub record: String,
    /// When the run of that record began.
    pub run_started: String,
    /// Who was asked; may be a pseudonym, may be absent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<String>,
}

/// One question and its answer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Answer {
    /// The step that was asked for.
    pub step: String,
    /// Its line in the script.
    pub line: u32,
    /// For the nth time in that run.
    pub nth: u32,
    /// What was asked.
    pub about: About,
    /// What could be chosen, as it was written.
    pub choices: Vec<String>,
    /// What was answered.
    pub given: String,
    /// What would have been right.
    pub wanted: String,
    /// How the answer was.
    pub judged: Judged,
    /// From the question to the answer, in milliseconds.
    pub took: i64,
}

/// What was asked.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum About {
    /// What comes next.
    What,
    /// By when.
    When,
}

/// How an answer was.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Judged {
    /// Right.
    Right,
    /// Another step.
    Wrong,
    /// A shorter time than there is: safe, but hurried.
    Sooner,
    /// A longer time than there is: the window would have closed.
    Later,
    /// Not answered: asked to be shown.
    Shown,
}

/// What a file holds, as far as it can be read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadDrill {
    /// Line 1, if it is there and sound.
    pub header: Option<Header>,
    /// The answers whose lines are whole.
    pub answers: Vec<Answer>,
    /// Whether every question was asked.
    pub whole: bool,
    /// Lines that are torn or damaged.
    pub damaged: u64,
    /// What a next line would hang on: another for every other file.
    pub last: String,
}

/// Frames one line behind `link`.
///
/// # Errors
/// [`Unframed`] when the line would be longer than a reader accepts.
pub fn frame(link: &Link, at: Moment, body: &Body) -> Result<Framed, Unframed> {
    framed(link, at, body, LINE_LIMIT)
}

/// Whether these bytes begin as the answers of a drill do.
#[must_use]
pub fn is_drill(bytes: &[u8]) -> bool {
    read(bytes.split_inclusive(|byte| *byte == b'\n').next().unwrap_or_default()).header.is_some()
}

/// Reads answers back from any bytes. Never fails; what cannot be read is counted.
#[must_use]
pub fn read(bytes: &[u8]) -> ReadDrill {
    let mut drill = ReadDrill::default();
    let mut link = Link::first();
    for raw in bytes.split_inclusive(|byte| *byte == b'\n') {
        match line(raw).filter(|line| line.prev == link.prev) {
            Some(Line { body, .. }) => match body {
                Body::Header(header) if link.seq == 1 && header.format == FORMAT => {
                    drill.header = Some(header);
                }
                Body::Header(_) => drill.damaged += 1,
                Body::Answer(answer) => drill.answers.push(answer),
                Body::End { .. } => drill.whole = true,
            },
            None => drill.damaged += 1,
        }
        link = link.after(raw);
    }
    drill.last = link.prev;
    drill
}

/// A whole line with a sound checksum.
fn line(raw: &[u8]) -> Option<Line> {
    let text = raw.strip_suffix(b"\n").filter(|text| text.len() < LINE_LIMIT)?;
    serde_json::from_slice(text).ok().filter(|_| is_sound(text))
}

/// The JSON Schema of a line, as text with a final newline: what `grammar/drill.schema.json` holds.
#[must_use]
pub fn schema() -> String {
    let schema = schemars::schema_for!(Line);
    // A schema is plain maps and texts, for which serde_json cannot fail.
    serde_json::to_string_pretty(&schema).map(|text| text + "\n").unwrap_or_default()
}
