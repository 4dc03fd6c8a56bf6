//! The language server's wires: takes messages of the Language Server Protocol (3.17) over standard input
//! and output, gives the answers of [`crate::faces::editor`].
//!
//! Answers are given at once, on one thread. What takes longer is done on a second one, the newest
//! version of a document first; a key that is pressed meanwhile ends what is about the text before it.
//! A fault of ours in either loses one answer and is told on standard error, never the documents.

mod shelf;
mod worker;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Arc;

use crossbeam_channel::{Sender, select};
use lsp_server::{Connection, ErrorCode, Message, Notification, Request, RequestId, Response};
use lsp_types::notification::{self as told, Notification as _};
use lsp_types::request::{self as asked, Request as _};
use lsp_types::{
    CodeActionKind, CodeActionOptions, CodeActionProviderCapability, CompletionOptions,
    DidChangeWatchedFilesRegistrationOptions, FileSystemWatcher, GlobPattern,
    HoverProviderCapability, InitializeParams, MarkupKind, OneOf, PublishDiagnosticsParams,
    Registration, RegistrationParams, RenameOptions, ServerCapabilities,
    TextDocumentSyncCapability, TextDocumentSyncKind, TextDocumentSyncOptions,
    TextDocumentSyncSaveOptions,
};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Value, json};

use self::shelf::Disk;
use self::worker::{Found, Job};
use crate::faces::address;
use crate::faces::editor::text::Unit;
use crate::faces::editor::{Editor, Shown};

/// How a session ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// The editor said goodbye, or closed its end.
    Done,
    /// The editor ended it without goodbye.
    Abrupt,
}

/// Serves an editor over standard input and output until it leaves.
#[must_use]
pub fn serve_stdio() -> Ended {
    let (connection, _threads) = Connection::stdio();
    // The threads that read and write are not waited for: the reader may be stuck in a read.
    let ended = serve(&connection);
    drop(connection);
    ended
}

/// Serves an editor over a connection until it leaves.
#[must_use]
pub fn serve(connection: &Connection) -> Ended {
    let Ok((id, params)) = connection.initialize_start() else { return Ended::Abrupt };
    let params: InitializeParams = serde_json::from_value(params).unwrap_or_default();
    let (mut server, results) = Server::new(&params, connection.sender.clone());
    server.reply(Response::new_ok(id, server.introduction()));
    loop {
        select! {
            recv(connection.receiver) -> message => {
                let Ok(message) = message else { return Ended::Done };
                if let Some(ended) = server.message(message) {
                    return ended;
                }
            }
            recv(results) -> found => {
                // The worker never ends before the server.
                if let Ok(found) = found {
                    server.found(found);
                }
            }
        }
    }
}

/// What the editor can do, as far as it matters.
#[derive(Clone, Copy, Debug, Default)]
struct Client {
    refreshes_hints: bool,
    watches_files: bool,
}

struct Server {
    editor: Editor,
    disk: Arc<Disk>,
    unit: Unit,
    client: Client,
    to: Sender<Message>,
    jobs: Sender<Job>,
    /// Requests of ours so far.
    asked: i32,
    /// The editor has said that it will leave.
    leaving: bool,
}

impl Server {
    fn new(
        params: &InitializeParams,
        to: Sender<Message>,
    ) -> (Server, crossbeam_channel::Receiver<Found>) {
        let can = &params.capabilities;
        let general = can.general.as_ref();
        let offered = general.and_then(|general| general.position_encodings.as_deref());
        let unit = Unit::agreed(offered.unwrap_or_default());
        let hover = can.text_document.as_ref().and_then(|document| document.hover.as_ref());
        let formats = hover.and_then(|hover| hover.content_format.as_deref());
        let markdown = formats.is_some_and(|formats| formats.contains(&MarkupKind::Markdown));
        let workspace = can.workspace.as_ref();
        let client = Client {
            refreshes_hints: workspace
                .and_then(|workspace| workspace.inlay_hint.as_ref())
                .and_then(|hints| hints.refresh_support)
                .unwrap_or(false),
            watches_files: workspace
                .and_then(|workspace| workspace.did_change_watched_files.as_ref())
                .and_then(|watching| watching.dynamic_registration)
                .unwrap_or(false),
        };
        let disk = Arc::new(Disk { folders: folders(params) });
        let (jobs, results) = worker::start(Arc::clone(&disk));
        let editor = Editor::new(unit, markdown);
        (Server { editor, disk, unit, client, to, jobs, asked: 0, leaving: false }, results)
    }

    /// What this server can do.
    fn introduction(&self) -> Value {
        let sync = TextDocumentSyncOptions {
            open_close: Some(true),
            change: Some(TextDocumentSyncKind::INCREMENTAL),
            save: Some(TextDocumentSyncSaveOptions::Supported(true)),
            ..TextDocumentSyncOptions::default()
        };
        let can = ServerCapabilities {
            position_encoding: Some(self.unit.kind()),
            text_document_sync: Some(TextDocumentSyncCapability::Options(sync)),
            completion_provider: Some(CompletionOptions {
                trigger_characters: Some(vec![" ".to_owned()]),
                ..CompletionOptions::default()
            }),
            hover_provider: Some(HoverProviderCapability::Simple(true)),
            definition_provider: Some(OneOf::Left(true)),
            references_provider: Some(OneOf::Left(true)),
            document_highlight_provider: Some(OneOf::Left(true)),
            document_symbol_provider: Some(OneOf::Left(true)),
            document_formatting_provider: Some(OneOf::Left(true)),
            inlay_hint_provider: Some(OneOf::Left(true)),
            code_action_provider: Some(CodeActionProviderCapability::Options(CodeActionOptions {
                code_action_kinds: Some(vec![CodeActionKind::QUICKFIX]),
                ..CodeActionOptions::default()
            })),
            rename_provider: Some(OneOf::Right(RenameOptions {
                prepare_provider: Some(true),
                work_done_progress_options: Default::default(),
            })),
            ..ServerCapabilities::default()
        };
        json!({
            "capabilities": can,
            "serverInfo": { "name": "stepbell", "version": env!("CARGO_PKG_VERSION") },
        })
    }

    /// One message; how the session ends, if it does.
    fn message(&mut self, message: Message) -> Option<Ended> {
        match message {
            Message::Request(request) if request.method == asked::Shutdown::METHOD => {
                self.leaving = true;
                self.reply(Response::new_ok(request.id, ()));
                None
            }
            Message::Request(request) => {
                let id = request.id.clone();
                let answer = catch_unwind(AssertUnwindSafe(|| self.answer(request)));
                self.reply(answer.unwrap_or_else(|_| {
                    let text = "a fault of the server; it is told on standard error".to_owned();
                    Response::new_err(id, ErrorCode::InternalError as i32, text)
                }));
                None
            }
            Message::Notification(notice) if notice.method == told::Exit::METHOD => {
                Some(if self.leaving { Ended::Done } else { Ended::Abrupt })
            }
            Message::Notification(notice) => {
                // The panic's own message is on standard error; the documents are as they were.
                let _ = catch_unwind(AssertUnwindSafe(|| self.notice(notice)));
                None
            }
            // Answers to our own requests say nothing that matters.
            Message::Response(_) => None,
        }
    }

    fn answer(&self, request: Request) -> Response {
        let (editor, disk) = (&self.editor, &*self.disk);
        match request.method.as_str() {
            asked::Completion::METHOD => with(request, |p: lsp_types::CompletionParams| {
                let at = p.text_document_position;
                Ok(editor.complete(at.text_document.uri.as_str(), at.position, disk))
            }),
            asked::GotoDefinition::METHOD => with(request, |p: lsp_types::GotoDefinitionParams| {
                let at = p.text_document_position_params;
                Ok(editor.definition(at.text_document.uri.as_str(), at.position, disk))
            }),
            asked::References::METHOD => with(request, |p: lsp_types::ReferenceParams| {
                let at = p.text_document_position;
                Ok(editor.references(at.text_document.uri.as_str(), at.position, disk))
            }),
            asked::DocumentHighlightRequest::METHOD => {
                with(request, |p: lsp_types::DocumentHighlightParams| {
                    let at = p.text_document_position_params;
                    Ok(editor.highlights(at.text_document.uri.as_str(), at.position, disk))
                })
            }
            asked::PrepareRenameRequest::METHOD => {
                with(request, |at: lsp_types::TextDocumentPositionParams| {
                    Ok(editor.renamable(at.text_document.uri.as_str(), at.position, disk))
                })
            }
            asked::Rename::METHOD => with(request, |p: lsp_types::RenameParams| {
                let at = p.text_document_position;
                editor.rename(at.text_document.uri.as_str(), at.position, &p.new_name, disk)
            }),
            asked::DocumentSymbolRequest::METHOD => {
                with(request, |p: lsp_types::DocumentSymbolParams| {
                    Ok(editor.outline(p.text_document.uri.as_str()))
                })
            }
            asked::Formatting::METHOD => with(request, |p: lsp_types::DocumentFormattingParams| {
                Ok(editor.tidied(p.text_document.uri.as_str()).into_iter().collect::<Vec<_>>())
            }),
            asked::CodeActionRequest::METHOD => with(request, |p: lsp_types::CodeActionParams| {
                Ok(editor.actions(p.text_document.uri.as_str(), p.range, disk))
            }),
            asked::HoverRequest::METHOD => with(request, |p: lsp_types::HoverParams| {
                let at = p.text_document_position_params;
                Ok(editor.hover(at.text_document.uri.as_str(), at.position, disk))
            }),
            asked::InlayHintRequest::METHOD => with(request, |p: lsp_types::InlayHintParams| {
                Ok(editor.hints(p.text_document.uri.as_str(), p.range))
            }),
            _ => {
                let text = format!("there is no answer to {}", request.method);
                Response::new_err(request.id, ErrorCode::MethodNotFound as i32, text)
            }
        }
    }

    fn notice(&mut self, notice: Notification) {
        let params = notice.params;
        match notice.method.as_str() {
            told::Initialized::METHOD => self.watch(),
            told::DidOpenTextDocument::METHOD => {
                let Some(p) = read::<lsp_types::DidOpenTextDocumentParams>(params) else { return };
                let document = p.text_document;
                let address = document.uri.as_str().to_owned();
                self.editor.open(&address, document.version, document.text);
                self.judge(&address);
            }
            told::DidChangeTextDocument::METHOD => {
                let Some(p) = read::<lsp_types::DidChangeTextDocumentParams>(params) else {
                    return;
                };
                let address = p.text_document.uri.as_str().to_owned();
                self.editor.change(&address, p.text_document.version, p.content_changes);
                self.judge(&address);
            }
            told::DidCloseTextDocument::METHOD => {
                let Some(p) = read::<lsp_types::DidCloseTextDocumentParams>(params) else { return };
                let address = p.text_document.uri.as_str().to_owned();
                let shown = self.editor.close(&address);
                self.show(shown);
                self.judge(&address);
            }
            told::DidSaveTextDocument::METHOD | told::DidChangeWatchedFiles::METHOD => {
                let all: Vec<String> = self.editor.addresses().map(str::to_owned).collect();
                all.iter().for_each(|address| self.judge_one(address));
            }
            // Whatever else an editor tells is not needed.
            _ => {}
        }
    }

    /// Has a document looked at, and those that use it.
    fn judge(&mut self, address: &str) {
        for address in self.editor.concerned(address) {
            self.judge_one(&address);
        }
    }

    fn judge_one(&self, address: &str) {
        let Some(task) = self.editor.task(address) else { return };
        let buffers = Arc::new(self.editor.buffers());
        // The worker ends only with the server.
        let _ = self.jobs.send(Job { task, buffers });
    }

    fn found(&mut self, found: Found) {
        match found {
            Found::Judged(judged) => {
                let shown = self.editor.accept(*judged);
                let any = !shown.is_empty();
                self.show(shown);
                if any {
                    self.refresh();
                }
            }
            Found::Later(later) => {
                if self.editor.accept_later(*later) {
                    self.refresh();
                }
            }
        }
    }

    fn show(&self, shown: Vec<Shown>) {
        for (address, version, diagnostics) in shown {
            let Ok(uri) = address.parse() else { continue };
            let params = PublishDiagnosticsParams { uri, diagnostics, version };
            let method = told::PublishDiagnostics::METHOD.to_owned();
            self.send(Notification::new(method, params).into());
        }
    }

    /// Figures beside the lines have changed.
    fn refresh(&mut self) {
        if self.client.refreshes_hints {
            self.ask(asked::InlayHintRefreshRequest::METHOD, ());
        }
    }

    /// Scripts that change on the disk are looked at again.
    fn watch(&mut self) {
        if !self.client.watches_files {
            return;
        }
        let watcher = FileSystemWatcher {
            glob_pattern: GlobPattern::String("**/*.bell".to_owned()),
            kind: None,
        };
        let options = DidChangeWatchedFilesRegistrationOptions { watchers: vec![watcher] };
        let registration = Registration {
            id: "scripts".to_owned(),
            method: told::DidChangeWatchedFiles::METHOD.to_owned(),
            register_options: serde_json::to_value(options).ok(),
        };
        let params = RegistrationParams { registrations: vec![registration] };
        self.ask(asked::RegisterCapability::METHOD, params);
    }

    fn ask(&mut self, method: &str, params: impl Serialize) {
        self.asked += 1;
        let id = RequestId::from(self.asked);
        self.send(Request::new(id, method.to_owned(), params).into());
    }

    fn reply(&self, response: Response) {
        self.send(response.into());
    }

    fn send(&self, message: Message) {
        // An editor that reads no more is seen where its messages end.
        let _ = self.to.send(message);
    }
}

/// The folders that the editor works in.
fn folders(params: &InitializeParams) -> Vec<PathBuf> {
    let several = params.workspace_folders.iter().flatten().map(|folder| folder.uri.as_str());
    #[expect(deprecated, reason = "older editors name their one folder so")]
    let one = params.root_uri.iter().map(|uri| uri.as_str());
    several.chain(one).filter_map(address::to_path).map(PathBuf::from).collect()
}

fn read<P: DeserializeOwned>(params: Value) -> Option<P> {
    serde_json::from_value(params).ok()
}

/// Answers a request whose parameters are of the kind that it wants.
fn with<P: DeserializeOwned, A: Serialize>(
    request: Request,
    answer: impl FnOnce(P) -> Result<A, String>,
) -> Response {
    let Request { id, params, .. } = request;
    match serde_json::from_value(params) {
        Err(why) => Response::new_err(id, ErrorCode::InvalidParams as i32, why.to_string()),
        Ok(params) => match answer(params) {
            Ok(answer) => Response::new_ok(id, answer),
            Err(why) => Response::new_err(id, ErrorCode::RequestFailed as i32, why),
        },
    }
}
