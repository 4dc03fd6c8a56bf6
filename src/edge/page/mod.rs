//! The phone page, served by this program: takes where to serve, gives an address, a face and presses
//! on the run's channel.
//!
//! Everything here runs on one thread of its own, in an async runtime that only that thread enters.
//! The run hands pictures over and never waits: the newest picture takes the place of the one before,
//! and sounds that no page fetches are dropped.
//!
//! - `guard`: what a request must show · `secret`: the bits that open the page
//! - `places`: who may hold a connection · `pages`: who may press
//! - `room`: what all requests share · `routes`: what is served · `stream`: what flows to a page
//! - `shelf`: the sounds that pages fetch
//! - `server`: sockets, time-outs, limits · `tls`: the certificate made for one run

pub mod guard;
pub mod pages;
pub mod places;
pub mod secret;
pub mod shelf;

mod face;
mod room;
mod routes;
mod server;
mod stream;
mod tls;

use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, UdpSocket};
use std::sync::Arc;

use crate::faces::page::qr;
use crate::faces::words::Setting;
pub use face::PageFace;
pub use room::{Around, News};
pub use shelf::Shelf;

/// Where the page is to be served.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Where {
    /// To this computer only.
    Here(u16),
    /// To the local network, at the address by which this computer is reached there.
    Lan(u16),
    /// At this address.
    At(IpAddr, u16),
}

impl Where {
    /// Reads `here`, `lan` or an address, each perhaps with `:PORT`.
    ///
    /// # Errors
    /// What would be understood.
    pub fn parse(text: &str) -> Result<Where, String> {
        let known = || {
            "`here`, `lan` or an address of this computer, each perhaps with a port, as in `lan:8123`"
                .to_owned()
        };
        let at = |address: IpAddr, port| match address {
            address if address.is_unspecified() => {
                Err("one address of this computer, not all of them: a phone must know which"
                    .to_owned())
            }
            address => Ok(Where::At(address, port)),
        };
        if let Ok(address) = text.parse::<SocketAddr>() {
            return at(address.ip(), address.port());
        }
        if let Ok(address) = text.trim_matches(['[', ']']).parse::<IpAddr>() {
            return at(address, 0);
        }
        let (place, port) = match text.split_once(':') {
            Some((place, port)) => (place, port.parse().map_err(|_| known())?),
            None => (text, 0),
        };
        match place {
            "here" => Ok(Where::Here(port)),
            "lan" => Ok(Where::Lan(port)),
            _ => Err(known()),
        }
    }

    fn bind(self) -> io::Result<TcpListener> {
        let address = match self {
            Where::Here(port) => SocketAddr::new(Ipv4Addr::LOCALHOST.into(), port),
            Where::Lan(port) => SocketAddr::new(lan_address()?, port),
            Where::At(address, port) => SocketAddr::new(address, port),
        };
        TcpListener::bind(address)
            .map_err(|why| io::Error::new(why.kind(), format!("{address}: {why}")))
    }
}

/// The address by which this computer is reached from its network: that of the interface through which
/// it would send. No packet is sent; the address asked for is one for documentation (RFC 5737).
///
/// # Errors
/// When it is in no network.
pub fn lan_address() -> io::Result<IpAddr> {
    let none = || {
        io::Error::new(
            io::ErrorKind::AddrNotAvailable,
            "this computer is in no network. Join one, or name an address: --page=ADDRESS",
        )
    };
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0))?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).map_err(|_| none())?;
    let address = socket.local_addr()?.ip();
    if address.is_unspecified() || address.is_loopback() { Err(none()) } else { Ok(address) }
}

/// What a page is opened with.
pub struct Opening {
    /// Where.
    pub at: Where,
    /// Whether with a certificate of its own.
    pub https: bool,
    /// What does not change during the run; the key names are filled in here.
    pub setting: Setting,
    /// The sounds.
    pub shelf: Arc<dyn Shelf>,
}

/// A page that is being served.
#[derive(Debug)]
pub struct Page {
    room: Arc<room::Room>,
    fingerprint: Option<String>,
    /// Whether it is reached from other computers.
    shared: bool,
    face: PageFace,
}

impl Page {
    /// Binds the address and serves from now on.
    ///
    /// # Errors
    /// When the address cannot be had, or no thread, random numbers or certificate.
    pub fn serve(opening: &Opening) -> io::Result<Page> {
        let listener = opening.at.bind()?;
        listener.set_nonblocking(true)?;
        let address = listener.local_addr()?;
        let certificate = match opening.https {
            true => Some(tls::Certificate::make(address.ip())?),
            false => None,
        };
        let shared = !address.ip().is_loopback();
        let (room, face) = room::Room::new(address, opening, shared)?;
        let room = Arc::new(room);
        face.enter(Arc::clone(&room));
        let fingerprint = certificate.as_ref().map(|made| made.fingerprint.clone());
        let config = certificate.map(|made| made.config);
        server::start(listener, config, Arc::clone(&room), face.end())?;
        Ok(Page { room, fingerprint, shared, face })
    }

    /// The address to open, secret included.
    #[must_use]
    pub fn address(&self) -> String {
        format!("{}/{}", self.room.names.origin(), self.room.token.written().to_lowercase())
    }

    /// Whether somebody has opened the page and pressed there for the first time.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.room.is_begun()
    }

    /// The address as the rows of a QR code, for a phone; none where no phone could reach it.
    #[must_use]
    pub fn code(&self) -> Vec<String> {
        // In capitals the code is smaller; the scheme, the address and the secret read the same.
        let rows = qr::rows(&self.address().to_uppercase()).filter(|_| self.shared);
        rows.unwrap_or_default()
    }

    /// What is told before a run about the page beside its address: what it is safe against.
    #[must_use]
    pub fn invitation(&self) -> Vec<String> {
        let mut lines = Vec::new();
        if !self.shared {
            lines.push(
                "It opens on this computer only. For a phone in the same network: --page=lan"
                    .to_owned(),
            );
        }
        match (self.shared, &self.fingerprint) {
            (false, None) => {}
            (true, None) => lines.push(
                "Not encrypted: whoever can read this network can read along, and can press too. Use \
                 a network that you trust, or --https."
                    .to_owned(),
            ),
            (shared, Some(fingerprint)) => {
                let who = if shared { "phone" } else { "browser" };
                lines.push(format!(
                    "The {who} will warn, for the certificate is made for this run alone. Look at it \
                     there: its SHA-256 fingerprint must be"
                ));
                // Short enough to stand beside a code.
                let bytes: Vec<_> = fingerprint.split(':').collect();
                lines.extend(bytes.chunks(8).map(|part| format!("  {}", part.join(":"))));
            }
        }
        if self.shared {
            let port = self.room.address.port();
            lines.push(format!(
                "If it does not open: same network? Does a firewall here block port {port}?"
            ));
        }
        lines
    }

    /// What is written into the record about it: how it is served, nothing secret.
    #[must_use]
    pub fn note(&self) -> String {
        let to = if self.shared { "to the local network" } else { "to this computer" };
        let how = if self.fingerprint.is_some() { "https" } else { "http" };
        format!("page served {to} over {how}")
    }

    /// The page as a face of the run.
    #[must_use]
    pub fn into_face(self) -> PageFace {
        self.face
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_to_serve_is_read_with_and_without_a_port() {
        assert_eq!(Where::parse("here"), Ok(Where::Here(0)));
        assert_eq!(Where::parse("lan:8123"), Ok(Where::Lan(8123)));
        let at = |text: &str, port| Ok(Where::At(text.parse().unwrap(), port));
        assert_eq!(Where::parse("192.168.7.5"), at("192.168.7.5", 0));
        assert_eq!(Where::parse("192.168.7.5:80"), at("192.168.7.5", 80));
        assert_eq!(Where::parse("[fe80::1]"), at("fe80::1", 0));
        assert_eq!(Where::parse("[::1]:8123"), at("::1", 8123));
        for wrong in ["", "there", "lan:", "lan:99999", "0.0.0.0", "0.0.0.0:80", "::", "a:b:c"] {
            assert!(Where::parse(wrong).is_err(), "{wrong}");
        }
    }
}
