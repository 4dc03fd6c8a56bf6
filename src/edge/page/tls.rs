//! The certificate of an encrypted page: made for one run, known by its fingerprint. The key never
//! leaves the program's memory.

use std::io;
use std::net::IpAddr;
use std::sync::Arc;

use tokio_rustls::rustls::ServerConfig;
use tokio_rustls::rustls::crypto::ring;
use tokio_rustls::rustls::pki_types::PrivateKeyDer;

use crate::journal::sha256_hex;

/// A certificate and what serves with it.
pub(super) struct Certificate {
    /// For the server.
    pub config: Arc<ServerConfig>,
    /// SHA-256 of the certificate, in pairs of capitals as browsers show it.
    pub fingerprint: String,
}

impl Certificate {
    /// One for this address.
    ///
    /// # Errors
    /// Where no key or certificate can be made.
    pub fn make(address: IpAddr) -> io::Result<Certificate> {
        let names = vec![address.to_string(), "localhost".to_owned()];
        let made = rcgen::generate_simple_self_signed(names).map_err(io::Error::other)?;
        let certificate = made.cert.der().clone();
        let fingerprint = in_pairs(&sha256_hex(&certificate));
        let key =
            PrivateKeyDer::try_from(made.signing_key.serialize_der()).map_err(io::Error::other)?;
        let config = ServerConfig::builder_with_provider(Arc::new(ring::default_provider()))
            .with_safe_default_protocol_versions()
            .map_err(io::Error::other)?
            .with_no_client_auth()
            .with_single_cert(vec![certificate], key)
            .map_err(io::Error::other)?;
        Ok(Certificate { config: Arc::new(config), fingerprint })
    }
}

fn in_pairs(hex: &str) -> String {
    let capitals: Vec<char> = hex.to_uppercase().chars().collect();
    let pairs: Vec<String> = capitals.chunks(2).map(|pair| pair.iter().collect()).collect();
    pairs.join(":")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_certificate_is_another_one() {
        let make = || Certificate::make(IpAddr::from([192, 168, 7, 5])).unwrap().fingerprint;
        let one = make();
        assert_eq!(one.split(':').count(), 32);
        assert!(one.split(':').all(|pair| pair.len() == 2));
        assert_ne!(one, make());
    }
}
