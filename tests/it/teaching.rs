//! The page for teachers: every command on it works as it stands, in its order.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::drill::record;
use crate::readme::blocks;
use crate::recording::folder;

/// A folder as a teacher has it who has recorded two runs.
fn classroom() -> std::path::PathBuf {
    let folder = folder("teaching");
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    fs::create_dir_all(folder.join("procedures")).unwrap();
    for entry in fs::read_dir(root.join("procedures")).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, folder.join("procedures").join(path.file_name().unwrap())).unwrap();
    }
    fs::create_dir_all(folder.join("records")).unwrap();
    for seed in [7, 8] {
        let name = format!("2021-05-06-07080{seed}-add-a-push-start-spare.jsonl");
        fs::write(folder.join("records").join(name), record(seed, false)).unwrap();
    }
    folder
}

#[test]
fn every_command_of_the_page_for_teachers_works_as_it_stands() {
    let folder = classroom();
    let program = Path::new(env!("CARGO_BIN_EXE_stepbell")).parent().unwrap().to_owned();
    let path = format!("{}:/usr/bin:/bin", program.display());
    // A thousand runs take long in a program that is built for tests.
    let all = blocks("procedures/TEACHING.md", "sh").concat().replace("--runs 1000", "--runs 20");
    // One shell for all, as it is typed; each command says how it ended.
    let told: String = all
        .lines()
        .map(|line| match line.starts_with("stepbell ") {
            true => {
                let kept = if line.contains('>') { "2>>said" } else { ">>said 2>&1" };
                let plain = line.replace(['"', '$', '>'], "");
                // Nobody is led here: what a declined run leaves is not the record to be looked at.
                let run = format!("printf 'quit\\nno\\n' | {line} {kept}; echo \"$? {plain}\"");
                format!("{run}; rm -f records/2[!0]* records/20[!2]* records/202[!1]*\n")
            }
            false => format!("{line}\n"),
        })
        .collect();
    let mut shell = Command::new("sh")
        .current_dir(&folder)
        .env_clear()
        .env("PATH", path)
        .env("HOME", &folder)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("a shell");
    shell.stdin.take().unwrap().write_all(format!("set -u\n{told}").as_bytes()).unwrap();
    let output = shell.wait_with_output().expect("it ends");
    let ended = String::from_utf8(output.stdout).unwrap();
    let said = fs::read_to_string(folder.join("said")).unwrap_or_default();
    let commands = all.lines().filter(|line| line.starts_with("stepbell ")).count();
    assert_eq!(ended.lines().count(), commands, "{ended}\n{said}");
    for line in ended.lines() {
        // A run that the person did not want to begin ends with 1.
        let wanted = if line.contains("--record") { "1 " } else { "0 " };
        assert!(line.starts_with(wanted), "{line}\n{ended}\n{said}");
    }
    for made in ["captions.vtt", "chapters.vtt", "tally.html"] {
        assert!(fs::metadata(folder.join(made)).is_ok_and(|file| file.len() > 50), "{made}");
    }
    assert_eq!(fs::read_dir(folder.join("answers")).unwrap().count(), 1, "the drill's answers");
}
