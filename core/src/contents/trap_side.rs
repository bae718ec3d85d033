//! What the trap side adds to a digest: flights and disruption, harvest, earlier years.

use chrono::{Datelike, Weekday};

use crate::orchard::TrapKind;
use crate::season::{BlockSeason, Shake};

use crate::wording::gather::{BlockName, Lines, shared};
use crate::wording::words::Words;

/// A variety's margins are listed so long after it was shaken.
const AFTER_SHAKE_DAYS: i64 = 7;
/// The morning on which a digest lists margins.
const MARGINS_ON: Weekday = Weekday::Mon;

/// What moth traps show on the morning after they were read: the newest flight, the check of mating
/// disruption, and the catches beside those of earlier years.
pub(crate) fn traps_show(words: Words, season: &BlockSeason) -> Vec<String> {
    if !was_just_read(season) {
        return Vec::new();
    }
    let mut lines: Vec<String> = words.flight_now(season).into_iter().collect();
    lines.extend(words.disruption_week(season));
    lines.extend(words.years_briefly(season));
    lines
}

fn was_just_read(season: &BlockSeason) -> bool {
    let moths = season
        .work
        .readings
        .iter()
        .filter(|r| r.kind != TrapKind::Egg);
    let mut last = moths.filter_map(|reading| reading.last);
    last.any(|day| (season.as_of - day).num_days() <= 1)
}

/// Once a week each variety that is going to be shaken or was shaken in the last days, with its margins.
pub(crate) fn at_harvest(words: Words, season: &BlockSeason) -> Vec<Lines> {
    if season.as_of.weekday() != MARGINS_ON {
        return Vec::new();
    }
    let near = season.harvest.iter().filter(|harvest| match harvest.shake {
        None => false,
        Some(Shake::Expected(_)) => true,
        Some(Shake::Done(day)) => (season.as_of - day).num_days() <= AFTER_SHAKE_DAYS,
    });
    let lines = near.map(|harvest| Lines {
        title: format!("{}, {}", season.block.name, harvest.variety),
        lines: words.variety_briefly(harvest),
    });
    lines.filter(|variety| !variety.lines.is_empty()).collect()
}

/// What is not known because it was not entered, blocks with the same line in one.
pub(crate) fn not_known(words: Words, seasons: &[&BlockSeason]) -> Vec<Lines> {
    let lines = seasons.iter().flat_map(|season| {
        let lines = words.not_known_lines(season).into_iter();
        lines.map(|line| (BlockName::of(&season.block), line))
    });
    shared(seasons.len(), lines)
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::orchard::{Orchard, Trap};
    use crate::sample;
    use crate::trapping::{Expected, Note, NoteKind, Visit};

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    /// The block `B` with one pheromone trap hung on 1 July.
    fn season(visits: Vec<Visit>, notes: &[Note], as_of: NaiveDate) -> BlockSeason {
        let trap: Trap = sample::trap("P", TrapKind::Pheromone, date(7, 1));
        let orchard = Orchard::new(vec![sample::block()], vec![trap], Vec::new());
        sample::season(&orchard, visits, notes, as_of)
    }

    #[test]
    fn moth_traps_are_shown_on_the_morning_after_they_were_read() {
        let read = Visit {
            males: Some(3),
            ..sample::visit("P", date(7, 8))
        };
        let shown = |day| {
            traps_show(
                Words::default(),
                &season(vec![read.clone()], &[], date(7, day)),
            )
        };
        assert_eq!(shown(9).len(), 1);
        assert_eq!(shown(10), [""; 0]);
    }

    #[test]
    fn margins_are_shown_on_mondays_from_the_first_expectation_to_a_week_after_the_shake() {
        let shake = Expected {
            earliest: date(8, 5),
            likely: date(8, 9),
            latest: date(8, 15),
        };
        let expected = NoteKind::ShakeExpected(shake);
        let note = |on, kind| sample::note(on, Some("Nonpareil"), kind);
        let mut notes = vec![note(date(7, 20), expected)];
        let shown = |notes: &[Note], month, day| {
            let season = season(Vec::new(), notes, date(month, day));
            at_harvest(Words::default(), &season).len()
        };
        // 18 and 25 July, 15 and 22 August are Mondays.
        assert_eq!((shown(&notes, 7, 18), shown(&notes, 7, 25)), (0, 1));
        assert_eq!(shown(&notes, 7, 26), 0);
        notes.push(note(date(8, 9), NoteKind::Shaken));
        assert_eq!((shown(&notes, 8, 15), shown(&notes, 8, 22)), (1, 0));
    }

    #[test]
    fn blocks_that_lack_the_same_share_a_line() {
        let one = season(Vec::new(), &[], date(7, 30));
        let mut other = one.clone();
        other.block.name = "Knoll".into();
        let titles = |other: &BlockSeason| -> Vec<String> {
            let lines = not_known(Words::default(), &[&one, other]);
            lines.into_iter().map(|lines| lines.title).collect()
        };
        assert_eq!(titles(&other), ["all blocks"]);
        other.unknown.missing.clear();
        assert!(titles(&other).contains(&"Bench".to_owned()));
    }
}
