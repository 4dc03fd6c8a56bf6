//! A player of this computer: takes a sound mix, gives it to a program that plays it, piece by piece.
//!
//! No library is linked. On Linux the program is one that takes raw samples as they come, so that the
//! loudspeaker is never without silence (a wireless one would fall asleep and lose the first half second
//! of a cue) and at most a tenth of a second lies between the mix and the program. Elsewhere (untested)
//! it is one that plays a file; what sounds is written to a file and played from there anew whenever
//! something changes.
//!
//! A player that fails silently does not pass: one that ends, takes nothing, or takes sound faster than it
//! can be played is given up and says why. That a person hears it, only a person can say.

use std::ffi::OsStr;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Stdio};
use std::time::{Duration, Instant};

use super::programs::{self, Heard, command, end, failed};
use super::scratch::Scratch;
use super::wav::to_wav;
use crate::clock::Millis;
use crate::faces::clip::Clip;
use crate::faces::mix::Mixer;

/// Samples are given in pieces of this length.
const PIECE: Millis = Millis(10);
/// So much may wait between the mix and the player. Two pages of a pipe would be 190 ms.
const AHEAD: Millis = Millis(40);
/// How long a pause is where there is no room.
const PAUSE: Duration = Duration::from_millis(4);
/// A player that takes nothing for so long hangs.
const HUNG: Duration = Duration::from_secs(3);
/// What a player may take at once for its own store; one that takes more cannot be playing it.
const STORE: Millis = Millis(4000);
/// A player that has taken sound for so long plays.
const SETTLED: Duration = Duration::from_millis(400);
/// How much silence follows in a file.
const TAIL: Millis = Millis(10_000);

/// A player as this program knows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Known {
    /// The program's name.
    pub name: &'static str,
    /// What installs it, where that helps.
    pub package: &'static str,
    way: Way,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    /// Raw samples through standard input, called with these words; `RATE` stands for the rate.
    Stream(&'static [&'static str]),
    /// A WAV file by name.
    File,
    /// A WAV file, named in the environment, by a script of its own.
    Script(&'static str),
}

/// The players, the desktop's own first. The lengths of their stores are small: a tenth of a second.
pub const KNOWN: [Known; 5] = [
    Known {
        name: "pw-play",
        package: "pipewire-bin",
        way: Way::Stream(&["--rate=RATE", "--channels=1", "--format=s16", "--latency=60ms", "-"]),
    },
    Known {
        name: "paplay",
        package: "pulseaudio-utils",
        way: Way::Stream(&[
            "--raw",
            "--rate=RATE",
            "--format=s16le",
            "--channels=1",
            "--latency-msec=60",
        ]),
    },
    Known {
        name: "aplay",
        package: "alsa-utils",
        way: Way::Stream(&[
            "--quiet",
            "--file-type=raw",
            "--format=S16_LE",
            "--rate=RATE",
            "--channels=1",
            "--buffer-time=120000",
            "-",
        ]),
    },
    Known { name: "afplay", package: "", way: Way::File },
    Known {
        name: "powershell",
        package: "",
        way: Way::Script("(New-Object Media.SoundPlayer $env:STEPBELL_SOUND).PlaySync()"),
    },
];

/// The players that lie on the search path, the desktop's own first.
#[must_use]
pub fn found(search: Option<&OsStr>) -> Vec<(Known, PathBuf)> {
    let here = |known: &Known| known.name != "powershell" || cfg!(windows);
    let all = KNOWN.into_iter().filter(here);
    all.filter_map(|known| Some((known, programs::find(search, known.name)?))).collect()
}

/// A player at work.
#[derive(Debug)]
pub struct Player {
    known: Known,
    program: PathBuf,
    rate: u32,
    begun: Instant,
    work: Work,
    heard: Heard,
}

#[derive(Debug)]
enum Work {
    Stream {
        child: Child,
        to: ChildStdin,
        /// What the pipe did not take yet.
        rest: Vec<u8>,
        /// Samples given.
        given: u64,
        /// When it last took something.
        took: Instant,
        /// When it first took more than the pipe holds.
        plays: Option<Instant>,
        /// How long it has made us wait since then: what plays takes its time.
        held_up: Duration,
    },
    File {
        /// At work, since when, with how many samples.
        child: Option<(Child, Instant, usize)>,
        /// Up to when the mix has been played.
        at: Instant,
        odd: bool,
        /// Where the files lie.
        folder: Scratch,
    },
}

impl Player {
    /// Starts a player. `temporary`: where files for it may lie.
    ///
    /// # Errors
    /// A short reason for a person.
    pub fn start(
        known: Known,
        program: &Path,
        rate: u32,
        temporary: &Path,
    ) -> Result<Player, String> {
        let begun = Instant::now();
        let mut heard = Heard::default();
        let work = match known.way {
            Way::Stream(args) => {
                let mut call = command(program);
                if known.name == "pw-play" && wants_raw(program) {
                    call.arg("--raw");
                }
                let rate = rate.to_string();
                call.args(args.iter().map(|word| word.replace("RATE", &rate)));
                call.stdin(Stdio::piped()).stdout(Stdio::null());
                let mut child = call
                    .stderr(Stdio::piped())
                    .spawn()
                    .map_err(|why| format!("{} cannot be started: {why}", known.name))?;
                heard = Heard::from(child.stderr.take());
                let Some(to) = child.stdin.take() else {
                    return Err(format!("{} has no input", known.name));
                };
                if let Err(why) = never_wait(&to) {
                    end(&mut child);
                    return Err(format!("{}: {why}", known.name));
                }
                Work::Stream {
                    child,
                    to,
                    rest: Vec::new(),
                    given: 0,
                    took: begun,
                    plays: None,
                    held_up: Duration::ZERO,
                }
            }
            Way::File | Way::Script(_) => {
                let folder = Scratch::new(temporary)
                    .map_err(|why| format!("no file for {}: {why}", known.name))?;
                Work::File { child: None, at: begun, odd: false, folder }
            }
        };
        Ok(Player { known, program: program.to_owned(), rate, begun, work, heard })
    }

    /// What it is called.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.known.name
    }

    /// What it was started as.
    #[must_use]
    pub fn program(&self) -> (Known, PathBuf) {
        (self.known, self.program.clone())
    }

    /// How long it has taken nothing.
    #[must_use]
    pub fn quiet(&self) -> Duration {
        match &self.work {
            Work::Stream { took, .. } => took.elapsed(),
            Work::File { .. } => Duration::ZERO,
        }
    }

    /// Whether it has taken sound at the pace of a loudspeaker for a while.
    #[must_use]
    pub fn is_settled(&self) -> bool {
        match &self.work {
            Work::Stream { plays, held_up, .. } => {
                let long = |since: &Instant| since.elapsed() >= SETTLED;
                plays.as_ref().is_some_and(long) && *held_up >= SETTLED / 4
            }
            Work::File { child, .. } => {
                child.as_ref().is_some_and(|(_, since, _)| since.elapsed() >= SETTLED)
            }
        }
    }

    /// Gives it what it has room for; pauses where it has none. `changed`: the mix is another than it was.
    ///
    /// # Errors
    /// Why it is given up; it has been ended then.
    pub fn feed(&mut self, mixer: &mut Mixer, changed: bool) -> Result<(), String> {
        let fed = match &mut self.work {
            Work::Stream { .. } => self.stream(mixer),
            Work::File { .. } => self.files(mixer, changed),
        };
        if fed.is_err() {
            self.end();
        }
        fed
    }

    /// Lets the mix move on by as much as was played of a file, before it is changed.
    pub fn catch_up(&mut self, mixer: &mut Mixer) {
        if let Work::File { at, .. } = &mut self.work {
            let now = Instant::now();
            let played = now.duration_since(*at).as_nanos() * u128::from(self.rate) / 1_000_000_000;
            *at = now;
            mixer.next(usize::try_from(played).unwrap_or(usize::MAX).min(60 * 96_000));
        }
    }

    fn stream(&mut self, mixer: &mut Mixer) -> Result<(), String> {
        let name = self.known.name;
        let Work::Stream { child, to, rest, given, took, plays, held_up } = &mut self.work else {
            return Ok(());
        };
        if let Ok(Some(status)) = child.try_wait() {
            self.heard.complete();
            return Err(failed(name, status, &self.heard.line()));
        }
        let in_samples = |ms: Millis| (ms.0 * i64::from(self.rate) / 1000).unsigned_abs();
        if rest.is_empty() && waiting(to) < in_samples(AHEAD) * 2 {
            let piece = usize::try_from(in_samples(PIECE)).unwrap_or(1).max(1);
            rest.extend(mixer.next(piece).into_iter().flat_map(i16::to_le_bytes));
            *given += piece as u64;
        }
        let wrote = if rest.is_empty() { Ok(0) } else { to.write(rest) };
        if plays.is_some() && !matches!(wrote, Ok(1..)) {
            *held_up += PAUSE;
        }
        match wrote {
            Ok(0) => std::thread::sleep(PAUSE),
            Ok(many) => {
                rest.drain(..many);
                *took = Instant::now();
            }
            Err(why) if why.kind() == ErrorKind::WouldBlock => std::thread::sleep(PAUSE),
            Err(why) if why.kind() == ErrorKind::Interrupted => {}
            Err(why) => {
                // Its own words are better, if it has any.
                std::thread::sleep(PAUSE);
                self.heard.complete();
                let said = self.heard.line();
                let said = if said.is_empty() { why.to_string() } else { said };
                return Err(format!("{name} takes no more sound: {said}"));
            }
        }
        if took.elapsed() > HUNG {
            return Err(format!("{name} takes no sound"));
        }
        let held = u64::try_from(rest.len()).unwrap_or(0) + waiting(to);
        let taken = given.saturating_sub(held / 2);
        if plays.is_none() && taken > 0 {
            *plays = Some(Instant::now());
        }
        let since = plays.map_or(Duration::ZERO, |since| since.elapsed());
        let could = since.as_nanos() * u128::from(self.rate) / 1_000_000_000;
        if u128::from(taken) > could + u128::from(in_samples(STORE)) {
            return Err(format!(
                "{name} takes sound faster than it can be played: nobody hears it"
            ));
        }
        Ok(())
    }

    fn files(&mut self, mixer: &Mixer, changed: bool) -> Result<(), String> {
        let (known, rate) = (self.known, self.rate);
        let Work::File { child, odd, at, folder } = &mut self.work else { return Ok(()) };
        if let Some((playing, since, samples)) = child {
            let length = Duration::from_millis(*samples as u64 * 1000 / u64::from(rate.max(1)));
            match playing.try_wait() {
                Ok(Some(status)) if !status.success() => {
                    self.heard.complete();
                    return Err(failed(known.name, status, &self.heard.line()));
                }
                Ok(Some(_)) if since.elapsed() * 10 < length * 8 => {
                    return Err(format!("{} ends too soon: nobody hears it", known.name));
                }
                Ok(Some(_)) => *child = None,
                Ok(None) if since.elapsed() > length + HUNG => {
                    return Err(format!("{} does not end", known.name));
                }
                Ok(None) | Err(_) => {}
            }
        }
        if child.is_some() && !changed {
            std::thread::sleep(PAUSE);
            return Ok(());
        }
        if let Some((mut playing, ..)) = child.take() {
            end(&mut playing);
        }
        let mut samples = mixer.rest();
        let tail = usize::try_from(TAIL.0 * i64::from(rate) / 1000).unwrap_or(0);
        samples.resize(samples.len() + tail, 0);
        *odd = !*odd;
        let path = folder.path.join(if *odd { "sound-1.wav" } else { "sound-2.wav" });
        let many = samples.len();
        std::fs::write(&path, to_wav(&Clip { rate, samples }))
            .map_err(|why| format!("no file for {}: {why}", known.name))?;
        let mut call = command(&self.program);
        match known.way {
            Way::File => call.arg(&path),
            Way::Script(script) => call
                .args(["-NoProfile", "-NonInteractive", "-Command", script])
                .env("STEPBELL_SOUND", &path),
            Way::Stream(_) => &mut call,
        };
        let started =
            call.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn();
        let mut started =
            started.map_err(|why| format!("{} cannot be started: {why}", known.name))?;
        self.heard = Heard::from(started.stderr.take());
        *at = Instant::now();
        *child = Some((started, *at, many));
        Ok(())
    }

    /// Lets it play what it holds, not for ever, and ends it.
    pub fn finish(mut self) {
        if let Work::Stream { child, to, .. } = self.work {
            drop(to);
            let mut child = child;
            if programs::wait(&mut child, Duration::from_millis(800)).is_none() {
                end(&mut child);
            }
            return;
        }
        self.end();
    }

    /// Ends it at once.
    pub fn end(&mut self) {
        match &mut self.work {
            Work::Stream { child, .. } => end(child),
            Work::File { child, .. } => {
                if let Some((mut child, ..)) = child.take() {
                    end(&mut child);
                }
            }
        }
    }

    /// How long it has been at work.
    #[must_use]
    pub fn age(&self) -> Duration {
        self.begun.elapsed()
    }
}

/// Whether this version of the player takes raw samples only when told so.
fn wants_raw(program: &Path) -> bool {
    let help = programs::ask(command(program).arg("--help"), "", Duration::from_secs(3));
    help.is_ok_and(|help| help.text().contains("--raw"))
}

/// The pipe to a player is short and never waited for.
#[cfg(target_os = "linux")]
fn never_wait(to: &ChildStdin) -> std::io::Result<()> {
    use rustix::fs::{OFlags, fcntl_getfl, fcntl_setfl};
    // One page is the least that Linux gives; a larger pipe is no trouble, since it is not filled.
    let _ = rustix::pipe::fcntl_setpipe_size(to, 4096);
    let flags = fcntl_getfl(to)?;
    fcntl_setfl(to, flags | OFlags::NONBLOCK)?;
    Ok(())
}

#[cfg(not(target_os = "linux"))]
fn never_wait(_: &ChildStdin) -> std::io::Result<()> {
    Ok(())
}

/// How many bytes wait in the pipe.
#[cfg(target_os = "linux")]
fn waiting(to: &ChildStdin) -> u64 {
    rustix::io::ioctl_fionread(to).unwrap_or(0)
}

#[cfg(not(target_os = "linux"))]
fn waiting(_: &ChildStdin) -> u64 {
    0
}
