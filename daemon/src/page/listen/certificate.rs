//! The certificate of the page, taken up anew when its files change.

use std::sync::Arc;

use tokio_rustls::TlsAcceptor;

use crate::config::{CertificateFiles, Look, look};
use crate::{plain_file, tls};

/// The files and what was made of them.
pub(super) struct Certificate {
    files: CertificateFiles,
    seen: [Look; 2],
    acceptor: Option<TlsAcceptor>,
}

impl Certificate {
    pub(super) fn new(files: &CertificateFiles) -> Self {
        Self {
            files: files.clone(),
            seen: [None, None],
            acceptor: None,
        }
    }

    /// How to speak TLS with it. One that is renewed and cannot be used leaves the one before in force.
    ///
    /// # Errors
    /// In words: the files cannot be read or used, and none could before.
    pub(super) fn look(&mut self) -> Result<TlsAcceptor, String> {
        let CertificateFiles { certificate, key } = &self.files;
        let seen = [look(certificate), look(key)];
        if let Some(acceptor) = self.acceptor.as_ref().filter(|_| self.seen == seen) {
            return Ok(acceptor.clone());
        }
        match (self.read(), &self.acceptor) {
            (Ok(acceptor), _) => {
                self.seen = seen;
                self.acceptor = Some(acceptor.clone());
                Ok(acceptor)
            }
            (Err(why), Some(before)) => {
                tracing::warn!(why, "the renewed certificate of the page is not taken up");
                self.seen = seen;
                Ok(before.clone())
            }
            (Err(why), None) => Err(why),
        }
    }

    fn read(&self) -> Result<TlsAcceptor, String> {
        let read = |file: &std::path::Path| {
            plain_file::read(file, plain_file::BY_HAND)
                .map_err(|error| format!("{} cannot be read: {error}", file.display()))
        };
        let certificate = read(&self.files.certificate)?;
        let key = read(&self.files.key)?;
        let config = tls::serving(&certificate, &key).map_err(|fault| fault.to_string())?;
        Ok(TlsAcceptor::from(Arc::new(config)))
    }
}
