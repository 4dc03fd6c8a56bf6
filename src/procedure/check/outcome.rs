//! What is seen and what follows: signs, delays, silence, retries.
//!
//! Takes an outcome line; gives the model's outcome with every name of a thing resolved. Steps stay
//! names; `events` looks whether they exist.

use super::phrase::verb;
use super::step::Building;
use super::{Check, Env};
use crate::clock::{Millis, Span};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{
    Event, EventRef, Hold, Met, Outcome, PurseId, Range, Sense, SignId, Silence, Turns, WayId,
};
use crate::source::Place;
use crate::syntax::tree::{
    self, Accord, At, EventOf, GoBack, Line, Name, Sentence, Sight, SightOf, Tries, When,
};

impl Check<'_> {
    /// What follows, with its names resolved.
    pub(super) fn outcome(&mut self, so: &tree::Outcome, line: Place, env: &Env) -> Outcome {
        match so {
            tree::Outcome::GoOn => Outcome::GoOn,
            tree::Outcome::GoTo(step) => Outcome::GoTo(step.value.clone(), step.place),
            tree::Outcome::Finish(ending) => Outcome::Finish(self.ending(ending)),
            tree::Outcome::ThisOne(class) => {
                if !env.turns.iter().any(|turn| turn.new) && !self.lost_turns {
                    self.complain(Complaint::new(Code::ThisOneOutside, class.place));
                }
                Outcome::ThisOne(class.value)
            }
            tree::Outcome::GoBack(back) => self.go_back(back, line, env),
        }
    }

    fn go_back(&mut self, back: &GoBack, line: Place, env: &Env) -> Outcome {
        let purse = match &back.tries {
            Tries::AtMost(times) => self.line_purse(times),
            Tries::While(name) => match self.names.purses.get(&name.value) {
                Some((purse, _)) => *purse,
                None => {
                    self.unknown(name, "purse", "a purse of tries");
                    PurseId(0)
                }
            },
        };
        let way = back.way.as_ref().and_then(|way| self.way(way, env));
        let otherwise = Box::new(self.outcome(&back.otherwise, line, env));
        Outcome::GoBack {
            to: back.to.value.clone(),
            way,
            after: back.after.as_ref().map_or(Millis::ZERO, |after| after.value),
            purse,
            otherwise,
            place: back.to.place,
        }
    }

    /// A part done on the way of a retry, built once a script.
    fn way(&mut self, name: &Name, env: &Env) -> Option<WayId> {
        if let Some(known) = self.ways.get(&name.value) {
            return *known;
        }
        let way = self.way_of_part(name, env);
        self.ways.insert(name.value.clone(), way);
        way
    }

    /// A moment as written. Whether its step has it is looked at when all steps are known.
    pub(super) fn event(&mut self, written: &EventOf, turns: Option<Turns>, env: &Env) -> EventRef {
        let first = written.path.first().map_or(written.event.place, |name| name.place);
        let place = first.to(written.event.place);
        let good = !env.turns.is_empty() && turns == Some(Turns::LaterTurns);
        if written.previous && !good && !self.lost_turns {
            self.complain(Complaint::new(Code::NoTurnBefore, place));
        }
        EventRef {
            previous: written.previous,
            path: written.path.iter().map(|name| name.value.clone()).collect(),
            event: written.event.value,
            place,
        }
    }

    /// The signs of an outcome line. `None` when one of them is not known; that has been said.
    fn sights(&mut self, sights: &[Sight], env: &Env) -> Option<Vec<SignId>> {
        let mut signs = Vec::new();
        let mut whole = true;
        for sight in sights {
            let sign = match &sight.what {
                SightOf::Text(text) => Some(self.text_sign(text)),
                SightOf::Sign(name) => {
                    let sign = self.sign(name, env);
                    if let Some(sign) = sign {
                        self.right_verb(sign, name, &sight.sense);
                    }
                    sign
                }
            };
            match sign {
                Some(sign) if !signs.contains(&sign) => signs.push(sign),
                Some(_) => {}
                None => whole = false,
            }
        }
        whole.then_some(signs)
    }

    fn right_verb(&mut self, sign: SignId, name: &Name, said: &At<Sense>) {
        let Some(declared) = self.model.signs.get(sign.0 as usize) else { return };
        if declared.sense != said.value {
            let (wanted, place) = (verb(declared.sense), declared.place);
            let complaint = Complaint::new(Code::SignVerb, said.place)
                .with("name", name.value.as_str())
                .with("wanted", wanted)
                .with("found", verb(said.value))
                .and(place, "the sign is declared here")
                .fix("use the sign's own verb", said.place, wanted);
            self.complain(complaint);
        }
    }

    /// `hear …, so …`
    pub(super) fn sensed(&mut self, line: &Line, step: &mut Building, env: &Env) {
        let Sentence::Sensed { sights, when, turns, accord, so } = &line.sentence else { return };
        step.awaits.get_or_insert(line.place);
        let signs = self.sights(sights, env);
        let so = self.outcome(so, line.place, env);
        let row = Row { when: when.as_ref(), turns: turns.as_ref(), accord: accord.as_ref(), line };
        self.met(signs, so, &row, step, env);
    }

    /// `look up TABLE`: each row becomes an outcome of this step.
    pub(super) fn look_up(&mut self, line: &Line, step: &mut Building, env: &Env) {
        let Sentence::LookUp(name, when, turns, accord) = &line.sentence else { return };
        step.awaits.get_or_insert(line.place);
        let Some((table, _)) = self.names.tables.get(&name.value) else {
            self.unknown(name, "table", "a table");
            step.incomplete = true;
            return;
        };
        let rows = table.head.clone();
        for entry in rows {
            let Sentence::Sensed { sights, when: own, so, .. } = &entry.sentence else { continue };
            if own.is_some() {
                let complaint = Complaint::new(Code::SentenceOutOfPlace, entry.place)
                    .with("sentence", "within")
                    .with("where", "in a row of a table")
                    .with("belongs", "in the `look up` line");
                self.complain(complaint);
            }
            let signs = self.sights(sights, env);
            let so = self.outcome(so, entry.place, env);
            let row =
                Row { when: when.as_ref(), turns: turns.as_ref(), accord: accord.as_ref(), line };
            let first = step.step.met.len();
            self.met(signs, so, &row, step, env);
            // Each row keeps its own place, so that a complaint points to the row.
            if let Some(met) = step.step.met.get_mut(first) {
                met.place = entry.place;
            }
        }
        step.answers_from = step.step.met.len().min(step.answers_from);
    }

    fn met(
        &mut self,
        signs: Option<Vec<SignId>>,
        so: Outcome,
        row: &Row<'_>,
        step: &mut Building,
        env: &Env,
    ) {
        let turns = self.turns(row.turns, env);
        let place = row.line.place;
        let delay = match row.when {
            Some(when) => self.bound(&when.bound),
            None => Some(Range { lo: Millis::ZERO, hi: None }),
        };
        let Some(delay) = delay else {
            step.incomplete = true;
            return;
        };
        let Some(hi) = delay.hi else {
            let at = row.when.map_or(place, |when| when.bound.place);
            self.complain(Complaint::new(Code::DelayWithoutMaximum, at));
            step.incomplete = true;
            return;
        };
        let anchor = self.anchor(row.when, &delay, turns, step, env);
        let (Some(anchor), Some(signs)) = (anchor, signs) else {
            step.incomplete = true;
            return;
        };
        let basis = self.basis(row.accord, env, place);
        let delay = Span::new(delay.lo, hi);
        step.step.met.push(Met { signs, delay, anchor, turns, so, basis, place });
    }

    /// What an outcome is measured from: as written, or this step's own act.
    fn anchor(
        &mut self,
        when: Option<&When>,
        range: &Range,
        turns: Option<Turns>,
        step: &Building,
        env: &Env,
    ) -> Option<EventRef> {
        if let Some(after) = when.and_then(|when| when.after.as_ref()) {
            return Some(self.event(after, turns, env));
        }
        let place = when.map_or(step.step.place, |when| when.bound.place);
        if step.step.only_watch {
            self.anchor_missing(range, place);
            return None;
        }
        let fixed = step.step.hold.iter().any(|hold| matches!(hold, Hold::For(..)));
        let event = if fixed { Event::Released } else { Event::Done };
        Some(EventRef { previous: false, path: Vec::new(), event, place })
    }

    /// `nothing within …, so …`
    pub(super) fn silence(&mut self, line: &Line, step: &mut Building, env: &Env) {
        let Sentence::Nothing { when, turns, accord, so } = &line.sentence else { return };
        let turns = self.turns(turns.as_ref(), env);
        let so = self.outcome(so, line.place, env);
        if let Some(first) = step.step.silence.iter().find(|other| other.turns == turns) {
            let complaint = Complaint::new(Code::SaidTwice, line.place).with("sentence", "nothing");
            let first = first.place;
            if !step.twice {
                self.complain(complaint.and(first, "it is said here first"));
            }
            step.twice = true;
            return;
        }
        step.silent.get_or_insert(line.place);
        let Some(range) = self.bound(&when.bound) else { return };
        let Some(within) = range.hi else {
            self.complain(Complaint::new(Code::DelayWithoutMaximum, when.bound.place));
            return;
        };
        let Some(anchor) = self.anchor(Some(when), &range, turns, step, env) else { return };
        // When to give up is the author's decision; no source is asked for it.
        let basis = accord.as_ref().map_or_else(|| env.basis.clone(), super::head::basis_of);
        step.step.silence.push(Silence { within, anchor, turns, so, basis, place: line.place });
    }

    /// `or within …` below an answer: the hull of both delays.
    pub(super) fn other_delay(
        &mut self,
        when: &When,
        turns: Option<&At<tree::Turns>>,
        line: Place,
        step: &mut Building,
        env: &Env,
    ) {
        let Some(range) = self.bound(&when.bound) else { return };
        let Some(hi) = range.hi else {
            self.complain(Complaint::new(Code::DelayWithoutMaximum, when.bound.place));
            return;
        };
        let turns = self.turns(turns, env);
        let Some(anchor) = self.anchor(Some(when), &range, turns, step, env) else { return };
        let from = step.answers_from;
        for met in step.step.met.iter_mut().skip(from) {
            if met.anchor.path == anchor.path && met.anchor.event == anchor.event {
                met.delay = met.delay.hull(Span::new(range.lo, hi));
            } else {
                let complaint = Complaint::new(Code::Contradiction, line)
                    .with("one", "or")
                    .with("other", "a version measured from another moment")
                    .and(met.place, "the first version stands here");
                self.out.push(complaint);
                return;
            }
        }
    }
}

/// When and how a sign is awaited, and which line says so.
struct Row<'t> {
    when: Option<&'t When>,
    turns: Option<&'t At<tree::Turns>>,
    accord: Option<&'t Accord>,
    line: &'t Line,
}
