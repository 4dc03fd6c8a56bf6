//! The steps on the sheet, in the order in which they are written.
//!
//! Takes the blocks of a procedure; gives them in words. What is done several times stands once, with a
//! box for each time.

use super::head::{Head, numbered};
use super::number::Numbers;
use super::{Bar, Block, Proof, Spare, StepLines, WindowLine, said};
use crate::clock::Millis;
use crate::journal::convert::Context;
use crate::procedure::model::{
    Basis, HandCount, Hold, HowMany, ItemId, Node, Over, PlaceId, Procedure, Range, Ref, Step,
    Stretch, TextId, Window,
};
use crate::source::Place;

/// More boxes than this are a blank to count in.
const MOST_BOXES: usize = 12;

/// The steps.
pub(super) struct Writer<'a> {
    pub procedure: &'a Procedure,
    pub context: Context<'a>,
    pub numbers: &'a Numbers,
    pub proof: &'a Proof,
    pub number: u32,
    pub bars: Vec<Bar>,
    pub sources: Vec<String>,
}

impl<'a> Writer<'a> {
    const fn head(&self) -> Head<'a> {
        Head { procedure: self.procedure }
    }

    fn text(&self, id: TextId) -> String {
        self.procedure.text(id).to_owned()
    }

    /// Blocks, each of whose steps is done once for each of `boxes`.
    pub fn blocks(&mut self, body: &[Node], boxes: &[String]) -> Vec<Block> {
        let mut blocks = Vec::new();
        for node in body {
            match node {
                Node::Step(step) => blocks.push(Block::Step(Box::new(self.step(step, boxes)))),
                Node::Each { over, head, body, .. } => {
                    let (heading, turns) = self.each(*over);
                    let boxes = product(boxes, &turns);
                    blocks.push(self.section(heading, head, body, &boxes));
                }
                Node::Repeat { times, head, body, .. } => {
                    let boxes = product(boxes, &numbered(*times));
                    let heading = format!("{times} times, one after the other");
                    blocks.push(self.section(heading, head, body, &boxes));
                }
                Node::OnlyIf { condition, body } => {
                    let heading = format!("Only if {}", self.head().condition(condition));
                    let none = Stretch::default();
                    blocks.push(self.section(heading, &none, body, boxes));
                }
                Node::Phase { name, head, body, .. } => {
                    let heading = said::capital(&name.replace('-', " "));
                    blocks.push(self.section(heading, head, body, boxes));
                }
                Node::Part { alias, head, body, .. } => {
                    let heading = alias.as_ref().map(|a| said::capital(&a.replace('-', " ")));
                    match heading {
                        Some(heading) => blocks.push(self.section(heading, head, body, boxes)),
                        None => blocks.extend(self.blocks(body, boxes)),
                    }
                }
                Node::NoWayBack { text, .. } => blocks.push(Block::NoReturn(self.text(*text))),
                Node::Finish(ending, _) => {
                    blocks.push(Block::Finish(said::ending(self.procedure, *ending)));
                }
            }
        }
        blocks
    }

    /// Parts that are only done on the way back.
    pub fn ways(&mut self) -> Vec<Block> {
        let procedure = self.procedure;
        let mut sections = Vec::new();
        for way in &procedure.ways {
            let heading = format!("On the way back: {}", way.name.replace('-', " "));
            let notes = vec!["Only when a line above sends you here.".to_owned()];
            let body = self.blocks(&way.body, &[]);
            sections.push(Block::Section { heading, notes, limits: Vec::new(), body });
        }
        sections
    }

    fn each(&self, over: Over) -> (String, Vec<String>) {
        match over {
            Over::Items(id) => {
                let item = self.procedure.items.get(id.0 as usize);
                let label = item.map_or("", |item| self.procedure.text(item.label));
                let most = item.map_or(1, |item| item.count.1);
                (format!("For each: {label}"), numbered(most))
            }
            Over::Places(id) => {
                let round = self.procedure.rounds.get(id.0 as usize);
                let places = round.map_or(&[][..], |round| &round.places);
                let named = |id: &PlaceId| self.procedure.places.get(id.0 as usize);
                let names = places.iter().filter_map(named).map(|p| p.name.replace('-', " "));
                let names: Vec<String> = names.collect();
                (format!("At each place, in this order: {}", names.join(", ")), names)
            }
        }
    }

    fn section(
        &mut self,
        heading: String,
        head: &Stretch,
        body: &[Node],
        boxes: &[String],
    ) -> Block {
        let mut notes = self.head().holds(head);
        let here = self.number.saturating_add(1);
        let mut limits = Vec::new();
        for limit in &head.limits {
            let from = said::moment(&limit.anchor, here, self.numbers);
            let text = format!("All of this {} after {from}", said::range(limit.range));
            self.source(&limit.basis);
            limits.push(self.line(text, limit));
        }
        if let Some(late) = &head.late {
            let late = said::outcome(self.procedure, late, here, self.numbers);
            notes.push(format!("If a window is missed: {late}."));
        }
        if let Some(text) = head.break_off {
            notes.push(format!("If broken off here: {}", self.text(text)));
        }
        Block::Section { heading, notes, limits, body: self.blocks(body, boxes) }
    }

    fn step(&mut self, step: &Step, boxes: &[String]) -> StepLines {
        self.number = self.number.saturating_add(1);
        let own = |label: &str, text: String| (label.to_owned(), text);
        let mut facts = Vec::new();
        if let Some(helper) = step.by.and_then(|by| self.procedure.helpers.get(by.0 as usize)) {
            facts.push(own("By", helper.name.replace('-', " ")));
        }
        if let Some(place) = &step.at {
            facts.push(own("Where", self.place(place)));
        }
        for (label, things) in
            [("With", &step.with), ("Take", &step.take), ("Put down", &step.put_down)]
        {
            if !things.is_empty() {
                let things: Vec<String> = things.iter().map(|thing| self.thing(thing)).collect();
                facts.push(own(label, things.join(" and ")));
            }
        }
        if step.hands == Some(HandCount::Both) {
            facts.push(own("Hands", "both".to_owned()));
        }
        self.acts(step, &mut facts);
        for line in self.head().holds(&step.own) {
            let (label, text) = line.split_once(": ").unwrap_or(("Note", &line));
            facts.push(own(label, text.to_owned()));
        }
        if step.straight_on {
            facts.push(own("When", "straight on, without a cue".to_owned()));
        }
        let windows = step.windows.iter().map(|window| self.window(window, step)).collect();
        let readings = step.asks.iter().filter_map(|id| {
            self.procedure.readings.get(id.0 as usize).map(|reading| self.head().blank(reading))
        });
        StepLines {
            number: self.number,
            boxes: if boxes.is_empty() { vec![String::new()] } else { boxes.to_vec() },
            cautions: self.head().cautions(&step.alerts),
            act: self.text(step.text),
            facts,
            ways: step.ways.iter().map(|(text, _)| self.text(*text)).collect(),
            windows,
            readings: readings.collect(),
            outcomes: self.outcomes(step),
            break_off: step.own.break_off.map(|id| self.text(id)),
        }
    }

    /// How long it takes, how often, how long held.
    fn acts(&mut self, step: &Step, facts: &mut Vec<(String, String)>) {
        if let Some(takes) = &step.takes {
            facts.push(("Takes".to_owned(), said::span(takes.span)));
            self.source(&takes.basis);
        }
        if let Some(count) = &step.count {
            let many = match &count.how_many {
                HowMany::Exactly(n) => format!("{n} times"),
                HowMany::Reading(id) => {
                    let reading = self.procedure.readings.get(id.0 as usize);
                    format!("as often as: {}", reading.map_or("", |r| r.name.as_str()))
                }
                HowMany::UntilAnswered => "until the answer".to_owned(),
            };
            let mut text = many;
            if let Some(all) = count.lasting {
                text.push_str(&format!(", all in {}", said::span(all)));
            }
            if let Some(within) = count.within {
                text.push_str(&format!(", the vehicle allows {}", said::length(within)));
            }
            if let Some(every) = count.every {
                text.push_str(&format!(", one every {}", said::span(every)));
            }
            if let Some(ending) = count.ending {
                text.push_str(&format!(", ending with {}", self.text(ending)));
            }
            text.push_str(&self.beside(count.place));
            facts.push(("Count".to_owned(), text));
            self.source(&count.basis);
        }
        let holds: Vec<String> = step
            .hold
            .iter()
            .map(|hold| match hold {
                Hold::On => "until a later step lets go".to_owned(),
                Hold::UntilAnswered(None, ..) => "until the answer".to_owned(),
                Hold::UntilAnswered(Some(more), ..) => {
                    format!("until the answer, then {} more", held(*more))
                }
                Hold::For(range, _, place) => format!("{}{}", held(*range), self.beside(*place)),
            })
            .collect();
        if !holds.is_empty() {
            facts.push(("Hold".to_owned(), holds.join(", or ")));
        }
    }

    fn outcomes(&mut self, step: &Step) -> Vec<(String, String)> {
        let here = self.number;
        let mut lines = Vec::new();
        for met in &step.met {
            let seen = said::met(met, here, &self.context, self.numbers);
            lines.push((seen, said::outcome(self.procedure, &met.so, here, self.numbers)));
            self.source(&met.basis);
        }
        for silence in &step.silence {
            let from = said::moment(&silence.anchor, here, self.numbers);
            let seen = format!(
                "Nothing within {} after {from}{}",
                said::length(silence.within),
                said::turns(silence.turns)
            );
            lines.push((seen, said::outcome(self.procedure, &silence.so, here, self.numbers)));
            self.source(&silence.basis);
        }
        let own = [
            ("Anything else", &step.own.otherwise),
            ("Something else was done than told", &step.own.slip),
            ("Too late: a window has closed", &step.own.late),
        ];
        for (seen, so) in own {
            if let Some(so) = so {
                let so = said::outcome(self.procedure, so, here, self.numbers);
                lines.push((seen.to_owned(), so));
            }
        }
        lines
    }

    fn window(&mut self, window: &Window, step: &Step) -> WindowLine {
        let here = self.number;
        let from = said::moment(&window.anchor, here, self.numbers);
        let text =
            format!("{} after {from}{}", said::range(window.range), said::turns(window.turns));
        self.source(&window.basis);
        let reacts = self.procedure.operator.reacts.hi;
        let hands = step.takes.as_ref().map_or(Millis::ZERO, |takes| takes.span.hi);
        self.bars.push(Bar {
            step: here,
            act: self.text(step.text),
            from,
            opens: window.range.lo.0,
            closes: window.range.hi.map(|hi| hi.0),
            hands: if step.only_watch { 0 } else { hands.plus(reacts).0 },
            spare: self.spare(window.place),
        });
        self.line(said::capital(&text), window)
    }

    fn line(&self, text: String, window: &Window) -> WindowLine {
        WindowLine {
            text,
            opens: window.range.lo > Millis::ZERO,
            closes: window.range.hi.is_some(),
            spare: self.spare(window.place),
        }
    }

    /// What the proof says of the sentence at a place.
    fn spare(&self, place: Place) -> Option<Spare> {
        let known = self.proof.windows.iter().find(|known| known.place == place);
        known.map(|known| known.spare)
    }

    /// The same behind a text.
    fn beside(&self, place: Place) -> String {
        let spare = self.spare(place);
        spare.map_or_else(String::new, |spare| format!(" ({})", said::spare(spare)))
    }

    fn source(&mut self, basis: &Basis) {
        let Some(text) = said::basis(basis) else { return };
        if !self.sources.contains(&text) {
            self.sources.push(text);
        }
    }

    fn thing(&self, thing: &Ref<ItemId>) -> String {
        match thing {
            Ref::This(id) => {
                let item = self.procedure.items.get(id.0 as usize);
                item.map_or_else(String::new, |item| self.text(item.label))
            }
            Ref::Turn(name) => format!("this {}", name.replace('-', " ")),
        }
    }

    fn place(&self, place: &Ref<PlaceId>) -> String {
        match place {
            Ref::This(id) => {
                let place = self.procedure.places.get(id.0 as usize);
                place.map_or_else(String::new, |place| self.text(place.text))
            }
            Ref::Turn(name) => format!("this {}", name.replace('-', " ")),
        }
    }
}

fn held(range: Range) -> String {
    match (range.lo, range.hi) {
        (lo, Some(hi)) if lo == hi => said::length(lo),
        (lo, Some(hi)) => format!("{} to {}", said::length(lo), said::length(hi)),
        (lo, None) => format!("at least {}", said::length(lo)),
    }
}

/// Every pair of an outer and an inner turn; too many become one blank to count in.
fn product(outer: &[String], inner: &[String]) -> Vec<String> {
    if outer.iter().all(String::is_empty) {
        return capped(inner.to_vec());
    }
    let pair = |o: &String, i: &String| if i.is_empty() { o.clone() } else { format!("{o}.{i}") };
    let all = outer.iter().flat_map(|o| inner.iter().map(move |i| pair(o, i)));
    capped(all.collect())
}

fn capped(boxes: Vec<String>) -> Vec<String> {
    let many = boxes.len();
    if many <= MOST_BOXES { boxes } else { vec![format!("____ of {many}")] }
}
