//! Keeps the answers of a drill on the disk: takes lines, writes and syncs each, gives where they are or
//! why they are not. The person waits for nothing else meanwhile, so no thread of its own is needed.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use super::disk;
use super::records::record_name;
use crate::clock::Moment;
use crate::journal::drill::{Body, ENDING, Header, frame};
use crate::journal::write::Link;

/// The answers of one drill.
#[derive(Debug)]
pub struct Book {
    path: PathBuf,
    file: File,
    link: Link,
    trouble: Option<String>,
}

impl Book {
    /// Begins a file in a folder; `make`: the folder is created where it is missing.
    ///
    /// # Errors
    /// Why it cannot be begun, for a person.
    pub fn begin(folder: &Path, make: bool, header: Header) -> Result<Book, String> {
        let said = |why: io::Error| format!("{} cannot be written to: {why}", folder.display());
        if make {
            disk::create_folder(folder).map_err(said)?;
        }
        let name = record_name(&header.started, &header.title);
        let (file, path) = disk::create_named(folder, &name, ENDING).map_err(said)?;
        let mut book = Book { path, file, link: Link::first(), trouble: None };
        book.put(Moment::START, &Body::Header(header));
        match book.trouble.take() {
            Some(why) => Err(why),
            None => Ok(book),
        }
    }

    /// One line more. After a failure nothing more is written: what is there stays sound.
    pub fn put(&mut self, at: Moment, body: &Body) {
        if self.trouble.is_some() {
            return;
        }
        let written =
            frame(&self.link, at, body).map_err(|why| why.to_string()).and_then(|framed| {
                let whole =
                    disk::write_once(&self.file, &framed.bytes).map_err(|why| why.to_string())?;
                if whole != framed.bytes.len() {
                    return Err("the disk is full".to_owned());
                }
                self.file.sync_data().map_err(|why| why.to_string())?;
                self.link = framed.then;
                Ok(())
            });
        self.trouble = written.err();
    }

    /// Where the answers are.
    ///
    /// # Errors
    /// Why the last of them are not there.
    pub fn close(self) -> Result<String, String> {
        match self.trouble {
            None => Ok(self.path.display().to_string()),
            Some(why) => Err(format!("{}: {why}", self.path.display())),
        }
    }
}
