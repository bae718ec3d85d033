//! `duskflight report`: a season to look back on, as pages to print.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use anyhow::{Context, anyhow};
use chrono::{Datelike, NaiveDate};
use clap::Args;
use duskflight_core::id::PersonId;

use super::Failure;
use super::common::{AsOf, ConfigDir, print, store_to_read};
use crate::config::Config;
use crate::report::{ReportError, Season, growers, public};

/// Write a season to look back on: for each grower a page to print, with the record of the service
///
/// One file a grower, GROWER-YEAR.html, that needs no other: open it in a browser to read, to print or to save as
/// PDF. It is told as of the end of the year, with what is recorded now. With --public instead what an extension
/// office may show of the blocks that have a name in the column `public` of blocks.csv: public.html, catches.csv and
/// starts.csv.
#[derive(Debug, Args)]
pub(super) struct Report {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// The season [default: that of the day]
    #[arg(long, value_name = "YEAR")]
    year: Option<i32>,
    /// Only this grower [default: all]
    #[arg(long, value_name = "PERSON")]
    grower: Option<PersonId>,
    /// Only growers with blocks of this adviser
    #[arg(long, value_name = "PERSON", conflicts_with = "grower")]
    adviser: Option<PersonId>,
    /// What anybody may see of the blocks that agreed: traps, counts of the newest week and the season, starts
    #[arg(long, conflicts_with_all = ["grower", "adviser"])]
    public: bool,
    /// Folder to write to; it is made where it is missing
    #[arg(long, value_name = "DIR")]
    out: PathBuf,
}

impl Report {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let day = self.day(&config)?;
        if self.public {
            return self.write_public(&config, day).await;
        }
        for person in self.grower.iter().chain(&self.adviser) {
            if config.person(person).is_none() {
                let what = anyhow!("{person}: no such person in duskflight.toml");
                return Err(Failure::usage(what));
            }
        }
        let growers = match &self.grower {
            Some(grower) => vec![grower.clone()],
            None => growers(&config, day, self.adviser.as_ref()),
        };
        let pages = pages(&config, day, growers).await?;
        if pages.is_empty() {
            let of = self.grower.as_ref().map(|grower| format!(" of {grower}"));
            return Err(Failure::usage(anyhow!(
                "no block{} was in force on {day}, or no insect model is for its crop",
                of.unwrap_or_default()
            )));
        }
        for (grower, page) in pages {
            let name = format!("{grower}-{}.html", day.year());
            write(&self.out, &name, page.as_bytes())?;
        }
        Ok(())
    }

    async fn write_public(&self, config: &Arc<Config>, day: NaiveDate) -> Result<(), Failure> {
        let store = store_to_read(config)?;
        let of_farm = Arc::clone(config);
        let files = store
            .read(move |c| public(&Season::read(c, &of_farm, day.year(), day)?, &of_farm))
            .await
            .map_err(|error: ReportError| anyhow::Error::from(error))
            .context("make the public report")?;
        let Some(files) = files else {
            return Err(Failure::usage(anyhow!(
                "no block may be shown on {day}: give those whose growers agreed a name in the column public of \
                 blocks.csv"
            )));
        };
        for (name, text) in [
            ("public.html", files.page),
            ("catches.csv", files.catches),
            ("starts.csv", files.starts),
        ] {
            write(&self.out, name, text.as_bytes())?;
        }
        Ok(())
    }

    /// The last day of the season, or the day to look from where that is earlier.
    fn day(&self, config: &Config) -> Result<NaiveDate, Failure> {
        let (day, _) = self.as_of.moment(config);
        let year = self.year.unwrap_or(day.year());
        let [first, last] = [(1, 1), (12, 31)].map(|(month, day)| {
            NaiveDate::from_ymd_opt(year, month, day).unwrap_or(NaiveDate::MAX)
        });
        match first <= day {
            true => Ok(day.min(last)),
            false => Err(Failure::usage(anyhow!(
                "--year {year} had not begun on {day}"
            ))),
        }
    }
}

/// The pages of some growers, from one reading of the records.
async fn pages(
    config: &Arc<Config>,
    day: NaiveDate,
    growers: Vec<PersonId>,
) -> Result<Vec<(PersonId, String)>, Failure> {
    let store = store_to_read(config)?;
    let config = Arc::clone(config);
    let pages = store
        .read(move |c| {
            let season = Season::read(c, &config, day.year(), day)?;
            let mut pages = Vec::new();
            for grower in growers {
                let page = season.of(c, &config, &grower)?;
                pages.extend(page.map(|page| (grower, page)));
            }
            Ok(pages)
        })
        .await
        .map_err(|error: ReportError| anyhow::Error::from(error))
        .context("make the report")?;
    Ok(pages)
}

/// Writes a file into a folder, which is made, and says so.
fn write(dir: &Path, name: &str, bytes: &[u8]) -> Result<(), Failure> {
    let path = dir.join(name);
    std::fs::create_dir_all(dir)
        .and_then(|()| std::fs::write(&path, bytes))
        .with_context(|| format!("write {}", path.display()))?;
    print(&format!("wrote {}\n", path.display()))
}
