//! A record in brief, for whoever counts many of them: takes bytes, gives the few things that a tally is
//! made of, and the same account of what was lost as a reading in full.
//!
//! Nine lines of ten hold pictures, sounds and moments that nobody counts. Such a line is checked like any
//! other (its checksum, its number, its link, its form), but what it shows is not built up in memory. A
//! line that is not quite as this tool writes it goes the way of a reading in full.

use std::borrow::Cow;

use serde::Deserialize;
use serde_json::{Map, Value};

use super::convert::effect_of;
use super::entry::{Body, EndingClass, Header, Interruption};
use super::happened::{Effect, Fact};
use super::lines::{Opened, Said, fold};
use super::plain::Plain;
use super::read::{Entry, Kept, ReadBack, Why, open};
use super::write::CRC_TAIL;

/// What a line says to whoever counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Brief {
    /// The guide took note of something that is counted.
    Fact(Box<Fact>),
    /// The run ended.
    Ended {
        /// The ending's name.
        ending: String,
        /// Its class.
        class: EndingClass,
    },
    /// The computer's clock jumped or slept.
    Clock,
    /// Broken off.
    Interrupted(Interruption),
    /// Something else happened, or something that this version does not know.
    Other,
    /// Nothing happened: a picture, a sound, a remark about the record itself.
    Aside,
}

/// Reads what is counted of a record, or of the beginning of one, or of anything else.
#[must_use]
pub fn brief(bytes: &[u8]) -> ReadBack<Brief> {
    fold(bytes, |line| own_form(line).map_or_else(|| in_full(line), Ok))
}

impl From<ReadBack> for ReadBack<Brief> {
    fn from(read: ReadBack) -> ReadBack<Brief> {
        let ReadBack { header, entries, certain, faults, link, torn } = read;
        let brief = |Entry { line, at, body }| Entry { line, at, body: of_kept(body) };
        let entries = entries.into_iter().map(brief).collect();
        ReadBack { header, entries, certain, faults, link, torn }
    }
}

/// A line of any form.
fn in_full(line: &[u8]) -> Result<Opened<'_, Brief>, Why> {
    let Opened { seq, at, prev, said } = open(line)?;
    let said = match said {
        Said::Header(header) => Said::Header(header),
        Said::Entry(kept) => Said::Entry(of_kept(kept)),
    };
    Ok(Opened { seq, at, prev, said })
}

fn of_kept(kept: Kept) -> Brief {
    let Kept::Known(body) = kept else { return Brief::Other };
    match body {
        Body::Effect { what } => of_effect(&what),
        Body::Clock { .. } => Brief::Clock,
        Body::Interrupted { by } => Brief::Interrupted(by),
        Body::Header(_) | Body::End { .. } | Body::Late { .. } => Brief::Aside,
        Body::Input { .. }
        | Body::Vehicle { .. }
        | Body::Note { .. }
        | Body::Lost { .. }
        | Body::Moved { .. }
        | Body::Continued { .. } => Brief::Other,
    }
}

/// A picture and a sound are known by their own word, whatever else they hold.
fn of_effect(what: &Map<String, Value>) -> Brief {
    match what.get("effect").and_then(Value::as_str) {
        Some("show" | "say") => Brief::Aside,
        _ => effect_of(what).map_or(Brief::Other, in_brief),
    }
}

fn in_brief(effect: Effect) -> Brief {
    match effect {
        Effect::Show(_) | Effect::Say { .. } => Brief::Aside,
        Effect::Ring { .. } => Brief::Other,
        Effect::Fact { fact } if counts(&fact) => Brief::Fact(Box::new(fact)),
        Effect::Fact { .. } => Brief::Other,
        Effect::Ended { ending, class, .. } => Brief::Ended { ending, class },
    }
}

/// Whether a fact is counted. [`of_fact`] knows the same by their words.
const fn counts(fact: &Fact) -> bool {
    match fact {
        Fact::Entered { .. }
        | Fact::Outcome { .. }
        | Fact::Margin { .. }
        | Fact::Thing { .. }
        | Fact::Broken { .. }
        | Fact::Noticed { .. } => true,
        Fact::Answered { .. }
        | Fact::Chosen { .. }
        | Fact::Happened { .. }
        | Fact::CueGiven { .. }
        | Fact::Tried { .. }
        | Fact::NoReturn { .. }
        | Fact::Rechecked { .. }
        | Fact::Held { .. } => false,
    }
}

/// A line that is as this tool writes it; `None` says only that it is not.
fn own_form(line: &[u8]) -> Option<Opened<'_, Brief>> {
    let mut plain = Plain::of(line)?;
    plain.take(br#"{"seq":"#)?;
    let seq = u64::try_from(plain.number()?).ok()?;
    plain.take(br#","at":"#)?;
    let at = plain.number()?;
    plain.take(br#","kind":"#)?;
    let said = match plain.word()? {
        b"effect" => Said::Entry(own_effect(&mut plain)?),
        b"input" | b"vehicle" => Said::Entry(own_other(&mut plain)?),
        b"header" => return own_header(line),
        _ => return None,
    };
    plain.take(br#","prev":"#)?;
    let prev = Cow::Borrowed(plain.word()?);
    // The checksum behind it was compared before.
    (plain.left() == CRC_TAIL).then_some(Opened { seq, at, prev, said })
}

/// What is not counted, whatever it holds.
fn own_other(plain: &mut Plain) -> Option<Brief> {
    plain.take(br#","what":"#)?;
    plain.object(|_, member| member.value())?;
    if plain.take(br#","from":"#).is_some() {
        plain.value()?;
    }
    Some(Brief::Other)
}

fn own_effect(plain: &mut Plain) -> Option<Brief> {
    let (mut effect, mut fact, mut is) = (Once::default(), Once::default(), Once::default());
    plain.take(br#","what":"#)?;
    let what = plain.object(|key, member| match key {
        b"effect" => effect.put(member.word()?),
        b"fact" => fact.put(member.object(|key, member| match key {
            b"is" => is.put(member.word()?),
            _ => member.value(),
        })?),
        _ => member.value(),
    })?;
    match effect.value? {
        b"show" | b"say" => Some(Brief::Aside),
        b"ring" => Some(Brief::Other),
        b"fact" => of_fact(is.value?, fact.value?),
        b"ended" => serde_json::from_slice(what).ok().map(in_brief),
        _ => None,
    }
}

/// A fact by its word. [`counts`] knows the same by their types.
fn of_fact(is: &[u8], fact: &[u8]) -> Option<Brief> {
    match is {
        b"answered" | b"chosen" | b"happened" | b"cue_given" | b"tried" | b"no_return"
        | b"rechecked" | b"held" => Some(Brief::Other),
        b"entered" | b"outcome" | b"margin" | b"thing" | b"broken" | b"noticed" => {
            serde_json::from_slice(fact).ok().map(Brief::Fact)
        }
        _ => None,
    }
}

/// A member that may stand there once: of two with one name a reading in full takes the later.
#[derive(Default)]
struct Once<'a> {
    value: Option<&'a [u8]>,
}

impl<'a> Once<'a> {
    fn put(&mut self, value: &'a [u8]) -> Option<()> {
        self.value.replace(value).is_none().then_some(())
    }
}

/// A header. Its members and those around them are told apart by passing over one another.
fn own_header(line: &[u8]) -> Option<Opened<'_, Brief>> {
    #[derive(Deserialize)]
    struct Around<'a> {
        seq: u64,
        at: i64,
        prev: &'a str,
        kind: Kind,
    }
    #[derive(Deserialize)]
    #[serde(rename_all = "snake_case")]
    enum Kind {
        Header,
    }
    let mut plain = Plain::of(line)?;
    plain.value()?;
    if plain.left() > 0 {
        return None;
    }
    let Around { seq, at, prev, kind: Kind::Header } = serde_json::from_slice(line).ok()?;
    let header: Box<Header> = serde_json::from_slice(line).ok()?;
    let prev = Cow::Borrowed(prev.as_bytes());
    Some(Opened { seq, at, prev, said: Said::Header(header) })
}
