//! The lengths and counts of an act: how long it takes, how long it is held, how often it is done.
//!
//! Takes the tree's values of one step; gives the model's, or a complaint.

use super::step::Building;
use super::{Check, Env};
use crate::clock::Span;
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Basis, Counted, Event, Hold, HowMany, Range, ReadingKind, Timed, Unit,
};
use crate::source::Place;
use crate::syntax::tree::{self, Accord, At, Count, Held, Length, Name};

/// The longest count that is unrolled and spoken of.
const MOST_STROKES: u32 = 100;

impl Check<'_> {
    /// The person's own length.
    pub(super) fn timed(
        &mut self,
        length: &At<Length>,
        accord: Option<&Accord>,
        place: Place,
        env: &Env,
    ) -> Option<Timed> {
        let range = self.range(length, false)?;
        let Some(hi) = range.hi else {
            self.complain(Complaint::new(Code::TakesMissing, length.place));
            return None;
        };
        let basis = self.basis(accord, env, place);
        Some(Timed { span: Span::new(range.lo, hi), basis, place })
    }

    pub(super) fn hold(
        &mut self,
        held: &At<Held>,
        accord: Option<&Accord>,
        line: Place,
        step: &mut Building,
        env: &Env,
    ) {
        let hold = match &held.value {
            Held::On => Some(Hold::On),
            Held::Until(event, more) => {
                if !self.own_answer(event) {
                    step.incomplete = true;
                    return;
                }
                let range = match more {
                    Some(more) => match self.range(more, true) {
                        Some(range) => Some(range),
                        None => return,
                    },
                    None => None,
                };
                let basis = match &range {
                    Some(_) => self.basis(accord, env, line),
                    None => Basis::Unsaid,
                };
                Some(Hold::UntilAnswered(range, basis, line))
            }
            Held::For(length) => {
                let range = self.range(length, true);
                let basis = self.basis(accord, env, line);
                range.map(|range| Hold::For(range, basis, line))
            }
        };
        step.incomplete |= hold.is_none();
        step.step.hold.extend(hold);
    }

    /// Whether an act ends at this step's own answer, the only moment that the hands can follow.
    fn own_answer(&mut self, event: &tree::EventOf) -> bool {
        let own = event.path.is_empty() && !event.previous;
        if own && event.event.value == Event::Answered {
            return true;
        }
        let place = event.path.first().map_or(event.event.place, |name| name.place);
        let place = place.to(event.event.place);
        let found = self.library.sources.slice(place).to_owned();
        let complaint = Complaint::new(Code::UnfinishedSentence, place)
            .with("expected", "`answered`")
            .with("found", found);
        self.complain(complaint);
        false
    }

    pub(super) fn count(
        &mut self,
        counts: &Count,
        accord: Option<&Accord>,
        line: Place,
        env: &Env,
    ) -> Option<Counted> {
        let how_many = match &counts.how_many {
            tree::HowMany::Exactly(number) => {
                HowMany::Exactly(self.counted(number.value, number.place, MOST_STROKES, "strokes"))
            }
            tree::HowMany::Reading(name) => self.count_of(name)?,
            tree::HowMany::Until(event) => {
                if !self.own_answer(event) {
                    return None;
                }
                HowMany::UntilAnswered
            }
        };
        let (mut lasting, mut lasting_each) = (None, None);
        if let Some((length, each)) = &counts.lasting {
            let span = self.span(length);
            if *each {
                lasting_each = span;
            } else {
                lasting = span;
            }
        }
        let every = counts.every.as_ref().and_then(|length| {
            let Range { lo, hi } = self.range(length, true)?;
            Some(Span::new(lo, hi?))
        });
        let ending = counts.ending.as_ref().map(|text| self.text(text));
        let basis = self.basis(accord, env, line);
        Some(Counted {
            how_many,
            lasting,
            lasting_each,
            within: counts.within.as_ref().map(|within| within.value),
            each_within: counts.each_within.as_ref().map(|within| within.value),
            every,
            ending,
            basis,
            place: line,
        })
    }

    fn count_of(&mut self, name: &Name) -> Option<HowMany> {
        if self.names.secrets.contains_key(&name.value) {
            self.secret(name, "counted out");
            return None;
        }
        let Some((reading, _)) = self.names.readings.get(&name.value) else {
            self.unknown(name, "reading", "a reading");
            return None;
        };
        let reading = *reading;
        let answer = self.model.readings.get(reading.0 as usize)?.answer.clone();
        match answer {
            ReadingKind::Number { unit: Unit::Count(_), plausible } => {
                self.strokes(name, plausible);
            }
            other => {
                let complaint = Complaint::new(Code::UnitMismatch, name.place)
                    .with("value", name.value.as_str())
                    .with("unit", super::values::kind_word(&other))
                    .with("other", "a count of strokes");
                self.complain(complaint);
            }
        }
        Some(HowMany::Reading(reading))
    }

    /// As many strokes as a reading says: its plausible range must be one that hands can do.
    fn strokes(&mut self, name: &Name, plausible: Option<(i64, i64)>) {
        let most = i64::from(MOST_STROKES);
        match plausible {
            None => {
                let complaint = Complaint::new(Code::CapTooLarge, name.place).with("most", most);
                self.complain(complaint.with("count", "any number"));
            }
            Some((_, hi)) if hi > most * 1000 => {
                let complaint = Complaint::new(Code::CapTooLarge, name.place).with("most", most);
                self.complain(complaint.with("count", hi / 1000));
            }
            Some((lo, _)) if lo < 1000 => {
                let complaint = Complaint::new(Code::ZeroCount, name.place);
                self.complain(complaint.with("what", "strokes"));
            }
            Some(_) => {}
        }
    }
}
