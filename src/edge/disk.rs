//! The few calls on a file that a record rests on, one system call each: takes an open file or a
//! path, gives the operating system's answer unchanged.

use std::fs::{File, OpenOptions};
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

/// Creates a file for appending that nobody else can read and that was not there before. A link
/// of any kind at that name counts as being there and is never followed.
pub fn create(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true).append(true).create_new(true);
    private(&mut options);
    options.open(path)
}

/// Where a name is taken already, this many numbers are tried behind it.
const SAME_NAMES: u32 = 9;

/// Creates a file of this name in a folder, or with a number behind the name where it is taken.
pub fn create_named(folder: &Path, name: &str, ending: &str) -> io::Result<(File, PathBuf)> {
    let mut number = 1;
    loop {
        let name = if number == 1 { name.to_owned() } else { format!("{name}-{number}") };
        let path = folder.join(name + ending);
        match create(&path) {
            Err(why) if why.kind() == ErrorKind::AlreadyExists && number < SAME_NAMES => {
                number += 1;
            }
            answer => return answer.map(|file| (file, path)),
        }
    }
}

/// Opens a file that is there for appending. A symbolic link is refused, a FIFO is not waited for.
pub fn reopen(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true).append(true);
    private(&mut options);
    options.open(path)
}

/// Opens for reading without ever waiting for a writer or becoming a device's terminal.
pub fn open_to_read(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.read(true);
    no_waiting(&mut options);
    options.open(path)
}

#[cfg(unix)]
fn private(options: &mut OpenOptions) {
    use rustix::fs::OFlags;
    use std::os::unix::fs::OpenOptionsExt;
    let flags = OFlags::NOFOLLOW | OFlags::NONBLOCK | OFlags::NOCTTY;
    options.mode(0o600).custom_flags(flags.bits().cast_signed());
}

#[cfg(unix)]
fn no_waiting(options: &mut OpenOptions) {
    use rustix::fs::OFlags;
    use std::os::unix::fs::OpenOptionsExt;
    options.custom_flags((OFlags::NONBLOCK | OFlags::NOCTTY).bits().cast_signed());
}

#[cfg(not(unix))]
fn private(_: &mut OpenOptions) {}

#[cfg(not(unix))]
fn no_waiting(_: &mut OpenOptions) {}

/// Asks for disk blocks up to `len` bytes without changing the file's size, so that a disk that
/// fills up during the run does not stop the record. A file system that cannot do this is no
/// trouble; a full one is.
pub fn reserve(file: &File, len: u64) -> io::Result<()> {
    #[cfg(target_os = "linux")]
    {
        use rustix::fs::{FallocateFlags, fallocate};
        match fallocate(file, FallocateFlags::KEEP_SIZE, 0, len).map_err(io::Error::from) {
            Err(why) if why.kind() == ErrorKind::Unsupported => Ok(()),
            // Some file systems answer with EINVAL or ENOSYS instead.
            Err(why) if matches!(why.raw_os_error(), Some(22 | 38)) => Ok(()),
            answer => answer,
        }
    }
    #[cfg(not(target_os = "linux"))]
    {
        let _ = (file, len);
        Ok(())
    }
}

/// One `write`: how many bytes the file took. Asked again only where nothing was written because
/// a signal came.
pub fn write_once(mut file: &File, bytes: &[u8]) -> io::Result<usize> {
    loop {
        match file.write(bytes) {
            Err(why) if why.kind() == ErrorKind::Interrupted => {}
            answer => return answer,
        }
    }
}

/// Makes a folder's own list of names durable.
pub fn sync_folder(folder: &Path) -> io::Result<()> {
    #[cfg(unix)]
    {
        let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
        match File::open(folder)?.sync_all() {
            // A file system that has nothing to sync for a folder says EINVAL.
            Err(why) if why.raw_os_error() == Some(22) => Ok(()),
            answer => answer,
        }
    }
    #[cfg(not(unix))]
    {
        let _ = folder;
        Ok(())
    }
}

/// Creates a folder and those above it, readable by nobody else.
pub fn create_folder(folder: &Path) -> io::Result<()> {
    let mut builder = std::fs::DirBuilder::new();
    builder.recursive(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::DirBuilderExt;
        builder.mode(0o700);
    }
    builder.create(folder)
}

/// At most `limit` bytes, and one more where there are more, in the place of what `bytes` held.
pub fn read_at_most(from: &mut impl Read, limit: u64, bytes: &mut Vec<u8>) -> io::Result<()> {
    bytes.clear();
    from.take(limit.saturating_add(1)).read_to_end(bytes).map(|_| ())
}
