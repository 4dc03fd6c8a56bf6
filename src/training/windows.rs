//! The windows of a record's own script: takes a record's header, gives each window with an upper end by
//! its step and line, so that those of which no record tells anything can be listed too.

use std::collections::BTreeMap;

use super::replay::script;
use crate::clock::Millis;
use crate::journal::entry::Header;
use crate::procedure::plans;

/// The windows with their lengths; none where the script no longer checks.
#[must_use]
pub fn of_script(header: &Header) -> BTreeMap<(String, u32), Millis> {
    let mut all = BTreeMap::new();
    let Some((sources, procedure)) = script(header) else { return all };
    for step in plans(&procedure).0.iter().flat_map(|plan| &plan.steps) {
        for window in &step.windows {
            let line = sources.line_col(window.place).line;
            all.extend(window.range.hi.map(|hi| ((step.name.clone(), line), hi)));
        }
    }
    all
}
