//! What flows to one page: the whole state at once and after each change, sounds as they ring, and a
//! beat by which the page knows that the guide is there. A page that does not read is let go.

use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::Duration;

use axum::body::{Body, Bytes};
use http_body::Frame;
use serde_json::json;
use tokio::sync::broadcast::error::RecvError;
use tokio::sync::mpsc;
use tokio::time::{MissedTickBehavior, interval, timeout};

use super::room::Seat;
use crate::faces::page::status::Role;

/// How often the beat comes; a page that hears none for three of them calls itself stale.
const BEAT: Duration = Duration::from_millis(350);
/// A page that takes nothing for so long is let go.
const UNREAD: Duration = Duration::from_secs(5);
/// Events that wait for a page that is slow.
const WAITING: usize = 4;

/// The events of a page, as the body of an answer.
pub(super) fn events(seat: Arc<Seat>, page: u32) -> Body {
    let (to, from) = mpsc::channel(WAITING);
    tokio::spawn(async move {
        let _open = Open::of(&seat, page);
        let flowed = flow(&seat, page, to).await;
        if flowed.is_err() {
            // The connection is full of what is not read: it would stay open for minutes.
            seat.leave();
        }
    });
    Body::new(Events(from))
}

/// An open stream, as the pages know it: by its end they learn that a page is no longer there.
struct Open {
    seat: Arc<Seat>,
    page: u32,
}

impl Open {
    fn of(seat: &Arc<Seat>, page: u32) -> Open {
        seat.room.pages().stream_begins(page);
        Open { seat: Arc::clone(seat), page }
    }
}

impl Drop for Open {
    fn drop(&mut self) {
        let now = self.seat.room.now();
        self.seat.room.pages().stream_ends(self.page, now);
    }
}

/// A page that does not read.
struct Unread;

/// Sends events until the page is gone.
async fn flow(seat: &Seat, page: u32, to: mpsc::Sender<Bytes>) -> Result<(), Unread> {
    let room = &seat.room;
    let mut standing = room.standing.subscribe();
    let mut pages = room.pages_changed.subscribe();
    let mut heard = room.heard.subscribe();
    let mut over = room.over.subscribe();
    let mut beat = interval(BEAT);
    beat.set_missed_tick_behavior(MissedTickBehavior::Skip);
    let put = async |event: &str, data: &str| {
        let bytes = Bytes::from(format!("event: {event}\ndata: {data}\n\n"));
        match timeout(UNREAD, to.send(bytes)).await {
            Ok(Ok(())) => Ok(true),
            Ok(Err(_)) => Ok(false),
            Err(_) => Err(Unread),
        }
    };
    standing.mark_changed();
    pages.mark_changed();
    loop {
        let goes_on = tokio::select! {
            biased;
            () = to.closed() => false,
            sound = heard.recv() => match sound {
                Ok(sound) => put("heard", &sound).await?,
                Err(RecvError::Lagged(_)) => true,
                Err(RecvError::Closed) => false,
            },
            changed = standing.changed() => {
                let now = Arc::clone(&standing.borrow_and_update());
                changed.is_ok() && put("card", &now.json).await?
            }
            changed = pages.changed() => {
                pages.mark_unchanged();
                let data = you(seat, page);
                changed.is_ok() && put("you", &data).await?
            }
            // After what stands there: the branches above come first.
            _ = over.changed() => false,
            _ = beat.tick() => put("beat", &json!({"now": room.run_time()}).to_string()).await?,
        };
        if !goes_on {
            return Ok(());
        }
    }
}

/// What a page is told of itself and the others.
fn you(seat: &Seat, page: u32) -> String {
    let (pages, now) = (seat.room.pages(), seat.room.now());
    let role = match pages.role(page) {
        Some(Role::Leads) => "leads",
        Some(Role::Helps) => "helps",
        _ => "watches",
    };
    let (armed, aloud) = pages.was_tapped(page);
    json!({
        "page": page,
        "role": role,
        "leader": pages.leader(),
        "gone": pages.leader_is_gone(now),
        "armed": armed,
        "aloud": aloud,
    })
    .to_string()
}

/// A body that gives what comes through a channel.
struct Events(mpsc::Receiver<Bytes>);

impl http_body::Body for Events {
    type Data = Bytes;
    type Error = Infallible;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, Infallible>>> {
        self.0.poll_recv(context).map(|bytes| bytes.map(|bytes| Ok(Frame::data(bytes))))
    }
}
