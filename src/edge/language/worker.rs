//! What takes longer, beside the answers: takes versions of documents, gives what is wrong with each, and
//! later what would mend it and what the proof says of its cues.
//!
//! Only the newest version of a document is looked at. Where the proof takes its time, what is wrong is
//! told before the verdict.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, unbounded};

use super::shelf::Disk;
use crate::faces::editor::figures::of_proof;
use crate::faces::editor::judge::{Judged, Task, look};
use crate::faces::editor::mend::of_timing;
use crate::faces::editor::{Buffers, Later, reader};
use crate::source::FileId;
use crate::syntax::build;

/// A proof that takes longer is not waited for before what is wrong is told.
const PATIENCE: Duration = Duration::from_millis(150);

/// A script of hundreds of windows would keep a processor busy for minutes: nobody waits so long for
/// figures.
const LONGEST: Duration = Duration::from_secs(30);

/// A version of a document to be looked at.
#[derive(Debug)]
pub struct Job {
    /// The document.
    pub task: Task,
    /// The texts of all open documents.
    pub buffers: Arc<Buffers>,
}

/// What was found.
#[derive(Debug)]
pub enum Found {
    /// What is wrong with a version.
    Judged(Box<Judged>),
    /// What came later.
    Later(Box<Later>),
}

/// Starts the worker; it ends when no more jobs can come.
pub fn start(disk: Arc<Disk>) -> (Sender<Job>, Receiver<Found>) {
    let (jobs, to_do) = unbounded();
    let (found, results) = unbounded();
    let worker = Worker { to_do, found, disk };
    thread::spawn(move || worker.run());
    (jobs, results)
}

struct Worker {
    to_do: Receiver<Job>,
    found: Sender<Found>,
    disk: Arc<Disk>,
}

impl Worker {
    fn run(&self) {
        let mut waiting: BTreeMap<String, Job> = BTreeMap::new();
        let mut later: Vec<(Judged, Arc<Buffers>)> = Vec::new();
        loop {
            if waiting.is_empty() && later.is_empty() {
                let Ok(job) = self.to_do.recv() else { return };
                waiting.insert(job.task.address.clone(), job);
            }
            for job in self.to_do.try_iter() {
                waiting.insert(job.task.address.clone(), job);
            }
            if let Some((address, job)) = waiting.pop_first() {
                later.retain(|(judged, _)| judged.address != address);
                // A fault of ours costs this version's marks; the next key asks anew.
                let judged = catch_unwind(AssertUnwindSafe(|| self.judged(job)));
                match judged {
                    Ok(Ok(done)) => later.push(done),
                    // Looked at again, unless there is a newer version by then.
                    Ok(Err(job)) => drop(waiting.insert(address, *job)),
                    Err(_) => {}
                }
            } else if let Some((judged, buffers)) = later.pop() {
                let _ = catch_unwind(AssertUnwindSafe(|| self.more(&judged, &buffers)));
            }
        }
    }

    /// What is wrong with a version, and its verdict; or the job again where a new key ended it.
    fn judged(&self, job: Job) -> Result<(Judged, Arc<Buffers>), Box<Job>> {
        let name = job.task.name.clone();
        let mut judged = look(job.task.clone(), &mut reader(&name, &job.buffers, &*self.disk));
        let (bare, begun, told) = (judged.clone(), Instant::now(), Cell::new(false));
        let stop = || {
            if !told.get() && begun.elapsed() > PATIENCE {
                told.set(true);
                self.tell(Found::Judged(Box::new(bare.clone())));
            }
            !self.to_do.is_empty()
        };
        if judged.prove(&stop).is_err() {
            return Err(Box::new(job));
        }
        self.tell(Found::Judged(Box::new(judged.clone())));
        Ok((judged, job.buffers))
    }

    fn tell(&self, found: Found) {
        // Nobody is left to tell where the server has ended.
        let _ = self.found.send(found);
    }

    /// What would mend the timing, and what the proof says of the cues. A new key ends it, and so does
    /// [`LONGEST`]: what is known by then is told.
    fn more(&self, judged: &Judged, buffers: &Arc<Buffers>) {
        let newer = || !self.to_do.is_empty();
        let begun = Instant::now();
        let stop = || newer() || begun.elapsed() > LONGEST;
        let Some(source) = judged.examined.sources.get(FileId(0)) else { return };
        let (tree, _) = build::read(FileId(0), source.text());
        let name = source.name().to_owned();
        let mut read = reader(&name, buffers, &*self.disk);
        let mends = of_timing(judged, &tree, &mut read, &stop);
        let figures = of_proof(judged, &stop).unwrap_or_default();
        if newer() || (mends.is_empty() && figures.is_empty()) {
            return;
        }
        let (address, version) = (judged.address.clone(), judged.version);
        let later = Later { address, version, mends, figures };
        self.tell(Found::Later(Box::new(later)));
    }
}
