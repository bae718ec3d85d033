//! `[mail.smtp]`, checked, and where its password comes from.

use std::net::IpAddr;
use std::ops::RangeInclusive;
use std::path::Path;
use std::time::Duration;

use rustls::RootCertStore;
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject;

use super::reader::Reader;
use super::secret_place::{Place, Wanted, mode};
use crate::config::file::SmtpPart;
use crate::config::problem::Problem;
use crate::config::{Login, MAIN_FILE, Patience, Security, SmtpServer};
use crate::plain_file;
use crate::secret::Secret;

/// The password of the mail server.
const PASSWORD: Wanted = Wanted {
    what: "the mail password",
    file_key: "mail.smtp.password_file",
    credential: "smtp-password",
    variable: "DUSKFLIGHT_SMTP_PASSWORD",
};
/// Whole seconds that an answer before the final dot may take.
const TIMEOUT_S: RangeInclusive<u16> = 1..=600;
/// Whole seconds that the answer to the final dot may take.
const AFTER_DOT_S: RangeInclusive<u16> = 1..=3600;
/// What the standard wants that answer to have at the least.
const USUAL_AFTER_DOT_S: u16 = 600;

/// Checks `[mail.smtp]`. All its faults are noted; those that leave no server give `None`.
pub(super) fn server(reader: &mut Reader<'_>, part: SmtpPart) -> Option<SmtpServer> {
    let port = part.port.unwrap_or(part.security.port());
    check_host(reader, &part);
    check_port(reader, part.security, port);
    let patience = patience(reader, &part);
    let ca = part
        .ca_file
        .as_deref()
        .map(|file| certificate(reader, file));
    let login = login(reader, &part);
    if part.security == Security::None && login.is_some() && !is_loopback(&part.host) {
        reader.main(
            "mail.smtp.security = \"none\": a password would cross the network unprotected; \
             write \"starttls\" or \"tls\", or leave the login out",
        );
    }
    Some(SmtpServer {
        host: part.host,
        port,
        security: part.security,
        login,
        ca: match ca {
            None => None,
            Some(read) => Some(read?),
        },
        patience,
    })
}

fn check_host(reader: &mut Reader<'_>, part: &SmtpPart) {
    if part.host.is_empty()
        || part
            .host
            .contains(|c: char| c.is_whitespace() || "/@".contains(c))
    {
        reader.main(format!(
            "mail.smtp.host = {:?}: write a name such as mail.farm.example",
            part.host
        ));
    }
}

fn patience(reader: &mut Reader<'_>, part: &SmtpPart) -> Patience {
    for (key, seconds, range) in [
        ("timeout_s", part.timeout_s, TIMEOUT_S),
        ("after_dot_s", part.after_dot_s, AFTER_DOT_S),
    ] {
        if !range.contains(&seconds) {
            let (least, most) = (range.start(), range.end());
            reader.main(format!(
                "mail.smtp.{key} = {seconds}: write {least} to {most} seconds"
            ));
        }
    }
    if part.after_dot_s < USUAL_AFTER_DOT_S {
        reader.warn(format!(
            "mail.smtp.after_dot_s = {}: a server may take {USUAL_AFTER_DOT_S} seconds to say that it has a mail; \
             whoever waits for less sends some mails twice",
            part.after_dot_s
        ));
    }
    let seconds = |seconds: u16| Duration::from_secs(seconds.into());
    Patience {
        after_dot: seconds(part.after_dot_s),
        ..Patience::default().at_most(seconds(part.timeout_s))
    }
}

fn check_port(reader: &mut Reader<'_>, security: Security, port: u16) {
    match (security, port) {
        (_, 0) => reader.main("mail.smtp.port = 0: leave it out or write the provider's"),
        (Security::Starttls, 465) => reader.warn(
            "mail.smtp: port 465 is meant for security = \"tls\"; \"starttls\" will wait in vain",
        ),
        (Security::Tls, 587) => reader.warn(
            "mail.smtp: port 587 is meant for security = \"starttls\"; \"tls\" will not be understood",
        ),
        _ => {}
    }
}

/// Whether what is sent stays on this machine.
fn is_loopback(host: &str) -> bool {
    let address = host.trim_start_matches('[').trim_end_matches(']');
    host.eq_ignore_ascii_case("localhost")
        || address.parse::<IpAddr>().is_ok_and(|ip| ip.is_loopback())
}

fn certificate(reader: &mut Reader<'_>, file: &Path) -> Option<Vec<CertificateDer<'static>>> {
    let problem = match plain_file::read(&reader.dir.join(file), plain_file::BY_HAND) {
        Ok(pem) => match authorities(&pem) {
            Some(certificates) => return Some(certificates),
            None => "is not a certificate in PEM form".to_owned(),
        },
        Err(error) => format!("cannot be read: {error}"),
    };
    reader.main(format!("mail.smtp.ca_file = {}: {problem}", file.display()));
    None
}

/// Reading takes any bytes between the marks, or none at all; trusting them shows what they are.
fn authorities(pem: &[u8]) -> Option<Vec<CertificateDer<'static>>> {
    let certificates: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(pem).collect();
    let certificates = certificates.ok().filter(|all| !all.is_empty())?;
    let mut roots = RootCertStore::empty();
    let trusted = certificates
        .iter()
        .all(|one| roots.add(one.clone()).is_ok());
    trusted.then_some(certificates)
}

/// The login: a name and a place of its password, or neither.
fn login(reader: &mut Reader<'_>, part: &SmtpPart) -> Option<Login> {
    let place = place(part);
    let Some(username) = part.username.clone().filter(|name| !name.is_empty()) else {
        if let Some(place) = place {
            reader.main(format!(
                "mail.smtp: a password from {} but no username; give both or neither",
                PASSWORD.words(&place)
            ));
        }
        return None;
    };
    if part.password.is_some() && part.password_file.is_some() {
        reader.main("mail.smtp: give either password_file or password");
    }
    let password = match place {
        Some(place) => secret(reader, &place),
        None => Err(reader.in_main(format!(
            "mail.smtp.username without a password: give password_file, the credential \
             {} or the environment variable {}",
            PASSWORD.credential, PASSWORD.variable
        ))),
    };
    if let Err(problem) = &password {
        reader.warn(&problem.what);
    }
    Some(Login { username, password })
}

/// The first place that holds a password: what is written down goes before what is handed in.
fn place(part: &SmtpPart) -> Option<Place> {
    if let Some(file) = &part.password_file {
        return Some(Place::File(file.clone()));
    }
    if let Some(secret) = &part.password {
        return Some(Place::Inline(secret.clone()));
    }
    PASSWORD.handed_in()
}

fn secret(reader: &mut Reader<'_>, place: &Place) -> Result<Secret, Problem> {
    if let Place::Inline(_) = place {
        check_inline(reader);
    }
    let text = PASSWORD.text(reader, place)?;
    let secret = trimmed(&text);
    if secret.is_empty() {
        let words = PASSWORD.words(place);
        return Err(reader.in_main(format!("the mail password from {words} is empty")));
    }
    if secret.len() < text.trim_end().len() {
        reader.warn("mail.smtp: the blanks between the groups of the app password are left out");
    }
    Ok(Secret::new(secret))
}

/// A password may stand in the configuration only if others cannot read it there.
fn check_inline(reader: &mut Reader<'_>) {
    let mode = mode(&reader.dir.join(MAIN_FILE)).unwrap_or(0o777);
    if mode & !0o640 == 0 {
        reader.warn("mail.smtp.password: better kept in a file of its own, see password_file");
    } else {
        reader.main(format!(
            "mail.smtp.password: this file has mode {mode:04o}; chmod 640 it, or use password_file"
        ));
    }
}

/// Without the end of the line, and without the blanks by which providers show app passwords, such
/// as `abcd efgh ijkl mnop`: at least three groups of four letters or digits.
fn trimmed(text: &str) -> String {
    let text = text.trim_end_matches(['\r', '\n']);
    let groups: Vec<&str> = text.trim().split(' ').collect();
    let shown_in_groups = groups.len() >= 3
        && groups
            .iter()
            .all(|group| group.len() == 4 && group.chars().all(|c| c.is_ascii_alphanumeric()));
    if shown_in_groups {
        groups.concat()
    } else {
        text.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_line_ends_and_the_blanks_of_app_passwords_are_left_out() {
        let check = |text, expected: &str| assert_eq!(trimmed(text), expected, "{text:?}");
        check("secret\n", "secret");
        check("secret\r\n\n", "secret");
        check(" two words ", " two words ");
        check("abcd efgh ijkl mnop\n", "abcdefghijklmnop");
        check("abcd efgh", "abcd efgh");
        check("four word pass text!", "four word pass text!");
    }

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
