//! What takes longer, beside the answers: takes versions of documents, gives what is wrong with each, and
//! later what would mend it and what the proof says of its cues.
//!
//! Only the newest version of a document is looked at. Where the proof takes its time, what is wrong is
//! told before the verdict.

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::thread;

use crossbeam_channel::{Receiver, Sender, unbounded};

use super::shelf::Disk;
use crate::faces::editor::judge::{Judged, Task, look, proved};
use crate::faces::editor::mend::of_timing;
use crate::faces::editor::{Buffers, Later, reader};
use crate::source::FileId;
use crate::syntax::build;

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
                later.extend(judged.ok().flatten());
            } else if let Some((judged, buffers)) = later.pop() {
                let _ = catch_unwind(AssertUnwindSafe(|| self.more(&judged, &buffers)));
            }
        }
    }

    fn judged(&self, job: Job) -> Option<(Judged, Arc<Buffers>)> {
        let name = job.task.name.clone();
        let mut judged = look(job.task, &mut reader(&name, &job.buffers, &*self.disk));
        judged.verdict = proved(&judged.examined);
        let kept = judged.clone();
        self.found.send(Found::Judged(Box::new(judged))).ok()?;
        Some((kept, job.buffers))
    }

    /// What would mend the timing, and what the proof says of the cues. A new key ends it.
    fn more(&self, judged: &Judged, buffers: &Arc<Buffers>) {
        let stop = || !self.to_do.is_empty();
        let Some(source) = judged.examined.sources.get(FileId(0)) else { return };
        let (tree, _) = build::read(FileId(0), source.text());
        let name = source.name().to_owned();
        let mut read = reader(&name, buffers, &*self.disk);
        let mends = of_timing(judged, &tree, &mut read, &stop);
        let figures = Vec::new();
        if stop() || (mends.is_empty() && figures.is_empty()) {
            return;
        }
        let (address, version) = (judged.address.clone(), judged.version);
        let later = Later { address, version, mends, figures };
        // Nobody is left to tell where the server has ended.
        let _ = self.found.send(Found::Later(Box::new(later)));
    }
}
