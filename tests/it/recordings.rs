//! A pack of recordings: its index read, its sounds found by their texts, everything wrong with it told at
//! once in words that help.

use std::fs;
use std::path::{Path, PathBuf};

use stepbell::edge::pack::{Pack, read};
use stepbell::edge::wav::to_wav;
use stepbell::faces::clip::Clip;
use stepbell::faces::voicing::Own;

fn folder(name: &str, index: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("recordings").join(name);
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder");
    fs::write(folder.join("recordings.txt"), index).expect("writable");
    let sound = |name: &str, rate: u32, samples: Vec<i16>| {
        fs::write(folder.join(name), to_wav(&Clip { rate, samples })).expect("writable");
    };
    sound("key.wav", 44_100, vec![9000; 44_100]);
    sound("ten.wav", 44_100, vec![9000; 22_050]);
    sound("other-rate.wav", 22_050, vec![9000; 22_050]);
    sound("silent.wav", 44_100, vec![20; 44_100]);
    sound("loud.wav", 44_100, vec![32_767; 44_100]);
    sound("long.wav", 8_000, vec![9000; 8_000 * 61]);
    fs::write(folder.join("talk.mp3"), b"ID3 not a wave").expect("writable");
    folder
}

fn told(name: &str, index: &str) -> String {
    match read(&folder(name, index)) {
        Ok(pack) => format!("{} by {}", pack.texts.len(), pack.by),
        Err(wrong) => wrong.to_string(),
    }
}

#[test]
fn recordings_are_found_by_what_they_say() {
    let index = "# of this autumn\nrecordings 1\nby \"the morning class\"\n\
                 \"Hold the  new key against the reader.\"   key.wav\nten ten.wav\n";
    let pack = read(&folder("good", index)).expect("a pack");
    let Pack { by, rate, texts, own } = &pack;
    assert_eq!((by.as_str(), *rate, texts.len(), own.len()), ("the morning class", 44_100, 1, 1));
    let script = ["Hold the new key against the reader.", "Key."];
    let (bank, missing) = pack.bank(&script);
    assert_eq!(bank.length(script[0]).map(|length| length.0), Some(1000));
    assert_eq!(missing, ["Key."]);
    assert!(bank.own(Own::Ten).is_some() && bank.own(Own::Five).is_none());
}

#[test]
fn everything_wrong_with_a_pack_is_told_at_once() {
    insta::assert_snapshot!(told(
        "wrong",
        "recordings 1
by nobody
\"One\" key.wav
\"One\" ten.wav
\"Two\"
\"Three\" ../key.wav
\"Four\" missing.wav
\"Five\" talk.mp3
\"Six\" other-rate.wav
\"Seven\" silent.wav
\"Eight\" loud.wav
eleven ten.wav
\"Nine\" long.wav
\"Ten\" .
"
    ));
}

#[test]
fn an_index_that_is_none_is_told_so() {
    assert_eq!(told("empty", ""), "recordings.txt: it is empty; it begins with `recordings 1`");
    assert_eq!(told("none", "recordings 1\n"), "recordings.txt: it names no recording");
    let other = "recordings.txt line 1: it must begin with the line `recordings 1`";
    assert_eq!(told("other", "recordings 2\nten ten.wav\n"), other);
    let nowhere = read(Path::new("tests/no/such/folder")).expect_err("nothing there");
    assert_eq!(nowhere.to_string(), "recordings.txt: there is no such file");
}
