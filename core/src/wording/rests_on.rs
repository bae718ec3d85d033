//! What dates rest on in one line, for people who leave rules and methods to their adviser.

use std::collections::BTreeSet;

use crate::id::{BlockId, StationId};
use crate::season::BlockSeason;
use crate::trapping::StartStatus;

use super::gather::grouped;
use super::stations::StationView;
use super::words::Words;
use super::work::plural;

/// Starts of more blocks than this are not named one by one.
const MOST_STARTS: usize = 6;

impl Words {
    /// Temperatures and starts behind the dates of some blocks; empty where none count.
    pub(crate) fn rests_on(
        self,
        seasons: &[&BlockSeason],
        blocks: &[&BlockId],
        stations: &[StationView],
    ) -> String {
        let about: BTreeSet<&BlockId> = blocks.iter().copied().collect();
        let counting = seasons
            .iter()
            .filter(|season| season.without_marks.is_none());
        let about = counting.filter(|season| about.contains(&season.block.id));
        let about: Vec<&BlockSeason> = about.copied().collect();
        let parts = self.temperatures(&about, stations).into_iter();
        let parts: Vec<String> = parts.chain(self.starts(&about)).collect();
        parts.join("; ")
    }

    /// Each station with its newest day, and how many of the days were estimated.
    fn temperatures(self, seasons: &[&BlockSeason], stations: &[StationView]) -> Vec<String> {
        let used: BTreeSet<&StationId> =
            seasons.iter().map(|season| &season.block.station).collect();
        let line = |station: &StationId| {
            let name = stations.iter().find(|view| &view.station == station);
            let name = name.map_or(station.as_str(), |view| view.name.as_str());
            let of = || {
                seasons
                    .iter()
                    .filter(|season| &season.block.station == station)
            };
            let newest = of().filter_map(|season| season.newest_day).max()?;
            let sums = of().filter_map(|season| season.degree_days.as_ref().ok());
            let estimated = sums.map(|sum| sum.estimated_days).max().unwrap_or(0);
            let estimated = match estimated {
                0 => String::new(),
                days => format!(", {} of them estimated", plural(days, "day")),
            };
            Some(format!(
                "{name} temperatures to {}{estimated}",
                self.day(newest)
            ))
        };
        used.into_iter().filter_map(line).collect()
    }

    /// Starts by their day, with the blocks where they differ.
    fn starts(self, seasons: &[&BlockSeason]) -> Option<String> {
        let firm = seasons
            .iter()
            .filter(|season| season.start.status.is_firm());
        let days = firm.filter_map(|season| {
            let how = match season.start.status {
                StartStatus::ByHand => " (set by hand)",
                _ if season.start.is_estimated() => " (estimate)",
                _ => "",
            };
            let day = self.day(season.start.date?);
            Some((format!("{day}{how}"), season.block.name.as_str()))
        });
        let days = grouped(days);
        let days: Vec<String> = match &days[..] {
            [] => return None,
            [(day, _)] => vec![day.clone()],
            _ if days.len() > MOST_STARTS => vec!["each block's own".to_owned()],
            _ => {
                let day =
                    |(day, blocks): &(String, Vec<&str>)| format!("{} {day}", blocks.join(", "));
                days.iter().map(day).collect()
            }
        };
        Some(format!("egg-laying start (biofix) {}", days.join(", ")))
    }
}
