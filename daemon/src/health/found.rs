//! What the records say of the work.

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::ledger::MissingRecords;
use rusqlite::Connection;

use crate::config::{Config, Station};
use crate::store::answers_aside::{self, AnswerAside};
use crate::store::jobs::{Job, Run};
use crate::store::journal::{self, JournalError};
use crate::store::{StoreError, clock_doubt, days, jobs, outbox_report, set_aside};
use crate::telling::waiting::WaitingAlerts;

/// What the records say.
#[derive(Debug, Clone)]
pub struct Found {
    pub(super) stations: Vec<(String, Option<NaiveDate>)>,
    pub(super) failing: Vec<(String, String)>,
    pub(super) aside: Vec<AnswerAside>,
    pub(super) runs: Vec<(Job, Option<Run>)>,
    /// The newest day that was told.
    pub(super) told: Option<NaiveDate>,
    pub(super) outbox: outbox_report::Standing,
    pub(super) waiting: WaitingAlerts,
    pub(super) missing: Option<MissingRecords>,
    /// Why the clock is not believed.
    pub(super) doubt: Option<String>,
    /// What is dated later than now, each with how often.
    pub(super) ahead: Vec<(&'static str, u32)>,
}

impl Found {
    /// Reads it, and looks at the journal beside the records.
    ///
    /// # Errors
    /// When the records or the journal cannot be read.
    pub fn read(
        connection: &Connection,
        config: &Config,
        now: DateTime<Utc>,
    ) -> Result<Self, JournalError> {
        let newest = |station: &Station| {
            let newest = days::newest_complete(connection, &station.id)?;
            Ok((station.name.clone(), newest))
        };
        let stations = config.stations.iter().map(newest);
        let runs = Job::ALL
            .into_iter()
            .map(|job| Ok((job, jobs::newest(connection, job, false)?)));
        Ok(Self {
            stations: stations.collect::<Result<_, StoreError>>()?,
            runs: runs.collect::<Result<_, StoreError>>()?,
            told: jobs::newest(connection, Job::Tell, true)?.map(|run| run.day),
            failing: days::failing(connection)?.into_iter().collect(),
            aside: answers_aside::all(connection)?,
            outbox: outbox_report::standing(connection)?,
            waiting: WaitingAlerts::read(connection)?,
            missing: journal::missing(connection, &journal::path_beside(&config.database))?,
            doubt: clock_doubt::read(connection)?.map(|(_, why)| why),
            ahead: set_aside::owed(connection, config.day_of(now), now)?,
        })
    }

    /// Leaves out single mails, for who does not see all blocks: they name people and what they are told.
    pub fn leave_out_mails(&mut self) {
        self.waiting = WaitingAlerts::default();
        self.outbox.errors.clear();
        self.outbox.given_up.clear();
        self.outbox.unknown.clear();
    }
}
