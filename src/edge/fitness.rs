//! Looks at the computer before a run: takes what is known of the surroundings, gives facts about its
//! clock, its folder for records, its terminal and its network.

use std::io::Write;
use std::path::Path;
use std::sync::mpsc::channel;
use std::time::{Duration, Instant};

use super::clock::{RunClock, Wake, read};
use super::page::lan_address;
use super::{disk, terminal};
use crate::clock::{Millis, Moment};
use crate::faces::ready::{Fact, State};

/// So often a wake is tried.
const WAKES: i64 = 40;
/// Each so far from the last.
const APART: Millis = Millis(10);
/// A wake later than this is a trouble for cues (a cue over 100 ms late is told of in a run).
const LATE: Duration = Duration::from_millis(50);
/// Less room than this for a record is too little: its own limit.
const ROOM: u64 = 256 << 20;
/// A disk that takes longer to save is slow.
const SLOW: Duration = Duration::from_millis(500);

/// Whether the clock goes on while the computer sleeps, and how late a wake comes.
#[must_use]
pub fn clock() -> Fact {
    let late = latest_wake();
    let wakes = format!("wakes within {} ms, {WAKES} tries", late.as_millis() + 1);
    let busy = "the computer is busy: end other programs, plug it in";
    if cfg!(target_os = "linux") {
        let found = format!("goes on while the computer sleeps; {wakes}");
        let fact = Fact::new("clock", State::Ok, found);
        return if late > LATE { Fact { state: State::Missing, ..fact }.mend(busy) } else { fact };
    }
    let found = format!("not known whether it goes on while the computer sleeps; {wakes}");
    Fact::new("clock", State::Unknown, found).mend("let the computer not fall asleep during a run")
}

/// How much too late the latest of some wakes was.
fn latest_wake() -> Duration {
    let mut clock = RunClock::start();
    // The sender lives as long as the wait, so that nothing but the moment ends it.
    let (_keep, nothing) = channel::<()>();
    let mut latest = 0;
    for n in 1..=WAKES {
        let due = Moment(APART.times(n).0);
        if let Wake::Due = clock.wait_until(due, &nothing).why {
            latest = latest.max(read().boot - clock.instant_of(due));
        }
    }
    Duration::from_nanos(latest.max(0).unsigned_abs())
}

/// Whether a record can be kept where records go by default.
#[must_use]
pub fn records(folder: Option<&Path>) -> Fact {
    let bad = |why: String| {
        Fact::new("records", State::Bad, why)
            .mend("name a folder with --record FOLDER, or make room there")
    };
    let Some(folder) = folder else { return bad("no folder for records is known".to_owned()) };
    let shown = folder.display();
    if let Err(why) = disk::create_folder(folder) {
        return bad(format!("{shown} cannot be made: {why}"));
    }
    let probe = folder.join(format!(".ready-{}", std::process::id()));
    let begun = Instant::now();
    let written = disk::create(&probe).and_then(|mut file| {
        file.write_all(&[b'x'; 4096])?;
        file.sync_data()
    });
    let took = begun.elapsed();
    // It may never have come to be.
    let _ = std::fs::remove_file(&probe);
    if let Err(why) = written {
        return bad(format!("{shown} cannot be written: {why}"));
    }
    let room = room(folder);
    let told = room.map_or_else(String::new, |room| format!(", {} MiB free", room >> 20));
    let found = format!("{shown}: written and saved in {} ms{told}", took.as_millis() + 1);
    if room.is_some_and(|room| room < ROOM) {
        return Fact::new("records", State::Missing, found).mend("make room on this disk");
    }
    if took > SLOW {
        let slow = "a slow disk only delays \"saved\", never a cue; another folder may be quicker";
        return Fact::new("records", State::Ok, found).mend(slow);
    }
    Fact::new("records", State::Ok, found)
}

#[cfg(unix)]
fn room(folder: &Path) -> Option<u64> {
    let disk = rustix::fs::statvfs(folder).ok()?;
    Some(disk.f_bavail.saturating_mul(disk.f_frsize))
}

#[cfg(not(unix))]
fn room(_: &Path) -> Option<u64> {
    None
}

/// The terminal: its size, and whether single keys can be read.
#[must_use]
pub fn terminal(is_one: bool, colour: bool) -> Fact {
    if !is_one {
        let found = "none here: a run is shown in plain lines, answers are read as lines";
        return Fact::new("terminal", State::Missing, found).mend("begin runs in a terminal");
    }
    let size = terminal::size();
    let colour = if colour { "colour" } else { "no colour, nothing depends on it" };
    let found = format!("{} columns by {} rows, {colour}, single keys", size.columns, size.rows);
    if size.columns < 80 || size.rows < 24 {
        return Fact::new("terminal", State::Ok, found).mend("80 by 24 shows everything");
    }
    Fact::new("terminal", State::Ok, found)
}

/// Where a phone would find the page.
#[must_use]
pub fn page() -> Fact {
    match lan_address() {
        Ok(address) => {
            let found = format!("a phone in this network finds this computer as {address}");
            Fact::new("phone page", State::Ok, found).mend("guide FILE --page=lan")
        }
        Err(_) => Fact::new("phone page", State::Missing, "this computer is in no network")
            .mend("join one, for a page on a phone; --page=here serves this computer alone"),
    }
}
