//! The head of a script: title, status, affirmations, cautions, endings, purses, persons.
//!
//! Takes the file's block; fills the model's head. Items, places, signs and readings are `stock`'s.

use super::blocks::{Block, Entry};
use super::{Check, Env, count};
use crate::clock::{Millis, Span};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Alert, Basis, Ending, EndingClass, EndingId, Hazard, HelperId, Profile, Purse, PurseId,
};
use crate::source::Place;
use crate::syntax::tree::{Accord, At, Line, Name, Sentence, Text};

use super::names::Thing;

/// The built-in ending `unsure`.
pub(super) const UNSURE: EndingId = EndingId(2);

/// The most tries that one line or purse may hold.
const MOST_TRIES: u32 = 20;

/// The hazards by the words that name them.
pub(super) const HAZARDS: &[(&str, Hazard)] = &[
    ("exhaust", Hazard::Exhaust),
    ("movement", Hazard::Movement),
    ("charging", Hazard::Charging),
    ("high-voltage", Hazard::HighVoltage),
    ("locks", Hazard::Locks),
    ("siren", Hazard::Siren),
    ("glass", Hazard::Glass),
    ("door", Hazard::Door),
    ("implants", Hazard::Implants),
    ("last-key", Hazard::LastKey),
    ("ladder", Hazard::Ladder),
    ("children", Hazard::Children),
];

/// Where a number comes from, as a line of its own or a tail says it.
pub(super) fn basis_of(accord: &Accord) -> Basis {
    match accord {
        Accord::CommonPractice => Basis::CommonPractice,
        Accord::Source(text) => Basis::Source(text.value.clone()),
        Accord::Assumed(text) => Basis::Assumed(text.value.clone()),
    }
}

impl<'a> Check<'a> {
    pub(super) fn endings_built_in(&mut self) {
        let all = [
            ("learned", EndingClass::Learned),
            ("not-learned", EndingClass::NotLearned),
            ("unsure", EndingClass::Unsure),
            ("stopped", EndingClass::Stopped),
        ];
        for (name, class) in all {
            let id = EndingId(count(self.model.endings.len()));
            self.names.endings.insert(name.to_owned(), (id, None));
            let name = name.to_owned();
            self.model.endings.push(Ending {
                name,
                class,
                text: None,
                hand_over: None,
                place: None,
            });
        }
    }

    pub(super) fn head(&mut self, main: &'a Block<'a>, env: &mut Env) {
        let mut title = None;
        let mut once: Vec<(&'static str, Place)> = Vec::new();
        for line in &main.head {
            match &line.sentence {
                Sentence::Procedure(text) => {
                    self.once("procedure", line.place, &mut once);
                    let text = self.text(text);
                    title.get_or_insert(text);
                }
                Sentence::Subject(kind, text) => {
                    self.once("vehicle", line.place, &mut once);
                    let text = self.text(text);
                    self.model.subject = Some((*kind, text));
                }
                Sentence::Edition(number) => {
                    self.once("edition", line.place, &mut once);
                    self.model.edition = Some(number.value);
                }
                Sentence::Status(status) => {
                    self.once("status", line.place, &mut once);
                    self.model.status = Some(status.clone());
                }
                Sentence::AffirmOwnership => {
                    self.once("affirm ownership", line.place, &mut once);
                    self.model.affirm_ownership = Some(line.place);
                }
                Sentence::Battery { floor, ceiling } => {
                    self.once("battery", line.place, &mut once);
                    self.battery(floor, ceiling.as_ref(), line.place);
                }
                Sentence::Affirm(text) => {
                    let text = self.text(text);
                    self.model.affirm.push(text);
                }
                Sentence::Alert(..) => {
                    if let Some(alert) = self.alert(line) {
                        self.model.alerts.push(alert);
                    }
                }
                _ => {}
            }
        }
        self.model.title = title;
        self.title_missing(main);
        self.people_of(main);
        self.model.head = self.stretch(&main.head, env);
    }

    fn title_missing(&mut self, main: &Block<'_>) {
        let first = self.library.trees.first().and_then(|(file, tree)| {
            let written = tree
                .lines
                .iter()
                .find(|line| !matches!(line.sentence, Sentence::Blank | Sentence::Remark(_)));
            written.map_or(Some(Place { file: *file, start: 0, end: 0 }), |line| Some(line.place))
        });
        let first = first.unwrap_or_default();
        if self.model.title.is_none() && !main.stray {
            self.complain(Complaint::new(Code::ProcedureMissing, first));
        }
        // A line that could not be read may have been the only step.
        if self.names.steps.is_empty() && self.strays.is_empty() {
            self.complain(Complaint::new(Code::NoSteps, first));
        }
    }

    /// Complains when a sentence that is meant once stands a second time.
    pub(super) fn once(
        &mut self,
        sentence: &'static str,
        place: Place,
        seen: &mut Vec<(&'static str, Place)>,
    ) -> bool {
        if let Some((_, first)) = seen.iter().find(|(said, _)| *said == sentence) {
            let complaint = Complaint::new(Code::SaidTwice, place).with("sentence", sentence);
            self.complain(complaint.and(*first, "it is said here first"));
            return false;
        }
        seen.push((sentence, place));
        true
    }

    /// A caution with its hazard resolved.
    pub(super) fn alert(&mut self, line: &Line) -> Option<Alert> {
        let Sentence::Alert(word, hazard, text) = &line.sentence else { return None };
        let hazard = hazard.as_ref().and_then(|name| self.hazard(name));
        let text = self.text(text);
        Some(Alert { word: *word, hazard, text, place: line.place })
    }

    fn hazard(&mut self, name: &Name) -> Option<Hazard> {
        if let Some((_, hazard)) = HAZARDS.iter().find(|(word, _)| *word == name.value) {
            return Some(*hazard);
        }
        let known: Vec<&str> = HAZARDS.iter().map(|(word, _)| *word).collect();
        let complaint = Complaint::new(Code::UnknownHazard, name.place)
            .with("hazard", name.value.as_str())
            .with("known", known.join(", "))
            .near(super::names::nearest(&name.value, known));
        self.complain(complaint);
        None
    }

    /// `ending NAME, CLASS, "…"`
    pub(super) fn ending_line(&mut self, sentence: &Sentence) {
        let Sentence::Ending { name, class, text, hand_over } = sentence else { return };
        if let Some((_, first)) = self.names.endings.get(&name.value) {
            let first = *first;
            self.taken(name, first);
            return;
        }
        let id = EndingId(count(self.model.endings.len()));
        self.names.endings.insert(name.value.clone(), (id, Some(name.place)));
        let text = self.text(text);
        self.model.endings.push(Ending {
            name: name.value.clone(),
            class: *class,
            text: Some(text),
            hand_over: hand_over.as_ref().map(|file| file.value.clone()),
            place: Some(name.place),
        });
    }

    /// `allow NAME n times, "…"`
    pub(super) fn purse(&mut self, name: &Name, times: &At<u32>, text: &Text) {
        if let Some((_, first)) = self.names.purses.get(&name.value) {
            let first = *first;
            self.taken(name, Some(first));
            return;
        }
        let tries = self.tries(times);
        let text = Some(self.text(text));
        let id = PurseId(count(self.model.purses.len()));
        self.names.purses.insert(name.value.clone(), (id, name.place));
        let name = Some(name.value.clone());
        self.model.purses.push(Purse { name, tries, text, place: times.place });
    }

    /// The purse of one written `at most … times`.
    pub(super) fn line_purse(&mut self, times: &At<u32>) -> PurseId {
        if let Some(known) = self.line_purses.get(&times.place) {
            return *known;
        }
        let tries = self.tries(times);
        let id = PurseId(count(self.model.purses.len()));
        self.model.purses.push(Purse { name: None, tries, text: None, place: times.place });
        self.line_purses.insert(times.place, id);
        id
    }

    fn tries(&mut self, times: &At<u32>) -> u32 {
        self.counted(times.value, times.place, MOST_TRIES, "tries")
    }

    /// A count between one and `most`, complained about otherwise.
    pub(super) fn counted(&mut self, value: u32, place: Place, most: u32, what: &str) -> u32 {
        if value == 0 {
            self.complain(Complaint::new(Code::ZeroCount, place).with("what", what));
        } else if value > most {
            let complaint = Complaint::new(Code::CapTooLarge, place).with("most", i64::from(most));
            self.complain(complaint.with("count", i64::from(value)));
        }
        value.clamp(1, most)
    }

    /// The operator and the helpers.
    fn people_of(&mut self, main: &'a Block<'a>) {
        let mut once: Vec<(&'static str, Place)> = Vec::new();
        for entry in &main.entries {
            let Entry::Block(block) = entry else { continue };
            let Some(line) = block.line else { continue };
            match &line.sentence {
                Sentence::Operator(name, text) => {
                    let profile = self.profile(name, text.as_ref(), block);
                    if self.once("operator", line.place, &mut once) {
                        self.model.operator = profile;
                    }
                }
                Sentence::Helper(name, text) => {
                    let id = HelperId(count(self.model.helpers.len()));
                    self.enter(name, Thing::Helper(id));
                    let profile = self.profile(name, text.as_ref(), block);
                    self.model.helpers.push(profile);
                }
                _ => {}
            }
        }
    }

    fn profile(&mut self, name: &Name, text: Option<&Text>, block: &Block<'_>) -> Profile {
        let mut profile = Profile { name: name.value.clone(), ..Profile::default() };
        profile.text = text.map(|text| self.text(text));
        let mut once = Vec::new();
        for line in &block.head {
            self.once(super::phrase::phrase(&line.sentence), line.place, &mut once);
            match &line.sentence {
                Sentence::Reacts(length) => self.fill(length, &mut profile.reacts),
                Sentence::Reports(length) => self.fill(length, &mut profile.reports),
                Sentence::Walks(length) => self.fill(length, &mut profile.pace),
                Sentence::Speech(words) => {
                    profile.words_a_minute =
                        self.counted(words.value, words.place, 400, "words a minute");
                }
                Sentence::Has(hands) => {
                    profile.hands = self.counted(hands.value, hands.place, 2, "hands");
                }
                _ => {}
            }
        }
        profile
    }

    fn fill(&mut self, length: &At<crate::syntax::tree::Length>, into: &mut Span) {
        if let Some(span) = self.span(length) {
            *into = Span::new(span.lo.max(Millis::ZERO), span.hi);
        }
    }
}
