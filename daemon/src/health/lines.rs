//! How the work stands, a line for each thing.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;

use super::found::Found;
use crate::config::Config;
use crate::records::dropped_trouble;
use crate::store::jobs::{Run, RunState};
use crate::store::{disk_space, outbox_report};

/// Three mornings with a digest come within three weeks, also off the season.
const LOOK_AHEAD_DAYS: usize = 22;

/// What a warning about the configuration is called.
pub const WARNING: &str = "configuration: warning";

/// What something is, and how it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// What it is.
    pub what: String,
    /// How it stands.
    pub words: String,
}

/// How all stands, in the order in which one looks for it.
#[must_use]
pub fn lines(config: &Config, found: &Found, now: DateTime<Utc>) -> Vec<Line> {
    let mut text = Vec::new();
    line(&mut text, "configuration", "no errors");
    if let Some(missing) = &found.missing {
        let words = config.words.missing_records(missing);
        line(
            &mut text,
            "records",
            &format!("{words} See `duskflight accept-records`"),
        );
    }
    for warning in &config.warnings {
        line(&mut text, WARNING, &warning.what);
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
                "{} to {}: {}; see `duskflight feed aside`",
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
    text
}

fn line(lines: &mut Vec<Line>, what: &str, words: &str) {
    lines.push(Line {
        what: what.to_owned(),
        words: words.to_owned(),
    });
}

/// What is wrong with the clock, or was.
pub(super) fn clock_words(found: &Found) -> impl Iterator<Item = String> {
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

/// A run in words.
#[must_use]
pub fn run_words(config: &Config, run: &Run) -> String {
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

/// How the outbox stands, in words.
#[must_use]
pub fn outbox_words(zone: Tz, standing: &outbox_report::Standing, now: DateTime<Utc>) -> String {
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
#[must_use]
pub fn trouble_words(zone: Tz, standing: &outbox_report::Standing) -> Vec<String> {
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
pub fn next_digests(config: &Config, now: DateTime<Utc>) -> impl Iterator<Item = DateTime<Utc>> {
    let mornings = config.day_of(now).iter_days();
    mornings
        .take(LOOK_AHEAD_DAYS)
        .filter(|day| config.pace_on(*day).is_some())
        .map(|day| config.digest_instant(day))
        .filter(move |at| *at > now)
        .take(3)
}

/// An instant in a zone, with its offset.
#[must_use]
pub fn local(zone: Tz, at: DateTime<Utc>) -> String {
    at.with_timezone(&zone)
        .format("%Y-%m-%d %H:%M %Z (%:z)")
        .to_string()
}
