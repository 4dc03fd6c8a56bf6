//! Scripts to be run by the seeded operator and vehicle, the search for an ending, and runs as text.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use stepbell::clock::Millis;
use stepbell::guide::cue::{
    AnswerText, CountWhat, Cue, Effect, Fact, Frame, HoldState, Input, Means, Notice, OutcomeKind,
    Press, Question, Rest, Stage, Tone, WindowState,
};
use stepbell::guide::{Guide, Settings};
use stepbell::power::Length;
use stepbell::procedure::examine;
use stepbell::procedure::model::{EndingId, Procedure, TextId};
use stepbell::procedure::plan::{Choices, GuardIx, Next, Plan, StepIx, Target, Thing, Value};
use stepbell::procedure::timing::{Point, SpeechLengths, Timing, speech_lengths};
use stepbell::proof::timing::NetworkTiming;
use stepbell::vehicle::{Draw, Fault, Line, Transcript, Wrong, play, play_drawn};

/// A sound script with everything that a run needs.
pub struct Script {
    pub name: String,
    pub procedure: Arc<Procedure>,
    pub plans: Vec<Plan>,
    pub speech: SpeechLengths,
}

pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// The four procedures and the thirteen sequences; the one that is there to be refused is not run.
pub fn scripts() -> Vec<Script> {
    let mut files = Vec::new();
    for folder in ["procedures", "tests/scripts/sequences"] {
        for entry in fs::read_dir(root().join(folder)).unwrap() {
            let path = entry.unwrap().path();
            let name = path.file_name().unwrap().to_str().unwrap().to_owned();
            if name.ends_with(".bell") && !name.starts_with("01b-") {
                files.push(path);
            }
        }
    }
    files.sort();
    let scripts: Vec<Script> = files.iter().map(|path| from_file(path)).collect();
    assert_eq!(scripts.len(), 17, "four procedures and thirteen sequences");
    scripts
}

/// The main procedure.
pub fn push_start() -> Script {
    from_file(&root().join("procedures/push-start-spare.bell"))
}

/// A script made for tests.
pub fn fixture(name: &str) -> Script {
    from_file(&root().join("tests/runs").join(name))
}

/// A script of this text, without files of its own.
pub fn from_text(name: &str, text: String) -> Script {
    made(name, text, &mut |_| Err("no file".to_owned()))
}

fn from_file(path: &Path) -> Script {
    let text = fs::read_to_string(path).unwrap();
    let folder = path.parent().unwrap().to_owned();
    let name = path.file_stem().unwrap().to_str().unwrap();
    made(name, text, &mut |used| {
        fs::read_to_string(folder.join(used)).map_err(|error| error.to_string())
    })
}

fn made(name: &str, text: String, read: &mut dyn FnMut(&str) -> Result<String, String>) -> Script {
    let examined = examine(name, text, read);
    assert!(examined.is_sound(), "{name}: {:#?}", examined.complaints);
    let procedure = examined.procedure.unwrap();
    let speech = speech_lengths(&procedure);
    Script { name: name.to_owned(), procedure: Arc::new(procedure), plans: examined.plans, speech }
}

thread_local! {
    /// What was worked out for a plan, so that a thousand runs of it work it out once.
    static WORKED_OUT: RefCell<Vec<WorkedOut>> = const { RefCell::new(Vec::new()) };
}

/// A model, its plan and its lengths, and what was worked out for them.
type WorkedOut = (Procedure, Plan, SpeechLengths, NetworkTiming);

/// The proof's timing, by which guides are led.
pub fn network(procedure: &Procedure, plan: &Plan, speech: &SpeechLengths) -> NetworkTiming {
    WORKED_OUT.with_borrow_mut(|all| {
        let known = all.iter().find(|(m, p, s, _)| p == plan && s == speech && m == procedure);
        if let Some((.., timing)) = known {
            return timing.clone();
        }
        let timing = NetworkTiming::new(procedure, plan, speech);
        all.push((procedure.clone(), plan.clone(), speech.clone(), timing.clone()));
        timing
    })
}

/// As a guide's settings want it.
pub fn timing(
    procedure: &Procedure,
    plan: &Plan,
    speech: &SpeechLengths,
) -> Box<dyn Timing + Send> {
    Box::new(network(procedure, plan, speech))
}

impl Script {
    pub fn guide(&self) -> Guide {
        let settings = Settings {
            speech: self.speech.clone(),
            timing,
            rehearsal: false,
            length: Length::Unbounded,
        };
        Guide::new(Arc::clone(&self.procedure), settings)
    }

    pub fn play(&self, seed: u64, faults: &[Fault], choices: &Choices) -> Transcript {
        play(self.guide(), &self.procedure, &self.speech, seed, faults, choices)
    }

    /// A run of draws at the edges of every bound.
    pub fn play_edges(&self, seed: u64, choices: &Choices) -> Transcript {
        let draw = Draw::edges(seed);
        play_drawn(self.guide(), &self.procedure, &self.speech, draw, &[], choices)
    }

    /// The plan with the fewest steps.
    pub fn smallest(&self) -> &Plan {
        self.plans.iter().min_by_key(|plan| plan.steps.len()).unwrap()
    }

    /// The endings that a run can come to: those that are declared, and the built-in ones that
    /// anything in a plan or a test leads to. A person can always stop.
    pub fn endings(&self) -> BTreeSet<EndingId> {
        let mut ends = BTreeSet::from([built_in("stopped", &self.procedure)]);
        let all = (0..).map(EndingId).zip(&self.procedure.endings);
        ends.extend(all.filter(|(_, ending)| ending.place.is_some()).map(|(id, _)| id));
        let procedure = &self.procedure;
        ends.extend(procedure.tests.iter().map(|test| test.otherwise));
        ends.extend(procedure.recounts.iter().map(|recount| recount.otherwise));
        for plan in &self.plans {
            for step in &plan.steps {
                let met = step.met.iter().map(|met| &met.then);
                let silence = step.silence.iter().map(|silence| &silence.then);
                let rest = [&step.otherwise, &step.slip].into_iter().chain(&step.late);
                met.chain(silence).chain(rest).for_each(|target| leads_to(target, &mut ends));
                if let Next::End(end) = step.go_on {
                    ends.insert(end);
                }
            }
            plan.guards.iter().for_each(|guard| leads_to(&guard.lost, &mut ends));
            let limits = plan.limits.iter().filter_map(|limit| limit.late.as_ref());
            limits.for_each(|late| leads_to(late, &mut ends));
        }
        ends
    }

    pub fn ending(&self, id: EndingId) -> &str {
        &self.procedure.endings[id.0 as usize].name
    }
}

pub fn built_in(name: &str, procedure: &Procedure) -> EndingId {
    let found = procedure.endings.iter().position(|ending| ending.name == name);
    EndingId(u32::try_from(found.unwrap()).unwrap())
}

fn leads_to(target: &Target, ends: &mut BTreeSet<EndingId>) {
    match target {
        Target::To(Next::End(end)) | Target::ThisOne { next: Next::End(end), .. } => {
            ends.insert(*end);
        }
        Target::Again { spent, .. } => leads_to(spent, ends),
        Target::To(_) | Target::ThisOne { .. } => {}
    }
}

/// A run that came to an ending, and what went wrong in it.
pub struct Found {
    pub faults: Vec<Fault>,
    pub plan: Plan,
    pub run: Transcript,
}

/// What can go wrong by itself in a run of this plan, the mildest first.
pub fn single_faults(script: &Script, plan: &Plan) -> Vec<Fault> {
    let mut faults: Vec<Fault> = plan.indexed().take(1).map(|(ix, _)| Fault::Stop(ix)).collect();
    for times in [1, 99] {
        for (ix, step) in plan.indexed() {
            let others = 1..u32::try_from(step.met.len()).unwrap().max(1);
            faults.extend(others.map(|n| Fault::Step(ix, times, Wrong::Answer(n))));
            if step.silence.is_some() {
                faults.push(Fault::Step(ix, times, Wrong::Silence));
            }
            let slow = Wrong::Slow(Millis::secs(600));
            for wrong in [Wrong::Other, Wrong::Cannot, Wrong::Slip, slow] {
                faults.push(Fault::Step(ix, times, wrong));
            }
        }
    }
    for (n, guard) in (0..).zip(&plan.guards) {
        faults.push(Fault::Lost(GuardIx(n), guard.from, 1, Millis(500)));
    }
    faults.extend(plan.things.iter().map(|thing| Fault::Fails(Some(*thing))));
    faults.push(Fault::Fails(None));
    if !script.procedure.recounts.is_empty() {
        faults.push(Fault::Short);
    }
    faults
}

/// Another answer, then something else: what lies behind an answer that is not the hoped-for one.
fn behind_answers(script: &Script, plan: &Plan) -> Vec<Vec<Fault>> {
    let singles = single_faults(script, plan);
    let other = |fault: &&Fault| matches!(fault, Fault::Step(_, 1, Wrong::Answer(_)));
    let answers: Vec<&Fault> = singles.iter().filter(other).collect();
    let pair = |fault: &Fault| -> Vec<Vec<Fault>> {
        answers.iter().map(|answer| vec![(*answer).clone(), fault.clone()]).collect()
    };
    singles.iter().flat_map(pair).collect()
}

/// Sets of faults to be tried on a plan.
type Faults = fn(&Script, &Plan) -> Vec<Vec<Fault>>;

/// Runs the script without a fault, then with each one, then with another answer and each one; gives
/// the first run that came to each ending.
pub fn search(script: &Script) -> BTreeMap<EndingId, Found> {
    let wanted = script.endings();
    let mut found = BTreeMap::new();
    let mut plans = script.plans.clone();
    plans.sort_by_key(|plan| plan.steps.len());
    let tiers: [Faults; 3] = [
        |_, _| vec![Vec::new()],
        |script, plan| single_faults(script, plan).into_iter().map(|fault| vec![fault]).collect(),
        behind_answers,
    ];
    for (tier, plan) in tiers.iter().flat_map(|tier| plans.iter().map(move |plan| (tier, plan))) {
        for faults in tier(script, plan) {
            if wanted.iter().all(|ending| found.contains_key(ending)) {
                return found;
            }
            let run = script.play(1, &faults, &plan.choices);
            let Some((ending, _)) = run.ending else {
                panic!("{}: a standstill after {faults:?}", script.name);
            };
            found.entry(ending).or_insert_with(|| Found { faults, plan: plan.clone(), run });
        }
    }
    found
}

/// Every fact of a run, in order.
pub fn facts(run: &Transcript) -> impl Iterator<Item = &Fact> {
    run.lines.iter().flat_map(|line| &line.effects).filter_map(|effect| match effect {
        Effect::Record(fact) => Some(fact),
        _ => None,
    })
}

/// A run as text, times in milliseconds.
pub struct Shown<'a> {
    pub script: &'a Script,
    pub plan: &'a Plan,
}

fn word<T: std::fmt::Debug>(word: T) -> String {
    let word = format!("{word:?}");
    let mut words = String::new();
    for c in word.chars() {
        if c.is_uppercase() && !words.is_empty() {
            words.push(' ');
        }
        words.extend(c.to_lowercase());
    }
    words
}

impl Shown<'_> {
    /// Everything: what is shown, said, rung, written down.
    pub fn whole(&self, run: &Transcript) -> String {
        let mut text = String::new();
        for line in &run.lines {
            self.line(line, true, &mut text);
        }
        text
    }

    /// From the start of the steps on: inputs, cues, outcomes, margins, notices.
    pub fn compact(&self, found: &Found) -> String {
        let mut text = String::new();
        let faults: Vec<String> = found.faults.iter().map(|fault| self.fault(fault)).collect();
        let faults = if faults.is_empty() { "nothing".to_owned() } else { faults.join("; ") };
        writeln!(text, "wrong: {faults}").unwrap();
        let started =
            |line: &Line| line.effects.iter().any(|e| matches!(e, Effect::Record(Fact::Chosen(_))));
        for line in found.run.lines.iter().skip_while(|line| !started(line)) {
            self.line(line, false, &mut text);
        }
        // A run that never started: its last question, and the end.
        if !found.run.lines.iter().any(started) {
            found.run.lines.iter().rev().take(2).rev().for_each(|l| self.line(l, false, &mut text));
        }
        text
    }

    fn line(&self, line: &Line, whole: bool, text: &mut String) {
        let mut said = Vec::new();
        if let Some(input) = &line.input
            && *input != Input::Wake
        {
            said.push(format!("< {}", self.input(input)));
        }
        for effect in &line.effects {
            match effect {
                Effect::Show(frame) if whole => said.push(self.frame(frame)),
                Effect::Say(id, cue) if whole => {
                    said.push(format!("say {}: {:?}", cue_word(*cue), self.text(*id)));
                }
                Effect::Ring(tone) if whole || *tone == Tone::LetGo => {
                    said.push(format!("ring {}", word(tone)));
                }
                Effect::Record(fact) => said.extend(self.fact(fact, whole)),
                Effect::Ended(ending, class) => {
                    said.push(format!("ended {} ({})", self.script.ending(*ending), word(class)));
                }
                Effect::Show(_) | Effect::Say(..) | Effect::Ring(_) | Effect::WakeAt(_) => {}
            }
        }
        for said in said {
            writeln!(text, "{:>8}  {said}", line.at.0).unwrap();
        }
    }

    fn text(&self, id: TextId) -> &str {
        self.script.procedure.text(id)
    }

    pub fn step(&self, ix: StepIx) -> String {
        let Some(step) = self.plan.steps.get(ix.0 as usize) else {
            return format!("step {}", ix.0);
        };
        match step.turn {
            Some((n, all)) => format!("{} ({} of {all})", step.name, n + 1),
            None => step.name.clone(),
        }
    }

    fn point(&self, point: Point) -> String {
        format!("{} {}", self.step(point.step), word(point.mark))
    }

    fn thing(&self, thing: Thing) -> String {
        let item = &self.script.procedure.items[thing.item.0 as usize];
        if item.group { format!("{} {}", item.name, thing.nth + 1) } else { item.name.clone() }
    }

    fn fault(&self, fault: &Fault) -> String {
        match fault {
            Fault::Step(ix, times, wrong) => {
                format!("{} at {}, {times} times", word(wrong), self.step(*ix))
            }
            Fault::Lost(guard, ix, ..) => format!("guard {} lost at {}", guard.0, self.step(*ix)),
            Fault::Gone(ix) => format!("nobody there from {} on", self.step(*ix)),
            Fault::Stop(ix) => format!("stopped at {}", self.step(*ix)),
            Fault::Fails(Some(thing)) => format!("{} fails its tests", self.thing(*thing)),
            Fault::Fails(None) => "a test without a thing fails".to_owned(),
            Fault::Short => "one too few when counted again".to_owned(),
        }
    }

    fn input(&self, input: &Input) -> String {
        match input {
            Input::Wake => "wake".to_owned(),
            Input::Press(Press::Answer(n)) => format!("answer {n}"),
            Input::Press(press) => word(press),
            Input::Typed(text) => format!("typed {text:?}"),
            Input::Lost(guard) => format!("lost guard {}", guard.0),
            Input::Gap(kind, length) => format!("{} for {length}", word(kind)),
        }
    }

    fn question(&self, question: &Question) -> String {
        let procedure = &self.script.procedure;
        match question {
            Question::HowMany(item, lo, hi) => {
                format!("how many {} ({lo} to {hi})", procedure.items[item.0 as usize].name)
            }
            Question::Reading(id) => format!("reading {}", procedure.readings[id.0 as usize].name),
            Question::ReadBack(id, value) => {
                format!(
                    "read back {} {}",
                    procedure.readings[id.0 as usize].name,
                    value_text(value)
                )
            }
            Question::ItemAtHand(item) => {
                format!("{} at hand", procedure.items[item.0 as usize].name)
            }
            Question::Test(n, Some(thing)) => format!("test {n} of {}", self.thing(*thing)),
            Question::Test(n, None) => format!("test {n}"),
            other => word(other),
        }
    }

    fn frame(&self, frame: &Frame) -> String {
        let mut parts = vec![stage_word(frame.stage)];
        parts.push(format!("{}/{}", frame.progress.0, frame.progress.1));
        if let Some(step) = frame.step {
            parts.push(self.step(step));
        }
        if !frame.hands.is_empty() {
            let hands: Vec<String> = frame.hands.iter().map(|thing| self.thing(*thing)).collect();
            parts.push(format!("in hand {}", hands.join(" + ")));
        }
        if frame.means != Means::Nothing {
            parts.push(format!("done means {}", word(frame.means)));
        }
        if frame.window != WindowState::None {
            parts.push(format!("window {}", word(frame.window)));
        }
        if let Some(count) = frame.count {
            parts.push(format!("{} at {}", count_word(count.what), count.at.0));
        }
        if let Some(question) = &frame.question {
            parts.push(format!("asks {}", self.question(question)));
        }
        if !frame.answers.is_empty() {
            let answers = frame.answers.iter().map(answer_word);
            parts.push(format!("answers [{}]", answers.collect::<Vec<_>>().join(", ")));
        }
        if let Some(notice) = &frame.notice {
            parts.push(format!("notice {}", self.notice(notice)));
        }
        if frame.hold != HoldState::No {
            parts.push(format!("hold {}", word(frame.hold)));
        }
        format!("[{}]", parts.join(" | "))
    }

    fn fact(&self, fact: &Fact, whole: bool) -> Option<String> {
        Some(match fact {
            Fact::Answered(question, value) => {
                let value = value.as_ref().map_or("yes".to_owned(), value_text);
                format!("answered {}: {value}", self.question(question))
            }
            Fact::Chosen(counts) => {
                let of = |(item, n): &(stepbell::procedure::model::ItemId, u32)| {
                    format!("{n} {}", self.script.procedure.items[item.0 as usize].name)
                };
                let counts: Vec<String> = counts.iter().map(of).collect();
                format!("begins with [{}]", counts.join(", "))
            }
            Fact::Entered(ix, n) if whole || *n > 1 => {
                format!("enters {}, time {n}", self.step(*ix))
            }
            Fact::Happened(point, b) if whole => {
                format!("{} between {} and {}", self.point(*point), b.earliest.0, b.latest.0)
            }
            Fact::CueGiven { point, due, given } => {
                if !whole && point.mark == stepbell::procedure::timing::Mark::Prepare {
                    return None;
                }
                let late = given.since(*due);
                let late =
                    if late == Millis::ZERO { String::new() } else { format!(", {late} late") };
                format!("cue {}{late}", self.point(*point))
            }
            Fact::Outcome(ix, kind) => format!("outcome {}: {}", self.step(*ix), outcome(*kind)),
            Fact::Margin { step, window, left } => {
                format!("margin {} window {window}: {left}", self.step(*step))
            }
            Fact::Tried(n, all) => format!("try {n} of {all}"),
            Fact::Thing(thing, class) => format!("{} is {}", self.thing(*thing), word(class)),
            Fact::NoReturn(n) => format!("no way back {n}"),
            Fact::Broken(ix, mark, by) => {
                format!("broken bound {} {} by {by}", self.step(*ix), word(mark))
            }
            Fact::Rechecked(ix, rest) => {
                format!("rest looked at again before {}: {}", self.step(*ix), self.rest(rest))
            }
            Fact::Noticed(notice) => format!("notice {}", self.notice(notice)),
            Fact::Held(held) => if *held { "held" } else { "goes on" }.to_owned(),
            Fact::Entered(..) | Fact::Happened(..) => return None,
        })
    }

    fn rest(&self, rest: &Rest) -> String {
        match rest {
            Rest::Holds => "the rest holds".to_owned(),
            Rest::HoldsInPart => "the rest holds as far as it is proven".to_owned(),
            Rest::Lost(why) => format!("a window of {} is lost", self.step(why.step)),
        }
    }

    fn notice(&self, notice: &Notice) -> String {
        match notice {
            Notice::Late(ix, _) => format!("late at {}", self.step(*ix)),
            Notice::Unattended(ix, kind, length) => {
                format!("unattended at {}, {} for {length}", self.step(*ix), word(kind))
            }
            Notice::Silence(ix) => format!("silence at {}", self.step(*ix)),
            Notice::Broken(ix, mark, by) => {
                format!("{} {} outside its bounds by {by}", self.step(*ix), word(mark))
            }
            Notice::Rechecked(rest) => self.rest(rest),
            Notice::Slipped(ix) => format!("slipped at {}", self.step(*ix)),
            Notice::TakenBack(ix) => format!("taken back to {}", self.step(*ix)),
            Notice::ThingEnded(thing, class) => format!("{} {}", self.thing(*thing), word(class)),
            Notice::KeepAwake(text) => format!("keep awake {:?}", self.text(*text)),
            Notice::CueLate(by) => format!("cue late by {by}"),
            Notice::WasAway(kind, length) => format!("away, {} for {length}", word(kind)),
            Notice::HoldAt(Some(ix)) => format!("hold at {}", self.step(*ix)),
            other => word(other),
        }
    }
}

fn value_text(value: &Value) -> String {
    match value {
        Value::Number(_) => stepbell::vehicle::typed(value),
        Value::Text(text) => format!("{text:?}"),
    }
}

fn outcome(kind: OutcomeKind) -> String {
    match kind {
        OutcomeKind::Met(n) => format!("answer {n}"),
        OutcomeKind::LostGuard(guard) => format!("lost guard {}", guard.0),
        other => word(other),
    }
}

fn answer_word(answer: &AnswerText) -> String {
    word(answer)
}

fn stage_word(stage: Stage) -> String {
    word(stage)
}

fn cue_word(cue: Cue) -> String {
    word(cue)
}

fn count_word(what: CountWhat) -> String {
    word(what)
}
