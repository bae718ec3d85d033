//! What left the house, once more in a file beside the database: a database that is restored from an
//! older copy learns from it what people were told since, so that nobody is told twice.
//!
//! One line a mail that was handed over, as JSON, with the rows of the ledger that it tells. Lines are added; one that was
//! cut off by a crash is passed over and written anew. It keeps this season and the one before: nobody is told of older
//! ones, and both sides are compared within these alone, so that neither learns what the other no longer keeps.
//! Each line says how much people had entered by then: a database that has less has lost it, and what it does not show is
//! no evidence against what was told.

use std::collections::BTreeSet;
use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use duskflight_core::ledger::{Entered, MissingRecords};
use rusqlite::{Connection, OptionalExtension, Row, params};
use serde::{Deserialize, Serialize};

use super::beside::beside;
use super::entered::{accepted, entered};
use super::{StoreError, day};
use crate::crash;
use crate::plain_file;

/// The answer that stands for the server's in a mail that only the journal knows.
const KNOWN: &str = "taken over before the database was restored";

/// A mail that was handed over.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Line {
    mail: String,
    kind: String,
    person: String,
    adviser: String,
    day: String,
    #[serde(default, skip_serializing_if = "String::is_empty")]
    about: String,
    sent_at: i64,
    /// Left out by versions before.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    entered: Option<Entered>,
    /// It was sent by a clock that was ahead, and is not learnt from.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    set_aside: bool,
    told: Vec<ToldRow>,
}

/// A row of the ledger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct ToldRow {
    season: i64,
    block: String,
    insect: String,
    event: String,
    revision: i64,
    value: Option<String>,
    change: String,
    step: i64,
}

/// A mail that left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Left {
    /// Its kind, by its word.
    pub kind: String,
    /// Who had it.
    pub person: String,
    /// The civil day it told, as `YYYY-MM-DD`.
    pub day: String,
}

/// What bringing the two together did.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Matched {
    /// Mails that the database did not know as sent.
    pub learnt: Vec<Left>,
    /// Mails that the journal did not know.
    pub written: usize,
    /// Records that mails rested on and that the database does not have.
    pub missing: Option<MissingRecords>,
}

/// The journal's file.
#[must_use]
pub fn path_beside(database: &Path) -> PathBuf {
    beside(database, ".told.jsonl")
}

/// Brings database and journal together: each learns of the mails handed over that only the other knows.
///
/// # Errors
/// A failing statement, or a journal that cannot be read or written.
pub fn match_up(
    connection: &Connection,
    journal: &Path,
    now: DateTime<Utc>,
) -> Result<Matched, JournalError> {
    let since = kept_since(now);
    let mut lines = read(journal)?;
    lines.retain(|line| line.sent_at >= since && !line.set_aside);
    let mut unwritten = sent(connection, since)?;
    let sent: BTreeSet<&str> = unwritten.iter().map(|line| line.mail.as_str()).collect();
    let mut learnt = Vec::new();
    for line in lines
        .iter()
        .filter(|line| !sent.contains(line.mail.as_str()))
    {
        if learn(connection, line)? {
            learnt.push(Left {
                kind: line.kind.clone(),
                person: line.person.clone(),
                day: line.day.clone(),
            });
        }
    }
    let written: BTreeSet<&str> = lines.iter().map(|line| line.mail.as_str()).collect();
    unwritten.retain(|line| !written.contains(line.mail.as_str()));
    let missing = missing_of(connection, &lines)?;
    add_told(connection, &mut unwritten)?;
    append(journal, &unwritten)?;
    Ok(Matched {
        learnt,
        written: unwritten.len(),
        missing,
    })
}

/// Records that mails rested on and that the database does not have, by what it has learnt from the journal so far.
///
/// # Errors
/// A failing statement, or a journal that cannot be read.
pub fn missing(
    connection: &Connection,
    journal: &Path,
) -> Result<Option<MissingRecords>, JournalError> {
    Ok(missing_of(connection, &read(journal)?)?)
}

/// By the lines of mails that left since the records were last accepted as they are.
fn missing_of(
    connection: &Connection,
    lines: &[Line],
) -> Result<Option<MissingRecords>, StoreError> {
    let accepted = accepted(connection)?.unwrap_or(i64::MIN);
    let asks = |line: &&Line| line.sent_at > accepted && !line.set_aside;
    let lines: Vec<&Line> = lines.iter().filter(asks).collect();
    let Some(newest) = lines.iter().map(|line| &line.day).max() else {
        return Ok(None);
    };
    let was = lines.iter().filter_map(|line| line.entered);
    let was = was.reduce(Entered::or_more);
    let now = entered(connection)?;
    let less = was.is_some_and(|was| now.is_less_than(was));
    let uncounted = lines.iter().filter(|line| line.entered.is_none());
    let learnt = uncounted.map(|line| is_learnt(connection, line));
    if !less && !learnt.collect::<Result<Vec<bool>, _>>()?.contains(&true) {
        return Ok(None);
    }
    Ok(Some(MissingRecords {
        was: was.filter(|_| less),
        now,
        newest: day(newest)?,
    }))
}

/// Whether the database knows of a mail by the journal alone.
fn is_learnt(connection: &Connection, line: &Line) -> Result<bool, StoreError> {
    let answer: Option<Option<String>> = connection
        .prepare_cached("SELECT answer FROM outbox WHERE message_id = ?1")?
        .query_row([&line.mail], |row| row.get(0))
        .optional()?;
    Ok(answer.is_none_or(|answer| answer.as_deref() == Some(KNOWN)))
}

/// Removes the lines of seasons before the one before this. The file is replaced as a whole.
///
/// # Errors
/// A journal that cannot be read or written.
pub fn prune(journal: &Path, now: DateTime<Utc>) -> Result<(), JournalError> {
    let since = kept_since(now);
    let lines = read(journal)?;
    let kept: Vec<&Line> = lines.iter().filter(|line| line.sent_at >= since).collect();
    match kept.len() == lines.len() {
        true => Ok(()),
        false => replace(journal, kept),
    }
}

/// Marks the lines of days after `today`, which a clock told that was ahead, so that they are not learnt back, and
/// gives how many. What was sent of other days later than `now` was sent by now.
///
/// # Errors
/// A journal that cannot be read or written.
pub(super) fn set_aside(
    journal: &Path,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Result<usize, JournalError> {
    let (today, now) = (today.to_string(), now.timestamp());
    let mut lines = read(journal)?;
    let (mut marked, mut late) = (0, 0);
    for line in lines.iter_mut().filter(|line| !line.set_aside) {
        if line.day > today {
            line.set_aside = true;
            marked += 1;
        } else if line.sent_at > now {
            line.sent_at = now;
            late += 1;
        }
    }
    if marked + late > 0 {
        replace(journal, &lines)?;
    }
    Ok(marked)
}

/// Replaces the file as a whole.
fn replace<'a>(
    journal: &Path,
    lines: impl IntoIterator<Item = &'a Line>,
) -> Result<(), JournalError> {
    let mut new = journal.as_os_str().to_owned();
    new.push(".new");
    let replace = || {
        let mut file = plain_file::create(Path::new(&new))?;
        file.set_permissions(fs::metadata(journal)?.permissions())?;
        file.write_all(text(lines).as_bytes())?;
        file.sync_data()?;
        crash::point("a shorter journal is written");
        fs::rename(&new, journal)?;
        crash::point("a shorter journal is in its place");
        Ok(())
    };
    replace().map_err(|source| failed(journal, source))
}

/// The instant at which the season before this one began, in whole seconds.
fn kept_since(now: DateTime<Utc>) -> i64 {
    let new_year = NaiveDate::from_ymd_opt(now.year() - 1, 1, 1).unwrap_or_default();
    new_year
        .and_time(chrono::NaiveTime::MIN)
        .and_utc()
        .timestamp()
}

/// Why they could not be brought together.
#[derive(Debug, thiserror::Error)]
pub enum JournalError {
    /// The file.
    #[error("read or write {path}, where what was told stands once more")]
    File {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The records.
    #[error("bring what was told together")]
    Store(#[from] StoreError),
}

impl From<rusqlite::Error> for JournalError {
    fn from(error: rusqlite::Error) -> Self {
        Self::Store(error.into())
    }
}

/// That the journal cannot be written, in one line for people.
#[must_use]
pub fn trouble(database: &Path) -> Option<String> {
    let path = path_beside(database);
    let opened = plain_file::open(&path, OpenOptions::new().append(true));
    match opened {
        Ok(_) => None,
        Err(error) if error.kind() == ErrorKind::NotFound => None,
        Err(error) => {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            Some(format!(
                "{name} cannot be written ({error}): after restoring an older copy of the database people \
                 might be told again what they know"
            ))
        }
    }
}

fn read(journal: &Path) -> Result<Vec<Line>, JournalError> {
    let text = match plain_file::read_text(journal, u64::MAX - 1) {
        Ok(text) => text,
        Err(error) if error.kind() == ErrorKind::NotFound => String::new(),
        Err(source) => return Err(failed(journal, source)),
    };
    let lines = text.lines();
    Ok(lines
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect())
}

/// Adds lines, after a line end of their own where the last one was cut off.
fn append(journal: &Path, lines: &[Line]) -> Result<(), JournalError> {
    if lines.is_empty() {
        return Ok(());
    }
    let write = || {
        let mut how = OpenOptions::new();
        let mut file = plain_file::open(journal, how.read(true).append(true).create(true))?;
        let line_end = if ends_whole(&mut file)? { "" } else { "\n" };
        file.write_all(format!("{line_end}{}", text(lines)).as_bytes())?;
        crash::point("lines are added to the journal");
        file.sync_data()
    };
    write().map_err(|source| failed(journal, source))
}

/// Whether a file ends with a line end, or is empty.
fn ends_whole(file: &mut File) -> io::Result<bool> {
    if file.metadata()?.len() == 0 {
        return Ok(true);
    }
    let mut last = [0];
    file.seek(SeekFrom::End(-1))?;
    file.read_exact(&mut last)?;
    Ok(last == *b"\n")
}

fn text<'a>(lines: impl IntoIterator<Item = &'a Line>) -> String {
    let lines = lines.into_iter();
    let lines = lines.map(|line| serde_json::to_string(line).expect("texts and numbers are JSON"));
    lines.map(|line| line + "\n").collect()
}

fn failed(journal: &Path, source: io::Error) -> JournalError {
    JournalError::File {
        path: journal.to_owned(),
        source,
    }
}

/// Enters a mail as sent, with what it told, and gives whether that was news. One that an older copy has as
/// waiting is not sent again, also where the sender's domain changed since, and with it the Message-ID.
fn learn(connection: &Connection, line: &Line) -> Result<bool, StoreError> {
    let found = found(connection, line)?;
    let mail = match &found {
        Some((_, state)) if state == "sent" => return Ok(false),
        Some((mail, _)) => mail,
        None => &line.mail,
    };
    connection
        .prepare_cached(
            "INSERT INTO outbox (message_id, kind, person, adviser, day, about, address, subject, queued_at, composed,
               hold_s, touched, state, attempts, refusals, doubtful, next_try_at, sent_at, answer)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, '', '', ?7, 1, 0, 0, 'sent', 1, 0, 0, ?7, ?7, ?8)
             ON CONFLICT (message_id) DO UPDATE SET state = 'sent', sent_at = ?7, answer = ?8",
        )?
        .execute(params![
            mail,
            line.kind,
            line.person,
            line.adviser,
            line.day,
            line.about,
            line.sent_at,
            KNOWN,
        ])?;
    enter_told(connection, line, mail)?;
    Ok(true)
}

/// The Message-ID and state of a mail in the outbox, by its Message-ID or by what makes it one that is made once.
fn found(connection: &Connection, line: &Line) -> Result<Option<(String, String)>, StoreError> {
    Ok(connection
        .prepare_cached(
            "SELECT message_id, state FROM outbox WHERE message_id = ?1
             UNION ALL SELECT message_id, state FROM outbox WHERE kind = ?2 AND person = ?3 AND adviser = ?4
               AND day = ?5 AND about = ?6 AND kind != 'test' LIMIT 1",
        )?
        .query_row(
            params![
                line.mail,
                line.kind,
                line.person,
                line.adviser,
                line.day,
                line.about
            ],
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
        .optional()?)
}

fn enter_told(connection: &Connection, line: &Line, mail: &str) -> Result<(), StoreError> {
    let mut insert = connection.prepare_cached(
        "INSERT OR IGNORE INTO told
           (season, block, insect, event, person, revision, value, day, mail, change, step)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
    )?;
    for row in &line.told {
        insert.execute(params![
            row.season,
            row.block,
            row.insect,
            row.event,
            line.person,
            row.revision,
            row.value,
            line.day,
            mail,
            row.change,
            row.step
        ])?;
    }
    Ok(())
}

/// The mails that were handed over since an instant, without what they told.
fn sent(connection: &Connection, since: i64) -> Result<Vec<Line>, StoreError> {
    let mut mails = connection.prepare_cached(
        "SELECT message_id, kind, person, adviser, day, sent_at, about FROM outbox
         WHERE state = 'sent' AND sent_at >= ?1 AND kind NOT IN ('records', 'operator', 'test')
         ORDER BY sent_at, place",
    )?;
    let lines = mails.query_map([since], line)?;
    Ok(lines.collect::<Result<_, _>>()?)
}

/// Adds to mails their rows of the ledger, and how much was entered.
fn add_told(connection: &Connection, lines: &mut [Line]) -> Result<(), StoreError> {
    if lines.is_empty() {
        return Ok(());
    }
    let entered = entered(connection)?;
    let mut rows = connection.prepare_cached(
        "SELECT mail, season, block, insect, event, revision, value, change, step FROM told WHERE mail = ?1",
    )?;
    for line in lines {
        line.entered = Some(entered);
        let told = rows.query_map([&line.mail], told_row)?;
        line.told = told.collect::<Result<_, _>>()?;
    }
    Ok(())
}

fn line(row: &Row<'_>) -> rusqlite::Result<Line> {
    Ok(Line {
        mail: row.get(0)?,
        kind: row.get(1)?,
        person: row.get(2)?,
        adviser: row.get(3)?,
        day: row.get(4)?,
        sent_at: row.get(5)?,
        about: row.get(6)?,
        entered: None,
        set_aside: false,
        told: Vec::new(),
    })
}

fn told_row(row: &Row<'_>) -> rusqlite::Result<ToldRow> {
    Ok(ToldRow {
        season: row.get(1)?,
        block: row.get(2)?,
        insect: row.get(3)?,
        event: row.get(4)?,
        revision: row.get(5)?,
        value: row.get(6)?,
        change: row.get(7)?,
        step: row.get(8)?,
    })
}

#[cfg(test)]
mod tests;
