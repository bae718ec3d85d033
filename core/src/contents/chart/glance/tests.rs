use chrono::TimeDelta;

use super::*;
use crate::id::BlockId;
use crate::orchard::{Crop, Orchard, TrapKind};
use crate::sample::{self, note};
use crate::season::tests::new_year::season_of_crop;
use crate::season::tests::{date, received, season_of, started};
use crate::trapping::{Expected, NoteKind, StartStatus, Visit};
use crate::wording::DateOrder;

/// A season of 20 °F-days a day from 1 May on; second-generation egg laying passes on 22 June.
fn season(as_of: NaiveDate) -> BlockSeason {
    season_of(&received(as_of), &started(), as_of)
}

fn named(name: &str, season: BlockSeason) -> BlockSeason {
    let mut season = season;
    season.block.name = name.to_owned();
    season.block.id = BlockId::new(name).unwrap();
    season
}

fn chart_of(seasons: &[BlockSeason], only_firm: bool) -> Option<GlanceChart> {
    let day = seasons[0].as_of;
    let seasons: Vec<&BlockSeason> = seasons.iter().collect();
    glance_chart(Words::default(), &seasons, day, only_firm)
}

fn chart(season: BlockSeason) -> GlanceChart {
    chart_of(&[season], false).unwrap()
}

/// The signs of a kind in the first row.
fn signs(chart: &GlanceChart, kind: SignKind) -> Vec<&Sign> {
    let signs = chart.rows[0].signs.iter();
    signs.filter(|sign| sign.kind == kind).collect()
}

fn key(chart: &GlanceChart) -> Vec<&str> {
    let entries = chart.key.iter().flatten();
    entries.map(|entry| entry.label.as_str()).collect()
}

#[test]
fn a_start_lies_on_its_day_within_its_range() {
    let chart = chart(season(date(2021, 5, 10)));
    let [start] = signs(&chart, SignKind::Start)[..] else {
        panic!("one start");
    };
    assert_eq!(start.state, SignState::Known);
    // Set by hand: three days to each side.
    let days = [date(2021, 4, 28), date(2021, 5, 1), date(2021, 5, 4)];
    assert_eq!([start.early, start.middle, start.late], days);
}

#[test]
fn a_generation_ahead_is_a_range_and_a_passed_one_a_day_and_first_hatch_is_neither() {
    let before = chart(season(date(2021, 5, 10)));
    let marks = signs(&before, SignKind::Mark);
    let labels: Vec<&str> = marks
        .iter()
        .flat_map(|sign| sign.label.as_deref())
        .collect();
    assert_eq!(labels, ["2", "3", "4"]);
    assert!(
        marks
            .iter()
            .all(|sign| sign.is_bar() && sign.early < sign.late)
    );
    let after = chart(season(date(2021, 7, 1)));
    let second = signs(&after, SignKind::Mark)[0];
    // 1056 at 20 a day: the 53rd day from 1 May.
    let day = date(2021, 6, 22);
    assert_eq!([second.early, second.middle, second.late], [day; 3]);
    assert_eq!((second.state, second.is_bar()), (SignState::Known, false));
    let expected = [
        "egg-laying start",
        "generation's egg laying, passed (computed)",
        "projected",
        "range of days",
    ];
    assert_eq!(key(&after), expected);
}

#[test]
fn what_rests_on_a_provisional_start_is_hollow_and_growers_get_none_of_it() {
    let mut season = season(date(2021, 7, 1));
    season.start.status = StartStatus::Provisional;
    let all = chart(season.clone());
    let mut states = all.rows[0].signs.iter().map(|sign| sign.state);
    assert!(states.all(|state| state == SignState::Provisional));
    assert!(key(&all).contains(&"egg-laying start, provisional"));
    let both = [named("Known", self::season(date(2021, 7, 1))), season];
    let firm = chart_of(&both, true).unwrap();
    assert_eq!(firm.rows[1].signs, []);
    assert_eq!(
        firm.rows[1].note.as_deref(),
        Some("no egg-laying start yet")
    );
    assert!(firm.frame.alt.ends_with(" Bench: no egg-laying start yet."));
    assert!(
        !firm.frame.alt.contains("provisional"),
        "{}",
        firm.frame.alt
    );
}

#[test]
fn growers_get_no_passed_mark_that_estimated_days_alone_carry() {
    let mut season = season(date(2021, 7, 1));
    let second = season
        .marks
        .iter_mut()
        .find(|reading| reading.begins_laying);
    if let crate::season::Outcome::Passed { firm, .. } = &mut second.unwrap().outcome {
        *firm = false;
    }
    let first = |only_firm| {
        let chart = chart_of(std::slice::from_ref(&season), only_firm).unwrap();
        signs(&chart, SignKind::Mark)[0].label.clone()
    };
    assert_eq!(first(false).as_deref(), Some("2"));
    assert_eq!(first(true).as_deref(), Some("3"));
}

#[test]
fn splits_and_shakes_are_seen_done_or_expected() {
    let day = date(2021, 8, 20);
    let mut notes = started();
    let later = Expected {
        earliest: date(2021, 9, 1),
        likely: date(2021, 9, 5),
        latest: date(2021, 9, 9),
    };
    for (on, variety, kind) in [
        (date(2021, 7, 10), "Nonpareil", NoteKind::HullSplit),
        (date(2021, 8, 15), "Nonpareil", NoteKind::Shaken),
        (day, "Monterey", NoteKind::ShakeExpected(later)),
    ] {
        notes.push(note(on, Some(variety), kind));
    }
    let chart = chart(season_of(&received(day), &notes, day));
    let split = signs(&chart, SignKind::Split);
    assert_eq!(
        (split[0].middle, split[0].state),
        (date(2021, 7, 10), SignState::Known)
    );
    let shakes = signs(&chart, SignKind::Shake);
    let shakes: Vec<_> = shakes.iter().map(|s| (s.early, s.late, s.state)).collect();
    let done = date(2021, 8, 15);
    let expected = [
        (done, done, SignState::Known),
        (later.earliest, later.latest, SignState::Ahead),
    ];
    assert_eq!(shakes, expected);
}

#[test]
fn nothing_is_drawn_after_the_last_variety_was_shaken() {
    let day = date(2021, 8, 20);
    let mut notes = started();
    notes.push(note(date(2021, 7, 10), None, NoteKind::Shaken));
    let chart = chart(season_of(&received(day), &notes, day));
    let marks = signs(&chart, SignKind::Mark);
    assert_eq!(marks.len(), 1);
    assert_eq!(marks[0].label.as_deref(), Some("2"));
}

/// A block whose pheromone trap was read by the week from 8 April.
fn flown(counts: &[u32]) -> BlockSeason {
    let days = date(2022, 4, 8).iter_days().step_by(7);
    let visits: Vec<Visit> = days
        .zip(counts)
        .map(|(day, count)| Visit {
            males: Some(*count),
            ..sample::visit("P1", day)
        })
        .collect();
    let trap = sample::served_trap("P1", "B", TrapKind::Pheromone, date(2022, 4, 1));
    let orchard = Orchard::new(vec![sample::block()], vec![trap], sample::products(200));
    sample::season(&orchard, visits, &[], date(2022, 6, 30))
}

#[test]
fn a_flight_rises_from_its_start_over_its_peak_to_its_end() {
    let chart = chart(flown(&[0, 0, 0, 5, 10, 20, 10, 0, 0, 0, 0]));
    let weeks = |weeks: i64| date(2022, 4, 8) + TimeDelta::weeks(weeks);
    let expected = FlightHill {
        from: weeks(3),
        started: true,
        highest: weeks(5),
        peaked: true,
        to: weeks(7),
        ended: true,
    };
    assert_eq!(chart.rows[0].flights, [expected]);
    // It has something to show, though no start.
    assert_eq!(chart.rows[0].note, None);
    assert_eq!(key(&chart), ["flight seen in traps"]);
}

#[test]
fn a_flight_that_goes_on_reaches_to_the_newest_reading() {
    let chart = chart(flown(&[0, 0, 0, 5, 10, 20]));
    let flight = chart.rows[0].flights[0];
    assert_eq!((flight.to, flight.ended), (date(2022, 5, 13), false));
    assert!(!flight.peaked);
}

#[test]
fn a_block_without_anything_has_its_row_and_without_any_other_there_is_no_chart() {
    let day = date(2021, 5, 10);
    let empty = named("Empty", season_of(&received(day), &[], day));
    assert_eq!(chart_of(std::slice::from_ref(&empty), false), None);
    let chart = chart_of(&[empty, season(day)], false).unwrap();
    let names: Vec<&str> = chart.rows.iter().map(|row| row.block.as_str()).collect();
    assert_eq!(names, ["Empty", "Bench"]);
    // It has no egg traps.
    let note = chart.rows[0].note.as_deref();
    assert_eq!(note, Some("egg-laying start: can't tell"));
    assert!(glance_chart(Words::default(), &[], day, false).is_none());
}

#[test]
fn after_forty_rows_the_caption_counts_the_rest() {
    let of = |blocks: usize| {
        let season = season(date(2021, 5, 10));
        chart_of(&vec![season; blocks], false).unwrap()
    };
    let (forty, more) = (of(40), of(41));
    assert_eq!((forty.rows.len(), more.rows.len()), (40, 40));
    assert!(!forty.frame.caption.contains("not drawn"));
    assert!(more.frame.caption.ends_with("; 1 more block not drawn"));
}

#[test]
fn days_are_worded_in_the_farms_order_and_blocks_alike_share_a_sentence() {
    let day = date(2021, 7, 1);
    let seasons = ["North", "South"].map(|name| named(name, season(day)));
    let words = Words {
        order: DateOrder::DayMonth,
    };
    let chart = glance_chart(words, &[&seasons[0], &seasons[1]], day, false).unwrap();
    assert_eq!(chart.today.label, "today, 1 Jul");
    assert_eq!(chart.frame.subtitle, "2 blocks, to 1 Jul");
    let expected = "Season at a glance on 1 Jul, 2 blocks. North and South: egg-laying start set by hand \
                    1 May; third-generation egg laying projected ";
    let alt = &chart.frame.alt;
    assert!(alt.starts_with(expected), "{alt}");
    assert_eq!(alt.matches("egg-laying start").count(), 1);
}

#[test]
fn marks_that_are_no_generation_have_letters_which_the_key_names() {
    let as_of = date(2021, 4, 10);
    let chart = chart(season_of_crop(Crop::Pistachio, &received(as_of), as_of));
    let marks = signs(&chart, SignKind::Mark);
    let labels: Vec<&str> = marks
        .iter()
        .flat_map(|sign| sign.label.as_deref())
        .collect();
    assert_eq!(labels, ["A", "B", "C"]);
    let expected = [
        "date by heat, passed (computed)",
        "projected",
        "start of the flights that meet the new crop",
        "new-crop flight peak 1",
        "new-crop flight peak 2",
    ];
    assert_eq!(key(&chart), expected);
}

#[test]
fn all_that_is_drawn_lies_within_the_stretch_which_begins_on_a_monday() {
    for month in 5..=12 {
        let day = date(2021, month, 3);
        let chart = chart(season(day));
        let within = |day: NaiveDate| (chart.frame.first..=chart.frame.last).contains(&day);
        assert_eq!(chart.weeks.first(), Some(&chart.frame.first));
        assert!(within(day) && within(date(2021, 5, 1)));
        let signs = chart.rows.iter().flat_map(|row| &row.signs);
        for sign in signs {
            assert!(within(sign.early) && within(sign.middle), "{sign:?}");
        }
        assert!(chart.frame.last.year() == 2021);
    }
}
