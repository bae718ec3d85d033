//! Single temperatures, vouched for or put right by hand: the one way in for command line and page.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::temperature::Unit;
use duskflight_core::weather::Element;
use rusqlite::Connection;

use crate::config::{Config, Station};
use crate::store::decisions::{self, Decided};
use crate::store::{StoreError, days};

/// Which temperature, and who judges it.
#[derive(Debug, Clone)]
pub struct Judged<'a> {
    /// The station.
    pub station: &'a Station,
    /// The civil day that it is of.
    pub date: NaiveDate,
    /// Which of the day's.
    pub element: Element,
    /// Who decides.
    pub by: String,
    /// The way in, as the history keeps it.
    pub via: &'static str,
}

/// What is decided.
#[derive(Debug, Clone, PartialEq)]
pub enum Judgement {
    /// What was received is true.
    Confirmed,
    /// It was really this.
    Corrected(f64, Unit),
}

/// Why nothing was decided.
#[derive(Debug, thiserror::Error)]
pub enum JudgeError {
    /// What was asked for cannot be done.
    #[error("{0}")]
    Refused(String),
    /// The records.
    #[error("read or write the records")]
    Store(#[from] StoreError),
}

impl Judged<'_> {
    /// Decides it; an earlier decision about it goes to the history.
    ///
    /// # Errors
    /// [`JudgeError`]; then nothing is decided.
    pub fn decide(
        &self,
        connection: &Connection,
        config: &Config,
        judgement: &Judgement,
        why: &str,
        now: DateTime<Utc>,
    ) -> Result<Decided, JudgeError> {
        self.is_over(config, now)?;
        let refused = |why: &str| Err(JudgeError::Refused(why.to_owned()));
        if why.trim().is_empty() || self.by.trim().is_empty() {
            return refused("say who decides, and why");
        }
        let (value, unit) = match judgement {
            Judgement::Corrected(value, unit) => (*value, *unit),
            Judgement::Confirmed => self.received(connection)?,
        };
        let decided = Decided {
            station: self.station.id.to_string(),
            date: self.date,
            element: self.element,
            corrected: matches!(judgement, Judgement::Corrected(..)),
            value,
            unit,
            why: why.trim().to_owned(),
            by: self.by.clone(),
        };
        if !decided.is_plausible() {
            return Err(JudgeError::Refused(format!(
                "{value} {}: no thermometer in the region has shown that",
                unit.symbol()
            )));
        }
        decisions::enter(connection, &decided, self.via, now)?;
        Ok(decided)
    }

    /// Takes back what was decided.
    ///
    /// # Errors
    /// [`JudgeError`]: nothing was, or the records cannot be written.
    pub fn take_back(&self, connection: &Connection, now: DateTime<Utc>) -> Result<(), JudgeError> {
        let id = self.station.id.as_str();
        match decisions::withdraw(connection, id, self.date, self.element, &self.by, now)? {
            true => Ok(()),
            false => Err(JudgeError::Refused(format!(
                "nothing was decided about the {} of {} at {id}",
                self.element.words(),
                self.date
            ))),
        }
    }

    fn is_over(&self, config: &Config, now: DateTime<Utc>) -> Result<(), JudgeError> {
        let today = config.day_of(now);
        match self.date < today {
            true => Ok(()),
            false => Err(JudgeError::Refused(format!(
                "{}: the day is not over yet; today is {today} in {}",
                self.date, config.zone
            ))),
        }
    }

    /// What the feed sent.
    fn received(&self, connection: &Connection) -> Result<(f64, Unit), JudgeError> {
        let boundary = self.station.facts.day_boundary;
        let label = boundary.label_of(self.element, self.date);
        let received = days::one(connection, &self.station.id, label)?;
        let value = received.and_then(|day| {
            let value = match self.element {
                Element::Min => day.min,
                Element::Max => day.max,
            };
            Some((value?, day.unit))
        });
        value.ok_or_else(|| {
            JudgeError::Refused(format!(
                "{} has sent no {} for {}; there is nothing to confirm, correct it instead",
                self.station.id,
                self.element.words(),
                self.date
            ))
        })
    }
}
