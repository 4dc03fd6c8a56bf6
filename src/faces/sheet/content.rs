//! From the checked model to what stands on the sheet.
//!
//! Takes a procedure, its files and what the proof says; gives a [`Sheet`]. The steps stand in the
//! order in which they are written; what is done several times stands once, with a box for each time.

use super::head::Head;
use super::number::Numbers;
use super::steps::Writer;
use super::{Proof, Sheet};
use crate::journal::convert::Context;
use crate::procedure::model::Procedure;
use crate::source::SourceMap;

/// The sheet of a procedure.
#[must_use]
pub fn sheet(procedure: &Procedure, sources: &SourceMap, proof: Proof) -> Sheet {
    let numbers = Numbers::of(procedure);
    let mut writer = Writer {
        procedure,
        context: Context { procedure, plan: None, sources },
        numbers: &numbers,
        proof: &proof,
        number: 0,
        bars: Vec::new(),
        sources: Vec::new(),
    };
    let mut body = writer.blocks(&procedure.body, &[]);
    body.extend(writer.ways());
    let (windows, sources) = (writer.bars, writer.sources);
    let head = Head { procedure };
    Sheet {
        title: procedure.title.map_or_else(String::new, |id| head.text(id)),
        subject: procedure.subject.map(|(_, id)| head.text(id)),
        edition: procedure.edition,
        status: head.status().0,
        status_says: head.status().1,
        affirm: head.affirm(),
        cautions: head.cautions(&procedure.alerts),
        items: procedure.items.iter().map(|item| head.item(item)).collect(),
        places: head.places(),
        readings: head.readings(),
        gates: head.gates(),
        checklist: procedure.checklist.iter().map(|id| head.text(*id)).collect(),
        throughout: head.holds(&procedure.head),
        operator: head.operator(),
        break_off: procedure.head.break_off.map(|id| head.text(id)),
        body,
        tests: head.tests(),
        recounts: head.recounts(),
        endings: head.endings(),
        windows,
        sources,
        proof,
    }
}
