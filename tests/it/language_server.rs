//! The language server over its protocol: the program is started, and spoken to in framed messages as an
//! editor does.

use std::collections::VecDeque;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;

use serde_json::{Value, json};
use stepbell::faces::address;

use crate::commands::{call, folder};

/// Longer than any answer takes.
const PATIENCE: Duration = Duration::from_secs(120);

/// An editor, as far as the server can tell.
struct Client {
    child: Child,
    to: Option<ChildStdin>,
    from: Receiver<Value>,
    seen: VecDeque<Value>,
    id: i64,
}

impl Client {
    fn start(folder: &Path, capabilities: &Value) -> Client {
        let mut child = Command::new(env!("CARGO_BIN_EXE_stepbell"))
            .arg("language-server")
            .current_dir(folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .expect("it starts");
        let to = child.stdin.take();
        let mut out = BufReader::new(child.stdout.take().expect("piped"));
        let (send, from) = channel();
        std::thread::spawn(move || {
            while let Some(message) = read(&mut out) {
                if send.send(message).is_err() {
                    return;
                }
            }
        });
        let mut client = Client { child, to, from, seen: VecDeque::new(), id: 0 };
        let root = address::of_path(folder.to_str().expect("text"));
        let introduction = client.ask(
            "initialize",
            &json!({
                "processId": null,
                "capabilities": capabilities,
                "workspaceFolders": [{ "uri": root, "name": "work" }],
            }),
        );
        assert_eq!(introduction["serverInfo"]["name"], "stepbell");
        client.tell("initialized", &json!({}));
        client
    }

    fn send(&mut self, message: &Value) {
        let text = message.to_string();
        let to = self.to.as_mut().expect("open");
        write!(to, "Content-Length: {}\r\n\r\n{text}", text.len()).expect("it listens");
        to.flush().expect("it listens");
    }

    fn tell(&mut self, method: &str, params: &Value) {
        self.send(&json!({ "jsonrpc": "2.0", "method": method, "params": params }));
    }

    /// The answer to a question, or its error.
    #[track_caller]
    fn answer(&mut self, method: &str, params: &Value) -> Result<Value, Value> {
        self.id += 1;
        let id = self.id;
        self.send(&json!({ "jsonrpc": "2.0", "id": id, "method": method, "params": params }));
        loop {
            let message = self.from.recv_timeout(PATIENCE).expect("an answer");
            if message.get("method").is_none() && message["id"] == id {
                return match message.get("error") {
                    Some(error) => Err(error.clone()),
                    None => Ok(message["result"].clone()),
                };
            }
            self.seen.push_back(message);
        }
    }

    #[track_caller]
    fn ask(&mut self, method: &str, params: &Value) -> Value {
        self.answer(method, params).unwrap_or_else(|error| panic!("{method}: {error}"))
    }

    /// The marks of a version of a document.
    #[track_caller]
    fn marks(&mut self, uri: &str, version: i64) -> Vec<Value> {
        let wanted = |message: &Value| {
            message["method"] == "textDocument/publishDiagnostics"
                && message["params"]["uri"] == uri
                && message["params"]["version"] == version
        };
        loop {
            let message = match self.seen.pop_front() {
                Some(message) => message,
                None => self.from.recv_timeout(PATIENCE).expect("marks"),
            };
            if wanted(&message) {
                return message["params"]["diagnostics"].as_array().expect("marks").clone();
            }
        }
    }

    fn open(&mut self, uri: &str, text: &str) {
        let document = json!({ "uri": uri, "languageId": "bell", "version": 1, "text": text });
        self.tell("textDocument/didOpen", &json!({ "textDocument": document }));
    }

    fn change(&mut self, uri: &str, version: i64, changes: &Value) {
        let document = json!({ "uri": uri, "version": version });
        let params = json!({ "textDocument": document, "contentChanges": changes });
        self.tell("textDocument/didChange", &params);
    }

    /// Says goodbye; gives the exit code.
    fn leave(mut self) -> Option<i32> {
        self.ask("shutdown", &Value::Null);
        self.tell("exit", &Value::Null);
        self.to.take();
        self.child.wait().expect("it ends").code()
    }
}

impl Drop for Client {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// One framed message; nothing where they end.
fn read(from: &mut impl BufRead) -> Option<Value> {
    let mut length = 0;
    loop {
        let mut line = String::new();
        if from.read_line(&mut line).ok()? == 0 {
            return None;
        }
        match line.trim_end() {
            "" => break,
            line => {
                if let Some(size) = line.strip_prefix("Content-Length: ") {
                    length = size.parse().ok()?;
                }
            }
        }
    }
    let mut body = vec![0; length];
    from.read_exact(&mut body).ok()?;
    serde_json::from_slice(&body).ok()
}

fn uri(folder: &Path, name: &str) -> String {
    address::of_path(folder.join(name).to_str().expect("text"))
}

fn project(path: &str) -> String {
    let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(path);
    fs::read_to_string(path).expect("readable")
}

/// Line and column of the first byte of `wanted`, in 16-bit units.
fn position(text: &str, wanted: &str) -> Value {
    place(text, text.find(wanted).expect(wanted))
}

/// Line and column of a byte, in 16-bit units.
fn place(text: &str, byte: usize) -> Value {
    let line = text[..byte].matches('\n').count();
    let start = text[..byte].rfind('\n').map_or(0, |at| at + 1);
    let column = text[start..byte].encode_utf16().count();
    json!({ "line": line, "character": column })
}

/// Codes and places as `check --format json` tells them, as an editor counts.
fn told(folder: &Path, name: &str) -> Vec<(String, u64, u64)> {
    let output = Command::new(env!("CARGO_BIN_EXE_stepbell"))
        .args(["check", "--format", "json", name])
        .current_dir(folder)
        .output()
        .expect("it runs");
    let json: Value = serde_json::from_slice(&output.stdout).expect("JSON");
    let complaints = json["scripts"][0]["complaints"].as_array().expect("a list");
    let mut all: Vec<_> = complaints
        .iter()
        .filter(|complaint| complaint["file"] == name)
        .map(|complaint| {
            let code = complaint["code"].as_str().expect("a code").to_owned();
            let at = |what: &str| complaint[what].as_u64().expect("a number") - 1;
            (code, at("line"), at("column"))
        })
        .collect();
    all.sort();
    all
}

fn of_marks(marks: &[Value]) -> Vec<(String, u64, u64)> {
    let code = |mark: &Value| mark["code"].as_str().expect("a code").to_owned();
    let mut all: Vec<_> = marks
        .iter()
        .filter(|mark| mark["code"] != "timing")
        .map(|mark| {
            let start = &mark["range"]["start"];
            let at = |what: &str| start[what].as_u64().expect("a number");
            (code(mark), at("line"), at("character"))
        })
        .collect();
    all.sort();
    all
}

#[test]
fn complaints_are_those_of_check() {
    let folder = folder("language-complaints");
    let mut client =
        Client::start(&folder, &json!({ "general": { "positionEncodings": ["utf-32"] } }));
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut some = 0;
    for path in crate::sarif::scripts() {
        let text = fs::read(&path).expect("readable");
        let name = path.file_name().and_then(|n| n.to_str()).expect("a name");
        // Files that others use, and a mark before the text, which an editor takes away.
        let apart = path.starts_with(root.join("tests/scripts/meaningless/parts"));
        let Ok(text) = String::from_utf8(text) else { continue };
        if apart || text.contains("use \"") || text.contains('\u{feff}') {
            continue;
        }
        fs::write(folder.join(name), &text).expect("written");
        let uri = uri(&folder, name);
        client.open(&uri, &text);
        assert_eq!(of_marks(&client.marks(&uri, 1)), told(&folder, name), "{name}");
        some += 1;
    }
    assert!(some > 100, "{some}");
    assert_eq!(client.leave(), Some(0));
}

#[test]
fn a_script_is_written_mended_and_proven() {
    let folder = folder("language-session");
    let mut client = Client::start(&folder, &json!({}));
    let uri = uri(&folder, "größe 🔑.bell");
    let text = project("procedures/push-start-spare.bell");
    client.open(&uri, &text);
    assert_eq!(client.marks(&uri, 1), [] as [Value; 0]);
    let all =
        json!({ "start": { "line": 0, "character": 0 }, "end": { "line": 200, "character": 0 } });
    let hints = client
        .ask("textDocument/inlayHint", &json!({ "textDocument": { "uri": uri }, "range": all }));
    assert_eq!(hints[0]["label"], "proven");
    // In the middle of a word, and in the middle of a number.
    let at = position(&text, "open answered");
    let (line, column) = (at["line"].as_u64().unwrap(), at["character"].as_u64().unwrap());
    let inside = json!({ "line": line, "character": column + 2 });
    let changes = json!([{ "range": { "start": inside, "end": inside }, "text": "x y" }]);
    client.change(&uri, 2, &changes);
    let marks = client.marks(&uri, 2);
    assert!(
        marks
            .iter()
            .any(|mark| mark["code"] == "unfinished-sentence" || mark["code"] == "unknown-name"),
        "{marks:?}"
    );
    let after = json!({ "line": line, "character": column + 5 });
    client.change(&uri, 3, &json!([{ "range": { "start": inside, "end": after }, "text": "" }]));
    assert_eq!(client.marks(&uri, 3), [] as [Value; 0]);
    // A window that is too narrow, its sum, and a way out that is proven.
    let at = position(&text, "30s after open answered");
    let end = json!({ "line": at["line"], "character": at["character"].as_u64().unwrap() + 2 });
    client.change(&uri, 4, &json!([{ "range": { "start": at, "end": end }, "text": "8" }]));
    let marks = client.marks(&uri, 4);
    let timing = marks.iter().find(|mark| mark["code"] == "timing").expect("a verdict");
    assert!(timing["message"].as_str().unwrap().contains("short by"), "{timing}");
    assert!(timing["relatedInformation"].as_array().unwrap().len() > 2);
    let actions = until(|| {
        let params = json!({ "textDocument": { "uri": uri }, "range": timing["range"],
                             "context": { "diagnostics": [] } });
        let actions = client.ask("textDocument/codeAction", &params);
        let proven =
            |action: &&Value| action["title"].as_str().unwrap().contains("would be proven if");
        actions.as_array().unwrap().iter().find(proven).cloned()
    });
    let edit = &actions["edit"]["changes"][&uri][0];
    client.change(&uri, 5, &json!([{ "range": edit["range"], "text": edit["newText"] }]));
    let marks = client.marks(&uri, 5);
    assert!(!marks.iter().any(|mark| mark["code"] == "timing"), "{marks:?}");
    assert_eq!(client.leave(), Some(0));
}

/// What stands beside the lines now.
fn beside(client: &mut Client, uri: &str) -> Vec<String> {
    let all =
        json!({ "start": { "line": 0, "character": 0 }, "end": { "line": 999, "character": 0 } });
    let asked = json!({ "textDocument": { "uri": uri }, "range": all });
    let hints = client.ask("textDocument/inlayHint", &asked);
    let label = |hint: &Value| hint["label"].as_str().expect("a text").to_owned();
    hints.as_array().expect("a list").iter().map(label).collect()
}

/// What a hover at the first of these words tells.
fn hovered(client: &mut Client, uri: &str, text: &str, wanted: &str) -> String {
    let at = json!({ "textDocument": { "uri": uri }, "position": position(text, wanted) });
    let hover = client.ask("textDocument/hover", &at);
    hover["contents"]["value"].as_str().unwrap_or("").to_owned()
}

/// Figures come after the verdict, and are asked for again where the editor can; a key that comes before
/// them ends them, so that only those of the newest version are ever shown.
#[test]
fn figures_come_later_and_a_key_ends_them() {
    let folder = folder("language-figures");
    let can = json!({ "workspace": { "inlayHint": { "refreshSupport": true } } });
    let mut client = Client::start(&folder, &can);
    let uri = uri(&folder, "a.bell");
    let old = project("procedures/push-start-spare.bell");
    client.open(&uri, &old);
    // One key after the other, the last before any figure of the first can have been seen.
    let at = position(&old, "0s after open answered");
    for (version, digit) in (2..).zip(["1", "2", "3", "4", "5"]) {
        let end = json!({ "line": at["line"], "character": at["character"].as_u64().unwrap() + 1 });
        client.change(
            &uri,
            version,
            &json!([{ "range": { "start": at, "end": end }, "text": digit }]),
        );
    }
    let text = old.replacen("30s after open answered", "35s after open answered", 1);
    assert_eq!(client.marks(&uri, 6), [] as [Value; 0]);
    let figures = until(|| Some(beside(&mut client, &uri)).filter(|beside| beside.len() > 1));
    assert!(figures.contains(&"17.0s to spare".to_owned()), "{figures:?}");
    assert!(!figures.contains(&"12.0s to spare".to_owned()), "{figures:?}");
    let told = hovered(&mut client, &uri, &text, "within 35s after open");
    assert!(told.contains("This window of 35s has 17.0s to spare"), "{told}");
    assert!(client.seen.iter().any(|seen| seen["method"] == "workspace/inlayHint/refresh"));
    // The next key takes them away at once: they were of another text.
    client.change(&uri, 7, &json!([{ "range": { "start": at, "end": at }, "text": "x" }]));
    assert_eq!(beside(&mut client, &uri), [] as [String; 0]);
    assert_eq!(client.leave(), Some(0));
}

/// Words and numbers are taken apart from their middle and put together again, key by key; every question
/// an editor asks meanwhile is answered, and what stands there last is judged as a check does.
#[test]
fn words_are_written_from_their_middle() {
    let folder = folder("language-middle");
    let mut client = Client::start(&folder, &json!({}));
    let uri = uri(&folder, "ä.bell");
    let mut text = project("procedures/push-start-spare.bell").replacen("Add", "Ädd 🔑", 1);
    client.open(&uri, &text);
    let mut version = 1;
    for word in ["🔑 a push", "procedure", "within", "answered", "30s", "show-new", "finish", "\""]
    {
        let start = text.find(word).expect(word);
        let end = start + word.len();
        let middle = text.floor_char_boundary(start + word.len() / 2);
        // Back from the middle, on from the middle, and the word once more.
        let mut keys: Vec<(usize, usize, String)> = Vec::new();
        let left: Vec<usize> =
            text[start..middle].char_indices().map(|(at, _)| start + at).collect();
        for (nth, at) in left.iter().enumerate().rev() {
            let until = left.get(nth + 1).copied().unwrap_or(middle);
            keys.push((*at, until, String::new()));
        }
        let rest: Vec<char> = text[middle..end].chars().collect();
        keys.extend(rest.iter().map(|c| (start, start + c.len_utf8(), String::new())));
        let mut at = start;
        for c in text[start..end].chars().collect::<Vec<_>>() {
            keys.push((at, at, c.to_string()));
            at += c.len_utf8();
        }
        let whole = text.clone();
        for (from, to, new) in keys {
            let range = json!({ "start": place(&text, from), "end": place(&text, to) });
            version += 1;
            client.change(&uri, version, &json!([{ "range": range, "text": new }]));
            text.replace_range(from..to, &new);
            let here = json!({ "textDocument": { "uri": uri }, "position": place(&text, from) });
            for method in ["completion", "hover", "definition", "documentHighlight"] {
                client.ask(&format!("textDocument/{method}"), &here);
            }
            beside(&mut client, &uri);
        }
        assert_eq!(text, whole, "{word}");
        assert_eq!(client.marks(&uri, version), [] as [Value; 0], "{word}");
    }
    // And left half-written.
    let cut = text.find("answered").expect("there") + 4;
    text.truncate(cut);
    let end = place(&(text.clone() + "\n"), cut);
    let rest = json!({ "start": end, "end": { "line": 9999, "character": 0 } });
    client.change(&uri, version + 1, &json!([{ "range": rest, "text": "" }]));
    fs::write(folder.join("half.bell"), &text).expect("written");
    let marks: Vec<String> =
        of_marks(&client.marks(&uri, version + 1)).into_iter().map(|mark| mark.0).collect();
    let checked: Vec<String> =
        told(&folder, "half.bell").into_iter().map(|complaint| complaint.0).collect();
    assert_eq!(marks, checked);
    assert!(!marks.is_empty());
    assert_eq!(client.leave(), Some(0));
}

/// Asks again until there is an answer: what takes longer comes later.
#[track_caller]
fn until<T>(mut ask: impl FnMut() -> Option<T>) -> T {
    for _ in 0..2_000 {
        if let Some(found) = ask() {
            return found;
        }
        std::thread::yield_now();
    }
    panic!("it never comes");
}

#[test]
fn used_files_are_documents_too() {
    let folder = folder("language-used");
    fs::create_dir(folder.join("parts")).expect("a folder");
    let part = "sign lamp-lit, see \"the lamp\" lit\n\npart settle\n  step rest \"Keep still.\"\n    takes 1s to 2s, assumed \"x\"\nend part\n";
    let main = "procedure \"A\"\ndevice \"B (invented)\"\nstatus demonstration\nassumed \"x\"\nuse \"parts/a b.bell\"\nstep look \"Look at it.\"\n  takes 1s to 2s\n  see lamp-lit, within 2s after done, so go on\n  nothing within 6s after done, so finish as unsure\ndo settle\nfinish as stopped\n";
    fs::write(folder.join("parts/a b.bell"), part).expect("written");
    fs::write(folder.join("main.bell"), main).expect("written");
    let mut client = Client::start(&folder, &json!({}));
    let (main_uri, part_uri) = (uri(&folder, "main.bell"), uri(&folder, "parts/a b.bell"));
    client.open(&main_uri, main);
    assert_eq!(client.marks(&main_uri, 1), [] as [Value; 0]);
    // To the definition in the other file, whose text is on the disk.
    let at = json!({ "textDocument": { "uri": main_uri }, "position": position(main, "lamp-lit") });
    let found = client.ask("textDocument/definition", &at);
    assert_eq!(found[0]["uri"], part_uri);
    assert_eq!(found[0]["range"]["start"], json!({ "line": 0, "character": 5 }));
    // An unsaved document stands before its file.
    client.open(&part_uri, &part.replace("lamp-lit", "lamp-on"));
    let marks = client.marks(&main_uri, 1);
    assert_eq!(marks[0]["code"], "unknown-name");
    assert_eq!(client.marks(&part_uri, 1), [] as [Value; 0], "a part is no script");
    let close = json!({ "textDocument": { "uri": part_uri } });
    client.tell("textDocument/didClose", &close);
    assert_eq!(client.marks(&main_uri, 1), [] as [Value; 0]);
    // A name is changed in both, from either side.
    client.open(&part_uri, part);
    for (uri, text) in [(&main_uri, main), (&part_uri, part)] {
        let at = position(text, "lamp-lit");
        let params = json!({ "textDocument": { "uri": uri }, "position": at, "newName": "bulb" });
        let edit = client.ask("textDocument/rename", &params);
        let changes = edit["changes"].as_object().expect("changes");
        assert_eq!(changes.len(), 2);
        assert_eq!(changes[&main_uri].as_array().unwrap().len(), 1);
        assert_eq!(changes[&part_uri].as_array().unwrap().len(), 1);
    }
    let refused = |client: &mut Client, name: &str| {
        let params = json!({ "textDocument": { "uri": main_uri },
                             "position": position(main, "lamp-lit"), "newName": name });
        let error = client.answer("textDocument/rename", &params).expect_err("refused");
        error["message"].as_str().expect("words").to_owned()
    };
    assert!(refused(&mut client, "the lamp").contains("is no name"));
    assert!(refused(&mut client, "after").contains("is no name"));
    assert_eq!(client.leave(), Some(0));
}

#[test]
fn it_survives_what_no_editor_should_send() {
    let folder = folder("language-odd");
    let mut client = Client::start(&folder, &json!({}));
    assert_eq!(client.answer("stepbell/nothing", &json!({})).unwrap_err()["code"], -32601);
    let wrong = client.answer("textDocument/hover", &json!({ "position": "here" }));
    assert_eq!(wrong.unwrap_err()["code"], -32602);
    let nowhere = json!({ "textDocument": { "uri": "file:///nowhere.bell" },
                          "position": { "line": 4_000_000_000_u32, "character": 7 } });
    for method in ["hover", "definition", "completion", "documentHighlight", "prepareRename"] {
        client.ask(&format!("textDocument/{method}"), &nowhere);
    }
    let missing = json!({ "textDocument": { "uri": "file:///nowhere.bell" }, "newName": "x",
                          "position": { "line": 0, "character": 0 } });
    assert!(client.answer("textDocument/rename", &missing).is_err());
    client.tell("textDocument/didChange", &json!({ "nonsense": true }));
    client.change("untitled:Untitled-1", 9, &json!([{ "text": "never opened" }]));
    client.open("untitled:Untitled-1", "step a \"b\"\nuse \"x.bell\"\n");
    assert!(!client.marks("untitled:Untitled-1", 1).is_empty());
    client.change("untitled:Untitled-1", 2, &json!([{ "text": "x\n".repeat(9000) }]));
    let marks = client.marks("untitled:Untitled-1", 2);
    assert_eq!(marks[0]["code"], "file-too-large");
    let format = json!({ "textDocument": { "uri": "untitled:Untitled-1" },
                         "options": { "tabSize": 2, "insertSpaces": true } });
    assert_eq!(client.ask("textDocument/formatting", &format), json!([]), "nothing is lost");
    assert_eq!(client.leave(), Some(0));
}

#[test]
fn an_editor_that_goes_away_ends_it() {
    let folder = folder("language-ends");
    let mut client = Client::start(&folder, &json!({}));
    client.open("untitled:a", "note x\n");
    client.to.take();
    assert_eq!(client.child.wait().expect("it ends").code(), Some(0));
    let mut client = Client::start(&folder, &json!({}));
    client.tell("exit", &Value::Null);
    assert_eq!(client.child.wait().expect("it ends").code(), Some(1), "without goodbye");
    call(&["language-server"]).input("GET / HTTP/1.1\r\n\r\n").ends(1);
}
