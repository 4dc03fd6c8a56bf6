//! What a guide can ever say: takes a procedure, gives the texts that a voice must have before the run.

use std::collections::BTreeMap;

use super::model::{Alert, Node, Procedure, Step, Stretch, TextId};

/// A text that can be said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sayable {
    /// Which.
    pub id: TextId,
    /// Whether it is only ever the words of a now cue.
    pub now_only: bool,
    /// Whether it is said before a step.
    pub prompt: bool,
}

/// Every text that a guide of this procedure can say, each once, in the order of the table of texts.
#[must_use]
pub fn sayable(procedure: &Procedure) -> Vec<Sayable> {
    let mut all = All::default();
    all.asked(procedure);
    all.stretch(&procedure.head);
    all.nodes(&procedure.body);
    procedure.ways.iter().for_each(|way| all.nodes(&way.body));
    let text = |(id, said): (TextId, As)| Sayable {
        id,
        now_only: said == As::Now,
        prompt: said == As::Prompt,
    };
    all.texts.into_iter().map(text).collect()
}

/// As what a text is said; a later one of these holds where it is said as several.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum As {
    Now,
    Other,
    Prompt,
}

#[derive(Default)]
struct All {
    texts: BTreeMap<TextId, As>,
}

impl All {
    fn add(&mut self, texts: impl IntoIterator<Item = TextId>) {
        self.add_as(As::Other, texts);
    }

    fn add_as(&mut self, said: As, texts: impl IntoIterator<Item = TextId>) {
        for text in texts {
            let before = self.texts.entry(text).or_insert(said);
            *before = said.max(*before);
        }
    }

    /// The questions before and after the steps, and the readings at steps.
    fn asked(&mut self, procedure: &Procedure) {
        self.add(procedure.affirm.iter().copied());
        self.alerts(&procedure.alerts);
        self.add(procedure.items.iter().map(|item| item.label));
        self.add(procedure.readings.iter().map(|reading| reading.text));
        self.add(procedure.secrets.iter().map(|(_, text)| *text));
        self.add(procedure.gates.iter().map(|gate| gate.otherwise));
        self.add(procedure.checklist.iter().copied());
        self.add(procedure.tests.iter().map(|test| test.text));
    }

    fn alerts(&mut self, alerts: &[Alert]) {
        self.add(alerts.iter().map(|alert| alert.text));
    }

    fn stretch(&mut self, stretch: &Stretch) {
        self.add(stretch.awake.iter().map(|(_, text, _)| *text));
        // Said where the person stops the run.
        self.add(stretch.break_off);
    }

    fn nodes(&mut self, nodes: &[Node]) {
        for node in nodes {
            match node {
                Node::Step(step) => self.step(step),
                Node::Each { head, body, .. }
                | Node::Repeat { head, body, .. }
                | Node::Phase { head, body, .. }
                | Node::Part { head, body, .. } => {
                    self.stretch(head);
                    self.nodes(body);
                }
                Node::OnlyIf { body, .. } => self.nodes(body),
                Node::NoWayBack { .. } | Node::Finish(..) => {}
            }
        }
    }

    fn step(&mut self, step: &Step) {
        self.add_as(As::Prompt, [step.text]);
        self.add_as(As::Prompt, step.prepare);
        self.alerts(&step.alerts);
        self.stretch(&step.own);
        self.add_as(As::Now, step.say);
    }
}
