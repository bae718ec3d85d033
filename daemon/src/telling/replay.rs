//! Which mails would have gone when, to whom and why: the nights of a stretch told again, on a copy of the
//! records in memory, and their mails delivered by the same rules to a transport that takes them all.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{NaiveDate, TimeDelta};
use duskflight_core::id::{BlockId, InsectId, PersonId};

use super::one_person::Telling;
use super::{Night, TellError, tell_in};
use crate::clock::SetClock;
use crate::config::Config;
use crate::mail::delivery::deliver;
use crate::mail::transport::Transport;
use crate::store::jobs::{self, Job};
use crate::store::snapshot::{self, Fate};
use crate::store::{Store, StoreError};
use duskflight_core::ledger::MailKind;

/// The outbox is looked at so often: holds are whole hours.
const ROUND: TimeDelta = TimeDelta::hours(1);

/// A mail of a replay.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReplayedMail {
    /// The civil day of telling.
    pub day: NaiveDate,
    /// What it is.
    pub kind: MailKind,
    /// The recipient.
    pub person: PersonId,
    /// The adviser whose blocks it is about.
    pub adviser: Option<PersonId>,
    /// Its subject.
    pub subject: String,
    /// What became of it by the end of the stretch.
    pub fate: Fate,
    /// What it tells that was not told before.
    pub news: Vec<News>,
}

/// Something that a mail tells.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct News {
    /// The block.
    pub block: BlockId,
    /// Its name.
    pub name: String,
    /// The insect.
    pub insect: InsectId,
    /// The key of the event.
    pub event: String,
    /// `new`, `corrected` or another word of the ledger.
    pub change: &'static str,
    /// All of it in one sentence.
    pub sentence: String,
    /// Why what was told before changed.
    pub why: Option<String>,
}

/// Tells the civil days from `from` to `to` again, in memory, as if earlier mails had left.
///
/// # Errors
/// When the records cannot be read or a mail cannot be composed.
pub async fn replay(
    config: &Arc<Config>,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<Vec<ReplayedMail>, TellError> {
    let store = Store::copy_of(&config.database)?;
    store.write(move |t| snapshot::forget_from(t, from)).await?;
    let mut mails = Vec::new();
    for day in from.iter_days().take_while(|day| *day <= to) {
        mails.extend(morning(&store, config, day).await?);
        deliver_until(&store, config, day).await?;
    }
    let fates = store.read(move |c| snapshot::fates_from(c, from)).await?;
    Ok(mails
        .into_iter()
        .map(|(message_id, mail)| ReplayedMail {
            fate: fates.get(&message_id).cloned().unwrap_or_default(),
            ..mail
        })
        .collect())
}

/// Tells one civil day at its hour; gives its mails by their Message-ID.
async fn morning(
    store: &Store,
    config: &Arc<Config>,
    day: NaiveDate,
) -> Result<Vec<(String, ReplayedMail)>, TellError> {
    let (config, now) = (Arc::clone(config), config.digest_instant(day));
    store
        .write(move |t| {
            jobs::begin(t, Job::Tell, day, now)?;
            let (night, tellings) = tell_in(t, &config, day, now, Vec::new())?;
            snapshot::need_no_bytes(t)?;
            jobs::finish(t, Job::Tell, day, now, None)?;
            let mails = tellings.iter();
            Ok(mails
                .filter_map(|telling| replayed(&config, &night, telling))
                .collect())
        })
        .await
}

/// Delivers hour by hour until the next day's hour.
async fn deliver_until(store: &Store, config: &Config, day: NaiveDate) -> Result<(), StoreError> {
    let until = config.digest_instant(day.succ_opt().unwrap_or(day));
    let mut at = config.digest_instant(day);
    while at < until {
        deliver(store, &Transport::TakesAll, &SetClock::at(at)).await?;
        at += ROUND;
    }
    Ok(())
}

/// What was only recorded as history has no mail.
fn replayed(config: &Config, night: &Night, telling: &Telling) -> Option<(String, ReplayedMail)> {
    let mail = &telling.draft.as_ref()?.mail;
    let replayed = ReplayedMail {
        day: mail.day,
        kind: mail.kind,
        person: mail.person.clone(),
        adviser: mail.adviser.clone(),
        subject: mail.subject.clone(),
        fate: Fate::default(),
        news: news(config, night, telling),
    };
    Some((mail.message_id.clone(), replayed))
}

fn news(config: &Config, night: &Night, telling: &Telling) -> Vec<News> {
    let notices = telling.notices.iter();
    let told = notices.filter_map(|notice| {
        let mut seasons = night.seasons.iter();
        let season = seasons
            .find(|season| season.block.id == notice.block && season.insect == notice.insect)?;
        let event = notice.event.to_string();
        Some(News {
            block: notice.block.clone(),
            name: season.block.name.clone(),
            insect: notice.insect.clone(),
            event,
            change: notice.change.name(),
            sentence: config.words.sentence(notice, season),
            why: telling.causes.of(notice),
        })
    });
    told.collect()
}

/// How many mails of a kind told something that was corrected or withdrawn later, and how many there are.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Corrected {
    /// All of them.
    pub mails: usize,
    /// Those of which something was corrected or withdrawn later.
    pub drew: usize,
}

/// Counts the mails of a kind that drew a correction.
#[must_use]
pub fn corrected(mails: &[ReplayedMail], kind: MailKind) -> Corrected {
    let mut last: BTreeMap<_, usize> = BTreeMap::new();
    let mut drew = BTreeSet::new();
    let of_kind = mails.iter().filter(|mail| mail.kind == kind).enumerate();
    let mut count = 0;
    for (place, mail) in of_kind {
        count += 1;
        for news in &mail.news {
            let key = (&mail.person, &news.block, &news.insect, &news.event);
            let before = last.insert(key, place);
            drew.extend(before.filter(|_| matches!(news.change, "corrected" | "withdrawn")));
        }
    }
    Corrected {
        mails: count,
        drew: drew.len(),
    }
}
