//! Screening: values that cannot be trusted are marked, kept and never used.

use super::{Climate, Record};

/// Why a value is not trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Suspicion {
    /// A value that no thermometer in the region has shown, or that is not a number.
    OutOfBounds,
    /// The minimum is above the maximum.
    MinAboveMax,
    /// The provider flagged a value as failed.
    FlaggedByProvider,
}

impl Suspicion {
    /// The name in tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::OutOfBounds => "out-of-bounds",
            Self::MinAboveMax => "min-above-max",
            Self::FlaggedByProvider => "flagged-by-provider",
        }
    }

    /// The reason in words that fit after "not used:".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::OutOfBounds => "outside physical bounds",
            Self::MinAboveMax => "the minimum is above the maximum",
            Self::FlaggedByProvider => "flagged by the provider",
        }
    }
}

/// Judges the values of a record against each other, the station's climate and the records of its
/// fall-backs, if there are any.
pub fn screen(record: &mut Record, others: &[&Record], climate: &Climate) {
    let _ = (record, others, climate);
}
