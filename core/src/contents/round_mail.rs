//! A scout's round of the day, without markup: where to go, what to do there, what to bring.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::orchard::Orchard;
use crate::season::BlockSeason;
use crate::wording::gather::Lines;
use crate::wording::words::Words;
use crate::wording::work::plural;

use super::headline::Headline;
use super::round_sheet::{RoundSheet, Stop, round_sheets};

/// What one scout has to do on one day in one adviser's blocks.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RoundMail {
    /// The civil day.
    pub day: NaiveDate,
    /// What a subject says.
    pub headline: String,
    /// Each route in walking order.
    pub routes: Vec<RoundRoute>,
}

/// One route.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RoundRoute {
    /// Its name, and how many stops it has.
    pub title: String,
    /// What is to be known before entering.
    pub entry: Vec<String>,
    /// Each stop with what is to be done there.
    pub stops: Vec<Lines>,
    /// What to bring.
    pub bring: String,
    /// What is not on the list, and why.
    pub remarks: Vec<String>,
}

/// The round of a day; `None` where nothing is due.
#[must_use]
pub fn round_mail(
    words: Words,
    day: NaiveDate,
    orchard: &Orchard,
    seasons: &[&BlockSeason],
) -> Option<RoundMail> {
    let sheets = round_sheets(words, orchard, seasons, 0);
    let sheets: Vec<RoundSheet> = sheets.into_iter().filter(|s| !s.stops.is_empty()).collect();
    let stops: usize = sheets.iter().map(|sheet| sheet.stops.len()).sum();
    let brief = format!("round of {}", plural(stops, "trap"));
    let headline = Headline {
        begins: words.day(day),
        brief: &brief,
        blocks: Vec::new(),
    };
    (stops > 0).then(|| RoundMail {
        day,
        headline: headline.words(0),
        routes: sheets.into_iter().map(route).collect(),
    })
}

fn route(sheet: RoundSheet) -> RoundRoute {
    let stops = plural(sheet.stops.len(), "trap");
    let name = sheet
        .route
        .map_or_else(|| "No route".to_owned(), |route| format!("Route {route}"));
    let bring = sheet.bring.iter().map(|supply| {
        let part = supply.part.counted(supply.count);
        format!("{part} ({})", supply.product)
    });
    let bring: Vec<String> = bring.collect();
    let entry = sheet.blocks.iter().filter(|block| !block.entry.is_empty());
    RoundRoute {
        title: format!("{name}: {stops}"),
        entry: entry
            .map(|block| format!("{}: {}", block.name, block.entry))
            .collect(),
        stops: sheet.stops.iter().map(stop).collect(),
        bring: bring.join(", "),
        remarks: sheet.remarks,
    }
}

/// A trap, where it hangs, and what is to be done.
fn stop(stop: &Stop) -> Lines {
    let place = &stop.place;
    let at = [
        ("gate", &place.gate),
        ("row", &place.row),
        ("tree", &place.tree),
    ];
    let at = at.into_iter().filter(|(_, at)| !at.is_empty());
    let at: Vec<String> = at.map(|(what, at)| format!("{what} {at}")).collect();
    let remark = Some(&place.remark).filter(|remark| !remark.is_empty());
    let at = at.into_iter().chain(remark.cloned());
    let at: Vec<String> = std::iter::once(stop.block.clone()).chain(at).collect();
    Lines {
        title: format!("{} ({})", stop.trap, stop.kind.name()),
        lines: vec![at.join(", "), stop.todo()],
    }
}
