//! What a night's mails are made for.

/// What the mails are prepared for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// To be told: a mail that is in the outbox already is not made again, and what it could have
    /// told waits for the next day.
    Tell,
    /// To be looked at: as if the day had not been told yet.
    Preview,
    /// The same, with a letter to everybody who gets one, whatever the day of the week.
    PreviewLetters,
}
