//! The apprentice's sheet: what stands on it, in which order, and what its author may get wrong.

use std::fs;
use std::path::PathBuf;
use std::process::Command;

use stepbell::faces::sheet::{
    Proof, Sheet, Spare, WindowProof, costs, html, markdown, proof, sheet,
};
use stepbell::procedure::examine;
use stepbell::proof::report::judge;

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

/// The same as the command makes it.
fn judged(text: &str) -> Sheet {
    let examined = examine("x.bell", text.to_owned(), &mut |_| Err("no such file".to_owned()));
    let procedure = examined.procedure.as_ref().expect("a procedure");
    let judgement = judge(procedure, &examined.plans, &examined.speech, false, &|| false);
    let proof = proof(&judgement.expect("nobody stops it"), &examined);
    sheet(procedure, &examined.sources, proof)
}

#[test]
fn the_sheet_of_a_procedure_in_marks() {
    for name in ["push-start-spare", "turn-key-spare", "several-remotes", "used-key"] {
        let (_, text) = scripts().into_iter().find(|(n, _)| n == name).expect("shipped");
        insta::assert_snapshot!(format!("sheet-{name}"), markdown(&judged(&text), None));
    }
}

#[test]
fn the_sheet_of_the_first_procedure_as_a_page() {
    let (_, text) = scripts().into_iter().find(|(n, _)| n == "push-start-spare").expect("shipped");
    let page = html(&judged(&text), None, false);
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

/// What a printed sheet needs (DOE-STD-1029-92, section 4, and common practice), in the order of the work.
#[test]
fn a_sheet_has_everything_from_the_job_to_the_sources() {
    let text =
        fs::read_to_string(root().join("procedures/push-start-spare.bell")).expect("shipped");
    let page = html(&judged(&text), None, false);
    let mut rest = page.as_str();
    for wanted in [
        "DEMONSTRATION</div>",
        "Add a push-start spare",
        "A run takes: ",
        "At best 45 s",
        "with every retry (40 s of it cool-downs).",
        "DANGER",
        "permission",
        "At hand",
        "felt as one band of tape",
        "Battery voltage",
        "9 to 16",
        "Checklist",
        "If broken off: ",
        "All of this within 6 min",
        "4 min 12 s to spare",
        "due <",
        "POINT OF NO RETURN",
        "Within 30 s",
        "12.0 s to spare",
        "start <",
        "due <",
        "go back to step 2 (at most once: ☐)",
        "Tests after it",
        "It must be 1 more than before",
        "How it ended",
        "Date ",
        "Result ",
        "Signature ",
        "<svg",
        "Timing: proven",
        "There is a rule for when to cue",
        "On what it rests",
        "31 bounds, 31 of them assumed",
        "the clock within 0.02 s",
        "Where the numbers come from",
    ] {
        let at = rest.find(wanted).unwrap_or_else(|| panic!("no {wanted:?} in\n{rest}"));
        rest = &rest[at + wanted.len()..];
    }
    // Ways that are equally good, each with its box.
    let text = fs::read_to_string(root().join("tests/scripts/sequences/07-eight-cycles.bell"))
        .expect("there");
    let page = html(&judged(&text), None, false);
    assert!(page.contains("<strong>One of:</strong> <span class=\"box\"></span>Turn the switch"));
    // Too early and too late have a blank each.
    let text = fs::read_to_string(root().join("tests/scripts/sequences/01-two-keys-spare.bell"))
        .expect("there");
    let page = html(&judged(&text), None, false);
    assert!(page.contains("▲ TIGHT: 0.86 s to spare"));
    assert!(page.contains("not before <") && page.contains("due <"));
}

/// What was not proven stands at the head of the sheet, at each window that is at risk, and in the picture.
#[test]
fn a_sheet_that_is_not_proven_says_so() {
    let text =
        fs::read_to_string(root().join("procedures/push-start-spare.bell")).expect("shipped");
    let narrow = text.replace("within 30s after open answered", "within 8s after open answered");
    assert_ne!(text, narrow);
    let page = html(&judged(&narrow), None, false);
    assert!(page.contains("DEMONSTRATION – TIMING NOT PROVEN</div>"));
    assert!(page.contains("The timing is not proven: see"));
    assert_eq!(page.matches("▲ AT RISK: not proven").count(), 3, "step, picture, its description");
    assert!(page.contains("<li>+7.98s the window"), "{page}");
    assert!(page.contains("would be proven if"));
    assert!(!page.contains("A run takes:"));
    let marks = markdown(&judged(&narrow), None);
    assert!(marks.contains("▲ AT RISK: not proven") && marks.contains("would be proven if"));
}

/// A title cannot leave the rule that repeats it on every page.
#[test]
fn a_title_cannot_leave_its_place_on_the_margin() {
    let text = "procedure \"a; } </style><b>\\\\ é\"\nstatus demonstration\nstep a \"Press it.\"\n  takes 1s to 2s, assumed \"x\"\nfinish as learned\n";
    let page = html(&made(text, Proof::default()), None, false);
    assert_eq!(page.matches("</style>").count(), 1);
    let rule = page.split("@bottom-left { content: \"").nth(1).expect("the title");
    let title = rule.split('"').next().expect("its end");
    assert!(title.starts_with("a\\3b  \\7d  \\3c \\2f style\\3e \\3c b\\3e "), "{title}");
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
    for (tight, shown) in [(true, "▲ TIGHT"), (false, "0.49 s to spare")] {
        let proof = Proof {
            windows: vec![WindowProof { place, spare: Spare::Left { slack: Millis(499), tight } }],
            ..Proof::default()
        };
        let page = html(&sheet(&procedure, &examined.sources, proof), None, false);
        let framed = page.contains("<p class=\"window tight\">");
        assert_eq!(framed, tight, "{shown}");
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
    let marks = markdown(&made(text, Proof::default()), Some(&costs));
    let (_, marks) = marks.split_once("## Ways").expect("the costs");
    insta::assert_snapshot!("sheet-costs-in-marks", marks);
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
