//! A block's season as a sheet to read, line by line.

use crate::season::BlockSeason;
use crate::trapping::StartStatus;

use crate::wording::ExposureTable;
use crate::wording::words::{Words, degree_days};
use crate::wording::work::work_today;

/// A block's season in sections, without markup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// Which block and day.
    pub title: String,
    /// What is known and projected: a label and its answer.
    pub answers: Vec<(String, String)>,
    /// Trap work that is due.
    pub work: Vec<String>,
    /// Egg laying beside hull split and shake.
    pub exposure: Vec<ExposureTable>,
    /// What the answers rest on.
    pub evidence: Vec<String>,
    /// What the traps show of mating disruption.
    pub disruption: Vec<String>,
    /// Catches beside those of earlier years.
    pub years: Vec<String>,
    /// What decides risk beside catches.
    pub context: Vec<String>,
}

impl Sheet {
    /// Of a block's season.
    #[must_use]
    pub fn of(words: Words, season: &BlockSeason) -> Self {
        let block = &season.block;
        let mut answers = start_and_heat(words, season);
        answers.extend(season.marks.iter().map(|reading| {
            let outcome = words.outcome(&reading.outcome);
            let answer = match words.traps_beside(season, reading) {
                Some(beside) => format!("{outcome}; {beside}"),
                None => outcome,
            };
            (reading.name.clone(), answer)
        }));
        answers.extend(season.latest.iter().map(|catch| {
            let label = format!("{} traps, last 7 days", catch.kind.name());
            let share = words
                .share_with_eggs(catch)
                .map(|share| format!("; {share}"));
            (
                label,
                words.catch_in(season, catch) + &share.unwrap_or_default(),
            )
        }));
        let flights = words.flight_lines(season).into_iter();
        answers.extend(flights.map(|line| match line.split_once(": ") {
            Some((label, answer)) => (label.to_owned(), answer.to_owned()),
            None => ("flights".to_owned(), line),
        }));
        let mut evidence = words.start_evidence(season);
        if season.without_marks.is_none() {
            evidence.push(words.heat_evidence(season));
        }
        evidence.extend(words.flight_evidence(season));
        evidence.extend(words.hull_split_evidence(season));
        evidence.extend(words.shift_evidence(season));
        let borrowed = season.borrowed.as_ref();
        evidence.extend(borrowed.map(|borrowed| words.borrowed(borrowed, season.unit)));
        if season.heat_from.is_some() {
            let marks = season.marks.iter();
            evidence.extend(marks.map(|reading| {
                let rests_on = words.mark_evidence(season, reading);
                format!("{}: {rests_on}", reading.name)
            }));
        }
        evidence.extend(words.exposure_evidence(season));
        Self {
            title: format!(
                "{} ({}), {}, {}, as of {}",
                block.name,
                block.id,
                block.crop,
                block.regime,
                words.long_day(season.as_of)
            ),
            answers,
            work: work_today(words, season),
            exposure: words.exposure(season, true),
            evidence,
            disruption: words.disruption_lines(season),
            years: words.years_lines(season),
            context: words.context_lines(season),
        }
    }
}

/// The start where the crop has one, and the heat since what its marks count from, or why it has
/// no marks.
fn start_and_heat(words: Words, season: &BlockSeason) -> Vec<(String, String)> {
    if let Some(why) = &season.without_marks {
        return vec![("dates".to_owned(), why.clone())];
    }
    let heat = match &season.degree_days {
        Ok(sum) => degree_days(sum.degree_days, season.unit),
        Err(why) => format!("can't tell: {}", words.why_not(why)),
    };
    match (season.start.status, season.heat_from) {
        (StartStatus::NotAsked, Some(from)) => {
            vec![(format!("heat since {}", words.day(from)), heat)]
        }
        _ => vec![
            ("egg-laying start".to_owned(), words.start(season)),
            ("heat since the start".to_owned(), heat),
        ],
    }
}
