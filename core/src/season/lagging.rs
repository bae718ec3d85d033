//! Blocks whose egg-laying start is waited for longer than it should be: somebody has to decide.

use chrono::NaiveDate;

use crate::temperature::DegreeDays;
use crate::trapping::{EggLayingStart, StartStatus, WhyStart};

use super::{BlockSeason, StationHeat, new_year};

/// So much heat since 1 January, and a start is late wherever it is. Common practice, no source.
const LATE_AT: f64 = 600.0;

/// Heat since 1 January, to the newest day and to the start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatOfYear {
    /// To the newest station day.
    pub now: DegreeDays,
    /// To the egg-laying start, where there is one that is firm.
    pub at_start: Option<DegreeDays>,
}

impl Lagging<'_> {
    /// Whether it is news of the day: the newest check, of the day before, left it in doubt.
    #[must_use]
    pub fn is_new(&self) -> bool {
        let newest = self.season.start.evidence.newest_check;
        let fresh = newest.is_some_and(|check| (self.season.as_of - check.date).num_days() <= 1);
        is_doubted(self.season) && fresh
    }
}

impl HeatOfYear {
    /// Of one block; `None` while days are missing.
    pub(super) fn of(start: &EggLayingStart, heat: &StationHeat) -> Option<Self> {
        let from = new_year(heat.as_of());
        let (series, newest) = heat.known().ok()?;
        let sum = |to: NaiveDate| series.sum(from, to).ok().map(|sum| sum.degree_days);
        let firm = start.date.filter(|_| start.status.is_firm());
        Some(Self {
            now: sum(newest)?,
            at_start: firm.and_then(sum),
        })
    }
}

/// A block that lags.
#[derive(Debug, Clone, PartialEq)]
pub struct Lagging<'a> {
    /// Its season.
    pub season: &'a BlockSeason,
    /// Heat since 1 January.
    pub heat: DegreeDays,
    /// Blocks whose own egg traps or adviser gave them a start, the earliest first.
    pub neighbours: Vec<(&'a BlockSeason, NaiveDate)>,
}

/// The blocks that lag among those of one adviser: heat since 1 January is beyond that of all neighbours'
/// starts, or beyond 600 °F-days, or the checks and the estimate do not agree. Blocks that borrow their start wait for the one that lends it; once every
/// variety was shaken no date of the year matters any more.
#[must_use]
pub fn lagging<'a>(seasons: &[&'a BlockSeason]) -> Vec<Lagging<'a>> {
    let waiting = seasons.iter().filter(|season| waits(season));
    let lags = waiting.filter_map(|season| {
        let heat = season.beside.heat_of_year?.now;
        let neighbours = neighbours(season, seasons);
        let at_last = neighbours.iter().filter_map(|(other, _)| {
            let at_start = other.beside.heat_of_year?.at_start?;
            Some(at_start.fahrenheit_days())
        });
        let at = at_last
            .reduce(f64::max)
            .map_or(LATE_AT, |last| last.min(LATE_AT));
        (is_doubted(season) || heat.fahrenheit_days() > at).then_some(Lagging {
            season,
            heat,
            neighbours,
        })
    });
    lags.collect()
}

fn waits(season: &BlockSeason) -> bool {
    let status = season.start.status;
    (matches!(status, StartStatus::None | StartStatus::CannotTell) || is_doubted(season))
        && !season.block.borrows_start()
        && season.all_shaken().is_none()
}

/// Whether the checks of a block say that laying began, and the estimate does not agree.
fn is_doubted(season: &BlockSeason) -> bool {
    matches!(season.start.evidence.why, WhyStart::Doubted { .. })
}

/// Other blocks of the same insect with a start of their own.
fn neighbours<'a>(
    season: &BlockSeason,
    seasons: &[&'a BlockSeason],
) -> Vec<(&'a BlockSeason, NaiveDate)> {
    let others = seasons.iter().filter(|other| {
        other.insect == season.insect
            && other.block.id != season.block.id
            && !other.block.borrows_start()
            && other.start.status.is_firm()
    });
    let mut dated: Vec<_> = others
        .filter_map(|other| Some((*other, other.start.date?)))
        .collect();
    dated.sort_by_key(|(_, date)| *date);
    dated
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::BlockId;
    use crate::orchard::own_group;
    use crate::sample::note;
    use crate::season::tests::{date, received, season_of, started};
    use crate::trapping::{Note, NoteKind};

    /// At 20 °F-days a day since 1 January, with a start on 1 May (2420) or none.
    fn season(id: &str, as_of: NaiveDate, with_start: bool) -> BlockSeason {
        let notes = if with_start { started() } else { Vec::new() };
        let mut season = season_of(&received(as_of), &notes, as_of);
        season.block.id = BlockId::new(id).unwrap();
        season.block.start_group = own_group(&season.block.id);
        season
    }

    fn lag(as_of: NaiveDate, others: &[(&str, DegreeDays)]) -> bool {
        let waits = season("B", as_of, false);
        let others: Vec<BlockSeason> = others
            .iter()
            .map(|(id, at_start)| {
                let mut other = season(id, as_of, true);
                (other.start.status, other.start.date) = (StartStatus::ByHand, Some(as_of));
                let heat = other.beside.heat_of_year.as_mut().unwrap();
                heat.at_start = Some(*at_start);
                other
            })
            .collect();
        let all: Vec<&BlockSeason> = std::iter::once(&waits).chain(&others).collect();
        let found = lagging(&all);
        assert!(found.iter().all(|lag| lag.season.block.id.as_str() == "B"));
        assert!(found.iter().all(|lag| lag.neighbours.len() == others.len()));
        !found.is_empty()
    }

    #[test]
    fn a_start_is_late_once_there_was_more_heat_than_at_all_neighbours_starts() {
        let heat = DegreeDays::from_fahrenheit_days;
        // On the morning of 21 January there were 20 days of 20: 400.
        let day = date(2021, 1, 21);
        assert!(!lag(day, &[]));
        assert!(lag(day, &[("C", heat(300.0)), ("D", heat(390.0))]));
        assert!(!lag(day, &[("C", heat(300.0)), ("D", heat(410.0))]));
    }

    #[test]
    fn without_a_neighbour_and_beyond_any_six_hundred_are_late() {
        let heat = DegreeDays::from_fahrenheit_days;
        // 600 on the morning of 31 January is not beyond it, 620 a day later is.
        assert!(!lag(date(2021, 1, 31), &[]) && lag(date(2021, 2, 1), &[]));
        assert!(lag(date(2021, 2, 1), &[("C", heat(900.0))]));
    }

    #[test]
    fn nobody_is_asked_once_every_variety_was_shaken() {
        let as_of = date(2021, 9, 20);
        let shaken = |variety| note(date(2021, 9, 10), Some(variety), NoteKind::Shaken);
        let notes = ["Nonpareil", "Monterey"].map(shaken);
        let asked = |notes: &[Note]| {
            let season = season_of(&received(as_of), notes, as_of);
            lagging(&[&season]).len()
        };
        assert_eq!((asked(&notes[..1]), asked(&notes)), (1, 0));
    }

    #[test]
    fn the_heat_of_a_year_is_summed_to_the_newest_day_and_to_the_start() {
        let season = season("B", date(2021, 5, 11), true);
        let heat = season.beside.heat_of_year.unwrap();
        // 130 days to 10 May, 121 to 1 May, which counts.
        assert!((heat.now.fahrenheit_days() - 2600.0).abs() < 1e-9);
        assert!((heat.at_start.unwrap().fahrenheit_days() - 2420.0).abs() < 1e-9);
    }
}
