//! What a mail server's answer means for a mail: a pure function from phase and words to a class.
//!
//! Reply codes are those of RFC 5321, RFC 3207 and RFC 4954, enhanced status codes those of RFC 3463 and
//! its registry (RFC 5248). That servers use 5xx for quotas and rates, too, and wait with a refusal of
//! the sender or of us until a recipient is named, is common practice.

use std::fmt;

/// How far the talk with the server has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Phase {
    /// Finding and reaching it, its greeting, and what it offers.
    Connect,
    /// Making the connection private.
    Tls,
    /// Name and password.
    Login,
    /// Naming the sender.
    Sender,
    /// Naming the recipient.
    Recipient,
    /// Asking to send the message.
    Data,
    /// The message itself, but for the dot that ends it.
    Message,
    /// That dot, and the server's last word.
    Dot,
}

impl fmt::Display for Phase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Connect => "connecting to the mail server",
            Self::Tls => "making the connection private",
            Self::Login => "logging in",
            Self::Sender => "naming the sender",
            Self::Recipient => "naming the recipient",
            Self::Data => "starting the message",
            Self::Message => "sending the message",
            Self::Dot => "handing over the message",
        })
    }
}

/// What is to be done about a failed try.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReplyClass {
    /// Something on our side must be mended; until then no mail would fare better.
    OurFault {
        /// What to mend, in plain words.
        advice: &'static str,
    },
    /// It may pass by itself.
    TryAgain,
    /// This recipient does not exist or does not want it.
    Refused,
    /// Refused for a reason that does not say whether it lasts.
    Unclear,
}

/// Mends a login that was refused.
const APP_PASSWORD: &str = "check username and password; where the account has two-step sign-in, \
    the provider wants an app password: make one in the account's security settings";
/// Mends a login that was missing.
const LOGIN_NEEDED: &str = "the server wants a login: give username and a password in [mail.smtp]";
/// Mends a talk that is too open for the server.
const PRIVATE: &str = "the server wants the connection private first: use security = \"tls\" or \
    \"starttls\"";
/// Mends a sender that was refused.
const SENDER: &str = "the server does not let this login send as the address in mail.from: use the \
    login's own address, or allow this one with the provider";
/// Mends a server that turns us away.
const TURNED_AWAY: &str = "the server turns this computer away: use the provider's server for \
    sending with a login, port 465 or 587, or ask its administrator to let this computer in";
/// Mends a private connection that cannot be made.
pub(super) const NO_TLS: &str = "the server offers no STARTTLS here, so nothing was sent in clear: \
    check host and port, or try security = \"tls\" with port 465; if it did offer it before, \
    something on the way may be listening in";
/// Mends a certificate that is not trusted.
pub(super) const CERTIFICATE: &str = "the server's certificate does not prove that it is the host \
    in [mail.smtp]: write the name that the certificate is made out to, name its own authority with \
    ca_file, and check this computer's date";
/// Mends a TLS connection that does not come about.
pub(super) const HANDSHAKE: &str = "the server does not speak TLS as expected: port 465 goes with \
    security = \"tls\", port 587 with \"starttls\"";
/// Mends a login that the server does not offer.
pub(super) const NO_LOGIN: &str = "the server offers no login by name and password here: check \
    host, port and security, or leave the login out for a relay that needs none";

/// Judges a negative reply by its phase, its code and its text.
#[must_use]
pub fn classify(phase: Phase, code: u16, text: &str) -> ReplyClass {
    let reply = Reply {
        code,
        enhanced: enhanced(text),
        words: words(text),
    };
    match phase {
        _ if code == 421 => ReplyClass::TryAgain,
        Phase::Connect => reply.on_connecting(),
        Phase::Tls => reply.on_tls(),
        Phase::Login => reply.on_login(),
        _ if reply.wants_privacy() => ReplyClass::OurFault { advice: PRIVATE },
        _ if matches!(code, 530 | 534 | 535) => ReplyClass::OurFault {
            advice: LOGIN_NEEDED,
        },
        _ if code < 500 => ReplyClass::TryAgain,
        Phase::Sender => reply.on_sender(),
        Phase::Recipient => reply.on_recipient(),
        Phase::Data | Phase::Message | Phase::Dot => reply.on_message(),
    }
}

struct Reply {
    code: u16,
    /// Subject and detail of the enhanced status code.
    enhanced: Option<(u16, u16)>,
    /// Lower-case words, with one blank before and after each.
    words: String,
}

impl Reply {
    fn on_connecting(&self) -> ReplyClass {
        if self.code < 500 || self.is_passing() {
            return ReplyClass::TryAgain;
        }
        ReplyClass::OurFault {
            advice: TURNED_AWAY,
        }
    }

    fn on_tls(&self) -> ReplyClass {
        if self.code < 500 {
            return ReplyClass::TryAgain;
        }
        ReplyClass::OurFault { advice: NO_TLS }
    }

    /// Here "try again" alone means another password, not another hour.
    fn on_login(&self) -> ReplyClass {
        let must_change_password = self.code == 432 || self.enhanced == Some((7, 12));
        if !must_change_password && (self.code < 500 || self.says(&TOO_OFTEN)) {
            return ReplyClass::TryAgain;
        }
        let advice = if self.code == 530 || self.wants_privacy() {
            PRIVATE
        } else {
            APP_PASSWORD
        };
        ReplyClass::OurFault { advice }
    }

    /// All mails have the same sender.
    fn on_sender(&self) -> ReplyClass {
        if self.is_passing() {
            return ReplyClass::TryAgain;
        }
        let advice = if self.says(&LOGIN) {
            LOGIN_NEEDED
        } else {
            SENDER
        };
        ReplyClass::OurFault { advice }
    }

    fn on_recipient(&self) -> ReplyClass {
        let advice = if self.says(&LOGIN) || self.says(&RELAYING) {
            LOGIN_NEEDED
        } else if self.says(&CLIENT) {
            TURNED_AWAY
        } else {
            return self.on_message();
        };
        if self.is_passing() {
            return ReplyClass::TryAgain;
        }
        ReplyClass::OurFault { advice }
    }

    fn on_message(&self) -> ReplyClass {
        if self.is_about_sender() {
            return self.on_sender();
        }
        let gone = matches!(self.enhanced, Some((1, 0..=3 | 6 | 10) | (2, 1) | (4, 4)));
        if self.is_passing() {
            ReplyClass::TryAgain
        } else if gone || self.says(&NOBODY) {
            ReplyClass::Refused
        } else {
            ReplyClass::Unclear
        }
    }

    /// Whether the talk is too open for the server.
    fn wants_privacy(&self) -> bool {
        let needed = self.code == 538 || matches!(self.enhanced, Some((7, 10 | 11)));
        self.code >= 500 && (needed || self.says(&ENCRYPTION))
    }

    /// Whether a refusal that came later is one of the sender.
    fn is_about_sender(&self) -> bool {
        matches!(self.enhanced, Some((1, 7 | 8))) || self.says(&["sender address rejected"])
    }

    /// A quota, a rate or a full disk, whatever the code says; not a message that is too big.
    fn is_passing(&self) -> bool {
        let too_big = matches!(self.enhanced, Some((3, 4) | (2, 3))) || self.says(&TOO_BIG);
        let full = matches!(self.enhanced, Some((2, 2) | (3, 1) | (4, 5)));
        !too_big && (full || self.says(&PASSING) || self.says(&TOO_OFTEN))
    }

    fn says(&self, phrases: &[&str]) -> bool {
        phrases
            .iter()
            .any(|phrase| self.words.contains(&format!(" {phrase} ")))
    }
}

/// It passes by itself; while logging in, too.
const TOO_OFTEN: [&str; 7] = [
    "rate",
    "frequency",
    "too many",
    "too fast",
    "too often",
    "temporarily",
    "temporary",
];
/// It passes by itself, once we are logged in.
const PASSING: [&str; 15] = [
    "quota",
    "overquota",
    "mailbox full",
    "mailbox is full",
    "insufficient storage",
    "out of storage",
    "storage allocation",
    "limit",
    "limits",
    "throttled",
    "try again",
    "try later",
    "retry later",
    "greylisted",
    "greylisting",
];
const TOO_BIG: [&str; 4] = ["message size", "size limit", "too large", "too big"];
const LOGIN: [&str; 5] = [
    "authentication required",
    "authentication is required",
    "must authenticate",
    "not authenticated",
    "log in",
];
/// It wants to be private.
const ENCRYPTION: [&str; 5] = [
    "starttls",
    "encryption required",
    "encryption is required",
    "tls required",
    "tls is required",
];
/// It is about us, not about the recipient.
const CLIENT: [&str; 3] = ["client host", "client address", "helo command rejected"];
const RELAYING: [&str; 3] = ["relay", "relaying", "rcpthosts"];
const NOBODY: [&str; 21] = [
    "user unknown",
    "unknown user",
    "unknown recipient",
    "recipient unknown",
    "no such user",
    "no such recipient",
    "no such mailbox",
    "no such address",
    "no mailbox here",
    "unknown address",
    "does not exist",
    "doesn t exist",
    "not a known user",
    "mailbox unavailable",
    "mailbox not found",
    "user not found",
    "recipient not found",
    "invalid recipient",
    "invalid mailbox",
    "account is disabled",
    "mailbox disabled",
];

/// The second and third number of an enhanced status code, with which a text may begin.
fn enhanced(text: &str) -> Option<(u16, u16)> {
    let mut numbers = text.split_whitespace().next()?.split('.');
    let class = numbers.next()?;
    let subject = numbers.next()?.parse().ok()?;
    let detail = numbers.next()?.parse().ok()?;
    (matches!(class, "4" | "5") && numbers.next().is_none()).then_some((subject, detail))
}

/// A text as lower-case words between single blanks, so that a phrase is found as whole words only:
/// "rate" stands in "rate limit", not in "corporate". Addresses and names of hosts are left out: a
/// user unknown at relay.farm.example has nothing to do with relaying.
fn words(text: &str) -> String {
    let named = |token: &&str| {
        let inner = token.trim_matches(|c: char| !c.is_alphanumeric());
        inner.contains(['@', '.']) || inner.contains("://")
    };
    let said: Vec<&str> = text.split_whitespace().filter(|t| !named(t)).collect();
    let letters = |c: char| if c.is_alphanumeric() { c } else { ' ' };
    let lower: String = said.join(" ").chars().map(letters).collect();
    let words: Vec<String> = lower.split_whitespace().map(str::to_lowercase).collect();
    format!(" {} ", words.join(" "))
}

#[cfg(test)]
mod tests;
