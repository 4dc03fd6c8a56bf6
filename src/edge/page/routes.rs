//! What is served to a page, once its request has shown what it must: the page itself, its files, its
//! events, sounds, the time, and the changes that it asks for.

use std::sync::Arc;

use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Extension, Path};
use axum::http::header::{CONTENT_TYPE, SET_COOKIE};
use axum::http::{HeaderMap, Method, Request, StatusCode};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use serde::Deserialize;
use serde_json::json;

use super::guard::{Refused, cookie};
use super::pages::{Said, Sent};
use super::room::{News, Seat};
use super::stream::events;
use crate::faces::page::asset;
use crate::faces::page::assets::{KEY_MARK, PAGE};
use crate::faces::page::status::Role;

/// The longest body of a request, in bytes.
pub(super) const BODY: usize = 4096;

/// A request's page and connection, and the name by which it called us.
#[derive(Clone)]
pub(super) struct Visitor {
    seat: Arc<Seat>,
    page: u32,
}

/// All routes.
pub(super) fn router() -> Router {
    Router::new()
        .route("/", get(page))
        .route("/events", get(stream))
        .route("/now", get(now))
        .route("/places", get(places))
        .route("/sounds", get(sounds))
        .route("/sound/{name}", get(sound))
        .route("/state", post(state))
        .route("/press", post(press))
        .route("/role", post(role))
        .route("/{name}", get(file))
        .layer(DefaultBodyLimit::max(BODY))
}

/// Looks at a request before any route does. A visitor is let on to the routes; whoever shows the
/// token gets a page of their own at once.
pub(super) fn admit(request: &Request<Body>, seat: &Arc<Seat>) -> Result<Admitted, Refused> {
    let room = &seat.room;
    let (headers, uri) = (request.headers(), request.uri());
    let called = room.names.called(headers, uri)?;
    let session = cookie(headers, &room.cookie);
    let page = session.and_then(|session| room.pages().of_session(session));
    let shown = uri.path().strip_prefix('/').is_some_and(|path| room.token.is(path));
    if shown && request.method() == Method::GET {
        return Ok(Admitted::Answer(opened(seat, page)?));
    }
    let Some(page) = page else { return Err(room.wrong_try(seat.from)) };
    seat.prove(page);
    if request.method() == Method::POST {
        let pages = room.pages();
        let (_, key) = pages.secrets(page).ok_or(Refused::NotFound)?;
        room.names.change(called, headers, key)?;
    }
    Ok(Admitted::Visitor(Visitor { seat: Arc::clone(seat), page }))
}

/// How a request goes on.
pub(super) enum Admitted {
    /// To the routes.
    Visitor(Visitor),
    /// It is answered.
    Answer(Response),
}

/// A new page, or the one that this browser has already.
fn opened(seat: &Arc<Seat>, page: Option<u32>) -> Result<Response, Refused> {
    let room = &seat.room;
    let page = match page {
        Some(page) => page,
        // Without random numbers no page can be opened.
        None => {
            let (now, from) = (room.now(), seat.from);
            room.pages().open(from, now).map_err(|_| Refused::Full)?.ok_or(Refused::Full)?
        }
    };
    seat.prove(page);
    let mut response = html(seat, page).ok_or(Refused::NotFound)?;
    let pages = room.pages();
    let (session, _) = pages.secrets(page).ok_or(Refused::NotFound)?;
    let secure = if room.secure { "; Secure" } else { "" };
    let cookie =
        format!("{}={}; Path=/; HttpOnly; SameSite=Strict{secure}", room.cookie, session.written());
    if let Ok(cookie) = cookie.parse() {
        response.headers_mut().insert(SET_COOKIE, cookie);
    }
    Ok(response)
}

fn html(seat: &Seat, page: u32) -> Option<Response> {
    let pages = seat.room.pages();
    let (_, key) = pages.secrets(page)?;
    let text = PAGE.text.replace(KEY_MARK, &key.written());
    Some(([(CONTENT_TYPE, PAGE.kind)], text).into_response())
}

fn none() -> Response {
    Refused::NotFound.status().into_response()
}

async fn page(Extension(visitor): Extension<Visitor>) -> Response {
    html(&visitor.seat, visitor.page).unwrap_or_else(none)
}

async fn file(Path(name): Path<String>) -> Response {
    match asset(&name) {
        Some(file) => ([(CONTENT_TYPE, file.kind)], file.text).into_response(),
        None => none(),
    }
}

async fn stream(Extension(visitor): Extension<Visitor>) -> Response {
    let body = events(visitor.seat, visitor.page);
    ([(CONTENT_TYPE, "text/event-stream")], body).into_response()
}

async fn now(Extension(visitor): Extension<Visitor>) -> Response {
    Json(json!({"now": visitor.seat.room.run_time()})).into_response()
}

/// The steps and marks of a replay.
async fn places(Extension(visitor): Extension<Visitor>) -> Response {
    Json(visitor.seat.room.places().to_vec()).into_response()
}

async fn sounds(Extension(visitor): Extension<Visitor>) -> Response {
    Json(visitor.seat.room.shelf.all()).into_response()
}

async fn sound(Extension(visitor): Extension<Visitor>, Path(name): Path<String>) -> Response {
    match visitor.seat.room.shelf.wav(&name) {
        Some(wav) => ([(CONTENT_TYPE, "audio/wav")], wav.to_vec()).into_response(),
        None => none(),
    }
}

/// A page says how it is; it is told the time.
async fn state(Extension(visitor): Extension<Visitor>, Json(said): Json<Said>) -> Response {
    let room = &visitor.seat.room;
    let before = room.pages().role(visitor.page);
    let now = room.now();
    room.pages().say(visitor.page, &said, now);
    if room.pages().role(visitor.page) != before {
        room.pages_have_changed();
    }
    if said.armed {
        room.begin();
    }
    Json(json!({"now": room.run_time()})).into_response()
}

async fn press(Extension(visitor): Extension<Visitor>, Json(sent): Json<Sent>) -> Response {
    let room = &visitor.seat.room;
    let stand = room.standing.borrow().stand;
    let taken = room.pages().press(visitor.page, &sent, stand, room.now());
    let why = match taken {
        Ok(None) => return StatusCode::ACCEPTED.into_response(),
        Ok(Some((meant, from))) => match room.tell(News::Sent(meant, from)) {
            true => return StatusCode::ACCEPTED.into_response(),
            false => "not-begun",
        },
        Err(why) => why.word(),
    };
    (StatusCode::CONFLICT, Json(json!({"why": why}))).into_response()
}

/// A page asks for another role.
#[derive(Debug, Deserialize)]
struct Asked {
    role: String,
}

async fn role(Extension(visitor): Extension<Visitor>, Json(asked): Json<Asked>) -> Response {
    let role = match asked.role.as_str() {
        "leads" => Role::Leads,
        "helps" => Role::Helps,
        "watches" => Role::Watches,
        _ => return StatusCode::BAD_REQUEST.into_response(),
    };
    let room = &visitor.seat.room;
    room.pages().take_role(visitor.page, role);
    room.pages_have_changed();
    StatusCode::NO_CONTENT.into_response()
}

/// What every answer carries: nothing from outside, nothing in frames, nothing kept.
pub(super) fn seal(headers: &mut HeaderMap) {
    const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
                          connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors \
                          'none'; require-trusted-types-for 'script'; trusted-types 'none'";
    for (name, value) in [
        ("content-security-policy", POLICY),
        ("x-content-type-options", "nosniff"),
        ("x-frame-options", "DENY"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("permissions-policy", "camera=(), microphone=(), geolocation=(), screen-wake-lock=(self)"),
        ("cache-control", "no-store"),
    ] {
        headers.insert(name, axum::http::HeaderValue::from_static(value));
    }
}
