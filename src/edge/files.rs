//! Reads scripts and records from the disk without being trapped: takes a path, gives a text or
//! bytes within a limit, or why not as data.
//!
//! Only a regular file is opened, and it is asked what it is before and after: a FIFO, a device or
//! a folder is refused without waiting, and no more than the limit and one byte is ever read.

use std::fmt;
use std::fs::{FileType, Metadata};
use std::io::{self, ErrorKind, Read};
use std::path::Path;

use super::disk;
use crate::complaint::visible::visible;
use crate::journal::entry::RECORD_LIMIT;
use crate::source::{LineCol, Source};
use crate::syntax::build;

/// The longest script that is read: 1 MiB.
pub const SCRIPT_LIMIT: u64 = 1 << 20;
/// The longest plain network that is read: 64 MiB, room for a million lines.
pub const NETWORK_LIMIT: u64 = 64 << 20;
/// The longest text of a few lines: 4 KiB.
const SMALL: u64 = 4 << 10;
/// The path that stands for standard input.
pub const STANDARD_INPUT: &str = "-";

/// A file that cannot be read, and why. The exit code for it is "unreadable input".
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unreadable {
    /// Its name as the person gave it.
    pub name: String,
    /// Why.
    pub why: Why,
}

/// Why a file cannot be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Why {
    /// There is nothing at that name.
    Missing,
    /// It belongs to someone else.
    NotAllowed,
    /// Not a regular file, but this.
    NotAFile(&'static str),
    /// Longer than the limit, in bytes.
    TooLong(u64),
    /// Longer than a script may be, in these words.
    Beyond(String),
    /// Not UTF-8: the first wrong byte, from 0, and its line and column.
    NotText {
        /// The byte, from 0.
        byte: usize,
        /// Its line and column.
        at: LineCol,
    },
    /// The operating system's own words.
    Other(String),
}

/// The one sentence for each, with the name made harmless.
impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let name = visible(&self.name);
        match &self.why {
            Why::NotText { at, .. } => write!(f, "{name}:{at}: {}", self.reason()),
            _ => write!(f, "{name}: {}", self.reason()),
        }
    }
}

impl Unreadable {
    /// Why, without the name.
    #[must_use]
    pub fn reason(&self) -> String {
        match &self.why {
            Why::Missing => "there is no such file".to_owned(),
            Why::NotAllowed => "you are not allowed to read it".to_owned(),
            Why::NotAFile(what) => format!("this is {what}, not a file"),
            Why::TooLong(limit) if *limit >= 1 << 20 => {
                format!("longer than {} MiB, not read", limit >> 20)
            }
            Why::TooLong(limit) => format!("longer than {limit} bytes, not read"),
            Why::Beyond(limit) => format!("longer than {limit}, not read"),
            Why::NotText { byte, .. } => format!("not UTF-8 text (byte {byte})"),
            Why::Other(why) => why.clone(),
        }
    }
}

/// Reads a script, from standard input where the path is `-`.
///
/// # Errors
/// [`Unreadable`] when it is no regular file, over [`SCRIPT_LIMIT`] or the limits of a script, or not
/// UTF-8.
pub fn read_script(path: &Path) -> Result<Source, Unreadable> {
    if path.as_os_str() == STANDARD_INPUT {
        return script_from(&mut io::stdin().lock(), "standard input");
    }
    let name = path.to_string_lossy().into_owned();
    let bytes = read_file(path, SCRIPT_LIMIT)?;
    script(&name, bytes)
}

/// Reads a plain network, from standard input where the path is `-`.
///
/// # Errors
/// [`Unreadable`] when it is no regular file, over [`NETWORK_LIMIT`], or not UTF-8.
pub fn read_network(path: &Path) -> Result<Source, Unreadable> {
    let name = path.to_string_lossy().into_owned();
    let bytes = if path.as_os_str() == STANDARD_INPUT {
        bytes_from(&mut io::stdin().lock(), "standard input", NETWORK_LIMIT)?
    } else {
        read_file(path, NETWORK_LIMIT)?
    };
    text(&name, bytes).map(|text| Source::new(name, text))
}

/// Reads a text of at most 4 KiB.
///
/// # Errors
/// [`Unreadable`] when it is no regular file, longer, or not UTF-8.
pub fn read_small(path: &Path) -> Result<String, Unreadable> {
    let name = path.to_string_lossy().into_owned();
    text(&name, read_file(path, SMALL)?)
}

/// Puts a text in the place of a file, whole or not at all: written beside it, synced, then renamed
/// over it with the old file's permissions. A link is followed, so that the file behind it changes.
///
/// # Errors
/// The operating system's own words; the old file is as it was.
pub fn replace(path: &Path, text: &str) -> io::Result<()> {
    use std::io::Write;
    let path = std::fs::canonicalize(path)?;
    let permissions = std::fs::metadata(&path)?.permissions();
    let name = path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let beside = path.with_file_name(format!(".{name}.{}.tidy", std::process::id()));
    let mut file = disk::create(&beside)?;
    let written = file
        .write_all(text.as_bytes())
        .and_then(|()| file.set_permissions(permissions))
        .and_then(|()| file.sync_all())
        .and_then(|()| std::fs::rename(&beside, &path));
    if written.is_err() {
        // What is half written helps nobody; that it cannot be removed is not the trouble to tell.
        let _ = std::fs::remove_file(&beside);
    }
    written
}

/// The files of a folder, in the order of their names.
///
/// # Errors
/// The operating system's own words; also where it is no folder.
pub fn in_folder(path: &Path) -> io::Result<Vec<std::path::PathBuf>> {
    let entries = std::fs::read_dir(path)?.filter_map(Result::ok).map(|entry| entry.path());
    let mut files: Vec<_> = entries.filter(|path| path.is_file()).collect();
    files.sort();
    Ok(files)
}

/// Whether a file may be written without asking: it is not there, or it carries one of these marks.
#[must_use]
pub fn may_be_written(path: &Path, marks: &[&str]) -> bool {
    match std::fs::read_to_string(path) {
        Ok(text) => marks.iter().any(|mark| text.contains(mark)),
        Err(why) => why.kind() == io::ErrorKind::NotFound,
    }
}

/// Puts a text into a file that may be there already; see [`replace`].
///
/// # Errors
/// The operating system's own words; a file that was there is as it was.
pub fn put(path: &Path, text: &str) -> io::Result<()> {
    if path.exists() { replace(path, text) } else { std::fs::write(path, text) }
}

/// Reads a script from an open stream.
///
/// # Errors
/// As [`read_script`].
pub fn script_from(stream: &mut impl Read, name: &str) -> Result<Source, Unreadable> {
    let bytes = bytes_from(stream, name, SCRIPT_LIMIT)?;
    script(name, bytes)
}

fn script(name: &str, bytes: Vec<u8>) -> Result<Source, Unreadable> {
    let text = text(name, bytes)?;
    match build::beyond(&text) {
        Some(limit) => Err(Unreadable { name: name.to_owned(), why: Why::Beyond(limit) }),
        None => Ok(Source::new(name, text)),
    }
}

/// Reads a record's bytes, from standard input where the path is `-`. What they hold is
/// `journal::read`'s to say.
///
/// # Errors
/// [`Unreadable`] when it is no regular file or over 256 MiB.
pub fn read_record(path: &Path) -> Result<Vec<u8>, Unreadable> {
    let mut bytes = Vec::new();
    read_record_into(path, &mut bytes).map(|()| bytes)
}

/// Reads a record's bytes in the place of what `bytes` held, for whoever reads many of them.
///
/// # Errors
/// As [`read_record`].
pub fn read_record_into(path: &Path, bytes: &mut Vec<u8>) -> Result<(), Unreadable> {
    if path.as_os_str() == STANDARD_INPUT {
        return bytes_into(&mut io::stdin().lock(), "standard input", RECORD_LIMIT, bytes);
    }
    read_file_into(path, RECORD_LIMIT, bytes)
}

/// Reads a regular file of at most `limit` bytes.
///
/// # Errors
/// [`Unreadable`] when it is no regular file or over the limit.
pub fn read_file(path: &Path, limit: u64) -> Result<Vec<u8>, Unreadable> {
    let mut bytes = Vec::new();
    read_file_into(path, limit, &mut bytes).map(|()| bytes)
}

fn read_file_into(path: &Path, limit: u64, bytes: &mut Vec<u8>) -> Result<(), Unreadable> {
    let name = path.to_string_lossy().into_owned();
    let refuse = |why| Unreadable { name: name.clone(), why };
    let said = |why: io::Error| refuse(in_words(&why));
    // Asked first, because opening a device can already have an effect.
    fits(&std::fs::metadata(path).map_err(said)?, limit).map_err(refuse)?;
    let mut file = disk::open_to_read(path).map_err(said)?;
    // Asked again, because the name may have been given to something else meanwhile.
    fits(&file.metadata().map_err(said)?, limit).map_err(refuse)?;
    bytes_into(&mut file, &name, limit, bytes)
}

fn bytes_from(stream: &mut impl Read, name: &str, limit: u64) -> Result<Vec<u8>, Unreadable> {
    let mut bytes = Vec::new();
    bytes_into(stream, name, limit, &mut bytes).map(|()| bytes)
}

fn bytes_into(
    stream: &mut impl Read,
    name: &str,
    limit: u64,
    bytes: &mut Vec<u8>,
) -> Result<(), Unreadable> {
    let refuse = |why| Unreadable { name: name.to_owned(), why };
    disk::read_at_most(stream, limit, bytes).map_err(|why| refuse(in_words(&why)))?;
    if bytes.len() as u64 > limit { Err(refuse(Why::TooLong(limit))) } else { Ok(()) }
}

fn fits(what: &Metadata, limit: u64) -> Result<(), Why> {
    if !what.is_file() {
        return Err(Why::NotAFile(kind(what.file_type())));
    }
    if what.len() > limit { Err(Why::TooLong(limit)) } else { Ok(()) }
}

fn kind(what: FileType) -> &'static str {
    if what.is_dir() {
        return "a folder";
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt;
        if what.is_fifo() {
            return "a pipe";
        }
        if what.is_socket() {
            return "a socket";
        }
    }
    "a device"
}

fn in_words(why: &io::Error) -> Why {
    match why.kind() {
        ErrorKind::NotFound => Why::Missing,
        ErrorKind::PermissionDenied => Why::NotAllowed,
        ErrorKind::IsADirectory => Why::NotAFile("a folder"),
        _ => Why::Other(why.to_string()),
    }
}

fn text(name: &str, bytes: Vec<u8>) -> Result<String, Unreadable> {
    String::from_utf8(bytes).map_err(|wrong| {
        let byte = wrong.utf8_error().valid_up_to();
        let sound = String::from_utf8_lossy(&wrong.as_bytes()[..byte]).into_owned();
        let at = Source::new(name, sound).line_col(u32::try_from(byte).unwrap_or(u32::MAX));
        Unreadable { name: name.to_owned(), why: Why::NotText { byte, at } }
    })
}
