//! Keeps the record of a run on the disk from a thread of its own: takes entries through a bounded
//! queue without ever making the caller wait, tells what was recorded, what was saved, what failed.
//!
//! *Recorded* means written by one `write`, which outlives the program; *saved* means synced,
//! which outlives the computer. A failure never ends the run:
//!
//! * a failed or short write is cut back to the last whole line; the run so far is written again at
//!   a second place and goes on there, and where that fails too, the run goes on unrecorded;
//! * after the first failed sync nothing on that file is trusted to become saved, and it is not
//!   asked again, because a file system may call lost pages clean (Rebello et al., "Can
//!   Applications Recover from fsync Failures?", USENIX ATC 2020, section 3); the run so far is
//!   written again at the second place.

use std::fmt;
use std::fs::File;
use std::io::{self, ErrorKind};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError, SyncSender, TrySendError};
use std::time::{Duration, Instant};

use super::disk;
use super::records::{ENDING, is_held, record_name};
use crate::clock::{Millis, Moment};
use crate::journal::entry::{Body, Header, RECORD_LIMIT};
use crate::journal::sha256_hex;
use crate::journal::write::{Framed, Link, Unframed, frame};

/// How many entries may wait for the disk before the next are dropped and counted.
pub const QUEUE: usize = 1024;
/// Disk space asked for at the start, beyond the header: 256 KiB, about a thousand entries.
pub const RESERVE: u64 = 256 << 10;
/// A sync is made at the latest after this many entries, however fast they come.
const SYNC_AFTER: u64 = 64;

/// Where a record shall be written and what it begins with.
#[derive(Clone, Debug)]
pub struct Plan {
    /// The place.
    pub place: Place,
    /// A folder to write the run again in when the first place fails; better on another disk. It
    /// is created when needed.
    pub second: Option<PathBuf>,
    /// The first line.
    pub header: Header,
}

/// A place for a record.
#[derive(Clone, Debug)]
pub enum Place {
    /// A folder, created when missing; the name is made from the start and the title.
    Default(PathBuf),
    /// A folder that the person named; it must be there.
    Folder(PathBuf),
    /// A file that the person named; it must not be there.
    File(PathBuf),
}

/// Why no record could be begun. The run has not begun either: the person may mend it or go on
/// without a record.
#[derive(Debug)]
pub struct NoRecord {
    /// The file or folder.
    pub path: PathBuf,
    /// Why.
    pub why: NoRecordWhy,
}

/// Why no record could be begun.
#[derive(Debug)]
pub enum NoRecordWhy {
    /// The folder is not there.
    MissingFolder,
    /// A run that still goes on is writing to it.
    Held,
    /// Something is there already, perhaps a link. It is never written over.
    Taken,
    /// No permission.
    NotAllowed,
    /// The disk cannot be written to at all.
    ReadOnly,
    /// The disk, the share of it, or a limit on file sizes is full.
    NoRoom,
    /// The header is longer than a reader accepts.
    Header(Unframed),
    /// The operating system's own words.
    Other(io::Error),
}

impl fmt::Display for NoRecord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let path = &self.path;
        match &self.why {
            NoRecordWhy::MissingFolder => write!(f, "no record: the folder {path:?} is not there"),
            NoRecordWhy::Held => write!(f, "no record: another run is being recorded in {path:?}"),
            NoRecordWhy::Taken => {
                write!(f, "no record: {path:?} is there already and is not written over")
            }
            NoRecordWhy::NotAllowed => write!(f, "no record: you may not write to {path:?}"),
            NoRecordWhy::ReadOnly => write!(f, "no record: the disk of {path:?} is read-only"),
            NoRecordWhy::NoRoom => {
                write!(
                    f,
                    "no record: no room for {path:?}, the disk or a limit on file sizes is full"
                )
            }
            NoRecordWhy::Header(why) => {
                write!(f, "no record: the script is too long for one: {why}")
            }
            NoRecordWhy::Other(why) => write!(f, "no record: {path:?}: {why}"),
        }
    }
}

/// What the writer tells, in the order in which it happens.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Told {
    /// The entry with this number is written.
    Recorded(u64),
    /// All entries up to this number are synced.
    Saved(u64),
    /// The record failed where it was, and goes on at a second place, where all of it is saved.
    Moved {
        /// How it failed.
        why: Trouble,
        /// The second place.
        to: PathBuf,
    },
    /// Entries are still written, but not known to be saved: a sync failed, and so did the second
    /// place.
    NotSaved(Trouble),
    /// Entries are no longer written. What was written before stays.
    NotRecording(Trouble),
    /// The entry with this number cannot be written; a line in the record says so.
    Refused(u64, Unframed),
    /// The writer itself broke; nothing more is recorded.
    Died(String),
}

/// A failed step and why, in the operating system's words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Trouble {
    /// The step.
    pub step: Step,
    /// Why it failed.
    pub why: String,
    /// Why the second place failed as well, where that was tried.
    pub second: Option<String>,
}

/// The steps that can fail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// Writing a line.
    Write,
    /// Syncing.
    Sync,
}

/// What became of the record.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Outcome {
    /// Where it lies at the end.
    pub path: PathBuf,
    /// Entries that were written, the header and the writer's own lines counted.
    pub recorded: u64,
    /// Of these, how many are synced.
    pub saved: u64,
    /// Entries that were not written.
    pub lost: u64,
    /// SHA-256 of the last line: it stands for the whole record.
    pub last_line_sha256: String,
}

impl Outcome {
    /// Whether every entry is synced.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.lost == 0 && self.saved == self.recorded
    }
}

/// How the writer ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Finish {
    /// It wrote all it could.
    Done(Outcome),
    /// It is still waiting for the disk; it is left to itself.
    StillWriting,
    /// It broke.
    Died,
}

/// The run's end of the queue.
#[derive(Debug)]
pub struct Recorder {
    queue: SyncSender<Order>,
    done: Receiver<Outcome>,
    path: PathBuf,
    next: u64,
    /// Entries that never reached the writer, over the whole run.
    dropped: u64,
    /// Of these, the ones that the record does not speak of yet.
    untold: u64,
    /// Whether the writer's thread is gone.
    closed: bool,
}

/// An entry on its way.
#[derive(Debug)]
struct Order {
    number: u64,
    at: Moment,
    body: Body,
}

impl Recorder {
    /// Begins a record: creates the file, reserves room, writes the header and saves it. `tell` is
    /// called from the writer's thread and should not wait for the caller.
    ///
    /// # Errors
    /// [`NoRecord`] when any of that fails; no file is left behind by this run then.
    pub fn begin(
        plan: Plan,
        tell: impl FnMut(Told) + Send + 'static,
    ) -> Result<Recorder, NoRecord> {
        let (queue, orders) = mpsc::sync_channel(QUEUE);
        let (ready, began) = mpsc::sync_channel(1);
        let (finished, done) = mpsc::sync_channel(1);
        let folder = place_path(&plan.place).to_owned();
        let failed = |why| NoRecord { path: folder.clone(), why: NoRecordWhy::Other(why) };
        std::thread::Builder::new()
            .name("record".to_owned())
            .spawn(move || work(&plan, orders, tell, &ready, &finished))
            .map_err(failed)?;
        let path = began
            .recv()
            .unwrap_or_else(|_| Err(failed(io::Error::other("the writer broke at its start"))))?;
        Ok(Recorder { queue, done, path, next: 1, dropped: 0, untold: 0, closed: false })
    }

    /// Where the record was begun.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The record's name, as a later record names it.
    #[must_use]
    pub fn name(&self) -> String {
        name_of(&self.path)
    }

    /// Hands an entry to the writer without waiting; gives its number, from 1, by which it will be
    /// told of. `None` when it was dropped: the queue is full, or the writer is gone. Dropped
    /// entries are counted, and the record says how many as soon as it can.
    pub fn put(&mut self, at: Moment, body: Body) -> Option<u64> {
        self.tell_of_dropped(at);
        // Nothing goes ahead of the word that something is missing before it.
        let sent = if self.untold == 0 { self.send(at, body) } else { None };
        if sent.is_none() {
            self.dropped = self.dropped.saturating_add(1);
            self.untold = self.untold.saturating_add(1);
        }
        sent
    }

    fn tell_of_dropped(&mut self, at: Moment) {
        if self.untold > 0 {
            let lost = Body::Lost { events: self.untold, why: "the disk was too slow".to_owned() };
            if self.send(at, lost).is_some() {
                self.untold = 0;
            }
        }
    }

    fn send(&mut self, at: Moment, body: Body) -> Option<u64> {
        let number = self.next;
        match self.queue.try_send(Order { number, at, body }) {
            Ok(()) => {
                self.next += 1;
                Some(number)
            }
            Err(TrySendError::Full(_)) => None,
            Err(TrySendError::Disconnected(_)) => {
                self.closed = true;
                None
            }
        }
    }

    /// Ends the record at the moment `at`: waits at most `within` for the disk.
    #[must_use]
    pub fn finish(mut self, at: Moment, within: Millis) -> Finish {
        let within = Duration::from_millis(within.0.max(0).unsigned_abs());
        let begun = Instant::now();
        self.tell_of_dropped(at);
        while self.untold > 0 && !self.closed && begun.elapsed() < within {
            std::thread::sleep(Duration::from_millis(1));
            self.tell_of_dropped(at);
        }
        let Recorder { queue, done, dropped, .. } = self;
        drop(queue);
        match done.recv_timeout(within.saturating_sub(begun.elapsed())) {
            Ok(outcome) => Finish::Done(Outcome { lost: outcome.lost + dropped, ..outcome }),
            Err(RecvTimeoutError::Timeout) => Finish::StillWriting,
            Err(RecvTimeoutError::Disconnected) => Finish::Died,
        }
    }
}

/// The writer's thread, from the first open to the last sync.
fn work(
    plan: &Plan,
    orders: Receiver<Order>,
    mut tell: impl FnMut(Told),
    ready: &SyncSender<Result<PathBuf, NoRecord>>,
    finished: &SyncSender<Outcome>,
) {
    let whole = catch_unwind(AssertUnwindSafe(|| {
        // Owned here, so that nothing can be put any more by the time a panic is told.
        let orders = orders;
        let mut writer = match Writer::begin(plan) {
            Ok(writer) => writer,
            Err(why) => {
                let _ = ready.send(Err(why));
                return;
            }
        };
        let _ = ready.send(Ok(writer.path.clone()));
        writer.serve(&orders, &mut tell);
        let _ = finished.send(writer.close(&mut tell));
    }));
    if let Err(panic) = whole {
        let why = panic
            .downcast_ref::<&str>()
            .map(|why| (*why).to_owned())
            .or_else(|| panic.downcast_ref::<String>().cloned())
            .unwrap_or_default();
        // Whoever is told may be what broke.
        let _ = catch_unwind(AssertUnwindSafe(|| tell(Told::Died(why))));
    }
}

/// The record on the disk and, whole, in memory.
struct Writer {
    /// The file, until nothing can be written any more.
    file: Option<File>,
    path: PathBuf,
    /// Whether a sync of this file still means something.
    syncs: bool,
    second: Option<PathBuf>,
    /// Every byte of the file up to the last whole line.
    kept: Vec<u8>,
    link: Link,
    recorded: u64,
    saved: u64,
    lost: u64,
    /// The caller's number of the last entry that was written, and the moment of the last line.
    last: u64,
    at: Moment,
    /// Entries written since the last sync.
    unsynced: u64,
}

impl Writer {
    fn begin(plan: &Plan) -> Result<Writer, NoRecord> {
        let at = place_path(&plan.place);
        let refuse = |path: &Path, why| NoRecord { path: path.to_owned(), why };
        let header = Body::Header(Box::new(plan.header.clone()));
        let framed = frame(&Link::first(), Moment::START, &header)
            .map_err(|why| refuse(at, NoRecordWhy::Header(why)))?;
        let (file, path) = open(plan)?;
        let Framed { bytes, then } = framed;
        if let Err(why) = settle(&file, &path, &bytes) {
            // Ours and useless: the run has not begun.
            let _ = std::fs::remove_file(&path);
            return Err(refuse(&path, in_words(why, &path)));
        }
        Ok(Writer {
            file: Some(file),
            path,
            syncs: true,
            second: plan.second.clone(),
            kept: bytes,
            link: then,
            recorded: 1,
            saved: 1,
            lost: 0,
            last: 0,
            at: Moment::START,
            unsynced: 0,
        })
    }

    /// Writes what comes, and syncs whenever nothing more waits.
    fn serve(&mut self, orders: &Receiver<Order>, tell: &mut impl FnMut(Told)) {
        while let Ok(order) = orders.recv() {
            self.take(&order, tell);
            while self.unsynced < SYNC_AFTER {
                match orders.try_recv() {
                    Ok(order) => self.take(&order, tell),
                    Err(_) => break,
                }
            }
            self.sync(tell);
        }
    }

    fn take(&mut self, order: &Order, tell: &mut impl FnMut(Told)) {
        self.at = order.at;
        match frame(&self.link, order.at, &order.body) {
            Ok(framed) => {
                if self.append(framed, tell) {
                    self.last = order.number;
                    tell(Told::Recorded(order.number));
                }
            }
            Err(why) => {
                self.lost += 1;
                let lost = Body::Lost { events: 1, why: why.to_string() };
                tell(Told::Refused(order.number, why));
                if let Ok(framed) = frame(&self.link, order.at, &lost) {
                    self.append(framed, tell);
                }
            }
        }
    }

    /// Writes one line; on failure moves the record. Gives whether the line is in a file.
    fn append(&mut self, framed: Framed, tell: &mut impl FnMut(Told)) -> bool {
        let Some(file) = &self.file else {
            self.lost += 1;
            return false;
        };
        let Framed { bytes, then } = framed;
        let end = self.kept.len();
        if (end + bytes.len()) as u64 > RECORD_LIMIT {
            let why = "the record has reached 256 MiB".to_owned();
            self.give_up(Trouble { step: Step::Write, why, second: None }, tell);
            return false;
        }
        let written = write_whole(file, end as u64, &bytes);
        self.kept.extend_from_slice(&bytes);
        let before = std::mem::replace(&mut self.link, then);
        self.recorded += 1;
        if let Err(why) = written
            && let Err(trouble) = self.relocate(Step::Write, &why, tell)
        {
            self.kept.truncate(end);
            self.link = before;
            self.recorded -= 1;
            self.give_up(trouble, tell);
            return false;
        }
        self.unsynced += 1;
        true
    }

    /// Nothing can be written any more. What was written before is saved if it can be.
    fn give_up(&mut self, trouble: Trouble, tell: &mut impl FnMut(Told)) {
        self.lost += 1;
        if let Some(file) = self.file.take().filter(|_| self.syncs && self.unsynced > 0)
            && file.sync_data().is_ok()
        {
            self.saved = self.recorded;
            tell(Told::Saved(self.last));
        }
        self.unsynced = 0;
        tell(Told::NotRecording(trouble));
    }

    fn sync(&mut self, tell: &mut impl FnMut(Told)) {
        if std::mem::take(&mut self.unsynced) == 0 {
            return;
        }
        let Some(file) = self.file.as_ref().filter(|_| self.syncs) else { return };
        let synced = match file.sync_data() {
            Ok(()) => Ok(()),
            Err(why) => {
                self.syncs = false;
                self.relocate(Step::Sync, &why, tell)
            }
        };
        match synced {
            Ok(()) => {
                self.saved = self.recorded;
                tell(Told::Saved(self.last));
            }
            Err(trouble) => tell(Told::NotSaved(trouble)),
        }
    }

    /// The file failed: writes all of it again at the second place, if there is one.
    fn relocate(
        &mut self,
        step: Step,
        why: &io::Error,
        tell: &mut impl FnMut(Told),
    ) -> Result<(), Trouble> {
        let mut why = Trouble { step, why: why.to_string(), second: None };
        let Some(folder) = self.second.take() else { return Err(why) };
        match self.write_again(&folder, &why.why) {
            Ok(()) => {
                tell(Told::Moved { why, to: self.path.clone() });
                Ok(())
            }
            Err(second) => {
                why.second = Some(second.to_string());
                Err(why)
            }
        }
    }

    /// All lines so far and one that says why, in a new file of the same name, synced.
    fn write_again(&mut self, folder: &Path, why: &str) -> io::Result<()> {
        let moved = Body::Moved { from: name_of(&self.path), why: why.to_owned() };
        let moved =
            frame(&self.link, self.at, &moved).map_err(|why| io::Error::other(why.to_string()))?;
        disk::create_folder(folder)?;
        let (file, path) = disk::create_named(folder, &name_of(&self.path), ENDING)?;
        let mut all = std::mem::take(&mut self.kept);
        let end = all.len();
        all.extend_from_slice(&moved.bytes);
        let written = settle(&file, &path, &all);
        self.kept = all;
        if let Err(why) = written {
            self.kept.truncate(end);
            // A half copy would only be taken for the record.
            let _ = std::fs::remove_file(&path);
            return Err(why);
        }
        self.link = moved.then;
        self.recorded += 1;
        self.saved = self.recorded;
        self.unsynced = 0;
        self.syncs = true;
        self.file = Some(file);
        self.path = path;
        Ok(())
    }

    fn close(mut self, tell: &mut impl FnMut(Told)) -> Outcome {
        self.sync(tell);
        if let Some(file) = &self.file {
            // Gives back what was reserved and not used; where it fails, nothing is lost.
            let _ = file.set_len(self.kept.len() as u64);
        }
        let body = self.kept.strip_suffix(b"\n").unwrap_or(&self.kept);
        let from = body.iter().rposition(|byte| *byte == b'\n').map_or(0, |end| end + 1);
        Outcome {
            path: self.path,
            recorded: self.recorded,
            saved: self.saved,
            lost: self.lost,
            last_line_sha256: sha256_hex(&self.kept[from..]),
        }
    }
}

fn place_path(place: &Place) -> &Path {
    match place {
        Place::Default(path) | Place::Folder(path) | Place::File(path) => path,
    }
}

fn name_of(path: &Path) -> String {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    name.strip_suffix(ENDING).unwrap_or(&name).to_owned()
}

/// Creates the file of a new record.
fn open(plan: &Plan) -> Result<(File, PathBuf), NoRecord> {
    let refuse = |path: &Path, why| NoRecord { path: path.to_owned(), why: in_words(why, path) };
    let folder = match &plan.place {
        Place::File(path) => {
            return disk::create(path)
                .map(|file| (file, path.clone()))
                .map_err(|why| refuse(path, why));
        }
        Place::Default(folder) => {
            disk::create_folder(folder).map_err(|why| refuse(folder, why))?;
            folder
        }
        Place::Folder(folder) => folder,
    };
    let name = record_name(&plan.header.started, &plan.header.title);
    disk::create_named(folder, &name, ENDING).map_err(|why| refuse(folder, why))
}

/// Makes a new file ours, with room for what comes, and its first bytes durable under their name.
fn settle(file: &File, path: &Path, bytes: &[u8]) -> io::Result<()> {
    // Nobody else writes to a new file; at most someone looks at it this instant. A file system
    // without locks still takes a record.
    let _ = file.lock();
    disk::reserve(file, bytes.len() as u64 + RESERVE)?;
    write_whole(file, 0, bytes)?;
    file.sync_all()?;
    disk::sync_folder(path.parent().unwrap_or(Path::new(".")))
}

/// One write of a whole line behind `end`. A short write is a failure: what landed is cut off
/// again, so that the next line is never glued to a torn one.
fn write_whole(file: &File, end: u64, bytes: &[u8]) -> io::Result<()> {
    let why = match disk::write_once(file, bytes) {
        Ok(n) if n == bytes.len() => return Ok(()),
        Ok(_) => io::Error::from(ErrorKind::StorageFull),
        Err(why) => why,
    };
    file.set_len(end)?;
    Err(why)
}

fn in_words(why: io::Error, path: &Path) -> NoRecordWhy {
    match why.kind() {
        ErrorKind::NotFound => NoRecordWhy::MissingFolder,
        ErrorKind::AlreadyExists if is_held(path) => NoRecordWhy::Held,
        ErrorKind::AlreadyExists => NoRecordWhy::Taken,
        ErrorKind::PermissionDenied => NoRecordWhy::NotAllowed,
        ErrorKind::ReadOnlyFilesystem => NoRecordWhy::ReadOnly,
        ErrorKind::StorageFull | ErrorKind::QuotaExceeded | ErrorKind::FileTooLarge => {
            NoRecordWhy::NoRoom
        }
        _ => NoRecordWhy::Other(why),
    }
}
