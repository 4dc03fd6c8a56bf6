//! Pairs the flat lines of a tree into blocks and steps, and says which line stands out of place.
//!
//! Takes a [`Tree`]; gives a [`Block`] whose entries are steps, blocks and the lines between them.
//! Wrong and missing `end` lines were complained about by `syntax`, which also says what each closes.

use super::phrase::{Home, home, phrase};
use crate::complaint::{Code, Complaint};
use crate::syntax::blocks;
use crate::syntax::tree::{BlockKind, Line, Sentence, Tree};

/// A block with its head and what stands in it.
#[derive(Debug, Default)]
pub(super) struct Block<'t> {
    /// The line that opens it; `None` for the file itself.
    pub(super) line: Option<&'t Line>,
    /// The lines before its first step, and for a table, a profile and `tests` all its lines.
    pub(super) head: Vec<&'t Line>,
    /// Steps, blocks and what stands between.
    pub(super) entries: Vec<Entry<'t>>,
    /// Whether a line of its head could not be read: what seems to be missing may be there.
    pub(super) stray: bool,
}

/// What stands in a block.
#[derive(Debug)]
pub(super) enum Entry<'t> {
    /// A step.
    Step(StepLines<'t>),
    /// A block.
    Block(Block<'t>),
    /// A caution, `no way back`, `do`, `finish`, or a line that holds for all that follows.
    Line(&'t Line),
}

/// A step with its lines.
#[derive(Debug)]
pub(super) struct StepLines<'t> {
    /// Its first line.
    pub(super) line: &'t Line,
    /// The further ones.
    pub(super) lines: Vec<&'t Line>,
    /// Whether one of them could not be read.
    pub(super) stray: bool,
}

/// Nests a tree. Lines out of place are reported and, where they declare something, kept in the
/// file's head, so that their names are known.
pub(super) fn nest<'t>(tree: &'t Tree, out: &mut Vec<Complaint>) -> Block<'t> {
    let opener = blocks::pair(tree).opener;
    let mut nest = Nest { lines: &tree.lines, opener, open: vec![Open::default()], out };
    for at in 0..tree.lines.len() {
        nest.line(at);
    }
    while nest.open.len() > 1 {
        nest.close();
    }
    nest.end_step();
    nest.open.pop().map(|open| open.block).unwrap_or_default()
}

/// A block that is still open.
#[derive(Default)]
struct Open<'t> {
    block: Block<'t>,
    kind: Option<BlockKind>,
    /// Its line's index.
    at: usize,
    step: Option<StepLines<'t>>,
    /// A line that could not be read may have opened a block: what follows may be its head.
    lenient: bool,
    /// The line above was out of place: another one after it is the same mistake.
    astray: bool,
}

struct Nest<'t, 'o> {
    lines: &'t [Line],
    /// For each `end`, the line that it closes.
    opener: Vec<Option<usize>>,
    open: Vec<Open<'t>>,
    out: &'o mut Vec<Complaint>,
}

impl<'t> Nest<'t, '_> {
    fn line(&mut self, at: usize) {
        let line = &self.lines[at];
        match &line.sentence {
            Sentence::Blank | Sentence::Remark(_) => {}
            Sentence::Stray(text) => self.stray(line, text),
            Sentence::End(_) => self.end(at),
            Sentence::Step(..) => self.step(line),
            sentence => match home(sentence) {
                Home::Block(kind) => self.begin(at, kind),
                Home::Flow => self.between(line),
                Home::Alert => self.alert(at),
                home => self.sentence(line, home),
            },
        }
    }

    fn top(&mut self) -> &mut Open<'t> {
        if self.open.is_empty() {
            self.open.push(Open::default());
        }
        let last = self.open.len() - 1;
        &mut self.open[last]
    }

    /// A line that could not be read may have been a step's or a block's first line.
    fn stray(&mut self, line: &'t Line, text: &str) {
        let first = text.split([' ', '\t']).next().unwrap_or("");
        let openers = [
            "step", "phase", "for", "repeat", "only", "part", "operator", "helper", "table",
            "tests",
        ];
        match super::names::nearest(first, openers).as_deref() {
            Some("step") => {
                self.end_step();
                self.top().step = Some(StepLines { line, lines: Vec::new(), stray: true });
            }
            Some(_) => {
                self.end_step();
                self.top().lenient = true;
            }
            None => match &mut self.top().step {
                Some(step) => step.stray = true,
                None => self.top().block.stray = true,
            },
        }
    }

    fn end_step(&mut self) {
        let top = self.top();
        if let Some(step) = top.step.take() {
            top.block.entries.push(Entry::Step(step));
        }
    }

    fn close(&mut self) {
        self.end_step();
        if let Some(done) = self.open.pop() {
            self.top().block.entries.push(Entry::Block(done.block));
        }
    }

    /// Closes what `syntax` found that this `end` closes, and all that stands open inside it.
    fn end(&mut self, at: usize) {
        self.end_step();
        let Some(opener) = self.opener.get(at).copied().flatten() else { return };
        if self.open.iter().skip(1).any(|open| open.at == opener) {
            while self.open.len() > 1 {
                let hit = self.top().at == opener;
                self.close();
                if hit {
                    break;
                }
            }
        }
    }

    fn begin(&mut self, at: usize, kind: BlockKind) {
        let line = &self.lines[at];
        self.end_step();
        self.top().lenient = false;
        // Deeper ones were complained about by `syntax`.
        if self.open.len() > blocks::DEEPEST {
            return;
        }
        let root_only = !matches!(
            kind,
            BlockKind::Phase | BlockKind::Each | BlockKind::Repeat | BlockKind::Only
        );
        self.leave_unclosed_leaf();
        while root_only && self.open.len() > 1 && self.unclosed() {
            self.close();
        }
        if root_only && self.open.len() > 1 {
            self.misplaced(line, "at the level of the file, outside every block");
        } else if !root_only && self.in_leaf() {
            self.misplaced(line, "in the flow, between steps");
        }
        let block = Block { line: Some(line), ..Block::default() };
        self.open.push(Open { block, kind: Some(kind), at, ..Open::default() });
    }

    /// Whether the innermost block is never closed; that was complained about by `syntax`.
    fn unclosed(&mut self) -> bool {
        let at = self.top().at;
        !self.opener.contains(&Some(at))
    }

    /// A person, a table or the tests that are never closed end where something else begins.
    fn leave_unclosed_leaf(&mut self) {
        if self.in_leaf() && self.unclosed() {
            self.close();
        }
    }

    /// Whether the innermost block holds sentences only.
    fn in_leaf(&mut self) -> bool {
        matches!(
            self.top().kind,
            Some(BlockKind::Operator | BlockKind::Helper | BlockKind::Table | BlockKind::Tests)
        )
    }

    fn step(&mut self, line: &'t Line) {
        self.end_step();
        self.leave_unclosed_leaf();
        if self.in_leaf() {
            self.misplaced(line, "in the flow, between the blocks");
        }
        let top = self.top();
        (top.lenient, top.astray) = (false, false);
        top.step = Some(StepLines { line, lines: Vec::new(), stray: false });
    }

    fn between(&mut self, line: &'t Line) {
        self.end_step();
        self.leave_unclosed_leaf();
        (self.top().lenient, self.top().astray) = (false, false);
        if self.in_leaf() {
            self.misplaced(line, "in the flow, between steps");
            return;
        }
        self.top().block.entries.push(Entry::Line(line));
    }

    /// A caution above a step belongs to it; among a step's lines it comes too late.
    fn alert(&mut self, at: usize) {
        let line = &self.lines[at];
        if self.in_leaf() {
            self.misplaced(line, "in the head, or directly above its step");
            return;
        }
        let next = self.lines[at + 1..].iter().find(|next| {
            !matches!(home(&next.sentence), Home::Alert)
                && !matches!(next.sentence, Sentence::Blank | Sentence::Remark(_))
        });
        let goes_on = next.is_some_and(|next| {
            !matches!(next.sentence, Sentence::Step(..) | Sentence::End(_))
                && !matches!(home(&next.sentence), Home::Flow | Home::Block(_))
        });
        let top = self.top();
        match &mut top.step {
            Some(step) if goes_on => step.lines.push(line),
            Some(_) => {
                self.end_step();
                self.top().block.entries.push(Entry::Line(line));
            }
            None if begun(&top.block) => top.block.entries.push(Entry::Line(line)),
            None => top.block.head.push(line),
        }
    }

    fn sentence(&mut self, line: &'t Line, home: Home) {
        if !matches!(home, Home::Profile | Home::Row | Home::Tests | Home::Anywhere) {
            self.leave_unclosed_leaf();
        }
        let in_step = self.top().step.is_some();
        let kind = self.top().kind;
        let begun = begun(&self.top().block);
        let fits = match (kind, in_step) {
            (Some(BlockKind::Operator | BlockKind::Helper), _) => home == Home::Profile,
            (Some(BlockKind::Table), _) => home == Home::Row,
            (Some(BlockKind::Tests), _) => home == Home::Tests,
            (_, true) => matches!(
                home,
                Home::Step | Home::Row | Home::Anywhere | Home::Guard | Home::Ask | Home::Window
            ),
            (None, false) => match home {
                Home::Head | Home::Stretch | Home::Guard | Home::Ask | Home::Window => !begun,
                home => home == Home::Anywhere,
            },
            (Some(_), false) => match home {
                Home::Stretch | Home::Guard | Home::Window => !begun,
                home => home == Home::Anywhere,
            },
        };
        if fits || self.after_no_way_back(line) {
            if matches!(home, Home::Head | Home::Ask | Home::Stretch) {
                self.top().astray = false;
            }
            self.put(line, begun);
        } else if !self.top().lenient {
            if !std::mem::replace(&mut self.top().astray, true) {
                self.misplaced(line, belongs(home));
            }
            // What it declares is known all the same.
            if matches!(home, Home::Head | Home::Ask | Home::Stretch)
                && let Some(file) = self.open.first_mut()
            {
                file.block.head.push(line);
            }
        }
    }

    /// `if broken off` directly below `no way back` holds for the steps that follow.
    fn after_no_way_back(&mut self, line: &Line) -> bool {
        let above = self.top().block.entries.last();
        let crossed =
            matches!(above, Some(Entry::Line(Line { sentence: Sentence::NoWayBack(..), .. })));
        crossed && matches!(line.sentence, Sentence::BreakOff(_))
    }

    fn put(&mut self, line: &'t Line, begun: bool) {
        let top = self.top();
        match &mut top.step {
            Some(step) => step.lines.push(line),
            None if begun => top.block.entries.push(Entry::Line(line)),
            None => top.block.head.push(line),
        }
    }

    fn misplaced(&mut self, line: &Line, belongs: &'static str) {
        let place_now = self.place_now();
        self.out.push(
            Complaint::new(Code::SentenceOutOfPlace, line.place)
                .with("sentence", phrase(&line.sentence))
                .with("where", place_now)
                .with("belongs", belongs),
        );
    }

    fn place_now(&mut self) -> &'static str {
        let top = self.top();
        if top.step.is_some() {
            return "in a step";
        }
        let begun = begun(&top.block);
        match top.kind {
            Some(BlockKind::Operator) => "in an `operator` block",
            Some(BlockKind::Helper) => "in a `helper` block",
            Some(BlockKind::Table) => "in a table",
            Some(BlockKind::Tests) => "among the tests",
            _ if begun => "between steps",
            Some(BlockKind::Part) => "in a part's head",
            Some(BlockKind::Phase) => "in a phase's head",
            Some(_) => "in a block's head",
            None => "in the head",
        }
    }
}

/// Whether the flow of a block has begun. Parts, tables, persons and tests stand outside the flow.
fn begun(block: &Block<'_>) -> bool {
    block.entries.iter().any(|entry| match entry {
        Entry::Block(inner) => inner.line.is_none_or(|line| {
            !matches!(
                home(&line.sentence),
                Home::Block(
                    BlockKind::Operator
                        | BlockKind::Helper
                        | BlockKind::Part
                        | BlockKind::Table
                        | BlockKind::Tests
                )
            )
        }),
        Entry::Step(_) | Entry::Line(_) => true,
    })
}

fn belongs(home: Home) -> &'static str {
    match home {
        Home::Head => "in the head, before the first step",
        Home::Stretch => "in the head of the file, a phase or a part",
        Home::Guard => "in the head, or in a step",
        Home::Ask => "in the head, or in a step",
        Home::Step | Home::Row => "in a step",
        Home::Window => "in a step, or in the head of a phase",
        Home::Profile => "in an `operator` or `helper` block",
        Home::Tests => "in a `tests` block",
        Home::Anywhere | Home::Flow | Home::Alert | Home::Block(_) => "in the flow",
    }
}
