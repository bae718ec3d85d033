//! What any server of mail is declared with.

use std::net::IpAddr;
use std::path::Path;

use rustls::RootCertStore;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;

use super::reader::Reader;
use crate::plain_file;

/// Checks the name in `table`, such as `mail.smtp`.
pub(super) fn check_host(reader: &mut Reader<'_>, table: &str, host: &str) {
    if host.is_empty() || host.contains(|c: char| c.is_whitespace() || "/@".contains(c)) {
        reader.main(format!(
            "{table}.host = {host:?}: write a name such as mail.farm.example"
        ));
    }
}

/// Notes a port that cannot be one.
pub(super) fn check_port(reader: &mut Reader<'_>, table: &str, port: u16) {
    if port == 0 {
        reader.main(format!(
            "{table}.port = 0: leave it out or write the provider's"
        ));
    }
}

/// Whether what is sent stays on this machine.
pub(super) fn is_loopback(host: &str) -> bool {
    let address = host.trim_start_matches('[').trim_end_matches(']');
    host.eq_ignore_ascii_case("localhost")
        || address.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback())
}

/// The only authorities that are to be trusted, where a file of them is named. `Err` once its fault is noted.
pub(super) fn authorities(
    reader: &mut Reader<'_>,
    table: &str,
    file: Option<&Path>,
) -> Result<Option<Vec<CertificateDer<'static>>>, ()> {
    let Some(file) = file else {
        return Ok(None);
    };
    let problem = match plain_file::read(&reader.dir.join(file), plain_file::BY_HAND) {
        Ok(pem) => match certificates(&pem) {
            Some(certificates) => return Ok(Some(certificates)),
            None => "is not a certificate in PEM form".to_owned(),
        },
        Err(error) => format!("cannot be read: {error}"),
    };
    reader.main(format!("{table}.ca_file = {}: {problem}", file.display()));
    Err(())
}

/// Reading takes any bytes between the marks, or none at all; trusting them shows what they are.
fn certificates(pem: &[u8]) -> Option<Vec<CertificateDer<'static>>> {
    let certificates: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(pem).collect();
    let certificates = certificates.ok().filter(|all| !all.is_empty())?;
    let mut roots = RootCertStore::empty();
    let trusted = certificates
        .iter()
        .all(|one| roots.add(one.clone()).is_ok());
    trusted.then_some(certificates)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn loopback_is_this_machine_only() {
        for host in [
            "localhost",
            "LocalHost",
            "127.0.0.1",
            "127.8.9.1",
            "::1",
            "[::1]",
        ] {
            assert!(is_loopback(host), "{host}");
        }
        for host in [
            "localhost.farm.example",
            "10.0.0.1",
            "128.0.0.1",
            "mail.farm.example",
            "",
        ] {
            assert!(!is_loopback(host), "{host}");
        }
    }
}
