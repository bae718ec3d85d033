//! `duskflight test-mail`: whether mail arrives, through the same outbox as every other mail.

use anyhow::Context;
use chrono::{DateTime, Utc};
use clap::Args;
use duskflight_core::id::PersonId;

use super::Failure;
use super::common::{ConfigDir, print, workshop};
use crate::clock::{self, Clock, SystemClock};
use crate::config::{Config, Person};
use crate::hash::hash;
use crate::mail::compose::envelope_of;
use crate::mail::contents::{Holds, MailContents};
use crate::runner::Lock;
use crate::store::outbox::{self, NewMail};
use crate::store::{StoreError, outbox_edit, outbox_report};
use crate::telling::Draft;
use duskflight_core::ledger::{MailKind, MailState};

/// Send a test mail and say what the server said, per person
///
/// It goes through the outbox like every mail, after those that wait for the same person.
#[derive(Debug, Args)]
pub(super) struct TestMail {
    /// To this person only [default: to everybody]
    person: Option<PersonId>,
    #[command(flatten)]
    config: ConfigDir,
}

impl TestMail {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let people: Vec<&Person> = match &self.person {
            None => config.people.iter().collect(),
            Some(id) => vec![config.person(id).ok_or_else(|| {
                Failure::usage(anyhow::anyhow!(
                    "person {id}: no such person in the configuration"
                ))
            })?],
        };
        let _lock = Lock::take(&config.database)?;
        let workshop = workshop(&config, clock::system())?;
        let now = SystemClock.now();
        let mails: Vec<NewMail> = people
            .iter()
            .map(|person| mail(&config, person, now))
            .collect::<Result<_, _>>()?;
        let ids: Vec<String> = mails.iter().map(|mail| mail.message_id.clone()).collect();
        workshop
            .store
            .write(move |t| {
                outbox_report::try_at_once(t)?;
                mails.iter().try_for_each(|mail| outbox::queue(t, mail))
            })
            .await
            .map_err(|error: StoreError| anyhow::Error::from(error))
            .context("queue the test mails")?;
        let delivered = workshop.deliver().await.context("deliver")?;
        let mut arrived = 0;
        for (person, id) in people.iter().zip(ids) {
            let words = workshop
                .store
                .read(move |c| outbox_edit::words_on(c, &id))
                .await
                .context("read the outbox")?;
            arrived += usize::from(words.0 == MailState::Sent);
            print(&format!(
                "{} <{}>: {}, {}\n",
                person.id,
                person.email,
                words.0.name(),
                words.1
            ))?;
        }
        if let Some(stopped) = &delivered.stopped {
            print(&format!("no mail goes out: {}\n", stopped.words()))?;
        }
        if arrived < people.len() {
            return Err(Failure::try_later(anyhow::anyhow!(
                "{arrived} of {} test mails were taken over",
                people.len()
            )));
        }
        Ok(())
    }
}

fn mail(config: &Config, person: &Person, now: DateTime<Utc>) -> Result<NewMail, Failure> {
    let Draft { mail, contents } = draft(config, person, now);
    let composed = contents.compose(&mail.message_id);
    Ok(NewMail {
        body: Some(composed.context("compose the test mail")?.bytes),
        ..mail
    })
}

/// A test mail to one person.
pub(super) fn draft(config: &Config, person: &Person, now: DateTime<Utc>) -> Draft {
    let domain = config.mail_from.domain();
    let key = hash(&[person.id.as_str().as_bytes()]);
    let message_id = format!("<test.{}.{key}@{domain}>", now.format("%Y-%m-%dT%H%M%SZ"));
    let as_of = config.moment_words(now);
    let envelope = envelope_of(config, person, &message_id, now, &as_of);
    let contents = MailContents::new(&envelope, config.words, Holds::Test);
    Draft {
        mail: NewMail {
            message_id,
            kind: MailKind::Test,
            person: person.id.clone(),
            adviser: Some(person.id.clone()),
            day: config.day_of(now),
            address: person.email.clone(),
            about: String::new(),
            subject: contents.subject(),
            body: None,
            queued_at: now,
            contents: Some(contents.to_json()),
            waits_for: Vec::new(),
            hold_s: 0,
        },
        contents,
    }
}
