//! What each kind of mail is.

use crate::ledger::MailKind;

/// What mails of a kind are, for people.
#[must_use]
pub const fn mail_kind_meaning(kind: MailKind) -> &'static str {
    match kind {
        MailKind::Digest => "The advisers' morning digests",
        MailKind::Alert => "The growers' key-date alerts",
        MailKind::Letter => "The growers' weekly letters",
        MailKind::Round => "The scouts' rounds",
        MailKind::Summary => "What was too much for single mails on one day",
        MailKind::Records => "That records are missing, to advisers",
        MailKind::Operator => "What fails again and again, to whoever looks after the box",
        MailKind::Receipt => "What was made of answers, to whoever wrote them",
        MailKind::Test => "Mails that only show whether mail arrives",
    }
}
