//! `[inbox.imap]`, checked.

use std::ops::RangeInclusive;
use std::time::Duration;

use super::password;
use super::reader::Reader;
use super::secret_place::Wanted;
use super::server::{authorities, check_host, check_port, is_loopback};
use crate::config::file::ImapPart;
use crate::config::{ImapServer, Proof, Security};

/// The table.
const TABLE: &str = "inbox.imap";
/// The password of the mailbox.
const PASSWORD: Wanted = Wanted {
    what: "the password of the mailbox",
    file_key: "inbox.imap.password_file",
    credential: "imap-password",
    variable: "DUSKFLIGHT_IMAP_PASSWORD",
};
/// Whole seconds that an answer may take.
const TIMEOUT_S: RangeInclusive<u16> = 1..=600;

/// Checks `[inbox.imap]`. All its faults are noted; those that leave no server give `None`.
pub(super) fn server(reader: &mut Reader<'_>, part: ImapPart) -> Option<ImapServer> {
    let port = part.port.unwrap_or(part.security.imap_port());
    check_host(reader, TABLE, &part.host);
    check_port(reader, TABLE, port);
    check_protection(reader, &part, port);
    check_folders(reader, &part);
    if !TIMEOUT_S.contains(&part.timeout_s) {
        let (least, most) = (TIMEOUT_S.start(), TIMEOUT_S.end());
        let what = format!(" = {}: write {least} to {most} seconds", part.timeout_s);
        reader.at(&["inbox", "imap", "timeout_s"], what);
    }
    if part.username.is_empty() || part.username.contains(char::is_control) {
        let what = " must be the name by which the mailbox is logged in to";
        reader.at(&["inbox", "imap", "username"], what);
    }
    let ca = authorities(reader, TABLE, part.ca_file.as_deref());
    let proof = proof(reader, &part);
    Some(ImapServer {
        host: part.host,
        port,
        security: part.security,
        username: part.username,
        proof: proof?,
        ca: ca.ok()?,
        folder: part.folder,
        done_folder: part.done_folder,
        patience: Duration::from_secs(part.timeout_s.into()),
    })
}

fn check_protection(reader: &mut Reader<'_>, part: &ImapPart, port: u16) {
    match (part.security, port) {
        (Security::None, _) if !is_loopback(&part.host) => {
            let what = " = \"none\": a password and what people write would cross the network unprotected; \
                        write \"tls\" or \"starttls\"";
            reader.at(&["inbox", "imap", "security"], what);
        }
        (Security::Starttls, 993) => reader.warn(
            "inbox.imap: port 993 is meant for security = \"tls\"; \"starttls\" will wait in vain",
        ),
        (Security::Tls, 143) => reader.warn(
            "inbox.imap: port 143 is meant for security = \"starttls\"; \"tls\" will not be understood",
        ),
        _ => {}
    }
}

fn check_folders(reader: &mut Reader<'_>, part: &ImapPart) {
    for (key, folder) in [("folder", &part.folder), ("done_folder", &part.done_folder)] {
        // Servers write other letters in a form of their own (RFC 3501, 5.1.3), and wildcards are none.
        let is_plain = |c: char| (c.is_ascii_graphic() || c == ' ') && !"%*&".contains(c);
        if folder.trim().is_empty() || !folder.chars().all(is_plain) {
            let what = format!(" = {folder:?}: write a name of plain letters without %, * and &");
            reader.at(&["inbox", "imap", key], what);
        }
    }
    let is_inbox = |folder: &str| folder.eq_ignore_ascii_case("INBOX");
    let both_inbox = is_inbox(&part.folder) && is_inbox(&part.done_folder);
    if part.folder == part.done_folder || both_inbox {
        let what = format!(
            " = {:?}: what is done must move out of the folder in which answers arrive",
            part.done_folder
        );
        reader.at(&["inbox", "imap", "done_folder"], what);
    }
}

/// A password, or a command that gives a token.
fn proof(reader: &mut Reader<'_>, part: &ImapPart) -> Option<Proof> {
    let place = password::place(&PASSWORD, part.password_file.as_deref(), None);
    let Some(command) = &part.token_command else {
        let password = password::password(reader, TABLE, &PASSWORD, place.as_ref());
        return Some(Proof::Password(password));
    };
    let path = ["inbox", "imap", "token_command"];
    if let Some(place) = place {
        let words = PASSWORD.words(&place);
        let what = format!(" beside a password from {words}: give one of the two");
        reader.at(&path, what);
    }
    let Some((program, words)) = command.split_first().filter(|(first, _)| !first.is_empty())
    else {
        let what = " is empty: write a program and its words, such as [\"/usr/local/bin/token\", \"office\"]";
        reader.at(&path, what);
        return None;
    };
    // As with all files that the configuration names; a bare name is looked for where programs are.
    let program = match program.contains('/') {
        true => reader.dir.join(program).to_string_lossy().into_owned(),
        false => program.clone(),
    };
    let words = words.iter().cloned();
    Some(Proof::TokenCommand(
        std::iter::once(program).chain(words).collect(),
    ))
}
