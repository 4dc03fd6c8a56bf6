//! Cautions that a kind of step needs, by what its texts and signs say.
//!
//! Takes the built model; complains where a hazard shows and nothing has warned of it before. The
//! list of hazards and the words by which they are known are common practice, no source.

use super::Check;
use super::blocks::Block;
use super::head::HAZARDS;
use super::signs::steps;
use super::words::{holds, plain};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{Alert, Hazard, Procedure, SignPattern, Step};
use crate::source::Place;

/// How a hazard shows, and how it is spoken of.
struct Signs {
    hazard: Hazard,
    /// Signal word to suggest.
    word: &'static str,
    /// What a complaint says happens here.
    what: &'static str,
    /// Words in a step or sign that show it.
    shown_by: &'static [&'static str],
    /// Words in a caution that speak of it, where it names no hazard.
    spoken_of_by: &'static [&'static str],
}

const KNOWN: &[Signs] = &[
    Signs {
        hazard: Hazard::Exhaust,
        word: "danger",
        what: "an engine runs",
        shown_by: &[
            "start the engine",
            "run the engine",
            "engine running",
            "engine runs",
            "engine idling",
            "let the engine",
        ],
        spoken_of_by: &["exhaust"],
    },
    Signs {
        hazard: Hazard::Movement,
        word: "warning",
        what: "the vehicle may start or move",
        shown_by: &[
            "start the engine",
            "engine running",
            "engine runs",
            "crank",
            "into gear",
            "out of park",
            "press the start button",
            "push the start button",
        ],
        spoken_of_by: &["roll", "move", "jump", "parking brake", "wheels blocked"],
    },
    Signs {
        hazard: Hazard::Charging,
        word: "warning",
        what: "a battery is on charge",
        shown_by: &["charger", "charging", "on charge"],
        spoken_of_by: &["hydrogen", "charging"],
    },
    Signs {
        hazard: Hazard::HighVoltage,
        word: "warning",
        what: "a high-voltage vehicle is worked on",
        shown_by: &["hybrid", "high-voltage", "high voltage", "traction battery", "orange cable"],
        spoken_of_by: &["high-voltage", "high voltage", "orange"],
    },
    Signs {
        hazard: Hazard::Locks,
        word: "notice",
        what: "the locks move",
        shown_by: &[
            "the locks",
            "door locks",
            "the lock cycling",
            "central locking",
            "lock the doors",
            "lock the vehicle",
        ],
        spoken_of_by: &["locks", "locked in", "shut every key", "window open", "open window"],
    },
    Signs {
        hazard: Hazard::Siren,
        word: "caution",
        what: "a horn or siren sounds",
        shown_by: &["siren", "horn", "alarm"],
        spoken_of_by: &["siren", "horn", "alarm", "ears", "ear protection"],
    },
    Signs {
        hazard: Hazard::Glass,
        word: "caution",
        what: "glass moves",
        shown_by: &["glass", "window switch", "the window", "the windows"],
        spoken_of_by: &["glass", "window", "windows"],
    },
    Signs {
        hazard: Hazard::Door,
        word: "warning",
        what: "a door moves by itself",
        shown_by: &[
            "garage door",
            "sliding door",
            "tailgate",
            "liftgate",
            "power door",
            "door moving",
            "door opening",
            "door closing",
        ],
        spoken_of_by: &["door", "doors", "tailgate"],
    },
    Signs {
        hazard: Hazard::Implants,
        word: "warning",
        what: "a key is held to an antenna",
        shown_by: &[
            "antenna",
            "reader coil",
            "reader tray",
            "against the start button",
            "to the start button",
            "at the start button",
        ],
        spoken_of_by: &["implant", "implants", "pacemaker"],
    },
    Signs {
        hazard: Hazard::LastKey,
        word: "notice",
        what: "the only working key is at stake",
        shown_by: &["only key", "only working key", "last key", "last working key"],
        spoken_of_by: &["only key", "only working key", "last key"],
    },
    Signs {
        hazard: Hazard::Ladder,
        word: "warning",
        what: "somebody stands on a ladder",
        shown_by: &["ladder"],
        spoken_of_by: &["ladder"],
    },
];

/// A place in the script where a hazard may show, with the words said there.
struct Spot {
    words: String,
    place: Place,
}

impl Check<'_> {
    pub(super) fn hazards(&mut self, main: &Block<'_>) {
        // An unread line may be the caution that seems to be missing.
        if main.stray {
            return;
        }
        let model = std::mem::take(&mut self.model);
        let steps = steps(&model);
        for signs in KNOWN {
            self.hazard_of(signs, &model, &steps);
        }
        self.model = model;
    }

    fn hazard_of(&mut self, signs: &Signs, model: &Procedure, steps: &[&Step]) {
        if model.alerts.iter().any(|alert| warns(model, alert, signs)) {
            return;
        }
        let head = head_spots(model).into_iter().find(|spot| shows(&spot.words, signs));
        if let Some(spot) = head {
            self.unwarned(signs, model, spot.place, steps);
            return;
        }
        for (at, step) in steps.iter().enumerate() {
            if step.alerts.iter().any(|alert| warns(model, alert, signs)) {
                return;
            }
            if shows(&step_words(model, step), signs) {
                self.unwarned(signs, model, step.place, &steps[at + 1..]);
                return;
            }
        }
        let tested = model.tests.iter().find(|test| {
            let words = [model.text(test.text), model.text(test.expect)].join(" ");
            shows(&plain(&words), signs)
        });
        if let Some(test) = tested {
            self.unwarned(signs, model, test.place, &[]);
        }
    }

    /// Nothing warned before this place. A caution that comes later is late, not missing.
    fn unwarned(&mut self, signs: &Signs, model: &Procedure, place: Place, later: &[&Step]) {
        let late =
            later.iter().flat_map(|step| &step.alerts).find(|alert| warns(model, alert, signs));
        if let Some(alert) = late {
            let line = self.library.sources.line_col(place).line;
            let complaint = Complaint::new(Code::CautionLate, alert.place)
                .with("line", i64::from(line))
                .and(place, "here it is needed first");
            self.complain(complaint);
            return;
        }
        let name = HAZARDS.iter().find(|(_, hazard)| *hazard == signs.hazard);
        let complaint = Complaint::new(Code::CautionMissing, place)
            .with("what", signs.what)
            .with("word", signs.word)
            .with("hazard", name.map_or("", |(name, _)| name));
        // More than one hazard may show in one step; each is one complaint.
        self.complain(complaint);
    }
}

fn warns(model: &Procedure, alert: &Alert, signs: &Signs) -> bool {
    if let Some(hazard) = alert.hazard {
        return hazard == signs.hazard;
    }
    let words = plain(model.text(alert.text));
    signs.spoken_of_by.iter().any(|spoken| holds(&words, spoken))
}

fn shows(words: &str, signs: &Signs) -> bool {
    signs.shown_by.iter().any(|shown| holds(words, shown))
}

/// What the head says of the vehicle, the battery and the places.
fn head_spots(model: &Procedure) -> Vec<Spot> {
    let mut ids: Vec<_> = model.head.guards.iter().filter(|g| !g.forbids).map(|g| g.text).collect();
    ids.extend(model.subject.map(|(_, text)| text));
    ids.extend(model.items.iter().map(|item| item.label));
    ids.extend(model.readings.iter().map(|reading| reading.text));
    ids.extend(model.places.iter().map(|place| place.text));
    let said = ids.into_iter().filter_map(|id| model.texts.get(id.0 as usize));
    let said = said.map(|said| Spot { words: plain(&said.text), place: said.place });
    // The guide may ask for a charger where the author speaks of none.
    let battery = model.battery.map(|need| Spot { words: "charger".to_owned(), place: need.place });
    said.chain(battery).collect()
}

fn step_words(model: &Procedure, step: &Step) -> String {
    let mut words = model.text(step.text).to_owned();
    for text in step.prepare.iter().chain(step.ways.iter().map(|(text, _)| text)) {
        words.push_str(" . ");
        words.push_str(model.text(*text));
    }
    for sign in step.met.iter().flat_map(|met| &met.signs) {
        let Some(sign) = model.signs.get(sign.0 as usize) else { continue };
        words.push_str(" . ");
        words.push_str(model.text(sign.object));
        if let SignPattern::State(state) = &sign.pattern {
            words.push(' ');
            words.push_str(state);
        }
    }
    plain(&words)
}
