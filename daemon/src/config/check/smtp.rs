//! `[mail.smtp]`, checked, and where its password comes from.

use std::ops::RangeInclusive;
use std::time::Duration;

use super::password;
use super::reader::Reader;
use super::secret_place::Wanted;
use super::server::{authorities, check_host, check_port, is_loopback};
use crate::config::file::SmtpPart;
use crate::config::{Login, Patience, Security, SmtpServer};

/// The table.
const TABLE: &str = "mail.smtp";
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
    let port = part.port.unwrap_or(part.security.smtp_port());
    check_host(reader, TABLE, &part.host);
    check_port(reader, TABLE, port);
    check_protection(reader, part.security, port);
    let patience = patience(reader, &part);
    let ca = authorities(reader, TABLE, part.ca_file.as_deref());
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
        ca: ca.ok()?,
        patience,
    })
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

fn check_protection(reader: &mut Reader<'_>, security: Security, port: u16) {
    match (security, port) {
        (Security::Starttls, 465) => reader.warn(
            "mail.smtp: port 465 is meant for security = \"tls\"; \"starttls\" will wait in vain",
        ),
        (Security::Tls, 587) => reader.warn(
            "mail.smtp: port 587 is meant for security = \"starttls\"; \"tls\" will not be understood",
        ),
        _ => {}
    }
}

/// The login: a name and a place of its password, or neither.
fn login(reader: &mut Reader<'_>, part: &SmtpPart) -> Option<Login> {
    let place = password::place(
        &PASSWORD,
        part.password_file.as_deref(),
        part.password.as_ref(),
    );
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
    let password = password::password(reader, TABLE, &PASSWORD, place.as_ref());
    Some(Login { username, password })
}
