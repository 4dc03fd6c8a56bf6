//! A terminal for tests: the program runs in a pseudo-terminal of 80 by 24, a reader keeps the screen
//! as a terminal would show it, and tests wait for what stands there. Nothing sleeps: a wait ends
//! with the next bytes, or fails after [`PATIENCE`].

use std::io::{Read, Write};
use std::num::NonZero;
use std::path::Path;
use std::sync::{Arc, Condvar, Mutex};
use std::time::Duration;

use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};
use rustix::process::{Pid, Signal, kill_process};

/// How long a test waits for something that must come.
const PATIENCE: Duration = Duration::from_secs(60);
/// How long a press is given to show its effect before it is tried again: it may have been too early.
const EFFECT: Duration = Duration::from_millis(400);
/// Keys that mean *done*; each try takes another, so that none counts as held.
const DONE: [&str; 4] = [" ", "\r", "\x1b[6~", "\x1b[C"];

fn lines(n: u16) -> NonZero<u16> {
    NonZero::new(n).expect("not zero")
}

/// What the reader has seen.
struct Seen {
    parser: vt100::Parser,
    bytes: Vec<u8>,
    over: bool,
}

/// The program in a terminal.
pub struct Term {
    master: Option<Box<dyn MasterPty + Send>>,
    keys: Option<Box<dyn Write + Send>>,
    child: Box<dyn Child + Send + Sync>,
    seen: Arc<(Mutex<Seen>, Condvar)>,
    tries: usize,
}

impl Term {
    /// Starts the program with these words in a folder of its own.
    #[track_caller]
    pub fn start(args: &[&str], folder: &Path, environment: &[(&str, &str)]) -> Term {
        Term::sized(args, folder, environment, (80, 24))
    }

    /// The same in a terminal of this many columns and rows.
    #[track_caller]
    pub fn sized(
        args: &[&str],
        folder: &Path,
        environment: &[(&str, &str)],
        size: (u16, u16),
    ) -> Term {
        let program = Path::new(env!("CARGO_BIN_EXE_stepbell"));
        let mut term = Term::spawn(program, args, folder, environment, size);
        term.read();
        term
    }

    /// Any program in a terminal that nobody reads before [`Term::read`].
    #[track_caller]
    pub fn spawn(
        program: &Path,
        args: &[&str],
        folder: &Path,
        environment: &[(&str, &str)],
        (cols, rows): (u16, u16),
    ) -> Term {
        let size = PtySize { rows, cols, pixel_width: 0, pixel_height: 0 };
        let pair = native_pty_system().openpty(size).expect("a pseudo-terminal");
        let mut command = CommandBuilder::new(program);
        command.args(args);
        command.cwd(env!("CARGO_MANIFEST_DIR"));
        command.env_clear();
        command.env("TERM", "xterm-256color");
        command.env("HOME", folder);
        for (name, value) in environment {
            command.env(name, value);
        }
        let child = pair.slave.spawn_command(command).expect("it starts");
        drop(pair.slave);
        let keys = pair.master.take_writer().expect("a writer");
        let seen = Seen {
            parser: vt100::Parser::new(lines(rows), lines(cols), 0),
            bytes: Vec::new(),
            over: false,
        };
        let seen = Arc::new((Mutex::new(seen), Condvar::new()));
        Term { master: Some(pair.master), keys: Some(keys), child, seen, tries: 0 }
    }

    /// Reads what the program writes from now on.
    pub fn read(&mut self) {
        let master = self.master.as_ref().expect("open");
        let mut from = master.try_clone_reader().expect("a reader");
        let told = Arc::clone(&self.seen);
        std::thread::spawn(move || {
            let mut buffer = [0; 4096];
            loop {
                let read = from.read(&mut buffer).unwrap_or(0);
                let mut seen = told.0.lock().expect("not poisoned");
                seen.parser.process(&buffer[..read]);
                seen.bytes.extend_from_slice(&buffer[..read]);
                seen.over = read == 0;
                told.1.notify_all();
                if read == 0 {
                    return;
                }
            }
        });
    }

    /// The screen as text.
    pub fn screen(&self) -> String {
        self.seen.0.lock().expect("not poisoned").parser.screen().contents()
    }

    /// Every byte that the program wrote.
    pub fn bytes(&self) -> Vec<u8> {
        self.seen.0.lock().expect("not poisoned").bytes.clone()
    }

    /// Whether the cursor can be seen and the ordinary screen is on show.
    pub fn is_restored(&self) -> bool {
        let seen = self.seen.0.lock().expect("not poisoned");
        let screen = seen.parser.screen();
        !screen.hide_cursor() && !screen.alternate_screen() && !screen.bracketed_paste()
    }

    /// Whether the other screen is on show.
    pub fn is_on_other_screen(&self) -> bool {
        self.seen.0.lock().expect("not poisoned").parser.screen().alternate_screen()
    }

    /// Waits until something is so that bytes of the program bring about.
    #[track_caller]
    pub fn wait_until(&self, wanted: impl Fn(&Term) -> bool) {
        for _ in 0..PATIENCE.as_millis() / 20 {
            if wanted(self) {
                return;
            }
            self.pass(Duration::from_millis(20));
        }
        panic!("it never came about; the screen:\n{}", self.screen());
    }

    /// Whether the terminal takes whole lines and echoes them, as a shell expects it.
    pub fn is_cooked(&self) -> bool {
        let master = self.master.as_ref().expect("open");
        let modes = format!("{:?}", master.get_termios().expect("modes").local_flags);
        modes.contains("ICANON") && modes.contains("ECHO") && modes.contains("ISIG")
    }

    fn shows_within(&self, within: Duration, wanted: impl Fn(&str) -> bool) -> bool {
        let seen = self.seen.0.lock().expect("not poisoned");
        let (seen, _) = self
            .seen
            .1
            .wait_timeout_while(seen, within, |seen| {
                !seen.over && !wanted(&seen.parser.screen().contents())
            })
            .expect("not poisoned");
        wanted(&seen.parser.screen().contents())
    }

    /// Waits until the screen shows this text.
    #[track_caller]
    pub fn wait_for(&mut self, text: &str) -> &mut Term {
        assert!(
            self.shows_within(PATIENCE, |screen| unbroken(screen).contains(text)),
            "{text:?} never came; the screen:\n{}",
            self.screen()
        );
        self
    }

    /// Lets this much real time go by while the reader reads on.
    pub fn pass(&self, time: Duration) {
        let _ = self.shows_within(time, |_| false);
    }

    /// Presses keys.
    #[track_caller]
    pub fn press(&mut self, keys: &str) -> &mut Term {
        let to = self.keys.as_mut().expect("open");
        to.write_all(keys.as_bytes()).and_then(|()| to.flush()).expect("the keys arrive");
        self
    }

    /// Presses *done* until the screen shows this text. A press that comes too early is not taken,
    /// so it is tried again, with another key.
    #[track_caller]
    pub fn done_until(&mut self, text: &str) -> &mut Term {
        for _ in 0..100 {
            self.tries += 1;
            self.press(DONE[self.tries % DONE.len()]);
            if self.shows_within(EFFECT, |screen| unbroken(screen).contains(text)) {
                return self;
            }
        }
        panic!("{text:?} never came; the screen:\n{}", self.screen());
    }

    /// Sends the program a signal.
    pub fn signal(&self, signal: Signal) {
        let id = self.child.process_id().expect("running");
        let pid = Pid::from_raw(i32::try_from(id).expect("a small number")).expect("not zero");
        kill_process(pid, signal).expect("sent");
    }

    /// Gives the terminal another size.
    pub fn resize(&self, cols: u16, rows: u16) {
        {
            let mut seen = self.seen.0.lock().expect("not poisoned");
            seen.parser.screen_mut().set_size(lines(rows), lines(cols));
        }
        let size = PtySize { rows, cols, pixel_width: 0, pixel_height: 0 };
        self.master.as_ref().expect("open").resize(size).expect("resized");
    }

    /// Closes the terminal under the program.
    pub fn hang_up(&mut self) {
        self.keys = None;
        self.master = None;
        self.signal(Signal::HUP);
    }

    /// Waits for the end, but no longer than this; gives the exit code. Kills it otherwise.
    pub fn ends_within(&mut self, time: Duration) -> Option<u32> {
        for _ in 0..time.as_millis() / 20 {
            if let Some(status) = self.child.try_wait().expect("its child") {
                return Some(status.exit_code());
            }
            self.pass(Duration::from_millis(20));
        }
        self.child.kill().expect("it can be ended");
        None
    }

    /// Waits for the end; gives the exit code.
    pub fn ends(&mut self) -> u32 {
        let status = self.child.wait().expect("it ends");
        if self.master.is_some() {
            // Bytes that are still on their way.
            let seen = self.seen.0.lock().expect("not poisoned");
            drop(self.seen.1.wait_timeout_while(seen, PATIENCE, |seen| !seen.over));
        }
        status.exit_code()
    }
}

/// A test that fails leaves no program behind.
impl Drop for Term {
    fn drop(&mut self) {
        if let Ok(None) = self.child.try_wait() {
            let _ = self.child.kill();
        }
    }
}

/// The screen with its broken lines joined, so that a sentence is found wherever it is broken.
pub fn unbroken(screen: &str) -> String {
    screen.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// An empty folder for one test.
pub fn folder(name: &str) -> std::path::PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("terminal").join(name);
    let _ = std::fs::remove_dir_all(&folder);
    std::fs::create_dir_all(&folder).expect("a folder");
    folder
}

/// The records in a folder, oldest first.
pub fn records(folder: &Path) -> Vec<std::path::PathBuf> {
    let entries = std::fs::read_dir(folder).expect("a folder");
    let mut found: Vec<_> = entries.map(|entry| entry.expect("readable").path()).collect();
    found.retain(|path| path.extension().is_some_and(|ending| ending == "jsonl"));
    found.sort();
    found
}
