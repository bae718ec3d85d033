//! `duskflight status`: whether the work was done.

use std::fmt::Write as _;

use anyhow::Context;
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use clap::Args;
use duskflight_core::ledger::MissingRecords;
use duskflight_core::weather::is_fresh;

use super::Failure;
use super::common::{ConfigDir, print, store_to_read};
use super::people::people;
use crate::clock::{Clock, SystemClock, day_before};
use crate::config::Config;
use crate::records::dropped_trouble;
use crate::store::answers_aside::{self, AnswerAside};
use crate::store::jobs::{Job, Run, RunState};
use crate::store::journal::{self, JournalError};
use crate::store::{StoreError, clock_doubt, days, disk_space, jobs, outbox_report, set_aside};
use crate::telling::waiting::WaitingAlerts;

/// A morning is told within so long of its hour.
const TOLD_WITHIN: TimeDelta = TimeDelta::hours(2);
/// An alert waits for a day and its hold at the longest.
const SENT_WITHIN: TimeDelta = TimeDelta::hours(36);
/// Three mornings with a digest come within three weeks, also off the season.
const LOOK_AHEAD_DAYS: usize = 22;

/// Show the newest day of each station, the last run of each job, and the outbox
#[derive(Debug, Args)]
pub(super) struct Status {
    #[command(flatten)]
    config: ConfigDir,
    /// Say only what is stale, and exit with 75 when anything is: for an outside watcher
    #[arg(long)]
    healthcheck: bool,
}

/// What the records say.
struct Found {
    stations: Vec<(String, Option<NaiveDate>)>,
    failing: Vec<(String, String)>,
    aside: Vec<AnswerAside>,
    runs: Vec<(Job, Option<Run>)>,
    outbox: outbox_report::Standing,
    waiting: WaitingAlerts,
    missing: Option<MissingRecords>,
    /// Why the clock is not believed.
    doubt: Option<String>,
    /// What is dated later than now, each with how often.
    ahead: Vec<(&'static str, u32)>,
}

impl Status {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let now = SystemClock.now();
        let ids: Vec<_> = config
            .stations
            .iter()
            .map(|s| (s.id.clone(), s.name.clone()))
            .collect();
        let store = store_to_read(&config)?;
        let journal = journal::path_beside(&config.database);
        let today = config.day_of(now);
        let found = store
            .read(move |c| {
                let stations = ids
                    .into_iter()
                    .map(|(id, name)| Ok((name, days::newest_complete(c, &id)?)))
                    .collect::<Result<_, StoreError>>()?;
                let runs = Job::ALL
                    .into_iter()
                    .map(|job| Ok((job, jobs::newest(c, job, false)?)))
                    .collect::<Result<_, StoreError>>()?;
                Ok::<_, JournalError>(Found {
                    stations,
                    failing: days::failing(c)?.into_iter().collect(),
                    aside: answers_aside::all(c)?,
                    runs,
                    outbox: outbox_report::standing(c)?,
                    waiting: WaitingAlerts::read(c)?,
                    missing: journal::missing(c, &journal)?,
                    doubt: clock_doubt::read(c)?.map(|(_, why)| why),
                    ahead: set_aside::owed(c, today, now)?,
                })
            })
            .await
            .context("read the records")?;
        if self.healthcheck {
            return healthy(&config, &found, now);
        }
        print(&report(&config, &found, now))
    }
}

/// Health means that work was done: recent temperatures, a told morning, no mail that waits long.
fn healthy(config: &Config, found: &Found, now: DateTime<Utc>) -> Result<(), Failure> {
    let stale = stale(config, found, now);
    if stale.is_empty() {
        return print("healthy\n");
    }
    Err(Failure::try_later(anyhow::anyhow!("{}", stale.join("; "))))
}

fn stale(config: &Config, found: &Found, now: DateTime<Utc>) -> Vec<String> {
    let today = config.day_of(now);
    let mut stale = Vec::new();
    let missing = found.missing.as_ref();
    stale.extend(missing.map(|missing| config.words.missing_records(missing)));
    stale.extend(clock_words(found));
    for (name, newest) in &found.stations {
        let fresh = newest.is_some_and(|day| day <= today && is_fresh(day, today));
        if !fresh {
            let newest = newest.map_or_else(|| "none".to_owned(), |day| day.to_string());
            stale.push(format!("station {name}: newest complete day {newest}"));
        }
    }
    let told = |day| {
        let done = |run: &Run| run.state == RunState::Done && (day..=today).contains(&run.day);
        found
            .runs
            .iter()
            .any(|(job, run)| *job == Job::Tell && run.as_ref().is_some_and(done))
    };
    let due = if now > config.digest_instant(today) + TOLD_WITHIN {
        today
    } else {
        day_before(today)
    };
    if !told(due) {
        stale.push(format!("{due} was not told"));
    }
    if found
        .outbox
        .oldest
        .is_some_and(|oldest| now - oldest > SENT_WITHIN)
    {
        stale.push("a mail has been waiting for more than a day and a half".to_owned());
    }
    stale
}

fn report(config: &Config, found: &Found, now: DateTime<Utc>) -> String {
    let mut text = format!("{}: {}\n", config.farm, local(config.zone, now));
    text.push_str("configuration: no errors\n");
    if let Some(missing) = &found.missing {
        let words = config.words.missing_records(missing);
        line(
            &mut text,
            "records",
            &format!("{words} See `duskflight accept-records`"),
        );
    }
    for warning in &config.warnings {
        line(&mut text, "configuration: warning", &warning.what);
    }
    for words in clock_words(found) {
        line(&mut text, "clock", &words);
    }
    let today = config.day_of(now);
    for (name, newest) in &found.stations {
        let words = newest.map_or_else(
            || "no complete day yet".to_owned(),
            |day| format!("newest complete day {day}, {}", age(today, day)),
        );
        line(&mut text, &format!("station {name}"), &words);
    }
    for (station, error) in &found.failing {
        line(
            &mut text,
            &format!("station {station}"),
            &format!("last fetch failed: {error}"),
        );
    }
    for answer in found.aside.iter().filter(|answer| answer.days.is_some()) {
        line(
            &mut text,
            &format!("station {}", answer.station),
            &format!(
                "{} to {}: {}; see `duskflight feed list`",
                answer.from,
                answer.to,
                answer.words()
            ),
        );
    }
    for (job, run) in &found.runs {
        let words = run
            .as_ref()
            .map_or_else(|| "never run".to_owned(), |run| run_words(config, run));
        line(&mut text, job.name(), &words);
    }
    line(
        &mut text,
        "outbox",
        &outbox_words(config.zone, &found.outbox, now),
    );
    for words in found.waiting.held_lines(config, |_| true) {
        line(&mut text, "alerts", &words);
    }
    for words in trouble_words(config.zone, &found.outbox) {
        line(&mut text, "outbox", &words);
    }
    if let Some(words) = disk_space::trouble(&config.database) {
        line(&mut text, "disk", &words);
    }
    if let Some(words) = config.drop_folder.as_ref().and_then(dropped_trouble) {
        line(&mut text, "drop folder", &words);
    }
    for (who, gets) in people(config, today) {
        line(&mut text, &who, &gets);
    }
    let next: Vec<String> = next_digests(config, now)
        .map(|at| local(config.zone, at))
        .collect();
    line(&mut text, "next digests", &next.join(", "));
    text
}

/// What is wrong with the clock, or was.
fn clock_words(found: &Found) -> impl Iterator<Item = String> {
    let doubt = found.doubt.iter();
    let doubt = doubt.map(|why| format!("the clock is not believed: {why}"));
    let counted = found.ahead.iter();
    let counted: Vec<String> = counted
        .map(|(what, count)| format!("{count} {what}"))
        .collect();
    let ahead = (!counted.is_empty()).then(|| {
        let counted = counted.join(", ");
        format!("{counted} are dated later than now; see `duskflight clock`")
    });
    doubt.chain(ahead)
}

fn age(today: NaiveDate, day: NaiveDate) -> String {
    match (today - day).num_days() {
        ..=-1 => "which has not come yet".to_owned(),
        0 | 1 => "yesterday".to_owned(),
        days => format!("{days} days old"),
    }
}

fn line(text: &mut String, what: &str, words: &str) {
    // Writing to a string cannot fail.
    let _ = writeln!(text, "{what}: {words}");
}

pub(super) fn run_words(config: &Config, run: &Run) -> String {
    let state = match run.state {
        RunState::Running => "begun",
        RunState::Done => "done",
        RunState::Failed => "failed",
    };
    let at = local(config.zone, run.finished.unwrap_or(run.started));
    let error = run
        .error
        .as_ref()
        .map_or_else(String::new, |error| format!(": {error}"));
    format!("{state} for {}, {at}{error}", run.day)
}

pub(super) fn outbox_words(
    zone: Tz,
    standing: &outbox_report::Standing,
    now: DateTime<Utc>,
) -> String {
    let waiting = standing.oldest.map_or_else(String::new, |oldest| {
        let hours = (now - oldest).max(TimeDelta::zero()).num_hours();
        format!(", the oldest for {hours} h")
    });
    let last = standing.last_sent.map_or_else(
        || "none sent yet".to_owned(),
        |at| format!("last sent {}", local(zone, at)),
    );
    let given_up = match (standing.failed, standing.expired) {
        (0, 0) => String::new(),
        (failed, expired) => format!("; {failed} failed, {expired} expired"),
    };
    format!(
        "{} waiting{waiting}; {} sent, {last}{given_up}",
        standing.queued, standing.sent
    )
}

/// What holds mails up, and what became of those given up.
pub(super) fn trouble_words(zone: Tz, standing: &outbox_report::Standing) -> Vec<String> {
    let mut words = Vec::new();
    if let Some(trouble) = &standing.trouble {
        let since = local(zone, trouble.since);
        words.push(format!("no mail goes out since {since}: {}", trouble.error));
        words.extend(
            trouble
                .advice
                .as_ref()
                .map(|advice| format!("to mend: {advice}")),
        );
        words.push(format!("next try {}", local(zone, trouble.next_try)));
    }
    let errors = standing.errors.iter();
    words.extend(errors.map(|error| format!("last error: {error}")));
    let given_up = standing.given_up.iter();
    words.extend(given_up.map(|mail| format!("{} {}", mail.state.name(), mail_words(mail))));
    let unknown = standing.unknown.iter();
    words.extend(unknown.map(|mail| format!("perhaps arrived: {}", mail_words(mail))));
    words
}

fn mail_words(mail: &outbox_report::GivenUp) -> String {
    format!(
        "{} of {} to {}, \"{}\": {}",
        mail.kind.name(),
        mail.day,
        mail.person,
        mail.subject,
        mail.reason
    )
}

/// The next three mornings with a digest.
fn next_digests(config: &Config, now: DateTime<Utc>) -> impl Iterator<Item = DateTime<Utc>> {
    let mornings = config.day_of(now).iter_days();
    mornings
        .take(LOOK_AHEAD_DAYS)
        .filter(|day| config.pace_on(*day).is_some())
        .map(|day| config.digest_instant(day))
        .filter(move |at| *at > now)
        .take(3)
}

fn local(zone: Tz, at: DateTime<Utc>) -> String {
    at.with_timezone(&zone)
        .format("%Y-%m-%d %H:%M %Z (%:z)")
        .to_string()
}
