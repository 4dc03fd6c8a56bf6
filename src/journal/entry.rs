//! What a line of a record is: the types that are written to disk, and nothing else.
//!
//! Takes nothing; gives version 1 of the form "stepbell record" as serde types, from which the
//! published schema (`grammar/record.schema.json`) is generated. The core never works on these
//! types: whoever writes converts into them, whoever reads converts out of them. A field may be
//! added with a default; a field that changes its meaning asks for a new [`VERSION`].

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

/// What the header says of itself, word for word.
pub const FORMAT: &str = "stepbell record";
/// The version that this tool writes.
pub const VERSION: u32 = 1;
/// The longest header line that is written or read, in bytes, its newline included: 8 MiB.
pub const HEADER_LIMIT: usize = 8 << 20;
/// The longest other line that is written or read, in bytes, its newline included: 64 KiB.
pub const LINE_LIMIT: usize = 64 << 10;
/// The longest record that is written or read, in bytes: 256 MiB.
pub const RECORD_LIMIT: u64 = 256 << 20;

/// One line of a record. `journal::write` says how `prev` and `crc` are made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(title = "One line of a Stepbell record, version 1")]
pub struct Line {
    /// The line's number in the file, from 1.
    #[schemars(range(min = 1))]
    pub seq: u64,
    /// Milliseconds since the run's start; negative before it.
    pub at: i64,
    /// What happened.
    #[serde(flatten)]
    pub body: Body,
    /// SHA-256 of the whole line before this one, its newline included, in lower-case hex; in
    /// line 1, sixty-four zeros.
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
    /// Line 1 and nowhere else: what was run, on what, by which tool.
    Header(Box<Header>),
    /// Something the person did, or the world through the person.
    Input {
        /// What it was, as a tagged object.
        what: Map<String, Value>,
        /// Who sent it, where it was not done at the computer itself.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        from: Option<Sender>,
    },
    /// Something the guide did: shown, said, rung, decided.
    Effect {
        /// What it was, as a tagged object.
        what: Map<String, Value>,
    },
    /// In a rehearsal: what the imaginary vehicle felt, showed or kept back.
    Vehicle {
        /// What it was, as a tagged object.
        what: Map<String, Value>,
    },
    /// A cue that came late.
    Late {
        /// Which cue, where it has a name.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        cue: Option<String>,
        /// How late, in milliseconds.
        ms: i64,
    },
    /// Something befell the computer's clock or the program's own running.
    Clock {
        /// What befell it.
        change: ClockChange,
        /// How long or how far, in milliseconds; a wall clock set back is negative.
        ms: i64,
    },
    /// A plain sentence for whoever reads the record.
    Note {
        /// The sentence.
        text: String,
    },
    /// Events that could not be kept.
    Lost {
        /// How many.
        events: u64,
        /// Why.
        why: String,
    },
    /// The first place failed: the run so far was written again here, and goes on here.
    Moved {
        /// The name of the file that failed.
        from: String,
        /// How it failed.
        why: String,
    },
    /// The run was broken off before it reached an ending.
    Interrupted {
        /// By what.
        by: Interruption,
    },
    /// A later run took this one up. Written into the old record when the new one begins.
    Continued {
        /// The name of the new record.
        by: String,
    },
    /// The run reached an ending; the last line.
    End {
        /// The ending's name in the script.
        ending: String,
        /// What kind of ending it is.
        class: EndingClass,
        /// Where several items were learned: how each ended by itself.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        items: Vec<ItemEnding>,
    },
}

/// The first line: enough to show and check the record without any other file.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Header {
    /// Always "stepbell record".
    #[schemars(extend("const" = "stepbell record"))]
    pub format: String,
    /// The version of the form: 1.
    #[schemars(range(min = 1))]
    pub version: u32,
    /// The version of the tool that wrote it.
    pub tool: String,
    /// Beside a vehicle, or practice.
    pub run: RunKind,
    /// Wall-clock start, RFC 3339 in UTC. A label only: no time in the record is computed from it.
    #[schemars(extend("format" = "date-time"))]
    pub started: String,
    /// The script's title.
    pub title: String,
    /// The script's status, in the script's words: demonstration, from a handbook, tried.
    pub status: String,
    /// The script, then the files it uses, each whole.
    #[schemars(length(min = 1))]
    pub files: Vec<ScriptFile>,
    /// The name of the profile that the timing rests on.
    pub profile: String,
    /// Where the lengths of the spoken prompts come from.
    pub lengths: String,
    /// The lengths that were counted with where they are not those of the model.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub spoken: Vec<SpokenText>,
    /// How much later than it was given a sound was counted to be heard, in milliseconds.
    #[serde(default, skip_serializing_if = "is_zero")]
    #[schemars(range(min = 0))]
    pub lag: i64,
    /// Who was led through it; may be a pseudonym, may be absent.
    #[serde(default)]
    pub operator: Option<String>,
    /// The counts chosen at the start, by name.
    #[serde(default)]
    pub counts: BTreeMap<String, i64>,
    /// The name of the earlier record that this run takes up, if it takes one up.
    #[serde(default)]
    pub continues: Option<String>,
    /// Of a rehearsal: with what vehicle, and how.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rehearsal: Option<RehearsalTerms>,
}

impl Header {
    /// The hash of the script itself (the first file); empty where a foreign header has no file.
    #[must_use]
    pub fn script_sha256(&self) -> &str {
        self.files.first().map_or("", |file| &file.sha256)
    }
}

/// One file of the script, whole.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ScriptFile {
    /// Its name as the person gave it.
    pub name: String,
    /// SHA-256 of `text` in lower-case hex, as `sha256sum` prints it for the file.
    #[schemars(regex(pattern = r"^[0-9a-f]{64}$"))]
    pub sha256: String,
    /// The full text.
    pub text: String,
}

impl ScriptFile {
    /// A file's name and text, with its hash.
    #[must_use]
    pub fn new(name: impl Into<String>, text: impl Into<String>) -> ScriptFile {
        let text = text.into();
        ScriptFile { name: name.into(), sha256: super::sha256_hex(text.as_bytes()), text }
    }
}

fn is_zero(n: &i64) -> bool {
    *n == 0
}

/// How long one text takes to say, as the run counted with it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct SpokenText {
    /// The text's number in the script's table of texts, from 0.
    pub text: u32,
    /// The longest it takes, in milliseconds, the silence after it included.
    #[schemars(range(min = 0))]
    pub ms: i64,
    /// Where the length comes from.
    pub source: SpokenSource,
}

/// Where a measured speech length comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum SpokenSource {
    /// Rendered by a voice and measured.
    Measured,
    /// A teacher's recording.
    Recorded,
}

/// Who sent an input from afar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Sender {
    /// The number of the page, in the order in which pages were opened, from 1.
    pub page: u32,
    /// Whether it reports what the helper does.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub helper: bool,
}

/// Beside a vehicle, or practice.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum RunKind {
    /// The person stood at a vehicle.
    Live,
    /// An imaginary vehicle.
    Rehearsal,
}

/// How a rehearsal was made.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct RehearsalTerms {
    /// The seed: the same one, the same vehicle.
    pub seed: u64,
    /// The faults that were ordered.
    #[serde(default)]
    pub faults: Vec<String>,
    /// The pace in thousandths of the true one; the record's own times are those of the guide.
    pub pace: u32,
    /// Whether the faces said what to do.
    pub hints: bool,
    /// Whether the person's own hands touched the vehicle.
    pub own_hands: bool,
    /// How lengths were drawn: "inside" the bounds, or with "tails".
    pub law: String,
}

/// What befell the clock or the program's running.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum ClockChange {
    /// The computer slept; the run's time went on.
    Slept,
    /// The program was stopped or starved; the run's time went on.
    Stopped,
    /// The wall clock was set; the run's time is untouched.
    WallStepped,
}

/// What broke a run off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Interruption {
    /// The terminal was closed.
    TerminalClosed,
    /// Ctrl-C, twice.
    Keyboard,
    /// The program was told to end.
    Termination,
    /// No more input could come, and a press was needed.
    InputEnded,
    /// A fault of the program itself.
    InternalError,
}

/// The classes of endings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum EndingClass {
    /// Every new key is learned.
    Learned,
    /// The vehicle is as before.
    NotLearned,
    /// Nobody can tell without trying.
    Unsure,
    /// The person stopped it.
    Stopped,
}

impl EndingClass {
    /// All of them.
    pub const ALL: [EndingClass; 4] =
        [EndingClass::Learned, EndingClass::NotLearned, EndingClass::Unsure, EndingClass::Stopped];
}

/// How one of several items ended.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct ItemEnding {
    /// The item's label.
    pub item: String,
    /// The ending's name in the script.
    pub ending: String,
    /// What kind of ending it is.
    pub class: EndingClass,
}

/// The JSON Schema of a line, as text with a final newline: what `grammar/record.schema.json` holds.
#[must_use]
pub fn schema() -> String {
    let schema = schemars::schema_for!(Line);
    // A schema is plain maps and texts, for which serde_json cannot fail.
    serde_json::to_string_pretty(&schema).map(|text| text + "\n").unwrap_or_default()
}
