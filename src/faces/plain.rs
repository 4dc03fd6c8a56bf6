//! The face for pipes, files and screen readers: takes pictures and effects, gives plain lines, each
//! change once, each with the run's seconds in front.

use super::phrases;
use super::safe::safe;
use super::words::{Banner, Kind, Picture, RecordState, Setting, View, view};
use crate::clock::Moment;
use crate::journal::happened::{Count, Effect, Hold, Shown, Window};

/// Remembers what was told, so that nothing is told twice.
#[derive(Debug, Default)]
pub struct Plain {
    begun: bool,
    told: Vec<(Kind, String)>,
    window: Option<(Window, Option<Count>)>,
    /// Whether the record was told to be saved, and has been well since.
    saved: bool,
}

impl Plain {
    /// The lines for a picture: what differs from the last one.
    #[must_use]
    pub fn show(&mut self, picture: &Picture, setting: &Setting) -> Vec<String> {
        let View { lines, .. } = view(picture, setting);
        let mut out = Vec::new();
        let window = (picture.shown.window, picture.shown.count.clone());
        let window_is_new = self.window.as_ref() != Some(&window);
        let ends =
            picture.ended.is_some() && !self.told.iter().any(|(kind, _)| *kind == Kind::Ended);
        let mut now: Vec<(Kind, String)> = Vec::new();
        for line in lines {
            // The digits run by themselves; a change of what they count to is told, not each second.
            let is_new = match line.kind {
                Kind::Window | Kind::Why => window_is_new,
                // Which step it is, is told with its instruction; the rest of the title is known.
                Kind::Keys | Kind::Banner => !self.begun,
                // Where it is stands in front of every line.
                Kind::Head | Kind::BesideWindow => false,
                // Recorded and saved take turns all the time: told until it is saved for the first
                // time, at the end, and where it goes wrong or is well again.
                Kind::Record if self.saved && is_well(&picture.record) => ends,
                _ => !self.told.iter().any(|(kind, text)| (*kind, text) == (line.kind, &line.text)),
            };
            if is_new {
                out.push(format!("{}{}", mark(setting), stamped(picture.at, &line.text)));
            }
            now.push((line.kind, line.text));
        }
        self.begun = true;
        self.saved |= picture.record == RecordState::Saved;
        self.saved &= is_well(&picture.record);
        self.told = now;
        self.window = Some(window);
        out
    }

    /// The line for an effect that no picture carries: cues, tones, facts.
    #[must_use]
    pub fn tell(&mut self, effect: &Effect, at: Moment, setting: &Setting) -> Option<String> {
        let text = match effect {
            Effect::Show(_) | Effect::Ended { .. } => return None,
            Effect::Say { cue, text } => format!("~ say ({}): {text}", cue_word(*cue)),
            Effect::Ring { tone } => format!("~ tone: {}", phrases::tone(*tone)),
            Effect::Fact { fact } => format!("= {}", phrases::fact(fact)?),
        };
        Some(format!("{}{}", mark(setting), stamped(at, &safe(&text))))
    }
}

const fn is_well(record: &RecordState) -> bool {
    matches!(record, RecordState::None | RecordState::Recorded | RecordState::Saved)
}

const fn cue_word(cue: crate::journal::happened::Cue) -> &'static str {
    use crate::journal::happened::Cue;
    match cue {
        Cue::Prepare => "prepare",
        Cue::Now => "NOW",
        Cue::Caution => "caution",
        Cue::Question => "question",
        Cue::Again => "again",
        Cue::Notice => "notice",
    }
}

/// What stands before every line where it is not the real thing: nobody may take one line for it.
fn mark(setting: &Setting) -> &'static str {
    let is = |banner| setting.banners.contains(&banner);
    let slower = setting.banners.iter().any(|banner| matches!(banner, Banner::Slower(_)));
    match (is(Banner::Replay), is(Banner::Rehearsal), slower) {
        (true, true, _) => "REPLAY, REHEARSAL ",
        (true, false, _) => "REPLAY ",
        (false, true, true) => "REHEARSAL, SLOWER ",
        (false, true, false) => "REHEARSAL ",
        (false, false, _) => "",
    }
}

fn stamped(at: Moment, text: &str) -> String {
    format!("{:>9}  {text}", phrases::seconds(at))
}

/// An empty frame, for what is said before the guide says anything.
#[must_use]
pub fn blank() -> Shown {
    Shown {
        stage: crate::journal::happened::Stage::Preparing,
        step: None,
        progress: (0, 0),
        who: None,
        hands: Vec::new(),
        act: None,
        ways: Vec::new(),
        away: Vec::new(),
        caution: None,
        means: crate::journal::happened::Means::Nothing,
        hoped: Vec::new(),
        next: None,
        window: Window::None,
        count: None,
        answers: Vec::new(),
        question: None,
        notice: None,
        hold: Hold::No,
    }
}
