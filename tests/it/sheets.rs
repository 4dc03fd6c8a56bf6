//! The apprentice's sheet: what stands on it, in which order, and what its author may get wrong.

use std::fs;
use std::path::PathBuf;
use std::process::Command;

use stepbell::faces::sheet::{Proof, Sheet, WindowProof, costs, html, markdown, sheet};
use stepbell::procedure::examine;

use stepbell::clock::Millis;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

/// Every shipped script and every timed sequence.
fn scripts() -> Vec<(String, String)> {
    let folders = ["procedures", "tests/scripts/sequences"];
    let mut found: Vec<_> = folders
        .iter()
        .flat_map(|folder| fs::read_dir(root().join(folder)).expect("a folder"))
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension().is_some_and(|e| e == "bell"))
        .map(|path| {
            let name = path.file_stem().expect("a name").to_string_lossy().into_owned();
            (name, fs::read_to_string(&path).expect("readable"))
        })
        .collect();
    found.sort();
    found
}

fn made(text: &str, proof: Proof) -> Sheet {
    let examined = examine("x.bell", text.to_owned(), &mut |_| Err("no such file".to_owned()));
    let procedure = examined.procedure.expect("a procedure");
    sheet(&procedure, &examined.sources, proof)
}

#[test]
fn the_sheet_of_a_procedure_in_marks() {
    for name in ["push-start-spare", "turn-key-spare", "several-remotes", "used-key"] {
        let (_, text) = scripts().into_iter().find(|(n, _)| n == name).expect("shipped");
        insta::assert_snapshot!(
            format!("sheet-{name}"),
            markdown(&made(&text, Proof::default()), None)
        );
    }
}

#[test]
fn the_sheet_of_the_first_procedure_as_a_page() {
    let (_, text) = scripts().into_iter().find(|(n, _)| n == "push-start-spare").expect("shipped");
    let page = html(&made(&text, Proof::default()), None, false);
    // The style stands in a file of its own.
    let (head, rest) = page.split_once("<style>").expect("a style");
    let (_, body) = rest.split_once("</style>").expect("its end");
    insta::assert_snapshot!("sheet-page", format!("{head}{}", body.replace("><", ">\n<")));
}

#[test]
fn every_sheet_says_everything_once_and_nothing_from_outside() {
    for (name, text) in scripts() {
        let page = html(&made(&text, Proof::default()), None, false);
        let without_picture = page.replace("http://www.w3.org/2000/svg", "");
        for outside in ["http:", "https:", "src=", "@import", "url(", "<script"] {
            let found = without_picture.replace("url(#hands)", "").contains(outside);
            assert!(!found, "{name}: {outside}");
        }
        let steps = text.lines().filter(|line| line.trim_start().starts_with("step "));
        for step in steps {
            let said = step.split('"').nth(1).expect("a text").replace('\'', "&#39;");
            let plain = said.replace("&#39;", "'");
            assert!(page.contains(&said) || page.contains(&plain), "{name}: no {plain:?}");
        }
        for line in text.lines().filter(|line| line.trim_start().starts_with("if broken off")) {
            let said = line.split('"').nth(1).expect("a text");
            assert!(page.contains(said), "{name}: no {said:?}");
        }
        let numbers = page.matches("<span class=\"number\">").count();
        assert!(numbers > 0, "{name}: no step");
    }
}

#[test]
fn what_an_author_writes_is_text_on_the_page() {
    let text = "procedure \"<script>alert(1)</script> & more\"\nstatus demonstration\n\
                step a \"Press *here* | now.\"\n  takes 1s to 2s, assumed \"x\"\nfinish as learned\n";
    let page = html(&made(text, Proof::default()), None, false);
    assert!(!page.contains("<script>") && page.contains("&lt;script&gt;"));
    let marks = markdown(&made(text, Proof::default()), None);
    assert!(marks.contains("Press \\*here\\* \\| now."), "{marks}");
}

#[test]
fn a_tight_window_is_told_by_word_and_shape() {
    let text = "procedure \"x\"\nstatus demonstration\nassumed \"x\"\nstep a \"Press it.\"\n  takes 1s to 2s\n\
                step b \"Press again.\"\n  takes 1s to 2s\n  within 20s after a done\n  late, so finish as unsure\n\
                finish as learned\n";
    let examined = examine("x.bell", text.to_owned(), &mut |_| Err(String::new()));
    let procedure = examined.procedure.expect("a procedure");
    let place = examined.plans[0].steps[1].windows[0].place;
    for (tight, shown) in [(true, "▲ TIGHT"), (false, "0.4 s to spare")] {
        let proof = Proof {
            windows: vec![WindowProof { place, slack: Millis(499), tight }],
            ..Proof::default()
        };
        let page = html(&sheet(&procedure, &examined.sources, proof), None, false);
        // In the step and in the picture.
        assert_eq!(page.matches(shown).count(), 3, "{shown}");
    }
}

#[test]
fn ways_to_get_the_key_are_compared_where_a_table_stands_beside_the_script() {
    let table = "way,once (crowns),each (crowns),minutes each,note\n\
                 ready-made by a dealer,0,1900,0,two weeks\nown tool with a blank,2600,350,40,\n\
                 used key with a borrowed tool,200,900,60,\n";
    let costs = costs(table).expect("a table");
    let text = "procedure \"x\"\nstatus demonstration\nstep a \"Press it.\"\n  takes 1s to 2s, assumed \"x\"\nfinish as learned\n";
    let page = html(&made(text, Proof::default()), Some(&costs), false);
    let text = page.split("<section class=\"costs\">").nth(1).expect("the costs");
    let text = text.split("</section>").next().expect("its end");
    insta::assert_snapshot!("sheet-costs", text.replace("><", ">\n<"));
}

#[test]
fn the_command_writes_beside_where_it_is_given_and_spares_other_files() {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("sheets");
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(&folder).expect("a folder");
    let script = root().join("procedures/used-key.bell");
    let run = |more: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_stepbell"))
            .current_dir(&folder)
            .args(["sheet", &script.display().to_string()])
            .args(more)
            .output()
            .expect("runs");
        let text = [output.stdout, output.stderr].concat();
        (output.status.code(), String::from_utf8(text).expect("text"))
    };
    assert_eq!(run(&[]).0, Some(0));
    assert_eq!(run(&[]).0, Some(0), "a sheet is made anew");
    fs::write(folder.join("used-key.md"), "my notes").expect("written");
    let (code, said) = run(&["--format", "markdown"]);
    assert_eq!((code, said.contains("is no sheet")), (Some(2), true), "{said}");
    assert_eq!(fs::read_to_string(folder.join("used-key.md")).expect("read"), "my notes");
    assert_eq!(run(&["--format", "markdown", "--to", "-"]).0, Some(0));
    fs::write(folder.join("bad.csv"), "way,once,each\na,1,two\n").expect("written");
    let (code, said) = run(&["--ways", "bad.csv"]);
    assert_eq!((code, said.contains("bad.csv:2:")), (Some(1), true), "{said}");
}
