//! A farm's blocks as rows that one can sort, filter and look through.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::id::{BlockId, PersonId};
use crate::orchard::TrapKind;
use crate::season::{BlockSeason, Outcome, lagging};
use crate::trapping::{DueState, ReadingDue, ServiceDue};
use crate::wording::words::Words;
use crate::wording::work::plural;

use super::block_rows::{BlockRow, next_mark, row, was_read};

/// What happened so many days ago is still worth a look.
const LATELY_DAYS: i64 = 7;
/// What is projected to begin within so many days is near.
const NEAR_DAYS: i64 = 14;

/// So many things are named; more are counted.
const FEW: usize = 3;

/// A block's row: what it is sorted and chosen by. Its words are made once it is shown.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FarmRow<'a> {
    /// Its season.
    pub season: &'a BlockSeason,
    /// Whether it has something to say: read, passed or started lately, a date near, work overdue, or something to
    /// look at.
    pub says: bool,
    /// The day of its start.
    pub start: Option<NaiveDate>,
    /// The first day of the range of what comes next.
    pub next: Option<NaiveDate>,
    /// The highest newest catch of moths, per trap per night.
    pub caught: Option<f64>,
    /// The first day of its first split.
    pub split: Option<NaiveDate>,
    /// The day on which a trap is read next.
    pub due: Option<NaiveDate>,
    /// How much there is that somebody should look at.
    pub to_look_at: usize,
    /// Whether what the next check may take back is shown.
    all: bool,
    is_asked: bool,
}

/// Something that somebody should look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LookAt {
    /// What.
    pub words: String,
    /// Whether the block's table of traps says more.
    pub of_traps: bool,
}

impl<'a> FarmRow<'a> {
    /// Of a block whose adviser `is_asked` to decide its start. Before growers, without `all`, nothing stands that the
    /// next check may take back, and nothing that only advisers are asked.
    #[must_use]
    pub fn of(season: &'a BlockSeason, is_asked: bool, all: bool) -> Self {
        let is_asked = is_asked && all;
        let hides_start = !all && !season.start.status.is_shown_to_growers();
        let next =
            next_mark(season).filter(|(reading, _)| !(hides_start && reading.rests_on_start));
        let next = next.map(|(_, projection)| projection.early);
        let moths = season.last_read.iter();
        let moths = moths.filter(|read| read.catch.kind != TrapKind::Egg);
        let caught = moths.filter_map(|read| read.catch.per_trap_night());
        let readings = season.work.readings.iter();
        let due = readings.filter(|reading| !reading.optional);
        let due = due.map(|reading| reading.due).min();
        let start = season.start.date.filter(|_| !hides_start);
        let split = season.exposure.first().and_then(|of| of.split.days());
        let to_look_at = [
            is_asked,
            has_no_heat(season),
            unread(season) > 0,
            !late(season).is_empty(),
            !past_life(season).is_empty(),
        ];
        let to_look_at = to_look_at.into_iter().filter(|is| *is).count();
        Self {
            season,
            says: to_look_at > 0 || says(season, start, next, due),
            start,
            next,
            caught: caught.reduce(f64::max),
            split: split.map(|days| days.earliest),
            due,
            to_look_at,
            all,
            is_asked,
        }
    }

    /// What stands in it.
    #[must_use]
    pub fn cells(&self, words: Words) -> BlockRow {
        let row = row(words, self.season);
        if self.all || self.season.start.status.is_shown_to_growers() {
            return row;
        }
        BlockRow {
            start: "not known yet".to_owned(),
            next: if self.next.is_some() {
                row.next
            } else {
                String::new()
            },
            ..row
        }
    }

    /// What somebody should look at.
    #[must_use]
    pub fn look_at(&self, words: Words) -> Vec<LookAt> {
        let season = self.season;
        let mut lines = Vec::new();
        let line = |words: String, of_traps: bool| LookAt { words, of_traps };
        if self.is_asked {
            let why = words.why_start(&season.start.evidence.why);
            lines.push(line(
                format!("egg-laying start to be decided: {why}"),
                false,
            ));
        }
        if let (true, Err(why)) = (has_no_heat(season), &season.degree_days) {
            let why = words.why_not(why);
            lines.push(line(format!("can't tell its heat: {why}"), false));
        }
        match unread(season) {
            0 => {}
            traps => lines.push(line(format!("{} never read", plural(traps, "trap")), true)),
        }
        let late = late(season);
        let since = late.iter().map(|reading| reading.due).min();
        if let Some(since) = since {
            let traps = few(late.iter().map(|reading| reading.trap.as_str()), "trap");
            lines.push(line(
                format!("{traps} late, since {}", words.day(since)),
                true,
            ));
        }
        let past = past_life(season);
        if !past.is_empty() {
            let parts: Vec<String> = past
                .iter()
                .map(|due| format!("{} of {}", due.part.words(), due.trap))
                .collect();
            let parts = few(parts.iter().map(String::as_str), "part");
            lines.push(line(format!("{parts} past service life"), true));
        }
        lines
    }
}

/// The blocks whose adviser is asked to decide their start, over all advisers.
#[must_use]
pub fn undecided_blocks(seasons: &[BlockSeason]) -> BTreeSet<BlockId> {
    let mut by_adviser: BTreeMap<&PersonId, Vec<&BlockSeason>> = BTreeMap::new();
    for season in seasons {
        by_adviser
            .entry(&season.block.adviser)
            .or_default()
            .push(season);
    }
    let lagging = by_adviser.values().flat_map(|seasons| lagging(seasons));
    lagging
        .map(|lagging| lagging.season.block.id.clone())
        .collect()
}

fn has_no_heat(season: &BlockSeason) -> bool {
    season.heat_from.is_some() && season.degree_days.is_err()
}

/// Traps of which no reading was ever entered.
fn unread(season: &BlockSeason) -> usize {
    let unread = season.unknown.unread.iter();
    let unread = unread.filter(|unread| unread.to.is_none());
    unread.map(|unread| unread.traps.len()).sum()
}

/// Traps whose reading is overdue.
fn late(season: &BlockSeason) -> Vec<&ReadingDue> {
    let readings = season.work.readings.iter();
    let late = readings.filter(|reading| season.reading_state(reading) == DueState::Overdue);
    late.collect()
}

/// Parts that serve past their life, where one may enter.
fn past_life(season: &BlockSeason) -> Vec<&ServiceDue> {
    if season.work.closed_until.is_some() {
        return Vec::new();
    }
    let service = season.work.service.iter();
    service
        .filter(|due| due.days_past(season.as_of) > 0)
        .collect()
}

/// A few things by name, many by their number.
fn few<'a>(names: impl ExactSizeIterator<Item = &'a str>, one: &str) -> String {
    match names.len() {
        ..=FEW => names.collect::<Vec<_>>().join(", "),
        count => plural(count, one),
    }
}

fn says(
    season: &BlockSeason,
    start: Option<NaiveDate>,
    next: Option<NaiveDate>,
    due: Option<NaiveDate>,
) -> bool {
    let today = season.as_of;
    let lately = |day: NaiveDate| (0..=LATELY_DAYS).contains(&(today - day).num_days());
    let passed = season.marks.iter().any(|reading| match reading.outcome {
        Outcome::Passed { date, .. } => reading.told && lately(date),
        _ => false,
    });
    let near = next.is_some_and(|early| (early - today).num_days() <= NEAR_DAYS);
    let overdue = due.is_some_and(|due| due < today);
    was_read(season) || passed || near || overdue || start.is_some_and(lately)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::Orchard;
    use crate::sample;
    use crate::season::tests::date;
    use crate::trapping::{StartStatus, Visit};
    use chrono::Days;

    /// As of 7 June 2021. Two egg traps that were read on 20 May last; a pheromone trap read on a day of its own, with a
    /// lure that serves 42 days from its hanging on 20 March.
    fn season(moths_on: Option<NaiveDate>) -> BlockSeason {
        let hung = date(2021, 3, 20);
        let block = sample::block();
        let id = block.id.as_str();
        let traps = [
            ("E1", TrapKind::Egg),
            ("E2", TrapKind::Egg),
            ("P1", TrapKind::Pheromone),
        ]
        .map(|(trap, kind)| match kind {
            TrapKind::Egg => sample::trap(trap, kind, hung),
            _ => sample::served_trap(trap, id, kind, hung),
        });
        let eggs = ["E1", "E2"].map(|id| Visit {
            eggs: Some(0),
            ..sample::visit(id, date(2021, 5, 20))
        });
        let moths = moths_on.into_iter().flat_map(|day| {
            let counts = [(day - Days::new(7), 0), (day, 14)];
            counts.map(|(day, males)| Visit {
                males: Some(males),
                ..sample::visit("P1", day)
            })
        });
        let visits = eggs.into_iter().chain(moths).collect();
        let orchard = Orchard::new(vec![block], traps.into(), sample::products(42));
        sample::season(&orchard, visits, &[], date(2021, 6, 7))
    }

    fn lines(row: &FarmRow<'_>) -> Vec<String> {
        let look_at = row.look_at(Words::default()).into_iter();
        look_at.map(|line| line.words).collect()
    }

    #[test]
    fn late_traps_and_worn_out_parts_are_named_and_lead_to_the_traps() {
        let season = season(Some(date(2021, 6, 6)));
        let row = FarmRow::of(&season, false, true);
        let due = season.work.readings.iter().map(|reading| reading.due).min();
        assert_eq!(row.due, due);
        let since = Words::default().day(due.unwrap());
        assert_eq!(
            lines(&row),
            [
                format!("E1, E2 late, since {since}"),
                "lure of P1, liner of P1 past service life".to_owned(),
            ]
        );
        assert!(
            row.look_at(Words::default())
                .iter()
                .all(|line| line.of_traps)
        );
        assert_eq!(row.to_look_at, 2);
        assert!(row.says);
    }

    #[test]
    fn who_is_not_advised_sees_no_start_that_is_not_firm_and_is_not_asked() {
        let mut season = season(None);
        season.start.status = StartStatus::Provisional;
        season.start.date = Some(date(2021, 5, 1));
        let (adviser, grower) = (
            FarmRow::of(&season, true, true),
            FarmRow::of(&season, true, false),
        );
        assert_eq!(adviser.start, season.start.date);
        assert_eq!((grower.start, grower.next), (None, None));
        assert!(lines(&adviser)[0].starts_with("egg-laying start to be decided"));
        assert!(!lines(&grower).iter().any(|line| line.contains("decided")));
        let cells = grower.cells(Words::default());
        assert_eq!(
            (cells.start.as_str(), cells.next.as_str()),
            ("not known yet", "")
        );

        season.start.status = StartStatus::ByHand;
        let grower = FarmRow::of(&season, false, false);
        assert_eq!(grower.start, season.start.date);
    }

    #[test]
    fn the_catch_it_is_sorted_by_is_of_moths() {
        let read = season(Some(date(2021, 6, 6)));
        assert!(FarmRow::of(&read, false, true).caught.is_some());
        assert_eq!(FarmRow::of(&season(None), false, true).caught, None);
    }

    #[test]
    fn a_few_things_are_named_and_many_counted() {
        let names = ["a", "b", "c", "d"];
        assert_eq!(few(names[..1].iter().copied(), "trap"), "a");
        assert_eq!(few(names[..3].iter().copied(), "trap"), "a, b, c");
        assert_eq!(few(names.iter().copied(), "trap"), "4 traps");
    }
}
