//! The plain network format `.tn`: takes text, gives a network with named points, or the first
//! mistake with its line.
//!
//! ```text
//! network 1          header; `#` starts a comment
//! point NAME         a time point
//! bound U V W        time(V) − time(U) ≤ W
//! link A C X Y       once A has happened, C follows within X..Y, as nature picks
//! ```

use std::collections::HashMap;

use super::network::{EdgeTag, Network, NetworkError, Point};
use crate::clock::{Millis, Span};

/// A network and the names of its points. Each bound and link carries its line as its tag.
#[derive(Clone, Debug, Default)]
pub struct NamedNetwork {
    /// The network.
    pub network: Network,
    names: Vec<String>,
    points: HashMap<String, Point>,
}

impl NamedNetwork {
    /// The name of a point of this network.
    #[must_use]
    pub fn name(&self, point: Point) -> &str {
        self.names.get(point.index()).map_or("", String::as_str)
    }

    /// The point of that name.
    #[must_use]
    pub fn point(&self, name: &str) -> Option<Point> {
        self.points.get(name).copied()
    }
}

/// A mistake and the line it is in, counted from 1.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TnError {
    /// The line.
    pub line: usize,
    /// The mistake.
    pub kind: TnErrorKind,
}

/// What can be wrong with a line of a `.tn` file. The first line of each comment provokes it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TnErrorKind {
    /// `point A` as the first line, or an empty file.
    MissingHeader,
    /// `network 2`
    UnknownVersion(String),
    /// `edge A B 3`
    UnknownWord(String),
    /// `bound A B`
    WrongShape(&'static str),
    /// `bound A B 1.5`
    NotAWholeNumber(String),
    /// `point A` twice
    DuplicatePoint(String),
    /// `bound A Z 3` without `point Z`
    UnknownPoint(String),
    /// `link A C 5 3`, and what else a network refuses
    Refused(NetworkError),
}

/// Reads a `.tn` text.
///
/// # Errors
/// The first line that is wrong.
pub fn parse(text: &str) -> Result<NamedNetwork, TnError> {
    let mut named = NamedNetwork::default();
    let mut headed = false;
    let mut lines = 0;
    for (index, line) in text.lines().enumerate() {
        lines = index + 1;
        let content = line.split('#').next().unwrap_or("");
        let mut words = content.split_whitespace();
        let Some(first) = words.next() else { continue };
        let rest: Vec<&str> = words.collect();
        let read =
            if headed { statement(&mut named, first, &rest, lines) } else { header(first, &rest) };
        read.map_err(|kind| TnError { line: lines, kind })?;
        headed = true;
    }
    if headed {
        return Ok(named);
    }
    Err(TnError { line: lines.max(1), kind: TnErrorKind::MissingHeader })
}

fn header(first: &str, rest: &[&str]) -> Result<(), TnErrorKind> {
    match (first, rest) {
        ("network", ["1"]) => Ok(()),
        ("network", [version]) => Err(TnErrorKind::UnknownVersion((*version).to_owned())),
        _ => Err(TnErrorKind::MissingHeader),
    }
}

fn statement(
    named: &mut NamedNetwork,
    first: &str,
    rest: &[&str],
    line: usize,
) -> Result<(), TnErrorKind> {
    let tag = EdgeTag(u32::try_from(line).unwrap_or(u32::MAX));
    match first {
        "point" => {
            let [name] = rest else { return Err(TnErrorKind::WrongShape("point NAME")) };
            add_point(named, name)
        }
        "bound" => {
            let [from, to, most] = rest else {
                return Err(TnErrorKind::WrongShape("bound FROM TO MOST"));
            };
            let (from, to) = (known(named, from)?, known(named, to)?);
            named
                .network
                .add_bound(from, to, Millis(whole(most)?), tag)
                .map_err(TnErrorKind::Refused)
        }
        "link" => {
            let [activation, outcome, least, most] = rest else {
                return Err(TnErrorKind::WrongShape("link FROM TO LEAST MOST"));
            };
            let (activation, outcome) = (known(named, activation)?, known(named, outcome)?);
            let takes = Span::new(Millis(whole(least)?), Millis(whole(most)?));
            named.network.add_link(activation, outcome, takes, tag).map_err(TnErrorKind::Refused)
        }
        _ => Err(TnErrorKind::UnknownWord(first.to_owned())),
    }
}

fn add_point(named: &mut NamedNetwork, name: &str) -> Result<(), TnErrorKind> {
    if named.points.contains_key(name) {
        return Err(TnErrorKind::DuplicatePoint(name.to_owned()));
    }
    let point = named.network.add_point().map_err(TnErrorKind::Refused)?;
    named.points.insert(name.to_owned(), point);
    named.names.push(name.to_owned());
    Ok(())
}

fn known(named: &NamedNetwork, name: &str) -> Result<Point, TnErrorKind> {
    named.point(name).ok_or_else(|| TnErrorKind::UnknownPoint(name.to_owned()))
}

/// A whole number. One with more digits than 64 bits hold is a length beyond every limit, not a
/// spelling mistake.
fn whole(word: &str) -> Result<i64, TnErrorKind> {
    use std::num::IntErrorKind::{NegOverflow, PosOverflow};
    word.parse::<i64>().map_err(|error| match error.kind() {
        PosOverflow => TnErrorKind::Refused(NetworkError::TooLong(Millis(i64::MAX))),
        NegOverflow => TnErrorKind::Refused(NetworkError::TooLong(Millis(i64::MIN))),
        _ => TnErrorKind::NotAWholeNumber(word.to_owned()),
    })
}
