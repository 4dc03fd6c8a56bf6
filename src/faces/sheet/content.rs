//! From the checked model to what stands on the sheet.
//!
//! Takes a procedure, its files and what the proof says; gives a [`Sheet`]. The steps stand in the
//! order in which they are written; what is done several times stands once, with a box for each time.

use super::number::Numbers;
use super::{Bar, Blank, Block, Caution, Proof, Row, Sheet, StepLines, WindowLine, said};
use crate::clock::{Millis, Span};
use crate::faces::phrases;
use crate::journal::convert::Context;
use crate::procedure::model::{
    Alert, Condition, ConditionTest, EndingId, HandCount, Hold, HowMany, Item, ItemId, Node, Over,
    PlaceId, Procedure, Profile, Reading, ReadingId, ReadingKind, Ref, Role, Status, Step, Stretch,
    TextId, Unit, Window,
};
use crate::source::SourceMap;

/// More boxes than this are a blank to count in.
const MOST_BOXES: usize = 12;

/// The sheet of a procedure.
#[must_use]
pub fn sheet(procedure: &Procedure, sources: &SourceMap, proof: Proof) -> Sheet {
    let numbers = Numbers::of(procedure);
    let mut writer = Writer {
        procedure,
        context: Context { procedure, plan: None, sources },
        numbers: &numbers,
        proof: &proof,
        number: 0,
        bars: Vec::new(),
        sources: Vec::new(),
    };
    let mut body = writer.blocks(&procedure.body, &[]);
    body.extend(writer.ways());
    let (windows, sources) = (writer.bars, writer.sources);
    let head = Head { procedure };
    Sheet {
        title: procedure.title.map_or_else(String::new, |id| head.text(id)),
        subject: procedure.subject.map(|(_, id)| head.text(id)),
        edition: procedure.edition,
        status: head.status().0,
        status_says: head.status().1,
        affirm: head.affirm(),
        cautions: head.cautions(&procedure.alerts),
        items: procedure.items.iter().map(|item| head.item(item)).collect(),
        places: head.places(),
        readings: head.readings(),
        gates: head.gates(),
        checklist: procedure.checklist.iter().map(|id| head.text(*id)).collect(),
        throughout: head.holds(&procedure.head),
        operator: head.operator(),
        break_off: procedure.head.break_off.map(|id| head.text(id)),
        body,
        tests: head.tests(),
        recounts: head.recounts(),
        endings: head.endings(),
        windows,
        sources,
        proof,
    }
}

/// What stands before and after the steps.
struct Head<'a> {
    procedure: &'a Procedure,
}

impl Head<'_> {
    fn text(&self, id: TextId) -> String {
        self.procedure.text(id).to_owned()
    }

    fn status(&self) -> (String, String) {
        match &self.procedure.status {
            Some(Status::Demonstration) => (
                "DEMONSTRATION".to_owned(),
                "A demonstration: the vehicle and the numbers are invented. Not for a real vehicle."
                    .to_owned(),
            ),
            Some(Status::Handbook) => (
                "FROM A HANDBOOK".to_owned(),
                "From a handbook; not yet tried by the author.".to_owned(),
            ),
            Some(Status::Tried(date)) => (
                "TRIED".to_owned(),
                format!("Tried by the author on {}.", date.value),
            ),
            None => ("STATUS NOT SAID".to_owned(), "Nobody says how far to trust it.".to_owned()),
        }
    }

    fn affirm(&self) -> Vec<String> {
        let own = self.procedure.affirm_ownership.map(|_| {
            "I own this vehicle, or I act with its owner's written permission.".to_owned()
        });
        let more = self.procedure.affirm.iter().map(|id| self.text(*id));
        own.into_iter().chain(more).collect()
    }

    fn cautions(&self, alerts: &[Alert]) -> Vec<Caution> {
        let caution = |alert: &Alert| Caution { word: alert.word, text: self.text(alert.text) };
        alerts.iter().map(caution).collect()
    }

    fn item(&self, item: &Item) -> Row {
        let felt = item.felt.map_or_else(String::new, |id| format!(", felt as {}", self.text(id)));
        let role = match item.role {
            Role::Registered => "already registered: it works",
            Role::New => "to be registered",
            Role::Tool => "tool",
        };
        let (least, most) = item.count;
        let boxes = if item.group { numbered(most) } else { vec![String::new()] };
        let many = if item.group && least < most {
            format!(", {least} to {most} of them: how many? ____")
        } else {
            String::new()
        };
        Row {
            what: format!("{}{felt}", self.text(item.label)),
            more: format!("{role}{many}"),
            boxes,
        }
    }

    fn places(&self) -> Vec<String> {
        let told = self.procedure.places.iter().filter(|place| place.far.is_some());
        told.filter_map(|place| {
            let (from, paces, extra) = place.far?;
            let from = self.procedure.places.get(from.0 as usize)?;
            let extra = if extra == Span::ZERO {
                String::new()
            } else {
                format!(" and {}", said::span(extra))
            };
            Some(format!(
                "{}: {paces} paces{extra} from \"{}\"",
                said::capital(self.procedure.text(place.text)),
                self.procedure.text(from.text)
            ))
        })
        .collect()
    }

    fn readings(&self) -> Vec<Blank> {
        let lettered = self.procedure.readings.iter().filter(|reading| reading.before).zip(0..);
        lettered.map(|(reading, n)| Blank { letter: letter(n), ..self.blank(reading) }).collect()
    }

    /// What the lines below the readings call one of them.
    fn called(&self, id: ReadingId) -> String {
        let nth = usize::try_from(id.0).unwrap_or(usize::MAX);
        let before = self.procedure.readings.iter().take(nth).filter(|reading| reading.before);
        letter(before.count())
    }

    fn blank(&self, reading: &Reading) -> Blank {
        let (unit, plausible) = match &reading.answer {
            ReadingKind::Number { unit, plausible } => (
                said::unit(unit).to_owned(),
                plausible
                    .map(|(lo, hi)| format!("{} to {}", phrases::number(lo), phrases::number(hi))),
            ),
            ReadingKind::Text => (String::new(), None),
            ReadingKind::Choice(names) => {
                let names = names.iter().map(|name| format!("☐ {}", name.replace('-', " ")));
                (names.collect::<Vec<_>>().join("  "), None)
            }
        };
        Blank { letter: String::new(), question: self.text(reading.text), unit, plausible }
    }

    fn gates(&self) -> Vec<String> {
        let battery = self.procedure.battery.map(|need| {
            let volts = |mv: i32| format!("{} V", phrases::number(mv.into()));
            let most = need.ceiling.map_or_else(String::new, |c| format!(", at most {}", volts(c.0)));
            format!(
                "Battery: at least {}{most} through the whole run. The guide reckons whether it lasts.",
                volts(need.floor.0)
            )
        });
        let gates = self.procedure.gates.iter().map(|gate| {
            let must = if gate.must { "Start only if" } else { "Better if" };
            format!(
                "{must} {}. Else: {}",
                self.condition(&gate.condition),
                self.text(gate.otherwise)
            )
        });
        battery.into_iter().chain(gates).collect()
    }

    fn condition(&self, condition: &Condition) -> String {
        let reading = self.procedure.readings.get(condition.reading.0 as usize);
        let name = self.called(condition.reading);
        let with = condition.with.and_then(|item| self.procedure.items.get(item.0 as usize));
        let with = with.map_or_else(String::new, |item| {
            format!(" plus how many of \"{}\"", self.text(item.label))
        });
        let unit = reading.map_or(String::new(), |reading| match &reading.answer {
            ReadingKind::Number { unit: Unit::Count(_), .. } => String::new(),
            ReadingKind::Number { unit, .. } => format!(" {}", said::unit(unit)),
            _ => String::new(),
        });
        let test = match &condition.test {
            ConditionTest::AtLeast(least) => format!("at least {}{unit}", phrases::number(*least)),
            ConditionTest::AtMost(most) => format!("at most {}{unit}", phrases::number(*most)),
            ConditionTest::Between(lo, hi) => {
                format!("between {} and {}{unit}", phrases::number(*lo), phrases::number(*hi))
            }
            ConditionTest::SameAs(other) => format!("the same as {}", self.called(*other)),
            ConditionTest::Is(name) => name.replace('-', " "),
        };
        format!("{name}{with} is {test}")
    }

    /// What must hold in a stretch, for the eyes of who does it.
    fn holds(&self, stretch: &Stretch) -> Vec<String> {
        let mut lines = Vec::new();
        for guard in &stretch.guards {
            let text = self.text(guard.text);
            lines.push(if guard.forbids {
                format!("Never: {text}")
            } else {
                format!("Always: {text}")
            });
        }
        for (item, place, _) in &stretch.away {
            let item = self.procedure.items.get(item.0 as usize);
            let label = item.map_or_else(String::new, |item| self.text(item.label));
            lines.push(format!("Keep away: {label}, {}", self.text(*place)));
        }
        for (every, text, _) in &stretch.awake {
            lines.push(format!("At least every {}: {}", said::length(*every), self.text(*text)));
        }
        lines
    }

    fn operator(&self) -> Vec<String> {
        let profile = |who: &str, p: &Profile| {
            let text = p.text.map_or_else(String::new, |id| format!(" ({})", self.text(id)));
            format!(
                "{who}{text}: reacts in {}, reports in {}, {} hands, a pace in {}; words at {} a minute",
                said::span(p.reacts),
                said::span(p.reports),
                p.hands,
                said::span(p.pace),
                p.words_a_minute
            )
        };
        let operator = &self.procedure.operator;
        let helpers = self.procedure.helpers.iter().map(|p| profile(&p.name.replace('-', " "), p));
        std::iter::once(profile(&operator.name.replace('-', " "), operator))
            .chain(helpers)
            .collect()
    }

    fn tests(&self) -> Vec<Row> {
        let tests = self.procedure.tests.iter().map(|test| {
            let item = test.item.and_then(|item| self.procedure.items.get(item.0 as usize));
            let label = item.map_or_else(String::new, |i| {
                format!("{}: ", said::capital(self.procedure.text(i.label)))
            });
            let boxes = match item {
                Some(item) if item.group => numbered(item.count.1),
                _ => vec![String::new()],
            };
            let otherwise = said::ending(self.procedure, test.otherwise);
            Row {
                what: format!("{label}{}", self.text(test.text)),
                more: format!("Expected: {}. Else: {otherwise}.", self.text(test.expect)),
                boxes,
            }
        });
        tests.collect()
    }

    fn recounts(&self) -> Vec<String> {
        let recounts = self.procedure.recounts.iter().filter_map(|recount| {
            let reading = self.procedure.readings.get(recount.reading.0 as usize)?;
            let per = recount.per.and_then(|item| self.procedure.items.get(item.0 as usize));
            let each = per.map_or_else(String::new, |item| {
                format!(" for each that was learned ({})", self.text(item.label))
            });
            Some(format!(
                "{} Now: ____ It must be {} more than before{each}.",
                self.text(reading.text),
                recount.more
            ))
        });
        recounts.collect()
    }

    fn endings(&self) -> Vec<Row> {
        let used = self.procedure.endings.iter().zip(0..).map(|(ending, n)| {
            let text = ending.text.map(|id| self.text(id)).unwrap_or_default();
            let next = ending.hand_over.as_ref();
            let next = next.map_or_else(String::new, |next| format!(" Go on with \"{next}\"."));
            Row {
                what: said::capital(&said::ending(self.procedure, EndingId(n))),
                more: format!("{text}{next}"),
                boxes: vec![String::new()],
            }
        });
        used.collect()
    }
}

/// The steps.
struct Writer<'a> {
    procedure: &'a Procedure,
    context: Context<'a>,
    numbers: &'a Numbers,
    proof: &'a Proof,
    number: u32,
    bars: Vec<Bar>,
    sources: Vec<String>,
}

impl<'a> Writer<'a> {
    const fn head(&self) -> Head<'a> {
        Head { procedure: self.procedure }
    }

    fn text(&self, id: TextId) -> String {
        self.procedure.text(id).to_owned()
    }

    /// Blocks, each of whose steps is done once for each of `boxes`.
    fn blocks(&mut self, body: &[Node], boxes: &[String]) -> Vec<Block> {
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
    fn ways(&mut self) -> Vec<Block> {
        let procedure = self.procedure;
        let mut sections = Vec::new();
        for way in &procedure.ways {
            let heading = format!("On the way back: {}", way.name.replace('-', " "));
            let notes = vec!["Only when a line above sends you here.".to_owned()];
            sections.push(Block::Section { heading, notes, body: self.blocks(&way.body, &[]) });
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
        for limit in &head.limits {
            let from = said::moment(&limit.anchor, here, self.numbers);
            notes.push(format!("All of this {} after {from}.", said::range(limit.range)));
            self.source(&limit.basis);
        }
        if let Some(late) = &head.late {
            let late = said::outcome(self.procedure, late, here, self.numbers);
            notes.push(format!("If a window is missed: {late}."));
        }
        if let Some(text) = head.break_off {
            notes.push(format!("If broken off here: {}", self.text(text)));
        }
        Block::Section { heading, notes, body: self.blocks(body, boxes) }
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
                Hold::For(range, ..) => held(*range),
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
        let known = self.proof.windows.iter().find(|known| known.place == window.place);
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
            slack: known.map(|known| known.slack.0),
            tight: known.is_some_and(|known| known.tight),
        });
        WindowLine {
            text: said::capital(&text),
            spare: known.map(|known| said::spare(known.slack)),
            tight: known.is_some_and(|known| known.tight),
        }
    }

    fn source(&mut self, basis: &crate::procedure::model::Basis) {
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

fn held(range: crate::procedure::model::Range) -> String {
    match (range.lo, range.hi) {
        (lo, Some(hi)) if lo == hi => said::length(lo),
        (lo, Some(hi)) => format!("{} to {}", said::length(lo), said::length(hi)),
        (lo, None) => format!("at least {}", said::length(lo)),
    }
}

/// `1`, `2`, `3` …
fn numbered(most: u32) -> Vec<String> {
    if most <= 1 { vec![String::new()] } else { (1..=most).map(|n| n.to_string()).collect() }
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

/// `A`, `B` … `Z`, then `A2` …
fn letter(n: usize) -> String {
    let letter = char::from(b'A' + u8::try_from(n % 26).unwrap_or(0));
    match n / 26 {
        0 => letter.to_string(),
        more => format!("{letter}{}", more + 1),
    }
}
