//! Trouble that only the records show: feeds that fail, mails that wait, were late or were given up.

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Utc};
use duskflight_core::id::{BlockId, PersonId};
use duskflight_core::ledger::{MailState, QueuedMail};
use duskflight_core::orchard::Block;
use duskflight_core::season::BlockSeason;
use duskflight_core::temperature::Unit;
use duskflight_core::trapping::{NoteKind, Notes, splits_that_disagree};
use duskflight_core::weather::Oddity;
use duskflight_core::wording::RevisedDay;
use rusqlite::Connection;

use super::waiting::name;
use crate::clock::day_before;
use crate::config::{Config, Person, Station};
use crate::mail::left::Left;
use crate::records::dropped_trouble;
use crate::store::alarm;
use crate::store::answers;
use crate::store::answers_aside::{self, AnswerAside};
use crate::store::folding::FoldedMail;
use crate::store::jobs::{self, Job};
use crate::store::outbox_report::{self, GivenUp};
use crate::store::{StoreError, days, disk_space, journal, notes};

/// A feed that last answered so many days ago fails for the second morning.
const SECOND_MORNING: i64 = 2;
/// A mail that was sent so long after it could have been is called late.
const LATE_AFTER: TimeDelta = TimeDelta::hours(2);

/// Lines for every digest: what stands wrong.
pub(super) fn standing(
    connection: &Connection,
    config: &Config,
) -> Result<Vec<String>, StoreError> {
    let mut lines = feeds(connection, config)?;
    let trouble = outbox_report::trouble(connection)?;
    let errors = outbox_report::errors(connection, trouble.as_ref())?;
    let waiting = trouble.map(|trouble| trouble.error);
    let waiting = waiting.into_iter().chain(errors);
    lines.extend(waiting.map(|error| format!("mail waits: {error}")));
    let mailbox = alarm::stands(connection, alarm::MAILBOX)?;
    lines.extend(mailbox.map(|since| {
        let since = config.moment_words(since);
        format!("answers have not been fetched from the mailbox since {since}; they wait there")
    }));
    lines.extend(config.drop_folder.as_ref().and_then(dropped_trouble));
    lines.extend(config.trouble.clone());
    lines.extend(disk_space::trouble(&config.database));
    lines.extend(journal::trouble(&config.database));
    Ok(lines)
}

/// Lines for an adviser's digest of a civil day: how the mails about their blocks have fared since the
/// telling before.
pub(super) fn of_mails(
    connection: &Connection,
    config: &Config,
    adviser: &Person,
    as_of: NaiveDate,
) -> Result<Vec<String>, StoreError> {
    let since = last_telling(connection, config, as_of)?;
    let given_up = outbox_report::given_up_since(connection, adviser.id.as_str(), since)?;
    let late = outbox_report::late_since(connection, adviser.id.as_str(), since, LATE_AFTER)?;
    let unknown = outbox_report::unknown_since(connection, adviser.id.as_str(), since)?;
    let left = left_alone(connection, config, as_of)?;
    let given_up = given_up.iter().map(|mail| given_up_line(config, mail));
    let unknown = unknown.iter().map(|mail| unknown_line(config, mail));
    let late = late.iter().map(|mail| late_line(config, mail));
    Ok(given_up.chain(unknown).chain(late).chain(left).collect())
}

/// How many messages of the day before were no answers to our mails.
fn left_alone(
    connection: &Connection,
    config: &Config,
    as_of: NaiveDate,
) -> Result<Option<String>, StoreError> {
    if config.inbox.is_none() {
        return Ok(None);
    }
    let left = answers::left_between(connection, day_before(as_of), as_of)?;
    let each = left
        .iter()
        .map(|(why, count)| format!("{count} {}", Left::words(why)));
    let each: Vec<String> = each.collect();
    Ok((!each.is_empty()).then(|| {
        format!(
            "mail that came to the inbox yesterday and was left as it is: {}",
            each.join("; ")
        )
    }))
}

/// Lines on mails about an adviser's blocks that were folded tonight, one for each person.
pub(super) fn folded(config: &Config, adviser: &Person, folded: &[FoldedMail]) -> Vec<String> {
    let about = |mail: &&FoldedMail| mail.advisers.contains(&adviser.id);
    let mut people: BTreeMap<&PersonId, Vec<&FoldedMail>> = BTreeMap::new();
    for mail in folded.iter().filter(about) {
        people.entry(&mail.person).or_default().push(mail);
    }
    let lines = people.into_iter();
    lines
        .map(|(person, mails)| folded_line(config, person, &mails))
        .collect()
}

fn folded_line(config: &Config, person: &PersonId, mails: &[&FoldedMail]) -> String {
    let days = mails.iter().map(|mail| mail.day);
    let first = days.clone().min().unwrap_or_default();
    let days = config.words.stretch(first, days.max().unwrap_or(first));
    let why = mails.iter().find_map(|mail| mail.error.as_deref());
    let why = why.map_or_else(String::new, |why| format!(" ({why})"));
    let what = match mails.len() {
        1 => format!("the {} of {days}", mails[0].kind.name()),
        count => format!("{count} mails of {days}"),
    };
    format!(
        "{what} to {} could not be delivered{why}; today's mail tells what holds now",
        name(config, person)
    )
}

fn feeds(connection: &Connection, config: &Config) -> Result<Vec<String>, StoreError> {
    let failing = days::failing(connection)?;
    let aside = answers_aside::all(connection)?;
    let mut lines = Vec::new();
    for station in &config.stations {
        let of_station = aside
            .iter()
            .filter(|answer| answer.station == station.id.as_str());
        let waiting: Vec<_> = of_station.filter(|answer| answer.days.is_some()).collect();
        let error = failing.get(station.id.as_str());
        let error = error.filter(|error| waiting.iter().all(|answer| answer.words() != **error));
        lines
            .extend(error.map(|error| format!("{}: the last fetch failed: {error}", station.name)));
        lines.extend(
            waiting
                .iter()
                .map(|answer| aside_line(config, station, answer)),
        );
    }
    Ok(lines)
}

fn aside_line(config: &Config, station: &Station, answer: &AnswerAside) -> String {
    let since = config.words.day(config.day_of(answer.since));
    let all_is_well = match answer.oddity == Oddity::OTHER_UNIT {
        true => "once the unit that is declared is the one that it is written in",
        false => "once the feed answers well again",
    };
    format!(
        "{}: {} since {since}, and the days before it stand; {all_is_well}, all is well; if it is right as it is: \
         `duskflight feed accept {}`, or `drop` to be asked no more",
        station.name,
        answer.words(),
        station.id
    )
}

/// What a subject says on the second morning on which a feed gives nothing; on the first one it stands among the
/// trouble, and later ones are not worth every subject.
pub(super) fn in_subject(
    connection: &Connection,
    config: &Config,
    as_of: NaiveDate,
) -> Result<Option<String>, StoreError> {
    let failing = days::failing(connection)?;
    for station in &config.stations {
        let last = days::last_answer(connection, &station.id)?;
        let since = last.map(|last| (as_of - config.day_of(last)).num_days());
        if failing.contains_key(station.id.as_str()) && since == Some(SECOND_MORNING) {
            return Ok(Some(format!("{} gives no temperatures", station.name)));
        }
    }
    Ok(None)
}

/// A line for each station whose days of the season a feed has revised since the telling before.
pub(super) fn revised(
    connection: &Connection,
    config: &Config,
    as_of: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Vec<String>, StoreError> {
    let new_year = as_of.with_ordinal(1).unwrap_or(as_of);
    let since = last_telling(connection, config, as_of)?;
    let unit = config.unit.unwrap_or(Unit::Fahrenheit);
    let mut lines = Vec::new();
    for station in &config.stations {
        let mut days = Vec::new();
        for was in days::revised(connection, &station.id, new_year..as_of, since..now)? {
            let now = days::one(connection, &station.id, was.date)?;
            days.extend(now.map(|now| RevisedDay { was, now }));
        }
        lines.extend(config.words.revised_days(&station.name, unit, &days));
    }
    Ok(lines)
}

/// Lines for an adviser's digest: varieties of which several first hull splits are noted, one of them since
/// the telling before.
pub(super) fn two_splits(
    connection: &Connection,
    config: &Config,
    (seasons, as_of): (&[&BlockSeason], NaiveDate),
    now: DateTime<Utc>,
) -> Result<Vec<String>, StoreError> {
    let entered = last_telling(connection, config, as_of)?..now;
    let fresh = notes::entered(connection, entered.clone())?;
    if !fresh.iter().any(|note| note.kind == NoteKind::HullSplit) {
        return Ok(Vec::new());
    }
    let notes = Notes::new(notes::up_to(connection, as_of)?);
    let blocks: BTreeMap<&BlockId, &Block> = seasons
        .iter()
        .map(|season| (&season.block.id, &season.block))
        .collect();
    let of_block = |block: &Block| {
        let of_block = notes.of(block.id.as_str());
        let lines = block.varieties.iter().filter_map(|variety| {
            let (counts, others) = splits_that_disagree(of_block, variety, as_of, &entered)?;
            Some(config.words.two_splits(block, variety, counts, &others))
        });
        lines.collect::<Vec<_>>()
    };
    Ok(blocks.into_values().flat_map(of_block).collect())
}

/// When the telling before that of a day was done.
fn last_telling(
    connection: &Connection,
    config: &Config,
    as_of: NaiveDate,
) -> Result<DateTime<Utc>, StoreError> {
    let before = match jobs::done_before(connection, Job::Tell, as_of)? {
        Some(day) => jobs::run(connection, Job::Tell, day)?,
        None => None,
    };
    Ok(before
        .and_then(|run| run.finished)
        .unwrap_or_else(|| config.digest_instant(day_before(as_of))))
}

fn given_up_line(config: &Config, mail: &GivenUp) -> String {
    let how = match mail.state {
        MailState::Expired => "could not be delivered for three days",
        _ => "was refused",
    };
    format!(
        "the {} of {} to {} {how} and is given up ({}); what it said counts as untold",
        mail.kind.name(),
        config.words.day(mail.day),
        name(config, &mail.person),
        mail.reason
    )
}

fn unknown_line(config: &Config, mail: &GivenUp) -> String {
    let then = match mail.state {
        MailState::Queued => {
            "it is sent again only as long as no later mail arrives, twice at the most"
        }
        _ => "it is not sent again",
    };
    format!(
        "the {} of {} to {} may have arrived or not ({}); what it said counts as told, and {then}",
        mail.kind.name(),
        config.words.day(mail.day),
        name(config, &mail.person),
        mail.reason
    )
}

fn late_line(config: &Config, mail: &QueuedMail) -> String {
    let sent = mail.sent_at.unwrap_or_default().with_timezone(&config.zone);
    format!(
        "the {} of {} to {} was delivered late, on {}, {}",
        mail.kind.name(),
        config.words.day(mail.day),
        name(config, &mail.person),
        config.words.day(sent.date_naive()),
        sent.format("%H:%M")
    )
}
