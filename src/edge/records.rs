//! Where records lie, what they are called, and which of them was broken off: takes folders and a
//! script's hash and title, gives names and what an unfinished record last knew.

use std::ffi::OsStr;
use std::fs::TryLockError;
use std::path::{Path, PathBuf};

use unicode_normalization::UnicodeNormalization;

use super::{disk, files};
use crate::clock::Moment;
use crate::journal::entry::{Body, Header, RunKind};
use crate::journal::read::{ReadBack, read};
use crate::journal::write::{Link, frame};

/// The ending of a record's file name.
pub const ENDING: &str = ".jsonl";
/// The longest name without its ending, in characters, all of `a-z`, `0-9` and `-`.
pub const NAME_LIMIT: usize = 64;
/// Not more records than this are looked through for an unfinished one, the newest first.
const LOOK_THROUGH: usize = 200;

/// The folder for records where none is named: `$XDG_STATE_HOME/stepbell/records`, else
/// `~/.local/state/stepbell/records`. A relative path in either is passed over, as the XDG Base
/// Directory Specification 0.8 asks. `None` where neither is there.
#[must_use]
pub fn default_folder(xdg_state_home: Option<&OsStr>, home: Option<&OsStr>) -> Option<PathBuf> {
    let absolute = |path: Option<&OsStr>| path.map(PathBuf::from).filter(|path| path.is_absolute());
    absolute(xdg_state_home)
        .or_else(|| absolute(home).map(|home| home.join(".local/state")))
        .map(|state| state.join("stepbell/records"))
}

/// A record's name without its ending: the start, to the second, then the title, both reduced to
/// `a-z`, `0-9` and single `-`; at most [`NAME_LIMIT`] characters with room for a number behind.
/// It begins with a digit whenever the start does, so it is never an option or a device's name.
#[must_use]
pub fn record_name(started: &str, title: &str) -> String {
    let (day, time) = started.split_once('T').unwrap_or((started, ""));
    let time: String = time.chars().filter(char::is_ascii_digit).take(6).collect();
    let mut name = slug(&format!("{day}-{time}"), 20);
    let title = slug(title, 40);
    name.push('-');
    name.push_str(if title.is_empty() { "run" } else { &title });
    name.trim_matches('-').to_owned()
}

/// The plain letters and digits of `text`, in lower case, at most `limit` of them, with one `-`
/// for whatever lies between.
fn slug(text: &str, limit: usize) -> String {
    let mut slug = String::new();
    for c in text.nfkd().take(10 * limit) {
        let c = c.to_ascii_lowercase();
        if c.is_ascii_lowercase() || c.is_ascii_digit() {
            slug.push(c);
        } else if !slug.is_empty() && !slug.ends_with('-') && !is_mark(c) {
            slug.push('-');
        }
    }
    slug.truncate(limit);
    slug.trim_end_matches('-').to_owned()
}

/// A combining accent, left over from a letter that was taken apart.
fn is_mark(c: char) -> bool {
    ('\u{300}'..='\u{36f}').contains(&c)
}

/// What a start looks for.
#[derive(Clone, Debug)]
pub struct Wanted<'a> {
    /// The hash of the script.
    pub script_sha256: &'a str,
    /// Its title: a script that was mended meanwhile still counts as the same.
    pub title: &'a str,
    /// A rehearsal never takes up a live run, nor the other way round.
    pub run: RunKind,
}

impl Wanted<'_> {
    fn is(&self, header: &Header) -> bool {
        let same = header.script_sha256() == self.script_sha256 || header.title == self.title;
        same && header.run == self.run
    }
}

/// A record that was broken off.
#[derive(Clone, Debug)]
pub struct Unfinished {
    /// Where it lies.
    pub path: PathBuf,
    /// Its header.
    pub header: Header,
    /// What it holds; the last certain state follows from its certain entries.
    pub read: ReadBack,
    /// How many newer records of the same script reached an ending. Where there are any, this one
    /// may long be of no interest.
    pub newer_finished: usize,
}

/// What a start finds.
#[derive(Clone, Debug, Default)]
pub struct Found {
    /// The newest unfinished record of the script that no running program holds.
    pub unfinished: Option<Unfinished>,
    /// Records of the script that a running program is still writing.
    pub running: Vec<PathBuf>,
}

/// Looks for the newest unfinished record of a script. Folders that are missing and files that are
/// no records are passed over.
#[must_use]
pub fn find_unfinished(folders: &[&Path], wanted: &Wanted) -> Found {
    let mut found = Found::default();
    let mut newer_finished = 0;
    for path in newest_first(folders) {
        let Ok(bytes) = files::read_record(&path) else { continue };
        let read = read(&bytes);
        let Some(header) = read.header.clone().filter(|header| wanted.is(header)) else { continue };
        if is_held(&path) {
            found.running.push(path);
        } else if read.is_unfinished() {
            found.unfinished = Some(Unfinished { path, header, read, newer_finished });
            break;
        } else {
            newer_finished += 1;
        }
    }
    found
}

/// The records of some folders by name, which begins with the start. Of two with one name, the
/// longer comes first: the other is where the disk failed.
fn newest_first(folders: &[&Path]) -> Vec<PathBuf> {
    let entries = folders.iter().filter_map(|folder| std::fs::read_dir(folder).ok()).flatten();
    let mut records: Vec<_> = entries
        .filter_map(Result::ok)
        .filter(|entry| entry.file_type().is_ok_and(|kind| kind.is_file()))
        .filter_map(|entry| {
            let name = entry.file_name().into_string().ok()?;
            let name = name.strip_suffix(ENDING)?.to_owned();
            Some((name, entry.metadata().map_or(0, |file| file.len()), entry.path()))
        })
        .collect();
    records.sort_by(|a, b| (&b.0, b.1).cmp(&(&a.0, a.1)));
    records.dedup_by(|later, first| later.0 == first.0);
    records.into_iter().take(LOOK_THROUGH).map(|(_, _, path)| path).collect()
}

/// Whether a running program is writing this record.
#[must_use]
pub fn is_held(path: &Path) -> bool {
    let Ok(file) = disk::open_to_read(path) else { return false };
    matches!(file.try_lock_shared(), Err(TryLockError::WouldBlock))
}

/// Why an old record could not be closed.
#[derive(Debug)]
pub enum NotClosed {
    /// A running program is writing it.
    Held,
    /// It cannot be read.
    Unreadable(files::Unreadable),
    /// The operating system's answer.
    Io(std::io::Error),
}

impl std::fmt::Display for NotClosed {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            NotClosed::Held => f.write_str("another run is still being recorded there"),
            NotClosed::Unreadable(why) => write!(f, "{why}"),
            NotClosed::Io(why) => write!(f, "the old record cannot be closed: {why}"),
        }
    }
}

/// Closes an unfinished record when a later run takes it up: ends a torn last line with a newline
/// (its bytes stay) and writes behind it that the run named `by` goes on. Gives the bytes of the
/// torn line, 0 where there was none.
///
/// # Errors
/// [`NotClosed`]; the record is then as it was.
pub fn close_continued(path: &Path, by: &str) -> Result<usize, NotClosed> {
    let file = disk::reopen(path).map_err(NotClosed::Io)?;
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => return Err(NotClosed::Held),
        Err(TryLockError::Error(why)) => return Err(NotClosed::Io(why)),
        Ok(()) => {}
    }
    let bytes = files::read_record(path).map_err(NotClosed::Unreadable)?;
    let back = read(&bytes);
    let at = back.entries.last().map_or(Moment::START, |entry| entry.at);
    let line = continued_line(&back.link, at, by)?;
    let mut whole = if back.torn > 0 { b"\n".to_vec() } else { Vec::new() };
    whole.extend_from_slice(&line);
    append(&file, bytes.len() as u64, &whole).map_err(NotClosed::Io)?;
    Ok(back.torn)
}

fn continued_line(link: &Link, at: Moment, by: &str) -> Result<Vec<u8>, NotClosed> {
    let body = Body::Continued { by: by.to_owned() };
    frame(link, at, &body)
        .map(|framed| framed.bytes)
        .map_err(|why| NotClosed::Io(std::io::Error::other(why.to_string())))
}

/// Appends in one write and syncs; a short write is taken back and is a failure.
fn append(file: &std::fs::File, end: u64, bytes: &[u8]) -> std::io::Result<()> {
    let written = disk::write_once(file, bytes);
    if matches!(written, Ok(n) if n == bytes.len()) {
        return file.sync_data();
    }
    file.set_len(end)?;
    Err(written.err().unwrap_or_else(|| std::io::ErrorKind::StorageFull.into()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(title: &str, name: &str) {
        assert_eq!(record_name("2031-05-06T07:08:09Z", title), name);
    }

    #[test]
    fn names_come_from_the_start_and_the_title() {
        check("Add a push-start spare", "2031-05-06-070809-add-a-push-start-spare");
        check("Zündschlüssel №2", "2031-05-06-070809-zundschlussel-no2");
        check("../../etc/passwd\0", "2031-05-06-070809-etc-passwd");
        check("鍵", "2031-05-06-070809-run");
        check("", "2031-05-06-070809-run");
    }

    #[test]
    fn the_default_folder_follows_absolute_paths_only() {
        let folder =
            |xdg: &str, home: &str| default_folder(Some(xdg.as_ref()), Some(home.as_ref()));
        assert_eq!(folder("/s", "/h"), Some("/s/stepbell/records".into()));
        assert_eq!(folder("s", "/h"), Some("/h/.local/state/stepbell/records".into()));
        assert_eq!(folder("", ""), None);
        assert_eq!(default_folder(None, None), None);
    }
}
