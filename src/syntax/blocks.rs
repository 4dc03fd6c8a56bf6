//! Pairs the lines that open a block with the lines that close it.
//!
//! Takes a tree; gives, for each line, how deep it stands and which line it closes, and the
//! complaints about blocks that do not pair. One missing or wrong `end` makes one complaint: before
//! a line is blamed, the ends that still follow are counted.

use super::build::nearest_first_word;
use super::tree::{BlockKind, Line, Sentence, Tree};
use crate::complaint::{Code, Complaint};

/// Blocks may stand this deep; nothing sensible needs more than four.
pub const DEEPEST: usize = 32;

/// How the lines of a tree stand in blocks.
#[derive(Clone, Debug, Default)]
pub struct Blocks {
    /// For each line, how many blocks it stands in. The lines that open and close a block stand
    /// outside it.
    pub depth: Vec<usize>,
    /// For each line that closes a block, the line that opened it.
    pub opener: Vec<Option<usize>>,
    /// Blocks that do not pair, in the order in which that was noticed.
    pub complaints: Vec<Complaint>,
}

/// The word of a block, as its `end` line has it.
#[must_use]
pub const fn word(kind: BlockKind) -> &'static str {
    match kind {
        BlockKind::Operator => "operator",
        BlockKind::Helper => "helper",
        BlockKind::Part => "part",
        BlockKind::Phase => "phase",
        BlockKind::Each => "each",
        BlockKind::Repeat => "repeat",
        BlockKind::Only => "only",
        BlockKind::Table => "table",
        BlockKind::Tests => "tests",
    }
}

const KINDS: usize = 9;

/// The block that a sentence opens.
#[must_use]
pub const fn opens(sentence: &Sentence) -> Option<BlockKind> {
    match sentence {
        Sentence::Operator(..) => Some(BlockKind::Operator),
        Sentence::Helper(..) => Some(BlockKind::Helper),
        Sentence::Part(..) => Some(BlockKind::Part),
        Sentence::Phase(_) => Some(BlockKind::Phase),
        Sentence::Each(..) => Some(BlockKind::Each),
        Sentence::Repeat(_) => Some(BlockKind::Repeat),
        Sentence::OnlyIf(_) => Some(BlockKind::Only),
        Sentence::Table(_) => Some(BlockKind::Table),
        Sentence::Tests => Some(BlockKind::Tests),
        _ => None,
    }
}

/// Pairs all blocks of a tree.
#[must_use]
pub fn pair(tree: &Tree) -> Blocks {
    let mut pairing = Pairing::default();
    for line in &tree.lines {
        match &line.sentence {
            Sentence::End(kind) => pairing.ahead[kind.value as usize] += 1,
            sentence => {
                if let Some(kind) = opens(sentence) {
                    pairing.ahead[kind as usize] -= 1;
                }
            }
        }
    }
    for (at, line) in tree.lines.iter().enumerate() {
        let (depth, opener) = pairing.line(tree, at, line);
        pairing.blocks.depth.push(depth);
        pairing.blocks.opener.push(opener);
    }
    while let Some(open) = pairing.stack.pop() {
        pairing.not_closed(tree, open);
    }
    pairing.blocks
}

#[derive(Clone, Copy)]
struct Open {
    kind: BlockKind,
    line: usize,
}

/// The pairing while it goes through the lines.
#[derive(Default)]
struct Pairing {
    blocks: Blocks,
    stack: Vec<Open>,
    /// Blocks open beyond the deepest; they are counted, not kept.
    beyond: usize,
    /// Ends minus openers among the lines still to come, by kind.
    ahead: [i64; KINDS],
    /// Stray lines that were probably meant to open a block, by kind: their ends are forgiven.
    lost_openers: [usize; KINDS],
    /// Stray lines that were probably meant to close one: an open block is forgiven.
    lost_ends: usize,
}

impl Pairing {
    /// The line's depth, and the line that it closes.
    fn line(&mut self, tree: &Tree, at: usize, line: &Line) -> (usize, Option<usize>) {
        match &line.sentence {
            Sentence::End(kind) => {
                self.ahead[kind.value as usize] -= 1;
                let closed = self.close(tree, at, kind.value);
                (self.stack.len(), closed)
            }
            Sentence::Stray(text) => {
                self.stray(text);
                (self.stack.len(), None)
            }
            sentence => {
                let depth = self.stack.len();
                if let Some(kind) = opens(sentence) {
                    self.ahead[kind as usize] += 1;
                    self.open(at, line, kind);
                }
                (depth, None)
            }
        }
    }

    fn open(&mut self, at: usize, line: &Line, kind: BlockKind) {
        if self.stack.len() < DEEPEST {
            self.stack.push(Open { kind, line: at });
            return;
        }
        self.beyond += 1;
        if self.beyond == 1 {
            let deepest = i64::try_from(DEEPEST).unwrap_or(i64::MAX);
            let complaint = Complaint::new(Code::NestedTooDeep, line.place);
            let complaint = complaint.with("depth", deepest + 1).with("most", deepest);
            self.blocks.complaints.push(complaint);
        }
    }

    /// A line that is no sentence may have been meant to open or close a block.
    fn stray(&mut self, text: &str) {
        let mut words = text.split([' ', '\t']);
        let (first, second) = (words.next().unwrap_or(""), words.next().unwrap_or(""));
        if first.len() > 20 {
            return;
        }
        let kind = match nearest_first_word(first) {
            Some("end") => {
                self.lost_ends += 1;
                return;
            }
            Some("operator") => BlockKind::Operator,
            Some("helper") => BlockKind::Helper,
            Some("part") => BlockKind::Part,
            Some("phase") => BlockKind::Phase,
            Some("for") => BlockKind::Each,
            Some("repeat") => BlockKind::Repeat,
            Some("only") if second != "watch" => BlockKind::Only,
            Some("table") => BlockKind::Table,
            Some("tests") => BlockKind::Tests,
            _ => return,
        };
        self.lost_openers[kind as usize] += 1;
    }

    /// How many blocks of this kind are open.
    fn open_of(&self, kind: BlockKind) -> i64 {
        let open = self.stack.iter().filter(|open| open.kind == kind).count();
        i64::try_from(open).unwrap_or(i64::MAX)
    }

    /// Whether the lines to come have an end for every open block of this kind.
    fn ends_follow(&self, kind: BlockKind) -> bool {
        self.ahead[kind as usize] >= self.open_of(kind)
    }

    fn close(&mut self, tree: &Tree, at: usize, kind: BlockKind) -> Option<usize> {
        if self.beyond > 0 {
            self.beyond -= 1;
            return None;
        }
        let Some(top) = self.stack.last().copied() else {
            self.closes_nothing(tree, at, kind);
            return None;
        };
        if top.kind == kind {
            self.stack.pop();
            return Some(top.line);
        }
        let wanted = self.open_of(kind) > 0 && !self.ends_follow(kind);
        match (wanted, self.ends_follow(top.kind)) {
            // The two blocks overlap: the inner one is closed after the outer.
            (true, true) => {
                self.wrong(tree, at, kind, top);
                let outer = self.stack.iter().rposition(|open| open.kind == kind)?;
                Some(self.stack.remove(outer).line)
            }
            // Everything inside the block that closes here lacks its end.
            (true, false) => {
                while let Some(open) = self.stack.pop() {
                    if open.kind == kind {
                        return Some(open.line);
                    }
                    self.not_closed(tree, open);
                }
                None
            }
            (false, true) => {
                self.closes_nothing(tree, at, kind);
                None
            }
            // The right place with the wrong word.
            (false, false) => {
                self.wrong(tree, at, kind, top);
                self.stack.pop();
                Some(top.line)
            }
        }
    }

    fn closes_nothing(&mut self, tree: &Tree, at: usize, kind: BlockKind) {
        if self.lost_openers[kind as usize] > 0 {
            self.lost_openers[kind as usize] -= 1;
            return;
        }
        let complaint = Complaint::new(Code::EndWithoutBlock, tree.lines[at].place);
        self.blocks.complaints.push(complaint.with("block", word(kind)));
    }

    fn wrong(&mut self, tree: &Tree, at: usize, kind: BlockKind, top: Open) {
        let line = i64::try_from(top.line + 1).unwrap_or(i64::MAX);
        let complaint = Complaint::new(Code::WrongEnd, tree.lines[at].place)
            .with("found", word(kind))
            .with("open", word(top.kind))
            .with("line", line)
            .and(tree.lines[top.line].place, "open since here");
        self.blocks.complaints.push(complaint);
    }

    fn not_closed(&mut self, tree: &Tree, open: Open) {
        if self.lost_ends > 0 {
            self.lost_ends -= 1;
            return;
        }
        let complaint = Complaint::new(Code::BlockNotClosed, tree.lines[open.line].place);
        self.blocks.complaints.push(complaint.with("block", word(open.kind)));
    }
}
