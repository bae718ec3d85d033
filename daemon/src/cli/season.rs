//! `duskflight season`: every block's season with its evidence.

mod beside;
mod json;

use std::sync::Arc;

use anyhow::Context;
use clap::{Args, ValueEnum};
use duskflight_core::contents::Sheet;
use duskflight_core::id::BlockId;
use duskflight_core::season::{BlockSeason, LayingOfYear};
use duskflight_core::wording::Words;

use super::Failure;
use super::common::{AsOf, ConfigDir, print, store_to_read};
use crate::store::StoreError;
use crate::telling::{kept_years, night};

/// Show each block's egg-laying start, degree-days, marks and service due, with the evidence
///
/// A past day is looked at with what is recorded now, late entries and revisions included.
#[derive(Debug, Args)]
pub(super) struct Season {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Only this block
    #[arg(long, value_name = "BLOCK")]
    block: Option<BlockId>,
    /// For people, or as JSON
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Json,
}

impl Season {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let words = config.words;
        let store = store_to_read(&config)?;
        let config = Arc::new(config);
        let of_night = Arc::clone(&config);
        let (night, kept) = store
            .read(move |c| Ok((night(c, &of_night, day)?, kept_years(c, &of_night)?)))
            .await
            .map_err(|error: StoreError| anyhow::Error::from(error))
            .context("recompute the seasons")?;
        let wanted = |season: &&BlockSeason| {
            self.block
                .as_ref()
                .is_none_or(|block| &season.block.id == block)
        };
        let seasons: Vec<&BlockSeason> = night.seasons.iter().filter(wanted).collect();
        if let (Some(block), true) = (&self.block, seasons.is_empty()) {
            return Err(Failure::usage(anyhow::anyhow!(
                "block {block}: no such block in force on {day}"
            )));
        }
        let years = |season: &BlockSeason| night.laying_years(&config, season, &kept);
        match self.format {
            Format::Table => print(&sheets(words, &seasons, years)),
            Format::Json => {
                let of = |season: &BlockSeason| json::season(season, &years(season));
                let seasons: Vec<_> = seasons.into_iter().map(of).collect();
                let text = serde_json::to_string_pretty(&seasons).context("write JSON")?;
                print(&format!("{text}\n"))
            }
        }
    }
}

/// Each variety with a line for each generation.
fn exposure(sheet: &Sheet) -> Vec<String> {
    let tables = sheet.exposure.iter().flat_map(|of| {
        let rows = of.rows.iter().map(|row| format!("  {}", row.line()));
        std::iter::once(of.heading()).chain(rows)
    });
    tables.collect()
}

/// One paragraph per block.
fn sheets(
    words: Words,
    seasons: &[&BlockSeason],
    years: impl Fn(&BlockSeason) -> Vec<LayingOfYear>,
) -> String {
    let mut text = String::new();
    for season in seasons {
        let sheet = Sheet::of(words, season);
        let exposure = exposure(&sheet);
        let laying: Vec<String> = words.laying_years(&years(season)).into_iter().collect();
        let width = sheet
            .answers
            .iter()
            .map(|(label, _)| label.chars().count())
            .max();
        let width = width.unwrap_or(0);
        text.push_str(&format!("{}\n", sheet.title));
        for (label, answer) in &sheet.answers {
            text.push_str(&format!("  {label:<width$}  {answer}\n"));
        }
        for (heading, lines) in [
            ("trap work today", &sheet.work),
            ("egg laying beside hull split and shake", &exposure),
            ("rests on", &sheet.evidence),
            ("mating disruption", &sheet.disruption),
            (
                "egg laying by computed date and egg traps, year by year",
                &laying,
            ),
            ("beside earlier years", &sheet.years),
            ("what else bears on risk", &sheet.context),
        ] {
            if !lines.is_empty() {
                text.push_str(&format!("  {heading}\n    {}\n", lines.join("\n    ")));
            }
        }
        text.push('\n');
    }
    text
}
