//! `check --format sarif`: against the published schema, its places and fixes against the texts, and
//! the verdict as a result.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;

use jsonschema::Validator;
use serde_json::{Value, json};
use stepbell::cli::check::proved;
use stepbell::complaint::Complaint;
use stepbell::faces::sarif::{Script, sarif};
use stepbell::procedure::{Examined, examine};
use stepbell::source::{FileId, Place};

use crate::commands::{TINY, call, folder};

static SCHEMA: LazyLock<Validator> = LazyLock::new(schema);

fn schema() -> Validator {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/sarif/sarif-schema-2.1.0.json");
    let text = fs::read_to_string(path).expect("readable");
    // The published pattern for the language of a run has a bracket too many and is no regular
    // expression where formats are looked at; no log of ours names a language.
    let wrong = r#""pattern": "^[a-zA-Z]{2}|^[a-zA-Z]{2}-[a-zA-Z]{2}]?$""#;
    assert!(text.contains(wrong));
    let schema = serde_json::from_str(&text.replace(wrong, r#""pattern": """#)).expect("JSON");
    jsonschema::options().should_validate_formats(true).build(&schema).expect("a schema")
}

#[track_caller]
fn valid(log: &Value) {
    let errors: Vec<String> =
        SCHEMA.iter_errors(log).map(|e| format!("{}: {e}", e.instance_path())).collect();
    assert!(errors.is_empty(), "{}", errors.join("\n"));
}

/// Every script that the tests have, with its path.
pub fn scripts() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut open = vec![root.join("procedures"), root.join("tests/scripts")];
    let mut found = Vec::new();
    while let Some(folder) = open.pop() {
        for entry in fs::read_dir(folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "bell") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

fn examined(path: &Path) -> Examined {
    let text = String::from_utf8_lossy(&fs::read(path).expect("readable")).into_owned();
    let folder = path.parent().expect("a folder").to_owned();
    let name = path.file_name().and_then(|n| n.to_str()).expect("a name");
    examine(name, text, &mut |file| {
        fs::read_to_string(folder.join(file)).map_err(|e| e.to_string())
    })
}

fn log(examined: &Examined) -> Value {
    let timing = proved(examined);
    let script = Script { from_file: true, examined: examined.clone(), timing, mended: Vec::new() };
    sarif(&[script], &[], 0)
}

#[track_caller]
fn number(value: &Value) -> usize {
    value.as_u64().and_then(|n| usize::try_from(n).ok()).expect("a number")
}

fn results(log: &Value) -> &Vec<Value> {
    log["runs"][0]["results"].as_array().expect("results")
}

#[test]
fn every_log_is_as_the_published_schema_wants_it() {
    let mut codes = std::collections::BTreeSet::new();
    for path in scripts() {
        let log = log(&examined(&path));
        valid(&log);
        let run = &log["runs"][0];
        for result in results(&log) {
            let rule = &run["tool"]["driver"]["rules"][number(&result["ruleIndex"])];
            assert_eq!(rule["id"], result["ruleId"], "{}", path.display());
            codes.insert(result["ruleId"].as_str().unwrap().to_owned());
            for location in result["locations"].as_array().unwrap() {
                let at = &location["physicalLocation"]["artifactLocation"];
                let artifact = &run["artifacts"][number(&at["index"])];
                assert_eq!(artifact["location"]["uri"], at["uri"]);
            }
        }
    }
    assert!(codes.len() > 70, "only {} codes were seen", codes.len());
}

/// The schema says no to what it should: a test that cannot fail says nothing.
#[test]
fn a_log_with_a_wrong_word_is_not_valid() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/scripts/ten-mistakes.bell");
    let good = log(&examined(&path));
    let spoiled = [
        ("/runs/0/results/0/level", json!("grave")),
        ("/runs/0/columnKind", json!("bytes")),
        ("/runs/0/results/0/locations/0/physicalLocation/region/startLine", json!(0)),
        ("/runs/0/artifacts/0/location/uri", json!("a b")),
    ];
    for (at, value) in spoiled {
        let mut log = good.clone();
        *log.pointer_mut(at).expect(at) = value;
        assert!(!SCHEMA.is_valid(&log), "{at}");
    }
}
/// The text of a region, counted anew: lines end with CR LF, LF or CR, columns are characters, and a
/// byte order mark is none.
fn cut<'t>(text: &'t str, region: &Value) -> (usize, usize, &'t str) {
    let byte = |line: &str, column: &str| {
        let (line, column) = (number(&region[line]), number(&region[column]));
        let mut at = 0;
        for _ in 1..line {
            let rest = &text[at..];
            let end = rest.find(['\n', '\r']).expect("as many lines");
            at += end + if rest[end..].starts_with("\r\n") { 2 } else { 1 };
        }
        let bare = text[at..].trim_start_matches('\u{feff}');
        at = text.len() - bare.len();
        at + bare.chars().take(column - 1).map(char::len_utf8).sum::<usize>()
    };
    let (start, end) = (byte("startLine", "startColumn"), byte("endLine", "endColumn"));
    (start, end, &text[start..end])
}

fn slice(examined: &Examined, place: Place) -> &str {
    examined.sources.slice(place)
}

#[test]
fn places_and_fixes_are_those_of_the_complaints() {
    let mut fixes = 0;
    for path in scripts() {
        let examined = examined(&path);
        let log = log(&examined);
        let text = |region: &Value, file: FileId| {
            let text = examined.sources.get(file).expect("a file").text().to_owned();
            let (start, end, cut) = cut(&text, region);
            (start, end, cut.to_owned())
        };
        let complaints: Vec<&Complaint> = examined.complaints.iter().collect();
        for (complaint, result) in complaints.iter().zip(results(&log)) {
            assert_eq!(result["ruleId"], complaint.code.name());
            let region = &result["locations"][0]["physicalLocation"]["region"];
            let (_, _, found) = text(region, complaint.place.file);
            // A mark before a line belongs to no column.
            let wanted = slice(&examined, complaint.place).trim_start_matches('\u{feff}');
            let found = found.trim_start_matches('\u{feff}');
            assert_eq!(found, wanted, "{} {}", path.display(), complaint.code.name());
            let Some(fix) = &complaint.fix else {
                assert!(result.get("fixes").is_none());
                continue;
            };
            let change = &result["fixes"][0]["artifactChanges"][0]["replacements"][0];
            let (start, end, _) = text(&change["deletedRegion"], fix.place.file);
            assert_eq!((start, end), (fix.place.start as usize, fix.place.end as usize));
            assert_eq!(change["insertedContent"]["text"], fix.text.as_str());
            fixes += 1;
        }
    }
    assert!(fixes > 15, "only {fixes} fixes were seen");
}

#[test]
fn the_verdict_is_a_result() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let main = root.join("procedures/push-start-spare.bell");
    let text = fs::read_to_string(&main).expect("readable");
    let proven = log(&examined(&main));
    let [result] = &results(&proven)[..] else { panic!("one result") };
    assert_eq!((&result["kind"], &result["level"]), (&json!("pass"), &json!("none")));
    let narrow = text.replace("within 30s after open answered", "within 8s after open answered");
    let narrow = examine("narrow.bell", narrow, &mut |_| Err(String::new()));
    let refused = log(&narrow);
    valid(&refused);
    let result = results(&refused).iter().find(|r| r["ruleId"] == "timing").expect("a verdict");
    assert_eq!((&result["kind"], &result["level"]), (&json!("fail"), &json!("error")));
    let (_, _, at) = {
        let region = &result["locations"][0]["physicalLocation"]["region"];
        let text = narrow.sources.get(FileId(0)).unwrap().text();
        let (start, end, cut) = cut(text, region);
        (start, end, cut.to_owned())
    };
    assert_eq!(at, "within 8s after open answered");
    let flow = result["codeFlows"][0]["threadFlows"][0]["locations"].as_array().expect("a flow");
    assert!(flow.len() > 2, "{flow:?}");
    assert!(result["properties"]["shortMs"].as_i64().unwrap() > 0);
    // A claim about a vehicle is not for a program to change.
    assert!(result.get("fixes").is_none());
}

#[test]
fn sarif_from_outside() {
    let folder = folder("sarif");
    let tiny = fs::read_to_string(TINY).expect("readable");
    let wrong = tiny.replace("  takes 100ms to 1s\n", "  takes 1,5s\n");
    let odd = "größe [x](y) 1.bell";
    let out = call(&["check", "--format", "sarif", "a.bell", odd, "nowhere.bell"])
        .inside(&folder)
        .file("a.bell", &tiny)
        .file(odd, &wrong)
        .out("sarif-schema-2.1.0.json")
        .err("stepbell: nowhere.bell: there is no such file\n")
        .ends(3);
    let log: Value = serde_json::from_str(&out).expect("JSON");
    valid(&log);
    let invocation = &log["runs"][0]["invocations"][0];
    assert_eq!(invocation["executionSuccessful"], false);
    assert_eq!(invocation["exitCode"], 3);
    let artifact = &log["runs"][0]["artifacts"][1]["location"]["uri"];
    assert_eq!(artifact, "gr%C3%B6%C3%9Fe%20%5Bx%5D%28y%29%201.bell");
    let check = call(&["check", "--format", "sarif", "-"]).input(&wrong);
    let out = check.out("decimal-comma").ends(1);
    valid(&serde_json::from_str(&out).expect("JSON"));
    insta::with_settings!({ filters => vec![
        (r#""semanticVersion": "[^"]+""#, r#""semanticVersion": "…""#),
    ]}, { insta::assert_snapshot!(out) });
    call(&["check", "--format", "sarif", "nowhere.bell"])
        .out("\"results\": []")
        .err("there is no such file")
        .ends(3);
}

/// A text of the script neither fills a gap of a message nor becomes a link.
#[test]
fn no_text_of_a_script_is_taken_for_a_link_or_a_gap() {
    let text = "step a \"b\"\n[see](http://nowhere) {0}\u{9}x\n(\u{1b}\n";
    let examined = examine("a.bell", text.to_owned(), &mut |_| Err(String::new()));
    let log = log(&examined);
    valid(&log);
    for result in results(&log) {
        let text = result["message"]["text"].as_str().unwrap();
        assert!(!text.contains("]("), "{text}");
        let single = text.replace("{{", "").replace("}}", "");
        assert!(!single.contains(['{', '}']), "{text}");
    }
}
