//! How much one script may hold before it is looked at: what is far beyond a bench procedure is
//! refused at once, so that no file can keep the checker busy.
//!
//! Takes the trees as read; gives one complaint for each limit that is passed, at the first line
//! beyond it.

use super::Check;
use super::phrase::{Home, home};
use crate::complaint::{Code, Complaint};
use crate::source::Place;
use crate::syntax::tree::{BlockKind, Line, Sentence};

/// Steps as written, in all files together.
const MOST_STEPS: usize = 500;
/// Things with a name of their own: items, places, signs, readings, endings, parts and so on.
const MOST_NAMES: usize = 400;
/// Cautions.
const MOST_ALERTS: usize = 100;
/// Lines that belong to one step or table.
const MOST_LINES: usize = 100;
/// Lines of the head of one file.
const MOST_HEAD: usize = 2000;

/// Something that is counted.
struct Limit {
    what: &'static str,
    most: usize,
    count: usize,
    first_beyond: Option<Place>,
}

impl Limit {
    const fn new(what: &'static str, most: usize) -> Limit {
        Limit { what, most, count: 0, first_beyond: None }
    }

    fn one_more(&mut self, place: Place) {
        self.count += 1;
        if self.count > self.most {
            self.first_beyond.get_or_insert(place);
        }
    }
}

impl Check<'_> {
    /// Whether the script is of a size that can be looked at. Complains if not.
    pub(super) fn within_limits(&mut self) -> bool {
        let mut steps = Limit::new("steps", MOST_STEPS);
        let mut names = Limit::new("names", MOST_NAMES);
        let mut alerts = Limit::new("cautions", MOST_ALERTS);
        let mut lines = Limit::new("lines for one step", MOST_LINES);
        let mut heads = Limit::new("lines in the head", MOST_HEAD);
        for (_, tree) in &self.library.trees {
            heads.count = 0;
            let mut in_head = true;
            for line in &tree.lines {
                match home(&line.sentence) {
                    _ if silent(&line.sentence) => {}
                    Home::Alert => alerts.one_more(line.place),
                    Home::Flow | Home::Block(_) => {
                        in_head &= !begins_flow(&line.sentence);
                        lines.count = 0;
                    }
                    _ if in_head => heads.one_more(line.place),
                    _ => lines.one_more(line.place),
                }
                if matches!(line.sentence, Sentence::Step(..)) {
                    steps.one_more(line.place);
                }
                if is_named(line) {
                    names.one_more(line.place);
                }
            }
        }
        let passed = [steps, names, alerts, lines, heads];
        for limit in &passed {
            let Some(place) = limit.first_beyond else { continue };
            let complaint = Complaint::new(Code::CapTooLarge, place)
                .with("most", format!("{} {}", limit.most, limit.what))
                .with("count", "more");
            self.complain(complaint);
        }
        passed.iter().all(|limit| limit.first_beyond.is_none())
    }
}

fn silent(sentence: &Sentence) -> bool {
    matches!(
        sentence,
        Sentence::Blank | Sentence::Remark(_) | Sentence::Stray(_) | Sentence::End(_)
    )
}

/// Whether a line ends the head. A table's or a part's lines are counted as a step's are.
fn begins_flow(sentence: &Sentence) -> bool {
    !matches!(home(sentence), Home::Block(BlockKind::Operator | BlockKind::Helper))
}

fn is_named(line: &Line) -> bool {
    matches!(
        line.sentence,
        Sentence::Have { .. }
            | Sentence::Place { .. }
            | Sentence::Round(..)
            | Sentence::Sign { .. }
            | Sentence::Secret(..)
            | Sentence::Ask { .. }
            | Sentence::Ending { .. }
            | Sentence::Allow(..)
            | Sentence::Part(..)
            | Sentence::Phase(_)
            | Sentence::Table(_)
            | Sentence::Helper(..)
    )
}
