//! Alerts that wait, in words: for the digest, `status` and `alerts`.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{InHand, Leaves, Obstacle, Queue, QueuedMail, leaves};
use rusqlite::Connection;

use crate::config::Config;
use crate::mail::contents::MailContents;
use crate::store::alerts::{self, WaitingAlert};
use crate::store::{StoreError, outbox};

/// Alerts that wait, each with an id short enough to type.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct WaitingAlerts {
    /// Oldest first.
    pub alerts: Vec<WaitingAlert>,
    /// The short id of each.
    pub ids: Vec<String>,
    queue: Queue,
}

impl WaitingAlerts {
    /// Reads them.
    ///
    /// # Errors
    /// A failing statement.
    pub fn read(connection: &Connection) -> Result<Self, StoreError> {
        let queue = outbox::read_queue(connection)?;
        let alerts = alerts::waiting(connection, &queue)?;
        let ids = alerts.iter();
        let ids = ids.map(|alert| short_id(&alerts, &alert.mail)).collect();
        Ok(Self { ids, alerts, queue })
    }

    /// Each with its short id.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &WaitingAlert)> {
        self.ids.iter().map(String::as_str).zip(&self.alerts)
    }

    /// Those that a person's id, a short id or a Message-ID means.
    #[must_use]
    pub fn meant(&self, who: &str) -> Vec<(&str, &WaitingAlert)> {
        let is_meant = |(id, alert): &(&str, &WaitingAlert)| {
            let mail = &alert.mail;
            let long_id = mail.message_id.trim_matches(['<', '>']);
            *id == who || long_id == who || mail.person.as_str() == who
        };
        self.iter().filter(is_meant).collect()
    }

    /// When one of them leaves.
    #[must_use]
    pub fn leaves(&self, config: &Config, alert: &WaitingAlert, now: DateTime<Utc>) -> String {
        match leaves(&alert.mail, &self.queue, now) {
            Leaves::Held { since, by } => format!("held since {} by {by}", local(config, since)),
            Leaves::Behind { message_id } => format!("after {}", self.id_of(&message_id)),
            Leaves::AfterDigest { hold, latest } => format!(
                "{} h after the digest is sent, on {} at the latest",
                hold.num_hours(),
                local(config, latest)
            ),
            Leaves::NotBefore(at) => local(config, at),
            Leaves::Stuck {
                until,
                because: Obstacle::Recipient,
                ..
            } => local(config, until),
            Leaves::Stuck {
                until,
                because: Obstacle::Way,
                ..
            } => format!(
                "once mail goes out again, tried on {}",
                local(config, until)
            ),
            Leaves::NotComposed { .. } => "once it is composed".to_owned(),
            Leaves::AtOnce { .. } => match &alert.mail.in_hand {
                InHand::Released { by, .. } => format!("at once, released by {by}"),
                _ => "at once".to_owned(),
            },
        }
    }

    /// The short id of a mail, or its Message-ID without its brackets where it is no alert.
    fn id_of<'a>(&'a self, message_id: &'a str) -> &'a str {
        let found = self
            .iter()
            .find(|(_, alert)| alert.mail.message_id == message_id);
        found.map_or(message_id.trim_matches(['<', '>']), |(id, _)| id)
    }

    /// Lines on those that do not leave by themselves, of an adviser's or of all: held ones, and those
    /// behind them.
    #[must_use]
    pub fn held_lines(&self, config: &Config, of: impl Fn(&WaitingAlert) -> bool) -> Vec<String> {
        let of_them = self.iter().filter(|(_, alert)| of(alert));
        of_them
            .filter_map(|(id, alert)| self.held_line(config, id, alert))
            .collect()
    }

    fn held_line(&self, config: &Config, id: &str, alert: &WaitingAlert) -> Option<String> {
        let mail = &alert.mail;
        let what = format!(
            "alert of {} to {}: {}",
            config.words.day(mail.day),
            name(config, &mail.person),
            alert.subject
        );
        if let InHand::Held { since, by } = &mail.in_hand {
            let since = config.words.day(config.day_of(*since));
            return Some(format!(
                "held since {since} by {by}: {what}; to let it go: duskflight alerts release {id}"
            ));
        }
        let held = self.queue.kept_by(mail)?;
        let held = self.id_of(&held.message_id);
        Some(format!("waits behind {held}, which is held: {what}"))
    }
}

/// Lines for an adviser's digest of a civil day: alerts of earlier days that are held.
pub(super) fn lines(
    connection: &Connection,
    config: &Config,
    adviser: &PersonId,
    day: NaiveDate,
) -> Result<Vec<String>, StoreError> {
    let waiting = WaitingAlerts::read(connection)?;
    Ok(waiting.held_lines(config, |alert| {
        let of = alert.mail.adviser.as_ref();
        of.is_none_or(|of| of == adviser) && alert.mail.day < day
    }))
}

/// The person with the month and day of telling, and the adviser, or that it is a summary, where there are
/// several such.
fn short_id(all: &[WaitingAlert], mail: &QueuedMail) -> String {
    let id = format!("{}-{}", mail.person, mail.day.format("%m%d"));
    let same = all
        .iter()
        .filter(|other| other.mail.person == mail.person && other.mail.day == mail.day);
    match &mail.adviser {
        _ if same.count() < 2 => id,
        None => format!("{id}-summary"),
        Some(adviser) => format!("{id}-{adviser}"),
    }
}

/// The lines that were added to an alert, each with who added it.
#[must_use]
pub fn added_lines(alert: &WaitingAlert) -> Vec<String> {
    let contents = alert.contents.as_deref().map(MailContents::from_json);
    let contents = contents.and_then(Result::ok);
    let added = contents.iter().flat_map(MailContents::lines);
    added.map(|(by, line)| format!("{by}: {line}")).collect()
}

/// A person's name, or the id of one who is no longer declared.
#[must_use]
pub fn name<'a>(config: &'a Config, id: &'a PersonId) -> &'a str {
    let person = config.people.iter().find(|person| person.id == *id);
    person.map_or(id.as_str(), |person| &person.name)
}

fn local(config: &Config, at: DateTime<Utc>) -> String {
    let local = at.with_timezone(&config.zone);
    let day = config.words.day(local.date_naive());
    format!("{day} {}", local.format("%H:%M %Z"))
}
