//! Records of seeded runs, as bytes: for what reads many of them.

use stepbell::clock::Moment;
use stepbell::journal::convert::{Context, effect_body};
use stepbell::journal::entry::{Body, FORMAT, Header, RunKind, ScriptFile, VERSION};
use stepbell::journal::write::{Link, frame};
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

/// A seeded run as the bytes of its record.
pub fn record(script: &Script, header: Header, seed: u64, faults: &[Fault]) -> Vec<u8> {
    let plan = script.smallest();
    let run = script.play(seed, faults, &plan.choices);
    let sources = SourceMap::default();
    let context = Context { procedure: &script.procedure, plan: Some(plan), sources: &sources };
    let mut link = Link::first();
    let mut bytes = Vec::new();
    let mut put = |at: Moment, body: &Body| {
        let framed = frame(&link, at, body).expect("short enough");
        bytes.extend_from_slice(&framed.bytes);
        link = framed.then;
    };
    put(Moment::START, &Body::Header(Box::new(header)));
    for line in &run.lines {
        for effect in line.effects.iter().filter_map(|effect| context.effect(effect)) {
            put(line.at, &effect_body(&effect));
        }
    }
    bytes
}
