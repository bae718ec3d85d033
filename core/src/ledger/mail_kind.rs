//! The kinds of mail.

/// The kinds of mail.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum MailKind {
    /// An adviser's morning digest.
    Digest,
    /// A grower's key-date alerts.
    Alert,
    /// A grower's weekly letter.
    Letter,
    /// What was too much for single mails on one day.
    Summary,
    /// A mail sent by hand to see whether mail arrives.
    Test,
}

impl MailKind {
    /// All kinds.
    pub const ALL: [Self; 5] = [
        Self::Digest,
        Self::Alert,
        Self::Letter,
        Self::Summary,
        Self::Test,
    ];

    /// The word in the database and in file names.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Digest => "digest",
            Self::Alert => "alert",
            Self::Letter => "letter",
            Self::Summary => "summary",
            Self::Test => "test",
        }
    }

    /// What it is, for people.
    #[must_use]
    pub const fn meaning(self) -> &'static str {
        match self {
            Self::Digest => "The advisers' morning digests",
            Self::Alert => "The growers' key-date alerts",
            Self::Letter => "The growers' weekly letters",
            Self::Summary => "What was too much for single mails on one day",
            Self::Test => "Mails that only show whether mail arrives",
        }
    }
}
