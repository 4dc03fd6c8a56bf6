//! A folder of this run's own for passing things: takes a place for temporary files, gives a folder that
//! nobody else can enter and that goes away with its owner.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// A folder that goes away.
#[derive(Debug)]
pub struct Scratch {
    /// Where.
    pub path: PathBuf,
}

impl Scratch {
    /// Makes one.
    ///
    /// # Errors
    /// The operating system's.
    pub fn new(beside: &Path) -> io::Result<Scratch> {
        let mut builder = fs::DirBuilder::new();
        #[cfg(unix)]
        {
            use std::os::unix::fs::DirBuilderExt;
            builder.mode(0o700);
        }
        let own = std::process::id();
        let mut last = io::Error::from(io::ErrorKind::AlreadyExists);
        for nth in 0..100 {
            let path = beside.join(format!("stepbell-{own}-{nth}"));
            // What is there already may be somebody else's: it is never used.
            match builder.create(&path) {
                Ok(()) => return Ok(Scratch { path }),
                Err(why) => last = why,
            }
        }
        Err(last)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // What cannot be removed lies among other temporary files.
        let _ = fs::remove_dir_all(&self.path);
    }
}
