//! Receipts: what was made of answers, to whoever wrote them. Several that waited are told in one.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Days, NaiveDate, Utc};
use duskflight_core::contents::{AnswerReceipt, Receipt};
use duskflight_core::id::{BlockId, PersonId};
use duskflight_core::ledger::{MailIdentity, MailKind, Role};
use rusqlite::Connection;

use crate::config::{Config, Person};
use crate::error_chain::error_chain;
use crate::hash::hash;
use crate::mail::answerable::Answerable;
use crate::mail::compose::envelope_of;
use crate::mail::contents::{Holds, MailContents};
use crate::mail::mark::{MarkKey, which};
use crate::mail::message::{Envelope, Mailbox};
use crate::store::answers::{self, KeptAnswer};
use crate::store::outbox::{self, NewMail};
use crate::store::{StoreError, made};
use crate::telling::{TellError, would_tell_of_starts};

/// A person gets so many receipts a day at most; what is left over stands in the first of the next day.
const MOST_A_DAY: usize = 30;
/// So many answers stand in one receipt at most.
const MOST_IN_ONE: usize = 40;
/// An answer that waited in a telephone for longer is rare.
const WRITTEN_WITHIN: Days = Days::new(14);

/// Queues a receipt to each person whose answers have none; gives how many.
///
/// # Errors
/// When the records cannot be read or written.
pub(super) fn queue(
    connection: &Connection,
    config: &Config,
    now: DateTime<Utc>,
) -> Result<usize, StoreError> {
    let mut waiting: BTreeMap<PersonId, Vec<KeptAnswer>> = BTreeMap::new();
    for answer in answers::without_receipt(connection)? {
        waiting
            .entry(answer.person.clone())
            .or_default()
            .push(answer);
    }
    if waiting.is_empty() {
        return Ok(0);
    }
    let key = MarkKey::new(answers::mark_key(connection)?);
    let today = config.day_of(now);
    let made = made::of_day(connection, today)?;
    let mut queued = 0;
    for (id, mut of_person) in waiting {
        let is_receipt = |mail: &&MailIdentity| mail.kind == MailKind::Receipt && mail.person == id;
        let Some(person) = config
            .person(&id)
            .filter(|_| made.iter().filter(is_receipt).count() < MOST_A_DAY)
        else {
            continue;
        };
        of_person.truncate(MOST_IN_ONE);
        let said = said(connection, config, person, &of_person, now)?;
        let (mail, name) = receipt(config, &key, person, (&of_person, said), now);
        outbox::queue(connection, &mail)?;
        let ids: Vec<String> = of_person.into_iter().map(|answer| answer.id).collect();
        answers::have_receipt(connection, &ids, &name)?;
        queued += 1;
    }
    Ok(queued)
}

/// What was made of some answers of one person, and behind the last of them what all their readings would confirm; a
/// grower hears of that by their adviser.
fn said(
    connection: &Connection,
    config: &Config,
    person: &Person,
    of: &[KeptAnswer],
    now: DateTime<Utc>,
) -> Result<Vec<AnswerReceipt>, StoreError> {
    let said = of.iter().filter_map(|answer| {
        let said = answer.said.as_deref()?;
        serde_json::from_str::<AnswerReceipt>(said).ok()
    });
    let mut said: Vec<AnswerReceipt> = said.collect();
    let today = config.day_of(now);
    let orchard = config.orchard_on(today);
    let rows = said.iter().flat_map(|answer| &answer.rows);
    let traps: BTreeSet<&str> = rows.map(|row| row.trap.as_str()).collect();
    let read = orchard
        .traps()
        .iter()
        .filter(|trap| traps.contains(trap.id.as_str()));
    let blocks: BTreeSet<BlockId> = read.map(|trap| trap.block.clone()).collect();
    if blocks.is_empty() || person.roles.has(Role::Grower) {
        return Ok(said);
    }
    match would_tell_of_starts(connection, config, &blocks, today, now) {
        Ok(would) => {
            if let Some(last) = said.last_mut() {
                last.would = would;
            }
        }
        Err(TellError::Store(error)) => return Err(error),
        Err(other) => {
            let error = error_chain(&other);
            tracing::warn!(error, "what readings would confirm is not known");
        }
    }
    Ok(said)
}

/// The answers that a receipt stands for, oldest first. Of answers that were read again after an older database was
/// put back none is known to have a receipt: those that it was made for are found by its name.
///
/// # Errors
/// When the records cannot be read or written.
pub(super) fn answers_in(
    connection: &Connection,
    person: &PersonId,
    (day, name): (NaiveDate, &str),
) -> Result<Vec<KeptAnswer>, StoreError> {
    let known = answers::of_receipt(connection, person, name)?;
    if !known.is_empty() {
        return Ok(known);
    }
    let from = day.checked_sub_days(WRITTEN_WITHIN).unwrap_or(day);
    let to = day.checked_add_days(Days::new(1)).unwrap_or(day);
    let untold = answers::untold(connection, person, (from, to))?;
    let is_it = |ids: &&[String]| {
        let ids: Vec<&str> = ids.iter().map(String::as_str).collect();
        which(&identity(person, day, &ids)) == name
    };
    let told = (1..=MOST_IN_ONE).find_map(|many| untold.windows(many).find(is_it));
    let Some(told) = told else {
        return Ok(known);
    };
    answers::have_receipt(connection, told, name)?;
    answers::of_receipt(connection, person, name)
}

/// What names the receipt of some answers.
fn identity(person: &PersonId, day: NaiveDate, answers: &[&str]) -> MailIdentity {
    let ids: Vec<&[u8]> = answers.iter().map(|id| id.as_bytes()).collect();
    MailIdentity {
        kind: MailKind::Receipt,
        person: person.clone(),
        adviser: None,
        day,
        about: hash(&ids),
    }
}

/// The receipt of some answers of one person, and its short name.
fn receipt(
    config: &Config,
    key: &MarkKey,
    person: &Person,
    (of, said): (&[KeptAnswer], Vec<AnswerReceipt>),
    now: DateTime<Utc>,
) -> (NewMail, String) {
    let ids: Vec<&str> = of.iter().map(|answer| answer.id.as_str()).collect();
    let identity = identity(&person.id, config.day_of(now), &ids);
    let answerable = Answerable::of(config, key, &identity);
    let receipt = Receipt::new(person.language, config.words.order, identity.day, said);
    let as_of = config.moment_words(now);
    let envelope = Envelope {
        reply_to: answerable
            .address
            .as_deref()
            .map(|address| Mailbox { name: "", address }),
        in_reply_to: match of {
            [one] => one.message_id.as_deref(),
            _ => None,
        },
        in_subject: answerable.in_subject.as_deref(),
        answerable: true,
        ..envelope_of(config, person, &answerable.message_id, now, &as_of)
    };
    let contents = MailContents::new(&envelope, config.words, Holds::Receipt { receipt });
    let name = which(&identity);
    let mail = NewMail {
        kind: identity.kind,
        person: identity.person,
        adviser: None,
        day: identity.day,
        about: identity.about,
        address: person.email.clone(),
        subject: contents.subject(),
        body: None,
        queued_at: now,
        contents: Some(contents.to_json()),
        waits_for: Vec::new(),
        hold_s: 0,
        message_id: answerable.message_id,
    };
    (mail, name)
}
