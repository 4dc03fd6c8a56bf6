//! `rehearse` from outside.

use std::fs;

use crate::commands::call;
use crate::recording::folder;

const WINDOW: &str = "tests/runs/one-window.bell";
const MAIN: &str = "procedures/push-start-spare.bell";

fn odds(more: &[&str]) -> Vec<String> {
    let mut args = vec!["rehearse", WINDOW, "--runs", "400", "--spread", "hands=0.7"];
    args.extend(more);
    args.into_iter().map(str::to_owned).collect()
}

fn as_str(args: &[String]) -> Vec<&str> {
    args.iter().map(String::as_str).collect()
}

#[test]
fn the_odds_are_told_in_a_report() {
    let report = call(&as_str(&odds(&[]))).out("REHEARSAL").ends(0);
    let wide = report.lines().find(|line| line.chars().count() > 80);
    assert_eq!(wide, None);
    insta::assert_snapshot!(report);
    let faults = ["rehearse", MAIN, "--runs", "20", "--inside", "--fault", "memory-full"];
    let faults = call(&[&faults[..], &["--count", "spares=2"]].concat()).out("full").ends(0);
    insta::assert_snapshot!(faults);
}

#[test]
fn the_same_seed_gives_the_same_odds_on_any_number_of_threads() {
    let json = |threads| {
        call(&as_str(&odds(&["--format", "json", "--threads", threads]))).out("{").ends(0)
    };
    let one = json("1");
    assert_eq!(one, json("2"));
    assert_eq!(one, json("7"));
    let value: serde_json::Value = serde_json::from_str(&one).unwrap();
    assert_eq!((&value["rehearsal"], &value["runs"]), (&true.into(), &400.into()));
    let hoped = value["hoped"]["chance"]["runs"].as_u64().unwrap();
    let ends = value["endings"].as_array().unwrap();
    let all: u64 = ends.iter().map(|e| e["chance"]["runs"].as_u64().unwrap()).sum();
    assert!(all == 400 && hoped < 400 && hoped > 300, "{one}");
    let other = call(&as_str(&odds(&["--format", "json", "--seed", "2"]))).out("{").ends(0);
    assert_ne!(one, other);
}

#[test]
fn a_window_that_closed_before_the_act_is_missed() {
    let of = ["rehearse", "procedures/turn-key-spare.bell", "--runs", "60", "--seed", "1"];
    let json = call(&[&of[..], &["--format", "json"]].concat()).out("{").ends(0);
    let value: serde_json::Value = serde_json::from_str(&json).unwrap();
    let late: u64 = value["steps"]
        .as_array()
        .unwrap()
        .iter()
        .map(|step| step["outcomes"]["too_late"].as_u64().unwrap_or(0))
        .sum();
    let windows = value["windows"].as_array().unwrap();
    let missed: u64 = windows.iter().map(|window| window["missed"].as_u64().unwrap()).sum();
    assert_eq!((late, missed), (1, 1), "{json}");
    let worst = value["least_left_ms"]["p1"].as_i64().unwrap();
    assert!(worst < 0, "{json}");
    let off = windows.iter().find(|window| window["step"] == "second-off").unwrap();
    assert_eq!((&off["missed"], &off["times"]), (&1.into(), &60.into()), "{json}");
}

#[test]
fn the_picture_stands_alone_and_can_be_heard() {
    let place = folder("picture");
    let file = place.join("margins.svg");
    let path = file.to_str().unwrap();
    for _ in 0..2 {
        // The second time it is there already.
        let _ = call(&as_str(&odds(&["--picture", path]))).out("REHEARSAL").ends(0);
    }
    let svg = fs::read_to_string(&file).unwrap();
    insta::assert_snapshot!(svg);
    assert!(!svg.contains("href") && !svg.contains("url(h") && !svg.contains("<script"));
    let nowhere = place.join("not-there/margins.svg");
    let _ = call(&as_str(&odds(&["--picture", nowhere.to_str().unwrap()])))
        .out("REHEARSAL")
        .err("no picture in")
        .ends(4);
}

#[test]
fn what_cannot_be_rehearsed_is_told_with_a_way_out() {
    let wrong = |more: &[&str], told: &str| {
        let _ = call(&as_str(&odds(more))).err(told).ends(2);
    };
    wrong(&["--fault", "fire"], "known are silence, other-answer");
    wrong(&["--fault", "silence@nowhere"], "the steps are open, present");
    wrong(&["--fault", "silence@open"], "It can be in present");
    wrong(&["--fault", "lost-guard"], "it needs a `keep` or `never`");
    wrong(&["--count", "spares=1"], "no group to count");
    wrong(&["--count", "spares"], "as in spares=2");
    wrong(&["--inside"], "cannot be used with");
    wrong(&["--picture", "margins.png"], "must end in .svg");
    let many = ["rehearse", MAIN, "--runs", "1", "--count", "spares=9"];
    let _ = call(&many).err("there are 1 to 2 spares, not 9").ends(2);
    let _ = call(&["rehearse", MAIN, "--runs", "0"]).err("0 is not in 1..=").ends(2);
    let _ = call(&["rehearse", "nothing.bell", "--runs", "1"]).err("nothing.bell").ends(3);
    let unsound = ["rehearse", "tests/scripts/ten-mistakes.bell", "--runs", "1"];
    let _ = call(&unsound).err("not rehearsed while an error stands").ends(1);
}
