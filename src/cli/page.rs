//! Opening the page before a run: takes what was asked for, tells how to reach it, waits for the phone or
//! for Enter.

use std::io::{self, Write};
use std::sync::Arc;

use super::Surroundings;
use super::args::PageArgs;
use crate::edge::page::shelf::Tones;
use crate::edge::page::{Opening, Page, Shelf};
use crate::edge::terminal::enter_or;
use crate::faces::words::Setting;

/// The page, if one was asked for. In a terminal the person is shown how to reach it, and it is waited
/// until a page was opened and pressed on, or Enter is pressed here. Without a shelf it has the tones.
///
/// # Errors
/// Why it cannot be served, for a person.
pub fn open(
    args: &PageArgs,
    around: &Surroundings,
    setting: &Setting,
    shelf: Option<Arc<dyn Shelf>>,
) -> Result<Option<Page>, String> {
    let Some(at) = args.page else { return Ok(None) };
    let shelf = shelf.unwrap_or_else(|| Arc::new(Tones::new(setting)));
    let opening = Opening { at, https: args.https, setting: setting.clone(), shelf };
    let page = Page::serve(&opening).map_err(|why| format!("the page cannot be served: {why}"))?;
    let mut out = io::stdout().lock();
    let told = tell(&mut out, &page, around);
    drop(out);
    told.map_err(|why| format!("the page's address cannot be shown: {why}"))?;
    if around.terminal {
        enter_or(|| page.is_open());
    }
    Ok(Some(page))
}

fn tell(out: &mut impl Write, page: &Page, around: &Surroundings) -> io::Result<()> {
    // White on black whatever the terminal's own colours are: a code the other way round is not read by
    // every camera.
    let (on, off) = if around.no_colour { ("", "") } else { ("\x1b[97;40m", "\x1b[0m") };
    for row in page.code().iter().filter(|_| around.terminal) {
        writeln!(out, "{on}{row}{off}")?;
    }
    for line in page.invitation() {
        writeln!(out, "{line}")?;
    }
    if around.terminal {
        writeln!(
            out,
            "Open it and press its first button; or press Enter here to begin without it."
        )?;
    }
    out.flush()
}
