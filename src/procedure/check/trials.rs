//! The functional tests and counts at the end.
//!
//! Takes the `tests` blocks; fills the model's tests and recounts.

use super::blocks::{Block, Entry};
use super::{Check, Env};
use crate::procedure::model::{ItemId, ReadingId, Recount, Ref, Test};
use crate::source::Place;
use crate::syntax::tree::{Line, Name, Sentence};

impl Check<'_> {
    pub(super) fn trials(&mut self, main: &Block<'_>) {
        let mut once: Vec<(&'static str, Place)> = Vec::new();
        for entry in &main.entries {
            let Entry::Block(block) = entry else { continue };
            let Some(line) = block.line else { continue };
            if matches!(line.sentence, Sentence::Tests) {
                self.once("tests", line.place, &mut once);
                for line in &block.head {
                    self.trial(line);
                }
            }
        }
    }

    fn trial(&mut self, line: &Line) {
        match &line.sentence {
            Sentence::Test { item, text, expect, otherwise } => {
                let item = item.as_ref().and_then(|item| self.plain_item(item));
                let (text, expect) = (self.text(text), self.text(expect));
                let otherwise = self.ending(otherwise);
                self.model.tests.push(Test { item, text, expect, otherwise, place: line.place });
            }
            Sentence::Recount { reading, more, per, otherwise } => {
                let per = per.as_ref().and_then(|per| self.plain_item(per));
                let otherwise = self.ending(otherwise);
                let more = self.counted(more.value, more.place, 100, &reading.value);
                if let Some(reading) = self.plain_reading(reading) {
                    let place = line.place;
                    self.model.recounts.push(Recount { reading, more, per, otherwise, place });
                }
            }
            _ => {}
        }
    }

    fn plain_item(&mut self, name: &Name) -> Option<ItemId> {
        match self.item(name, &Env::default()) {
            Some(Ref::This(item)) => Some(item),
            _ => None,
        }
    }

    fn plain_reading(&mut self, name: &Name) -> Option<ReadingId> {
        if let Some((reading, _)) = self.names.readings.get(&name.value) {
            return Some(*reading);
        }
        self.unknown(name, "reading", "a reading");
        None
    }
}
