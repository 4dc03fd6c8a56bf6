//! Numbers that nobody stands behind.
//!
//! Takes the places gathered while the values were read; makes one complaint a file of them, since
//! one line in the head mends them all.

use super::Check;
use crate::complaint::{Code, Complaint};

impl Check<'_> {
    pub(super) fn numbers(&mut self) {
        let mut places = std::mem::take(&mut self.unsourced);
        places.sort();
        for file in places.chunk_by(|one, other| one.file == other.file) {
            let Some((first, others)) = file.split_first() else { continue };
            let mut complaint = Complaint::new(Code::NumberWithoutSource, *first);
            for other in others.iter().take(2) {
                complaint = complaint.and(*other, "nor behind this one");
            }
            self.complain(complaint);
        }
    }
}
