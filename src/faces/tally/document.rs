//! A tally for programs: takes a [`Tally`], gives one JSON value, or a table of comma-separated values.

use serde_json::{Value, json};

use super::{proposals, verdict};
use crate::clock::Span;
use crate::faces::safe::cell;
use crate::training::intervals::{exact, jeffreys};
use crate::training::statistics::{Interval, Lengths, Z95, wilson};
use crate::training::tally::{Broken, Group, Key, Tally, Timed};

/// For programs.
#[must_use]
pub fn document(tally: &Tally) -> Value {
    let groups: Vec<Value> = tally.groups.iter().map(|(key, group)| one(key, group)).collect();
    let refused = tally.refused.iter().map(|(name, why)| json!({ "record": name, "why": why }));
    let cut = tally.cut.iter();
    let cut = cut.map(|(copy, whole)| json!({ "record": copy, "same_run_as": whole }));
    json!({
        "counted": tally.counted(),
        "scripts": groups,
        "damaged": tally.damaged,
        "running": tally.running,
        "twice": tally.again,
        "cut_short": cut.collect::<Vec<_>>(),
        "clock_jumped": tally.jumped,
        "not_counted": refused.collect::<Vec<_>>(),
    })
}

fn one(key: &Key, group: &Group) -> Value {
    let (k, n) = (group.learned, group.runs);
    let pair = |interval: Interval| json!([interval.lo, interval.hi]);
    let windows = group.windows.iter().map(|((step, line), window)| {
        let left = |p| window.left.quantile(p).map(|left| left.0);
        let met = group.met(step, *line);
        json!({
            "step": step, "line": line, "met": met.met, "missed": met.missed,
            "not_known": met.not_known,
            "window_ms": window.length.map(|length| length.0),
            "left_ms": { "5%": left(50), "50%": left(500), "95%": left(950) },
        })
    });
    let limits = group.limits.iter().map(|(line, n)| json!({ "line": line, "times": n }));
    let broken = group.broken.iter().map(|(at, broken)| contradicted(group, at, broken));
    json!({
        "title": key.title, "script_sha256": key.sha256, "used_sha256": key.used, "rehearsal": key.rehearsal,
        "person": key.person, "runs": n, "learned": k, "damaged": group.damaged,
        "learned_95%": { "wilson": pair(wilson(k, n, Z95)), "jeffreys": pair(jeffreys(k, n)),
            "exact": pair(exact(k, n)) },
        "keys": { "learned": group.things.0, "of": group.things.1 },
        "endings": group.endings.iter().map(|(name, (_, n))| (name.clone(), json!(n))).collect::<serde_json::Map<_, _>>(),
        "windows": windows.collect::<Vec<_>>(),
        "limits_missed": limits.collect::<Vec<_>>(),
        "contradicted": broken.collect::<Vec<_>>(),
        "verdict": group.proposed.as_ref().map(|proposed| verdict(&proposed.as_declared)),
        "practice": group.curve().map(|curve| json!({
            "form": "unit", "runs": group.lengths.len(), "floor_ms": curve.floor.0,
            "first_ms": curve.first.0, "exponent": curve.exponent, "rate": curve.rate(),
            "off_ms": curve.off.0,
        })),
    })
}

fn contradicted(group: &Group, at: &Timed, broken: &Broken) -> Value {
    let times = group.proposed.iter().flat_map(|proposed| &proposed.times);
    let known = times.into_iter().find(|time| time.at == *at);
    let ms = |span: Span| json!([span.lo.0, span.hi.0]);
    let wider = proposals(group, at).map(|wider| {
        json!({
            "of_1000": wider.of_thousand, "bounds_ms": ms(wider.span),
            "verdict": verdict(&wider.verdict),
        })
    });
    let beyond = |lengths: &Lengths| json!({ "times": lengths.n(), "most_ms": lengths.most().map(|most| most.0) });
    json!({
        "step": at.step, "moment": at.which.word(), "of": group.told.get(at).copied().unwrap_or(0),
        "longer": beyond(&broken.longer), "sooner": beyond(&broken.sooner),
        "line": known.map(|time| time.line), "declared_ms": known.map(|time| ms(time.declared)),
        "proposed": wider.collect::<Vec<_>>(),
    })
}

/// For a spreadsheet: one line a window.
#[must_use]
pub fn table(tally: &Tally) -> String {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let heading = [
        "title",
        "script_sha256",
        "kind",
        "person",
        "runs",
        "learned",
        "step",
        "line",
        "met",
        "missed",
        "not_known",
        "window_ms",
        "left_5%_ms",
        "left_50%_ms",
        "left_95%_ms",
    ];
    // Writing into memory does not fail.
    let _ = writer.write_record(heading);
    for (key, group) in &tally.groups {
        let kind = if key.rehearsal { "rehearsal" } else { "live" };
        for ((step, line), window) in &group.windows {
            let left = |p| window.left.quantile(p).map_or_else(String::new, |l| l.0.to_string());
            let met = group.met(step, *line);
            let _ = writer.write_record([
                cell(&key.title),
                key.sha256.clone(),
                kind.to_owned(),
                cell(key.person.as_deref().unwrap_or("")),
                group.runs.to_string(),
                group.learned.to_string(),
                cell(step),
                line.to_string(),
                met.met.to_string(),
                met.missed.to_string(),
                met.not_known.to_string(),
                window.length.map_or_else(String::new, |l| l.0.to_string()),
                left(50),
                left(500),
                left(950),
            ]);
        }
    }
    writer.into_inner().ok().and_then(|bytes| String::from_utf8(bytes).ok()).unwrap_or_default()
}
