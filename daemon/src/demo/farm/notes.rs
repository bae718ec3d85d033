//! Field notes: hull split as expected and as seen, and a start set by hand.

use std::iter;

use chrono::{Days, NaiveDate, TimeDelta};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::nature::{HULL_SPLIT, dice, normal};
use super::places::{BLOCKS, Block, SPRINKLED_BLOCK};
use super::visits::{Catch, Visit};
use super::{csv_text, day_of};

/// One field note.
#[derive(Debug, Clone)]
pub(super) struct Note {
    /// The day it is about; for an expectation the day it was written.
    date: NaiveDate,
    pub(super) written_on: NaiveDate,
    block: &'static str,
    variety: &'static str,
    kind: &'static str,
    value: Option<NaiveDate>,
    note: String,
}

/// All notes, by the day they were written.
pub(super) fn write_all(visits: &[Visit], year: i32) -> Vec<Note> {
    let mut rng = dice(year, HULL_SPLIT);
    let season_shift = normal(&mut rng, 0.0, 2.0);
    let mut notes: Vec<Note> = BLOCKS
        .iter()
        .flat_map(|block| hull_split(block, season_shift, year, &mut rng))
        .chain(start_by_hand(visits))
        .collect();
    notes.sort_by_key(|note| note.written_on);
    notes
}

/// What was expected of the early variety, and what was then seen of each.
fn hull_split(
    block: &'static Block,
    season_shift: f64,
    year: i32,
    rng: &mut ChaCha8Rng,
) -> Vec<Note> {
    let usual = day_of(year, (7, 3));
    let shift = (season_shift + normal(rng, 0.0, 2.0))
        .round()
        .clamp(-6.0, 7.0);
    let split = later(usual, shift);
    let written_on = later(day_of(year, (5, 16)), f64::from(rng.random_range(0..28)));
    let mut notes = vec![Note {
        date: written_on,
        written_on,
        block: block.id,
        variety: block.varieties[0],
        kind: "hull-split-expected",
        value: Some(later(usual, normal(rng, 0.0, 3.0).round())),
        note: String::new(),
    }];
    let mut days_later: Vec<u64> = block.varieties[1..]
        .iter()
        .map(|_| rng.random_range(14..=28))
        .collect();
    days_later.sort_unstable();
    for (&variety, days) in block.varieties.iter().zip(iter::once(0).chain(days_later)) {
        let date = split + Days::new(days);
        notes.push(Note {
            date,
            written_on: date + Days::new(u64::from(rng.random_bool(0.3))),
            block: block.id,
            variety,
            kind: "hull-split",
            value: None,
            note: "first sound nuts, top south-west".to_owned(),
        });
    }
    notes
}

/// In the sprinkled block too few egg traps can be read when it matters: on the last of its wet
/// checks the adviser sets the start to the first day with eggs on the others.
fn start_by_hand(visits: &[Visit]) -> Option<Note> {
    let of_block = || {
        visits
            .iter()
            .filter(|visit| visit.block.id == SPRINKLED_BLOCK)
    };
    let laid = of_block().find(|visit| matches!(visit.catch, Catch::Eggs(eggs) if eggs > 0))?;
    let written_on = laid.date + Days::new(7);
    Some(Note {
        date: written_on,
        written_on,
        block: SPRINKLED_BLOCK,
        variety: "",
        kind: "egg-laying-start",
        value: Some(laid.date),
        note: format!(
            "two of four egg traps wet from the sprinklers; eggs on the others from {} on",
            laid.date
        ),
    })
}

fn later(date: NaiveDate, days: f64) -> NaiveDate {
    date + TimeDelta::days(days as i64)
}

pub(super) fn csv<'a>(notes: impl IntoIterator<Item = &'a Note>) -> String {
    const HEADER: [&str; 6] = ["date", "block", "variety", "kind", "value", "note"];
    csv_text(HEADER, notes.into_iter().map(row))
}

fn row(note: &Note) -> [String; 6] {
    [
        note.date.to_string(),
        note.block.to_owned(),
        note.variety.to_owned(),
        note.kind.to_owned(),
        note.value
            .map_or_else(String::new, |value| value.to_string()),
        note.note.clone(),
    ]
}
