//! What is told of crops whose dates do not count from an egg-laying start, or that have none.

use std::collections::{BTreeMap, BTreeSet};

use crate::ledger::{Change, Moment, Notice, Past, Value, decide, facts};
use crate::orchard::{Crop, Orchard};
use crate::season::BlockSeason;
use crate::season::tests::{date, new_year::season_of_crop, received};

use crate::wording::Words;
use crate::wording::language::Language;

use super::*;

/// Past years of 16, 20 and 24 degree-days a day, this one of 20: 1700 on 26 March, 2200 about 20
/// April.
fn season(crop: Crop) -> BlockSeason {
    let as_of = date(2021, 4, 10);
    season_of_crop(crop, &received(as_of), as_of)
}

/// Every text of the sheet and of the digest.
fn texts(season: &BlockSeason) -> Vec<String> {
    let words = Words::default();
    let sheet = Sheet::of(words, season);
    let orchard = Orchard::new(Vec::new(), Vec::new(), Vec::new());
    let of = MadeOf {
        words,
        language: Language::English,
        day: season.as_of,
        orchard: &orchard,
        stations: &[],
        names: &BTreeMap::new(),
    };
    let told = digest(&of, &[season], &notices(season), Vec::new(), |_| None);
    let answers = sheet
        .answers
        .into_iter()
        .map(|(label, answer)| format!("{label}: {answer}"));
    let rows = told
        .blocks
        .rows
        .into_iter()
        .flat_map(|row| [row.start, row.next]);
    let news = told.news.into_iter();
    let news = news.flat_map(|item| [item.says, item.rests_on.unwrap_or_default()]);
    answers
        .chain(sheet.evidence)
        .chain(rows)
        .chain(news)
        .chain(told.quiet)
        .chain([told.headline])
        .chain(told.trouble)
        .collect()
}

fn notices(season: &BlockSeason) -> Vec<Notice> {
    let moment = Moment {
        today: season.as_of,
        told_before: None,
        past: Past::Listed,
    };
    decide(&facts(season), &[], moment)
}

#[test]
fn pistachio_is_told_flight_peaks_and_never_of_an_awaited_start_or_of_eggs() {
    let texts = texts(&season(Crop::Pistachio));
    let holds = |text: &str| texts.iter().any(|line| line.contains(text));
    assert!(holds("heat since Jan 1: 1980 °F-days"), "{texts:#?}");
    assert!(
        holds("start of the flights that meet the new crop: passed Mar 26"),
        "{texts:#?}"
    );
    assert!(
        holds("500 °F-days after start of the flights that meet the new crop"),
        "{texts:#?}"
    );
    assert!(
        holds("new-crop flight peak 1 by rearing studies: 760 °F-days"),
        "{texts:#?}"
    );
    assert!(
        holds("start: no date in pistachio counts from an egg-laying start"),
        "{texts:#?}"
    );
    for never in [
        "start yet",
        "none yet",
        "provisional",
        "awaited",
        "hatch",
        "hull split",
    ] {
        assert!(!holds(never), "{never}: {texts:#?}");
    }
    let eggs = texts.iter().filter(|line| line.contains("egg"));
    assert_eq!(eggs.collect::<BTreeSet<_>>().len(), 1, "{texts:#?}");
}

#[test]
fn a_peak_that_counts_from_the_first_of_january_is_told_without_a_start() {
    let season = season(Crop::Pistachio);
    let told: Vec<(String, Change)> = notices(&season)
        .into_iter()
        .map(|notice| (notice.event.to_string(), notice.change))
        .collect();
    let middle = season.marks[1].outcome.projection().unwrap();
    let expected = [
        (
            "mark-passed:summer-peak-1".to_owned(),
            Change::New(Value::Day(date(2021, 3, 26))),
        ),
        (
            "mark-near:summer-peak-2".to_owned(),
            Change::New(Value::from(middle)),
        ),
    ];
    assert_eq!(told, expected);
}

#[test]
fn walnut_is_told_that_it_has_no_dates_and_nothing_is_withdrawn() {
    let season = season(Crop::Walnut);
    let texts = texts(&season);
    let why = "no published degree-day dates for walnut; traps and service only";
    assert!(texts.contains(&format!("dates: {why}")), "{texts:#?}");
    for never in ["egg", "station S,", "can't tell"] {
        let mut of_dates = texts.iter().filter(|line| !line.starts_with("flights:"));
        assert!(
            !of_dates.any(|line| line.contains(never)),
            "{never}: {texts:#?}"
        );
    }
    assert!(notices(&season).is_empty());
}
