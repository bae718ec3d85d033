//! Catches of a block week by week, each beside the same week of the year before.

use chrono::{Datelike, Days, NaiveDate, Weekday};

use crate::orchard::{Orchard, Trap, TrapKind};
use crate::same_day::same_day;
use crate::season::BlockSeason;
use crate::trapping::{Catch, Visits, catches};
use crate::wording::words::rate_words;

/// A block's catches by week, newest week first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeekTable {
    /// The kinds of trap that were read this year.
    pub kinds: Vec<TrapKind>,
    /// The weeks in which a trap was read.
    pub weeks: Vec<Week>,
}

/// One week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Week {
    /// Its Monday.
    pub monday: NaiveDate,
    /// What each kind caught; `None` where no trap of it was read.
    pub cells: Vec<Option<WeekCatch>>,
}

/// What one kind of trap caught in a week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WeekCatch {
    /// The sum of its counts.
    pub count: u32,
    /// Traps read.
    pub traps: usize,
    /// Per trap per night; empty without a night.
    pub rate: String,
    /// The same in the week of a year before; empty where nothing was read.
    pub year_before: String,
}

/// The weeks of a season up to its day, from the visits of the block's own traps.
#[must_use]
pub fn week_table(season: &BlockSeason, orchard: &Orchard, visits: &Visits) -> WeekTable {
    let traps: Vec<&Trap> = orchard.traps_of(&season.block.id).collect();
    let new_year = NaiveDate::from_ymd_opt(season.year, 1, 1).unwrap_or(season.as_of);
    let of_year = catches(&traps, visits, new_year, season.as_of).into_iter();
    let of_year = of_year.filter(|catch| catch.traps_read > 0);
    let kinds: Vec<TrapKind> = of_year.map(|catch| catch.kind).collect();
    let first = new_year.week(Weekday::Mon).first_day();
    let mondays = first
        .iter_weeks()
        .take_while(|monday| *monday <= season.as_of);
    let weeks = mondays.map(|monday| {
        let last = (monday + Days::new(6)).min(season.as_of);
        Week {
            monday,
            cells: cells(&traps, visits, [monday, last], &kinds),
        }
    });
    let mut weeks: Vec<Week> = weeks
        .filter(|week| week.cells.iter().any(Option::is_some))
        .collect();
    weeks.reverse();
    WeekTable { kinds, weeks }
}

fn cells(
    traps: &[&Trap],
    visits: &Visits,
    [from, to]: [NaiveDate; 2],
    kinds: &[TrapKind],
) -> Vec<Option<WeekCatch>> {
    let this = catches(traps, visits, from, to);
    let before = [from, to].map(|day| same_day(day, day.year() - 1));
    let before = match before {
        [Some(from), Some(to)] => catches(traps, visits, from, to),
        _ => Vec::new(),
    };
    let of = |catches: &[Catch], kind: TrapKind| {
        let mut read = catches.iter().filter(|catch| catch.traps_read > 0);
        read.find(|catch| catch.kind == kind).cloned()
    };
    let rate = |catch: &Catch| catch.per_trap_night().map(rate_words).unwrap_or_default();
    let cell = |kind: &TrapKind| {
        let catch = of(&this, *kind)?;
        Some(WeekCatch {
            count: catch.count,
            traps: catch.traps_read,
            rate: rate(&catch),
            year_before: of(&before, *kind).map_or_else(String::new, |catch| rate(&catch)),
        })
    };
    kinds.iter().map(cell).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;
    use crate::season::tests::date;
    use crate::trapping::Visit;

    fn males(trap: &str, day: NaiveDate, males: u32) -> Visit {
        Visit {
            males: Some(males),
            ..sample::visit(trap, day)
        }
    }

    #[test]
    fn each_week_from_its_monday_has_the_kinds_that_were_read_and_the_year_before() {
        let mut traps = vec![
            sample::trap("P1", TrapKind::Pheromone, date(2021, 3, 1)),
            sample::trap("E1", TrapKind::Egg, date(2021, 3, 1)),
            sample::trap("P0", TrapKind::Pheromone, date(2020, 3, 1)),
        ];
        traps[2].removed = Some(date(2020, 12, 1));
        let orchard = Orchard::new(vec![sample::block()], traps, Vec::new());
        // 17 May 2021 is a Monday.
        let visits = vec![
            males("P1", date(2021, 5, 9), 0),
            males("P1", date(2021, 5, 16), 7),
            males("P1", date(2021, 5, 17), 2),
            males("P1", date(2021, 6, 6), 20),
            males("P0", date(2020, 5, 12), 0),
            males("P0", date(2020, 5, 19), 14),
        ];
        let season = sample::season(&orchard, visits.clone(), &[], date(2021, 6, 7));
        let table = week_table(&season, &orchard, &Visits::new(visits));
        assert_eq!(table.kinds, [TrapKind::Pheromone], "no egg trap was read");
        let mondays: Vec<NaiveDate> = table.weeks.iter().map(|week| week.monday).collect();
        let expected = [date(2021, 5, 31), date(2021, 5, 17), date(2021, 5, 10)];
        assert_eq!(mondays[..3], expected, "newest first, empty ones left out");
        let cell = |week: usize| table.weeks[week].cells[0].clone().unwrap();
        assert_eq!((cell(1).count, cell(1).traps), (2, 1));
        assert_eq!(
            (cell(1).rate.as_str(), cell(1).year_before.as_str()),
            ("2.0", "2.0")
        );
        assert_eq!((cell(2).count, cell(2).rate.as_str()), (7, "1.0"));
        assert_eq!(cell(0).year_before, "", "nothing was read in that week");
    }

    #[test]
    fn what_is_read_after_the_day_it_is_looked_at_is_not_there() {
        let trap = sample::trap("P1", TrapKind::Pheromone, date(2021, 3, 1));
        let orchard = Orchard::new(vec![sample::block()], vec![trap], Vec::new());
        let visits = vec![
            males("P1", date(2021, 5, 17), 2),
            males("P1", date(2021, 5, 20), 5),
        ];
        let season = sample::season(&orchard, visits.clone(), &[], date(2021, 5, 18));
        let table = week_table(&season, &orchard, &Visits::new(visits));
        assert_eq!(table.weeks.len(), 1);
        assert_eq!(
            table.weeks[0].cells[0].as_ref().map(|cell| cell.count),
            Some(2)
        );
    }
}
