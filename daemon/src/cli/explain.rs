//! `duskflight explain`: the degree-days of a block's season, day by day.

use anyhow::{Context, anyhow};
use clap::Args;
use duskflight_core::id::BlockId;
use duskflight_core::season::{BlockSeason, TallyDay, tally};
use duskflight_core::temperature::DegreeDays;
use duskflight_core::trapping::StartStatus;
use duskflight_core::weather::{Element, Suspect};
use duskflight_core::wording::{DayQuality, Words};

use super::Failure;
use super::common::{AsOf, ConfigDir, plain_table, print, store_to_read};
use super::station_file::Format;
use crate::sheet::csv_text;
use crate::store::StoreError;
use crate::telling::{Stations, night};

/// Add up a block's degree-days day by day: station, temperatures, where they come from, total
///
/// From the egg-laying start, which counts, to the newest day known; from 1 January while there is
/// no start. A past day is looked at with what is recorded now.
#[derive(Debug, Args)]
pub(super) struct Explain {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// The block
    #[arg(long, value_name = "BLOCK")]
    block: BlockId,
    /// A table to read, or CSV in full precision
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

/// A season's tally and what it was made from.
struct Explained {
    season: BlockSeason,
    days: Vec<TallyDay>,
    suspects: Vec<Suspect>,
}

impl Explain {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let words = config.words;
        let store = store_to_read(&config)?;
        let block = self.block.clone();
        let explained = store
            .read(move |c| {
                let seasons = night(c, &config, day)?.seasons;
                let stations = Stations::read(c, &config, day)?;
                let of_block = seasons
                    .into_iter()
                    .filter(|season| season.block.id == block);
                let explain = |season: BlockSeason| {
                    let declared = config.stations.iter();
                    let mut declared = declared.filter(|s| s.id == season.block.station);
                    let station = declared
                        .next()
                        .expect("the check found every block's station");
                    let weather = stations.weather(station)?;
                    Ok(Explained {
                        days: tally(&season, &weather),
                        suspects: weather.suspects().to_vec(),
                        season,
                    })
                };
                of_block
                    .map(explain)
                    .collect::<Result<Vec<_>, StoreError>>()
            })
            .await
            .context("recompute the season")?;
        if explained.is_empty() {
            return Err(Failure::usage(anyhow!(
                "block {}: no such block in force on {day}, or no insect model for its crop",
                self.block
            )));
        }
        let written = explained.iter().map(|explained| match self.format {
            Format::Table => explained.table(words),
            Format::Csv => explained.csv(),
        });
        print(&written.collect::<String>())
    }
}

impl Explained {
    fn csv(&self) -> String {
        let header = [
            "date",
            "station",
            "tmin",
            "tmax",
            "unit",
            "quality_tmin",
            "quality_tmax",
            "degree_days",
            "total",
            "passed",
        ];
        csv_text(header, self.days.iter().map(|day| self.csv_row(day)))
    }

    fn csv_row(&self, day: &TallyDay) -> [String; 10] {
        let unit = self.season.unit;
        let number = |value: Option<f64>| value.map_or_else(String::new, |v| v.to_string());
        let temperature =
            |element| number(day.weather.map(|w| w.temperature(element).in_unit(unit)));
        let sum = |sum: Option<DegreeDays>| number(sum.map(|sum| sum.in_unit(unit)));
        [
            day.date.to_string(),
            self.season.block.station.to_string(),
            temperature(Element::Min),
            temperature(Element::Max),
            unit.code().to_owned(),
            self.quality().of(day.date, day.weather, Element::Min),
            self.quality().of(day.date, day.weather, Element::Max),
            sum(day.degree_days),
            sum(day.total),
            day.passed.join("; "),
        ]
    }

    fn table(&self, words: Words) -> String {
        let season = &self.season;
        let unit = season.unit;
        let mut table = plain_table(["date", "min", "max", "quality", "degree-days", "total", ""]);
        for day in &self.days {
            let temperature = |element| {
                day.weather.map_or_else(String::new, |weather| {
                    format!("{:.1}", weather.temperature(element).in_unit(unit))
                })
            };
            let sum = |sum: Option<DegreeDays>| {
                sum.map_or_else(|| "–".to_owned(), |sum| format!("{:.2}", sum.in_unit(unit)))
            };
            table.add_row([
                day.date.to_string(),
                temperature(Element::Min),
                temperature(Element::Max),
                self.quality().of_both(day.date, day.weather),
                sum(day.degree_days),
                sum(day.total),
                match day.passed.is_empty() {
                    true => String::new(),
                    false => format!("{} passed", day.passed.join(", ")),
                },
            ]);
        }
        let from = match (&season.without_marks, season.start.status) {
            (Some(why), _) => format!("from 1 January; {why}"),
            (None, StartStatus::NotAsked) => "from 1 January".to_owned(),
            _ if season.heat_from.is_some() => {
                format!("from the egg-laying start, {}", words.start(season))
            }
            _ => "from 1 January, since there is no egg-laying start yet".to_owned(),
        };
        format!(
            "{} ({}), {from}\n{}\n{table}\n",
            season.block.name,
            season.block.id,
            words.heat_evidence(season)
        )
    }

    fn quality(&self) -> DayQuality<'_> {
        DayQuality {
            unit: self.season.unit,
            modelled: self.season.modelled,
            suspects: &self.suspects,
        }
    }
}
