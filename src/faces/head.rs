//! Where a replay is, in words: takes the place, the pace and what was asked for, gives one line with a
//! track, and what is told or asked besides.

use std::sync::Arc;

use serde::Serialize;

use super::words::{Kind, Picture, Setting};
use crate::clock::Moment;
use crate::training::playhead::Pace;

/// How many signs the track has.
const TRACK: usize = 24;

/// Where a replay is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// The record's moment: the true time, however quickly it goes by.
    pub at: Moment,
    /// The record's first moment.
    pub first: Moment,
    /// The record's last moment.
    pub last: Moment,
    /// Whether time goes on.
    pub running: bool,
    /// Whether the last frame is held.
    pub at_end: bool,
    /// How quickly.
    pub pace: Pace,
    /// Whether idle stretches are shortened.
    pub shortens: bool,
    /// Whether this very stretch is.
    pub shortening: bool,
    /// Whether it stops at marks.
    pub stops: bool,
    /// What became of the last move, where it is worth a word.
    pub told: Option<String>,
    /// What is being typed, behind what it is typed for.
    pub typing: Option<String>,
    /// What a drill asks.
    pub asks: Option<Asks>,
    /// Another record beside this one.
    pub beside: Option<Box<Beside>>,
    /// The places to go to, in order.
    pub places: Arc<[PlaceOn]>,
}

/// A place to go to.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct PlaceOn {
    /// When, in milliseconds of the record.
    pub at: i64,
    /// When, as it is shown.
    pub time: String,
    /// What is there, safe to show.
    pub text: String,
    /// Whether it is a mark, and not the beginning of a step.
    pub mark: bool,
}

/// What a drill asks, or says about the answer.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asks {
    /// The question; nothing where only the answer is told.
    pub question: Option<String>,
    /// The choices.
    pub choices: Vec<String>,
    /// Whether a time can be typed.
    pub types: bool,
    /// How the last answers were.
    pub told: Vec<String>,
    /// Which question of how many.
    pub progress: String,
}

/// Another record as it was at the same time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Beside {
    /// What it is called.
    pub name: String,
    /// What it shows.
    pub picture: Picture,
    /// What does not change in it.
    pub setting: Setting,
}

/// A moment as minutes and seconds, rounded down: `1:05`, `1:02:03`, `-0:04`.
#[must_use]
pub fn clock(at: Moment) -> String {
    let sign = if at.0 < 0 { "-" } else { "" };
    // Away from zero before it, so that it is never shown as later than it is.
    let s = at.0.div_euclid(1000).unsigned_abs();
    let (hours, mins, secs) = (s / 3600, s / 60 % 60, s % 60);
    match hours {
        0 => format!("{sign}{mins}:{secs:02}"),
        _ => format!("{sign}{hours}:{mins:02}:{secs:02}"),
    }
}

/// A moment as it is spoken: `1 minute 5 seconds`.
#[must_use]
pub fn spoken(at: Moment) -> String {
    let s = at.0.div_euclid(1000).unsigned_abs();
    let named = |n: u64, one: &str| match n {
        1 => format!("1 {one}"),
        n => format!("{n} {one}s"),
    };
    let parts = [(s / 3600, "hour"), (s / 60 % 60, "minute")];
    let mut words: Vec<String> =
        parts.iter().filter(|(n, _)| *n > 0).map(|(n, one)| named(*n, one)).collect();
    let secs = s % 60;
    if secs > 0 || words.is_empty() {
        words.push(named(secs, "second"));
    }
    let before = if at.0 < 0 { "before the start: " } else { "" };
    format!("{before}{}", words.join(" "))
}

impl Head {
    /// The lines of it.
    #[must_use]
    pub fn lines(&self) -> Vec<(Kind, String)> {
        let mut lines = vec![(Kind::Head, self.line())];
        if let Some(typing) = &self.typing {
            lines.push((Kind::Typing, format!("> {typing}_")));
        }
        if let Some(told) = &self.told {
            lines.push((Kind::Told, format!("- {told}")));
        }
        if let Some(asks) = &self.asks {
            lines.extend(asks.told.iter().map(|told| (Kind::Told, format!("* {told}"))));
            if let Some(question) = &asks.question {
                lines.push((Kind::Question, format!("? {}: {question}", asks.progress)));
            }
            let numbered = asks.choices.iter().zip(1..);
            lines.extend(numbered.map(|(text, n)| (Kind::Answer, format!("  {n}  {text}"))));
        }
        lines
    }

    /// The track and the words.
    fn line(&self) -> String {
        let mut parts = vec![format!("{} of {}", clock(self.at), clock(self.last))];
        parts.extend(self.how());
        format!("{}  {}", self.track(), parts.join(" · "))
    }

    /// How time goes by, in words.
    #[must_use]
    pub fn how(&self) -> Vec<String> {
        self.ways(self.shortening && self.running, self.running)
    }

    /// The same to be read aloud: what a question or an idle stretch does to it for a moment is left out.
    #[must_use]
    pub fn how_aloud(&self) -> Vec<String> {
        let asked = self.asks.as_ref().is_some_and(|asks| asks.question.is_some());
        self.ways(false, self.running || asked)
    }

    fn ways(&self, shortening: bool, running: bool) -> Vec<String> {
        let mut parts = vec![self.pace.to_string()];
        match (self.at_end, running) {
            (true, _) => parts.push("END, held".to_owned()),
            (false, false) => parts.push("PAUSED".to_owned()),
            (false, true) => {}
        }
        if shortening {
            parts.push("idle, SHORTENED".to_owned());
        } else if self.shortens {
            parts.push("idle is shortened".to_owned());
        }
        if self.stops {
            parts.push("stops at marks".to_owned());
        }
        parts
    }

    fn track(&self) -> String {
        let whole = i128::from(self.last.since(self.first).0.max(1));
        let gone = i128::from(self.at.since(self.first).0.max(0));
        let most = i128::try_from(TRACK - 1).unwrap_or(0);
        let here = usize::try_from((gone * most / whole).clamp(0, most)).unwrap_or(0);
        let sign = |at: usize| match at.cmp(&here) {
            std::cmp::Ordering::Less => '=',
            std::cmp::Ordering::Equal => '|',
            std::cmp::Ordering::Greater => '-',
        };
        format!("[{}]", (0..TRACK).map(sign).collect::<String>())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_told_and_spoken() {
        assert_eq!(clock(Moment(65_999)), "1:05");
        assert_eq!(clock(Moment(-4200)), "-0:05");
        assert_eq!(clock(Moment(3_723_000)), "1:02:03");
        assert_eq!(spoken(Moment(65_999)), "1 minute 5 seconds");
        assert_eq!(spoken(Moment(3_600_000)), "1 hour");
        assert_eq!(spoken(Moment(0)), "0 seconds");
    }
}
