//! `duskflight demo`: a season one can watch.

use std::net::{IpAddr, Ipv4Addr};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context, anyhow};
use chrono::{Datelike, NaiveDate, TimeDelta};
use clap::Args;
use duskflight_core::wording::plural;
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use super::Failure;
use super::common::print;
use crate::clock::SetClock;
use crate::config::{Listen, Page, Place};
use crate::demo::farm::DEFAULT_YEAR;
use crate::demo::{DemoError, Observer, Played, play};
use crate::page::{self, Opened};
use crate::runner::LockError;
use crate::runner::jobs::Workshop;
use crate::store::{StoreError, outbox_report, told};
use crate::telling::night;

/// Play a whole season of an invented farm on a real station's record, mails into a folder
///
/// No network is used: the station's days are served on the loopback address. A demo that was cut
/// short goes on where it stopped.
#[derive(Debug, Args)]
pub(super) struct Demo {
    /// Folder for the farm, its records and its mails
    #[arg(long, value_name = "DIR", default_value = "demo")]
    dir: PathBuf,
    /// Season to play, 2003 to 2022
    #[arg(long, value_name = "YEAR", default_value_t = DEFAULT_YEAR)]
    year: i32,
    /// Then show the farm as a page on this machine, as it stands on a day of the season [default: 20 June]
    #[arg(long, value_name = "DATE", num_args = 0..=1, default_missing_value = "")]
    page: Option<String>,
    /// Where the page listens, on this machine
    #[arg(long, value_name = "PORT", default_value_t = PORT, requires = "page")]
    port: u16,
}

/// Where the page of the demo listens.
const PORT: u16 = 8790;
/// The page shows a day with all its mails gone.
const AFTER_THE_DIGEST: TimeDelta = TimeDelta::hours(8);

impl Demo {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let shown = self.shown()?;
        print(&format!(
            "Playing {} in {}: an invented farm, temperatures of Merced airport (NOAA).\n\n",
            self.year,
            self.dir.display()
        ))?;
        let played = play(&self.dir, self.year, &mut Timeline)
            .await
            .map_err(failure)?;
        print(&summary(&self.dir, &played).await?)?;
        match shown {
            Some(day) => show(played, day, self.port).await,
            None => Ok(()),
        }
    }

    /// The day that the page is to show.
    fn shown(&self) -> Result<Option<NaiveDate>, Failure> {
        let Some(asked) = &self.page else {
            return Ok(None);
        };
        if asked.is_empty() {
            return Ok(NaiveDate::from_ymd_opt(self.year, 6, 20));
        }
        let day: Result<NaiveDate, _> = asked.parse();
        let of_year = day.ok().filter(|day| day.year() == self.year);
        let no_day = || anyhow!("--page {asked}: write a day of {} as {0}-06-20", self.year);
        of_year.map(Some).ok_or_else(|| Failure::usage(no_day()))
    }
}

/// Shows the farm as it stands on a day until the command is ended.
async fn show(played: Played, day: NaiveDate, port: u16) -> Result<(), Failure> {
    let here = IpAddr::V4(Ipv4Addr::LOCALHOST);
    let free = std::net::TcpListener::bind((here, port));
    free.with_context(|| {
        format!("listen on port {port} of this machine; take another one with --port")
    })?;
    let config = played.config;
    let day_words = config.words.long_day(day);
    print(&format!(
        "\nThe farm as it stands on {day_words}: http://{here}:{port}/ (Ctrl-C ends it)\n"
    ))?;
    let at = config.digest_instant(day) + AFTER_THE_DIGEST;
    let opened = Opened::new(played.store, config).context("read the farm that was played")?;
    let (_open, farm) = watch::channel(Some(opened));
    let page = Page {
        listen: Listen {
            place: Place::Address(here),
            port,
        },
        names: Vec::new(),
        sign_in: false,
        certificate: None,
        trusted_proxies: Vec::new(),
    };
    let ended = CancellationToken::new();
    page::serve(page, farm, Arc::new(SetClock::at(at)), ended).await;
    Ok(())
}

fn failure(error: DemoError) -> Failure {
    match error {
        DemoError::Year { .. } | DemoError::OtherFarm { .. } => Failure::usage(error),
        DemoError::Lock(LockError::Held { .. }) => Failure::try_later(error),
        _ => anyhow::Error::from(error).into(),
    }
}

/// Prints the mornings on which there was news.
struct Timeline;

impl Observer for Timeline {
    async fn night(&mut self, day: NaiveDate, workshop: &Workshop) -> Result<(), DemoError> {
        let words = workshop.config.words;
        let mails = workshop
            .store
            .read(move |c| outbox_report::with_news(c, day))
            .await?;
        let mut text = String::new();
        for mail in mails {
            let who = workshop.config.people.iter().find(|p| p.id == mail.person);
            let name = who.map_or(mail.person.as_str(), |person| person.name.as_str());
            text.push_str(&format!(
                "{:>6}  {:<6}  {:<18}  {}\n",
                words.day(day),
                mail.kind.name(),
                name,
                mail.subject
            ));
        }
        // A timeline nobody reads any more is no reason to stop playing.
        let _ = print(&text);
        Ok(())
    }
}

async fn summary(dir: &Path, played: &Played) -> Result<String, Failure> {
    let (config, last) = (played.config.clone(), played.last);
    let words = config.words;
    let (night, standing, counts) = played
        .store
        .read(move |c| {
            Ok::<_, StoreError>((
                night(c, &config, last)?,
                outbox_report::standing(c)?,
                told::counts(c)?,
            ))
        })
        .await
        .context("read the season back")?;
    let mut text = format!("\nThe season as of {}:\n", words.long_day(last));
    for season in &night.seasons {
        text.push_str(&format!(
            "  {:<4} {:<18} {:<18} start {}\n",
            season.block.id.as_str(),
            season.block.name,
            season.block.regime.to_string(),
            words.start(season)
        ));
    }
    let dir = dir.display();
    text.push_str(&format!(
        "\n{} sent; {} told, {} of them corrected or withdrawn later.\n\n\
         Look at\n  {dir}/mail/                      every mail, to open with a mail program\n\
         \x20 duskflight season --config {dir} --as-of {year}-06-20\n\
         \x20 duskflight service --config {dir} --as-of {year}-06-20\n\
         \x20 duskflight preview digest --config {dir} --as-of {year}-06-20 --out {dir}/preview\n\
         \x20 duskflight visits list --config {dir} --as-of {year}-04-20\n\
         \x20 duskflight told --config {dir} --block C1\n\
         \x20 sqlite3 {dir}/duskflight.sqlite .schema\n\
         With --as-of a day is looked at with what is recorded now; what was known then is in the mails.\n",
        plural(standing.sent, "mail"),
        plural(counts.told, "event"),
        counts.revised,
        year = last.format("%Y"),
    ));
    Ok(text)
}
