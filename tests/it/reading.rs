//! Reading without being trapped: only a regular file within its limit is read, at once, and every
//! refusal is one plain sentence.

use std::fs;
use std::path::Path;
use std::process::Command;

use stepbell::edge::files::{SCRIPT_LIMIT, Unreadable, read_record, read_script, script_from};
use stepbell::journal::entry::RECORD_LIMIT;

use crate::journals::skipped;
use crate::recording::folder;

#[track_caller]
fn check_refused(path: &Path, sentence: &str) {
    let refused = read_script(path).expect_err("it was read");
    let said = refused.to_string().replace(path.to_str().unwrap(), "FILE");
    assert_eq!(said, sentence);
}

#[test]
fn what_is_no_file_is_refused_without_waiting() {
    let place = folder("reading");
    check_refused(&place.join("missing"), "FILE: there is no such file");
    check_refused(&place, "FILE: this is a folder, not a file");
    check_refused(Path::new("/dev/zero"), "FILE: this is a device, not a file");
    let socket = place.join("socket");
    let _listener = std::os::unix::net::UnixListener::bind(&socket).unwrap();
    check_refused(&socket, "FILE: this is a socket, not a file");
    let pipe = place.join("pipe");
    if Command::new("mkfifo").arg(&pipe).status().is_ok_and(|made| made.success()) {
        check_refused(&pipe, "FILE: this is a pipe, not a file");
        let link = place.join("link");
        std::os::unix::fs::symlink(&pipe, &link).unwrap();
        check_refused(&link, "FILE: this is a pipe, not a file");
    } else {
        skipped("a pipe as a script: mkfifo is not here");
    }
}

#[test]
fn a_file_is_read_up_to_its_limit_and_not_a_byte_further() {
    let file = folder("limits").join("long.bell");
    let write = |len: u64| {
        let text = "x".repeat(usize::try_from(len).unwrap());
        fs::write(&file, text).unwrap();
    };
    write(SCRIPT_LIMIT);
    assert_eq!(read_script(&file).unwrap().text().len() as u64, SCRIPT_LIMIT);
    write(SCRIPT_LIMIT + 1);
    check_refused(&file, "FILE: longer than 1 MiB, not read");
    // A file without blocks, as long as it says.
    fs::File::create(&file).unwrap().set_len(100 << 20).unwrap();
    check_refused(&file, "FILE: longer than 1 MiB, not read");
    assert_eq!(read_record(&file).unwrap().len(), 100 << 20);
    fs::File::create(&file).unwrap().set_len(RECORD_LIMIT + 1).unwrap();
    let refused = read_record(&file).unwrap_err().to_string();
    assert!(refused.ends_with("longer than 256 MiB, not read"), "{refused}");
}

#[test]
fn a_stream_without_end_is_read_to_the_limit() {
    let mut taken = 0;
    let mut endless = Endless { taken: &mut taken };
    let refused = script_from(&mut endless, "standard input").unwrap_err();
    assert_eq!(refused.to_string(), "standard input: longer than 1 MiB, not read");
    assert_eq!(taken, SCRIPT_LIMIT + 1);
}

struct Endless<'a> {
    taken: &'a mut u64,
}

impl std::io::Read for Endless<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        into.fill(b'x');
        *self.taken += into.len() as u64;
        Ok(into.len())
    }
}

#[test]
fn what_is_not_utf_8_is_refused_with_its_place() {
    let file = folder("text").join("latin.bell");
    fs::write(&file, b"# first\n# Z\xc3\xbcndung \xfc\n").unwrap();
    check_refused(&file, "FILE:2:11: not UTF-8 text (byte 19)");
    fs::write(&file, "# Zündung\n").unwrap();
    assert_eq!(read_script(&file).unwrap().text(), "# Zündung\n");
}

#[test]
fn a_name_cannot_steer_the_terminal() {
    let said = |name: &str| match read_script(Path::new(name)) {
        Err(refused @ Unreadable { .. }) => refused.to_string(),
        Ok(_) => panic!("{name:?} was read"),
    };
    assert_eq!(said("a\u{1b}[2Jb"), "a\\u{1b}[2Jb: there is no such file");
    assert_eq!(said("a\u{202e}b\u{9b}"), "a\\u{202e}b\\u{9b}: there is no such file");
}
