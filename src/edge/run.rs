//! The live loop: takes a procedure, a console and a place for the record; gives how the run ended.
//!
//! One thread owns the guide. It waits on the run's clock and on one channel, hands what came to the
//! guide, and hands the guide's effects to the record's queue, then to the faces. Nothing that it
//! calls waits for a disk, a reader or a loudspeaker, so none of them can delay a cue.

use std::path::PathBuf;
use std::sync::Arc;

use super::clock::{Gap, Pace, RunClock, Wake, wall_label};
use super::console::{Came, Console};
use super::keys::{Meant, Mode};
use super::practice::Rehearsing;
use super::records::close_continued;
use super::show::leave_up;
use super::terminal::Happening;
use super::writer::{self, Finish, NoRecord, Recorder, Told, Trouble};
use crate::clock::{Millis, Moment};
use crate::faces::phrases;
use crate::faces::plain::blank;
use crate::faces::practice::{SHORT, aloud};
use crate::faces::words::{Picture, RecordState, wants_text};
use crate::guide::cue::{self, GapKind, Input, Press};
use crate::guide::{Guide, Settings};
use crate::journal::convert::{Context, effect_body, input_body};
use crate::journal::entry::{Body, ClockChange, EndingClass, Interruption, ItemEnding, Sender};
use crate::journal::happened as h;
use crate::journal::practice::{Vehicle, vehicle_body};
use crate::procedure::model::Procedure;
use crate::source::SourceMap;
use crate::training::score::Score;
use crate::vehicle::live::Event;

/// A cue later than this is told of in a line of its own.
const LATE: Millis = Millis(100);
/// How long the end waits for the disk.
const DISK: Millis = Millis(3000);
/// Without anything to wait for, the loop still looks at the clock this often.
const IDLE: Millis = Millis(1000);

/// Of a text that was not understood so much is quoted.
const LONGEST_QUOTED: usize = 40;

/// What a live run needs.
pub struct Live<'a> {
    /// The checked procedure.
    pub procedure: Arc<Procedure>,
    /// Its files, for lines.
    pub sources: &'a SourceMap,
    /// The guide's settings.
    pub settings: Settings,
    /// Where the record goes; `None`: nobody asked for one.
    pub record: Option<writer::Plan>,
    /// An earlier run that was broken off.
    pub take_up: Option<TakeUp>,
    /// What has to be typed in words before the run begins.
    pub in_words: Option<h::Question>,
    /// What is noted in the record at the beginning, and stays on show.
    pub notes: Vec<String>,
    /// What is only noted in the record.
    pub noted: Vec<String>,
    /// The imaginary vehicle of a rehearsal.
    pub practice: Option<Rehearsing>,
    /// How fast the run's clock goes.
    pub pace: Pace,
}

/// An earlier run that was broken off.
#[derive(Debug)]
pub struct TakeUp {
    /// Its record.
    pub path: PathBuf,
    /// What is asked about it.
    pub question: h::Question,
}

/// How a run ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// In an ending.
    Ended(EndingClass),
    /// The person did not want to begin.
    Declined,
    /// Ctrl-C, twice.
    Interrupted,
    /// The terminal was closed, or no face works any more.
    HungUp,
    /// The program was told to end.
    Terminated,
    /// It waited for a press that can never come.
    InputEnded,
}

/// What became of a run.
#[derive(Debug)]
pub struct Outcome {
    /// How it ended.
    pub how: How,
    /// What became of the record; `None` where nobody asked for one or the run did not begin.
    pub record: Option<Finish>,
    /// How a rehearsal went.
    pub score: Option<Score>,
}

/// Leads a person through the procedure. The console is given back to the terminal at the end.
///
/// # Errors
/// [`NoRecord`] when a record was asked for and cannot be begun; the run has not begun then.
pub fn live(live: Live, console: Console) -> Result<Outcome, NoRecord> {
    let mut run = Run::new(live, console);
    if let Some(how) = run.before() {
        return Ok(run.end(how));
    }
    if let Err(why) = run.begin_record() {
        run.console.close();
        return Err(why);
    }
    let how = run.lead();
    Ok(run.end(how))
}

struct Run<'a> {
    live: Live<'a>,
    guide: Guide,
    console: Console,
    clock: RunClock,
    recorder: Option<Recorder>,
    /// The number of the last entry handed to the writer.
    put: u64,
    picture: Picture,
    /// Troubles that stay on show.
    lasting: Vec<String>,
    /// A remark about the last input.
    passing: Option<String>,
    /// What stays on show and is no trouble.
    asides: Vec<String>,
    /// The step last entered, and what the author says about a break there.
    entered: Option<(h::StepAt, Option<String>)>,
    things: Vec<(String, EndingClass)>,
    /// The outcome of the last step that had one, in words.
    last: Option<String>,
    ending: Option<h::Effect>,
    input_ended: bool,
    over: Option<How>,
    painted: Moment,
    /// Faces that take nothing at the moment.
    stuck: Vec<&'static str>,
    /// Whether what is asked now is answered by itself.
    quiet: bool,
}

impl<'a> Run<'a> {
    fn new(live: Live<'a>, console: Console) -> Run<'a> {
        let guide = Guide::new(Arc::clone(&live.procedure), live.settings.clone());
        let clock = RunClock::at(live.pace);
        let mut console = console;
        console.keep_time(clock.beginning());
        let picture = Picture::new(Moment::START);
        Run {
            live,
            guide,
            console,
            clock,
            recorder: None,
            put: 0,
            picture,
            lasting: Vec::new(),
            passing: None,
            asides: Vec::new(),
            entered: None,
            things: Vec::new(),
            last: None,
            ending: None,
            input_ended: false,
            over: None,
            painted: Moment::START,
            stuck: Vec::new(),
            quiet: false,
        }
    }

    fn context(&self) -> Context<'_> {
        Context {
            procedure: &self.live.procedure,
            plan: self.guide.plan(),
            sources: self.live.sources,
        }
    }

    /// Asks about an earlier run, and what has to be said in words; gives how it ended if it does not
    /// begin.
    fn before(&mut self) -> Option<How> {
        let earlier = self.live.take_up.as_ref().map(|old| old.question.clone());
        let in_words = self.live.in_words.clone();
        earlier.into_iter().chain(in_words).find_map(|question| self.asked(question))
    }

    /// Asks one question before the run: yes, or the words that it wants.
    fn asked(&mut self, question: h::Question) -> Option<How> {
        let wanted = phrases::in_words(&question);
        self.picture.shown = blank();
        self.picture.shown.means = h::Means::Yes;
        self.picture.shown.question = Some(question);
        let mode = self.mode();
        loop {
            let at = self.clock.now();
            self.paint(at);
            let woken = self.clock.wait_until(at.after(IDLE), &self.console.from);
            let Wake::Got(happening) = woken.why else { continue };
            match self.console.understand(happening, woken.at, mode) {
                Some(Came::Meant(Meant::Press(press)) | Came::Sent(Meant::Press(press), _)) => {
                    match press {
                        Press::Done if wanted.is_none() => return None,
                        Press::SomethingElse | Press::Stop => return Some(How::Declined),
                        _ => {}
                    }
                }
                Some(Came::Meant(Meant::Typed(text)) | Came::Sent(Meant::Typed(text), _)) => {
                    let same = |words: &&str| text.trim().eq_ignore_ascii_case(words);
                    if let Some(words) = wanted.filter(same) {
                        self.passing = None;
                        self.live.notes.push(format!("typed: {words}"));
                        return None;
                    }
                    let quoted: String = text.chars().take(LONGEST_QUOTED).collect();
                    self.passing = Some(format!("\"{quoted}\" is not it: nothing is begun"));
                }
                Some(Came::Meant(Meant::Interrupt | Meant::Abort)) => {
                    return Some(How::Interrupted);
                }
                Some(Came::HungUp) => return Some(How::HungUp),
                Some(Came::Terminated) => return Some(How::Terminated),
                Some(Came::InputEnded) if !self.console.is_pressed_afar() => {
                    return Some(How::InputEnded);
                }
                _ => {}
            }
            if !self.console.has_face() {
                return Some(How::HungUp);
            }
        }
    }

    fn begin_record(&mut self) -> Result<(), NoRecord> {
        let notes = std::mem::take(&mut self.live.notes);
        self.lasting.extend(notes.iter().cloned());
        let Some(mut plan) = self.live.record.take() else { return Ok(()) };
        plan.header.started = wall_label();
        let tell = self.console.to.clone();
        let recorder = Recorder::begin(plan, move |told| {
            // A run that is over needs no news.
            let _ = tell.send(Happening::Told(told));
        })?;
        if let Some(old) = &self.live.take_up
            && let Err(why) = close_continued(&old.path, &recorder.name())
        {
            self.lasting.push(format!("the earlier record is left as it was: {why}"));
        }
        self.recorder = Some(recorder);
        self.picture.record = RecordState::Recorded;
        let at = self.clock.now();
        if let Some(text) = self.console.page_note() {
            self.record(at, Body::Note { text });
        }
        for text in notes {
            self.record(at, Body::Note { text });
        }
        for text in std::mem::take(&mut self.live.noted) {
            self.record(at, Body::Note { text });
        }
        Ok(())
    }

    fn lead(&mut self) -> How {
        let at = self.clock.now();
        self.say_first(at);
        let effects = self.guide.start(at);
        self.apply(&effects, at);
        loop {
            self.answer_by_itself();
            self.paint(self.clock.now());
            if let Some(how) = self.over.take() {
                return how;
            }
            let deadline = self.deadline();
            let woken = self.clock.wait_until(deadline, &self.console.from);
            for gap in woken.gaps {
                self.gap(gap, woken.at);
            }
            // What is due comes before what came: a flood of input never delays a cue.
            if self.over.is_none() && self.guide.next_wakeup().is_some_and(|due| due <= woken.at) {
                self.handle(&Input::Wake, None, woken.at);
            }
            self.vehicle_wakes(woken.at);
            if let Wake::Got(happening) = woken.why {
                self.happening(happening, woken.at);
            }
            self.notice_dead_end();
        }
    }

    fn deadline(&self) -> Moment {
        let idle = self.clock.now().after(IDLE);
        let due = self.guide.next_wakeup().unwrap_or(idle).min(idle);
        let vehicle = self.live.practice.as_ref().and_then(Rehearsing::next);
        let due = vehicle.map_or(due, |vehicle| due.min(vehicle));
        let running = self.picture.shown.count.as_ref().and(self.console.pace());
        let Some(pace) = running else { return due };
        // A figure that is shown any longer would be later than the true one.
        let figure = self.picture.next_figure().unwrap_or(due);
        due.min(self.painted.after(pace)).min(figure)
    }

    /// A run that waits for a press when no press can come any more is over.
    fn notice_dead_end(&mut self) {
        let waits = self.guide.next_wakeup().is_none() || self.picture.shown.count.is_none();
        if self.input_ended && !self.console.is_pressed_afar() && waits && self.over.is_none() {
            self.over = Some(How::InputEnded);
        }
        if !self.console.has_face() && self.over.is_none() {
            self.over = Some(How::HungUp);
        }
    }

    fn mode(&self) -> Mode {
        let shown = &self.picture.shown;
        match &shown.question {
            Some(h::Question::ReallyStop) => Mode::Ends(Press::Stop),
            Some(h::Question::ReallySlip { .. }) => Mode::Ends(Press::Slip),
            _ if wants_text(shown) => Mode::Text,
            Some(_) if shown.answers.is_empty() => Mode::YesNo,
            _ => Mode::Presses,
        }
    }

    fn happening(&mut self, happening: Happening, at: Moment) {
        let mode = self.mode();
        let Some(came) = self.console.understand(happening, at, mode) else { return };
        if self.over.is_some() {
            return;
        }
        match came {
            Came::Meant(meant) => self.meant(meant, None, at),
            Came::Sent(meant, from) => self.meant(meant, Some(from), at),
            Came::Pages(news) => {
                for text in news {
                    self.record(at, Body::Note { text });
                }
            }
            Came::InputEnded => self.input_ended = true,
            Came::HungUp if self.console.is_led_afar() => {
                let text = "the terminal was closed; the page leads on".to_owned();
                self.lasting.push(text.clone());
                self.record(at, Body::Note { text });
            }
            Came::HungUp => self.over = Some(How::HungUp),
            Came::Terminated => self.over = Some(How::Terminated),
            Came::Redraw => {}
            Came::Told(told) => self.told(told),
        }
    }

    fn meant(&mut self, meant: Meant, from: Option<Sender>, at: Moment) {
        self.passing = None;
        match meant {
            Meant::Press(press) => self.handle(&Input::Press(press), from, at),
            Meant::Typed(text) => self.handle(&Input::Typed(text), from, at),
            Meant::Interrupt => self.handle(&Input::Press(Press::Stop), from, at),
            Meant::Abort => self.over = Some(How::Interrupted),
            Meant::Unknown(line) => {
                let own = self.live.practice.as_ref().is_some_and(Rehearsing::own_hands);
                let act = if own { "act, " } else { "" };
                self.passing = Some(format!(
                    "not understood: \"{line}\". Known: {act}done, 1 to 9, else, slip, again, back, hold, \
                     stop, yes, no"
                ));
            }
            Meant::Touch => self.touched(at),
            Meant::Typing | Meant::Moved(_) => {}
        }
    }

    fn handle(&mut self, input: &Input, from: Option<Sender>, at: Moment) {
        let body = input_body(&self.context().input(input), from);
        self.record(at, body);
        self.uncover(input, at);
        let effects = self.guide.handle(input.clone(), at);
        self.apply(&effects, at);
    }

    /// A rehearsal says first that it is one.
    fn say_first(&mut self, at: Moment) {
        let Some(text) = self.live.practice.as_ref().map(Rehearsing::opening) else { return };
        self.record(at, Body::Note { text: text.clone() });
        // It is heard as the sign of a rehearsal; in full it is only read.
        self.console.tell_of_vehicle(&text, false, at);
    }

    /// The person's hand touches the imaginary vehicle.
    fn touched(&mut self, at: Moment) {
        let events = self.live.practice.as_mut().map(|practice| practice.tap(at));
        self.vehicle(&events.unwrap_or_default(), at);
    }

    fn vehicle_wakes(&mut self, at: Moment) {
        let events = self.live.practice.as_mut().map(|practice| practice.wake(at));
        self.vehicle(&events.unwrap_or_default(), at);
    }

    /// What the imaginary vehicle did.
    fn vehicle(&mut self, events: &[Event], at: Moment) {
        for what in Rehearsing::told(events, &self.context()) {
            self.vehicle_did(&what, at);
        }
    }

    fn vehicle_did(&mut self, what: &Vehicle, at: Moment) {
        self.record(at, vehicle_body(what));
        let Some(practice) = &mut self.live.practice else { return };
        practice.happened(what, at);
        self.picture.vehicle.clone_from(&practice.lines);
        if let Some(text) = aloud(what) {
            self.console.tell_of_vehicle(&text, true, at);
        }
    }

    /// Questions that a short rehearsal answers by itself.
    fn answer_by_itself(&mut self) {
        while let Some(input) = self.live.practice.as_mut().and_then(Rehearsing::own_answer) {
            let at = self.clock.now();
            self.handle(&input, None, at);
        }
        let told = self.live.practice.as_ref().and_then(Rehearsing::answered);
        if let Some(text) = told.filter(|text| !self.lasting.contains(text)) {
            self.lasting.retain(|line| !line.starts_with(SHORT));
            self.lasting.push(text);
        }
    }

    /// Where what to do is kept back, say again shows it.
    fn uncover(&mut self, input: &Input, at: Moment) {
        let practice = self.live.practice.as_mut();
        if let Some((shown, hint)) = practice.and_then(|practice| practice.uncover(input)) {
            self.vehicle_did(&hint, at);
            self.picture.shown = shown;
        }
    }

    /// The imaginary vehicle hears what the guide does.
    fn follow(&mut self, effect: &cue::Effect, at: Moment) {
        let plan = self.guide.shared_plan();
        let Some(practice) = &mut self.live.practice else { return };
        let refused = practice.begins(plan);
        let events = practice.follow(effect);
        let reads = practice.asked(effect);
        self.picture.vehicle.clone_from(&practice.lines);
        self.lasting.extend(refused);
        self.vehicle(&events, at);
        if let Some(reads) = reads {
            self.vehicle_did(&reads, at);
        }
    }

    fn gap(&mut self, gap: Gap, at: Moment) {
        let (change, length, kind) = match gap {
            Gap::Slept(length) => (ClockChange::Slept, length, Some(GapKind::Slept)),
            Gap::Stopped(length) => (ClockChange::Stopped, length, Some(GapKind::Stopped)),
            Gap::WallStepped(length) => (ClockChange::WallStepped, length, None),
        };
        self.record(at, Body::Clock { change, ms: length.0 });
        if let Some(kind) = kind.filter(|_| self.over.is_none()) {
            self.handle(&Input::Gap(kind, length), None, at);
        }
    }

    fn apply(&mut self, effects: &[cue::Effect], at: Moment) {
        // What a short rehearsal answers by itself is neither shown nor said, but recorded as ever.
        let practice = self.live.practice.as_ref();
        self.quiet = practice.is_some_and(|practice| practice.answers_itself(effects));
        for one in effects {
            if let cue::Effect::Show(frame) = one {
                self.picture.offers = self.context().answers(&self.guide.offers(), frame);
            }
            let Some(effect) = self.context().effect(one) else { continue };
            self.record(at, effect_body(&effect));
            self.note(&effect, at);
            self.picture.hear(&effect, at);
            let asks = matches!(
                effect,
                h::Effect::Say { cue: h::Cue::Question, .. } | h::Effect::Ring { .. }
            );
            let unsaid = self.quiet && asks;
            if !self.kept_back(&effect, at) && !unsaid {
                self.console.tell(&effect, at);
            }
            self.follow(one, at);
            match effect {
                h::Effect::Show(shown) => self.show(*shown, at),
                h::Effect::Ended { class, .. } => {
                    self.over = Some(How::Ended(class));
                    self.ending = Some(effect);
                    return;
                }
                _ => {}
            }
        }
    }

    /// Whether words are kept back from whoever practises from memory.
    fn kept_back(&mut self, effect: &h::Effect, at: Moment) -> bool {
        let Some(practice) = &mut self.live.practice else { return false };
        practice.noted(effect, at);
        practice.keeps_back(effect)
    }

    fn show(&mut self, shown: h::Shown, at: Moment) {
        let shown = match &mut self.live.practice {
            Some(practice) => practice.veil(shown),
            None => shown,
        };
        let count = |shown: &h::Shown| shown.count.as_ref().map(|count| (count.to, count.what));
        if count(&shown) != count(&self.picture.shown) {
            self.picture.since = at;
        }
        if shown.question != self.picture.shown.question {
            self.console.clear_typing();
        }
        self.picture.shown = shown;
        // Every frame reaches the faces, also where several come at one moment.
        if !self.quiet {
            self.paint(at);
        }
    }

    /// Remembers what the end needs, and writes a late cue down by itself.
    fn note(&mut self, effect: &h::Effect, at: Moment) {
        let h::Effect::Fact { fact } = effect else { return };
        match fact {
            h::Fact::Entered { step, break_off, .. } => {
                self.entered = Some((step.clone(), break_off.clone()));
                self.lasting.retain(|line| !line.starts_with(SHORT));
            }
            h::Fact::Thing { label, class } => {
                self.things.retain(|(known, _)| known != label);
                self.things.push((label.clone(), *class));
            }
            h::Fact::Outcome { .. } => {
                self.last = phrases::fact(fact);
            }
            h::Fact::CueGiven { point, due, given } if given - due > LATE.0 => {
                let cue = Some(point.step.name.clone());
                self.record(at, Body::Late { cue, ms: given - due });
            }
            _ => {}
        }
    }

    fn record(&mut self, at: Moment, body: Body) {
        if let Some(recorder) = &mut self.recorder
            && let Some(number) = recorder.put(at, body)
        {
            self.put = number;
            if self.picture.record == RecordState::Saved {
                self.picture.record = RecordState::Recorded;
            }
        }
    }

    fn told(&mut self, told: Told) {
        let bad =
            matches!(self.picture.record, RecordState::NotSaved(_) | RecordState::NotRecording(_));
        let words = |trouble: Trouble| match trouble.second {
            Some(second) => format!("{} (second place: {second})", trouble.why),
            None => trouble.why,
        };
        match told {
            Told::Recorded(_) => {}
            Told::Saved(number) if number >= self.put && !bad => {
                self.picture.record = RecordState::Saved;
            }
            Told::Saved(_) => {}
            Told::Moved { why, to } => {
                self.lasting.push(format!(
                    "the record could not go on where it was ({}); it goes on in {}",
                    words(why),
                    to.display()
                ));
            }
            Told::NotSaved(why) => self.picture.record = RecordState::NotSaved(words(why)),
            Told::NotRecording(why) => self.picture.record = RecordState::NotRecording(words(why)),
            Told::Refused(_, why) => self.lasting.push(format!("not recorded: {why}")),
            Told::Died(why) => self.picture.record = RecordState::NotRecording(why),
        }
    }

    fn paint(&mut self, at: Moment) {
        let mut remarks = self.lasting.clone();
        remarks.extend_from_slice(self.console.page_troubles());
        remarks.extend(self.passing.clone());
        let dropped = self.console.dropped();
        if let Some(doublings) = dropped.checked_ilog2() {
            // Told at each doubling only: a flood of inputs makes no flood of remarks.
            let told = 1_u64 << doublings;
            remarks.push(format!("at least {told} inputs came too fast and were dropped"));
        }
        self.look_at_stuck(at);
        remarks.extend(self.stuck.iter().map(|name| phrases::stuck(name)));
        self.picture.at = at;
        self.picture.typing = self.console.typing(self.mode());
        self.picture.remarks = remarks;
        let present = self.console.page_present().map(str::to_owned);
        self.picture.asides = present.into_iter().chain(self.asides.iter().cloned()).collect();
        let troubles = self.console.show(&self.picture);
        for trouble in &troubles {
            self.record(at, Body::Note { text: trouble.clone() });
        }
        self.lasting.extend(troubles);
        self.painted = at;
    }

    /// Faces that take nothing are told of as long as that lasts, and written down once.
    fn look_at_stuck(&mut self, at: Moment) {
        let now = self.console.stuck();
        let before = std::mem::replace(&mut self.stuck, now);
        for name in self.stuck.clone().into_iter().filter(|name| !before.contains(name)) {
            self.record(at, Body::Note { text: phrases::stuck(name) });
        }
    }

    /// Ends the record, shows how it ended, gives the terminal back.
    fn end(mut self, how: How) -> Outcome {
        let at = self.clock.now();
        if let Some(body) = self.last_line(how) {
            self.record(at, body);
        }
        let record = self.recorder.take().map(|recorder| recorder.finish(at, DISK));
        self.picture.ended = Some(self.ended(how));
        if let How::Ended(class) = how {
            self.picture.class = Some(class);
        }
        match &record {
            Some(Finish::Done(outcome)) => {
                let path = outcome.path.display();
                self.asides.push(format!("the record is in {path}"));
                if outcome.is_whole() {
                    self.picture.record = RecordState::Saved;
                } else if !matches!(self.picture.record, RecordState::NotRecording(_)) {
                    let why = format!("{} entries are missing", outcome.lost);
                    self.picture.record = RecordState::NotSaved(why);
                }
            }
            Some(Finish::StillWriting) => {
                let why = "the disk does not answer".to_owned();
                self.picture.record = RecordState::NotSaved(why);
            }
            Some(Finish::Died) => {
                let why = "the record's writer broke".to_owned();
                self.picture.record = RecordState::NotRecording(why);
            }
            None => self.picture.record = RecordState::None,
        }
        self.passing = None;
        self.paint(at);
        if let How::Ended(_) = how {
            leave_up(&mut self.clock, &mut self.console, &self.picture);
        }
        self.console.close();
        let score = self.live.practice.as_ref().map(Rehearsing::score);
        Outcome { how, record, score }
    }

    fn last_line(&self, how: How) -> Option<Body> {
        let by = match how {
            How::Ended(class) => return Some(self.end_line(class)),
            How::Declined => return None,
            How::Interrupted => Interruption::Keyboard,
            How::HungUp => Interruption::TerminalClosed,
            How::Terminated => Interruption::Termination,
            How::InputEnded => Interruption::InputEnded,
        };
        Some(Body::Interrupted { by })
    }

    fn end_line(&self, class: EndingClass) -> Body {
        let ending = match &self.ending {
            Some(h::Effect::Ended { ending, .. }) => ending.clone(),
            _ => String::new(),
        };
        let items = self
            .things
            .iter()
            .map(|(item, class)| ItemEnding {
                item: item.clone(),
                ending: phrases::class(*class).replace(' ', "-"),
                class: *class,
            })
            .collect();
        Body::End { ending, class, items }
    }

    /// How it ended, in words: the ending's own, or what to do after a break.
    fn ended(&self, how: How) -> String {
        let why = match how {
            How::Ended(_) => return self.ending_words(),
            How::Declined => return "Not begun.".to_owned(),
            How::Interrupted => "Broken off by Ctrl-C",
            How::HungUp => "Broken off: the terminal was closed",
            How::Terminated => "Broken off: the program was told to end",
            How::InputEnded => "Broken off: no more input can come, and a press is needed",
        };
        let Some((step, text)) = &self.entered else {
            return format!("{why}, before the first step.");
        };
        let text = text.as_deref().unwrap_or(
            "The script does not say what to do then. Try every key that worked before you leave \
             the vehicle.",
        );
        format!("{why}, in step {}. {text}", phrases::step_with_line(step))
    }

    fn ending_words(&self) -> String {
        let Some(h::Effect::Ended { ending, class, text, hand_over }) = &self.ending else {
            return String::new();
        };
        let own = phrases::built_in(*class, self.entered.is_some());
        let mut words = format!("ENDED: {}", phrases::class(*class));
        if ending.replace('-', " ") != phrases::class(*class) {
            words.push_str(&format!(" ({ending})"));
        }
        words.push_str(". ");
        words.push_str(text.as_deref().unwrap_or(own));
        if let Some(next) = hand_over {
            words.push_str(&format!(" Go on with \"{next}\"."));
        }
        if let Some(last) = self.last.as_ref().filter(|_| *class != EndingClass::Learned) {
            words.push_str(&format!(" The last step: {last}."));
        }
        for (label, class) in &self.things {
            words.push_str(&format!(" {label}: {}.", phrases::class(*class)));
        }
        words
    }
}
