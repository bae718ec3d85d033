//! `duskflight demo`: a season one can watch.

use std::path::{Path, PathBuf};

use anyhow::Context;
use chrono::NaiveDate;
use clap::Args;
use duskflight_core::wording::plural;

use super::Failure;
use super::common::print;
use crate::demo::farm::DEFAULT_YEAR;
use crate::demo::{DemoError, Observer, Played, play};
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
}

impl Demo {
    pub(super) async fn run(self) -> Result<(), Failure> {
        print(&format!(
            "Playing {} in {}: an invented farm, temperatures of Merced airport (NOAA).\n\n",
            self.year,
            self.dir.display()
        ))?;
        let played = play(&self.dir, self.year, &mut Timeline)
            .await
            .map_err(failure)?;
        print(&summary(&self.dir, &played).await?)
    }
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
