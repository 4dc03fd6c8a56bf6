//! Plans of the fixtures and of the procedures: what each step leads to, walks, holds and waits for.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use stepbell::clock::{Millis, Moment, Span};
use stepbell::complaint::Code;
use stepbell::complaint::render::render;
use stepbell::procedure::model::{Procedure, Range};
use stepbell::procedure::plan::{Anchor, Next, Plan, PlanStep, Report, StepIx, Target, Thing};
use stepbell::procedure::timing::{
    Bracket, Known, Mark, PlainTiming, Point, Timing, bounds, speech_lengths,
};
use stepbell::procedure::{Examined, examine};
use stepbell::source::{Place, SourceMap};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn examined(path: &Path) -> Examined {
    let text = fs::read_to_string(path).unwrap();
    let name = path.file_name().unwrap().to_str().unwrap();
    let folder = path.parent().unwrap().to_owned();
    examine(name, text, &mut |used| {
        fs::read_to_string(folder.join(used)).map_err(|error| error.to_string())
    })
}

/// A short text form of a plan, for snapshots.
struct Shown<'a> {
    procedure: &'a Procedure,
    plan: &'a Plan,
    sources: &'a SourceMap,
    text: String,
}

fn span(span: Span) -> String {
    if span.lo == span.hi { span.lo.to_string() } else { format!("{} to {}", span.lo, span.hi) }
}

fn range(range: Range) -> String {
    match range.hi {
        Some(hi) => span(Span::new(range.lo, hi)),
        None => format!("at least {}", range.lo),
    }
}

fn word<T: std::fmt::Debug>(word: T) -> String {
    format!("{word:?}").to_lowercase()
}

impl Shown<'_> {
    fn line(&self, place: Place) -> u32 {
        self.sources.line_col(place).line
    }

    fn step(&self, ix: StepIx) -> String {
        format!("{} {}", ix.0, self.plan.step(ix).name)
    }

    fn next(&self, next: Next) -> String {
        match next {
            Next::Step(ix) => self.step(ix),
            Next::End(ending) => format!("end {}", self.procedure.endings[ending.0 as usize].name),
        }
    }

    fn thing(&self, thing: Thing) -> String {
        format!("{}:{}", self.procedure.items[thing.item.0 as usize].name, thing.nth + 1)
    }

    fn things(&self, things: &[Thing]) -> String {
        things.iter().map(|t| self.thing(*t)).collect::<Vec<_>>().join(" ")
    }

    fn anchor(&self, anchor: Anchor) -> String {
        format!("{} {}", self.step(anchor.step), word(anchor.event))
    }

    fn target(&self, target: &Target) -> String {
        match target {
            Target::To(next) => self.next(*next),
            Target::ThisOne { thing, class, next } => {
                format!("{} is {}, {}", self.thing(*thing), word(class), self.next(*next))
            }
            Target::Again { purse, enter, back, cool_down, spent, .. } => {
                let way = if enter == back {
                    String::new()
                } else {
                    format!(" by {}", self.step(*enter))
                };
                let after = if *cool_down == Millis::ZERO {
                    String::new()
                } else {
                    format!(" after {cool_down}")
                };
                let tries = self.procedure.purses[purse.0 as usize].tries;
                format!(
                    "back to {}{way}{after}, purse {} of {tries}, else {}",
                    self.step(*back),
                    purse.0,
                    self.target(spent)
                )
            }
        }
    }

    fn plan(&mut self) {
        if let Some(entry) = self.plan.entry {
            let entry = self.next(entry);
            let _ = writeln!(self.text, "enter {entry}; {} of the script", self.plan.main);
        }
        for (ix, step) in self.plan.indexed() {
            self.one(ix, step);
        }
        for guard in &self.plan.guards {
            let lost = self.target(&guard.lost);
            let kind = if guard.forbids { "never" } else { "keep" };
            let line = self.line(guard.place);
            let _ =
                writeln!(self.text, "{kind} :{line} {} to {}: {lost}", guard.from.0, guard.to.0);
        }
        for point in &self.plan.no_returns {
            let safe = if point.safe { ", safe to start over" } else { "" };
            let before = self.step(point.before);
            let _ = writeln!(self.text, "no way back before {before}{safe}");
        }
        for limit in &self.plan.limits {
            let (from, to) = (limit.from.0, limit.to.0);
            let (length, anchor) = (range(limit.range), self.anchor(limit.anchor));
            let late = limit.late.as_ref().map_or("nothing".to_owned(), |l| self.target(l));
            let _ =
                writeln!(self.text, "limit {from} to {to}: {length} after {anchor}; late {late}");
        }
        for awake in &self.plan.awake {
            for (from, to) in &awake.stretches {
                let _ = writeln!(self.text, "awake {} to {}: every {}", from.0, to.0, awake.every);
            }
        }
        let things = self.things(&self.plan.things);
        if !things.is_empty() {
            let _ = writeln!(self.text, "things {things}");
        }
    }

    fn one(&mut self, ix: StepIx, step: &PlanStep) {
        let mut words = vec![format!("{} :{}", self.step(ix), self.line(step.place))];
        if let Some((nth, of)) = step.turn {
            words.push(format!("({} of {of})", nth + 1));
        }
        if let Some(thing) = step.thing {
            words.push(format!("for {}", self.thing(thing)));
        }
        if let Some(by) = step.by {
            words.push(format!("by {}", self.procedure.helpers[by.0 as usize].name));
        }
        let place = self.procedure.places.get(step.at.0 as usize);
        words.push(format!("at {}", place.map_or("?", |p| p.name.as_str())));
        if step.walk != Span::ZERO {
            words.push(format!("walking {}", span(step.walk)));
        }
        words.push(if step.only_watch {
            "watches".into()
        } else {
            format!("takes {}", span(step.takes))
        });
        for (said, is) in [
            ("straight on", step.straight_on),
            ("rests", step.rest_before),
            ("closes", step.closes_thing),
            ("no report", step.report == Report::None),
            ("reports the act", step.report == Report::Act),
            ("may break off", step.break_off.is_some()),
        ] {
            if is {
                words.push(said.into());
            }
        }
        for (said, things) in [
            ("in hand", &step.in_hand),
            ("takes up", &step.take),
            ("with", &step.with),
            ("puts down", &step.put_down),
        ] {
            if !things.is_empty() {
                words.push(format!("{said} {}", self.things(things)));
            }
        }
        if !step.away.is_empty() {
            let away: Vec<Thing> = step.away.iter().map(|(thing, _)| *thing).collect();
            words.push(format!("away {}", self.things(&away)));
        }
        if let Some((many, _)) = &step.count {
            words.push(format!("{many} times"));
        }
        if let Some(held) = step.lets_go {
            words.push(format!("lets go of {}", self.step(held)));
        }
        let _ = writeln!(self.text, "{}", words.join("; "));
        self.outcomes(step);
    }

    fn outcomes(&mut self, step: &PlanStep) {
        for window in &step.windows {
            let first = if window.first_try_only { ", first try" } else { "" };
            let (subject, line) = (word(window.subject), self.line(window.place));
            let anchor = self.anchor(window.anchor);
            let length = range(window.range);
            let _ = writeln!(self.text, "    {subject} {length} after {anchor} :{line}{first}");
        }
        for met in &step.met {
            let signs: Vec<String> = met
                .signs
                .iter()
                .map(|sign| &self.procedure.signs[sign.0 as usize])
                .map(|sign| if sign.name.is_empty() { "(text)".into() } else { sign.name.clone() })
                .collect();
            let (delay, anchor, then) =
                (span(met.delay), self.anchor(met.anchor), self.target(&met.then));
            let known = span(met.recognise);
            let signs = signs.join(" and ");
            let _ = writeln!(
                self.text,
                "    {signs} {delay} after {anchor}, known in {known} -> {then}"
            );
        }
        if let Some(silence) = &step.silence {
            let (within, then) = (silence.within, self.target(&silence.then));
            let anchor = self.anchor(silence.anchor);
            let _ = writeln!(self.text, "    nothing {within} after {anchor} -> {then}");
        }
        if step.met.is_empty() && step.silence.is_none() {
            let next = self.next(step.go_on);
            let _ = writeln!(self.text, "    -> {next}");
        }
        let unsure = Target::To(Next::End(stepbell::procedure::model::EndingId(2)));
        for (said, target) in [
            ("else", Some(&step.otherwise).filter(|t| **t != unsure)),
            ("slip", Some(&step.slip).filter(|t| **t != step.otherwise)),
            ("late", step.late.as_ref()),
        ] {
            if let Some(target) = target {
                let target = self.target(target);
                let _ = writeln!(self.text, "    {said} -> {target}");
            }
        }
    }

    fn point(&self, point: Point) -> String {
        format!("{} {}", self.step(point.step), word(point.mark))
    }

    fn bounds(&mut self) {
        let speech = speech_lengths(self.procedure);
        for bound in bounds(self.procedure, self.plan, &speech) {
            let (from, to) = (self.point(bound.from), self.point(bound.to));
            let length = range(Range { lo: bound.lo, hi: bound.hi });
            let (decides, what) = (word(bound.decides), word(bound.what));
            let line = self.line(bound.place);
            let _ = writeln!(self.text, "{from} -> {to}: {length} {decides} {what} :{line}");
        }
    }
}

fn shown(examined: &Examined, plan: &Plan, with_bounds: bool) -> String {
    let procedure = examined.procedure.as_ref().unwrap();
    let mut shown = Shown { procedure, plan, sources: &examined.sources, text: String::new() };
    if with_bounds {
        shown.bounds();
    } else {
        shown.plan();
    }
    shown.text
}

fn complaints_text(examined: &Examined) -> String {
    render(&examined.complaints, &examined.sources, false)
}

/// The plans of one script worth looking at: counts 1, 2 and the most, first answers.
fn chosen(examined: &Examined) -> Vec<&Plan> {
    let most = |plan: &Plan| plan.choices.counts.iter().map(|(_, n)| *n).max().unwrap_or(1);
    let cap = examined.plans.iter().map(most).max().unwrap_or(1);
    let mut counts = std::collections::BTreeSet::from([1, 2, cap]);
    examined.plans.iter().filter(|plan| counts.remove(&most(plan))).collect()
}

fn scripts(folder: &str) -> Vec<PathBuf> {
    let entries = fs::read_dir(root().join(folder)).unwrap().map(|entry| entry.unwrap().path());
    let mut files: Vec<PathBuf> =
        entries.filter(|path| path.extension().is_some_and(|end| end == "bell")).collect();
    files.sort();
    assert!(!files.is_empty(), "{folder} holds no script");
    files
}

fn stem(path: &Path) -> &str {
    path.file_stem().unwrap().to_str().unwrap()
}

#[test]
fn procedures_and_sequences_become_plans() {
    for file in scripts("procedures").into_iter().chain(scripts("tests/scripts/sequences")) {
        let examined = examined(&file);
        let mut text = complaints_text(&examined);
        for plan in chosen(&examined) {
            let counts: Vec<String> =
                plan.choices.counts.iter().map(|(_, n)| n.to_string()).collect();
            let _ = writeln!(text, "\n== count {}", counts.join(", "));
            text += &shown(&examined, plan, false);
        }
        if let Some(plan) = chosen(&examined).last() {
            text += "\n== bounds of the last\n";
            text += &shown(&examined, plan, true);
        }
        insta::assert_snapshot!(format!("plan-{}", stem(&file)), text);
    }
}

/// The codes that only the paths through a script can show.
const PATH_CODES: &[Code] = &[
    Code::EventNotHappened,
    Code::NoSuchEvent,
    Code::LateChoice,
    Code::TooManyVariants,
    Code::SilenceTooEarly,
    Code::LateTarget,
    Code::GoToBackward,
    Code::GoBackForward,
    Code::RetryAcrossNoReturn,
    Code::GuardUnwatched,
    Code::KeysNotKeptApart,
    Code::ItemNotInHand,
    Code::ItemNotStaged,
    Code::ThirdHand,
    Code::NoWalkingTime,
    Code::PlaceDiffers,
    Code::PromptTooLong,
    Code::BreakOffMissing,
    Code::StepUnreachable,
    Code::EndingUnreachable,
    Code::PathWithoutEnding,
    Code::ItemWithoutEnding,
];

#[test]
fn every_path_complaint_has_a_script_that_shows_it_alone() {
    let mut text = String::new();
    for code in PATH_CODES {
        let file = root().join("tests/scripts/meaningless").join(format!("{}.bell", code.name()));
        let examined = examined(&file);
        let codes: Vec<&str> = examined.complaints.iter().map(|c| c.code.name()).collect();
        assert_eq!(codes, [code.name()], "{}", complaints_text(&examined));
        text += &complaints_text(&examined);
    }
    insta::assert_snapshot!("path-complaints", text);
}

/// A small script under a head of its own, and the last of its plans.
fn small(text: &str) -> (Procedure, Plan) {
    let head = "procedure \"Small\"\ndevice \"Brackwater timer (invented)\"\nstatus demonstration\nassumed \"small\"\n";
    let examined = examine("small.bell", format!("{head}{text}"), &mut |_| Err("no file".into()));
    assert!(examined.is_sound(), "{}", complaints_text(&examined));
    (examined.procedure.unwrap(), examined.plans.into_iter().next_back().unwrap())
}

fn ix(plan: &Plan, name: &str, nth: usize) -> StepIx {
    plan.indexed().filter(|(_, step)| step.name == name).nth(nth).unwrap().0
}

#[test]
fn walking_adds_along_the_shortest_chain_of_places() {
    let (_, plan) = small(
        r#"place bench, "at the bench"
place hall, 10 paces from bench, "in the hall"
place door, 10 paces and 1s to 2s from hall, "at the door"
step wake "Press the knob."
  at bench
  takes 1s to 3s
step close "Close the door."
  at door
  takes 1s to 3s
step press "Press the bell."
  takes 1s to 3s
finish as learned"#,
    );
    // Twenty paces of 0.5 s to 0.8 s, and 1 s to 2 s on top.
    assert_eq!(plan.step(ix(&plan, "close", 0)).walk, Span::new(Millis(11_000), Millis(18_000)));
    assert_eq!(plan.step(ix(&plan, "press", 0)).walk, Span::ZERO);
    assert_eq!(plan.step(ix(&plan, "wake", 0)).walk, Span::ZERO);
}

#[test]
fn previous_means_the_turn_before_and_a_bare_name_the_same_turn() {
    let (_, plan) = small(
        r#"repeat 3 times
  step on "Turn ON."
    takes 1s to 3s
    within 30s after previous off done, later turns only
    late, so finish as not-learned
  step off "Turn OFF."
    takes 1s to 3s
    within 20s after on done
    late, so finish as not-learned
end repeat
step press "Press the knob."
  takes 1s to 3s
  within 40s after off done
  late, so finish as not-learned
finish as learned"#,
    );
    let anchor = |name: &str, nth: usize| {
        plan.step(ix(&plan, name, nth)).windows.first().map(|window| window.anchor.step)
    };
    assert_eq!(anchor("on", 0), None);
    assert_eq!(anchor("on", 2), Some(ix(&plan, "off", 1)));
    assert_eq!(anchor("off", 1), Some(ix(&plan, "on", 1)));
    assert_eq!(anchor("press", 0), Some(ix(&plan, "off", 2)));
}

#[test]
fn a_retry_forgets_what_stood_behind_its_target() {
    // `show` counts on `wake answered`; going back to `press` keeps it, so there is no complaint.
    let (_, plan) = small(
        r#"sign lamp-lit, see "the lamp" lit
part reset
  step turn-off "Turn OFF."
    takes 1s to 3s
end part
step wake "Press the knob."
  takes 1s to 3s
  see lamp-lit, within 2s after done, so go on
  nothing within 5s after done, so finish as not-learned
step press "Press the knob again."
  takes 1s to 3s
step show "Hold the card against the knob."
  takes 1s to 3s
  within 5min after wake answered
  late, so finish as not-learned
  see lamp-lit, within 2s after done, so go on
  nothing within 5s after done, so go back to press by way of reset after 4s, at most twice, else finish as unsure
finish as learned"#,
    );
    let silence = plan.step(ix(&plan, "show", 0)).silence.clone().unwrap();
    let Target::Again { enter, back, cool_down, spent, .. } = silence.then else {
        panic!("a retry: {:?}", silence.then);
    };
    assert_eq!((enter, back), (ix(&plan, "turn-off", 0), ix(&plan, "press", 0)));
    assert_eq!(cool_down, Millis::secs(4));
    assert!(matches!(*spent, Target::To(Next::End(_))));
    assert_eq!(plan.step(enter).go_on, Next::Step(back));
    assert!(enter.0 >= plan.main);
}

#[test]
fn plain_arithmetic_sums_a_run_of_acts_from_its_cue() {
    let (procedure, plan) = small(
        r#"step wake "Press the knob."
  takes 1s to 3s
step turn "Turn ON."
  takes 1s to 2s
  between 5s and 40s after wake done
  late, so finish as not-learned
step press "Press the knob."
  straight on
  takes 1s to 4s
  within 30s after wake done
  late, so finish as not-learned
finish as learned"#,
    );
    let timing = PlainTiming::new(&procedure, &plan, &speech_lengths(&procedure));
    let (wake, turn) = (ix(&plan, "wake", 0), ix(&plan, "turn", 0));
    let at = |step, mark| Point { step, mark };
    let mut known = Known::default();
    assert_eq!(timing.latest(at(turn, Mark::Called), &known), None);
    let bracket = Bracket { earliest: Moment(10_000), latest: Moment(12_000) };
    known.between(at(wake, Mark::Done), bracket);
    // The tone and its jitter 0.35 s, reaction 1.5 s, hands 2 s, then 4 s straight on: 7.85 s before
    // the narrower window closes, 30 s after the earliest act, less the clock's 20 ms.
    let latest = timing.latest(at(turn, Mark::Called), &known);
    assert_eq!(latest, Some(Moment(10_000 + 30_000 - 20 - 7_850)));
    // Not before 5 s after the latest act and 20 ms more; the quickest act takes 1.2 s.
    let earliest = timing.earliest(at(turn, Mark::Called), &known);
    assert_eq!(earliest, Moment(12_000 + 5_000 + 20 - 1_200));
    // The act itself: its own window only.
    assert_eq!(timing.latest(at(turn, Mark::Done), &known), Some(Moment(10_000 + 40_000 - 20)));
    // A window of the first try only would be gone behind a retry; these are not.
    known.at(at(turn, Mark::Called), Moment(20_000));
    known.forget_from(turn);
    assert!(known.tried(turn) && !known.tried(wake));
    assert_eq!(timing.latest(at(turn, Mark::Called), &known), latest);
    let why = timing.why(at(turn, Mark::Called), &known).unwrap();
    assert_eq!((why.length, why.anchor), (Millis::secs(30), at(wake, Mark::Done)));
}

#[test]
fn a_window_of_the_first_try_is_gone_behind_a_retry() {
    let (procedure, plan) = small(
        r#"sign lamp-lit, see "the lamp" lit
step wake "Press the knob."
  takes 1s to 3s
step show "Hold the card against the knob."
  takes 1s to 3s
  within 30s after wake done, first try only
  late, so finish as not-learned
  see lamp-lit, within 2s after done, so go on
  nothing within 5s after done, so go back to show, at most twice, else finish as unsure
finish as learned"#,
    );
    let timing = PlainTiming::new(&procedure, &plan, &speech_lengths(&procedure));
    let (wake, show) = (ix(&plan, "wake", 0), ix(&plan, "show", 0));
    let called = Point { step: show, mark: Mark::Called };
    let mut known = Known::default();
    known.at(Point { step: wake, mark: Mark::Done }, Moment(0));
    assert!(timing.latest(called, &known).is_some());
    known.at(called, Moment(9_000));
    known.forget_from(show);
    assert_eq!(timing.latest(called, &known), None);
}

#[test]
fn a_long_script_is_planned_in_every_variant_and_a_longer_one_is_refused() {
    let script = |times: u32| {
        format!(
            "procedure \"Long\"\ndevice \"Brackwater timer (invented)\"\nstatus demonstration\n\
             assumed \"long\"\nhave 1 to 16 cards, tool, \"each card\"\nfor each card of cards\n\
             repeat {times} times\nstep show \"Press the knob.\"\ntakes 1s to 3s\n\
             within 30s after previous show done, later turns only\n\
             late, so finish as not-learned\nend repeat\nend each\nfinish as learned"
        )
    };
    let long = examine("long.bell", script(60), &mut |_| Err("no file".into()));
    assert_eq!(long.plans.len(), 16, "{}", complaints_text(&long));
    assert_eq!(long.plans[15].steps.len(), 960);
    let longer = examine("longer.bell", script(64), &mut |_| Err("no file".into()));
    let codes: Vec<&str> = longer.complaints.iter().map(|c| c.code.name()).collect();
    assert_eq!(codes, ["cap-too-large"], "{}", complaints_text(&longer));
    assert!(complaints_text(&longer).contains("At most 1000 steps"));
}
