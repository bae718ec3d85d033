//! Chances worked by hand and by numerical integration, and margins of whole seasons.

use proptest::prelude::*;

use super::super::tests::{date, heat, insect, started, ten_years};
use chrono::Datelike;

use super::*;
use crate::orchard::Orchard;
use crate::sample::{assess_alone, block, note};
use crate::season::BlockSeason;
use crate::trapping::{Notes, Visits};
use crate::weather::ReceivedDay;

fn laying(middle: f64, below: f64, above: f64) -> TwoSided {
    TwoSided {
        below,
        middle,
        above,
    }
}

#[test]
fn a_chance_is_what_integration_by_hand_and_by_scipy_give() {
    let check = |shake, laying, expected: f64| {
        let got = comes_first(Triangle(shake), laying);
        assert!((got - expected).abs() < 1e-6, "{got} {expected}");
    };
    // An even shake about the middle of an even egg laying: a half.
    check([0.0, 5.0, 10.0], laying(5.0, 3.0, 3.0), 0.5);
    // Apart: certain one way or the other.
    check([0.0, 1.0, 2.0], laying(50.0, 3.0, 3.0), 1.0);
    check([90.0, 91.0, 92.0], laying(50.0, 3.0, 3.0), 0.0);
    // The rest by scipy.integrate.quad over scipy.stats.triang and scipy.stats.norm.
    check([10.0, 14.5, 21.0], laying(16.0, 5.0, 7.0), 0.573_031_090);
    check([10.0, 14.5, 21.0], laying(12.0, 6.0, 4.0), 0.244_997_830);
    check([3.0, 3.5, 4.0], laying(3.0, 5.0, 5.0), 0.460_205_209);
    check([0.0, 0.5, 1.0], laying(0.8, 0.3, 2.0), 0.800_190_578);
}

#[test]
fn the_ends_of_a_range_hold_four_of_five() {
    let of = TwoSided::of([90.0, 100.0, 120.0]);
    assert!((of.share_above(90.0) - 0.9).abs() < 1e-9);
    assert!((of.share_above(100.0) - 0.5).abs() < 1e-12);
    assert!((of.share_above(120.0) - 0.1).abs() < 1e-9);
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
    assess_alone(
        &orchard,
        (&block(), &insect()),
        &heat,
        &Visits::default(),
        &Notes::new(notes.to_vec()),
    )
}

fn season(notes: &[Note]) -> BlockSeason {
    season_on(AS_OF, &ten_years(0, AS_OF), notes)
}

/// The early variety's third generation.
fn third(season: &BlockSeason) -> LayingBeside {
    let mut layings = season.exposure[0].layings.iter();
    let third = layings.find(|laying| laying.mark.as_str() == "third-generation");
    third.unwrap().clone()
}

fn chance(season: &BlockSeason) -> Result<f64, WhyNoChance> {
    let chance = third(season).at_harvest.unwrap().chance.unwrap();
    chance.map(|chance| chance.shake_first)
}

#[test]
fn every_generation_stands_beside_split_and_those_that_matter_beside_the_shake() {
    let season = season(&with(&[(None, expected([8, 10, 14]))]));
    let compared: Vec<(&str, Vec<(&str, bool)>)> = season
        .exposure
        .iter()
        .map(|of| {
            let marks = of.layings.iter();
            let marks = marks.map(|laying| (laying.mark.as_str(), laying.at_harvest.is_some()));
            (of.variety.as_str(), marks.collect())
        })
        .collect();
    let of = |fourth| {
        vec![
            ("second-generation", false),
            ("third-generation", true),
            ("fourth-generation", fourth),
        ]
    };
    assert_eq!(compared, [("Nonpareil", of(false)), ("Monterey", of(true))]);
}

#[test]
fn days_are_counted_from_split_and_shake_to_egg_laying() {
    // 65 days to hull split, 1300, and 723 more: 2023. Known to 31 July: 1840; 183 left at 20.3 less
    // a tenth: 9.05 days, 10 August, for both varieties.
    let season = season(&with(&[(Some("Nonpareil"), expected([8, 12, 14]))]));
    let third = third(&season);
    let range = *third.laying.projection().unwrap();
    assert_eq!(range.middle, date(2021, 8, 10));
    let shake = third.at_harvest.unwrap().between.unwrap();
    assert_eq!(shake.likely, -2);
    assert_eq!(shake.least, (range.early - date(2021, 8, 14)).num_days());
    assert_eq!(shake.most, (range.late - date(2021, 8, 8)).num_days());
    // Split was seen on 5 and 18 July.
    assert_eq!(third.after_split.unwrap().likely, 36);
    let pollinizer = &season.exposure[1];
    assert_eq!(pollinizer.layings[1].after_split.unwrap().likely, 23);
    assert_eq!(pollinizer.layings[1].laying, third.laying);
    // The second generation passed on 22 June, and hatches 100 later.
    let second = &pollinizer.layings[0];
    assert_eq!(second.after_split.unwrap().likely, -26);
    assert_eq!(second.laying.days().unwrap()[0], date(2021, 6, 22));
    assert_eq!(
        second.hatch.as_ref().unwrap().days().unwrap()[0],
        date(2021, 6, 27)
    );
    // Four days after it passed, its hatch is near and within a day or two.
    let soon = season_on(
        date(2021, 6, 26),
        &ten_years(0, date(2021, 6, 26)),
        &started(),
    );
    let hatch = soon.exposure[0].layings[0]
        .hatch
        .as_ref()
        .unwrap()
        .days()
        .unwrap();
    assert!((hatch[2] - hatch[0]).num_days() <= 3, "{hatch:?}");
    assert!(hatch[0] > date(2021, 6, 22), "{hatch:?}");
    // Nothing is entered of the other variety's shake.
    assert_eq!(pollinizer.shake, None);
    assert!(
        pollinizer
            .layings
            .iter()
            .all(|laying| laying.at_harvest.is_none())
    );
}

#[test]
fn a_chance_falls_the_later_the_shake() {
    let chances = [[2, 4, 6], [8, 10, 14], [17, 20, 24]].map(|days| {
        let season = season(&with(&[(None, expected(days))]));
        let chance = third(&season).at_harvest.unwrap().chance.unwrap().unwrap();
        assert_eq!(chance.past_years, 10);
        chance
    });
    let words = chances.map(Chance::likelihood);
    use Likelihood::{AboutEven, Likely, Unlikely};
    assert_eq!(words, [Likely, AboutEven, Unlikely]);
}

#[test]
fn a_shake_that_was_done_is_a_fact_and_has_no_chance() {
    let mut notes = with(&[(None, expected([8, 10, 14]))]);
    notes.push(note(date(2021, 7, 30), Some("Nonpareil"), NoteKind::Shaken));
    let season = season(&notes);
    assert_eq!(
        season.exposure[0].shake,
        Some(Shake::Done(date(2021, 7, 30)))
    );
    assert_eq!(season.shaken("Nonpareil"), Some(date(2021, 7, 30)));
    let margin = third(&season).at_harvest.unwrap();
    assert_eq!((margin.between.unwrap().likely, margin.chance), (11, None));
    // The other variety stands.
    assert_eq!(season.all_shaken(), None);
}

#[test]
fn the_newest_note_of_this_year_on_the_variety_or_the_block_counts() {
    let newest = |more: &[(NaiveDate, Option<&str>, NoteKind)]| {
        let mut notes = with(&[(None, expected([8, 10, 14]))]);
        notes.extend(more.iter().map(|(day, of, kind)| note(*day, *of, *kind)));
        let [_, likely, _] = season(&notes).exposure[0].shake.unwrap().days();
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
    assert!(third(&few).at_harvest.unwrap().between.is_some());
    // Hull split: the mark counts on from the one before it meanwhile.
    let mut notes = started();
    notes.extend(shake.map(|(of, kind)| note(date(2021, 6, 1), of, kind)));
    let early = date(2021, 6, 10);
    let unsplit = season_on(early, &ten_years(0, early), &notes);
    assert_eq!(why(&unsplit), WhyNoChance::HullSplitNotKnown);
    // A shake that should be over.
    let after = date(2021, 8, 20);
    let over = season_on(after, &ten_years(0, after), &with(&shake));
    assert_eq!(why(&over), WhyNoChance::ShakeNotEntered);
}

#[test]
fn a_date_that_cannot_be_told_has_no_margin() {
    let notes = [note(date(2021, 7, 20), None, expected([8, 10, 14]))];
    let season = season(&notes);
    let margin = third(&season).at_harvest.unwrap();
    assert_eq!(margin.between, None);
    assert_eq!(margin.chance, Some(Err(WhyNot::NoStart.into())));
}

#[test]
fn a_shake_of_another_block_is_none_of_this_one() {
    let other = Note {
        block: "C".parse().unwrap(),
        ..note(date(2021, 7, 20), None, expected([8, 10, 14]))
    };
    let season = season(&[started(), vec![other]].concat());
    assert!(season.exposure.iter().all(|of| of.shake.is_none()));
}

proptest! {
    /// Simpson's pieces against a plain sum over ten thousand slices of the shake.
    #[test]
    fn a_chance_is_the_sum_of_its_slices(
        shake in (0.0_f64..30.0, 0.5_f64..10.0, 0.5_f64..10.0),
        of in (0.0_f64..30.0, 0.5_f64..15.0, 0.5_f64..15.0),
    ) {
        let (low, up, down) = shake;
        let shake = Triangle([low, low + up, low + up + down]);
        let of = laying(of.0, of.1, of.2);
        let width = (up + down) / 10_000.0;
        let slices: f64 = (0..10_000)
            .map(|n| low + (f64::from(n) + 0.5) * width)
            .map(|x| shake.density(x) * of.share_above(x) * width)
            .sum();
        let chance = comes_first(shake, of);
        prop_assert!((chance - slices).abs() < 1e-4, "{} {}", chance, slices);
    }
}
