//! Messages that a program sent: never an answer, and never answered (RFC 3834).

use mail_parser::{Message, MimeHeaders};

/// How programs that say nothing else begin the subject of an absence note.
const AWAY: [&str; 8] = [
    "automatic reply:",
    "auto reply:",
    "autoreply:",
    "out of office:",
    "respuesta automática:",
    "automatische antwort:",
    "réponse automatique :",
    "réponse automatique:",
];

/// Whether a program sent it: an absence note, a bounce, a list.
pub(super) fn automatic(message: &Message<'_>) -> bool {
    let header = |name: &str| {
        let text = message
            .header_raw(name)
            .map(|value| value.trim().to_ascii_lowercase());
        text.filter(|value| !value.is_empty())
    };
    let submitted = header("Auto-Submitted").is_some_and(|how| !how.starts_with("no"));
    let precedence = header("Precedence").is_some_and(|how| {
        ["bulk", "list", "junk", "auto_reply"]
            .iter()
            .any(|one| how.starts_with(one))
    });
    let named = [
        "List-Id",
        "List-Unsubscribe",
        "X-Autoreply",
        "X-Autorespond",
        "X-Auto-Reply",
    ];
    let from_nobody = header("Return-Path").is_some_and(|path| path == "<>");
    let report = message
        .content_type()
        .is_some_and(|kind| kind.ctype() == "multipart" && kind.subtype() == Some("report"));
    let sender = header("From").unwrap_or_default();
    let of_server = ["mailer-daemon@", "postmaster@", "noreply@", "no-reply@"];
    let subject = message.subject().unwrap_or_default().to_lowercase();
    let away = AWAY.iter().any(|begins| subject.starts_with(begins));
    submitted
        || away
        || precedence
        || named.iter().any(|name| header(name).is_some())
        || from_nobody
        || report
        || of_server.iter().any(|who| sender.contains(who))
}
