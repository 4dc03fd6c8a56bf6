//! What stands on the sheet before and after the steps.
//!
//! Takes the procedure; gives its affirmations, items, readings, gates, tests and endings in words.

use super::{Blank, Caution, Row, said};
use crate::clock::Span;
use crate::faces::phrases;
use crate::procedure::model::{
    Alert, Condition, ConditionTest, EndingId, Item, Procedure, Profile, Reading, ReadingId,
    ReadingKind, Role, Status, Stretch, TextId, Unit,
};

/// What stands before and after the steps.
pub(super) struct Head<'a> {
    pub procedure: &'a Procedure,
}

impl Head<'_> {
    pub fn text(&self, id: TextId) -> String {
        self.procedure.text(id).to_owned()
    }

    pub fn status(&self) -> (String, String) {
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

    pub fn affirm(&self) -> Vec<String> {
        let own = self.procedure.affirm_ownership.map(|_| {
            "I own this vehicle, or I act with its owner's written permission.".to_owned()
        });
        let more = self.procedure.affirm.iter().map(|id| self.text(*id));
        own.into_iter().chain(more).collect()
    }

    pub fn cautions(&self, alerts: &[Alert]) -> Vec<Caution> {
        let caution = |alert: &Alert| Caution { word: alert.word, text: self.text(alert.text) };
        alerts.iter().map(caution).collect()
    }

    pub fn item(&self, item: &Item) -> Row {
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

    pub fn places(&self) -> Vec<String> {
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

    pub fn readings(&self) -> Vec<Blank> {
        let lettered = self.procedure.readings.iter().filter(|reading| reading.before).zip(0..);
        lettered.map(|(reading, n)| Blank { letter: letter(n), ..self.blank(reading) }).collect()
    }

    /// What the lines below the readings call one of them.
    pub fn called(&self, id: ReadingId) -> String {
        let nth = usize::try_from(id.0).unwrap_or(usize::MAX);
        let before = self.procedure.readings.iter().take(nth).filter(|reading| reading.before);
        letter(before.count())
    }

    pub fn blank(&self, reading: &Reading) -> Blank {
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

    pub fn gates(&self) -> Vec<String> {
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

    pub fn condition(&self, condition: &Condition) -> String {
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
    pub fn holds(&self, stretch: &Stretch) -> Vec<String> {
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

    pub fn operator(&self) -> Vec<String> {
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

    pub fn tests(&self) -> Vec<Row> {
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

    pub fn recounts(&self) -> Vec<String> {
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

    pub fn endings(&self) -> Vec<Row> {
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

/// `1`, `2`, `3` …
pub(super) fn numbered(most: u32) -> Vec<String> {
    if most <= 1 { vec![String::new()] } else { (1..=most).map(|n| n.to_string()).collect() }
}

/// `A`, `B` … `Z`, then `A2` …
fn letter(n: usize) -> String {
    let letter = char::from(b'A' + u8::try_from(n % 26).unwrap_or(0));
    match n / 26 {
        0 => letter.to_string(),
        more => format!("{letter}{}", more + 1),
    }
}
