//! What has to be done every so often: what the proof demands of it, and that the guide keeps to it.

use std::collections::BTreeMap;
use std::sync::Arc;

use stepbell::clock::{Millis, Moment};
use stepbell::faces::verdict::word;
use stepbell::guide::cue::{Effect, Fact, Notice};
use stepbell::guide::{Guide, Settings};
use stepbell::procedure::Examined;
use stepbell::procedure::plan::{Plan, Report, StepIx};
use stepbell::procedure::timing::{Mark, PlainTiming, What, speech_lengths};
use stepbell::proof::verdict::Verdict;
use stepbell::vehicle::{Draw, Fault, Transcript, Wrong, play_drawn};

use crate::verdicts::{decide, scripts, small};

/// Two acts in one window, then a rest, another two, all of it kept awake.
fn script(every: &str, limit: &str) -> Examined {
    let pair = |n: u32| {
        format!(
            "  step on-{n} \"Switch ON.\"\n    takes 1s to 4s\n    see lamp, within 4s after done, so go \
             on\n    nothing within 8s after done, so finish as unsure\n  step off-{n} \"Switch \
             OFF.\"\n    takes 1s to 4s\n    within 30s after on-{n} answered\n    late, so finish as \
             unsure\n"
        )
    };
    small(&format!(
        "sign lamp, see \"the lamp\" lit\nphase learning\n  keep awake every {every}, \"Touch the brake \
         pedal.\"\n{limit}{}{}{}end phase\nstep rest \"Wait for ten minutes.\"\n  takes 9min to \
         10min\nfinish as learned\n",
        pair(1),
        pair(2),
        pair(3)
    ))
}

const LIMIT: &str = "  within 5min after on-1 done\n  late, so finish as unsure\n";

#[test]
fn a_window_longer_than_it_stays_awake_is_refused() {
    for limit in ["", LIMIT] {
        assert_eq!(
            word(&decide(&script("40s", limit))),
            "proven",
            "{:?}",
            decide(&script("40s", limit))
        );
        let Verdict::Refused(refusal) = decide(&script("25s", limit)) else {
            panic!("25 s is short")
        };
        assert!(refusal.grounds.iter().any(|g| g.what == What::Awake && g.length > Millis::ZERO));
    }
}

/// Words that a limit does not leave time for.
#[test]
fn reminders_cost_time_in_a_limit() {
    let limit = |within: &str| LIMIT.replace("5min", within);
    let shortest = |every: &str| {
        let holds = |s: i64| word(&decide(&script(every, &limit(&format!("{s}s"))))) == "proven";
        (20..200).find(|s| holds(*s)).expect("some limit holds")
    };
    // One reminder before each of the two later pairs: three words at 110 a minute and 0.6 s, twice.
    let without = {
        let text = script("40s", &limit("200s"));
        let (_, file) = text.sources.files().next().expect("a file");
        let plain = file.text().lines().filter(|line| !line.contains("keep awake"));
        let plain: Vec<&str> = plain.skip(3).collect();
        let holds = |s: i64| {
            let lines = plain.join("\n").replace("200s", &format!("{s}s")) + "\n";
            word(&decide(&small(&lines))) == "proven"
        };
        (20..200).find(|s| holds(*s)).expect("some limit holds")
    };
    let more = shortest("2min") - without;
    assert!((5..=6).contains(&more), "{more}");
}

/// Follows a run: when each reminder was said last, or its stretch was entered.
struct Watch<'a> {
    name: &'a str,
    plan: &'a Plan,
    last: BTreeMap<usize, Moment>,
    step: StepIx,
    called: bool,
}

impl Watch<'_> {
    /// No more time has passed since the last reminder, with what is still to come, than may.
    fn in_time(&self, n: usize, now: Moment, more: Millis) {
        let since = self.last.get(&n).map_or(Millis::ZERO, |last| now.since(*last));
        let step = self.step;
        let every = self.plan.awake[n].every;
        assert!(since.plus(more) <= every, "{}: {since} and {more} in {step:?}", self.name);
    }

    fn enter(&mut self, step: StepIx, now: Moment) {
        (self.step, self.called) = (step, false);
        for n in 0..self.plan.awake.len() {
            if self.plan.awake[n].covers(step) {
                self.last.entry(n).or_insert(now);
            } else {
                self.in_time(n, now, Millis::ZERO);
                self.last.remove(&n);
            }
        }
    }
}

/// From one reminder to the next (its words and a reaction), and to the end of the stretch, never more
/// than it may be; nothing is said in an open window. Gives how many were said.
fn kept(name: &str, examined: &Examined, plan: &Plan, run: &Transcript) -> usize {
    let procedure = examined.procedure.as_ref().expect("a model");
    let speech = speech_lengths(procedure);
    let mut watch = Watch { name, plan, last: BTreeMap::new(), step: StepIx(0), called: false };
    let mut said = 0;
    for (now, effect) in run.lines.iter().flat_map(|l| l.effects.iter().map(|e| (l.at, e))) {
        match effect {
            Effect::Record(Fact::Entered(step, _)) => watch.enter(*step, now),
            Effect::Record(Fact::CueGiven { point, .. }) if point.mark == Mark::Called => {
                watch.called = true;
            }
            Effect::Record(Fact::Outcome(..)) => {
                (0..plan.awake.len()).for_each(|n| watch.in_time(n, now, Millis::ZERO));
            }
            Effect::Record(Fact::Noticed(Notice::KeepAwake(text))) => {
                let n = plan.awake.iter().position(|awake| awake.text == *text).expect("one");
                let step = plan.step(watch.step);
                assert!(step.free || !watch.called && step.breath_before, "{name}: {}", step.name);
                watch.in_time(n, now, speech.of(*text).hi.plus(procedure.operator.reacts.hi));
                watch.last.insert(n, now);
                said += 1;
            }
            _ => {}
        }
    }
    said
}

#[test]
fn a_proven_script_is_kept_awake_by_whoever_keeps_its_bounds() {
    let mut all: Vec<(String, Examined)> = scripts()
        .into_iter()
        .filter(|(_, s)| s.plans.iter().any(|p| !p.awake.is_empty()))
        .collect();
    assert!(!all.is_empty(), "a shipped procedure keeps awake");
    for (every, limit) in [("40s", ""), ("40s", LIMIT), ("2min", ""), ("2min", LIMIT)] {
        all.push((format!("every {every}"), script(every, limit)));
    }
    let mut said = 0;
    for (name, examined) in &all {
        assert_eq!(word(&decide(examined)), "proven", "{name}");
        let procedure = Arc::new(examined.procedure.clone().expect("a model"));
        let speech = speech_lengths(&procedure);
        for plan in &examined.plans {
            for seed in 0..60 {
                let settings = Settings {
                    speech: speech.clone(),
                    timing: |procedure, plan, speech| {
                        Box::new(PlainTiming::new(procedure, plan, speech))
                    },
                    rehearsal: false,
                    length: stepbell::power::Length::Unbounded,
                };
                let guide = Guide::new(Arc::clone(&procedure), settings);
                let draw = if seed % 2 == 0 { Draw::new(seed) } else { Draw::edges(seed) };
                let step = StepIx(u32::try_from(seed).unwrap_or(0) % plan.main);
                let silent = [Fault::Step(step, 1, Wrong::Silence)];
                // A vehicle may be silent; a person who does not report breaks a bound.
                let awaits = plan.step(step).report == Report::Answer;
                let faults = if awaits && seed % 3 == 0 { &silent[..] } else { &[] };
                let run = play_drawn(guide, &procedure, &speech, draw, faults, &plan.choices);
                said += kept(name, examined, plan, &run);
            }
        }
    }
    assert!(said > 200, "{said} reminders");
}
