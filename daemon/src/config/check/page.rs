//! `[page]`, checked.

use std::net::IpAddr;
use std::path::{Path, PathBuf};

use super::reader::Reader;
use super::secret_place::mode;
use crate::config::file::PagePart;
use crate::config::{CertificateFiles, Listen, Page, Place};
use crate::{plain_file, tls};

/// The longest name of an interface (Linux, IFNAMSIZ without its end).
const LONGEST_INTERFACE: usize = 15;

/// Checks `[page]`. All its faults are noted; without `listen` there is no page.
pub(super) fn page(reader: &mut Reader<'_>, part: PagePart) -> Option<Page> {
    let certificate = certificate(reader, part.certificate, part.key);
    let names = names(reader, &part.names);
    let trusted_proxies = proxies(reader, &part.trusted_proxies);
    let written = part.listen?;
    let listen = match listen(&written) {
        Ok(listen) => listen,
        Err(why) => {
            reader.at(&["page", "listen"], format!(" = {written:?}: {why}"));
            return None;
        }
    };
    if !part.sign_in {
        check_open(reader, &listen, &trusted_proxies);
    }
    if !listen.is_loopback() && certificate.is_none() && trusted_proxies.is_empty() {
        reader.warn(
            "page: passwords cross the network unprotected, since it has no certificate and stands behind no trusted \
             proxy; see deploy/guide/page.md",
        );
    }
    Some(Page {
        listen,
        names,
        sign_in: part.sign_in,
        certificate,
        trusted_proxies,
    })
}

/// Takes a place and a port apart, or says what is wrong with them.
fn listen(text: &str) -> Result<Listen, String> {
    const WANTED: &str = "write an address of this machine or the name of one of its interfaces, and a port, such as \
                          127.0.0.1:8790 or enp3s0:8790";
    let (place, port) = text.rsplit_once(':').ok_or(WANTED)?;
    let port = port.parse().ok().filter(|port| *port > 0).ok_or(WANTED)?;
    let bare = tls::bare(place);
    // Without its brackets an IPv6 address and a port cannot be told apart.
    let is_address = |ip: &IpAddr| ip.is_ipv4() || bare.len() < place.len();
    if let Some(address) = bare.parse().ok().filter(is_address) {
        return address_of(address).map(|place| Listen { place, port });
    }
    let is_name = !place.is_empty()
        && place.len() <= LONGEST_INTERFACE
        && !place.contains(|c: char| c.is_whitespace() || "/:[]*".contains(c));
    match place {
        "*" => Err(everywhere()),
        "localhost" => Err("write 127.0.0.1 for this machine alone".to_owned()),
        name if is_name => Ok(Listen {
            place: Place::Interface(name.to_owned()),
            port,
        }),
        _ => Err(WANTED.to_owned()),
    }
}

fn address_of(address: IpAddr) -> Result<Place, String> {
    match address.is_unspecified() {
        true => Err(everywhere()),
        false => Ok(Place::Address(address)),
    }
}

fn everywhere() -> String {
    "that is every network this machine is in; name the interface of the office, such as enp3s0:8790 (ip address \
     lists them)"
        .to_owned()
}

/// Where nobody signs in nobody but the machine itself may get through, not by a proxy either.
fn check_open(reader: &mut Reader<'_>, listen: &Listen, proxies: &[IpAddr]) {
    let why = if !listen.is_loopback() {
        "whoever is in the network would see everything; write true, or listen at 127.0.0.1"
    } else if !proxies.is_empty() {
        "whoever gets through a trusted proxy would see everything; write true, or take trusted_proxies out"
    } else {
        return;
    };
    reader.at(&["page", "sign_in"], format!(" = false: {why}"));
}

/// Names are compared in small letters.
fn names(reader: &mut Reader<'_>, names: &[String]) -> Vec<String> {
    for name in names {
        let is_plain = |c: char| c.is_ascii_alphanumeric() || "-._:[]".contains(c);
        if name.is_empty() || !name.chars().all(is_plain) || has_port(name) {
            let what = format!(
                ": {name:?} is no name of a host; write one without scheme, port and path, such as farm-office.local"
            );
            reader.at(&["page", "names"], what);
        }
    }
    let small = names.iter().map(|name| tls::bare(name).to_lowercase());
    small.collect()
}

fn has_port(name: &str) -> bool {
    name.contains(':') && tls::bare(name).parse::<IpAddr>().is_err()
}

fn proxies(reader: &mut Reader<'_>, written: &[String]) -> Vec<IpAddr> {
    let mut proxies = Vec::new();
    for text in written {
        match text.parse() {
            Ok(address) => proxies.push(address),
            Err(_) => reader.at(
                &["page", "trusted_proxies"],
                format!(": {text:?} is no address; write the proxy's own, such as 127.0.0.1"),
            ),
        }
    }
    proxies
}

/// Both files or none. They are watched, so that a renewed certificate is taken up.
fn certificate(
    reader: &mut Reader<'_>,
    certificate: Option<PathBuf>,
    key: Option<PathBuf>,
) -> Option<CertificateFiles> {
    let (certificate, key) = match (certificate, key) {
        (None, None) => return None,
        (Some(certificate), Some(key)) => (certificate, key),
        (Some(_), None) => {
            reader.at(&["page", "certificate"], ": give its key, too");
            return None;
        }
        (None, Some(_)) => {
            reader.at(&["page", "key"], ": give the certificate, too");
            return None;
        }
    };
    let files = CertificateFiles {
        certificate: reader.watched(certificate),
        key: reader.watched(key),
    };
    check_files(reader, &files);
    Some(files)
}

/// What this process may not read is the daemon's to look at: looking at the records works all the same.
fn check_files(reader: &mut Reader<'_>, files: &CertificateFiles) {
    if mode(&files.key).is_some_and(|mode| mode & 0o007 != 0) {
        let key = files.key.display();
        reader.warn(format!(
            "page.key: everybody on this machine can read {key}; chmod 640 it"
        ));
    }
    let certificate = read(reader, "certificate", &files.certificate);
    let key = read(reader, "key", &files.key);
    if let (Some(certificate), Some(key)) = (certificate, key)
        && let Err(error) = tls::serving(&certificate, &key)
    {
        reader.at(&["page", "certificate"], format!(": {error}"));
    }
}

fn read(reader: &mut Reader<'_>, name: &str, file: &Path) -> Option<Vec<u8>> {
    let error = match plain_file::read(file, plain_file::BY_HAND) {
        Ok(bytes) => return Some(bytes),
        Err(error) if error.kind() == std::io::ErrorKind::PermissionDenied => return None,
        Err(error) => error,
    };
    let what = format!(": {} cannot be read: {error}", file.display());
    reader.at(&["page", name], what);
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_an_address_or_an_interface_and_never_everywhere() {
        let check = |text: &str, expected: Option<&str>| {
            let found = listen(text);
            let said = found.as_ref().map(ToString::to_string);
            assert_eq!(said.ok().as_deref(), expected, "{text}: {found:?}");
        };
        check("127.0.0.1:8790", Some("127.0.0.1:8790"));
        check("192.168.7.4:80", Some("192.168.7.4:80"));
        check("[fd00::7]:8790", Some("[fd00::7]:8790"));
        check("enp3s0:8790", Some("enp3s0:8790"));
        check("lo:8790", Some("lo:8790"));
        for wrong in [
            "",
            "8790",
            "enp3s0",
            "enp3s0:0",
            "lo:99999",
            ":8790",
            "::1:8790",
            "fd00::7",
            "a/b:1",
            "farm-office.local:8790",
            "http://127.0.0.1:8790",
            "0.0.0.0:8790",
            "[::]:8790",
            "*:8790",
            "localhost:8790",
        ] {
            check(wrong, None);
        }
        for everywhere in ["0.0.0.0:8790", "[::]:8790", "*:8790"] {
            let why = listen(everywhere).unwrap_err();
            assert!(why.contains("name the interface"), "{why}");
        }
    }

    #[test]
    fn loopback_is_this_machine_alone() {
        let check = |text: &str, expected| {
            assert_eq!(listen(text).unwrap().is_loopback(), expected, "{text}");
        };
        check("127.0.0.1:1", true);
        check("[::1]:1", true);
        check("lo:1", true);
        check("enp3s0:1", false);
        check("192.168.7.4:1", false);
    }
}
