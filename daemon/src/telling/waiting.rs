//! Alerts that wait, in words: for the digest, `status` and `alerts`.

use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::Connection;

use crate::config::Config;
use crate::store::StoreError;
use crate::store::alerts::{self, Leaves, WaitingAlert};

/// Alerts that wait, each with an id short enough to type.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WaitingAlerts {
    /// Oldest first.
    pub alerts: Vec<WaitingAlert>,
    /// The short id of each.
    pub ids: Vec<String>,
}

impl WaitingAlerts {
    /// Reads them.
    ///
    /// # Errors
    /// A failing statement.
    pub fn read(connection: &Connection) -> Result<Self, StoreError> {
        let alerts = alerts::waiting(connection)?;
        let ids = alerts.iter().map(|alert| short_id(&alerts, alert));
        Ok(Self {
            ids: ids.collect(),
            alerts,
        })
    }

    /// Each with its short id.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &WaitingAlert)> {
        self.ids.iter().map(String::as_str).zip(&self.alerts)
    }

    /// Those that a person's id, a short id or a Message-ID means.
    #[must_use]
    pub fn meant(&self, who: &str) -> Vec<(&str, &WaitingAlert)> {
        let is_meant = |(id, alert): &(&str, &WaitingAlert)| {
            *id == who || alert.message_id == who || alert.person == who
        };
        self.iter().filter(is_meant).collect()
    }

    /// When one of them leaves.
    #[must_use]
    pub fn leaves(&self, config: &Config, alert: &WaitingAlert, now: DateTime<Utc>) -> String {
        match &alert.leaves {
            Leaves::Held { since, by } => format!("held since {} by {by}", local(config, *since)),
            Leaves::Behind { message_id } => format!("after {}", self.id_of(message_id)),
            Leaves::AfterDigest { hold_s, latest } => format!(
                "{} h after the digest is sent, on {} at the latest",
                hold_s / 3600,
                local(config, *latest)
            ),
            Leaves::At(at) if *at <= now => "at once".to_owned(),
            Leaves::At(at) => local(config, *at),
        }
    }

    /// The short id of a mail, or its Message-ID where it is no alert.
    fn id_of<'a>(&'a self, message_id: &'a str) -> &'a str {
        let found = self
            .iter()
            .find(|(_, alert)| alert.message_id == message_id);
        found.map_or(message_id, |(id, _)| id)
    }

    /// Lines on those that do not leave by themselves, of an adviser's or of all: held ones, and those
    /// behind them.
    #[must_use]
    pub fn held_lines(&self, config: &Config, of: impl Fn(&WaitingAlert) -> bool) -> Vec<String> {
        let held = self.iter().filter(|(_, alert)| of(alert));
        held.filter_map(|(id, alert)| {
            let what = format!(
                "alert of {} to {}: {}",
                config.words.day(alert.day),
                name(config, &alert.person),
                alert.subject
            );
            match &alert.leaves {
                Leaves::Held { since, by } => Some(format!(
                    "held since {} by {by}: {what}; to let it go: duskflight alerts release {id}",
                    config.words.day(config.day_of(*since))
                )),
                Leaves::Behind { message_id } if self.is_held(message_id) => Some(format!(
                    "waits behind {}, which is held: {what}",
                    self.id_of(message_id)
                )),
                _ => None,
            }
        })
        .collect()
    }

    fn is_held(&self, message_id: &str) -> bool {
        self.alerts.iter().any(|alert| {
            alert.message_id == message_id && matches!(alert.leaves, Leaves::Held { .. })
        })
    }
}

/// Lines for an adviser's digest of a civil day: alerts of earlier days that are held.
pub(super) fn lines(
    connection: &Connection,
    config: &Config,
    adviser: &str,
    day: NaiveDate,
) -> Result<Vec<String>, StoreError> {
    let waiting = WaitingAlerts::read(connection)?;
    Ok(waiting.held_lines(config, |alert| {
        let concerns = alert.adviser == adviser || alert.adviser.is_empty();
        concerns && alert.day < day
    }))
}

/// The person with the month and day of telling, and the adviser, or that it is a summary, where there are
/// several such.
fn short_id(all: &[WaitingAlert], alert: &WaitingAlert) -> String {
    let id = format!("{}-{}", alert.person, alert.day.format("%m%d"));
    let same = all
        .iter()
        .filter(|other| other.person == alert.person && other.day == alert.day);
    if same.count() > 1 {
        match alert.adviser.as_str() {
            "" => format!("{id}-summary"),
            adviser => format!("{id}-{adviser}"),
        }
    } else {
        id
    }
}

/// A person's name, or the id of one who is no longer declared.
#[must_use]
pub fn name<'a>(config: &'a Config, id: &'a str) -> &'a str {
    let person = config.people.iter().find(|person| person.id.as_str() == id);
    person.map_or(id, |person| &person.name)
}

fn local(config: &Config, at: DateTime<Utc>) -> String {
    let local = at.with_timezone(&config.zone);
    let day = config.words.day(local.date_naive());
    format!("{day} {}", local.format("%H:%M %Z"))
}
