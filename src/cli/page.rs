//! Opening the page before a run: takes what was asked for, tells how to reach it, waits for the phone or
//! for Enter.

use std::io::{self, Write};
use std::sync::Arc;

use super::Surroundings;
use super::args::PageArgs;
use crate::edge::page::shelf::Tones;
use crate::edge::page::{Opening, Page, Shelf};
use crate::edge::terminal::{enter_or, size};
use crate::faces::page::invite::{Invitation, rows};
use crate::faces::terminal::Size;
use crate::faces::words::Setting;

/// Said below how to reach the page.
const LAST: &str = "Open it and press its first button; or press Enter here to begin without it.";

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
    let unable = |why| format!("the page's address cannot be shown: {why}");
    if around.terminal {
        show(&page, around).map_err(unable)?;
    } else {
        let mut out = io::stdout().lock();
        tell(&mut out, &page).map_err(unable)?;
    }
    Ok(Some(page))
}

fn tell(out: &mut impl Write, page: &Page) -> io::Result<()> {
    writeln!(out, "{}", address(page))?;
    for line in page.invitation() {
        writeln!(out, "{line}")?;
    }
    out.flush()
}

fn address(page: &Page) -> String {
    format!("page: {}", page.address())
}

/// Shows how to reach the page until it is open or Enter is pressed; anew where the terminal's size changes.
fn show(page: &Page, around: &Surroundings) -> io::Result<()> {
    let mut shown = size();
    paint(page, around, shown, false)?;
    let mut before = shown;
    let mut failed = None;
    enter_or(|| {
        let now = size();
        // A size that still changes is waited for.
        if now != shown && std::mem::replace(&mut before, now) == now {
            shown = now;
            failed = paint(page, around, now, true).err();
        }
        failed.is_some() || page.is_open()
    });
    failed.map_or(Ok(()), Err)
}

/// `anew`: in the place of what stood there, which the terminal has broken otherwise.
fn paint(page: &Page, around: &Surroundings, size: Size, anew: bool) -> io::Result<()> {
    // White on black whatever the terminal's own colours are: a code the other way round is not read by
    // every camera.
    let (on, off) = if around.no_colour { ("", "") } else { ("\x1b[97;40m", "\x1b[0m") };
    let (code, told) = (page.code(), page.invitation());
    let invitation = Invitation { code: &code, address: &address(page), told: &told, last: LAST };
    let mut out = io::stdout().lock();
    if anew {
        out.write_all(b"\x1b[H\x1b[2J")?;
    }
    for row in rows(&invitation, size) {
        match row.code.as_str() {
            "" => writeln!(out, "{}", row.text)?,
            code => writeln!(out, "{on}{code}{off}{}", row.text)?,
        }
    }
    out.flush()
}
