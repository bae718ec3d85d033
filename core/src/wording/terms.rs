//! Terms of the trade and of the weather as they stand in a sentence.

use crate::orchard::{Part, StartRule};
use crate::trapping::Counted;
use crate::weather::{Element, FillMethod, Suspicion};

impl Counted {
    /// The words used in mails, for so many of them.
    #[must_use]
    pub const fn words(self, count: u32) -> &'static str {
        match (self, count) {
            (Self::Eggs, 1) => "egg",
            (Self::Eggs, _) => "eggs",
            (Self::Males, 1) => "male",
            (Self::Males, _) => "males",
            (Self::Moths, 1) => "moth, unsexed",
            (Self::Moths, _) => "moths, both sexes",
            (Self::Females, 1) => "female",
            (Self::Females, _) => "females",
        }
    }
}

impl Part {
    /// The word used in sentences.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ppo => "PPO",
            other => other.name(),
        }
    }
}

impl StartRule {
    /// The name used in mails.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::ShareRising => "share rising",
            Self::EggsTwice => "eggs twice",
            Self::Estimate => "estimate",
        }
    }
}

impl Element {
    /// The element in a sentence.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Min => "minimum",
            Self::Max => "maximum",
        }
    }
}

impl Suspicion {
    /// The reason in words that fit after "not used:".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::OutOfBounds => "outside physical bounds",
            Self::MinAboveMax => "the minimum is above the maximum",
            Self::FlaggedByProvider => "flagged by the provider",
            Self::Stuck => "the same value on fifteen days or more",
            Self::BeyondClimate => "never near that at this time of year",
            Self::Spike => "far from the days on both sides",
            Self::BesideFailure => "unusual, beside a value that cannot be",
            Self::FalseZero => "exactly zero on a day that was not that cold",
            Self::ApartFromFallBacks => "far from what the fall-back stations show",
        }
    }
}

impl FillMethod {
    /// The method in a sentence.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::FallBacks => "from fall-back stations",
            Self::Interpolated => "between the days around",
            Self::Climate => "from the station's own climate",
        }
    }
}
