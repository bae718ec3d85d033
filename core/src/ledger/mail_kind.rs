//! The kinds of mail.

use std::str::FromStr;

/// The kinds of mail.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MailKind {
    /// An adviser's morning digest.
    Digest,
    /// A grower's key-date alerts.
    Alert,
    /// A grower's weekly letter.
    Letter,
    /// A scout's round of the day.
    Round,
    /// What was too much for single mails on one day.
    Summary,
    /// What an adviser gets in place of the digest while records are missing.
    Records,
    /// To whoever looks after the box: what fails again and again, or works again.
    Operator,
    /// What was made of an answer.
    Receipt,
    /// A mail sent by hand to see whether mail arrives.
    Test,
}

impl MailKind {
    /// All kinds.
    pub const ALL: [Self; 9] = [
        Self::Digest,
        Self::Alert,
        Self::Letter,
        Self::Round,
        Self::Summary,
        Self::Records,
        Self::Operator,
        Self::Receipt,
        Self::Test,
    ];

    /// Whether it tells no news of any block, so that no later mail can stand for it.
    #[must_use]
    pub const fn tells_nothing(self) -> bool {
        matches!(self, Self::Operator | Self::Receipt | Self::Test)
    }

    /// The word in the database and in file names.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Digest => "digest",
            Self::Alert => "alert",
            Self::Letter => "letter",
            Self::Round => "round",
            Self::Summary => "summary",
            Self::Records => "records",
            Self::Operator => "operator",
            Self::Receipt => "receipt",
            Self::Test => "test",
        }
    }
}

/// No kind of mail has such a name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("no kind of mail is called {0:?}")]
pub struct BadMailKind(pub String);

impl FromStr for MailKind {
    type Err = BadMailKind;

    fn from_str(name: &str) -> Result<Self, BadMailKind> {
        let mut all = Self::ALL.into_iter();
        all.find(|kind| kind.name() == name)
            .ok_or_else(|| BadMailKind(name.to_owned()))
    }
}
