//! What a mail server's answer means for a mail: a pure function from phase and words to a verdict.
//!
//! Reply codes are those of RFC 5321 and RFC 4954, enhanced status codes those of RFC 3463 and its
//! registry; that servers use 5xx for quotas and rates, too, is common practice.

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
    /// The message itself, up to the server's last word.
    Message,
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
            Self::Message => "handing over the message",
        })
    }
}

/// What is to be done about a failed try.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
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
pub fn classify(phase: Phase, code: u16, text: &str) -> Verdict {
    let reply = Reply {
        code,
        enhanced: enhanced(text),
        words: words(text),
    };
    match phase {
        _ if code == 421 => Verdict::TryAgain,
        Phase::Connect => reply.on_connecting(),
        Phase::Tls => reply.on_tls(),
        Phase::Login => reply.on_login(),
        _ if matches!(code, 530 | 534 | 535 | 538) => Verdict::OurFault {
            advice: LOGIN_NEEDED,
        },
        _ if code < 500 => Verdict::TryAgain,
        Phase::Sender => reply.on_sender(),
        Phase::Recipient => reply.on_recipient(),
        Phase::Data | Phase::Message => reply.on_message(),
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
    fn on_connecting(&self) -> Verdict {
        if self.code < 500 || self.says(&PASSING) || self.says(&TOO_OFTEN) {
            return Verdict::TryAgain;
        }
        Verdict::OurFault {
            advice: TURNED_AWAY,
        }
    }

    fn on_tls(&self) -> Verdict {
        if self.code < 500 {
            return Verdict::TryAgain;
        }
        Verdict::OurFault { advice: NO_TLS }
    }

    /// Here "try again" alone means another password, not another hour.
    fn on_login(&self) -> Verdict {
        let must_change_password = self.code == 432 || self.enhanced == Some((7, 12));
        if !must_change_password && (self.code < 500 || self.says(&TOO_OFTEN)) {
            return Verdict::TryAgain;
        }
        let advice = if matches!(self.code, 530 | 538) || self.enhanced == Some((7, 11)) {
            "the server wants the connection private before a login: use security = \"tls\" or \
             \"starttls\""
        } else {
            APP_PASSWORD
        };
        Verdict::OurFault { advice }
    }

    /// All mails have the same sender.
    fn on_sender(&self) -> Verdict {
        if self.is_passing() {
            return Verdict::TryAgain;
        }
        let advice = if self.says(&LOGIN) {
            LOGIN_NEEDED
        } else {
            SENDER
        };
        Verdict::OurFault { advice }
    }

    fn on_recipient(&self) -> Verdict {
        if self.is_passing() {
            return Verdict::TryAgain;
        }
        if self.says(&LOGIN) || self.says(&RELAYING) {
            return Verdict::OurFault {
                advice: LOGIN_NEEDED,
            };
        }
        self.refused_or_unclear()
    }

    fn on_message(&self) -> Verdict {
        if self.is_passing() {
            return Verdict::TryAgain;
        }
        self.refused_or_unclear()
    }

    /// A quota, a rate or a full disk, whatever the code says; not a message that is too big.
    fn is_passing(&self) -> bool {
        let too_big = matches!(self.enhanced, Some((3, 4) | (2, 3))) || self.says(&TOO_BIG);
        let full = matches!(self.enhanced, Some((2, 2) | (3, 1) | (4, 5)));
        !too_big && (full || self.says(&PASSING) || self.says(&TOO_OFTEN))
    }

    fn refused_or_unclear(&self) -> Verdict {
        let gone = matches!(self.enhanced, Some((1, 0..=3 | 6 | 10) | (2, 1) | (4, 4)));
        if gone || self.says(&NOBODY) {
            Verdict::Refused
        } else {
            Verdict::Unclear
        }
    }

    fn says(&self, phrases: &[&str]) -> bool {
        phrases
            .iter()
            .any(|phrase| self.words.contains(&format!(" {phrase} ")))
    }
}

/// It passes by itself.
const PASSING: [&str; 18] = [
    "quota",
    "over quota",
    "overquota",
    "mailbox full",
    "mailbox is full",
    "insufficient storage",
    "out of storage",
    "limit",
    "limits",
    "throttled",
    "temporarily",
    "temporary",
    "try again",
    "try later",
    "retry later",
    "greylisted",
    "greylisting",
    "resources",
];
/// We come too often.
const TOO_OFTEN: [&str; 10] = [
    "rate",
    "frequency",
    "too many",
    "too frequent",
    "too fast",
    "too often",
    "rate limited",
    "rate limit",
    "temporarily",
    "temporary",
];
const TOO_BIG: [&str; 4] = ["message size", "size limit", "too large", "too big"];
const LOGIN: [&str; 5] = [
    "authentication required",
    "authentication is required",
    "must authenticate",
    "not authenticated",
    "log in",
];
const RELAYING: [&str; 7] = [
    "relay",
    "relaying",
    "relay access denied",
    "not permitted to relay",
    "unable to relay",
    "we do not relay",
    "rcpthosts",
];
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
/// "rate" stands in "rate limit", not in "corporate".
fn words(text: &str) -> String {
    let letters = |c: char| if c.is_alphanumeric() { c } else { ' ' };
    let lower: String = text.chars().map(letters).collect::<String>().to_lowercase();
    let words: Vec<&str> = lower.split_whitespace().collect();
    format!(" {} ", words.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, Clone, Copy, PartialEq, Eq)]
    enum Expected {
        Ours(&'static str),
        Again,
        Refused,
        Unclear,
    }
    use Expected::{Again, Ours, Refused, Unclear};

    fn judged(phase: Phase, reply: &str) -> (Verdict, u16) {
        let (code, text) = reply.split_once(' ').unwrap();
        let code = code.parse().unwrap();
        (classify(phase, code, text), code)
    }

    /// `Ours` names a word that the advice must have.
    fn check(phase: Phase, replies: &[(&str, Expected)]) {
        for (reply, expected) in replies {
            let (verdict, _) = judged(phase, reply);
            let right = match (verdict, *expected) {
                (Verdict::OurFault { advice }, Ours(word)) => advice.contains(word),
                (Verdict::TryAgain, Again)
                | (Verdict::Refused, Refused)
                | (Verdict::Unclear, Unclear) => true,
                _ => false,
            };
            assert!(
                right,
                "{phase:?} {reply:?}: {verdict:?}, expected {expected:?}"
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
}
