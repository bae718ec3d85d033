//! When a queued mail leaves: the one rule that sending, folding, lateness and every list of waiting mails ask.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use super::{InHand, MailKind, QueuedMail};
use crate::id::PersonId;

/// When a mail leaves.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Leaves {
    /// At once.
    AtOnce {
        /// Since when it could have left.
        since: DateTime<Utc>,
    },
    /// Not before an instant.
    NotBefore(DateTime<Utc>),
    /// Some time after its digests were sent, the last of which was not yet.
    AfterDigest {
        /// How long after it.
        hold: TimeDelta,
        /// When it leaves at the latest.
        latest: DateTime<Utc>,
    },
    /// After an older mail to the same person.
    Behind {
        /// Its Message-ID.
        message_id: String,
    },
    /// Not before it is released.
    Held {
        /// Since when.
        since: DateTime<Utc>,
        /// By whom.
        by: String,
    },
    /// Once its bytes are there.
    NotComposed {
        /// Since when it could have left with them.
        since: DateTime<Utc>,
    },
    /// It could have left, but a try failed.
    Stuck {
        /// Since when it could have left.
        since: DateTime<Utc>,
        /// It is not tried again before.
        until: DateTime<Utc>,
        /// What failed.
        because: Obstacle,
    },
}

/// What keeps a mail from leaving that could have left.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Obstacle {
    /// The way to all recipients.
    Way,
    /// The try of this one mail.
    Recipient,
}

/// The mails that wait.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Queue {
    mails: Vec<QueuedMail>,
    of_person: BTreeMap<PersonId, Vec<usize>>,
    no_way_until: Option<DateTime<Utc>>,
}

/// When a mail of the queue leaves. Each person's mails leave in their order, but a digest, which lists held alerts,
/// does not wait for those that are held or wait behind a held one, and no mail for one whose outcome is unknown.
#[must_use]
pub fn leaves(mail: &QueuedMail, queue: &Queue, now: DateTime<Utc>) -> Leaves {
    if let InHand::Held { since, by } = &mail.in_hand {
        let (since, by) = (*since, by.clone());
        return Leaves::Held { since, by };
    }
    if let Some(older) = queue.first_before(mail) {
        let message_id = older.message_id.clone();
        return Leaves::Behind { message_id };
    }
    let since = mail.free_at();
    if since <= now {
        return free(mail, queue, since, now);
    }
    match mail.awaits_digest() {
        true => Leaves::AfterDigest {
            hold: mail.hold,
            latest: since,
        },
        false => Leaves::NotBefore(since),
    }
}

/// Of a mail that waits for nothing by itself since an instant.
fn free(mail: &QueuedMail, queue: &Queue, since: DateTime<Utc>, now: DateTime<Utc>) -> Leaves {
    let stuck = |until, because| Leaves::Stuck {
        since,
        until,
        because,
    };
    if !mail.composed {
        return Leaves::NotComposed { since };
    }
    if mail.next_try > now {
        return match mail.attempts {
            0 => Leaves::NotBefore(mail.next_try),
            _ => stuck(mail.next_try, Obstacle::Recipient),
        };
    }
    match queue.no_way_until.filter(|until| *until > now) {
        Some(until) => stuck(until, Obstacle::Way),
        None => Leaves::AtOnce { since },
    }
}

impl Queue {
    /// `mails`: oldest first. `no_way_until`: while the way to all recipients fails, when it is tried next.
    #[must_use]
    pub fn new(mails: Vec<QueuedMail>, no_way_until: Option<DateTime<Utc>>) -> Self {
        let mut of_person: BTreeMap<PersonId, Vec<usize>> = BTreeMap::new();
        for (place, mail) in mails.iter().enumerate() {
            of_person
                .entry(mail.person.clone())
                .or_default()
                .push(place);
        }
        Self {
            mails,
            of_person,
            no_way_until,
        }
    }

    /// The mails of one kind, as if there were no others.
    #[must_use]
    pub fn of_kind(self, kind: MailKind) -> Self {
        let mails = self.mails.into_iter().filter(|mail| mail.kind == kind);
        Self::new(mails.collect(), self.no_way_until)
    }

    /// The mails, oldest first.
    #[must_use]
    pub fn mails(&self) -> &[QueuedMail] {
        &self.mails
    }

    /// The oldest mail that leaves at once.
    #[must_use]
    pub fn next(&self, now: DateTime<Utc>) -> Option<&QueuedMail> {
        let at_once = |mail: &&QueuedMail| matches!(leaves(mail, self, now), Leaves::AtOnce { .. });
        self.mails.iter().find(at_once)
    }

    /// Since when a mail could have left, but for failing tries, its bytes, and older mails that wait for the
    /// same; `None` for one that waits as it should.
    #[must_use]
    pub fn waits_since(&self, mail: &QueuedMail, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        match leaves(mail, self, now) {
            Leaves::AtOnce { since }
            | Leaves::NotComposed { since }
            | Leaves::Stuck { since, .. } => Some(since),
            Leaves::Behind { .. } if self.kept_by(mail).is_none() => {
                self.waits_since(self.first_before(mail)?, now)?;
                Some(mail.free_at()).filter(|since| *since <= now)
            }
            _ => None,
        }
    }

    /// The held mail without whose release a mail does not leave: itself, or one before it.
    #[must_use]
    pub fn kept_by<'a>(&'a self, mail: &'a QueuedMail) -> Option<&'a QueuedMail> {
        if mail.is_held() {
            return Some(mail);
        }
        let mut older = self.before(mail).skip_while(|other| !other.is_held());
        let held = older.next()?;
        let passes = |other: &QueuedMail| is_listed(other) || other.kind == MailKind::Digest;
        let kept = match mail.kind {
            MailKind::Digest => !older.all(passes),
            MailKind::Round | MailKind::Receipt => false,
            _ => true,
        };
        kept.then_some(held)
    }

    /// When the oldest mail was queued that does not wait for a release.
    #[must_use]
    pub fn oldest(&self) -> Option<DateTime<Utc>> {
        let by_itself = self
            .mails
            .iter()
            .filter(|mail| self.kept_by(mail).is_none());
        by_itself.map(|mail| mail.queued_at).min()
    }

    /// A person's mails of earlier days that today's mail tells instead, once one of them waits for longer than
    /// `patience` since it could have left: because of trouble, and not for its digests or hold.
    #[must_use]
    pub fn to_fold(
        &self,
        person: &PersonId,
        today: NaiveDate,
        patience: TimeDelta,
        now: DateTime<Utc>,
    ) -> Vec<&QueuedMail> {
        let own = self.of(person);
        let foldable: Vec<&QueuedMail> = own.filter(|mail| self.is_foldable(mail, today)).collect();
        let stuck = |mail: &&QueuedMail| {
            let since = self.waits_since(mail, now);
            since.is_some_and(|since| now - since >= patience)
        };
        match foldable.iter().any(stuck) {
            true => foldable,
            false => Vec::new(),
        }
    }

    /// Whether a mail may be folded: certainly not taken, not in an adviser's hands, who may have let it go or
    /// added a line to it, and not waiting for a release. Mails that tell nothing stay.
    fn is_foldable(&self, mail: &QueuedMail, today: NaiveDate) -> bool {
        !mail.kind.tells_nothing()
            && mail.day < today
            && !mail.doubtful
            && !mail.touched
            && mail.in_hand == InHand::Nobody
            && self.kept_by(mail).is_none()
    }

    fn of(&self, person: &PersonId) -> impl Iterator<Item = &QueuedMail> {
        let places = self.of_person.get(person).into_iter().flatten();
        places.map(|place| &self.mails[*place])
    }

    /// The older mails to the same person.
    fn before(&self, mail: &QueuedMail) -> impl Iterator<Item = &QueuedMail> {
        let own = self.of(&mail.person);
        own.take_while(|other| other.message_id != mail.message_id)
    }

    /// The first of them that a mail waits for: not one that may have been taken long ago.
    fn first_before(&self, mail: &QueuedMail) -> Option<&QueuedMail> {
        let mut behind_held = false;
        self.before(mail).find(|other| {
            behind_held |= other.is_held();
            let passes = match mail.kind {
                MailKind::Digest => behind_held && is_listed(other),
                // They tell nothing that waits for anything.
                MailKind::Round | MailKind::Receipt => behind_held || other.awaits_digest(),
                _ => false,
            };
            other.unknown_since.is_none() && !passes
        })
    }
}

/// Whether a digest lists a mail that is held or waits behind a held one.
const fn is_listed(mail: &QueuedMail) -> bool {
    matches!(mail.kind, MailKind::Alert | MailKind::Summary)
}

#[cfg(test)]
mod tests;
