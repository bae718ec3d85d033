//! What the trap side adds to a digest: flights and disruption, exposure of the varieties, earlier years.

use chrono::{Datelike, Weekday};
use serde::{Deserialize, Serialize};

use crate::ledger::{EventKind, Notice};
use crate::orchard::TrapKind;
use crate::season::{BlockSeason, Shake};
use crate::wording::ExposureTable;

use crate::wording::gather::{BlockName, Lines, shared};
use crate::wording::words::Words;

/// A variety's shake is of interest so long after it.
const AFTER_SHAKE_DAYS: i64 = 7;
/// The morning on which a digest lists the varieties that are going to be shaken.
const SHAKES_ON: Weekday = Weekday::Mon;

/// How the varieties of a block are exposed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BlockExposure {
    /// The block's name.
    pub block: String,
    /// Its varieties.
    pub varieties: Vec<ExposureTable>,
}

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

/// Egg laying beside hull split and shake, in a block that has news of either, and once a week where a shake
/// is near.
pub(crate) fn exposed(
    words: Words,
    season: &BlockSeason,
    notices: &[Notice],
) -> Option<BlockExposure> {
    let mut about = notices
        .iter()
        .filter(|notice| notice.block == season.block.id && notice.insect == season.insect);
    let news = about.any(|notice| {
        matches!(
            notice.event.kind(),
            EventKind::Start
                | EventKind::MarkNear
                | EventKind::MarkPassed
                | EventKind::MarginTurned
        )
    });
    let shakes = season.as_of.weekday() == SHAKES_ON && a_shake_is_near(season);
    let varieties = words.exposure(season, true);
    ((news || shakes) && !varieties.is_empty()).then(|| BlockExposure {
        block: season.block.name.clone(),
        varieties,
    })
}

fn a_shake_is_near(season: &BlockSeason) -> bool {
    let mut shakes = season.exposure.iter().filter_map(|of| of.shake);
    shakes.any(|shake| match shake {
        Shake::Expected(_) => true,
        Shake::Done(day) => (season.as_of - day).num_days() <= AFTER_SHAKE_DAYS,
    })
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
    use crate::ledger::{Moment, Past, decide, facts};
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
    fn exposure_is_shown_with_news_and_on_mondays_from_the_first_expectation_to_a_week_after_the_shake()
     {
        use crate::season::tests::{received, season_of, started};
        let date = |month, day| NaiveDate::from_ymd_opt(2021, month, day).unwrap();
        let shake = Expected {
            earliest: date(8, 5),
            likely: date(8, 9),
            latest: date(8, 15),
        };
        let note = |on, kind| sample::note(on, Some("Nonpareil"), kind);
        let mut notes = started();
        notes.push(note(date(7, 20), NoteKind::ShakeExpected(shake)));
        let shown = |notes: &[Note], month, day, notices: &[Notice]| {
            let as_of = date(month, day);
            let season = season_of(&received(as_of), notes, as_of);
            exposed(Words::default(), &season, notices).is_some()
        };
        // 19 and 26 July, 16 and 23 August are Mondays.
        assert!(!shown(&notes, 7, 19, &[]) && shown(&notes, 7, 26, &[]));
        assert!(!shown(&notes, 7, 27, &[]));
        let as_of = date(7, 27);
        let season = season_of(&received(as_of), &notes, as_of);
        let moment = Moment {
            today: as_of,
            told_before: as_of.pred_opt(),
            past: Past::Listed,
        };
        let notices = decide(&facts(&season), &[], moment);
        assert!(shown(&notes, 7, 27, &notices));
        notes.push(note(date(8, 9), NoteKind::Shaken));
        assert!(shown(&notes, 8, 16, &[]) && !shown(&notes, 8, 23, &[]));
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
