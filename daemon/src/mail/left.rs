//! Why messages that are no answers are left alone.

/// Why a message is left alone: a word for the records, and words for people.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Left {
    /// It is larger, deeper or in more parts than an answer.
    TooLarge,
    /// It cannot be read as a message from one sender.
    NotAMessage,
    /// A program sent it.
    Automatic,
    /// It refers to no mail of ours of the last weeks to its sender.
    NotAnAnswer,
    /// The receiving server says that it is not from whom it says.
    Forged,
}

impl Left {
    /// All reasons.
    pub const ALL: [Self; 5] = [
        Self::TooLarge,
        Self::NotAMessage,
        Self::Automatic,
        Self::NotAnAnswer,
        Self::Forged,
    ];

    /// The word in the records.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::TooLarge => "too-large",
            Self::NotAMessage => "not-a-message",
            Self::Automatic => "automatic",
            Self::NotAnAnswer => "not-an-answer",
            Self::Forged => "forged",
        }
    }

    /// The same for people, of so many messages.
    #[must_use]
    pub fn words(name: &str) -> &'static str {
        match Self::ALL.into_iter().find(|left| left.name() == name) {
            Some(Self::TooLarge) => "too large",
            Some(Self::NotAMessage) => "not readable, or from several senders",
            Some(Self::Automatic) => "sent by a program",
            Some(Self::Forged) => "not from whom they say, by the receiving server",
            Some(Self::NotAnAnswer) | None => {
                "no answer to a mail of the last 45 days by whom it went to"
            }
        }
    }
}
