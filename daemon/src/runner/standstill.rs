//! A standstill: the records cannot be used and that lasts, so nothing is fetched, taken in, told or sent until they
//! can. Whoever looks after the box hears of it by mails that need no database.

use std::time::Duration;

use chrono::{DateTime, NaiveDate, Utc};
use tokio::sync::Notify;
use tokio::time::Instant;

use super::jobs::Tools;
use super::operator;
use super::service_manager;
use crate::config::Config;
use crate::error_chain::error_chain;
use crate::mail::delivery::deliver;
use crate::mail::render::render;
use crate::mail::transport::Transport;
use crate::one_line::one_line;
use crate::store::{Store, StoreError, Unusable, backup, disk_space};

/// The records are tried again so often.
const TRY_AGAIN: Duration = Duration::from_secs(10 * 60);
/// The log says so often that it lasts.
const SAY_AGAIN: Duration = Duration::from_secs(60 * 60);

/// What was said of standstills, so that one that comes and goes says no more than one that stays.
#[derive(Debug)]
pub(super) struct Standstill {
    /// Mails wait here and nowhere else.
    memory: Store,
    /// Since when, for the mail that says that it is over.
    since: Option<DateTime<Utc>>,
    /// The civil day of the last mail.
    mailed: Option<NaiveDate>,
    logged: Option<(Unusable, Instant)>,
}

impl Standstill {
    /// # Errors
    /// When there is no memory for its mails.
    pub(super) fn new() -> Result<Self, StoreError> {
        Ok(Self {
            memory: Store::in_memory()?,
            since: None,
            mailed: None,
            logged: None,
        })
    }

    /// Waits until the records are worth another try. On a full disk the oldest copies of them go first.
    pub(super) async fn wait(
        &mut self,
        unusable: Unusable,
        why: &str,
        tools: &Tools,
        nudge: &Notify,
        alive: impl Fn(&str),
    ) {
        let is_full =
            || unusable == Unusable::Full && disk_space::is_used_up(&tools.config.database);
        if unusable == Unusable::Full {
            let removed = backup::make_room(&tools.config.database, disk_space::LEAST);
            if removed > 0 {
                tracing::warn!(removed, "the disk is full: the oldest backups were removed");
            }
            if removed > 0 && !is_full() {
                return;
            }
        }
        loop {
            self.log(unusable, why);
            let mailing = self.mail(unusable, why, tools);
            beating(unusable, &alive, mailing).await;
            let pause = async {
                tokio::select! {
                    () = tokio::time::sleep(TRY_AGAIN) => {}
                    () = nudge.notified() => {}
                }
            };
            beating(unusable, &alive, pause).await;
            if !is_full() {
                return;
            }
        }
    }

    /// The records can be used again: says so to whoever had a mail that they cannot.
    ///
    /// # Errors
    /// When the records cannot be written after all.
    pub(super) async fn is_over(&mut self, store: &Store, tools: &Tools) -> Result<(), StoreError> {
        let Some(since) = self.since else {
            return Ok(());
        };
        let (config, now) = (tools.config.clone(), tools.clock.now());
        let line = format!(
            "They could not be used since {}.",
            config.moment_words(since)
        );
        let headline = "Again well: the records".to_owned();
        store
            .write(move |t| operator::say(t, &config, "records again", headline, vec![line], now))
            .await?;
        self.since = None;
        tracing::info!("the records can be used again");
        Ok(())
    }

    fn log(&mut self, unusable: Unusable, why: &str) {
        let is_said =
            |(said, at): (Unusable, Instant)| said == unusable && at.elapsed() < SAY_AGAIN;
        if !self.logged.is_some_and(is_said) {
            tracing::error!(why, "{}", unusable.words());
            self.logged = Some((unusable, Instant::now()));
        }
    }

    /// Makes the day's mail and sends what waits. A mail that cannot leave is tried again the next time, and by a clock
    /// that cannot be right none is dated.
    async fn mail(&mut self, unusable: Unusable, why: &str, tools: &Tools) {
        let now = tools.clock.now();
        if now < tools.clock.earliest() {
            return;
        }
        let day = tools.config.day_of(now);
        if self.mailed != Some(day) {
            self.mailed = Some(day);
            self.since.get_or_insert(now);
            let (headline, lines) = words(unusable, why, &tools.config);
            let config = tools.config.clone();
            let queued = self
                .memory
                .write(move |t| operator::say(t, &config, "records", headline, lines, now))
                .await;
            log_failure(queued);
        }
        log_failure(render(&self.memory).await.map(drop));
        let transport = Transport::of(&tools.config, tools.client.heard());
        log_failure(
            deliver(&self.memory, &transport, &*tools.clock)
                .await
                .map(drop),
        );
    }
}

fn log_failure(done: Result<(), StoreError>) {
    if let Err(error) = done {
        tracing::error!(
            error = error_chain(&error),
            "the mail from memory is not made"
        );
    }
}

/// Gives signs of life while something is done or waited for.
async fn beating(unusable: Unusable, alive: impl Fn(&str), work: impl Future<Output = ()>) {
    let mut beat = tokio::time::interval(service_manager::beat(service_manager::USUAL));
    tokio::pin!(work);
    loop {
        tokio::select! {
            () = &mut work => return,
            _ = beat.tick() => alive(unusable.words()),
        }
    }
}

/// What the mail says: what is the matter, and what to do.
fn words(unusable: Unusable, why: &str, config: &Config) -> (String, Vec<String>) {
    let folder = config.database.parent().unwrap_or(&config.database);
    let folder = folder.display();
    let (headline, to_do) = match unusable {
        Unusable::Full => (
            "The disk is full: nothing is recorded or told",
            format!(
                "Make room on the disk of {folder}. Duskflight goes on by itself within ten minutes, and what was due \
                 meanwhile comes then. The oldest backups were removed already, the newest is kept."
            ),
        ),
        Unusable::Failing => (
            "The disk fails: nothing is recorded or told",
            format!(
                "Look at the disk of {folder}: it may be over a quota, read-only since a fault, or dying. Once it can be \
                 written Duskflight goes on by itself. Where it cannot, move the folder to another disk, with the newest \
                 copy of its folder backups in place of a database that cannot be read (duskflight restore latest)."
            ),
        ),
        Unusable::Busy | Unusable::Damaged => (
            "The database is damaged: nothing is told",
            "Stop Duskflight, put the newest copy back with duskflight restore latest, and start it again. The damaged \
             file is kept beside it. Restoring says what is missing since that copy; nobody hears anything twice, and \
             nothing is taken back for it."
                .to_owned(),
        ),
    };
    let until = "Until then no temperatures are fetched, no sheets are taken in and no mails go out but this one, once a day.";
    let met = format!("What was met: {}", one_line(why));
    (headline.to_owned(), vec![to_do, until.to_owned(), met])
}

#[cfg(test)]
mod tests {
    use chrono::TimeDelta;

    use super::*;
    use crate::runner::test_farm::TestFarm;

    fn mails(farm: &TestFarm) -> usize {
        std::fs::read_dir(farm.file("mail")).map_or(0, Iterator::count)
    }

    #[tokio::test]
    async fn it_is_mailed_once_a_day_however_often_it_is_met_and_so_is_its_end() {
        let farm = TestFarm::new("2022-06-20T13:00:00Z");
        let (tools, nudge) = (farm.tools(), Notify::new());
        let mut standstill = Standstill::new().unwrap();
        let seen = std::cell::RefCell::new(Vec::new());
        let alive = |words: &str| seen.borrow_mut().push(words.to_owned());
        let damaged = Unusable::Damaged;
        for (days, expected) in [(0, 1), (0, 1), (1, 2), (0, 2), (0, 2)] {
            farm.clock
                .pass_to(tools.clock.now() + TimeDelta::days(days));
            nudge.notify_one();
            standstill
                .wait(damaged, "page 7", &tools, &nudge, alive)
                .await;
            assert_eq!(mails(&farm), expected);
        }
        assert!(seen.borrow().iter().all(|words| words == damaged.words()));
        assert!(!seen.borrow().is_empty(), "no sign of life");

        let store = tools.open().unwrap().store;
        for _ in 0..2 {
            standstill.is_over(&store, &tools).await.unwrap();
            let queued = "SELECT group_concat(subject, '; ') FROM outbox";
            let queued: Result<String, StoreError> = store
                .read(|c| Ok(c.query_row(queued, [], |row| row.get(0))?))
                .await;
            assert_eq!(queued.unwrap(), "Again well: the records");
        }
    }
}
