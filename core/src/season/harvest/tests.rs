//! Chances worked by hand and by numerical integration, and margins of whole seasons.

use proptest::prelude::*;

use super::super::tests::{date, heat, insect, started, ten_years};
use chrono::Datelike;

use super::*;
use crate::insect::InsectFile;
use crate::orchard::Orchard;
use crate::sample::{block, note};
use crate::season::{BlockSeason, assess};
use crate::trapping::{Notes, Visits};
use crate::weather::ReceivedDay;

fn check(got: f64, expected: f64) {
    assert!((got - expected).abs() < 1e-9, "{got} {expected}");
}

#[test]
fn a_chance_is_what_integration_by_hand_and_by_scipy_give() {
    // Two equal triangles: a half, whatever their shape.
    check(
        comes_first(Triangle([0.0, 5.0, 10.0]), Triangle([0.0, 5.0, 10.0])),
        0.5,
    );
    // Apart: certain one way or the other.
    check(
        comes_first(Triangle([0.0, 1.0, 2.0]), Triangle([2.0, 5.0, 9.0])),
        1.0,
    );
    check(
        comes_first(Triangle([9.0, 9.5, 10.0]), Triangle([2.0, 5.0, 9.0])),
        0.0,
    );
    // Laying at one instant: the share of the shake before it, (2/10)² · 10/5 = 0.08.
    check(
        comes_first(Triangle([0.0, 5.0, 10.0]), Triangle([2.0; 3])),
        0.08,
    );
    // The rest by scipy.integrate.quad over scipy.stats.triang, to 1e-13.
    let cases = [
        ([10.0, 14.5, 21.0], [5.0, 16.0, 25.0], 0.521_723_500),
        ([10.0, 14.5, 21.0], [8.0, 12.0, 30.0], 0.567_749_252),
        ([3.0, 3.5, 4.0], [0.0, 3.0, 10.0], 0.604_166_667),
        ([0.0, 0.5, 1.0], [0.2, 0.2, 3.0], 0.798_630_952),
    ];
    for (shake, laying, expected) in cases {
        check(comes_first(Triangle(shake), Triangle(laying)), expected);
    }
}

const AS_OF: NaiveDate = NaiveDate::from_ymd_opt(2021, 8, 1).expect("a day of the calendar");

fn expected(days: [u32; 3]) -> NoteKind {
    let [earliest, likely, latest] = days.map(|day| date(2021, 8, day));
    NoteKind::ShakeExpected(Expected {
        earliest,
        likely,
        latest,
    })
}

/// The start on 1 May by hand, hull split of the early variety on 5 July, and more notes of 20 July.
fn with(kinds: &[(Option<&str>, NoteKind)]) -> Vec<Note> {
    let mut notes = started();
    notes.push(note(
        date(2021, 7, 5),
        Some("Nonpareil"),
        NoteKind::HullSplit,
    ));
    notes.push(note(
        date(2021, 7, 18),
        Some("Monterey"),
        NoteKind::HullSplit,
    ));
    notes.extend(
        kinds
            .iter()
            .map(|(of, kind)| note(date(2021, 7, 20), *of, *kind)),
    );
    notes
}

/// Past years and this season at 20 degree-days a day.
fn season_on(as_of: NaiveDate, received: &[ReceivedDay], notes: &[Note]) -> BlockSeason {
    let orchard = Orchard::new(vec![block()], Vec::new(), Vec::new());
    let heat = heat(received, as_of);
    assess(
        &orchard,
        &block(),
        &insect(),
        &heat,
        &Visits::default(),
        &Notes::new(notes.to_vec()),
    )
}

fn season(notes: &[Note]) -> BlockSeason {
    season_on(AS_OF, &ten_years(0, AS_OF), notes)
}

/// The margin of the early variety's third generation.
fn third(season: &BlockSeason) -> Margin {
    season.harvest[0].margins[0].clone()
}

fn chance(season: &BlockSeason) -> Result<f64, WhyNoChance> {
    third(season).chance.map(|chance| chance.shake_first)
}

#[test]
fn the_early_varietys_third_generation_and_the_pollinizers_fourth_matter() {
    let season = season(&with(&[(None, expected([8, 10, 14]))]));
    let compared: Vec<(&str, Vec<&str>)> = season
        .harvest
        .iter()
        .map(|of| {
            let marks = of.margins.iter().map(|margin| margin.mark.as_str());
            (of.variety.as_str(), marks.collect())
        })
        .collect();
    let expected = [
        ("Nonpareil", vec!["third-generation"]),
        ("Monterey", vec!["third-generation", "fourth-generation"]),
    ];
    assert_eq!(compared, expected);
}

#[test]
fn the_margin_counts_days_from_the_shake_to_egg_laying() {
    // 65 days to hull split, 1300, and 723 more: 2023. Known to 31 July: 1840; 183 left at 20.3 less
    // a tenth: 9.05 days, 10 August.
    let season = season(&with(&[(Some("Nonpareil"), expected([8, 12, 14]))]));
    let margin = third(&season);
    let range = *margin.laying.projection().unwrap();
    assert_eq!(range.middle, date(2021, 8, 10));
    let between = margin.between.unwrap();
    assert_eq!(between.likely, -2);
    // The range reaches about 11 days back and 9 on, insect and weather together, but not before
    // the day of telling.
    assert_eq!(range.early, AS_OF);
    assert_eq!(between.least, -13);
    assert_eq!(between.most, (range.late - date(2021, 8, 8)).num_days());
    assert!((10..=13).contains(&between.most), "{between:?}");
    // Nothing is entered for the other variety.
    assert_eq!(season.harvest[1].shake, None);
    assert!(season.harvest[1].margins.is_empty());
}

#[test]
fn the_chance_is_that_of_past_years_spread_and_shake_together() {
    // Past years have 20 + 0.0554 a day for each year since; the last week was 0.305 below their mean,
    // of which half carries over and fades by six days. From 1 August on, 1800 (500 after hull split)
    // was reached 2 days ago, 2023 is reached after 8.94 to 9.16 days, 2200 after 17.56 to 18.00.
    // scipy over those ten triangles and the shake's days gives:
    let cases = [
        ([8, 10, 14], 0.346_006, Likelihood::AboutEven),
        ([13, 13, 13], 0.161_627, Likelihood::Unlikely),
        ([2, 4, 6], 0.856_810, Likelihood::Likely),
        ([17, 20, 24], 0.000_355, Likelihood::Unlikely),
    ];
    for (days, by_scipy, likelihood) in cases {
        let chance = third(&season(&with(&[(None, expected(days))])))
            .chance
            .unwrap();
        let off = (chance.shake_first - by_scipy).abs();
        assert!(off < 1e-4, "{days:?}: {chance:?}");
        assert_eq!(chance.likelihood(), likelihood);
        assert_eq!(chance.past_years, 10);
    }
}

#[test]
fn a_shake_that_was_done_counts_on_its_day() {
    let mut notes = with(&[(None, expected([8, 10, 14]))]);
    notes.push(note(date(2021, 7, 30), Some("Nonpareil"), NoteKind::Shaken));
    let season = season(&notes);
    assert_eq!(
        season.harvest[0].shake,
        Some(Shake::Done(date(2021, 7, 30)))
    );
    assert_eq!(third(&season).between.unwrap().likely, 11);
    // Laying begins from 30 July on; half of that day's shake is before about (0.5 / 11)² of it.
    assert!(chance(&season).unwrap() > 0.99);
}

#[test]
fn the_newest_note_of_this_year_on_the_variety_or_the_block_counts() {
    let newest = |more: &[(NaiveDate, Option<&str>, NoteKind)]| {
        let mut notes = with(&[(None, expected([8, 10, 14]))]);
        notes.extend(more.iter().map(|(day, of, kind)| note(*day, *of, *kind)));
        let [_, likely, _] = season(&notes).harvest[0].shake.unwrap().days();
        likely
    };
    let later = expected([20, 22, 25]);
    let own = Some("Nonpareil");
    assert_eq!(
        newest(&[(date(2021, 7, 25), own, later)]),
        date(2021, 8, 22)
    );
    assert_eq!(
        newest(&[(date(2021, 7, 15), own, later)]),
        date(2021, 8, 10)
    );
    assert_eq!(
        newest(&[(date(2021, 7, 25), Some("Monterey"), later)]),
        date(2021, 8, 10)
    );
    assert_eq!(
        newest(&[(date(2020, 7, 25), own, later)]),
        date(2021, 8, 10)
    );
    assert_eq!(newest(&[(date(2021, 8, 2), own, later)]), date(2021, 8, 10));
    let same_day = [
        (date(2021, 7, 25), own, NoteKind::Shaken),
        (date(2021, 7, 25), own, later),
    ];
    assert_eq!(newest(&same_day), date(2021, 7, 25));
}

#[test]
fn no_chance_is_given_while_one_of_the_three_is_unknown() {
    let shake = [(None, expected([8, 10, 14]))];
    let why = |season: &BlockSeason| chance(season).unwrap_err();
    // Past years: two of them reach a date, but not a chance.
    let few: Vec<ReceivedDay> = ten_years(0, AS_OF)
        .into_iter()
        .filter(|day| day.date.year() >= 2019)
        .collect();
    let few = season_on(AS_OF, &few, &with(&shake));
    assert_eq!(why(&few), WhyNoChance::FewPastYears(2));
    assert!(third(&few).between.is_some());
    // Hull split of the variety: the mark counts on from the one before it meanwhile.
    let mut notes = started();
    notes.extend(shake.map(|(of, kind)| note(date(2021, 6, 1), of, kind)));
    let early = date(2021, 6, 10);
    let unsplit = season_on(early, &ten_years(0, early), &notes);
    assert_eq!(why(&unsplit), WhyNoChance::HullSplitNotEntered);
    // A shake that should be over.
    let after = date(2021, 8, 20);
    let over = season_on(after, &ten_years(0, after), &with(&shake));
    assert_eq!(why(&over), WhyNoChance::ShakeNotEntered);
    // The insect's spread.
    let text = include_str!("../../../../config/insects/navel-orangeworm.toml");
    let unspread = text.replace("range = [500, 900]", "");
    let unspread: Insect = toml::from_str::<InsectFile>(&unspread)
        .unwrap()
        .check()
        .unwrap();
    let orchard = Orchard::new(vec![block()], Vec::new(), Vec::new());
    let heat = heat(&ten_years(0, AS_OF), AS_OF);
    let visits = Visits::default();
    let notes = Notes::new(with(&shake));
    let season = assess(&orchard, &block(), &unspread, &heat, &visits, &notes);
    assert_eq!(why(&season), WhyNoChance::SpreadUnknown);
}

#[test]
fn a_date_that_cannot_be_told_has_no_margin() {
    let notes = [note(date(2021, 7, 20), None, expected([8, 10, 14]))];
    let season = season(&notes);
    let margin = third(&season);
    assert_eq!(margin.between, None);
    assert_eq!(margin.chance, Err(WhyNot::NoStart.into()));
}

#[test]
fn without_a_shake_of_the_block_nothing_is_compared() {
    let other = Note {
        block: "C".parse().unwrap(),
        ..note(date(2021, 7, 20), None, expected([8, 10, 14]))
    };
    assert!(
        season(&[started(), vec![other]].concat())
            .harvest
            .is_empty()
    );
}

proptest! {
    /// Simpson's pieces against a plain sum over ten thousand slices of egg laying.
    #[test]
    fn a_chance_is_the_sum_of_its_slices(
        shake in (0.0_f64..30.0, 0.5_f64..10.0, 0.5_f64..10.0),
        laying in (0.0_f64..30.0, 0.0_f64..15.0, 0.5_f64..15.0),
    ) {
        let triangle = |(low, up, down): (f64, f64, f64)| Triangle([low, low + up, low + up + down]);
        let (shake, laying) = (triangle(shake), triangle(laying));
        let [low, _, high] = laying.0;
        let width = (high - low) / 10_000.0;
        let slices: f64 = (0..10_000)
            .map(|n| low + (f64::from(n) + 0.5) * width)
            .map(|x| laying.density(x) * shake.share_below(x) * width)
            .sum();
        let chance = comes_first(shake, laying);
        prop_assert!((chance - slices).abs() < 1e-4, "{} {}", chance, slices);
        // Whichever comes first: together they are certain.
        let other = comes_first(laying, shake);
        prop_assert!((chance + other - 1.0).abs() < 1e-9, "{} {}", chance, other);
    }
}
