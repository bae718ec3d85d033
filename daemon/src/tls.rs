//! The way to a server of mail: its addresses tried, and whom its certificate must be from. And a certificate of our own.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use rustls::crypto::ring;
use rustls::pki_types::pem::PemObject;
use rustls::pki_types::{CertificateDer, PrivateKeyDer, ServerName};
use rustls::{ClientConfig, RootCertStore, ServerConfig};
use rustls_platform_verifier::BuilderVerifierExt;
use tokio::net::TcpStream;
use tokio::time::timeout;

/// A host's next address is tried after so long without a connection to one.
const AN_ADDRESS: Duration = Duration::from_secs(30);

/// Tries the host's addresses one after the other.
pub(crate) async fn reach(host: &str, port: u16, patience: Duration) -> io::Result<TcpStream> {
    let mut last = io::Error::new(io::ErrorKind::NotFound, "the host has no address");
    let an_address = AN_ADDRESS.min(patience);
    for address in tokio::net::lookup_host((bare(host), port)).await? {
        match timeout(an_address, TcpStream::connect(address)).await {
            Ok(Ok(stream)) => return Ok(stream),
            Ok(Err(error)) => last = error,
            Err(_) => last = io::ErrorKind::TimedOut.into(),
        }
    }
    Err(last)
}

/// The name that the server's certificate must be made out to.
pub(crate) fn name_of(host: &str) -> io::Result<ServerName<'static>> {
    ServerName::try_from(bare(host).to_owned()).map_err(io::Error::other)
}

/// What we trust: the authority declared and no other, else the system's, or where there are none those compiled in
/// (Mozilla's), as with the feeds.
pub(crate) fn trusting(
    authority: Option<&[CertificateDer<'static>]>,
) -> Result<Arc<ClientConfig>, rustls::Error> {
    let builder = || {
        let provider = Arc::new(ring::default_provider());
        ClientConfig::builder_with_provider(provider).with_safe_default_protocol_versions()
    };
    let only = |certificates: &[CertificateDer<'static>]| {
        let mut roots = RootCertStore::empty();
        roots.add_parsable_certificates(certificates.iter().cloned());
        let builder = builder()?.with_root_certificates(roots);
        Ok(Arc::new(builder.with_no_client_auth()))
    };
    if let Some(authority) = authority {
        return only(authority);
    }
    match builder()?.with_platform_verifier() {
        Ok(builder) => Ok(Arc::new(builder.with_no_client_auth())),
        Err(_) => only(webpki_root_certs::TLS_SERVER_ROOT_CERTS),
    }
}

/// Why a certificate and a key of our own cannot be used.
#[derive(Debug, thiserror::Error)]
pub(crate) enum CertificateFault {
    #[error("the certificate is none in PEM form; it begins with -----BEGIN CERTIFICATE-----")]
    Certificate,
    #[error("the key is none in PEM form, or has a password; write it out without one")]
    Key,
    #[error("the certificate and its key cannot be used together: {0}")]
    Together(rustls::Error),
}

/// How we speak TLS to who asks, by a certificate (with those that lead to its authority) and its key, both PEM.
pub(crate) fn serving(certificate: &[u8], key: &[u8]) -> Result<ServerConfig, CertificateFault> {
    let chain: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(certificate).collect();
    let chain = chain.ok().filter(|chain| !chain.is_empty());
    let chain = chain.ok_or(CertificateFault::Certificate)?;
    let key = PrivateKeyDer::from_pem_slice(key).map_err(|_| CertificateFault::Key)?;
    let provider = Arc::new(ring::default_provider());
    let mut config = ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .and_then(|builder| builder.with_no_client_auth().with_single_cert(chain, key))
        .map_err(CertificateFault::Together)?;
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(config)
}

/// The TLS library's own error, inside that of a connection.
pub(crate) fn error_in(error: &io::Error) -> Option<&rustls::Error> {
    error.get_ref()?.downcast_ref()
}

/// An IPv6 address may be written in brackets.
pub(crate) fn bare(host: &str) -> &str {
    host.strip_prefix('[')
        .and_then(|host| host.strip_suffix(']'))
        .unwrap_or(host)
}
