//! One block's season to look back on.

use crate::season::{BlockSeason, StartOfYear};
use crate::trapping::{Note, ServiceRecord};
use crate::wording::{ExposureTable, Words, station_words};

use super::super::Chart;
use super::marks::beside;
use super::{CatchTable, MarkRow, Samples, ServiceTable};

/// What the report of a block is made from.
pub struct BlockOfSeason<'a> {
    /// Its season.
    pub season: &'a BlockSeason,
    /// Its own notes.
    pub notes: &'a [Note],
    /// Its trap work.
    pub service: ServiceRecord,
    /// Its starts by year, the newest first.
    pub starts: Vec<StartOfYear>,
    /// Its heat and its catches, drawn where there is something to draw.
    pub charts: Vec<Chart>,
}

/// One block's season.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockReport {
    /// Its name.
    pub name: String,
    /// Its id.
    pub id: String,
    /// Crop, size, regime, varieties, station.
    pub facts: String,
    /// Its egg-laying start.
    pub start: String,
    /// What that rests on.
    pub start_evidence: Vec<String>,
    /// Marks beside what was seen; empty where the crop has none.
    pub marks: Vec<MarkRow>,
    /// Why there are none.
    pub without_marks: Option<String>,
    /// Why no flights could be read, where none could.
    pub no_flights: Option<String>,
    /// What flights and heat rest on.
    pub rests_on: Vec<String>,
    /// Heat and catches.
    pub charts: Vec<Chart>,
    /// Catches by year.
    pub catches: Option<CatchTable>,
    /// What the traps showed of mating disruption.
    pub disruption: Vec<String>,
    /// Each variety's split and shake beside each generation's egg laying.
    pub exposure: Vec<ExposureTable>,
    /// What was found in nuts.
    pub samples: Samples,
    /// Trap work.
    pub service: ServiceTable,
    /// Starts of this year and earlier ones.
    pub starts: Vec<StartRow>,
}

/// One year's start, cell by cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StartRow {
    /// The year.
    pub year: i32,
    /// Its start and how well it is known.
    pub start: String,
    /// When the next generation was computed to begin laying; empty where that is not known.
    pub computed: String,
    /// When egg traps showed it; empty where they did not.
    pub seen: String,
    /// How far from the computed day that was.
    pub beside: String,
}

impl BlockReport {
    pub(super) fn of(words: Words, of: &BlockOfSeason<'_>) -> Self {
        let season = of.season;
        let no_flights = season.flights.as_ref().err();
        Self {
            name: season.block.name.clone(),
            id: season.block.id.to_string(),
            facts: facts(season),
            start: words.start(season),
            start_evidence: words.start_evidence_alone(season),
            marks: MarkRow::all(words, season),
            without_marks: season.without_marks.clone(),
            no_flights: no_flights.map(|why| words.why_no_flights(*why)),
            rests_on: rests_on(words, season),
            charts: of.charts.clone(),
            catches: CatchTable::of(words, season),
            disruption: words.disruption_of_year(season),
            exposure: words.exposure_of_year(season),
            samples: Samples::of(words, season, of.notes),
            service: ServiceTable::of_block(words, &of.service),
            starts: of
                .starts
                .iter()
                .map(|of_year| start_row(words, of_year))
                .collect(),
        }
    }
}

fn facts(season: &BlockSeason) -> String {
    let block = &season.block;
    let acres = block.acres.map(|acres| format!("{acres} acres"));
    let facts = [
        Some(block.crop.to_string()),
        acres,
        Some(block.regime.to_string()),
        Some(block.varieties.join(", ")),
    ];
    let facts: Vec<String> = facts.into_iter().flatten().collect();
    let station = station_words(block.station.as_str(), season.modelled);
    format!("{}; station {station}", facts.join(", "))
}

fn rests_on(words: Words, season: &BlockSeason) -> Vec<String> {
    let heat = season.without_marks.is_none();
    let heat = heat.then(|| words.heat_evidence(season));
    let lines = heat.into_iter().chain(words.flight_evidence(season));
    lines.chain(words.hull_split_evidence(season)).collect()
}

fn start_row(words: Words, of: &StartOfYear) -> StartRow {
    let laying = of.laying.as_ref();
    StartRow {
        year: of.year,
        start: words.start_of(&of.start),
        computed: laying.map_or_else(String::new, |laying| words.day(laying.computed)),
        seen: laying.map_or_else(String::new, |laying| words.day(laying.seen.from)),
        beside: laying.map_or_else(String::new, |laying| beside(laying.days_after())),
    }
}
