//! The functional tests after a learned ending: every key that the script names, alone, then the
//! counts. `check` sees to it that old keys are named too.
//!
//! Takes what was learned and the ending so far; gives questions, and an ending that they can only
//! lower.

use crate::guide::cue::{Cue, Fact, Notice, Press, Question};
use crate::guide::out::Out;
use crate::guide::preparation::question_text;
use crate::guide::reading;
use crate::guide::run::Run;
use crate::guide::world::World;
use crate::procedure::model::{EndingClass, EndingId, ItemClass, ItemId, Role};
use crate::procedure::plan::{Thing, Value};
use std::sync::Arc;

/// The questions after the run, and the ending so far.
#[derive(Clone, Debug)]
pub(super) struct Tests {
    asks: Arc<[Question]>,
    at: usize,
    read_back: Option<Value>,
    ending: EndingId,
    /// Things that a test found not to work, with the class of the ending it led to.
    pub failed: Vec<(Thing, ItemClass)>,
}

impl Tests {
    /// The tests of a run that ended like this. A new thing that was not learned is not tried.
    pub fn new(world: &World, run: &Run, ending: EndingId) -> Tests {
        let mut asks = Vec::new();
        for (n, test) in (0..).zip(&world.procedure.tests) {
            match test.item {
                None => asks.push(Question::Test(n, None)),
                Some(item) => {
                    let things = things_to_test(world, run, item);
                    asks.extend(things.into_iter().map(|thing| Question::Test(n, Some(thing))));
                }
            }
        }
        let recounts = 0..u32::try_from(world.procedure.recounts.len()).unwrap_or(0);
        asks.extend(recounts.map(Question::Recount));
        Tests { asks: asks.into(), at: 0, read_back: None, ending, failed: Vec::new() }
    }

    /// Whether there is anything to ask.
    pub fn any(&self) -> bool {
        !self.asks.is_empty()
    }

    /// The ending, once every question is answered.
    pub fn over(&self) -> Option<EndingId> {
        (self.at >= self.asks.len()).then_some(self.ending)
    }

    /// The question on show.
    pub fn question(&self, world: &World) -> Option<Question> {
        match (self.asks.get(self.at)?, &self.read_back) {
            (Question::Recount(n), Some(value)) => {
                let recount = world.procedure.recounts.get(*n as usize)?;
                Some(Question::ReadBack(recount.reading, value.clone()))
            }
            (question, _) => Some(question.clone()),
        }
    }

    /// Says the question on show.
    pub fn say(&self, world: &World, cue: Cue, out: &mut Out) {
        let text = self.asks.get(self.at).and_then(|q| question_text(&world.procedure, q));
        if let Some(text) = text {
            out.say(text, cue);
        }
    }

    /// A press that answers.
    pub fn press(&mut self, world: &World, run: &Run, press: Press, out: &mut Out) {
        let yes = matches!(press, Press::Done | Press::Answer(1));
        match (self.asks.get(self.at).cloned(), self.read_back.clone()) {
            (Some(question @ Question::Test(n, thing)), _) => {
                let test = world.procedure.tests.get(n as usize);
                self.answered(world, question, yes, test.map(|t| t.otherwise), thing, out);
            }
            (Some(question @ Question::Recount(n)), Some(value)) if yes => {
                let right = recount_holds(world, run, n, &value);
                let recount = world.procedure.recounts.get(n as usize);
                out.record(Fact::Answered(question.clone(), Some(value)));
                self.answered(world, question, right, recount.map(|r| r.otherwise), None, out);
            }
            (Some(Question::Recount(_)), Some(_)) => {
                self.read_back = None;
                self.say(world, Cue::Question, out);
            }
            _ => out.refuse(Notice::NotUnderstood),
        }
    }

    /// A typed text.
    pub fn typed(&mut self, world: &World, run: &Run, typed: &str, out: &mut Out) {
        match self.asks.get(self.at) {
            Some(Question::Recount(n)) => {
                let recount = world.procedure.recounts.get(*n as usize);
                let reading =
                    recount.and_then(|r| world.procedure.readings.get(r.reading.0 as usize));
                self.read_back = None;
                match reading.map(|def| reading::read(&def.answer, typed)) {
                    Some(Ok(value)) => {
                        let as_typed = reading::as_typed(&value, typed);
                        self.read_back = Some(value);
                        if as_typed {
                            self.press(world, run, Press::Done, out);
                        }
                    }
                    Some(Err(reading::Refused::NotPlausible)) => out.refuse(Notice::NotPlausible),
                    _ => out.refuse(Notice::NotUnderstood),
                }
            }
            Some(_) => match typed.trim().to_lowercase().as_str() {
                "y" | "yes" => self.press(world, run, Press::Done, out),
                "n" | "no" => self.press(world, run, Press::SomethingElse, out),
                _ => out.refuse(Notice::NotUnderstood),
            },
            None => {}
        }
    }

    fn answered(
        &mut self,
        world: &World,
        question: Question,
        well: bool,
        otherwise: Option<EndingId>,
        thing: Option<Thing>,
        out: &mut Out,
    ) {
        if matches!(question, Question::Test(..)) {
            let no = (!well).then(|| Value::Text("no".to_owned()));
            out.record(Fact::Answered(question, no));
        }
        if let (false, Some(lower)) = (well, otherwise) {
            let class = world.class(lower);
            if rank(class) < rank(world.class(self.ending)) {
                self.ending = lower;
            }
            let new = thing.filter(|thing| role(world, thing.item) == Some(Role::New));
            if let Some(thing) = new {
                let class = match class {
                    EndingClass::NotLearned => ItemClass::NotLearned,
                    _ => ItemClass::Unsure,
                };
                self.failed.push((thing, class));
                out.record(Fact::Thing(thing, class));
            }
        }
        self.read_back = None;
        self.at += 1;
        self.say(world, Cue::Question, out);
    }
}

/// Each thing of the item, by itself. A thing that was not learned, or never shown, is not tried.
fn things_to_test(world: &World, run: &Run, item: ItemId) -> Vec<Thing> {
    let learned = |thing: &Thing| match run.verdicts.get(thing) {
        Some((class, _)) => *class != ItemClass::NotLearned,
        // A new thing of a turn that was never begun was not shown to the vehicle.
        None => !world.plan.things.contains(thing),
    };
    let count = run.choices.count(&world.procedure, item);
    (0..count).map(|nth| Thing { item, nth }).filter(learned).collect()
}

fn role(world: &World, item: ItemId) -> Option<Role> {
    world.procedure.items.get(item.0 as usize).map(|def| def.role)
}

/// Whether a count asked again is what it was and as much more as was learned.
fn recount_holds(world: &World, run: &Run, n: u32, value: &Value) -> bool {
    let Some(recount) = world.procedure.recounts.get(n as usize) else { return false };
    let times = recount.per.map_or(1, |item| {
        let learned = run.verdicts.iter();
        let learned = learned.filter(|(t, (c, _))| t.item == item && *c == ItemClass::Learned);
        i64::try_from(learned.count()).unwrap_or(0)
    });
    let more = i64::from(recount.more).saturating_mul(times).saturating_mul(1000);
    match (run.choices.answer(recount.reading), value) {
        (Some(Value::Number(before)), Value::Number(now)) => before.saturating_add(more) == *now,
        _ => false,
    }
}

/// Endings in order: a test can only lead down.
fn rank(class: EndingClass) -> u8 {
    match class {
        EndingClass::Learned => 3,
        EndingClass::Unsure => 2,
        EndingClass::NotLearned => 1,
        EndingClass::Stopped => 0,
    }
}
