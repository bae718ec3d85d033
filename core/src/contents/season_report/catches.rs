//! Catches of this year beside those of earlier ones, as a table.

use std::collections::BTreeSet;

use crate::season::{BlockSeason, Comparison, SeasonCatch};
use crate::wording::Words;
use crate::wording::earlier_years::{NO_PREDICTION, traps_and_counted};
use crate::wording::words::rate_words;

/// Catches by kind of trap and year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CatchTable {
    /// The years, the newest first.
    pub years: Vec<i32>,
    /// A row for each kind of trap.
    pub rows: Vec<CatchYears>,
    /// What makes years differ, and where this one stands.
    pub notes: Vec<String>,
}

/// One kind of trap.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CatchYears {
    /// The traps and what was counted.
    pub title: String,
    /// One for each year: catch per trap and night with what it is made of; empty where nothing was read, and with a
    /// star where traps, lure, place, regime or service were others.
    pub cells: Vec<String>,
}

impl CatchTable {
    /// Of a block; `None` where nothing was read in any year.
    pub(super) fn of(words: Words, season: &BlockSeason) -> Option<Self> {
        let compared = &season.beside.years;
        let years = compared.iter().flat_map(|of| {
            let earlier = of.by_date.earlier.iter().map(|(catch, _)| catch);
            earlier.chain(&of.by_date.this).map(|catch| catch.year)
        });
        let years: BTreeSet<i32> = years.collect();
        let years: Vec<i32> = years.into_iter().rev().collect();
        let rows = compared.iter().map(|of| CatchYears {
            title: title(season, of),
            cells: years.iter().map(|year| cell(of, *year)).collect(),
        });
        let rows: Vec<CatchYears> = rows.collect();
        let beside = years.len() > 1;
        let prediction = beside.then(|| sentence(NO_PREDICTION));
        let notes = compared.iter().flat_map(|of| notes(words, of));
        let notes = notes.chain(prediction);
        (!rows.is_empty()).then(|| Self {
            rows,
            notes: notes.collect(),
            years,
        })
    }
}

fn cell(compared: &Comparison, year: i32) -> String {
    let of_year = |catch: &&SeasonCatch| catch.year == year;
    let aligned = &compared.by_date;
    if let Some(this) = aligned.this.as_ref().filter(of_year) {
        return counts(this);
    }
    match aligned.earlier.iter().find(|(catch, _)| catch.year == year) {
        Some((catch, differ)) if differ.is_empty() => counts(catch),
        Some((catch, _)) => format!("{} *", counts(catch)),
        None => String::new(),
    }
}

fn counts(catch: &SeasonCatch) -> String {
    let haul = &catch.haul;
    format!(
        "{} ({} in {})",
        rate_words(haul.per_trap_night()),
        haul.count,
        haul.trap_nights
    )
}

/// Which traps, and of which blocks where the block itself has no earlier season.
fn title(season: &BlockSeason, compared: &Comparison) -> String {
    let block = &season.block;
    let traps = traps_and_counted(compared);
    match compared.of_farm {
        true => format!(
            "the grower's other {} {} blocks together: {traps}",
            block.regime, block.crop
        ),
        false => traps,
    }
}

fn notes(words: Words, compared: &Comparison) -> Vec<String> {
    let kind = sentence(compared.kind.name());
    let standing = compared.by_date.standing();
    let standing = standing.map(|(lower, all)| {
        format!(
            "{kind} traps: higher than in {lower} of {all} earlier seasons alike in traps, lure, place, regime and \
             service"
        )
    });
    let others = compared.by_date.earlier.iter();
    let others = others.filter(|(_, differ)| !differ.is_empty());
    let others: Vec<String> = others
        .map(|(catch, differ)| {
            let differ = differ.iter().map(|of| words.difference(*of, compared.kind));
            format!("{} {}", catch.year, differ.collect::<Vec<_>>().join(", "))
        })
        .collect();
    let others = (!others.is_empty())
        .then(|| format!("* {kind} traps, not compared: {}", others.join("; ")));
    standing.into_iter().chain(others).collect()
}

fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string());
    first.unwrap_or_default() + letters.as_str()
}
