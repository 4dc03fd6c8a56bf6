//! What holds for a stretch: guards, things kept away or awake, late, slip, break-off, limits.
//!
//! Takes the lines of a head or a step; gives a [`Stretch`] and says what was said twice.

use super::blocks::Block;
use super::{Check, Env};
use crate::complaint::{Code, Complaint};
use crate::procedure::model::{Event, Guard, Range, Ref, Stretch, Window};
use crate::source::Place;
use crate::syntax::tree::{Accord, At, Line, Outcome, Sentence, Turns, When};

impl Check<'_> {
    /// The head of a block: what holds inside. Its `according to` and `late` go into `env`.
    pub(super) fn block_head(&mut self, block: &Block<'_>, env: &mut Env) -> Stretch {
        self.stretch(&block.head, env)
    }

    /// What the lines of a head say. Lines that are not of this kind are left alone.
    pub(super) fn stretch(&mut self, lines: &[&Line], env: &mut Env) -> Stretch {
        let mut stretch = Stretch::default();
        let mut once: Vec<(&'static str, Place)> = Vec::new();
        for line in lines {
            if let Sentence::Basis(accord) = &line.sentence
                && self.once("according to", line.place, &mut once)
            {
                env.basis = super::head::basis_of(accord);
            }
        }
        // `late` serves the limits of its own head too.
        env.late |= lines.iter().any(|line| matches!(line.sentence, Sentence::Late(_)));
        for line in lines {
            self.stretch_line(line, env, &mut stretch, &mut once);
        }
        self.limits(lines, env, &mut stretch);
        stretch
    }

    /// One line of a head or a step, if it says what holds for a stretch.
    pub(super) fn stretch_line(
        &mut self,
        line: &Line,
        env: &Env,
        stretch: &mut Stretch,
        once: &mut Vec<(&'static str, Place)>,
    ) {
        match &line.sentence {
            Sentence::Keep { name, text, watched, lost } => {
                let mut places = Vec::new();
                for place in watched {
                    if let Some(Ref::This(place)) = self.place(place, env) {
                        places.push(place);
                    }
                }
                let text = self.text(text);
                let lost = self.outcome(lost, line.place, env);
                let (name, watched) = (name.value.clone(), places);
                let place = line.place;
                stretch.guards.push(Guard { name, text, forbids: false, watched, lost, place });
            }
            Sentence::Never(text, lost) => {
                let text = self.text(text);
                let lost = self.outcome(lost, line.place, env);
                stretch.guards.push(Guard {
                    name: String::new(),
                    text,
                    forbids: true,
                    watched: Vec::new(),
                    lost,
                    place: line.place,
                });
            }
            Sentence::KeepAway(name, text) => {
                let item = self.item(name, env);
                let text = self.text(text);
                if let Some(Ref::This(item)) = item {
                    stretch.away.push((item, text, line.place));
                } else if let Some(Ref::Turn(turn)) = item {
                    // The thing of this turn is one of its group: the group is kept away.
                    if let Some(item) = group_of(&turn, env) {
                        stretch.away.push((item, text, line.place));
                    }
                }
            }
            Sentence::KeepAwake(every, text) => {
                let text = self.text(text);
                stretch.awake.push((every.value, text, line.place));
            }
            Sentence::BreakOff(text) if self.once("if broken off", line.place, once) => {
                stretch.break_off = Some(self.text(text));
            }
            Sentence::Late(so) => {
                self.once_outcome("late", line, so, env, once, &mut stretch.late);
            }
            Sentence::Slip(so) => {
                self.once_outcome("slip", line, so, env, once, &mut stretch.slip);
            }
            Sentence::AnythingElse(so) => {
                self.once_outcome("anything else", line, so, env, once, &mut stretch.otherwise);
            }
            _ => {}
        }
    }

    fn once_outcome(
        &mut self,
        sentence: &'static str,
        line: &Line,
        so: &Outcome,
        env: &Env,
        once: &mut Vec<(&'static str, Place)>,
        into: &mut Option<crate::procedure::model::Outcome>,
    ) {
        if self.once(sentence, line.place, once) {
            *into = Some(self.outcome(so, line.place, env));
        }
    }

    /// Windows in a head bind the end of the stretch.
    fn limits(&mut self, lines: &[&Line], env: &Env, stretch: &mut Stretch) {
        let mut missing = None;
        for (at, line) in lines.iter().enumerate() {
            let (when, turns, accord) = match &line.sentence {
                Sentence::Window(when, turns, accord) => (when, turns, accord),
                Sentence::OrWindow(when, turns, accord) => {
                    let above = at.checked_sub(1).and_then(|above| lines.get(above));
                    let window = above.is_some_and(|above| {
                        matches!(above.sentence, Sentence::Window(..) | Sentence::OrWindow(..))
                    });
                    if !window {
                        self.complain(Complaint::new(Code::OrWithoutLine, line.place));
                        continue;
                    }
                    (when, turns, accord)
                }
                _ => continue,
            };
            let limit =
                self.window(Event::Over, when, turns.as_ref(), accord.as_ref(), line.place, env);
            if let Some(limit) = limit {
                if limit.range.hi.is_some() && missing.is_none() {
                    missing = Some(line.place);
                }
                stretch.limits.push(limit);
            }
        }
        self.empty_windows(&stretch.limits);
        if let (Some(place), false) = (missing, env.late) {
            self.late_missing.insert(place, env.block);
        }
    }

    /// A window of a step or a limit of a stretch.
    pub(super) fn window(
        &mut self,
        subject: Event,
        when: &When,
        turns: Option<&At<Turns>>,
        accord: Option<&Accord>,
        place: Place,
        env: &Env,
    ) -> Option<Window> {
        let range = self.bound(&when.bound);
        let turns_of = self.turns(turns, env);
        let Some(after) = &when.after else {
            if let Some(range) = range {
                self.anchor_missing(&range, when.bound.place);
            }
            return None;
        };
        let anchor = self.event(after, turns_of, env);
        let basis = self.basis(accord, env, place);
        Some(Window { subject, range: range?, anchor, turns: turns_of, basis, place })
    }

    pub(super) fn anchor_missing(&mut self, range: &Range, place: Place) {
        let length = range.hi.unwrap_or(range.lo);
        self.complain(Complaint::new(Code::AnchorMissing, place).with("length", length));
    }

    /// Turns have a meaning inside a `for each` or `repeat`; the first try everywhere.
    pub(super) fn turns(&mut self, turns: Option<&At<Turns>>, env: &Env) -> Option<Turns> {
        let turns = turns?;
        let outside = env.turns.is_empty() && !self.lost_turns;
        if turns.value != Turns::FirstTry && outside {
            let complaint = Complaint::new(Code::TurnsOutsideBlock, turns.place)
                .with("turns", turns_word(turns.value));
            self.complain(complaint);
        }
        Some(turns.value)
    }

    /// Windows on one moment, measured from one moment, must share a moment.
    pub(super) fn empty_windows(&mut self, windows: &[Window]) {
        for (at, window) in windows.iter().enumerate() {
            let same = |other: &&Window| {
                other.subject == window.subject
                    && other.anchor.path == window.anchor.path
                    && other.anchor.event == window.anchor.event
                    && other.anchor.previous == window.anchor.previous
                    && other.turns == window.turns
            };
            let Some(first) = windows[..at].iter().find(same) else { continue };
            let lo = first.range.lo.max(window.range.lo);
            let hi = match (first.range.hi, window.range.hi) {
                (Some(one), Some(other)) => Some(one.min(other)),
                (one, other) => one.or(other),
            };
            if let Some(hi) = hi.filter(|hi| *hi < lo) {
                let complaint = Complaint::new(Code::WindowEmpty, window.place)
                    .with("lo", lo)
                    .with("hi", hi)
                    .and(first.place, "the other version stands here");
                self.complain(complaint);
                return;
            }
        }
    }
}

/// The group over which the `for each` with this turn name goes.
pub(super) fn group_of(turn: &str, env: &Env) -> Option<crate::procedure::model::ItemId> {
    let around = env.turns.iter().rev().find(|around| around.name.as_deref() == Some(turn))?;
    match around.over {
        Some(crate::procedure::model::Over::Items(item)) => Some(item),
        _ => None,
    }
}

/// Turns as written.
pub(super) const fn turns_word(turns: Turns) -> &'static str {
    match turns {
        Turns::FirstTurn => "first turn only",
        Turns::LaterTurns => "later turns only",
        Turns::EarlierTurns => "earlier turns only",
        Turns::LastTurn => "last turn only",
        Turns::FirstTry => "first try only",
    }
}
