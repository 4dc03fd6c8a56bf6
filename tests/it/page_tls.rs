//! A TLS client for tests that trusts every certificate and keeps it.

use std::io::{Read, Write};
use std::net::SocketAddr;
use std::sync::Arc;

use tokio_rustls::rustls::client::danger::{
    HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier,
};
use tokio_rustls::rustls::crypto::{
    CryptoProvider, ring, verify_tls12_signature, verify_tls13_signature,
};
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use tokio_rustls::rustls::{
    ClientConfig, ClientConnection, DigitallySignedStruct, Error, SignatureScheme, Stream,
};

/// Takes every certificate; its signatures must still be right.
#[derive(Debug)]
struct Any(Arc<CryptoProvider>);

impl ServerCertVerifier for Any {
    fn verify_server_cert(
        &self,
        _: &CertificateDer<'_>,
        _: &[CertificateDer<'_>],
        _: &ServerName<'_>,
        _: &[u8],
        _: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        Ok(ServerCertVerified::assertion())
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        let known = &self.0.signature_verification_algorithms;
        verify_tls12_signature(message, certificate, signed, known)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        let known = &self.0.signature_verification_algorithms;
        verify_tls13_signature(message, certificate, signed, known)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        self.0.signature_verification_algorithms.supported_schemes()
    }
}

/// Asks for a path; gives the certificate and the whole answer.
pub fn get(at: SocketAddr, path: &str) -> (Vec<u8>, String) {
    let provider = Arc::new(ring::default_provider());
    let config = ClientConfig::builder_with_provider(Arc::clone(&provider))
        .with_safe_default_protocol_versions()
        .expect("versions")
        .dangerous()
        .with_custom_certificate_verifier(Arc::new(Any(provider)))
        .with_no_client_auth();
    let name = ServerName::from(at.ip());
    let mut connection = ClientConnection::new(Arc::new(config), name).expect("a client");
    let mut socket = crate::http::connect(at);
    let mut stream = Stream::new(&mut connection, &mut socket);
    let head = format!("GET {path} HTTP/1.1\r\nHost: {at}\r\nConnection: close\r\n\r\n");
    stream.write_all(head.as_bytes()).expect("sent");
    let mut answer = Vec::new();
    // The server may end the connection without saying so first.
    let _ = stream.read_to_end(&mut answer);
    let certificate = connection.peer_certificates().expect("a certificate")[0].to_vec();
    (certificate, String::from_utf8_lossy(&answer).into_owned())
}
