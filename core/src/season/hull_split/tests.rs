use super::*;
use crate::sample::{block, note};
use crate::trapping::SplitCheck;

fn date(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap()
}

const AS_OF: NaiveDate = NaiveDate::from_ymd_opt(2021, 6, 20).expect("a day of the calendar");

fn of(notes: &[Note]) -> HullSplit {
    HullSplit::of(&block(), "Nonpareil", notes, AS_OF)
}

fn seen(on: NaiveDate) -> Note {
    note(on, Some("Nonpareil"), NoteKind::HullSplit)
}

fn expected(on: NaiveDate, day: NaiveDate) -> Note {
    note(on, Some("Nonpareil"), NoteKind::HullSplitExpected(day))
}

fn days(earliest: NaiveDate, likely: NaiveDate, latest: NaiveDate) -> Expected {
    Expected {
        earliest,
        likely,
        latest,
    }
}

/// So many days in July of this year.
fn july(earliest: u32, likely: u32, latest: u32) -> Expected {
    let [earliest, likely, latest] = [earliest, likely, latest].map(|day| date(2021, 7, day));
    days(earliest, likely, latest)
}

#[test]
fn what_is_seen_comes_before_what_is_expected_and_that_before_earlier_years() {
    let bloom = note(date(2021, 2, 18), None, NoteKind::Bloom);
    let before = seen(date(2020, 7, 4));
    let hoped = expected(date(2021, 5, 1), date(2021, 7, 8));
    let now = seen(date(2021, 6, 18));
    let all = [bloom.clone(), before.clone(), hoped.clone(), now];
    assert_eq!(of(&all), HullSplit::Seen(date(2021, 6, 18)));
    assert_eq!(of(&all[..3]), HullSplit::Expected(july(3, 8, 13)));
    assert!(matches!(
        of(&all[..2]),
        HullSplit::EarlierYears { years: 1, .. }
    ));
    // 130 to 165 days after 18 February: 28 June to 2 August.
    let after = days(date(2021, 6, 28), date(2021, 7, 15), date(2021, 8, 2));
    assert_eq!(
        of(&all[..1]),
        HullSplit::AfterBloom {
            days: after,
            bloom: date(2021, 2, 18)
        }
    );
    assert_eq!(of(&[]), HullSplit::NotKnown);
}

#[test]
fn earlier_years_give_their_mean_and_what_one_more_is_within() {
    // 1, 4 and 10 July of years without a leap day: mean 5 July, squares 16 + 1 + 25 = 42; variance
    // (2 · 36 + 42) / (2 + 2) = 28.5; 1.2816 · √(28.5 · 4/3) = 7.9, 8 days to each side.
    let three = [
        seen(date(2017, 7, 1)),
        seen(date(2018, 7, 4)),
        seen(date(2019, 7, 10)),
    ];
    let by_them = |days| HullSplit::EarlierYears { days, years: 3 };
    let range = days(date(2021, 6, 27), date(2021, 7, 5), date(2021, 7, 13));
    assert_eq!(of(&three), by_them(range));
    // One year: 1.2816 · √(36 · 2) = 10.9, 11 days.
    let range = days(date(2021, 6, 20), date(2021, 7, 1), date(2021, 7, 12));
    let one = HullSplit::EarlierYears {
        days: range,
        years: 1,
    };
    assert_eq!(of(&three[..1]), one);
}

#[test]
fn a_check_that_found_none_split_yet_moves_what_is_expected_behind_it() {
    let none_yet = NoteKind::HullSplitCheck(SplitCheck {
        top: Some(0.0),
        middle: None,
        low: None,
        trees: 6,
        stage: None,
    });
    let notes = [
        expected(date(2021, 5, 1), date(2021, 6, 16)),
        note(date(2021, 6, 19), Some("Nonpareil"), none_yet),
    ];
    // Expected 11 to 21 June; none had split on the 19th, so that as much as the late side is left from there.
    let range = days(date(2021, 6, 20), date(2021, 6, 21), date(2021, 6, 25));
    assert_eq!(of(&notes), HullSplit::Expected(range));
}

fn block_split(varieties: &[(&str, HullSplit)]) -> BlockSplit {
    let varieties: Vec<(String, HullSplit)> = varieties
        .iter()
        .map(|(variety, split)| ((*variety).to_owned(), *split))
        .collect();
    BlockSplit::of(&varieties)
}

#[test]
fn the_blocks_first_split_is_the_earliest_of_its_varieties() {
    let (early, late) = (
        HullSplit::Seen(date(2021, 7, 2)),
        HullSplit::Expected(july(20, 25, 30)),
    );
    let both = block_split(&[("Nonpareil", early), ("Monterey", late)]);
    let known = |variety: &str, split: HullSplit, unknown: &[&str]| BlockSplit::Known {
        variety: variety.to_owned(),
        split,
        days: split.days().unwrap(),
        unknown_before: unknown.iter().map(ToString::to_string).collect(),
    };
    assert_eq!(both, known("Nonpareil", early, &[]));
    // A variety listed after the known one cannot have split before it.
    let unknown = HullSplit::NotKnown;
    let first = block_split(&[("Nonpareil", early), ("Monterey", unknown)]);
    assert_eq!(first, known("Nonpareil", early, &[]));
    let alone = block_split(&[("Nonpareil", unknown), ("Monterey", late)]);
    assert_eq!(alone, known("Monterey", late, &["Nonpareil"]));
}

#[test]
fn no_generation_counts_from_days_after_bloom() {
    let bloom = HullSplit::AfterBloom {
        days: july(1, 10, 30),
        bloom: date(2021, 2, 18),
    };
    assert_eq!(block_split(&[("Nonpareil", bloom)]), BlockSplit::NotKnown);
}
