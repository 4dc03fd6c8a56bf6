//! Complaints as objects for a program.
//!
//! Takes complaints and the texts they speak of; gives an array of objects, in the order of file and
//! place. Lines and columns count from 1, columns in characters; `end` is the first place behind.

use serde_json::{Map, Value, json as object};

use super::render::sentence;
use super::visible::visible;
use super::{Complaint, Fact};
use crate::source::{Place, SourceMap};

/// All complaints: `code`, `severity`, `message`, the place, `facts`, `near`, `fix`, `related`.
#[must_use]
pub fn json(complaints: &[Complaint], sources: &SourceMap) -> Value {
    let mut sorted: Vec<&Complaint> = complaints.iter().collect();
    sorted.sort_by_key(|complaint| (complaint.place, complaint.code));
    sorted.into_iter().map(|complaint| one(complaint, sources)).collect()
}

fn one(complaint: &Complaint, sources: &SourceMap) -> Value {
    let facts = complaint.facts.iter().map(|(name, fact)| ((*name).to_owned(), value(fact)));
    let fix = complaint.fix.as_ref().map(|fix| {
        let place = place(fix.place, sources);
        joined(place, object!({ "what": fix.what, "text": fix.text }))
    });
    let related = complaint.also.iter().map(|also| {
        let place = place(also.place, sources);
        joined(place, object!({ "what": also.what }))
    });
    let rest = object!({
        "code": complaint.code.name(),
        "severity": complaint.code.severity().word(),
        "message": sentence(complaint),
        "facts": facts.collect::<Map<String, Value>>(),
        "near": complaint.near.as_deref().map(visible),
        "fix": fix,
        "related": related.collect::<Vec<Value>>(),
    });
    joined(place(complaint.place, sources), rest)
}

fn value(fact: &Fact) -> Value {
    match fact {
        Fact::Text(text) => Value::from(visible(text)),
        Fact::Length(length) => object!({ "milliseconds": length.0 }),
        Fact::Number(number) => Value::from(*number),
    }
}

fn place(place: Place, sources: &SourceMap) -> Value {
    let name = sources.get(place.file).map_or("", |source| source.name());
    let start = sources.line_col(place);
    let end = sources.line_col(Place { start: place.end, ..place });
    object!({
        "file": visible(name),
        "line": start.line,
        "column": start.col,
        "end": { "line": end.line, "column": end.col },
    })
}

/// Two objects as one.
fn joined(one: Value, other: Value) -> Value {
    let (Value::Object(mut one), Value::Object(other)) = (one, other) else { return Value::Null };
    one.extend(other);
    Value::Object(one)
}
