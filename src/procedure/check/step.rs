//! One step: what the person does, its windows, its outcomes.
//!
//! Takes a step's lines; gives the model's [`Step`]. What two lines say against each other, what is
//! said twice and what is missing is complained about here.

use super::blocks::StepLines;
use super::phrase::phrase;
use super::{Check, Env, Told};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{Alert, Event, HandCount, Step, Stretch, TextId, Timed};
use crate::source::Place;
use crate::syntax::tree::{self, Line, Name, Sentence};

use super::names::Thing;

/// A step being built.
pub(super) struct Building {
    pub(super) step: Step,
    /// The first line that awaits a sign.
    pub(super) awaits: Option<Place>,
    /// The first `nothing`.
    pub(super) silent: Option<Place>,
    /// A line could not be read or resolved: nothing is called missing.
    pub(super) incomplete: bool,
    /// From which answer on an `or` line speaks.
    pub(super) answers_from: usize,
    /// What an `or` line would be another version of.
    above: Above,
    once: Vec<(&'static str, Place)>,
    /// Whether something was said twice.
    pub(super) twice: bool,
}

/// The line above, as an `or` line sees it.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Above {
    Nothing,
    Window(Event),
    Takes,
    Hold,
    Answer,
}

/// Pairs of sentences that cannot both hold for one step.
const EXCLUDE: &[(&str, &[&str])] = &[
    (
        "only watch",
        &[
            "takes",
            "take",
            "put down",
            "hold",
            "count",
            "straight on",
            "let go of",
            "one way",
            "within",
            "begin",
            "let go",
            "needs",
            "with",
        ],
    ),
    ("no answer", &["see", "hear", "feel", "read", "look up"]),
    ("no report", &["see", "hear", "feel", "read", "look up"]),
    ("straight on", &["say"]),
];

fn blank(name: &Name, text: TextId, alerts: Vec<Alert>) -> Step {
    Step {
        name: name.value.clone(),
        text,
        prepare: None,
        say: None,
        say_lasting: None,
        alerts,
        only_watch: false,
        takes: None,
        straight_on: false,
        no_report: false,
        with: Vec::new(),
        at: None,
        by: None,
        take: Vec::new(),
        put_down: Vec::new(),
        hands: None,
        count: None,
        hold: Vec::new(),
        lets_go: None,
        ways: Vec::new(),
        windows: Vec::new(),
        met: Vec::new(),
        silence: Vec::new(),
        own: Stretch::default(),
        asks: Vec::new(),
        place: name.place,
    }
}

/// Whether a step may have several lines of this kind; some of them are looked at elsewhere.
fn may_repeat(sentence: &Sentence) -> bool {
    matches!(
        sentence,
        Sentence::Take(_)
            | Sentence::PutDown(_)
            | Sentence::OneWay(..)
            | Sentence::Window(..)
            | Sentence::Begin(..)
            | Sentence::LetGo(..)
            | Sentence::OrWindow(..)
            | Sentence::OrTakes(..)
            | Sentence::OrHold(..)
            | Sentence::Sensed { .. }
            | Sentence::LookUp(..)
            | Sentence::Nothing { .. }
            | Sentence::Ask { .. }
            | Sentence::Keep { .. }
            | Sentence::KeepAway(..)
            | Sentence::Never(..)
            | Sentence::Alert(..)
            | Sentence::Basis(_)
            | Sentence::Late(_)
            | Sentence::Slip(_)
            | Sentence::AnythingElse(_)
            | Sentence::BreakOff(_)
    )
}

impl Check<'_> {
    /// Builds a step. `alerts` stood above it.
    pub(super) fn step(
        &mut self,
        lines: &StepLines<'_>,
        mut alerts: Vec<Alert>,
        env: &Env,
    ) -> Option<Step> {
        // A first line that could not be read still has a step's lines below it.
        let place = lines.line.place;
        let lost = tree::Text { value: String::new(), place };
        let (name, text) = match &lines.line.sentence {
            Sentence::Step(name, text) => (name, text),
            _ => (&lost, &lost),
        };
        let mut env = env.clone();
        let mut once = Vec::new();
        for line in &lines.lines {
            match &line.sentence {
                Sentence::Basis(accord) if self.once("according to", line.place, &mut once) => {
                    env.basis = super::head::basis_of(accord);
                }
                Sentence::Late(_) => env.late = true,
                Sentence::Alert(..) => {
                    self.alert_too_late(line, lines.line);
                    alerts.extend(self.alert(line));
                }
                _ => {}
            }
        }
        let id = self.text(text);
        let mut building = Building {
            step: blank(name, id, alerts),
            awaits: None,
            silent: None,
            incomplete: lines.stray,
            answers_from: 0,
            above: Above::Nothing,
            once,
            twice: false,
        };
        building.step.only_watch =
            lines.lines.iter().any(|line| matches!(line.sentence, Sentence::OnlyWatch));
        // Outcomes come last: their default anchor depends on the hold.
        let outcome = |line: &&&Line| {
            matches!(
                line.sentence,
                Sentence::Sensed { .. } | Sentence::LookUp(..) | Sentence::Nothing { .. }
            )
        };
        let holds = |line: &&&Line| matches!(line.sentence, Sentence::Hold(..));
        for line in lines.lines.iter().filter(holds) {
            self.step_line(line, &mut building, &env);
        }
        for line in lines.lines.iter().filter(|line| !holds(line)) {
            if !outcome(&line) && !matches!(line.sentence, Sentence::OrWindow(..)) {
                building.above = Above::Nothing;
            }
            self.step_line(line, &mut building, &env);
        }
        self.steps += 1;
        self.tell(text, &building);
        self.whole(lines, &mut building, &env);
        if building.incomplete {
            self.incomplete.insert(building.step.place);
        }
        Some(building.step)
    }

    fn alert_too_late(&mut self, alert: &Line, step: &Line) {
        let line = self.library.sources.line_col(step.place).line;
        let complaint = Complaint::new(Code::CautionLate, alert.place)
            .with("line", i64::from(line))
            .and(step.place, "the step that it stands in");
        self.complain(complaint);
    }

    fn step_line(&mut self, line: &Line, step: &mut Building, env: &Env) {
        let sentence = &line.sentence;
        let word = phrase(sentence);
        if may_repeat(sentence) {
            if !step.once.iter().any(|(said, _)| *said == word) {
                step.note(word, line.place);
            }
        } else if let Some((_, first)) = step.once.iter().find(|(said, _)| *said == word) {
            // A second line of one kind may mean that a step's first line is missing above it: one
            // complaint is enough.
            if !step.twice {
                let complaint = Complaint::new(Code::SaidTwice, line.place).with("sentence", word);
                self.out.push(complaint.and(*first, "it is said here first"));
            }
            step.twice = true;
            return;
        } else {
            step.note(word, line.place);
        }
        match sentence {
            Sentence::Window(..)
            | Sentence::Begin(..)
            | Sentence::LetGo(..)
            | Sentence::OrWindow(..)
            | Sentence::OrTakes(..)
            | Sentence::OrHold(..) => self.window_line(line, step, env),
            Sentence::Sensed { .. } => {
                step.answers_from = step.step.met.len();
                self.sensed(line, step, env);
                step.above = Above::Answer;
            }
            Sentence::LookUp(..) => {
                let from = step.step.met.len();
                self.look_up(line, step, env);
                step.answers_from = from;
                step.above = Above::Answer;
            }
            Sentence::Nothing { .. } => {
                self.silence(line, step, env);
                step.above = Above::Nothing;
            }
            Sentence::Keep { .. }
            | Sentence::KeepAway(..)
            | Sentence::Never(..)
            | Sentence::Late(_)
            | Sentence::Slip(_)
            | Sentence::AnythingElse(_)
            | Sentence::BreakOff(_) => {
                let Building { step: made, once, .. } = step;
                // `once` already holds the phrase where it was only noted.
                let mut own = once
                    .iter()
                    .filter(|(said, place)| *said == word && *place != line.place)
                    .copied()
                    .collect();
                self.stretch_line(line, env, &mut made.own, &mut own);
            }
            _ => self.act_line(line, step, env),
        }
    }

    /// The lines that say what the person does.
    fn act_line(&mut self, line: &Line, step: &mut Building, env: &Env) {
        let made = &mut step.step;
        match &line.sentence {
            Sentence::OnlyWatch => made.only_watch = true,
            Sentence::NoReport => made.no_report = true,
            Sentence::StraightOn => made.straight_on = true,
            Sentence::Prepare(text) => made.prepare = Some(self.text(text)),
            Sentence::Say(text, lasting) => {
                made.say = Some(self.text(text));
                made.say_lasting = lasting.as_ref().and_then(|length| self.span(length));
            }
            Sentence::Takes(length, accord) => {
                made.takes = self.timed(length, accord.as_ref(), line.place, env);
                step.above = Above::Takes;
                step.incomplete |= step.step.takes.is_none();
            }
            Sentence::With(items, place) => {
                for item in items {
                    made.with.extend(self.item(item, env));
                }
                if let Some(place) = place {
                    self.stand_at(place, line.place, step, env);
                }
            }
            Sentence::AtPlace(place) => self.stand_at(place, line.place, step, env),
            Sentence::By(name) => match self.names.things.get(&name.value) {
                Some((Thing::Helper(helper), _)) => made.by = Some(*helper),
                _ => self.unknown(name, "helper", "a helper"),
            },
            Sentence::Take(item) => made.take.extend(self.item(item, env)),
            Sentence::PutDown(item) => made.put_down.extend(self.item(item, env)),
            Sentence::Needs(hands) => made.hands = Some(*hands),
            Sentence::Hold(held, accord) => {
                self.hold(held, accord.as_ref(), line.place, step, env);
                step.above = Above::Hold;
            }
            Sentence::LetGoOf(name) => made.lets_go = Some((name.value.clone(), name.place)),
            Sentence::Count(counts, accord) => {
                let counted = self.count(counts, accord.as_ref(), line.place, env);
                step.step.count = counted;
            }
            Sentence::OneWay(text, takes) => {
                let span = takes.as_ref().and_then(|length| self.span(length));
                let id = self.text(text);
                made.ways.push((id, span));
                self.told.push(Told {
                    text: text.value.clone(),
                    place: text.place,
                    counted: true,
                    whole: true,
                });
            }
            Sentence::Ask { value, .. } => {
                let asked = self.model.readings.iter().position(|r| r.place == value.name.place);
                if let Some(asked) = asked {
                    made.asks.push(crate::procedure::model::ReadingId(super::count(asked)));
                }
            }
            _ => {}
        }
    }

    fn stand_at(&mut self, place: &Name, line: Place, step: &mut Building, env: &Env) {
        if step.step.at.is_some() {
            if !step.twice {
                let complaint = Complaint::new(Code::SaidTwice, line).with("sentence", "at");
                self.complain(complaint);
            }
            step.twice = true;
            return;
        }
        step.step.at = self.place(place, env);
    }

    /// Windows, and the `or` lines that vary the line above.
    fn window_line(&mut self, line: &Line, step: &mut Building, env: &Env) {
        let (subject, when, turns, accord) = match &line.sentence {
            Sentence::Window(when, turns, accord) => (Event::Done, when, turns, accord),
            Sentence::Begin(when, turns, accord) => (Event::Begun, when, turns, accord),
            Sentence::LetGo(when, turns, accord) => (Event::Released, when, turns, accord),
            Sentence::OrWindow(when, turns, accord) => match step.above {
                Above::Window(subject) => (subject, when, turns, accord),
                Above::Answer => {
                    self.other_delay(when, turns.as_ref(), line.place, step, env);
                    return;
                }
                _ => {
                    if !step.incomplete {
                        self.complain(Complaint::new(Code::OrWithoutLine, line.place));
                    }
                    return;
                }
            },
            _ => {
                self.or_line(line, step, env);
                return;
            }
        };
        step.above = Above::Window(subject);
        let window = self.window(subject, when, turns.as_ref(), accord.as_ref(), line.place, env);
        step.incomplete |= window.is_none();
        step.step.windows.extend(window);
    }

    fn or_line(&mut self, line: &Line, step: &mut Building, env: &Env) {
        match &line.sentence {
            Sentence::OrTakes(length, accord) => {
                let Some(other) = self.timed(length, accord.as_ref(), line.place, env) else {
                    return;
                };
                match &mut step.step.takes {
                    Some(takes) => takes.span = takes.span.hull(other.span),
                    None if step.incomplete => {}
                    None => self.complain(Complaint::new(Code::OrWithoutLine, line.place)),
                }
                step.above = Above::Takes;
            }
            Sentence::OrHold(held, accord) => {
                if step.step.hold.is_empty() && !step.incomplete {
                    self.complain(Complaint::new(Code::OrWithoutLine, line.place));
                    return;
                }
                self.hold(held, accord.as_ref(), line.place, step, env);
                step.above = Above::Hold;
            }
            _ => {}
        }
    }

    fn tell(&mut self, text: &tree::Text, step: &Building) {
        let counted = step.step.count.is_some() || !step.step.hold.is_empty();
        self.told.push(Told { text: text.value.clone(), place: text.place, counted, whole: true });
        if let Some(prepare) = step.step.prepare {
            let said = self.model.texts.get(prepare.0 as usize).cloned();
            self.told.extend(said.map(|said| Told {
                text: said.text,
                place: said.place,
                counted,
                whole: false,
            }));
        }
    }

    /// What is missing in a step, and what cannot both hold.
    fn whole(&mut self, lines: &StepLines<'_>, step: &mut Building, env: &Env) {
        let name = lines.line.place;
        self.exclusions(step);
        if step.step.takes.is_none() && !step.step.only_watch && !step.incomplete {
            let spans = step.step.ways.iter().map(|(_, span)| *span);
            let hull = spans.reduce(|one, other| Some(one?.hull(other?))).flatten();
            match hull {
                Some(span) => {
                    let basis = self.basis(None, env, name);
                    step.step.takes = Some(Timed { span, basis, place: name });
                }
                None => self.complain(Complaint::new(Code::TakesMissing, name)),
            }
        }
        match (step.awaits, step.silent) {
            (Some(sign), None) if !lines.stray => {
                self.complain(Complaint::new(Code::AnswerWithoutSilence, sign));
            }
            (None, Some(silent)) if !lines.stray => {
                self.complain(Complaint::new(Code::SilenceWithoutAnswer, silent));
            }
            _ => {}
        }
        self.empty_windows(&step.step.windows);
        let window = step.step.windows.iter().find(|window| window.range.hi.is_some());
        if let (Some(window), false, false) = (window, env.late, lines.stray) {
            self.late_missing.insert(window.place, env.block);
        }
        if step.step.hands == Some(HandCount::None) && !step.step.take.is_empty() {
            self.contradiction(("needs", "needs no hand"), ("take", "take"), step);
        }
    }

    fn exclusions(&mut self, step: &Building) {
        for (one, others) in EXCLUDE {
            let other = others.iter().find(|other| step.said(other).is_some());
            if let (Some(other), Some(_)) = (other, step.said(one)) {
                self.contradiction((one, one), (other, other), step);
            }
        }
    }

    fn contradiction(&mut self, one: (&str, &str), other: (&str, &str), step: &Building) {
        let (Some(first), Some(second)) = (step.said(one.0), step.said(other.0)) else { return };
        let (first, second) = (first.min(second), first.max(second));
        let complaint = Complaint::new(Code::Contradiction, second)
            .with("one", one.1)
            .with("other", other.1)
            .and(first, "against this line");
        self.complain(complaint);
    }
}

impl Building {
    fn note(&mut self, word: &'static str, place: Place) {
        self.once.push((word, place));
    }

    fn said(&self, word: &str) -> Option<Place> {
        self.once.iter().find(|(said, _)| *said == word).map(|(_, place)| *place)
    }
}
