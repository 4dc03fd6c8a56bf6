//! Records of seeded runs, as bytes: for what reads many of them.

use std::borrow::Borrow;

use stepbell::clock::Moment;
use stepbell::journal::convert::{Context, effect_body};
use stepbell::journal::entry::{Body, FORMAT, Header, RunKind, ScriptFile, VERSION};
use stepbell::journal::write::{Link, frame};
use stepbell::procedure::plan::Plan;
use stepbell::source::SourceMap;
use stepbell::vehicle::Fault;

use crate::runs_support::Script;

pub fn header(title: &str, text: &str, nth: u64, run: RunKind) -> Header {
    Header {
        format: FORMAT.to_owned(),
        version: VERSION,
        tool: "0.1.0".to_owned(),
        run,
        started: format!(
            "2031-05-06T{:02}:{:02}:{:02}Z",
            7 + nth / 3600 % 16,
            nth / 60 % 60,
            nth % 60
        ),
        title: title.to_owned(),
        status: "demonstration".to_owned(),
        files: vec![ScriptFile::new("spare.bell", text)],
        profile: "standard".to_owned(),
        lengths: "model".to_owned(),
        spoken: Vec::new(),
        lag: 0,
        operator: Some(format!("apprentice {}", nth % 2)),
        counts: std::collections::BTreeMap::new(),
        continues: None,
        rehearsal: None,
    }
}

/// The bytes of a record with these entries.
pub fn written<B: Borrow<Body>>(entries: impl IntoIterator<Item = (Moment, B)>) -> Vec<u8> {
    let mut link = Link::first();
    let mut record = Vec::new();
    for (at, body) in entries {
        let line = frame(&link, at, body.borrow()).expect("short enough");
        record.extend_from_slice(&line.bytes);
        link = line.then;
    }
    record
}

/// A seeded run as the bytes of its record; everything stands in line 1.
pub fn record(script: &Script, header: Header, seed: u64, faults: &[Fault]) -> Vec<u8> {
    record_of((script, script.smallest(), &SourceMap::default()), header, seed, faults)
}

/// A seeded run of this plan as the bytes of its record, with the lines of these sources.
pub fn record_of(
    (script, plan, sources): (&Script, &Plan, &SourceMap),
    header: Header,
    seed: u64,
    faults: &[Fault],
) -> Vec<u8> {
    let run = script.play(seed, faults, &plan.choices);
    let context = Context { procedure: &script.procedure, plan: Some(plan), sources };
    let entries = run.lines.iter().flat_map(|line| {
        let effects = line.effects.iter().filter_map(|effect| context.effect(effect));
        effects.map(|effect| (line.at, effect_body(&effect)))
    });
    written(std::iter::once((Moment::START, Body::Header(Box::new(header)))).chain(entries))
}
