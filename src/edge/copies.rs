//! Copies of records that were cut short: takes files, says which of them are nothing but the beginning
//! of a longer one. They hold the same run, which is counted once.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, BufRead, BufReader, Read};
use std::ops::Range;
use std::path::{Path, PathBuf};

use super::{disk, many};

/// What every record of ours begins with.
const OURS: &[u8] = br#"{"seq":1,"#;
/// Two records that differ do so within so many bytes: when they were begun stands near the front.
const FRONT: u64 = 512;
/// With more than so many different runs behind one front no further copies are looked for.
const MOST: usize = 16;
/// A thread looks at so many fronts at a time.
const PORTION: u64 = 64;

/// The front of a file and its length, where it may be a record.
type Front = (Vec<u8>, u64);

/// The files that are the beginning of a longer one among them: each one's number with the longest's.
///
/// # Errors
/// When not one thread can be had.
pub fn cut_short(files: &[PathBuf]) -> io::Result<BTreeMap<usize, usize>> {
    let look = |found: &mut Vec<(usize, Front)>, range: Range<u64>| {
        for nth in range.filter_map(|nth| usize::try_from(nth).ok()) {
            let front = files.get(nth).and_then(|file| front(file).ok().flatten());
            found.extend(front.map(|front| (nth, front)));
        }
    };
    let total = u64::try_from(files.len()).unwrap_or(u64::MAX);
    let found = many::spread_by(PORTION, many::cores(), total, Vec::new, look, |_| {})?;
    let mut alike: BTreeMap<Vec<u8>, Vec<(u64, usize)>> = BTreeMap::new();
    for (nth, (front, length)) in found.into_iter().flatten() {
        alike.entry(front).or_default().push((length, nth));
    }
    let mut cut = BTreeMap::new();
    for mut all in alike.into_values().filter(|all| all.len() > 1) {
        // The longest first; of equal ones the first.
        all.sort_by_key(|(length, nth)| (std::cmp::Reverse(*length), *nth));
        let mut whole: Vec<(u64, usize)> = Vec::new();
        for (length, nth) in all {
            let longer = whole.iter().find(|(other, long)| {
                *other > length && is_beginning(&files[nth], &files[*long]).unwrap_or(false)
            });
            match longer {
                Some((_, long)) => drop(cut.insert(nth, *long)),
                None if whole.len() < MOST => whole.push((length, nth)),
                None => {}
            }
        }
    }
    Ok(cut)
}

fn front(file: &Path) -> io::Result<Option<Front>> {
    // Asked first: what is no regular file could be used up by a look.
    if !std::fs::metadata(file)?.is_file() {
        return Ok(None);
    }
    let file = disk::open_to_read(file)?;
    let length = file.metadata()?.len();
    let mut front = Vec::new();
    file.take(FRONT).read_to_end(&mut front)?;
    let whole = u64::try_from(front.len()).is_ok_and(|read| read == FRONT);
    Ok((whole && front.starts_with(OURS)).then_some((front, length)))
}

/// Whether one file holds nothing but the beginning of the other.
fn is_beginning(short: &Path, long: &Path) -> io::Result<bool> {
    let open = |file: &Path| disk::open_to_read(file).map(|file: File| BufReader::new(file));
    let (mut short, mut long) = (open(short)?, open(long)?);
    loop {
        let (one, other) = (short.fill_buf()?, long.fill_buf()?);
        let both = one.len().min(other.len());
        if one.is_empty() {
            return Ok(true);
        }
        if both == 0 || one[..both] != other[..both] {
            return Ok(false);
        }
        short.consume(both);
        long.consume(both);
    }
}
