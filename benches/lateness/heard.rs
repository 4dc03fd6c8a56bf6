//! The loudspeaker of the measured run: takes the words that are said, gives the program's own loudspeaker
//! with the voice and the player of this computer. Where one of them is missing a stand-in takes its place
//! and is named: a sound of the words' usual length, a program that takes sound at the pace at which it
//! sounds.

use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use stepbell::edge::speaker::{Speaker, Wanted};
use stepbell::edge::voice::{Voice, bank};
use stepbell::faces::sounds::Sounds;
use stepbell::faces::tones::{Register, Signal, samples};
use stepbell::faces::voicing::Bank;

/// Samples a second of the stand-ins.
const RATE: u32 = 22_050;
/// Samples of the stand-in for a voice: 0.9 s, which two words take.
const SPOKEN: usize = 19_845;
/// Bytes that the stand-in for a player takes at once, and how long they sound.
const PIECE: (usize, Duration) = (882, Duration::from_millis(20));

/// A loudspeaker that says these texts, and what it is made of; its files lie in the folder.
pub fn loudspeaker(folder: &Path, texts: &[&str]) -> (Box<dyn Sounds>, String) {
    let search = std::env::var_os("PATH");
    let voice = Voice::find(search.as_deref(), "en", 150);
    let rendered = voice.map(|voice| bank(&voice, texts, folder).0);
    let bank = rendered.filter(|bank| !bank.texts.is_empty()).unwrap_or_else(|| stand_in(texts));
    let voice = bank.voice.clone();
    let wanted = Wanted {
        search: search.as_deref(),
        player: None,
        first: None,
        bank: Some(Arc::new(bank)),
        banners: &[],
        temporary: folder,
    };
    let (speaker, by) = Speaker::start(&wanted).map_or_else(
        |_| {
            let search = player(folder);
            let search = Some(search.as_os_str());
            let speaker = Speaker::start(&Wanted { search, ..wanted.clone() });
            (speaker.expect("the stand-in plays"), "a stand-in for a player")
        },
        |speaker| {
            let name = speaker.player();
            (speaker, name)
        },
    );
    (Box::new(speaker), format!("voice and tones ({voice}; {by})"))
}

fn stand_in(texts: &[&str]) -> Bank {
    let sound: Vec<i16> =
        samples(Signal::Now, Register::Real, RATE).into_iter().cycle().take(SPOKEN).collect();
    let texts = texts.iter().map(|text| ((*text).to_owned(), sound.clone().into())).collect();
    let voice = "a stand-in for a voice".to_owned();
    Bank { rate: RATE, texts, voice, ..Bank::default() }
}

/// A folder with this very program under a player's name.
fn player(folder: &Path) -> PathBuf {
    use std::os::unix::fs::PermissionsExt;
    let bin = folder.join("bin");
    std::fs::create_dir_all(&bin).expect("a folder for the player");
    let own = std::env::current_exe().expect("its own path");
    let script = format!("#!/bin/sh\nexec '{}' --player\n", own.display());
    let path = bin.join("aplay");
    std::fs::write(&path, script).expect("writable");
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).expect("may run");
    bin
}

/// Takes sound at the pace at which it sounds, until it ends.
pub fn play() -> ExitCode {
    let (mut piece, mut due) = (vec![0; PIECE.0], Instant::now());
    while std::io::stdin().read_exact(&mut piece).is_ok() {
        due = (due + PIECE.1).max(Instant::now());
        thread::sleep(due.saturating_duration_since(Instant::now()));
    }
    ExitCode::SUCCESS
}
