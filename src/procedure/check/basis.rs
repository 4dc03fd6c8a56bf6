//! Numbers that nobody stands behind, and windows of which nobody says what follows when they are
//! missed.
//!
//! Takes the places gathered while the lines were read. One line in the head mends all numbers of a
//! file, and one line all windows of a block: each makes one complaint.

use std::collections::BTreeSet;

use super::Check;
use crate::complaint::{Code, Complaint};
use crate::source::Place;

impl Check<'_> {
    pub(super) fn numbers(&mut self) {
        if self.lost.contains("according") || self.lost.contains("assumed") {
            return;
        }
        let places: Vec<_> = std::mem::take(&mut self.unsourced).into_iter().collect();
        for file in places.chunk_by(|one, other| one.file == other.file) {
            let Some((first, others)) = file.split_first() else { continue };
            let mut complaint = Complaint::new(Code::NumberWithoutSource, *first);
            for other in others.iter().take(2) {
                complaint = complaint.and(*other, "nor behind this one");
            }
            self.complain(complaint);
        }
    }

    /// Windows without a `late`, those of one block together.
    pub(super) fn late(&mut self) {
        let places = std::mem::take(&mut self.late_missing);
        if self.lost.contains("late") || self.lost.contains("phase") {
            return;
        }
        let blocks: BTreeSet<Option<Place>> = places.values().copied().collect();
        for block in blocks {
            let mut here = places.iter().filter(|(_, of)| **of == block).map(|(place, _)| *place);
            let Some(first) = here.next() else { continue };
            let mut complaint = Complaint::new(Code::LateMissing, first);
            for other in here.take(2) {
                complaint = complaint.and(other, "this one too");
            }
            self.complain(complaint);
        }
    }
}
