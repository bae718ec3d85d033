//! A mail of the outbox as the queue sees it: what it is, what it waits for, what was done to it.

use std::str::FromStr;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::MailKind;
use crate::id::PersonId;

/// The longest that a mail waits for its digests, beside its hold.
const LONGEST_WAIT: TimeDelta = TimeDelta::days(1);

/// What makes a mail one that is made once: of equal identities there is one, tests apart.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct MailIdentity {
    /// What it is.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The adviser whose blocks it is about; `None` where it is about those of several.
    pub adviser: Option<PersonId>,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// The id of what it is about beside these; empty where there is one mail of them a day.
    pub about: String,
}

/// What became of a mail.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum MailState {
    /// It waits.
    #[default]
    Queued,
    /// It was handed over.
    Sent,
    /// It was refused.
    Failed,
    /// It was tried for too long.
    Expired,
    /// A later mail tells what it told.
    Folded,
    /// It was given up, and nobody knows whether it was taken: what it told counts as told.
    Unknown,
}

impl MailState {
    /// All states.
    pub const ALL: [Self; 6] = [
        Self::Queued,
        Self::Sent,
        Self::Failed,
        Self::Expired,
        Self::Folded,
        Self::Unknown,
    ];

    /// The word in the database and in lists.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Queued => "queued",
            Self::Sent => "sent",
            Self::Failed => "failed",
            Self::Expired => "expired",
            Self::Folded => "folded",
            Self::Unknown => "unknown",
        }
    }
}

/// No state of a mail has such a name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("no state of a mail is called {0:?}")]
pub struct BadMailState(pub String);

impl FromStr for MailState {
    type Err = BadMailState;

    fn from_str(name: &str) -> Result<Self, BadMailState> {
        let mut all = Self::ALL.into_iter();
        all.find(|state| state.name() == name)
            .ok_or_else(|| BadMailState(name.to_owned()))
    }
}

/// Whether somebody has taken it into their hand when a mail leaves.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum InHand {
    /// Nobody.
    #[default]
    Nobody,
    /// It does not leave before it is released.
    Held {
        /// Since when.
        since: DateTime<Utc>,
        /// By whom.
        by: String,
    },
    /// It was let go: it waits for nothing of its own.
    Released {
        /// Since when.
        since: DateTime<Utc>,
        /// By whom.
        by: String,
    },
}

/// A digest that must be sent before a mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AwaitedDigest {
    /// Its Message-ID.
    pub message_id: String,
    /// The adviser that it is about.
    pub adviser: Option<PersonId>,
    /// When it was sent.
    pub sent_at: Option<DateTime<Utc>>,
}

/// A mail of the outbox, without its bytes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QueuedMail {
    /// Message-ID header.
    pub message_id: String,
    /// What it is.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The adviser whose blocks it is about; `None` where it is about those of several.
    pub adviser: Option<PersonId>,
    /// The civil day of telling.
    pub day: NaiveDate,
    /// The id of what it is about beside these; empty where there is one mail of them a day.
    pub about: String,
    /// What became of it.
    pub state: MailState,
    /// When it was queued.
    pub queued_at: DateTime<Utc>,
    /// The digests that must be sent first.
    pub waits_for: Vec<AwaitedDigest>,
    /// How long it waits after they were sent.
    pub hold: TimeDelta,
    /// Whether an adviser holds it or let it go.
    pub in_hand: InHand,
    /// Whether an adviser did something to what it says.
    pub touched: bool,
    /// Whether its bytes are there.
    pub composed: bool,
    /// Tries so far.
    pub attempts: u32,
    /// When it was tried first.
    pub first_try: Option<DateTime<Utc>>,
    /// It is not tried before.
    pub next_try: DateTime<Utc>,
    /// Whether a try may have been taken without our hearing of it.
    pub doubtful: bool,
    /// Since when we know that we do not know whether it was taken: a server that had all of it said nothing in time.
    pub unknown_since: Option<DateTime<Utc>>,
    /// Why the last try failed.
    pub error: Option<String>,
    /// When it was sent.
    pub sent_at: Option<DateTime<Utc>>,
}

impl QueuedMail {
    /// Whether somebody holds it.
    #[must_use]
    pub const fn is_held(&self) -> bool {
        matches!(self.in_hand, InHand::Held { .. })
    }

    /// The advisers whose blocks it is about: of several those whose digests it waits for, by their ids.
    #[must_use]
    pub fn advisers(&self) -> Vec<PersonId> {
        if let Some(adviser) = &self.adviser {
            return vec![adviser.clone()];
        }
        let awaited = self.waits_for.iter();
        let mut advisers: Vec<PersonId> = awaited.filter_map(|one| one.adviser.clone()).collect();
        advisers.sort();
        advisers
    }

    /// When all that it waits for by itself is over at the latest.
    #[must_use]
    pub fn latest(&self) -> DateTime<Utc> {
        match self.waits_for.is_empty() {
            true => self.queued_at,
            false => self.queued_at + self.hold + LONGEST_WAIT,
        }
    }

    /// When all that it waits for by itself is over, as far as that is known: as long as a digest is not sent,
    /// the latest instant. One that was let go waits for nothing.
    #[must_use]
    pub fn free_at(&self) -> DateTime<Utc> {
        if matches!(self.in_hand, InHand::Released { .. }) {
            return self.queued_at;
        }
        let after_digests = self.last_digest_sent().map(|sent| sent + self.hold);
        after_digests.map_or(self.latest(), |after| {
            after.clamp(self.queued_at, self.latest())
        })
    }

    /// When the last of its digests was sent; `None` while one was not, or where it waits for none.
    fn last_digest_sent(&self) -> Option<DateTime<Utc>> {
        let sent = self.waits_for.iter().map(|digest| digest.sent_at);
        sent.collect::<Option<Vec<_>>>()?.into_iter().max()
    }

    /// Whether one of its digests was not sent yet.
    #[must_use]
    pub fn awaits_digest(&self) -> bool {
        self.waits_for.iter().any(|digest| digest.sent_at.is_none())
    }

    /// Whether it was sent so much later than it had to be; never where somebody had it in hand.
    #[must_use]
    pub fn was_late(&self, slack: TimeDelta) -> bool {
        let late = |sent: DateTime<Utc>| sent > self.latest() + slack;
        self.in_hand == InHand::Nobody && self.sent_at.is_some_and(late)
    }
}
