//! Voice and player as programs beside this one: small scripts on a search path of the test's own stand
//! in for them, so that what they are given, and every way in which they can fail, is seen.
#![cfg(unix)]

use std::ffi::OsString;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use stepbell::edge::programs::{self, ask};
use stepbell::edge::speaker::{NoPlayer, Speaker, Wanted};
use stepbell::edge::voice::{self, Voice};
use stepbell::edge::wav::{from_wav, to_wav};
use stepbell::faces::clip::Clip;
use stepbell::faces::sounds::Sounds;
use stepbell::faces::tones::{Register, Signal, samples};
use stepbell::faces::voicing::Own;
use stepbell::faces::words::Banner;
use stepbell::journal::happened::{Cue, Tone};

const RATE: u32 = 22_050;

/// A folder of stand-ins.
pub struct Bench(pub PathBuf);

impl Bench {
    pub fn new(name: &str) -> Bench {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("loudspeaker").join(name);
        let _ = fs::remove_dir_all(&folder);
        fs::create_dir_all(folder.join("bin")).expect("a folder");
        Bench(folder)
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }

    /// A program of this name; `HERE` stands for this folder.
    pub fn program(&self, name: &str, script: &str) -> &Bench {
        let path = self.file("bin").join(name);
        let here = self.0.to_str().expect("a plain path");
        let text = format!("#!/bin/sh\nPATH=/usr/bin:/bin\n{}", script.replace("HERE", here));
        fs::write(&path, text).expect("writable");
        fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).expect("may run");
        self
    }

    /// A speech program: a tenth of a second a word, at a level that no tone holds; it notes its
    /// arguments and its texts.
    pub fn speaks(&self) -> &Bench {
        self.speaks_slowly(1)
    }

    /// The same, so many tenths of a second a word.
    pub fn speaks_slowly(&self, tenths: usize) -> &Bench {
        fs::create_dir_all(self.file("words")).expect("a folder");
        for words in 0..40 {
            let clip = Clip { rate: RATE, samples: spoken(words * tenths) };
            fs::write(self.file(&format!("words/{words}.wav")), to_wav(&clip)).expect("writable");
        }
        self.program(
            "espeak-ng",
            "[ \"$1\" = --version ] && { echo 'A text-to-speech program: 9.9  Data at: x'; exit 0; }
             echo \"$@\" >> HERE/args
             while [ $# -gt 0 ]; do [ \"$1\" = -w ] && out=$2; shift; done
             text=$(cat); echo \"$text\" >> HERE/texts
             n=$(echo \"$text\" | wc -w); cat HERE/words/$((n)).wav > \"$out\"",
        )
    }

    /// The same, but texts that begin so are half a second at a level of their own.
    fn speaks_at(&self, sounds: &[(&str, i16)]) -> &Bench {
        let mut script =
            "while [ $# -gt 0 ]; do [ \"$1\" = -w ] && out=$2; shift; done; text=$(cat)
             echo \"$text\" >> HERE/texts; case \"$text\" in"
                .to_owned();
        for (begins, height) in sounds {
            let clip = to_wav(&Clip { rate: RATE, samples: level(*height) });
            fs::write(self.file(&format!("{height}.wav")), clip).expect("writable");
            script += &format!(" \"{begins}\"*) cat HERE/{height}.wav > \"$out\";;");
        }
        script += " *) cat HERE/words/1.wav > \"$out\";; esac";
        self.speaks().program("espeak-ng", &script)
    }

    /// The record of the only run.
    fn record_file(&self) -> PathBuf {
        let mut files = fs::read_dir(self.file("records")).expect("a folder");
        files.next().expect("a record").expect("readable").path()
    }

    /// A player that takes raw samples a little faster than they sound, and keeps them: 100 ms at a time.
    /// Two programs are started for each, for which a busy computer has 12 ms.
    pub fn plays(&self) -> &Bench {
        self.program(
            "aplay",
            "echo \"$@\" > HERE/call
             while told=$(dd bs=4410 count=1 iflag=fullblock 2>&1 >> HERE/played); do
               case $told in 0+0*) exit;; esac; sleep 0.088
             done",
        )
    }

    pub fn search(&self) -> OsString {
        self.file("bin").into_os_string()
    }

    /// What was played so far.
    pub fn played(&self) -> Vec<i16> {
        let bytes = fs::read(self.file("played")).unwrap_or_default();
        bytes.chunks_exact(2).map(|pair| i16::from_le_bytes([pair[0], pair[1]])).collect()
    }

    pub fn text(&self, name: &str) -> String {
        fs::read_to_string(self.file(name)).unwrap_or_default()
    }

    fn start(&self, banners: &[Banner]) -> Result<Speaker, NoPlayer> {
        let search = self.search();
        let temporary = self.0.as_path();
        let search = Some(search.as_os_str());
        Speaker::start(&Wanted {
            search,
            player: None,
            first: None,
            bank: None,
            banners,
            temporary,
        })
    }

    /// The program's `guide` on a tiny script, its questions answered, its two steps confirmed.
    pub fn guide(&self, script: &str, more: &[&str]) -> String {
        let answers = "done\n".repeat(6) + "wait 3s\ndone\nwait 3s\ndone\n";
        self.led(&[&["guide", script], more].concat(), &answers)
    }

    /// A run with these words and answers, recorded.
    fn led(&self, words: &[&str], answers: &str) -> String {
        let record = self.file("records");
        fs::create_dir_all(&record).expect("a folder");
        let mut child = self
            .call(words)
            .args(["--record", record.to_str().expect("plain")])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        let mut stdin = child.stdin.take().expect("piped");
        std::io::Write::write_all(&mut stdin, answers.as_bytes()).expect("taken");
        drop(stdin);
        let told = child.wait_with_output().expect("it ends");
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        format!("{}{}[{:?}]", text(&told.stdout), text(&told.stderr), told.status.code())
    }

    /// The program with these words on this bench's search path.
    pub fn call(&self, args: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stepbell"));
        command
            .args(args)
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .env_clear()
            .env("PATH", self.search())
            .env("TMPDIR", &self.0)
            .env("HOME", &self.0)
            .stdin(Stdio::null());
        command
    }

    /// What it prints, on both streams, and how it ends.
    pub fn asked(&self, args: &[&str]) -> (String, String, Option<i32>) {
        let told = self.call(args).output().expect("it runs");
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (text(&told.stdout), text(&told.stderr), told.status.code())
    }

    /// The lines of the one record.
    pub fn record(&self) -> Vec<serde_json::Value> {
        let mut files = fs::read_dir(self.file("records")).expect("a folder");
        let path = files.next().expect("a record").expect("readable").path();
        let text = fs::read_to_string(path).expect("readable");
        text.lines().map(|line| serde_json::from_str(line).expect("JSON")).collect()
    }
}

const TINY: &str = "tests/terminal/tiny.bell";

/// Half a second at one level.
fn level(level: i16) -> Vec<i16> {
    vec![level; RATE as usize / 2]
}

/// What the stand-in speaks: a constant of a tenth of a second a word.
fn spoken(words: usize) -> Vec<i16> {
    vec![9000; words * RATE as usize / 10]
}

/// Where this sound was played.
fn find(played: &[i16], sound: &[i16]) -> Option<usize> {
    // The first samples of a tone are almost silence: its middle is looked for, then the whole.
    let middle = sound.len() / 2;
    let key = &sound[middle..middle + 64.min(sound.len() - middle)];
    let mut places = played.windows(key.len()).enumerate().filter(|(_, part)| *part == key);
    places.find_map(|(at, _)| {
        let from = at.checked_sub(middle)?;
        (played.get(from..from + sound.len())? == sound).then_some(from)
    })
}

fn missing(told: Result<Speaker, NoPlayer>) -> Vec<String> {
    match told {
        Ok(speaker) => panic!("{} passed", speaker.player()),
        Err(NoPlayer(why)) => why,
    }
}

/// Waits for something that another program does; fails after ten seconds.
#[track_caller]
pub fn until(what: &str, mut done: impl FnMut() -> bool) {
    for _ in 0..1000 {
        if done() {
            return;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    panic!("{what}");
}

#[test]
fn what_rings_is_played_sample_for_sample() {
    let bench = Bench::new("rings");
    let mut speaker = bench.plays().start(&[]).expect("it plays");
    assert_eq!(speaker.player(), "aplay");
    speaker.ring(Tone::Prepare);
    let prepare = samples(Signal::Prepare, Register::Real, RATE);
    until("the prepare tone", || find(&bench.played(), &prepare).is_some());
    speaker.ring(Tone::Now);
    speaker.finish();
    let now = samples(Signal::Now, Register::Real, RATE);
    let played = bench.played();
    let first = find(&played, &prepare).expect("prepare");
    assert!(played[..first].iter().all(|sample| *sample == 0), "silence is kept alive");
    assert!(find(&played, &now).is_some_and(|at| at > first), "the end waits for what sounds");
    assert_eq!(speaker.trouble(), None);
    assert_eq!(
        bench.text("call"),
        "--quiet --file-type=raw --format=S16_LE --rate=22050 --channels=1 --buffer-time=120000 -\n"
    );
}

#[test]
fn where_there_is_no_vehicle_everything_sounds_an_octave_lower() {
    let bench = Bench::new("practice");
    let mut speaker = bench.plays().start(&[Banner::Rehearsal]).expect("it plays");
    let prepare = samples(Signal::Prepare, Register::Practice, RATE);
    until("a sign, also without a voice", || find(&bench.played(), &prepare).is_some());
    speaker.ring(Tone::Missed);
    speaker.finish();
    let played = bench.played();
    let missed = samples(Signal::Missed, Register::Practice, RATE);
    let sign = find(&played, &prepare).expect("a sign at the beginning");
    assert!(find(&played, &missed).is_some_and(|at| at > sign));
}

/// No exit code, and no silence about it, is taken for sound.
#[test]
fn a_player_that_fails_silently_does_not_pass() {
    let bench = Bench::new("silent");
    assert_eq!(missing(bench.start(&[])), Vec::<String>::new(), "none is there");
    bench.program("pw-play", "echo 'error: no server' >&2; exit 1");
    bench.program("paplay", "exit 0");
    bench.program("aplay", "cat > /dev/null");
    let fast = "aplay takes sound faster than it can be played: nobody hears it";
    let why = match bench.start(&[]) {
        Err(NoPlayer(why)) => why,
        // On a busy computer it looks like a player until it has taken too much.
        Ok(mut speaker) => {
            let mut told = None;
            until("it is found out", || {
                told = speaker.trouble();
                told.is_some()
            });
            assert!(told.is_some_and(|told| told.contains(fast)));
            return;
        }
    };
    assert_eq!(why, ["pw-play ended with 1: error: no server", "paplay ended with 0", fast]);
}

#[test]
fn a_player_that_hangs_is_passed_over_and_ended() {
    let bench = Bench::new("hangs");
    bench.program("paplay", "echo $$ > HERE/pid; sleep 60 & echo $! > HERE/child; wait").plays();
    let speaker = bench.start(&[]).expect("the next one plays");
    assert_eq!(speaker.player(), "aplay");
    for file in ["pid", "child"] {
        let process = Path::new("/proc").join(bench.text(file).trim());
        until("what hung is ended", || !process.exists() || is_zombie(&process));
    }
}

fn is_zombie(process: &Path) -> bool {
    fs::read_to_string(process.join("stat")).is_ok_and(|stat| stat.contains(") Z"))
}

#[test]
fn a_player_that_breaks_is_told_of_once_and_never_waited_for() {
    let bench = Bench::new("breaks");
    bench.program(
        "aplay",
        "for n in 1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21 22 23 24 25 26 27 28 29 30; do
           dd bs=882 count=1 of=/dev/null 2>/dev/null; sleep 0.015
         done
         echo 'the loudspeaker is gone' >&2; exit 3",
    );
    let mut speaker = bench.start(&[]).expect("it begins to play");
    let mut told = Vec::new();
    until("its end is told of", || {
        told.extend(speaker.trouble());
        told.last().is_some_and(|why| why.starts_with("the sound no longer works"))
    });
    let why = "aplay ended with 3: the loudspeaker is gone";
    let once_more =
        format!("the sound stopped: {why}. It goes on by aplay; what came meanwhile is only shown");
    assert_eq!(told, [once_more, format!("the sound no longer works: {why}")]);
    for _ in 0..1000 {
        speaker.ring(Tone::Tick);
    }
    speaker.finish();
    assert_eq!(speaker.trouble(), None, "once");
}

/// A player of files (as other systems have) is given what sounds anew whenever it changes.
#[test]
fn a_player_of_files_plays_what_changes() {
    let bench = Bench::new("files");
    // As long as the file lasts: 44,100 bytes a second.
    bench.program(
        "afplay",
        "n=$(ls HERE | grep -c kept-); cp \"$1\" HERE/kept-$n.wav
         s=$(wc -c < \"$1\"); sleep $((s / 44100)); sleep 0.$((s % 44100 * 10 / 44100))",
    );
    let mut speaker = bench.start(&[]).expect("it plays");
    speaker.ring(Tone::Now);
    until("another file", || bench.file("kept-1.wav").exists());
    speaker.finish();
    let kept = |n: usize| {
        let bytes = fs::read(bench.file(&format!("kept-{n}.wav"))).expect("a file");
        from_wav(&bytes).expect("a sound").samples
    };
    assert!(kept(0).iter().all(|sample| *sample == 0), "silence");
    let now = samples(Signal::Now, Register::Real, RATE);
    assert_eq!(kept(1)[..now.len()], now[..]);
    assert!(!fs::read_dir(&bench.0).expect("readable").any(|entry| {
        entry.expect("one").file_name().to_string_lossy().starts_with("stepbell-")
    }));
}

#[test]
fn a_player_of_files_that_ends_too_soon_does_not_pass() {
    let bench = Bench::new("short");
    bench.program("afplay", "exit 0");
    assert_eq!(missing(bench.start(&[])), ["afplay ends too soon: nobody hears it"]);
}

#[test]
fn prompts_are_rendered_once_measured_and_nothing_in_them_is_more_than_words() {
    let bench = Bench::new("renders");
    let search = bench.speaks().search();
    let voice = Voice::find(Some(&search), "en", 150).expect("a voice");
    assert_eq!(voice.name(), "espeak-ng 9.9, en, 150 words a minute");
    let texts = ["-w/etc/passwd [[x]] <break/>", "Hold the key.", "Hold the key.", "…"];
    let (bank, failed) = voice::bank(&voice, &texts, &bench.0);
    assert_eq!(failed, [("…".to_owned(), "there is nothing in it to say".to_owned())]);
    assert_eq!(bank.length("Hold the key.").map(|ms| ms.0), Some(300));
    let given = bench.text("texts");
    let mut given: Vec<_> = given.lines().collect();
    given.sort_unstable();
    let own = ["10", "5", "Demonstration. Not for a real vehicle.", "Hold the key."];
    assert_eq!(given[..4], own);
    assert!(given.contains(&"w/etc/passwd x break/"), "{given:?}");
    for call in bench.text("args").lines() {
        assert!(call.starts_with("-v en -s 150 --stdin -w /"), "{call}");
    }
    let calls = bench.text("args").lines().count();
    let (again, _) = voice::bank(&voice, &texts, &bench.0);
    assert_eq!(again.texts, bank.texts);
    assert_eq!(bench.text("args").lines().count(), calls, "nothing is rendered twice");
    let slower = Voice::find(Some(&search), "en", 120).expect("a voice");
    let _ = voice::bank(&slower, &texts, &bench.0);
    assert_eq!(bench.text("args").lines().count(), 2 * calls, "another rate is another sound");
}

/// The program's own words are English: a voice of another language leaves them to an English one.
#[test]
fn the_programs_own_words_are_said_by_an_english_voice() {
    let bench = Bench::new("german");
    let search = bench.speaks().search();
    let voice = Voice::find(Some(&search), "de", 150).expect("a voice");
    // Words that the script and the program both have are said in each one's own language.
    let texts = ["Halte den Schlüssel.", "Time is up."];
    let (bank, failed) = voice::bank(&voice, &texts, &bench.0);
    assert_eq!(failed, []);
    assert_eq!(bank.own.len(), Own::ALL.len(), "all of them");
    assert_eq!(bank.texts.len(), 2 + 2, "the script's, and digits, which are everybody's");
    let told = "espeak-ng 9.9, de, 150 words a minute, the program's own words in English";
    assert_eq!(bank.voice, told);
    let args = bench.text("args");
    let by = |language: &str| args.lines().filter(|call| call.contains(language)).count();
    assert_eq!((by("-v de "), by("-v en ")), (4, Own::ALL.len() - 2));
}

/// Texts that look English are not read by another voice without a word about it.
#[test]
fn english_texts_before_a_german_voice_are_told_of() {
    let bench = Bench::new("misread");
    bench.speaks();
    let script = "procedures/push-start-spare.bell";
    let why = "the script's texts look English, and a voice for de reads them";
    let (out, ..) = bench.asked(&["check", "--voice", "--language", "de", script]);
    assert!(out.contains(why), "{out}");
    let (out, ..) = bench.asked(&["check", "--voice", script]);
    assert!(!out.contains("look English"), "{out}");
}

#[test]
fn a_speech_program_that_fails_is_told_of_in_its_own_words() {
    let bench = Bench::new("mute");
    let render = |script: &str| {
        bench.program("espeak-ng", &format!("[ \"$1\" = --version ] && exit 0\n{script}"));
        let voice = Voice::find(Some(&bench.search()), "en", 150).expect("a program");
        voice.render("Hold the key.", &bench.0).expect_err("no sound")
    };
    assert_eq!(
        render("echo 'Error: no such voice' >&2; exit 1"),
        "espeak-ng ended with 1: Error: no such voice"
    );
    assert!(render("exit 0").starts_with("espeak-ng gave no sound: "));
    assert_eq!(
        render("for a in \"$@\"; do f=$a; done; echo no wave > \"$f\""),
        "espeak-ng gave no sound: not a WAV file"
    );
    let silence = to_wav(&Clip { rate: RATE, samples: vec![3; 4000] });
    fs::write(bench.file("silence"), silence).expect("writable");
    let silent = "for a in \"$@\"; do f=$a; done; cat HERE/silence > \"$f\"";
    assert_eq!(render(silent), "espeak-ng gave only silence");
    bench.program("slow", "sleep 60");
    let slow = bench.file("bin/slow");
    let asked = ask(&mut programs::command(&slow), "", Duration::from_millis(200));
    assert_eq!(asked.map(|heard| heard.text()), Err("slow does not end".to_owned()));
}

#[test]
fn a_run_is_spoken_recorded_with_its_lengths_and_the_same_again() {
    let bench = Bench::new("run");
    let told = bench.speaks().plays().guide(TINY, &["--voice", "auto"]);
    assert!(told.contains("ENDED: learned"), "{told}");
    let record = bench.record();
    let header = &record[0];
    assert!(
        header["lengths"].as_str().is_some_and(
            |lengths| lengths.starts_with("measured: espeak-ng 9.9, en, 150 words a minute; ")
        ),
        "{header}"
    );
    // "Button." is one word: 0.1 s, 0.6 s for the tone before it, 0.06 s for the player.
    let lengths = header["spoken"].as_array().expect("lengths");
    assert!(lengths.iter().any(|text| text["ms"] == 760 && text["source"] == "measured"));
    let notes: Vec<_> = record.iter().filter(|line| line["kind"] == "note").collect();
    let note = "sound: espeak-ng 9.9, en, 150 words a minute; played by aplay, not checked by ear; heard \
                at most 200ms late";
    assert!(notes.iter().any(|line| line["text"] == note), "{notes:?}");
    assert_eq!(header["lag"], 200);
    // Nothing cuts the last of the now cues, however slow the stand-in is.
    assert!(find(&bench.played(), &samples(Signal::Now, Register::Practice, RATE)).is_some());
    // The same inputs with the lengths of the record give the same effects.
    let mut files = fs::read_dir(bench.file("records")).expect("a folder");
    let path = files.next().expect("a record").expect("one").path();
    let again = Command::new(env!("CARGO_BIN_EXE_stepbell"))
        .args(["replay", "--check"])
        .arg(path)
        .output()
        .expect("it runs");
    let again = String::from_utf8_lossy(&again.stdout).into_owned();
    assert!(again.starts_with("run again: all "), "{again}");
}

#[test]
fn a_rehearsal_is_heard_as_one_and_its_vehicle_too() {
    let bench = Bench::new("rehearsal");
    let sounds = [("Rehearsal. There", 5000), ("you see the dash lit", 6000), ("Trouble.", 7000)];
    bench.speaks_at(&sounds).plays();
    let words = ["rehearse", TINY, "--short", "--inside", "--seed", "3", "--voice", "auto"];
    let answers = "yes\nyes\nwait 4s\nact\nwait 4s\ndone\nwait 3s\nstop\nstop\nwait 1s\n";
    let told = bench.led(&words, answers);
    assert!(told.contains("Vehicle:        you see the dash lit"), "{told}");
    let played = bench.played();
    let heard = |height| find(&played, &level(height)[..RATE as usize / 4]).is_some();
    assert!(heard(5000), "the sign comes first");
    assert!(heard(6000), "what the vehicle shows is said");
    assert!(!heard(7000), "what it shows is no trouble of the program");
    for text in ["you hear the chime once", "imagine that you did something else than told"] {
        assert!(bench.text("texts").contains(text), "{text}");
    }
    let practice = samples(Signal::Now, Register::Practice, RATE);
    assert!(find(&played, &practice).is_some(), "an octave lower");
}

/// Whoever only hears is told that it is over, and how; and is asked whether to begin.
#[test]
fn the_end_is_said_and_so_is_the_question_before_the_beginning() {
    let bench = Bench::new("end");
    bench.speaks_at(&[("The run is over: learned", 5000), ("All is ready", 6000)]).plays();
    let answers = "done\n".repeat(5) + "wait 4s\ndone\nwait 3s\ndone\nwait 3s\ndone\n";
    let told = bench.led(&["guide", TINY, "--voice", "auto"], &answers);
    assert!(told.contains("ENDED: learned"), "{told}");
    let played = bench.played();
    let asked = find(&played, &level(6000)[..2000]).expect("the question is said");
    let ended = find(&played, &level(5000)).expect("the end is said, in whole");
    assert!(asked < ended);
    // Without a voice it rings: a rhythm that the run has already.
    let bench = Bench::new("end-rings");
    let told = bench.plays().led(
        &["guide", TINY, "--voice", "none", "--player", "aplay"],
        &("done\n".repeat(6) + "wait 3s\nstop\nstop\n"),
    );
    assert!(told.contains("ENDED: stopped"), "{told}");
    let missed = samples(Signal::Missed, Register::Practice, RATE);
    assert!(find(&bench.played(), &missed).is_some());
}

#[test]
fn a_replay_is_heard_as_one_where_that_is_asked_for_at_its_own_speed_only() {
    let bench = Bench::new("replay");
    bench
        .speaks_at(&[("Replay.", 5000), ("The run is over: learned", 6000), ("Key.", 7000)])
        .plays()
        .guide(TINY, &["--voice", "none", "--player", "none"]);
    let record = bench.record_file();
    let record = record.to_str().expect("plain");
    let heard = |words: &[&str]| {
        let _ = fs::remove_file(bench.file("played"));
        let (out, err, code) = bench.asked(&[&["replay", record], words].concat());
        assert_eq!((err.as_str(), code), ("", Some(0)), "{out}");
        let played = bench.played();
        [5000, 6000, 7000].map(|height| find(&played, &level(height)[..2000]).is_some())
    };
    assert_eq!(heard(&["--voice", "auto"]), [true; 3]);
    assert_eq!(heard(&["--voice", "auto", "--speed", "4"]), [true, false, false]);
    assert_eq!(heard(&["--speed", "4"]), [false; 3], "silent unless asked for");
}

/// Two voices at once help nobody.
#[test]
fn of_two_records_the_first_is_heard_and_that_is_said() {
    let bench = Bench::new("replay-beside");
    bench
        .speaks_at(&[("Replay.", 5000), ("The run is over: learned", 6000), ("Key.", 7000)])
        .plays()
        .guide(TINY, &["--voice", "none", "--player", "none"]);
    let first = bench.record_file();
    let first = first.to_str().expect("plain");
    let other = bench.file("other.jsonl");
    fs::copy(first, &other).expect("copied");
    let two = ["replay", first, "--beside", other.to_str().expect("plain")];
    let (out, err, code) = bench.asked(&[&two[..], &["--voice", "auto"]].concat());
    assert_eq!((err.as_str(), code), ("", Some(0)), "{out}");
    let name = first.rsplit('/').next().expect("a name");
    let told = format!("only the first, {name}, is heard; to hear the other, give it first");
    assert!(out.contains(&told), "{out}");
    assert!(out.contains("BESIDE: other.jsonl, not heard"), "{out}");
    assert!(find(&bench.played(), &level(7000)[..2000]).is_some(), "the first is heard");
    // Where nothing is heard at all nothing is said of it.
    let (out, ..) = bench.asked(&[&two[..], &["--speed", "0"]].concat());
    assert!(!out.contains("heard"), "{out}");
}

/// A player that is killed is started once more: the rest of the run is heard.
#[test]
fn after_a_player_that_was_killed_the_run_is_heard_on() {
    let bench = Bench::new("killed");
    bench.speaks_at(&[("The run is over: learned", 5000)]).program(
        "aplay",
        "n=0; [ -e HERE/played ] && again=1
         while dd bs=2206 count=1 2>/dev/null > HERE/part && [ -s HERE/part ]; do
           cat HERE/part >> HERE/played; sleep 0.042; n=$((n + 1))
           [ -z \"$again\" ] && [ $n -ge 20 ] && kill -9 $$
         done",
    );
    let told = bench.guide(TINY, &["--voice", "auto"]);
    let why = "the sound stopped: aplay";
    assert!(told.contains(why) && told.contains("It goes on by aplay"), "{told}");
    assert!(!told.contains("no longer works"), "{told}");
    assert!(find(&bench.played(), &level(5000)).is_some(), "the end is heard");
    let noted =
        |line: &serde_json::Value| line["text"].as_str().is_some_and(|t| t.starts_with(why));
    assert!(bench.record().iter().any(noted));
}

#[test]
fn without_voice_or_player_everything_else_works_and_says_what_is_missing() {
    let bench = Bench::new("nothing");
    let told = bench.guide(TINY, &["--voice", "auto"]);
    let why = "! no sound: none of pw-play, paplay, aplay is installed. Watch the screen; \
               `stepbell ready` says more";
    assert!(told.contains(why), "{told}");
    assert!(told.contains("ENDED: learned") && told.ends_with("[Some(0)]"), "{told}");
    assert_eq!(bench.record()[0]["lengths"], "model");
    let bench = Bench::new("tones");
    let told = bench.plays().guide(TINY, &["--voice", "auto"]);
    assert!(
        told.contains("! no voice: espeak-ng is not installed; prompts are only shown"),
        "{told}"
    );
    assert!(find(&bench.played(), &samples(Signal::Now, Register::Practice, RATE)).is_some());
}

#[test]
fn a_player_that_breaks_in_a_run_is_said_on_the_other_faces_and_recorded() {
    let bench = Bench::new("run-breaks");
    bench.program(
        "aplay",
        "for n in 1 2 3 4 5 6 7 8; do dd bs=8820 count=1 of=/dev/null 2>/dev/null
                            sleep 0.1; done; exit 7",
    );
    let told = bench.guide(TINY, &["--voice", "none", "--player", "aplay"]);
    let why = "the sound no longer works: aplay ended with 7";
    assert!(told.contains(&format!("! {why}")), "{told}");
    assert!(told.contains("ENDED: learned"), "{told}");
    assert!(bench.record().iter().any(|line| line["text"] == why));
}

/// Words follow their tone and are cut for a now cue, also through a real pipe.
#[test]
fn a_prompt_follows_its_tone_and_a_now_cue_cuts_what_is_said() {
    let bench = Bench::new("cuts");
    let search = bench.speaks().plays().search();
    let voice = Voice::find(Some(&search), "en", 150).expect("a voice");
    let texts =
        ["one two three four five six seven eight nine ten one two three four five", "New key."];
    let (bank, _) = voice::bank(&voice, &texts, &bench.0);
    let bank = Some(Arc::new(bank));
    let wanted = Wanted {
        search: Some(&search),
        player: None,
        first: None,
        bank,
        banners: &[],
        temporary: &bench.0,
    };
    let mut speaker = Speaker::start(&wanted).expect("it plays");
    speaker.ring(Tone::Prepare);
    speaker.say(Cue::Prepare, texts[1]);
    let mut prompt = samples(Signal::Prepare, Register::Real, RATE);
    prompt.resize(RATE as usize * 6 / 10, 0);
    prompt.extend(spoken(2));
    until("the tone, then the words", || find(&bench.played(), &prompt).is_some());
    speaker.say(Cue::Question, texts[0]);
    until("words", || find(&bench.played(), &spoken(3)).is_some());
    speaker.ring(Tone::Now);
    speaker.say(Cue::Now, texts[1]);
    speaker.finish();
    let played = bench.played();
    let mut cue = samples(Signal::NowBeforeWords, Register::Real, RATE);
    // For the first 5 ms the words that were cut fade out beside it.
    cue.drain(..120);
    cue.extend(spoken(2));
    assert!(find(&played, &cue).is_some());
    assert_eq!(find(&played, &spoken(15)), None, "they were cut");
}

#[test]
fn a_real_voice_has_one_length_for_every_reader() {
    let path = std::env::var_os("PATH");
    let Some(voice) = Voice::find(path.as_deref(), "en", 150) else {
        return skipped("a real voice: no espeak-ng");
    };
    let bench = Bench::new("real");
    let texts = ["Hold the working key against the start button.", "New key."];
    let (bank, failed) = voice::bank(&voice, &texts, &bench.0);
    assert_eq!(failed, []);
    let longest = [8, 2].map(|words| words * 60_000 / 110 + 600);
    for (text, longest) in texts.iter().zip(longest) {
        let length = bank.length(text).expect("a sound");
        assert!(length.0 + 660 <= longest, "{text}: {length}, the model {longest} ms");
    }
    let reader =
        "import sys, wave\nfor n in sys.argv[1:]:\n w = wave.open(n)\n print(w.getnframes())";
    let files = fs::read_dir(&bench.0).expect("readable").map(|entry| entry.expect("one").path());
    let mut files: Vec<_> = files.filter(|path| path.extension().is_some()).collect();
    files.sort();
    let Ok(read) = Command::new("python3").arg("-c").arg(reader).args(&files).output() else {
        return skipped("the length of prompts by another reader: no python3");
    };
    let mut theirs: Vec<usize> = String::from_utf8_lossy(&read.stdout)
        .lines()
        .map(|n| n.parse().expect("a count"))
        .collect();
    let all: std::collections::BTreeMap<_, _> = bank.texts.iter().collect();
    let mut ours: Vec<usize> = all.values().map(|samples| samples.len()).collect();
    theirs.sort_unstable();
    ours.sort_unstable();
    assert_eq!(ours, theirs);
}

#[expect(clippy::print_stderr, reason = "what was not tested is said")]
fn skipped(what: &str) {
    eprintln!("SKIPPED: {what}");
}
