//! The ledger: what each person was told.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use duskflight_core::id::{BlockId, InsectId, PersonId};
use duskflight_core::ledger::{Change, Event, MailState, Notice, TakenBack, Told, Value};
use rusqlite::{CachedStatement, Connection, Row, ToSql, params};

use super::{StoreError, day, parsed};

/// The last revision of every event of a season that was told up to and including a day, by person. What
/// stood in a mail that was given up was not told. One look serves a whole night: each person's own
/// would go through the ledger of all.
///
/// # Errors
/// A failing statement.
pub fn latest(
    connection: &Connection,
    season: i32,
    up_to: NaiveDate,
) -> Result<BTreeMap<PersonId, Vec<Told>>, StoreError> {
    let statement = connection.prepare_cached(
        "SELECT block, insect, event, revision, value, day, person, step, change FROM told
         WHERE season = ?1 AND day <= ?2 AND (mail IS NULL OR mail NOT IN (
           SELECT message_id FROM outbox WHERE state IN ('failed', 'expired', 'folded')))
         ORDER BY block, insect, event, person, revision",
    )?;
    newest(statement, params![season, up_to.to_string()], season)
}

/// What each person was told last of each event by mails that have left.
///
/// # Errors
/// A failing statement.
pub fn arrived(
    connection: &Connection,
    season: i32,
) -> Result<BTreeMap<PersonId, Vec<Told>>, StoreError> {
    let statement = connection.prepare_cached(
        "SELECT block, insect, event, revision, value, told.day, told.person, step, change FROM told
         JOIN outbox ON outbox.message_id = told.mail AND outbox.state = 'sent'
         WHERE season = ?1 ORDER BY block, insect, event, told.person, revision",
    )?;
    newest(statement, params![season], season)
}

/// The newest of each person's rows of each event.
fn newest(
    mut statement: CachedStatement<'_>,
    asked: &[&dyn ToSql],
    season: i32,
) -> Result<BTreeMap<PersonId, Vec<Told>>, StoreError> {
    let mut rows = statement.query(asked)?;
    let mut by_person: BTreeMap<PersonId, Vec<Told>> = BTreeMap::new();
    while let Some(row) = rows.next()? {
        let (person, mut told) = read(row, season)?;
        let of_person = by_person.entry(person).or_default();
        // Revisions of one event of a person come one after the other.
        let before = of_person.last().filter(|last| is_same(last, &told));
        if let Some(before) = before {
            told.corrected_on = told.corrected_on.or(before.corrected_on);
            if told.value.is_none() {
                let was = before.value.map(|value| TakenBack {
                    value,
                    on: before.on,
                });
                told.taken_back = was.or(before.taken_back);
            }
            of_person.pop();
        }
        of_person.push(told);
    }
    Ok(by_person)
}

fn is_same(one: &Told, other: &Told) -> bool {
    (&one.event, &one.block, &one.insect) == (&other.event, &other.block, &other.insect)
}

/// A row of the columns block, insect, event, revision, value, day, person, step, change.
fn read(row: &Row<'_>, season: i32) -> Result<(PersonId, Told), StoreError> {
    let text = |column| row.get_ref(column)?.as_str().map_err(rusqlite::Error::from);
    let (block, insect, person) = (text(0)?, text(1)?, text(6)?);
    let value: Option<String> = row.get(4)?;
    let bad = |column, value: &str| StoreError::Value {
        column,
        value: value.to_owned(),
    };
    let (on, change) = (day(text(5)?)?, text(8)?);
    let told = Told {
        year: season,
        block: BlockId::new(block).map_err(|_| bad("block", block))?,
        insect: InsectId::new(insect).map_err(|_| bad("insect", insect))?,
        event: text(2)?.to_owned(),
        revision: row.get(3)?,
        value: value
            .map(|text| text.parse().map_err(|_| bad("value", &text)))
            .transpose()?,
        on,
        step: row.get(7)?,
        history: change == "history",
        of_variety: false,
        corrected_on: (change == "corrected").then_some(on),
        taken_back: None,
    };
    let person = PersonId::new(person).map_err(|_| bad("person", person))?;
    Ok((person, told))
}

/// Writes what a person is told into the ledger. History is bound to no mail: the list of it that a mail
/// brought is made again as long as none arrives. Its
/// revision is the next one after all that are there, also after those that count as untold, which
/// the notice does not know of. One row of `VALUES` needs no way back halfway, as rows that are selected do.
///
/// # Errors
/// A failing statement.
pub fn record(
    connection: &Connection,
    person: &PersonId,
    notice: &Notice,
    on: NaiveDate,
    mail: Option<&str>,
) -> Result<(), StoreError> {
    let mail = mail.filter(|_| !matches!(notice.change, Change::History(_)));
    connection
        .prepare_cached(
            "INSERT INTO told (season, block, insect, event, person, revision, value, day, mail, change, step)
             VALUES (?1, ?2, ?3, ?4, ?5, 1 + coalesce((SELECT max(revision) FROM told
               WHERE season = ?1 AND block = ?2 AND insect = ?3 AND event = ?4 AND person = ?5), 0),
               ?6, ?7, ?8, ?9, ?10)",
        )?
        .execute(params![
            notice.year,
            notice.block.as_str(),
            notice.insect.as_str(),
            notice.event.to_string(),
            person.as_str(),
            notice.change.value().map(|value| value.to_string()),
            on.to_string(),
            mail,
            notice.change.name(),
            notice.step,
        ])?;
    Ok(())
}

/// How much was told.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Counts {
    /// Events told, each once for each person.
    pub told: u32,
    /// Corrections and withdrawals of them.
    pub revised: u32,
}

/// How much was told in all.
///
/// # Errors
/// A failing statement.
pub fn counts(connection: &Connection) -> Result<Counts, StoreError> {
    Ok(connection.query_row(
        "SELECT count(*) FILTER (WHERE change NOT IN ('corrected', 'withdrawn')),
           count(*) FILTER (WHERE change IN ('corrected', 'withdrawn')) FROM told",
        [],
        |row| {
            Ok(Counts {
                told: row.get(0)?,
                revised: row.get(1)?,
            })
        },
    )?)
}

/// One line of the ledger, as stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Civil day of telling.
    pub day: String,
    /// Who was told.
    pub person: String,
    /// Of which block.
    pub block: String,
    /// Key of the event.
    pub event: String,
    /// Counts up from 1.
    pub revision: u32,
    /// What the telling was.
    pub change: String,
    /// What was told; `None` when it was withdrawn.
    pub value: Option<String>,
}

/// The whole ledger, oldest telling first.
///
/// # Errors
/// A failing statement.
pub fn all(connection: &Connection) -> Result<Vec<Line>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT day, person, block, event, revision, change, value FROM told
         ORDER BY day, person, block, event, revision",
    )?;
    let rows = statement.query_map([], |row| {
        Ok(Line {
            day: row.get(0)?,
            person: row.get(1)?,
            block: row.get(2)?,
            event: row.get(3)?,
            revision: row.get(4)?,
            change: row.get(5)?,
            value: row.get(6)?,
        })
    })?;
    Ok(rows.collect::<Result<_, _>>()?)
}

/// One telling about a block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OfBlock {
    /// Civil day of telling.
    pub day: NaiveDate,
    /// Who was told.
    pub person: PersonId,
    /// Of which insect.
    pub insect: InsectId,
    /// What of.
    pub event: Event,
    /// What the telling was.
    pub change: String,
    /// What was told; `None` when it was withdrawn.
    pub value: Option<Value>,
    /// What became of its mail; `None` where it was only recorded, or the mail is not kept any more.
    pub mail: Option<MailState>,
}

impl OfBlock {
    /// Whether it counts as told: a mail of it has left, as far as anybody knows.
    #[must_use]
    pub const fn has_left(&self) -> bool {
        matches!(self.mail, None | Some(MailState::Sent | MailState::Unknown))
    }
}

/// What people were told of a block in a season up to a day, newest first. An event that this version does not know is
/// left out.
///
/// # Errors
/// A failing statement, or a value that cannot be read.
pub fn of_block(
    connection: &Connection,
    season: i32,
    block: &BlockId,
    up_to: NaiveDate,
) -> Result<Vec<OfBlock>, StoreError> {
    let mut statement = connection.prepare_cached(
        "SELECT told.day, told.person, event, change, value,
                (SELECT state FROM outbox WHERE message_id = told.mail), insect
         FROM told WHERE season = ?1 AND block = ?2 AND told.day <= ?3
         ORDER BY told.day DESC, event, told.person, revision DESC",
    )?;
    let mut rows = statement.query(params![season, block.as_str(), up_to.to_string()])?;
    let mut tellings = Vec::new();
    while let Some(row) = rows.next()? {
        let text = |column| row.get_ref(column)?.as_str().map_err(rusqlite::Error::from);
        let bad = |column, value: &str| StoreError::Value {
            column,
            value: value.to_owned(),
        };
        let (person, event, insect) = (text(1)?, text(2)?, text(6)?);
        let Ok(event) = event.parse() else { continue };
        let (value, mail): (Option<String>, Option<String>) = (row.get(4)?, row.get(5)?);
        tellings.push(OfBlock {
            day: day(text(0)?)?,
            person: PersonId::new(person).map_err(|_| bad("person", person))?,
            insect: InsectId::new(insect).map_err(|_| bad("insect", insect))?,
            event,
            change: text(3)?.to_owned(),
            value: value
                .map(|text| text.parse().map_err(|_| bad("value", &text)))
                .transpose()?,
            mail: mail.map(|state| parsed("state", &state)).transpose()?,
        });
    }
    Ok(tellings)
}

#[cfg(test)]
mod tests {
    use chrono::{DateTime, Utc};
    use duskflight_core::id::MarkId;

    use super::*;
    use crate::store::Store;
    use crate::store::outbox::{self, End, NewMail};
    use duskflight_core::ledger::MailKind;

    fn on(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
    }

    fn at() -> DateTime<Utc> {
        DateTime::from_timestamp(1_655_730_000, 0).unwrap()
    }

    fn gil() -> PersonId {
        PersonId::new("gil").unwrap()
    }

    fn queue(connection: &Connection, id: &str, day: u32) -> Result<(), StoreError> {
        let mail = NewMail {
            message_id: id.to_owned(),
            kind: MailKind::Alert,
            person: gil(),
            adviser: Some(gil()),
            day: on(day),
            address: "gil@test.example".to_owned(),
            subject: String::new(),
            about: String::new(),
            body: Some(Vec::new()),
            queued_at: at(),
            contents: None,
            waits_for: Vec::new(),
            hold_s: 0,
        };
        outbox::queue(connection, &mail)
    }

    fn notice(change: Change) -> Notice {
        Notice {
            year: 2022,
            block: BlockId::new("home").unwrap(),
            insect: InsectId::new("navel-orangeworm").unwrap(),
            event: Event::MarkPassed(MarkId::new("first-hatch").unwrap()),
            revision: 1,
            step: 1,
            late: None,
            to_release: false,
            change,
        }
    }

    #[tokio::test]
    async fn a_mail_given_up_counts_as_untold_and_revisions_count_on() {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::create(&dir.path().join("records.sqlite")).unwrap();
        let checked: Result<(), StoreError> = store
            .write(|t| {
                let told = |day| -> Result<Vec<Told>, StoreError> {
                    Ok(latest(t, 2022, on(day))?.remove(&gil()).unwrap_or_default())
                };
                let [first, then] = [10, 14].map(|day| Value::Day(on(day)));
                queue(t, "first", 20)?;
                record(
                    t,
                    &gil(),
                    &notice(Change::New(first)),
                    on(20),
                    Some("first"),
                )?;
                queue(t, "correction", 21)?;
                let told_on = on(20);
                let (was, now) = (first, then);
                let change = Change::Corrected { was, told_on, now };
                record(t, &gil(), &notice(change), on(21), Some("correction"))?;
                assert_eq!(told(21)?[0].value, Some(then));
                // A correction that never arrived leaves what was told before it.
                outbox::give_up(t, "correction", End::Expired, "no answer", at())?;
                assert_eq!(
                    (told(22)?[0].value, told(22)?[0].revision),
                    (Some(first), 1)
                );
                outbox::give_up(t, "first", End::Failed, "no such user", at())?;
                assert_eq!(told(22)?, []);
                record(t, &gil(), &notice(Change::New(then)), on(22), None)?;
                assert_eq!((told(22)?[0].value, told(22)?[0].revision), (Some(then), 3));
                Ok(())
            })
            .await;
        checked.unwrap();
    }

    #[test]
    fn a_telling_of_a_block_says_what_became_of_its_mail() {
        let left = |mail: Option<MailState>| {
            let telling = OfBlock {
                day: on(20),
                person: gil(),
                insect: InsectId::new("navel-orangeworm").unwrap(),
                event: Event::Start,
                change: "new".to_owned(),
                value: None,
                mail,
            };
            telling.has_left()
        };
        assert!(
            left(None),
            "only recorded, or its mail is not kept any more"
        );
        let all = MailState::ALL.into_iter();
        let have_left: Vec<MailState> = all.filter(|state| left(Some(*state))).collect();
        assert_eq!(have_left, [MailState::Sent, MailState::Unknown]);
    }
}
