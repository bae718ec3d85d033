//! The scout's readings of some weeks, sent as answers to the round mails in place of sheets.

use std::collections::BTreeSet;
use std::path::Path;
use std::{fs, io};

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::TrapId;
use duskflight_core::ledger::{MailIdentity, MailKind};
use duskflight_core::orchard::Part;
use duskflight_core::wording::language::Language;

use super::farm::{Entry, Kind, answering};
use crate::config::{Config, Person};
use crate::mail::answerable::Answerable;
use crate::mail::contents::MailContents;
use crate::mail::mark::MarkKey;
use crate::runner::jobs::Workshop;
use crate::store::{StoreError, answers, made, outbox};

/// A round mail as its reader answers it.
pub(super) struct Round {
    message_id: String,
    reply_to: String,
    traps: BTreeSet<TrapId>,
}

/// The round that the scout was mailed on a day, where that is one of the weeks in which they answer.
///
/// # Errors
/// When the records cannot be read.
pub(super) async fn round(
    workshop: &Workshop,
    scout: &Person,
    day: NaiveDate,
) -> Result<Option<Round>, StoreError> {
    if !answering(day) {
        return Ok(None);
    }
    let (config, person) = (workshop.config.clone(), scout.id.clone());
    workshop
        .store
        .read(move |c| {
            let made = made::of_day(c, day)?;
            let is_it =
                |mail: &&MailIdentity| mail.kind == MailKind::Round && mail.person == person;
            let Some(mail) = made.iter().find(is_it) else {
                return Ok(None);
            };
            let key = MarkKey::new(answers::mark_key(c)?);
            let Answerable {
                message_id,
                address,
                ..
            } = Answerable::of(&config, &key, mail);
            let contents = outbox::contents_of_identity(c, mail)?;
            let contents = contents.and_then(|json| MailContents::from_json(&json).ok());
            Ok(address.zip(contents).map(|(reply_to, contents)| Round {
                message_id,
                reply_to,
                traps: contents.asked_traps().into_iter().collect(),
            }))
        })
        .await
}

impl Round {
    /// Parts a sheet into what the scout answers and what is left of it; `None` where nothing of it is on the round.
    pub(super) fn part(&self, entry: &Entry, language: Language) -> Option<(String, Entry)> {
        if entry.kind != Kind::Visits {
            return None;
        }
        let (head, rows) = entry.csv.split_once('\n')?;
        let on_round = |row: &&str| {
            let mut cells = row.split(',');
            let day = cells.next();
            let trap = cells.next().and_then(|id| TrapId::new(id).ok());
            // A sheet that was late is about another round.
            day == Some(&*entry.entered_on.to_string())
                && trap.is_some_and(|trap| self.traps.contains(&trap))
        };
        let (answered, left): (Vec<&str>, Vec<&str>) = rows.lines().partition(on_round);
        let lines: Vec<String> = answered.iter().map(|row| line(row, language)).collect();
        let left: String = left.iter().map(|row| format!("{row}\n")).collect();
        (!lines.is_empty()).then(|| {
            let rest = Entry {
                csv: format!("{head}\n{left}"),
                ..entry.clone()
            };
            (lines.join("\r\n"), rest)
        })
    }

    /// Lays the answer into the folder that is looked through.
    ///
    /// # Errors
    /// When it cannot be written.
    pub(super) fn send(
        &self,
        config: &Config,
        scout: &Person,
        text: &str,
        at: DateTime<Utc>,
    ) -> io::Result<()> {
        let Some(folder) = config
            .inbox
            .as_ref()
            .and_then(|inbox| inbox.folder.as_ref())
        else {
            return Ok(());
        };
        let date = at.with_timezone(&config.zone);
        let (from, to, answered) = (&scout.email, &self.reply_to, &self.message_id);
        let (date, day) = (date.to_rfc2822(), date.date_naive());
        let message = format!(
            "From: {name} <{from}>\r\nTo: <{to}>\r\nSubject: Re: recorrido\r\nDate: {date}\r\n\
             Message-ID: <answer.{day}@phone.example>\r\nIn-Reply-To: {answered}\r\nMIME-Version: 1.0\r\n\
             Content-Type: text/plain; charset=utf-8\r\n\r\n{text}\r\n",
            name = scout.name,
        );
        lay(folder, &format!("{day}.eml"), message.as_bytes())
    }
}

fn lay(folder: &Path, name: &str, bytes: &[u8]) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    fs::write(folder.join(name), bytes)
}

/// A row of a sheet as somebody writes it on a phone: `C1-E2 12 cebo # rama rota`.
fn line(row: &str, language: Language) -> String {
    let cells: Vec<&str> = row.split(',').collect();
    let cell = |at: usize| cells.get(at).copied().unwrap_or_default();
    let words = &language.words().answer;
    let first = |words: &[&'static str]| words.first().copied().unwrap_or_default();
    let mut line = vec![cell(1).to_owned()];
    line.extend(
        [2, 3]
            .map(cell)
            .into_iter()
            .filter(|count| !count.is_empty())
            .map(str::to_owned),
    );
    for (at, sex) in [(4, first(words.males)), (5, first(words.females))] {
        if !cell(at).is_empty() {
            line.push(format!("{}{sex}", cell(at)));
        }
    }
    if cell(6) == "no" {
        line.push(first(words.unreadable).to_owned());
    }
    let parts = cell(7).split_whitespace().filter_map(Part::from_name);
    line.extend(parts.map(|part| first(words.parts[part as usize]).to_owned()));
    if !cell(8).is_empty() {
        line.push(format!("# {}", cell(8)));
    }
    line.join(" ")
}
