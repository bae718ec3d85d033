//! Marks that count from the first of January, and crops that have none.

use super::*;
use crate::insect::{InsectFile, SpreadSource};
use crate::orchard::Crop;

fn insect_of(crop: Crop) -> Insect {
    let text = match crop {
        Crop::Almond => return insect(),
        Crop::Pistachio => {
            include_str!("../../../../config/insects/navel-orangeworm-pistachio.toml")
        }
        Crop::Walnut => include_str!("../../../../config/insects/navel-orangeworm-walnut.toml"),
    };
    toml::from_str::<InsectFile>(text).unwrap().check().unwrap()
}

/// A block's season of a crop, with a start by hand that only almond asks for.
pub(crate) fn season_of_crop(
    crop: Crop,
    received: &[ReceivedDay],
    as_of: NaiveDate,
) -> BlockSeason {
    let block = Block { crop, ..block() };
    let orchard = Orchard::new(vec![block.clone()], Vec::new(), Vec::new());
    let heat = heat(received, as_of);
    let notes = Notes::new(started());
    let insect = insect_of(crop);
    assess_alone(
        &orchard,
        (&block, &insect),
        &heat,
        &Visits::default(),
        &notes,
    )
}

#[test]
fn a_flight_peak_counts_from_the_first_of_january_without_a_start() {
    // 20 a day: 1700 is 85 days, at the end of 26 March. Known to 9 April, 99 days: 1980.
    let as_of = date(2021, 4, 10);
    let season = season_of_crop(Crop::Pistachio, &received(as_of), as_of);
    let peak = Outcome::Passed {
        date: date(2021, 3, 26),
        by_estimate: false,
        firm: true,
    };
    assert_eq!(outcome(&season, "summer-peak-1"), &peak);
    assert_eq!(season.heat_from, Some(date(2021, 1, 1)));
    let sum = season.degree_days.as_ref().unwrap().degree_days;
    assert!((sum.fahrenheit_days() - 1980.0).abs() < 1e-9);
    assert_eq!(season.start.status, StartStatus::NotAsked);
    // 2200 is 220 more: 11 days at the season's 20 and at the middle year's, which is 20.14 less a
    // tenth: 20 April.
    let second = projection(&season, "summer-peak-2");
    assert_eq!(second.middle, date(2021, 4, 20));
    assert_eq!(second.spread, SpreadSource::Assumed);
    assert!(season.marks.iter().all(|reading| !reading.rests_on_start));
}

#[test]
fn the_rearing_studies_stand_beside_the_flight_study_and_are_not_told() {
    let as_of = date(2021, 4, 10);
    let season = season_of_crop(Crop::Pistachio, &received(as_of), as_of);
    let told: Vec<(&str, bool)> = season
        .marks
        .iter()
        .map(|reading| (reading.mark.as_str(), reading.told))
        .collect();
    let expected = [
        ("summer-peak-1", true),
        ("summer-peak-2", true),
        ("summer-peak-2-reared", false),
        ("summer-peak-3", true),
    ];
    assert_eq!(told, expected);
    let reared = &season.marks[2];
    assert!(!reared.waits_for_split);
    // 2460: 480 more, 24 days at 20.
    let middle = reared.outcome.projection().unwrap().middle;
    assert!(
        (date(2021, 5, 2)..=date(2021, 5, 4)).contains(&middle),
        "{middle}"
    );
    let spread = reared.outcome.projection().unwrap().spread;
    assert_eq!(spread, SpreadSource::PartlyAssumed);
}

#[test]
fn a_day_missing_since_the_first_of_january_stands_in_the_way_of_a_peak() {
    let as_of = date(2021, 4, 10);
    let gap = |day: &ReceivedDay| (date(2021, 2, 1)..date(2021, 3, 10)).contains(&day.date);
    let with_gap: Vec<_> = received(as_of).into_iter().filter(|d| !gap(d)).collect();
    let season = season_of_crop(Crop::Pistachio, &with_gap, as_of);
    let why = no_temperatures(Some(date(2021, 2, 1)));
    assert_eq!(season.degree_days, Err(why.clone()));
    let peak = outcome(&season, "summer-peak-1");
    assert_eq!(peak, &Outcome::CannotTell { why });
}

#[test]
fn a_record_that_begins_after_the_first_of_january_says_so() {
    let as_of = date(2021, 4, 10);
    let late: Vec<_> = received(as_of)
        .into_iter()
        .filter(|day| day.date >= date(2021, 1, 20))
        .collect();
    let season = season_of_crop(Crop::Pistachio, &late, as_of);
    let why = WhyNot::BeginAfter {
        first: date(2021, 1, 20),
        from: date(2021, 1, 1),
    };
    let peak = outcome(&season, "summer-peak-1");
    assert_eq!(peak, &Outcome::CannotTell { why });
}

#[test]
fn walnut_has_no_dates_and_the_reason() {
    let as_of = date(2021, 6, 1);
    let season = season_of_crop(Crop::Walnut, &received(as_of), as_of);
    assert!(season.marks.is_empty() && season.heat_from.is_none());
    let why = season.without_marks.clone().unwrap();
    assert_eq!(season.degree_days, Err(WhyNot::WithoutMarks(why)));
}

#[test]
fn egg_traps_are_read_weekly_where_no_start_is_awaited() {
    let traps = ["E1", "E2", "E3"].map(|id| trap(id, TrapKind::Egg, date(2021, 4, 1)));
    let as_of = date(2021, 4, 5);
    let due = |crop| {
        let block = Block { crop, ..block() };
        let orchard = Orchard::new(vec![block.clone()], traps.to_vec(), Vec::new());
        let heat = heat(&received(as_of), as_of);
        let insect = insect_of(crop);
        let season = assess_alone(
            &orchard,
            (&block, &insect),
            &heat,
            &Visits::default(),
            &Notes::default(),
        );
        season.work.readings[0].due
    };
    // Weekly, and twice a week while a start is awaited.
    assert_eq!(due(Crop::Pistachio), date(2021, 4, 8));
    assert!(due(Crop::Almond) < date(2021, 4, 8));
}
