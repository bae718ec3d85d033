//! The roles people have.

/// The roles people have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Deserialize, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Gets the morning digest of all blocks they watch.
    Adviser,
    /// Gets key-date alerts for their own blocks.
    Grower,
    /// Gets what rules name.
    Other,
}

impl Role {
    /// The word used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Adviser => "adviser",
            Self::Grower => "grower",
            Self::Other => "other",
        }
    }
}
