//! A mail's contents, addressed: who gets it, who reads an answer, what it waits for.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::ledger::{MailIdentity, MailKind};

use crate::config::{Config, Person};
use crate::mail::answerable::Answerable;
use crate::mail::compose::envelope_of;
use crate::mail::contents::{Holds, MailContents};
use crate::mail::mark::MarkKey;
use crate::mail::message::{Envelope, Mailbox};
use crate::store::outbox::NewMail;

/// A mail with all that it is composed from.
#[derive(Debug, Clone)]
pub struct Draft {
    /// The mail as it goes into the outbox.
    pub mail: NewMail,
    /// What it is composed from.
    pub contents: MailContents,
}

/// What mails of one telling are addressed with.
pub(super) struct Address<'a> {
    pub(super) config: &'a Config,
    pub(super) key: &'a MarkKey,
    pub(super) day: NaiveDate,
    pub(super) now: DateTime<Utc>,
}

impl Address<'_> {
    /// A mail to one person. `advisers`: those whose blocks it is about.
    pub(super) fn draft(&self, person: &Person, advisers: &[&Person], holds: Holds) -> Draft {
        let kind = holds.kind();
        let adviser = match (kind, advisers) {
            (MailKind::Summary, _) => None,
            (_, advisers) => advisers.first().copied(),
        };
        let identity = self.identity(kind, person, adviser, holds.about());
        let Answerable {
            message_id,
            address,
            in_subject,
        } = self.answerable(&identity);
        // Its line has no room for a name as well.
        let answers = address
            .as_deref()
            .map(|address| Mailbox { name: "", address });
        let as_of = self.config.moment_words(self.now);
        let envelope = Envelope {
            reply_to: answers.or_else(|| self.reply_to(kind, adviser)),
            in_subject: in_subject.as_deref(),
            answerable: address.is_some(),
            ..envelope_of(self.config, person, &message_id, self.now, &as_of)
        };
        let contents = MailContents::new(&envelope, self.config.words, holds);
        Draft {
            mail: NewMail {
                kind,
                person: identity.person,
                adviser: identity.adviser,
                day: identity.day,
                about: identity.about,
                address: person.email.clone(),
                subject: contents.subject(),
                body: None,
                queued_at: self.now,
                contents: Some(contents.to_json()),
                waits_for: self.digests(kind, advisers),
                hold_s: u32::from(self.config.hold_hours) * 3600,
                message_id,
            },
            contents,
        }
    }

    /// What makes a mail of tonight one that is made once; without an adviser where it is about the blocks of
    /// several. `about`: what it is about beside these.
    fn identity(
        &self,
        kind: MailKind,
        person: &Person,
        adviser: Option<&Person>,
        about: &str,
    ) -> MailIdentity {
        MailIdentity {
            kind,
            person: person.id.clone(),
            adviser: adviser.map(|adviser| adviser.id.clone()),
            day: self.day,
            about: about.to_owned(),
        }
    }

    /// How a mail is named and answered.
    fn answerable(&self, mail: &MailIdentity) -> Answerable {
        Answerable::of(self.config, self.key, mail)
    }

    /// The digests that a mail waits for.
    fn digests(&self, kind: MailKind, advisers: &[&Person]) -> Vec<String> {
        if matches!(
            kind,
            MailKind::Digest
                | MailKind::Round
                | MailKind::Records
                | MailKind::Operator
                | MailKind::Receipt
                | MailKind::Test
        ) {
            return Vec::new();
        }
        let ids = advisers.iter();
        let ids = ids.map(|adviser| {
            let digest = self.identity(MailKind::Digest, adviser, Some(adviser), "");
            self.answerable(&digest).message_id
        });
        let mut ids: Vec<String> = ids.collect();
        ids.sort();
        ids.dedup();
        ids
    }

    /// Who reads an answer where the program does not: the adviser to a mail about their blocks, the operator to a digest and to a mail
    /// about the blocks of several.
    fn reply_to<'b>(&'b self, kind: MailKind, adviser: Option<&'b Person>) -> Option<Mailbox<'b>> {
        match (kind, adviser) {
            (MailKind::Alert | MailKind::Letter | MailKind::Round, Some(adviser)) => {
                Some(Mailbox {
                    name: &adviser.name,
                    address: &adviser.email,
                })
            }
            _ => self.config.operator.as_deref().map(|address| Mailbox {
                name: &self.config.mail_from.name,
                address,
            }),
        }
    }
}
