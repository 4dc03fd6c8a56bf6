//! What stands on the margin of every printed page.
//!
//! Takes a sheet; gives a style rule: how far it may be trusted above, the job and the page below. Where a
//! browser prints no margin boxes, the first page says it all the same.

use std::fmt::Write as _;

use super::Sheet;

/// More of a title has no room beside the number of the page.
const MOST_OF_TITLE: usize = 60;

/// Whether the timing was judged and is not proven.
pub(super) fn unproven(sheet: &Sheet) -> bool {
    !matches!(sheet.proof.word.as_str(), "" | "proven")
}

/// What stands across the page.
pub(super) fn across(sheet: &Sheet) -> String {
    let risk = if unproven(sheet) { " – TIMING NOT PROVEN" } else { "" };
    format!("{}{risk}", sheet.status)
}

/// The rule for printed pages; a sheet for the wall uses more of the paper.
pub(super) fn rule(sheet: &Sheet, wall: bool) -> String {
    let title: String = sheet.title.chars().take(MOST_OF_TITLE).collect();
    let margin = if wall { "margin: 11mm 9mm 12mm; " } else { "" };
    format!(
        "@media print {{ @page {{ {margin}\
         @top-center {{ content: \"{}\"; font: bold 9pt sans-serif; letter-spacing: .2em; }} \
         @bottom-left {{ content: \"{}\"; font: 9pt sans-serif; }} \
         @bottom-right {{ content: \"page \" counter(page) \" of \" counter(pages); font: 9pt sans-serif; }} \
         }} }}",
        quoted(&across(sheet)),
        quoted(&title)
    )
}

/// A text inside a quoted style value: whatever could end it is written by its number.
fn quoted(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if c.is_alphanumeric() || matches!(c, ' ' | ',' | '.' | '-' | '–') {
            out.push(c);
        } else {
            let _ = write!(out, "\\{:x} ", u32::from(c));
        }
    }
    out
}
