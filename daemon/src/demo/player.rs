//! Plays a season night by night: fetch, tell, deliver in the morning, entries in the evening.

use std::path::Path;
use std::sync::Arc;

use chrono::{DateTime, Days, NaiveDate, NaiveTime, TimeDelta, Utc};

use super::answers;
use super::farm::{Entry, InventedFarm, Kind, SCOUT, invent, station_record};
use super::feed_server::FeedServer;
use super::files;
use crate::clock::{Clock, SetClock, at_local};
use crate::config::{Config, ConfigError};
use crate::feed::{Caller, Client, ClientError, Limits};
use crate::inbox::folder::{FolderError, Seen};
use crate::records::{self, ImportError, Origin, Pauses};
use crate::runner::jobs::Workshop;
use crate::runner::{Lock, LockError};
use crate::store::answers::set_mark_key;
use crate::store::jobs::{self, Job, RunState};
use crate::store::{Store, StoreError};
use crate::telling::{TellError, Told};

/// When the evening's sheets are entered.
const EVENING: NaiveTime = NaiveTime::from_hms_opt(20, 0, 0).expect("a time of day");
/// A grower's alert leaves so long after its hold has passed, when the next tick comes.
const A_LITTLE: TimeDelta = TimeDelta::minutes(1);

/// Why the demo cannot be played.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The record does not cover the year and enough years before it.
    #[error("play the year {year}: the station's record allows {first} to {last}")]
    Year {
        /// The year asked for.
        year: i32,
        /// The first that can be played.
        first: i32,
        /// The last that can be played.
        last: i32,
    },
    /// A file cannot be written.
    #[error("write the demo farm into {dir}")]
    Files {
        /// The folder.
        dir: String,
        /// Why.
        source: std::io::Error,
    },
    /// The loopback feed cannot be started.
    #[error("start the demo's feed on the loopback address")]
    Feed(#[source] std::io::Error),
    /// The folder holds a farm already, and not this demo's.
    #[error("play {year} in {dir}: another farm or year is there; name another folder with --dir")]
    OtherFarm {
        /// The year asked for.
        year: i32,
        /// The folder.
        dir: String,
    },
    /// Another process plays there.
    #[error("play the demo")]
    Lock(#[from] LockError),
    /// The HTTP client.
    #[error("prepare the HTTP client")]
    Client(#[from] ClientError),
    /// The demo's own configuration.
    #[error("read the demo's own configuration")]
    Config(#[from] ConfigError),
    /// The records.
    #[error("read or write the records")]
    Store(#[from] StoreError),
    /// A sheet.
    #[error("enter a sheet")]
    Import(#[from] ImportError),
    /// An answer.
    #[error("take an answer")]
    Answer(#[from] FolderError),
    /// A telling.
    #[error("tell a night")]
    Tell(#[from] TellError),
}

/// Hears of every night played.
pub trait Observer {
    /// A civil day was told and its mails delivered.
    fn night(
        &mut self,
        day: NaiveDate,
        workshop: &Workshop,
    ) -> impl Future<Output = Result<(), DemoError>>;
}

/// A season that was played.
#[derive(Debug)]
pub struct Played {
    /// The configuration of the invented farm.
    pub config: Arc<Config>,
    /// Its records.
    pub store: Store,
    /// The last civil day told.
    pub last: NaiveDate,
}

/// First and last year that can be played: the record needs past years to project with, and a
/// whole season.
const YEARS: std::ops::RangeInclusive<i32> = 2003..=2022;

/// What marks of mails are made with, so that a season played again is the same to the byte. Nobody outside gets any.
const MARK_KEY: [u8; 32] = *b"the marks of an invented orchard";

/// Plays the season of `year` in `dir`. A season that was cut short goes on where it stopped.
///
/// # Errors
/// [`DemoError`].
pub async fn play(
    dir: &Path,
    year: i32,
    observer: &mut impl Observer,
) -> Result<Played, DemoError> {
    if !YEARS.contains(&year) {
        return Err(DemoError::Year {
            year,
            first: *YEARS.start(),
            last: *YEARS.end(),
        });
    }
    let record = station_record();
    let farm = invent(&record, year);
    let feed = FeedServer::start(record, year)
        .await
        .map_err(DemoError::Feed)?;
    let dir_text = || dir.display().to_string();
    let failed = |source| DemoError::Files {
        dir: dir_text(),
        source,
    };
    if files::holds_another_farm(dir, year).map_err(failed)? {
        return Err(DemoError::OtherFarm {
            year,
            dir: dir_text(),
        });
    }
    files::write(dir, &farm, year, &feed.base_url()).map_err(failed)?;
    let config = Arc::new(Config::read(dir)?);
    let _lock = Lock::take(&config.database)?;
    let clock = Arc::new(SetClock::default());
    let workshop = Workshop {
        store: Store::create(&config.database)?,
        config: Arc::clone(&config),
        client: Arc::new(Client::new(Limits::default(), Caller::default())?),
        clock: Arc::clone(&clock) as Arc<dyn Clock>,
    };
    let marked = workshop.store.write(|t| set_mark_key(t, &MARK_KEY));
    marked.await?;
    let season = Season {
        year,
        farm,
        feed,
        workshop,
        clock,
    };
    let last = season.play(observer).await?;
    Ok(Played {
        config,
        store: season.workshop.store,
        last,
    })
}

struct Season {
    year: i32,
    farm: InventedFarm,
    feed: FeedServer,
    workshop: Workshop,
    clock: Arc<SetClock>,
}

impl Season {
    fn day(&self, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(self.year, month, day).expect("the season's ends are real days")
    }

    async fn play(&self, observer: &mut impl Observer) -> Result<NaiveDate, DemoError> {
        let config = &self.workshop.config;
        let first = self.day(config.season_from.month, config.season_from.day);
        let last = self.day(config.season_to.month, config.season_to.day);
        self.enter(|entry| entry.entered_on < first).await?;
        for day in first.iter_days().take_while(|day| *day <= last) {
            self.morning(day).await?;
            observer.night(day, &self.workshop).await?;
            // Where a season is taken up again, an evening whose next morning was told is over: what is owed since is of later.
            let is_over = self.is_done(Job::Tell, day + Days::new(1)).await?;
            if !is_over {
                self.enter(|entry| entry.entered_on == day).await?;
            }
        }
        Ok(last)
    }

    /// One civil day as the daemon would do it, each job at its hour.
    async fn morning(&self, day: NaiveDate) -> Result<(), DemoError> {
        let digest = self.workshop.config.digest_instant(day);
        let hold = TimeDelta::hours(i64::from(self.workshop.config.hold_hours));
        if !self.is_done(Job::Fetch, day).await? {
            self.feed.set_today(day);
            self.clock.set(digest - TimeDelta::hours(2));
            self.workshop.fetch(Job::Fetch, day, None).await?;
        }
        match self.workshop.tell(day, false, digest).await {
            // A season that is taken up again passes over the nights that are done.
            Ok(Told::Before | Told::Missing { .. } | Told::Now { .. })
            | Err(TellError::Past { .. }) => {}
            Err(error) => return Err(error.into()),
        }
        for at in [digest + A_LITTLE, digest + A_LITTLE + hold + A_LITTLE] {
            self.clock.set(at);
            self.workshop.deliver().await?;
        }
        Ok(())
    }

    async fn is_done(&self, job: Job, day: NaiveDate) -> Result<bool, StoreError> {
        let run = self
            .workshop
            .store
            .read(move |c| jobs::run(c, job, day))
            .await?;
        Ok(run.is_some_and(|run| run.state == RunState::Done))
    }

    async fn enter(&self, wanted: impl Fn(&Entry) -> bool) -> Result<(), DemoError> {
        for entry in self.farm.entries.iter().filter(|entry| wanted(entry)) {
            let kind = match entry.kind {
                Kind::Visits => records::Kind::Visits,
                Kind::Notes => records::Kind::Notes,
            };
            let origin = Origin {
                file: entry.via_file.clone(),
                by: self.adviser_name(),
                sure: false,
            };
            self.clock.set(self.evening(entry.entered_on));
            let entry = self.answered(entry).await?;
            let Workshop {
                store,
                config,
                clock,
                ..
            } = &self.workshop;
            records::import(store, config, kind, &entry.csv, &origin, clock).await?;
        }
        Ok(())
    }

    /// What is left of a sheet once the scout has answered the round mail of its day.
    async fn answered(&self, entry: &Entry) -> Result<Entry, DemoError> {
        let config = &self.workshop.config;
        let scout = config
            .people
            .iter()
            .find(|person| person.id.as_str() == SCOUT);
        let Some(scout) = scout else {
            return Ok(entry.clone());
        };
        let round = answers::round(&self.workshop, scout, entry.entered_on).await?;
        let parted = round.and_then(|round| {
            let (text, rest) = round.part(entry, scout.language)?;
            Some((round, text, rest))
        });
        let Some((round, text, rest)) = parted else {
            return Ok(entry.clone());
        };
        let at = self.evening(entry.entered_on);
        let sent = round.send(config, scout, &text, at);
        sent.map_err(|source| DemoError::Files {
            dir: config.dir.display().to_string(),
            source,
        })?;
        let mut seen = Seen::default();
        self.workshop.take_answers(&mut seen, Pauses::NONE).await?;
        self.clock.set(at + A_LITTLE);
        self.workshop.deliver().await?;
        Ok(rest)
    }

    fn adviser_name(&self) -> String {
        self.farm
            .people
            .first()
            .map_or_else(String::new, |person| person.name.to_owned())
    }

    fn evening(&self, day: NaiveDate) -> DateTime<Utc> {
        at_local(self.workshop.config.zone, day, EVENING)
    }
}
