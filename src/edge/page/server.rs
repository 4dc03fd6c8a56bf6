//! The sockets: accepts connections at a bounded pace, gives each a place, a header time-out and small
//! buffers, and lets a request on only when it has shown what it must.

use std::convert::Infallible;
use std::io;
use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::Body;
use axum::http::header::CONNECTION;
use axum::http::{HeaderValue, Request, StatusCode};
use axum::response::{IntoResponse, Response};
use hyper::body::Incoming;
use hyper::server::conn::http1;
use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::{Instant, interval, sleep, timeout};
use tokio_rustls::TlsAcceptor;
use tokio_rustls::rustls::ServerConfig;
use tower_service::Service;

use super::face::End;
use super::room::{Around, News, Room, Seat};
use super::routes::{Admitted, admit, router, seal};

/// A request's head must be whole within this; also how long a connection may stay silent.
const HEAD: Duration = Duration::from_secs(5);
/// A request's body must be read, and its answer begun, within this.
const BODY: Duration = Duration::from_secs(5);
/// The largest head, in bytes.
const HEAD_BYTES: usize = 16 << 10;
/// The most headers.
const HEADERS: usize = 48;
/// Connections that are accepted at once before they are slowed down, and how often one more is.
const AT_ONCE: u32 = 128;
const PACE: Duration = Duration::from_millis(2);
/// How often the run is told how the pages are, where that has changed.
const LOOK: Duration = Duration::from_millis(250);
/// How long the last picture is given to reach the pages.
const LAST: Duration = Duration::from_millis(250);
/// How much the page's thread stands back behind the run's (nice value, on Linux).
#[cfg(target_os = "linux")]
const BEHIND: i32 = 5;

/// Serves from a thread of its own until the run is over.
pub(super) fn start(
    listener: std::net::TcpListener,
    tls: Option<Arc<ServerConfig>>,
    room: Arc<Room>,
    end: Arc<End>,
) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    std::thread::Builder::new().name("page".to_owned()).spawn(move || {
        let ending = Ending(end);
        stand_back();
        let over = Arc::clone(&ending.0);
        let served = runtime.block_on(async move {
            let keeper = tokio::spawn(keep(Arc::clone(&room)));
            let last = Arc::clone(&room);
            tokio::select! {
                why = accept(listener, tls, room) => Some(why.to_string()),
                _ = keeper => Some("its thread broke".to_owned()),
                () = over.over() => {
                    last.stand();
                    last.over.send_replace(true);
                    sleep(LAST).await;
                    None
                }
            }
        });
        ending.0.ended(served);
    })?;
    Ok(())
}

/// Says that the thread has ended, also when it breaks.
struct Ending(Arc<End>);

impl Drop for Ending {
    fn drop(&mut self) {
        if std::thread::panicking() {
            self.0.ended(Some("its thread broke".to_owned()));
        }
    }
}

/// The run's thread comes first where cores are busy. On Linux a thread has a nice value of its own;
/// where it may not be raised nothing is lost.
fn stand_back() {
    #[cfg(target_os = "linux")]
    let _ = rustix::process::setpriority_process(None, BEHIND);
}

/// Keeps what stands on the pages up to date, and the run about the pages.
async fn keep(room: Arc<Room>) {
    let mut published = room.published.clone();
    let mut look = interval(LOOK);
    let mut told: Option<Around> = None;
    loop {
        tokio::select! {
            changed = published.changed() => {
                if changed.is_err() {
                    return;
                }
                room.stand();
            }
            _ = look.tick() => {
                let around = room.around();
                if told.as_ref() != Some(&around) {
                    room.pages_have_changed();
                    if room.tell(News::Pages(around.clone())) {
                        told = Some(around);
                    }
                }
            }
        }
    }
}

/// Accepts connections; gives why it no longer can.
async fn accept(
    listener: std::net::TcpListener,
    tls: Option<Arc<ServerConfig>>,
    room: Arc<Room>,
) -> io::Error {
    let listener = match TcpListener::from_std(listener) {
        Ok(listener) => listener,
        Err(why) => return why,
    };
    let tls = tls.map(TlsAcceptor::from);
    let router = router();
    let (mut free, mut since) = (AT_ONCE, Instant::now());
    loop {
        let (stream, from) = match listener.accept().await {
            Ok((stream, from)) => (stream, from.ip()),
            // Out of descriptors, or a connection that ended at once: not the listener's end.
            Err(_) => {
                sleep(Duration::from_millis(20)).await;
                continue;
            }
        };
        tokio::spawn(attend(stream, tls.clone(), router.clone(), room.come(from)));
        let regained = since.elapsed().as_nanos() / PACE.as_nanos();
        if regained > 0 {
            free = free.saturating_add(u32::try_from(regained).unwrap_or(AT_ONCE)).min(AT_ONCE);
            since = Instant::now();
        }
        free = free.saturating_sub(1);
        if free == 0 {
            sleep(PACE).await;
        }
    }
}

/// Serves one connection until it ends, or must make room.
async fn attend(stream: TcpStream, tls: Option<TlsAcceptor>, router: Router, seat: Arc<Seat>) {
    // Digits and taps are small and must not wait for more.
    let _ = stream.set_nodelay(true);
    let place = Arc::clone(&seat);
    let served = async move {
        match tls {
            None => serve(stream, router, seat).await,
            Some(tls) => {
                if let Ok(Ok(stream)) = timeout(HEAD, tls.accept(stream)).await {
                    serve(stream, router, seat).await;
                }
            }
        }
    };
    tokio::select! {
        () = served => {}
        () = place.kicked() => {}
    }
}

async fn serve<S: AsyncRead + AsyncWrite + Unpin>(stream: S, router: Router, seat: Arc<Seat>) {
    let service = service_fn(move |request: Request<Incoming>| {
        let (seat, router) = (Arc::clone(&seat), router.clone());
        async move { Ok::<_, Infallible>(answer(request.map(Body::new), seat, router).await) }
    });
    // A connection that breaks off concerns nobody.
    let _ = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .max_buf_size(HEAD_BYTES)
        .max_headers(HEADERS)
        .serve_connection(TokioIo::new(stream), service)
        .await;
}

/// Answers one request.
async fn answer(mut request: Request<Body>, seat: Arc<Seat>, mut router: Router) -> Response {
    let mut response = match admit(&request, &seat) {
        Ok(Admitted::Answer(response)) => response,
        Ok(Admitted::Visitor(visitor)) => {
            request.extensions_mut().insert(visitor);
            match timeout(BODY, router.call(request)).await {
                Ok(Ok(response)) => response,
                Ok(Err(never)) => match never {},
                Err(_) => closing(StatusCode::REQUEST_TIMEOUT),
            }
        }
        Err(refused) => closing(refused.status()),
    };
    seal(response.headers_mut());
    response
}

/// An answer after which the connection ends.
fn closing(status: StatusCode) -> Response {
    let mut response = status.into_response();
    response.headers_mut().insert(CONNECTION, HeaderValue::from_static("close"));
    response
}
