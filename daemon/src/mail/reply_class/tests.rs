//! Replies as servers give them and what they mean. Codes and enhanced codes are those of the RFCs named
//! in `class`. Words behind "RFC" are the example texts there; all others are in words and with names of
//! our own after what servers say: common practice, no source.

use super::*;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Expected {
    Ours(&'static str),
    Again,
    Refused,
    Unclear,
}
use Expected::{Again, Ours, Refused, Unclear};

fn judged(phase: Phase, reply: &str) -> (ReplyClass, u16) {
    let (code, text) = reply.split_once(' ').unwrap();
    let code = code.parse().unwrap();
    (classify(phase, code, text), code)
}

/// `Ours` names a word that the advice must have.
fn check(phase: Phase, replies: &[(&str, Expected)]) {
    for (reply, expected) in replies {
        let (class, _) = judged(phase, reply);
        let right = match (class, *expected) {
            (ReplyClass::OurFault { advice }, Ours(word)) => advice.contains(word),
            (ReplyClass::TryAgain, Again)
            | (ReplyClass::Refused, Refused)
            | (ReplyClass::Unclear, Unclear) => true,
            _ => false,
        };
        assert!(
            right,
            "{phase:?} {reply:?}: {class:?}, expected {expected:?}"
        );
    }
}

#[test]
fn a_greeting_is_judged() {
    check(
        Phase::Connect,
        &[
            ("421 4.3.2 mx1.host.example is shutting down", Again),
            ("421 4.7.0 too many connections from your address", Again),
            ("450 4.7.1 come back in five minutes", Again),
            (
                "554 5.7.1 no service for you: listed at block.host.example",
                Ours("login"),
            ),
            (
                "554 mx.host.example does not talk to dynamic addresses",
                Ours("login"),
            ),
            ("550 5.7.1 connection rate too high", Again),
            ("554 5.3.2 temporarily out of order, try again", Again),
        ],
    );
}

#[test]
fn a_refused_tls_is_ours_unless_it_passes() {
    check(
        Phase::Tls,
        &[
            (
                "454 4.7.0 TLS is not available for a temporary reason",
                Again,
            ),
            ("502 5.5.1 command not implemented", Ours("STARTTLS")),
            ("554 5.7.3 unable to start TLS", Ours("STARTTLS")),
        ],
    );
}

#[test]
fn a_login_is_judged() {
    check(
        Phase::Login,
        &[
            ("535 5.7.8 authentication failed", Ours("app password")),
            (
                "535 5.7.8 name and password not accepted, please try again",
                Ours("app password"),
            ),
            (
                "535 authentication credentials invalid",
                Ours("app password"),
            ),
            (
                "535 5.7.139 sign-in was not successful, basic login is disabled",
                Ours("app password"),
            ),
            (
                "534 5.7.9 an application-specific password is required",
                Ours("app password"),
            ),
            (
                "534 5.7.14 please sign in by your web browser and then try again",
                Ours("app password"),
            ),
            (
                "538 5.7.11 encryption required for this mechanism",
                Ours("starttls"),
            ),
            ("530 5.7.0 must issue STARTTLS first", Ours("starttls")),
            // RFC 4954.
            (
                "535 5.7.8 Authentication credentials invalid",
                Ours("app password"),
            ),
            (
                "538 5.7.11 Encryption required for requested authentication mechanism",
                Ours("starttls"),
            ),
            ("454 4.7.0 Temporary authentication failure", Again),
            (
                "432 4.7.12 a password transition is needed",
                Ours("app password"),
            ),
            ("504 5.5.4 mechanism not supported", Ours("password")),
            ("503 5.5.1 login not enabled here", Ours("password")),
            (
                "550 5.7.1 your account is blocked, see the control panel",
                Ours("password"),
            ),
            (
                "454 4.7.0 cannot reach the user database, temporary failure",
                Again,
            ),
            (
                "454 4.7.0 too many login attempts, please try again later",
                Again,
            ),
            ("535 5.7.0 too many failed logins from this address", Again),
            ("421 4.7.0 try again later, closing", Again),
            ("451 4.3.0 local error in processing", Again),
        ],
    );
}

#[test]
fn a_refused_sender_is_ours() {
    check(
        Phase::Sender,
        &[
            (
                "553 5.7.1 sender address rejected: not owned by user tester",
                Ours("mail.from"),
            ),
            ("550 5.1.0 sender denied", Ours("mail.from")),
            (
                "550 5.7.60 client does not have permission to send as this sender",
                Ours("mail.from"),
            ),
            ("501 5.1.7 bad sender address syntax", Ours("mail.from")),
            ("530 5.7.0 authentication required", Ours("login")),
            // RFC 3207: a server may want it before the sender is named.
            ("530 Must issue a STARTTLS command first", Ours("starttls")),
            ("530 5.7.0 must issue STARTTLS first", Ours("starttls")),
            ("554 5.7.1 session encryption is required", Ours("starttls")),
            ("550 5.7.10 encryption needed", Ours("starttls")),
            (
                "550 5.7.1 authentication is required for relay",
                Ours("login"),
            ),
            ("550 5.4.5 daily sending quota exceeded", Again),
            ("554 5.7.0 you send too many messages, wait an hour", Again),
            ("450 4.1.8 sender domain not found", Again),
            ("452 4.3.1 insufficient system storage", Again),
        ],
    );
}

#[test]
fn a_refused_recipient_is_judged() {
    check(
        Phase::Recipient,
        &[
            ("550 5.1.1 <gil@farm.example>: user unknown", Refused),
            ("550 no such user here", Refused),
            (
                "550 5.1.1 <gil@relay.rate.example>: user unknown (smtp-relay.host.example)",
                Refused,
            ),
            ("550 5.1.10 recipient not found by address lookup", Refused),
            (
                "550 5.2.1 the account that you tried to reach is disabled",
                Refused,
            ),
            ("553 5.1.3 bad recipient address syntax", Refused),
            ("550 5.1.2 no mail is taken for that domain", Refused),
            ("551 user not local, mailbox unavailable", Refused),
            ("550 that mailbox doesn't exist", Refused),
            (
                "554 5.7.1 <gil@farm.example>: relay access denied",
                Ours("login"),
            ),
            ("550 5.7.1 relaying denied", Ours("login")),
            (
                "553 sorry, that domain is not in my list of allowed rcpthosts",
                Ours("login"),
            ),
            ("530 5.7.0 authentication required", Ours("login")),
            ("450 4.2.0 greylisted, come back in 300 seconds", Again),
            ("451 4.7.1 please try again later", Again),
            ("450 4.2.1 mailbox busy", Again),
            ("452 4.2.2 the mailbox is over its quota", Again),
            ("552 5.2.2 the mailbox is over its quota", Again),
            ("554 5.2.2 mailbox full", Again),
            ("550 5.2.1 receiving mail at too high a rate", Again),
            ("550 frequency limited, slow down", Again),
            ("421 4.3.2 service not available, closing channel", Again),
            ("550 5.7.1 refused by the policy of the recipient", Unclear),
            ("554 5.7.1 blocked by corporate policy", Unclear),
            (
                "550 5.7.23 the sender's domain failed a policy check",
                Unclear,
            ),
            ("550 requested action not taken", Unclear),
            ("554 transaction failed", Unclear),
        ],
    );
}

#[test]
fn what_is_refused_late_is_judged_by_whom_it_concerns() {
    let mail_from = "553 5.7.1 <office@farm.example>: sender address rejected: not owned by user";
    check(
        Phase::Recipient,
        &[
            (mail_from, Ours("mail.from")),
            (
                "550 5.1.8 <office@farm.example>: sender address rejected: domain not found",
                Ours("mail.from"),
            ),
            (
                "550 5.1.8 the domain of the sender does not exist",
                Ours("mail.from"),
            ),
            ("501 5.1.7 bad address syntax", Ours("mail.from")),
            (
                "554 5.7.1 client host [192.0.2.7] blocked using block.host.example",
                Ours("administrator"),
            ),
            (
                "550 5.7.1 <farm>: helo command rejected: need a full name",
                Ours("administrator"),
            ),
            (
                "554 5.7.1 <gil@farm.example>: recipient address rejected: session encryption is required",
                Ours("starttls"),
            ),
            ("450 4.1.8 sender address rejected: domain not found", Again),
            (
                "550 5.7.1 client host rejected: too many connections",
                Again,
            ),
            (
                "550 5.1.1 <gil@farm.example>: recipient address rejected: user unknown",
                Refused,
            ),
            // RFC 5321, 4.2.2.
            (
                "550 Requested action not taken: mailbox unavailable",
                Refused,
            ),
            (
                "450 Requested mail action not taken: mailbox unavailable",
                Again,
            ),
            (
                "553 Requested action not taken: mailbox name not allowed",
                Unclear,
            ),
        ],
    );
    check(
        Phase::Message,
        &[
            ("550 5.1.8 access denied, bad sender", Ours("mail.from")),
            ("550 5.7.26 this mail is not authenticated", Unclear),
            (
                "552 Requested mail action aborted: exceeded storage allocation",
                Again,
            ),
            ("451 Requested action aborted: error in processing", Again),
            ("554 Transaction failed", Unclear),
        ],
    );
}

#[test]
fn a_refused_message_is_judged() {
    check(
        Phase::Message,
        &[
            ("550 5.7.1 message looks like unsolicited mail", Unclear),
            ("554 5.7.1 content rejected", Unclear),
            ("552 5.3.4 message size exceeds the fixed limit", Unclear),
            ("554 5.6.0 message cannot be converted", Unclear),
            ("550 5.1.1 no such user", Refused),
            ("554 5.2.2 quota exceeded", Again),
            (
                "552 requested mail action aborted: exceeded storage quota",
                Again,
            ),
            ("451 4.3.0 queue file could not be written", Again),
            ("452 4.3.1 out of disk", Again),
            ("554 5.4.5 hourly limit reached", Again),
            ("550 5.7.0 message frequency too high, retry later", Again),
            ("421 4.4.2 timed out", Again),
        ],
    );
    check(
        Phase::Data,
        &[
            ("503 5.5.1 no valid recipients", Unclear),
            ("354 not an error at all", Again),
            ("451 4.5.0 scanner is busy", Again),
        ],
    );
}
