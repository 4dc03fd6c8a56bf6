//! A script's text to its tree: line by line, each line by itself.
//!
//! Takes a text; gives a [`Tree`] with one [`Line`] a source line, and the complaints about lines
//! that are no sentence and about blocks that do not pair. Reading never fails: a line that cannot
//! be read is kept as it stands, with exactly one complaint.

mod head;
mod outcome;
mod parts;
mod step;
mod strays;
mod value;

use pest::iterators::Pair;

use self::parts::{Built, Origin, Parts};
use super::blocks;
use super::grammar::{self, Failure, LONGEST_FILE, LONGEST_LINE, MOST_LINES, Rule};
use super::tree::{Line, Sentence, Tree};
use crate::complaint::{Code, Complaint};
use crate::source::{FileId, Place};

pub(super) use self::strays::nearest_first_word;

/// Reads a whole script. The complaints stand in the order of their places.
#[must_use]
pub fn read(file: FileId, text: &str) -> (Tree, Vec<Complaint>) {
    if let Some(limit) = beyond(text) {
        let place = Place { file, start: 0, end: 0 };
        let complaint = Complaint::new(Code::FileTooLarge, place).with("limit", limit);
        return (Tree::default(), vec![complaint]);
    }
    let mut tree = Tree::default();
    let mut complaints = Vec::new();
    for (base, line) in lines(text) {
        let origin = Origin { file, base };
        let sentence = read_line(origin, line).unwrap_or_else(|complaint| {
            complaints.push(*complaint);
            Sentence::Stray(line.to_owned())
        });
        tree.lines.push(Line { place: origin.place(0, line.len()), sentence });
    }
    complaints.extend(blocks::pair(&tree).complaints);
    complaints.sort_by_key(|complaint| complaint.place);
    (tree, complaints)
}

/// The limit that a text is beyond, in words. Such a text is not read at all.
#[must_use]
pub fn beyond(text: &str) -> Option<String> {
    if text.len() > LONGEST_FILE {
        return Some(format!("{} MiB", LONGEST_FILE >> 20));
    }
    (lines(text).nth(MOST_LINES).is_some()).then(|| format!("{MOST_LINES} lines"))
}

/// The lines of a text without their ends and the blanks around them, each with its first byte.
/// A line ends with LF, CR LF or a lone CR. A byte order mark before a line is a blank too: editors
/// write one before the first, and files that were joined have them in between.
fn lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut at = 0;
    std::iter::from_fn(move || {
        let rest = text.get(at..).filter(|rest| !rest.is_empty())?;
        let length = rest.find(['\n', '\r']).unwrap_or(rest.len());
        let ending = if rest[length..].starts_with("\r\n") { 2 } else { 1 };
        let (line, base) = (&rest[..length], at);
        at += length + ending;
        let shown = line.trim_start_matches([' ', '\t', '\u{feff}']);
        Some((base + line.len() - shown.len(), shown.trim_end_matches([' ', '\t'])))
    })
}

fn read_line(origin: Origin, line: &str) -> Built<Sentence> {
    if line.len() > LONGEST_LINE {
        return Err(strays::too_long(origin, line));
    }
    if let Some(complaint) = strays::forbidden(origin, line) {
        return Err(complaint);
    }
    let pair = grammar::line(line).map_err(|failure| match failure {
        Failure::TooComplex => {
            Box::new(Complaint::new(Code::TooComplex, origin.place(0, line.len())))
        }
        Failure::At { byte, expected } => strays::diagnose(origin, line, byte, &expected),
    })?;
    pair.map_or(Ok(Sentence::Blank), |pair| sentence(origin, pair))
}

fn sentence(origin: Origin, pair: Pair<'_, Rule>) -> Built<Sentence> {
    let rule = pair.as_rule();
    let mut parts = Parts::of(origin, pair);
    let p = &mut parts;
    match rule {
        Rule::remark => remark(p),
        Rule::subject => head::subject(p),
        Rule::status => head::status(p),
        Rule::basis => head::basis(p),
        Rule::alert => head::alert(p),
        Rule::affirm => head::affirm(p),
        Rule::ending => head::ending(p),
        Rule::have => head::have(p),
        Rule::place => head::place(p),
        Rule::round => head::round(p),
        Rule::sign => head::sign(p),
        Rule::ask => head::ask(p),
        Rule::start => head::start(p),
        Rule::keep => head::keep(p),
        Rule::operator => head::operator(p),
        Rule::end => head::end(p),
        Rule::do_part => head::do_part(p),
        Rule::no => head::no(p),
        Rule::test => head::test(p),
        Rule::recount => head::recount(p),
        Rule::say => step::say(p),
        Rule::takes => step::takes(p),
        Rule::with => step::with(p),
        Rule::needs => step::needs(p),
        Rule::hold => step::hold(p),
        Rule::let_go => step::let_go(p),
        Rule::count => step::count(p),
        Rule::one_way => step::one_way(p),
        Rule::plain_window => step::window(p),
        Rule::begin => step::begin(p),
        Rule::another => step::another(p),
        Rule::sensed => outcome::sensed(p),
        Rule::look_up => outcome::look_up(p),
        Rule::silence => outcome::silence(p),
        _ => short(rule, p),
    }
}

fn remark(parts: &mut Parts<'_>) -> Built<Sentence> {
    let rest = parts.need(Rule::rest)?;
    Ok(Sentence::Remark(rest.as_str().trim_matches([' ', '\t']).to_owned()))
}

/// The sentences that are a word and one or two plain things.
fn short(rule: Rule, p: &mut Parts<'_>) -> Built<Sentence> {
    use value::{condition, length, maybe_names, name, number, text, times};
    Ok(match rule {
        Rule::procedure => Sentence::Procedure(text(p)?),
        Rule::edition => Sentence::Edition(number(p)?),
        Rule::use_file => Sentence::Use(text(p)?),
        Rule::secret => Sentence::Secret(name(p)?, text(p)?),
        Rule::battery => head::battery(p)?,
        Rule::better => Sentence::BetterIf(condition(p)?, text(p)?),
        Rule::never => Sentence::Never(text(p)?, outcome::result(p)?),
        Rule::allow => Sentence::Allow(name(p)?, times(p)?, text(p)?),
        Rule::break_off => Sentence::BreakOff(text(p)?),
        Rule::part => Sentence::Part(name(p)?, maybe_names(p)),
        Rule::phase => Sentence::Phase(name(p)?),
        Rule::each => Sentence::Each(name(p)?, name(p)?),
        Rule::repeat => Sentence::Repeat(times(p)?),
        Rule::only if p.has(Rule::condition) => Sentence::OnlyIf(condition(p)?),
        Rule::only => Sentence::OnlyWatch,
        Rule::table => Sentence::Table(name(p)?),
        Rule::tests => Sentence::Tests,
        Rule::step => Sentence::Step(name(p)?, text(p)?),
        Rule::finish => Sentence::Finish(outcome::finish(p)?),
        Rule::prepare => Sentence::Prepare(text(p)?),
        Rule::straight => Sentence::StraightOn,
        Rule::at => Sentence::AtPlace(name(p)?),
        Rule::by => Sentence::By(name(p)?),
        Rule::take => Sentence::Take(name(p)?),
        Rule::put => Sentence::PutDown(name(p)?),
        Rule::reacts => Sentence::Reacts(length(p)?),
        Rule::reports => Sentence::Reports(length(p)?),
        Rule::speech => Sentence::Speech(number(p)?),
        Rule::walks => Sentence::Walks(length(p)?),
        Rule::has => Sentence::Has(number(p)?),
        Rule::anything => Sentence::AnythingElse(outcome::so(p)?),
        Rule::late => Sentence::Late(outcome::so(p)?),
        Rule::slip => Sentence::Slip(outcome::so(p)?),
        _ => return Err(p.mismatch()),
    })
}
