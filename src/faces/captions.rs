//! A record as captions and chapters for a film of the run: WebVTT (W3C, *WebVTT: The Web Video Text
//! Tracks Format*, Candidate Recommendation, 2019).
//!
//! Takes the scenes of a record and where the film begins; gives two texts. A caption is what was said,
//! rung, seen or missed; a chapter is a step. What lies before the film is left out.

use std::fmt::Write as _;

use super::phrases;
use crate::clock::{Millis, Moment};
use crate::journal::happened::{Cue, Effect, Fact, Question, Signal, Tone};
use crate::training::replay::{Happened, Scene};

/// A caption stays at least so long, unless the next comes before (common practice, no source).
const LEAST: Millis = Millis(1500);
/// And at most so long.
const MOST: Millis = Millis(6000);
/// A line longer than this is broken (common practice for captions, no source).
const COLUMNS: usize = 42;

/// What begins a film's track.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Film {
    /// What the film shows; told in a note at the top.
    pub title: String,
    /// Whether no vehicle stood there: said in every caption.
    pub rehearsal: bool,
    /// The moment of the run at which the film begins; negative where the film began before.
    pub begins: Moment,
}

/// A piece of a track.
struct Piece {
    from: Moment,
    to: Moment,
    text: String,
}

/// What was said, rung, seen and missed.
#[must_use]
pub fn captions(scenes: &[Scene], film: &Film) -> String {
    let mut said: Vec<(Moment, String)> = Vec::new();
    for (nth, scene) in scenes.iter().enumerate() {
        let Some(mut text) = caption(scene) else { continue };
        if let Some(signal) = signal(scenes, nth) {
            text = format!("{}: {text}", phrases::signal(signal));
        }
        match said.last_mut() {
            Some((at, known)) if *at == scene.at => {
                known.push('\n');
                known.push_str(&text);
            }
            _ => said.push((scene.at, text)),
        }
    }
    let ends = said.iter().skip(1).map(|(at, _)| Some(*at)).chain([None]);
    let pieces = said.iter().zip(ends).map(|((from, text), next)| {
        let long = Millis(i64::try_from(text.chars().count()).unwrap_or(0).saturating_mul(70));
        let own = from.after(long.max(LEAST).min(MOST));
        let sign = if film.rehearsal { "REHEARSAL: " } else { "" };
        Piece {
            from: *from,
            to: next.map_or(own, |next| own.min(next)),
            text: format!("{sign}{text}"),
        }
    });
    track(film, pieces)
}

/// The steps.
#[must_use]
pub fn chapters(scenes: &[Scene], film: &Film) -> String {
    let mut begun: Vec<(Moment, String)> = Vec::new();
    for scene in scenes {
        let Happened::Effect(effect) = &scene.what else { continue };
        let name = match effect {
            Effect::Fact { fact: Fact::Entered { step, nth, .. } } => {
                let again = if *nth > 1 { format!(", again ({nth})") } else { String::new() };
                format!("{}{again}", phrases::step(step))
            }
            Effect::Ended { class, .. } => format!("Ended: {}", phrases::class(*class)),
            _ => continue,
        };
        match begun.last_mut() {
            Some((at, known)) if *at == scene.at => *known = name,
            _ => begun.push((scene.at, name)),
        }
    }
    let last = scenes.last().map_or(Moment::START, |scene| scene.at).after(LEAST);
    let ends = begun.iter().skip(1).map(|(at, _)| *at).chain([last]);
    let pieces = begun.iter().zip(ends).map(|((from, name), to)| Piece {
        from: *from,
        to,
        text: name.clone(),
    });
    track(film, pieces)
}

/// How grave a caution is that is said, before the run or in it: its frame of the same moment says so.
fn signal(scenes: &[Scene], nth: usize) -> Option<Signal> {
    let Happened::Effect(Effect::Say { cue, text: said }) = &scenes.get(nth)?.what else {
        return None;
    };
    let at = scenes[nth].at;
    let of = |scene: &Scene| {
        let Happened::Effect(Effect::Show(shown)) = &scene.what else { return None };
        match &shown.question {
            Some(Question::Alert { word, text }) if text == said => Some(*word),
            _ => shown.caution.filter(|_| *cue == Cue::Caution),
        }
    };
    let after = scenes[nth..].iter().take_while(|scene| scene.at == at).find_map(of);
    after.or_else(|| scenes[..nth].iter().rev().take_while(|scene| scene.at == at).find_map(of))
}

fn caption(scene: &Scene) -> Option<String> {
    let effect = match &scene.what {
        Happened::Effect(effect) => effect,
        Happened::Interrupted(_) => return Some("(broken off)".to_owned()),
        _ => return None,
    };
    match effect {
        Effect::Say { cue: Cue::Now, text } => Some(format!("NOW: {text}")),
        Effect::Say { text, .. } => Some(text.clone()),
        Effect::Ring { tone: Tone::Now } => Some("(tone: now)".to_owned()),
        Effect::Ring { tone: Tone::Missed } => Some("(tone: missed)".to_owned()),
        Effect::Fact { fact: fact @ (Fact::Outcome { .. } | Fact::Thing { .. }) } => {
            phrases::fact(fact)
        }
        Effect::Fact { fact: Fact::NoReturn { text } } => Some(format!("No way back: {text}")),
        Effect::Fact { fact: Fact::Noticed { notice } } => Some(phrases::notice(notice)),
        Effect::Ended { class, .. } => Some(format!("Ended: {}", phrases::class(*class))),
        _ => None,
    }
}

fn track(film: &Film, pieces: impl Iterator<Item = Piece>) -> String {
    let mut text = format!("WEBVTT\n\nNOTE\n{}\n\n", plain(&film.title).replace("-->", "→"));
    for piece in pieces {
        let from = piece.from.since(film.begins);
        let to = piece.to.since(film.begins);
        if to <= Millis::ZERO || to <= from {
            continue;
        }
        let _ = writeln!(text, "{} --> {}", stamp(from), stamp(to));
        for line in piece.text.lines().flat_map(broken) {
            let _ = writeln!(text, "{}", escaped(&line));
        }
        text.push('\n');
    }
    text
}

/// `00:01:02.345`; what began before the film begins with it.
fn stamp(at: Millis) -> String {
    let ms = at.0.max(0);
    let (hours, minutes) = (ms / 3_600_000, ms / 60_000 % 60);
    format!("{hours:02}:{minutes:02}:{:02}.{:03}", ms / 1000 % 60, ms % 1000)
}

/// Lines of a length that can be read at once.
fn broken(line: &str) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in plain(line).split_whitespace() {
        match lines.last_mut() {
            Some(last) if last.chars().count() + 1 + word.chars().count() <= COLUMNS => {
                last.push(' ');
                last.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Without characters that steer.
fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// As the format wants text that it would read as its own (section 4.2.2 of the recommendation).
fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(at: i64, text: &str) -> Scene {
        let effect = Effect::Say { cue: Cue::Prepare, text: text.to_owned() };
        Scene { line: 1, at: Moment(at), what: Happened::Effect(effect) }
    }

    fn film(begins: i64) -> Film {
        Film { title: "x".to_owned(), rehearsal: false, begins: Moment(begins) }
    }

    #[test]
    fn a_caption_ends_where_the_next_begins_and_what_lies_before_the_film_is_left_out() {
        let scenes = [said(0, "Before."), said(10_000, "One & <two>."), said(10_900, "Three.")];
        let text = captions(&scenes, &film(9_000));
        assert_eq!(
            text,
            "WEBVTT\n\nNOTE\nx\n\n00:00:01.000 --> 00:00:01.900\nOne &amp; &lt;two&gt;.\n\n\
             00:00:01.900 --> 00:00:03.400\nThree.\n\n"
        );
    }

    #[test]
    fn a_caution_keeps_its_word() {
        let caution = Effect::Say { cue: Cue::Caution, text: "It moves.".to_owned() };
        let mut shown = crate::faces::plain::blank();
        shown.caution = Some(Signal::Danger);
        let frame = Effect::Show(Box::new(shown));
        let scene = |at, effect| Scene { line: 1, at: Moment(at), what: Happened::Effect(effect) };
        let both = [scene(1000, caution.clone()), scene(1000, frame.clone())];
        assert!(captions(&both, &film(0)).contains("\nDANGER: It moves.\n"));
        let before = [scene(1000, frame.clone()), scene(1000, caution.clone())];
        assert!(captions(&before, &film(0)).contains("\nDANGER: It moves.\n"));
        let text = "It moves.".to_owned();
        let asked = Effect::Say { cue: Cue::Question, text: text.clone() };
        let mut alert = crate::faces::plain::blank();
        alert.question = Some(Question::Alert { word: Signal::Warning, text });
        let both = [scene(1000, asked), scene(1000, Effect::Show(Box::new(alert)))];
        assert!(captions(&both, &film(0)).contains("\nWARNING: It moves.\n"));
        let other = [scene(900, frame), scene(1000, caution)];
        assert!(captions(&other, &film(0)).contains("\nIt moves.\n"));
    }

    #[test]
    fn a_film_that_began_before_the_run_comes_later() {
        assert!(captions(&[said(0, "One.")], &film(-61_500)).contains("00:01:01.500 -->"));
    }

    #[test]
    fn no_text_can_end_its_caption_or_begin_another() {
        let scenes = [said(1000, "a\n\n00:00:00.000 --> 00:00:09.000\nb")];
        let text = captions(&scenes, &film(0));
        assert_eq!(text.matches("-->").count(), 1, "{text}");
        assert_eq!(text.trim_end().matches("\n\n").count(), 2, "{text}");
    }
}
