//! Plans of the fixtures and of the procedures: what each step leads to, walks, holds and waits for.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use stepbell::clock::{Millis, Span};
use stepbell::complaint::{Complaint, Fact};
use stepbell::procedure::model::{Procedure, Range};
use stepbell::procedure::plan::{
    Anchor, Choices, Next, Plan, PlanStep, Report, StepIx, Target, Thing, Value, plan, variants,
};
use stepbell::procedure::timing::{Point, bounds, speech_lengths};
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
            let _ = writeln!(
                self.text,
                "awake {} to {}: every {}",
                awake.from.0, awake.to.0, awake.every
            );
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
        shown.bounds()
    } else {
        shown.plan()
    }
    shown.text
}

fn complaint_text(sources: &SourceMap, complaint: &Complaint) -> String {
    let mut sentence = complaint.code.sentence().to_owned();
    for (gap, fact) in &complaint.facts {
        let fact = match fact {
            Fact::Text(text) => text.clone(),
            Fact::Length(length) => length.to_string(),
            Fact::Number(number) => number.to_string(),
        };
        sentence = sentence.replace(&format!("{{{gap}}}"), &fact);
    }
    let at = sources.line_col(complaint.place);
    let mut text = format!(
        "{at} {} `{}`\n  {sentence}\n",
        complaint.code.name(),
        sources.slice(complaint.place)
    );
    for also in &complaint.also {
        let at = sources.line_col(also.place);
        let _ = writeln!(text, "  {at} `{}`: {}", sources.slice(also.place), also.what);
    }
    if let Some(fix) = &complaint.fix {
        let _ = writeln!(text, "  {}: `{}` -> `{}`", fix.what, sources.slice(fix.place), fix.text);
    }
    text
}

fn complaints_text(examined: &Examined) -> String {
    examined.complaints.iter().map(|c| complaint_text(&examined.sources, c)).collect()
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
