//! A block's season as a sheet to read, line by line.

use crate::season::BlockSeason;
use crate::trapping::StartStatus;

use super::words::{Words, degree_days, mark_title};
use super::work::work_today;

/// A block's season in sections, without markup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// Which block and day.
    pub title: String,
    /// What is known and projected: a label and its answer.
    pub answers: Vec<(String, String)>,
    /// Trap work that is due.
    pub work: Vec<String>,
    /// Harvest beside the generations.
    pub harvest: Vec<String>,
    /// What the answers rest on.
    pub evidence: Vec<String>,
    /// What the traps show of mating disruption.
    pub disruption: Vec<String>,
    /// Catches beside those of earlier years.
    pub years: Vec<String>,
    /// What decides risk beside catches.
    pub context: Vec<String>,
}

impl Words {
    /// A block's season as a sheet.
    #[must_use]
    pub fn sheet(self, season: &BlockSeason) -> Sheet {
        let block = &season.block;
        let mut answers = self.start_and_heat(season);
        answers.extend(season.marks.iter().map(|reading| {
            let beside = if reading.is_without_hull_split() {
                ", counted without hull split"
            } else {
                ""
            };
            let title = format!("{}{beside}", mark_title(reading));
            (title, self.outcome(&reading.outcome))
        }));
        answers.extend(season.latest.iter().map(|catch| {
            let label = format!("{} traps, last 7 days", catch.kind.name());
            (label, self.catch_in(season, catch))
        }));
        let flights = self.flight_lines(season).into_iter();
        answers.extend(flights.map(|line| match line.split_once(": ") {
            Some((label, answer)) => (label.to_owned(), answer.to_owned()),
            None => ("flights".to_owned(), line),
        }));
        let mut evidence = self.start_evidence(season);
        if season.without_marks.is_none() {
            evidence.push(self.heat_evidence(season));
        }
        evidence.extend(self.flight_evidence(season));
        evidence.extend(self.hull_split_evidence(season));
        evidence.extend(self.shift_evidence(season));
        if season.heat_from.is_some() {
            let marks = season.marks.iter();
            evidence.extend(marks.map(|reading| {
                let rests_on = self.mark_evidence(season, reading);
                format!("{}: {rests_on}", mark_title(reading))
            }));
        }
        evidence.extend(self.harvest_evidence(season));
        Sheet {
            title: format!(
                "{} ({}), {}, {}, as of {}",
                block.name,
                block.id,
                block.crop,
                block.regime,
                self.long_day(season.as_of)
            ),
            answers,
            work: work_today(self, season),
            harvest: self.harvest_lines(season),
            evidence,
            disruption: self.disruption_lines(season),
            years: self.years_lines(season),
            context: self.context_lines(season),
        }
    }

    /// The start where the crop has one, and the heat since what its marks count from, or why it has
    /// no marks.
    fn start_and_heat(self, season: &BlockSeason) -> Vec<(String, String)> {
        if let Some(why) = &season.without_marks {
            return vec![("dates".to_owned(), why.clone())];
        }
        let heat = match &season.degree_days {
            Ok(sum) => degree_days(sum.degree_days, season.unit),
            Err(reason) => format!("can't tell: {}", self.reworded(reason)),
        };
        match (season.start.status, season.heat_from) {
            (StartStatus::NotAsked, Some(from)) => {
                vec![(format!("heat since {}", self.day(from)), heat)]
            }
            _ => vec![
                ("egg-laying start".to_owned(), self.start(season)),
                ("heat since the start".to_owned(), heat),
            ],
        }
    }

    /// Phrases joined to a list: `a, b and c`.
    #[must_use]
    pub fn listed(phrases: &[String]) -> String {
        match phrases {
            [] => String::new(),
            [one] => one.clone(),
            [first @ .., last] => format!("{} and {last}", first.join(", ")),
        }
    }
}
