//! `duskflight replay`: which mails would have gone when, to whom and why.

use std::collections::BTreeMap;

use anyhow::{Context, anyhow};
use chrono::NaiveDate;
use clap::Args;
use duskflight_core::id::PersonId;

use super::Failure;
use super::common::{ConfigDir, print};
use crate::clock::{Clock, SystemClock};
use crate::config::Config;
use crate::telling::replay::{News, ReplayedMail, corrected, replay};
use crate::telling::waiting::name;
use duskflight_core::ledger::{MailKind, MailState};

/// Show which mails would have gone when, to whom and why; nothing is written or sent
///
/// Each day is told again on a copy of the records in memory, from its own morning on what the days before
/// told. It works on what is recorded now: what came in late counts as if it had come in time.
#[derive(Debug, Args)]
pub(super) struct Replay {
    #[command(flatten)]
    config: ConfigDir,
    /// First civil day, YYYY-MM-DD
    #[arg(long, value_name = "DATE")]
    from: NaiveDate,
    /// Last civil day
    #[arg(long, value_name = "DATE")]
    to: NaiveDate,
    /// Only mails to this person
    #[arg(long, value_name = "PERSON")]
    person: Option<PersonId>,
    /// Only count them
    #[arg(long)]
    summary: bool,
    /// As JSON, one entry a mail
    #[arg(long, conflicts_with = "summary")]
    json: bool,
}

const AS_RECORDED_NOW: &str = "Told from what is recorded now: what was revised or entered late counts as if it \
had come in time.\n";

impl Replay {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let today = config.day_of(SystemClock.now());
        if self.from > self.to || self.to > today {
            return Err(Failure::usage(anyhow!(
                "--from {} --to {}: name days in their order, up to today, {today}",
                self.from,
                self.to
            )));
        }
        let mut mails = replay(&config, self.from, self.to)
            .await
            .context("replay")?;
        mails.retain(|mail| {
            self.person
                .as_ref()
                .is_none_or(|person| *person == mail.person)
        });
        if self.json {
            return print(&json(&config, &mails)?);
        }
        let text = if self.summary {
            String::new()
        } else {
            listed(&config, &mails)
        };
        print(&format!(
            "{text}{}{AS_RECORDED_NOW}",
            summary(&config, &mails)
        ))
    }
}

/// One mail after the other, each with its news below.
fn listed(config: &Config, mails: &[ReplayedMail]) -> String {
    let mut text = String::new();
    for mail in mails {
        text.push_str(&format!(
            "{:>6}  {:<18}  {:<8}  {:<18}  {}\n",
            config.words.day(mail.day),
            leaves(config, mail),
            mail.kind.name(),
            name(config, &mail.person),
            mail.subject
        ));
        let news = mail.news.iter();
        text.extend(news.map(|news| format!("{:>8}{}\n", "", news_words(news))));
    }
    text
}

fn news_words(news: &News) -> String {
    let why = news.why.as_ref().map(|why| format!("; {why}"));
    let why = why.unwrap_or_default();
    // A sentence says itself that it corrects or withdraws something.
    format!("{}: {}{why} [{}]", news.name, news.sentence, news.change)
}

/// When it leaves, in the farm's zone.
fn leaves(config: &Config, mail: &ReplayedMail) -> String {
    match mail.fate.sent {
        Some(at) => {
            let local = at.with_timezone(&config.zone);
            let day = config.words.day(local.date_naive());
            format!("{day} {}", local.format("%H:%M %Z"))
        }
        None if mail.fate.state == MailState::Queued => "after these days".to_owned(),
        None => mail.fate.state.name().to_owned(),
    }
}

fn summary(config: &Config, mails: &[ReplayedMail]) -> String {
    let mut counts: BTreeMap<(&str, &PersonId), usize> = BTreeMap::new();
    for mail in mails {
        *counts.entry((mail.kind.name(), &mail.person)).or_default() += 1;
    }
    let mut text = format!("\nmails: {}\n", mails.len());
    for ((kind, person), count) in counts {
        text.push_str(&format!(
            "  {kind:<8}  {:<18}  {count:>5}\n",
            name(config, person)
        ));
    }
    let alerts = corrected(mails, MailKind::Alert);
    if alerts.mails > 0 {
        text.push_str(&format!(
            "alerts of which something was corrected or withdrawn later: {} of {}\n",
            alerts.drew, alerts.mails
        ));
    }
    text
}

#[derive(serde::Serialize)]
struct Line<'a> {
    day: NaiveDate,
    leaves: Option<String>,
    state: &'a str,
    kind: &'a str,
    person: &'a str,
    adviser: Option<&'a str>,
    subject: &'a str,
    news: &'a [News],
}

fn json(config: &Config, mails: &[ReplayedMail]) -> anyhow::Result<String> {
    let lines: Vec<Line<'_>> = mails
        .iter()
        .map(|mail| Line {
            day: mail.day,
            leaves: mail
                .fate
                .sent
                .map(|at| at.with_timezone(&config.zone).to_rfc3339()),
            state: mail.fate.state.name(),
            kind: mail.kind.name(),
            person: mail.person.as_str(),
            adviser: mail.adviser.as_ref().map(PersonId::as_str),
            subject: &mail.subject,
            news: &mail.news,
        })
        .collect();
    let text = serde_json::to_string_pretty(&lines).context("write JSON")?;
    Ok(format!("{text}\n"))
}
