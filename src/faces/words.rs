//! One frame in words: takes what was shown with its moment, gives lines of plain data that every
//! face shares, each made safe. Always there: in your hands, do, what your press means.

use unicode_width::UnicodeWidthStr;

use super::head::Head;
use super::phrases;
use super::plain::blank;
use super::safe::{self, safe};
use crate::clock::{Millis, Moment};
use crate::journal::entry::EndingClass;
use crate::journal::happened::{
    Answer, Effect, Fact, Hold, Means, Notice, Question, Shown, Stage, Window,
};

/// What does not change during a run.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Setting {
    /// The script's title.
    pub title: String,
    /// What this is, if not the real thing; shown all the time.
    pub banners: Vec<Banner>,
    /// How the face calls its keys.
    pub keys: KeyNames,
}

/// Something that nobody may overlook.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Banner {
    /// The script's numbers are invented.
    Demonstration,
    /// There is no vehicle.
    Rehearsal,
    /// It is only shown again.
    Replay,
    /// The run's time goes slower than the world's: at so many thousandths of its pace.
    Slower(u16),
}

impl Banner {
    /// The words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Banner::Demonstration => "DEMONSTRATION: invented numbers, not for a real vehicle",
            Banner::Rehearsal => "REHEARSAL: there is no vehicle",
            Banner::Replay => "REPLAY: this has already happened",
            Banner::Slower(_) => "SLOWER: a second here lasts longer than at a vehicle",
        }
    }

    /// The first word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Banner::Demonstration => "DEMONSTRATION",
            Banner::Rehearsal => "REHEARSAL",
            Banner::Replay => "REPLAY",
            Banner::Slower(_) => "SLOWER",
        }
    }
}

/// What the keys are called on a face.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct KeyNames {
    /// Done.
    pub done: String,
    /// Something else; also *no*.
    pub other: String,
    /// A slip.
    pub slip: String,
    /// Stop.
    pub stop: String,
    /// The word that says so again where the guide asks before an end; empty where only the same press does.
    pub yes: String,
    /// In a rehearsal, the person's hand at the imaginary vehicle; empty where there is none.
    pub act: String,
    /// One line that lists them all.
    pub all: String,
    /// The same one by one in fewer words, the most needed first: for where that line is too long.
    pub brief: Vec<String>,
}

impl KeyNames {
    /// What confirms a press that would end the run.
    #[must_use]
    pub fn again(&self, press: &str) -> String {
        match self.yes.as_str() {
            "" => format!("{press} again"),
            yes => format!("{press} again or {yes}"),
        }
    }
}

/// What became of the record so far.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum RecordState {
    /// Nobody asked for one.
    #[default]
    None,
    /// Everything so far is written.
    Recorded,
    /// Everything so far is synced.
    Saved,
    /// Written, but not known to be saved; why.
    NotSaved(String),
    /// No longer written; why.
    NotRecording(String),
}

/// Everything that a face shows at one moment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// The moment that the digits are true for.
    pub at: Moment,
    /// Since when the count on show has been counting, for the bar's length.
    pub since: Moment,
    /// What the guide shows.
    pub shown: Shown,
    /// The notices of the last moment that had any.
    pub heard: Vec<(Moment, Notice)>,
    /// What was said directly before the notice that `shown` carries, at the same moment.
    pub before: Vec<Notice>,
    /// The record.
    pub record: RecordState,
    /// In a rehearsal: what the imaginary vehicle showed or felt since the last cue.
    pub vehicle: Vec<String>,
    /// What is being typed, where a text is asked.
    pub typing: Option<String>,
    /// The numbered answers that a press would give although they are not on show.
    pub offers: Vec<Answer>,
    /// Troubles of other faces and the like.
    pub remarks: Vec<String>,
    /// What is worth a word but no trouble: where the record lies, what was pressed in a replay.
    pub asides: Vec<String>,
    /// How the run ended.
    pub ended: Option<String>,
    /// Where a replay is.
    pub head: Option<Head>,
    /// As which class, where it came to an ending and was not broken off.
    pub class: Option<EndingClass>,
}

impl Picture {
    /// A picture before the guide has shown anything.
    #[must_use]
    pub fn new(at: Moment) -> Picture {
        Picture {
            at,
            since: at,
            shown: blank(),
            heard: Vec::new(),
            before: Vec::new(),
            record: RecordState::None,
            vehicle: Vec::new(),
            typing: None,
            offers: Vec::new(),
            remarks: Vec::new(),
            asides: Vec::new(),
            ended: None,
            head: None,
            class: None,
        }
    }

    /// When the digits on show change next, if they run.
    #[must_use]
    pub fn next_figure(&self) -> Option<Moment> {
        let count = self.shown.count.as_ref().filter(|_| self.ended.is_none())?;
        let left = count.to - self.at.0;
        (left >= 0).then(|| Moment(count.to - left.div_euclid(1000) * 1000 + 1))
    }

    /// Takes note of an effect: several notices of one moment are all told, not only the last.
    pub fn hear(&mut self, effect: &Effect, at: Moment) {
        match effect {
            Effect::Fact { fact: Fact::Noticed { notice } } => {
                if self.heard.first().is_some_and(|(before, _)| *before != at) {
                    self.heard.clear();
                }
                self.heard.push((at, notice.clone()));
            }
            Effect::Show(shown) => {
                let told = |notice: &Notice| shown.notice.as_ref() == Some(notice);
                let fresh = shown.notice.is_some();
                let heard = self.heard.iter().map(|(_, notice)| notice);
                self.before = heard.filter(|notice| fresh && !told(notice)).cloned().collect();
            }
            _ => {}
        }
    }
}

/// What a line is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Kind {
    /// DEMONSTRATION, REHEARSAL, REPLAY.
    Banner,
    /// Title, step, progress.
    Title,
    /// In your hands.
    Hands,
    /// Do.
    Do,
    /// Another way to do it, or what lies at a distance meanwhile.
    Detail,
    /// What your press means.
    Means,
    /// In a rehearsal: what the imaginary vehicle shows or felt.
    Vehicle,
    /// The state of the window and the digits.
    Window,
    /// Why the digits are what they are.
    Why,
    /// Another record beside this one.
    Beside,
    /// Its digits.
    BesideWindow,
    /// Where a replay is.
    Head,
    /// What became of a move, or of an answer in a drill.
    Told,
    /// A question.
    Question,
    /// A numbered answer.
    Answer,
    /// What is being typed.
    Typing,
    /// Something said once.
    Notice,
    /// What comes next.
    Next,
    /// Held.
    Hold,
    /// How it ended.
    Ended,
    /// Troubles.
    Remark,
    /// Worth a word, no trouble.
    Aside,
    /// The record.
    Record,
    /// The keys.
    Keys,
}

impl Kind {
    /// How a line of this kind is broken: where a question's answers and a record's path stay whole.
    #[must_use]
    pub fn wrap(self) -> fn(&str, usize, usize) -> Vec<String> {
        match self {
            Kind::Question => safe::wrap_question,
            Kind::Aside => safe::wrap_whole,
            _ => safe::wrap,
        }
    }
}

/// One line.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What it is for.
    pub kind: Kind,
    /// Its text, safe to show.
    pub text: String,
    /// The window's state, on the window's line: for colour on top of word and shape.
    pub window: Window,
}

impl Line {
    /// A line of text, made safe.
    #[must_use]
    pub fn new(kind: Kind, text: &str) -> Line {
        Line { kind, text: safe(text).into_owned(), window: Window::None }
    }
}

/// A frame in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct View {
    /// The lines, top to bottom.
    pub lines: Vec<Line>,
    /// What is left of the count and its whole length, for a bar; `None` without a count.
    pub bar: Option<(Millis, Millis)>,
    /// What is to be seen from far away.
    pub far: Far,
}

/// What is to be seen from far away, beside the digits.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Far {
    /// Where in the whole.
    pub stage: Stage,
    /// Whether to act.
    pub state: State,
    /// The window's state, for colour.
    pub window: Window,
    /// One or two words in capitals; where nothing is counted they stand alone.
    pub word: Option<&'static str>,
    /// Whether the record is in trouble: its line is never left out then.
    pub record_bad: bool,
    /// Whether it has come to an ending and stays on show until a key is pressed.
    pub stays: bool,
    /// What to do, where a step or a test is going on.
    pub act: Option<String>,
    /// In a rehearsal: what the imaginary vehicle did last, since the cue.
    pub vehicle: Option<String>,
    /// The first word of each banner.
    pub banners: Vec<&'static str>,
    /// The keys one by one in few words, the most needed first; see [`Far::keys_in`].
    pub keys: Vec<String>,
}

impl Far {
    /// Whether lines of this kind are never left out for want of room.
    #[must_use]
    pub const fn keeps(&self, kind: Kind) -> bool {
        match kind {
            Kind::Record => self.record_bad,
            // How the view is left.
            Kind::Keys => self.stays,
            _ => false,
        }
    }

    /// The keys in one row of so many columns: what is needed least is left out first.
    #[must_use]
    pub fn keys_in(&self, columns: usize) -> Option<String> {
        let most = (1..=self.keys.len()).rev();
        let rows = most.flat_map(|n| [" · ", "  "].map(|between| self.keys[..n].join(between)));
        rows.into_iter().find(|row| row.width() <= columns)
    }
}

/// Whether to act, as one of a few that are told apart by shape.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum State {
    /// Nothing of the kind.
    #[default]
    None,
    /// The cue must not come yet, or a time passes.
    Wait,
    /// The cue comes any moment.
    Ready,
    /// As [`State::Ready`], but it is not proven that the window can be met.
    Doubtful,
    /// The cue has come: now.
    Now,
    /// Too late to start.
    KeepStill,
    /// The window has closed.
    Closed,
}

/// Whether a text is to be typed for the question on show.
#[must_use]
pub fn wants_text(shown: &Shown) -> bool {
    match &shown.question {
        Some(Question::Reading { choice, .. }) => !choice,
        Some(
            Question::HowMany { .. }
            | Question::Recount { .. }
            | Question::Unproven { .. }
            | Question::Battery { unit: Some(_), .. },
        ) => true,
        _ => false,
    }
}

/// A picture in words.
#[must_use]
pub fn view(picture: &Picture, setting: &Setting) -> View {
    let mut page = Page { lines: Vec::new() };
    for banner in &setting.banners {
        page.add(Kind::Banner, banner.words());
    }
    page.add(Kind::Title, title(&picture.shown, setting));
    match &picture.ended {
        Some(ended) => page.ending(ended, picture),
        None => page.body(picture, setting),
    }
    if let Some(head) = &picture.head {
        let beside = head.beside.iter().flat_map(|beside| super::beside::lines(beside));
        for (kind, text) in beside.chain(head.lines()) {
            page.add(kind, text);
        }
    }
    for remark in &picture.remarks {
        page.add(Kind::Remark, format!("! {remark}"));
    }
    for aside in &picture.asides {
        page.add(Kind::Aside, format!("- {aside}"));
    }
    if let Some(record) = record(&picture.record) {
        page.add(Kind::Record, record);
    }
    if (picture.ended.is_none() || picture.head.is_some()) && !setting.keys.all.is_empty() {
        page.add(Kind::Keys, &setting.keys.all);
    }
    View { lines: page.lines, bar: bar(picture), far: far(picture, setting) }
}

fn far(picture: &Picture, setting: &Setting) -> Far {
    let shown = &picture.shown;
    let state = if picture.ended.is_some() { State::None } else { state(shown) };
    let word = match (&picture.ended, picture.class, &shown.question, shown.caution) {
        (Some(_), Some(class), ..) => Some(phrases::class_word(class)),
        (Some(_), None, ..) => Some("BROKEN OFF"),
        (None, _, Some(Question::ReallyStop), _) => Some("STOP?"),
        (None, _, Some(Question::ReallySlip { .. }), _) => Some("SLIP?"),
        (None, _, Some(Question::Alert { word, .. }), _) => Some(phrases::signal(*word)),
        (None, _, None, Some(word)) => Some(phrases::signal(word)),
        _ if shown.hold == Hold::Held => Some("HELD"),
        _ => phrases::state(state),
    };
    let act = match &shown.question {
        Some(Question::Test { text, .. }) => Some(text),
        Some(_) => None,
        None => shown.act.as_ref(),
    };
    Far {
        stage: shown.stage,
        state,
        window: shown.window,
        word,
        record_bad: matches!(
            picture.record,
            RecordState::NotSaved(_) | RecordState::NotRecording(_)
        ),
        stays: picture.ended.is_some() && picture.class.is_some(),
        act: act.map(|act| safe(act).into_owned()),
        vehicle: picture.vehicle.last().map(|line| safe(line).into_owned()),
        banners: setting.banners.iter().map(|banner| banner.word()).collect(),
        keys: setting.keys.brief.iter().map(|key| safe(key).into_owned()).collect(),
    }
}

/// Whether to act. A window that is open before its cue is not yet the moment to act.
pub(super) fn state(shown: &Shown) -> State {
    match (shown.window, shown.stage) {
        _ if shown.hold == Hold::Held => State::None,
        (Window::TooLate, _) => State::KeepStill,
        (Window::Closed, _) => State::Closed,
        (Window::NotYet, _) | (_, Stage::Waiting) => State::Wait,
        (Window::AtRisk, Stage::BeforeCue) => State::Doubtful,
        (_, Stage::BeforeCue) => State::Ready,
        (_, Stage::Acting) => State::Now,
        (_, Stage::Preparing | Stage::Testing | Stage::Ended) => State::None,
    }
}

fn bar(picture: &Picture) -> Option<(Millis, Millis)> {
    let count = picture.shown.count.as_ref().filter(|_| picture.ended.is_none())?;
    let to = Moment(count.to);
    let whole = to.since(picture.since).max(Millis(1));
    let left = to.since(picture.at).max(Millis::ZERO).min(whole);
    Some((left, whole))
}

fn title(shown: &Shown, setting: &Setting) -> String {
    let mut title = setting.title.clone();
    let stage = match shown.stage {
        Stage::Preparing => Some("before the run"),
        Stage::Testing => Some("tests"),
        Stage::Waiting => Some("waiting"),
        Stage::Ended | Stage::BeforeCue | Stage::Acting => None,
    };
    if let Some(stage) = stage {
        title.push_str(&format!(" · {stage}"));
    }
    if let Some(step) = &shown.step {
        let (nth, of) = shown.progress;
        title.push_str(&format!(" · step {nth} of {of}: {}", phrases::step(step)));
    }
    title
}

fn record(state: &RecordState) -> Option<String> {
    Some(match state {
        RecordState::None => return None,
        RecordState::Recorded => "record: recorded".to_owned(),
        RecordState::Saved => "record: saved".to_owned(),
        RecordState::NotSaved(why) => format!("record: NOT SAVED: {why}"),
        RecordState::NotRecording(why) => format!("record: NOT RECORDING: {why}"),
    })
}

/// The lines so far.
struct Page {
    lines: Vec<Line>,
}

impl Page {
    fn add(&mut self, kind: Kind, text: impl AsRef<str>) {
        self.lines.push(Line::new(kind, text.as_ref()));
    }

    /// How it ended, and what is still to be done: to let go, or what the author says after a break.
    fn ending(&mut self, ended: &str, picture: &Picture) {
        self.notices(picture);
        self.add(Kind::Ended, ended);
        if let (Stage::Ended, Some(act)) = (picture.shown.stage, &picture.shown.act) {
            self.add(Kind::Do, format!("Do:             {act}"));
        }
    }

    fn notices(&mut self, picture: &Picture) {
        for notice in picture.before.iter().chain(&picture.shown.notice) {
            self.add(Kind::Notice, format!("* {}", phrases::notice(notice)));
        }
    }

    fn body(&mut self, picture: &Picture, setting: &Setting) {
        let shown = &picture.shown;
        self.notices(picture);
        let hands = match shown.hands.as_slice() {
            [] => "nothing".to_owned(),
            things => things.join(" + "),
        };
        let who = shown.who.as_ref().map_or_else(String::new, |who| format!("{who}: "));
        self.add(Kind::Hands, format!("In your hands:  {hands}"));
        let over_it = shown.question.as_ref().is_none_or(Question::is_before_an_end);
        let act = match (over_it, &shown.act) {
            (true, Some(act)) => act.as_str(),
            (true, None) => "nothing, keep still",
            (false, _) => "answer the question",
        };
        let caution =
            shown.caution.map_or_else(String::new, |w| format!("{}: ", phrases::signal(w)));
        self.add(Kind::Do, format!("Do:             {who}{caution}{act}"));
        for way in &shown.ways {
            self.add(Kind::Detail, format!("Or:             {way}"));
        }
        self.means(shown, setting);
        let act = &setting.keys.act;
        if picture.vehicle.is_empty() && shown.stage == Stage::Acting && !act.is_empty() {
            self.add(Kind::Vehicle, format!("Vehicle:        {act} is your hand: touch it"));
        }
        for line in &picture.vehicle {
            self.add(Kind::Vehicle, format!("Vehicle:        {line}"));
        }
        for (label, place) in &shown.away {
            self.add(Kind::Detail, format!("Kept away:      {label}: {place}"));
        }
        self.window(picture);
        self.question(picture, setting);
        self.hold(&shown.hold, setting);
        if let Some(next) = &shown.next {
            self.add(Kind::Next, format!("Next:           {next}"));
        }
    }

    fn means(&mut self, shown: &Shown, setting: &Setting) {
        let means = match shown.means {
            _ if wants_text(shown) => "type the answer, then Enter".to_owned(),
            Means::Nothing if shown.stage == Stage::BeforeCue => {
                "nothing yet, wait for the cue".to_owned()
            }
            Means::Nothing if shown.question.is_some() && !shown.answers.is_empty() => {
                "the number of an answer".to_owned()
            }
            none @ (Means::Nothing | Means::NoPress) => phrases::means(none, &shown.hoped),
            means => format!("{} = {}", setting.keys.done, phrases::means(means, &shown.hoped)),
        };
        self.add(Kind::Means, format!("Your press:     {means}"));
    }

    fn window(&mut self, picture: &Picture) {
        let shown = &picture.shown;
        let mut parts = Vec::new();
        if shown.window != Window::None {
            parts.push(phrases::window_mark(shown.window).to_owned());
        }
        match (shown.window, &shown.next) {
            (Window::TooLate, Some(next)) => {
                parts.push(format!("too late to start; next is: {next}"));
            }
            (Window::TooLate, None) => parts.push("too late to start safely".to_owned()),
            (Window::Closed, _) => parts.push("the window has closed".to_owned()),
            _ => {}
        }
        if let Some(count) = &shown.count {
            parts.push(phrases::count(count, shown.window, picture.at));
        }
        if parts.is_empty() {
            return;
        }
        self.add(Kind::Window, parts.join("  "));
        if let Some(line) = self.lines.last_mut() {
            line.window = shown.window;
        }
        if let Some(why) = shown.count.as_ref().and_then(phrases::why) {
            self.add(Kind::Why, format!("                ({why})"));
        }
    }

    fn question(&mut self, picture: &Picture, setting: &Setting) {
        let shown = &picture.shown;
        if let Some(question) = &shown.question {
            let ask = phrases::question(question);
            let keys = &setting.keys;
            let KeyNames { done, other, slip, stop, .. } = keys;
            let how = match question {
                Question::ReallyStop => {
                    format!("  [{} within 5 s = stop, anything else = no]", keys.again(stop))
                }
                Question::ReallySlip { .. } => {
                    format!("  [{} within 5 s = yes, anything else = no]", keys.again(slip))
                }
                Question::Alert { .. } | Question::GateClosed { must: true, .. } => String::new(),
                _ if wants_text(shown) || !shown.answers.is_empty() => String::new(),
                _ => format!("  [{done} = yes, {other} = no]"),
            };
            self.add(Kind::Question, format!("? {ask}{how}"));
        }
        for (number, answer) in shown.answers.iter().enumerate() {
            self.answer(number + 1, answer);
        }
        if let Some(typing) = &picture.typing {
            self.add(Kind::Typing, format!("> {typing}_"));
        }
    }

    fn answer(&mut self, number: usize, answer: &Answer) {
        self.add(Kind::Answer, format!("  {number}  {}", phrases::answer(answer)));
    }

    fn hold(&mut self, hold: &Hold, setting: &Setting) {
        match hold {
            Hold::No => {}
            Hold::Asked { before: Some(step) } => self.add(
                Kind::Hold,
                format!(
                    "HOLD asked: it goes on up to {}, and rests before it",
                    phrases::step(step)
                ),
            ),
            Hold::Asked { before: None } => {
                self.add(Kind::Hold, "HOLD asked: it goes on to the next resting point");
            }
            Hold::Held => self
                .add(Kind::Hold, format!("HELD. No window is open. {} = go on", setting.keys.done)),
        }
    }
}
