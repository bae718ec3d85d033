use std::collections::BTreeSet;

use chrono::{DateTime, Utc};

use duskflight_core::id::{GroupId, PersonId, StationId};
use duskflight_core::orchard::{Crop, Dispensers, Regime};
use duskflight_core::trapping::{
    Expected, HarvestSample, Mummies, NoteKind, NutSample, Scale, SplitCheck, Stage, StartByHand,
};
use duskflight_core::wording::DateOrder;

use super::forms::{FORMS, OF_KINDS};
use super::*;
use crate::sheet::Dates;

fn orchard() -> Orchard {
    let block = Block {
        id: BlockId::new("B").unwrap(),
        name: "Bench".into(),
        grower: PersonId::new("grower").unwrap(),
        adviser: PersonId::new("adviser").unwrap(),
        advised_beside: Vec::new(),
        scouts: Vec::new(),
        crop: Crop::Almond,
        acres: None,
        regime: Regime::MatingDisruption,
        dispensers: Dispensers::default(),
        near: BTreeSet::new(),
        station: StationId::new("S").unwrap(),
        varieties: vec!["Nonpareil".into(), "Monterey".into()],
        start_group: GroupId::new("B").unwrap(),
        start_rule: None,
    };
    Orchard::new(vec![block], Vec::new(), Vec::new())
}

fn day(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

/// When the sheets of these tests are read.
const NOON: DateTime<Utc> = DateTime::from_timestamp(1_665_403_200, 0).unwrap();

fn import(text: &str) -> Result<Vec<Note>, Vec<String>> {
    let Sheet { rows, faults, .. } = parsed(text, orchard());
    match faults.as_slice() {
        [] => Ok(rows.into_iter().map(|(note, _)| note).collect()),
        faults => Err(faults.iter().map(ToString::to_string).collect()),
    }
}

fn parsed(text: &str, orchard: Orchard) -> Sheet<Asked<Note>> {
    let reading = Reading {
        orchard,
        today: day(10, 10),
        now: NOON,
        by: "ada",
        words: Words::default(),
        dates: Dates::new(DateOrder::MonthDay),
    };
    parse(text.as_bytes(), &reading)
}

/// The kinds of a sheet with these columns besides `block`, which is always B.
fn kinds(header: &str, rows: &[&str]) -> Vec<NoteKind> {
    let rows = rows.iter().map(|row| format!("B,{row}\n"));
    let text = format!("block,{header}\n{}", rows.collect::<String>());
    let notes = import(&text).unwrap();
    notes.into_iter().map(|note| note.kind).collect()
}

#[test]
fn the_forms_are_those_of_the_kinds_and_their_columns_exist() {
    let names: Vec<&str> = FORMS.iter().map(|form| form.name).collect();
    assert_eq!(names, NoteKind::NAMES);
    let of_forms = FORMS
        .iter()
        .flat_map(|form| form.needs.iter().chain(form.may));
    let of_forms: BTreeSet<&str> = of_forms
        .copied()
        .filter(|column| *column != "note")
        .collect();
    assert_eq!(of_forms, OF_KINDS.into_iter().collect());
    assert!(OF_KINDS.iter().all(|column| COLUMNS.all.contains(column)));
}

#[test]
fn kinds_that_carry_a_day_or_nothing_are_read() {
    let read = kinds(
        "date,variety,kind,value,note",
        &[
            "2022-04-20,,egg-laying-start,2022-04-12,eggs seen",
            "2022-02-20,,bloom,,",
            "2022-02-22,Nonpareil,bloom,,",
            "2022-06-01,Nonpareil,hull-split-expected,2022-07-01,",
            "2022-07-04,Nonpareil,hull-split,,",
            "2022-08-12,Nonpareil,shaken,,",
            "2022-05-12,,insecticide,,",
            "2022-03-25,,dispensers-on,,",
            "2022-03-25,,dispensers-until,2022-09-30,",
            "2022-05-12,,no-entry-until,2022-05-16,",
        ],
    );
    assert_eq!(
        read,
        [
            NoteKind::EggLayingStart(day(4, 12).into()),
            NoteKind::Bloom,
            NoteKind::Bloom,
            NoteKind::HullSplitExpected(day(7, 1)),
            NoteKind::HullSplit,
            NoteKind::Shaken,
            NoteKind::Insecticide,
            NoteKind::DispensersOn,
            NoteKind::DispensersUntil(day(9, 30)),
            NoteKind::NoEntryUntil(day(5, 16)),
        ]
    );
}

#[test]
fn a_start_by_hand_may_carry_the_days_within_which_it_lies() {
    let read = kinds(
        "date,kind,value,earliest,latest,note",
        &["2022-04-20,egg-laying-start,2022-04-12,2022-04-10,2022-04-21,eggs seen"],
    );
    let start = StartByHand {
        day: day(4, 12),
        within: Some([day(4, 10), day(4, 21)]),
    };
    assert_eq!(read, [NoteKind::EggLayingStart(start)]);
    let within = |earliest, latest| {
        [
            ("date", "2022-04-20"),
            ("kind", "egg-laying-start"),
            ("value", "2022-04-12"),
            ("earliest", earliest),
            ("latest", latest),
        ]
    };
    refused(
        &within("2022-04-10", ""),
        "row 2, column latest, \"\": give earliest and latest, or neither",
    );
    refused(
        &within("", "2022-04-14"),
        "row 2, column earliest, \"\": give earliest and latest, or neither",
    );
    refused(
        &within("2022-04-13", "2022-04-14"),
        "row 2, column earliest, \"2022-04-13\": lies after value, the start itself",
    );
    refused(
        &within("2022-04-10", "2022-04-11"),
        "row 2, column latest, \"2022-04-11\": lies before value, the start itself",
    );
    refused(
        &within("2021-04-10", "2022-04-14"),
        "row 2, column earliest, \"2021-04-10\": lies in another year than the note's date",
    );
}

#[test]
fn a_hull_split_check_and_the_days_of_shaking_are_read() {
    let read = kinds(
        "date,variety,kind,trees,top,middle,low,scale,stage",
        &[
            "2022-07-05,Nonpareil,hull-split-check,6,5,0.5,,ucce,2c",
            "2022-07-01,Monterey,hull-split-check,6,0,0,0,,",
        ],
    );
    let check = SplitCheck {
        top: Some(5.0),
        middle: Some(0.5),
        low: None,
        trees: 6,
        stage: Stage::new(Scale::Ucce, "2C"),
    };
    let closed = SplitCheck {
        top: Some(0.0),
        middle: Some(0.0),
        low: Some(0.0),
        trees: 6,
        stage: None,
    };
    let expected = [
        NoteKind::HullSplitCheck(check),
        NoteKind::HullSplitCheck(closed),
    ];
    assert_eq!(read, expected);
    let shaking = kinds(
        "date,variety,kind,earliest,value,latest",
        &["2022-07-10,Nonpareil,shake-expected,2022-08-05,2022-08-10,2022-08-20"],
    );
    let days = Expected {
        earliest: day(8, 5),
        likely: day(8, 10),
        latest: day(8, 20),
    };
    assert_eq!(shaking, [NoteKind::ShakeExpected(days)]);
}

#[test]
fn figures_of_this_year_and_of_years_before_are_read() {
    let read = kinds(
        "date,kind,trees,in_tree,on_ground,nuts,orangeworm,twig_borer,ants,other,damaged,percent",
        &[
            "2022-01-12,mummies,20,1.4,3,,,,,,,",
            "2022-01-13,mummies,20,,0,,,,,,,",
            "2021-08-20,harvest-sample,,,,500,10,2,0,1,,",
            "2022-07-20,nut-sample,,,,300,,,,,3,",
            "2021-10-01,rejects,,,,,,,,,,1.2",
            "2020-09-01,field-damage,,,,,,,,,,0",
        ],
    );
    let mummies = |in_tree, on_ground| {
        NoteKind::Mummies(Mummies {
            in_tree,
            on_ground,
            trees: 20,
        })
    };
    let sample = HarvestSample {
        nuts: 500,
        orangeworm: 10,
        twig_borer: 2,
        ants: 0,
        other: 1,
    };
    let nuts = NutSample {
        nuts: 300,
        damaged: 3,
    };
    assert_eq!(
        read,
        [
            mummies(Some(1.4), Some(3.0)),
            mummies(None, Some(0.0)),
            NoteKind::HarvestSample(sample),
            NoteKind::NutSample(nuts),
            NoteKind::Rejects(1.2),
            NoteKind::FieldDamage(0.0),
        ]
    );
}

#[test]
fn whoever_a_row_names_has_entered_it_and_else_who_imports_it() {
    let text = "date,block,kind,by,note\n2022-02-20,B,bloom,Ben,'=early\n2022-02-21,B,bloom,,\n";
    let notes = import(text).unwrap();
    assert_eq!((&*notes[0].by, &*notes[1].by), ("Ben", "ada"));
    assert_eq!(notes[0].text, "=early");
}

/// One row with these cells, by column, and the start of what is said of it.
fn refused(cells: &[(&str, &str)], said: &str) {
    let all = COLUMNS.all;
    let cell = |column: &&str| {
        let found = cells.iter().find(|(name, _)| name == column);
        let otherwise = match *column {
            "block" => "B",
            "note" => "why",
            _ => "",
        };
        found.map_or(otherwise, |(_, text)| *text)
    };
    let row: Vec<&str> = all.iter().map(cell).collect();
    let text = format!("{}\n{}\n", all.join(","), row.join(","));
    let faults = import(&text).unwrap_err();
    assert_eq!(faults.len(), 1, "{faults:?}");
    assert!(faults[0].starts_with(said), "{} is not {said}", faults[0]);
}

#[test]
fn a_wrong_key_is_named() {
    let bloom = |cells: &[(&'static str, &'static str)]| {
        [&[("date", "2022-02-20"), ("kind", "bloom")], cells].concat()
    };
    refused(
        &[("date", "2022-10-11"), ("kind", "bloom")],
        "row 2, column date, \"2022-10-11\": lies after today, 2022-10-10",
    );
    refused(
        &bloom(&[("block", "C")]),
        "row 2, column block, \"C\": no such block in blocks.csv; did you mean \"B\"?",
    );
    refused(
        &bloom(&[("variety", "Monterrey")]),
        "row 2, column variety, \"Monterrey\": block B has Nonpareil, Monterey; did you mean \"Monterey\"?",
    );
    refused(
        &[("date", "2022-07-01"), ("kind", "hul-split")],
        "row 2, column kind, \"hul-split\": no such kind of note; did you mean \"hull-split\"?",
    );
    refused(
        &[("date", "2022-07-01"), ("kind", "frost")],
        "row 2, column kind, \"frost\": no such kind of note; the kinds are egg-laying-start, bloom,",
    );
}

#[test]
fn a_column_that_a_kind_does_not_use_or_lacks_is_named() {
    let date = ("date", "2022-07-10");
    refused(
        &[
            date,
            ("kind", "hull-split"),
            ("variety", "Nonpareil"),
            ("value", "2022-07-01"),
        ],
        "row 2, column value, \"2022-07-01\": hull-split does not use it; its columns: none of its own",
    );
    refused(
        &[date, ("kind", "rejects"), ("percent", "1"), ("nuts", "500")],
        "row 2, column nuts, \"500\": rejects does not use it; its columns: percent",
    );
    refused(
        &[date, ("kind", "no-entry-until")],
        "row 2, column value, \"\": no-entry-until needs it",
    );
    // What was not counted is not zero.
    refused(
        &[
            date,
            ("kind", "harvest-sample"),
            ("nuts", "500"),
            ("orangeworm", "3"),
            ("twig_borer", "0"),
            ("ants", "0"),
        ],
        "row 2, column other, \"\": harvest-sample needs it",
    );
}

#[test]
fn what_is_about_a_variety_or_the_whole_block_says_so() {
    let date = ("date", "2022-07-10");
    for kind in ["hull-split", "shaken"] {
        refused(
            &[date, ("kind", kind)],
            "row 2, column variety, \"\": block B has Nonpareil, Monterey",
        );
    }
    for (kind, value) in [
        ("egg-laying-start", "2022-04-12"),
        ("dispensers-on", ""),
        ("dispensers-until", "2022-09-30"),
        ("no-entry-until", "2022-07-12"),
    ] {
        refused(
            &[
                date,
                ("kind", kind),
                ("value", value),
                ("variety", "Nonpareil"),
            ],
            &format!("row 2, column variety, \"Nonpareil\": leave it empty: {kind} is about"),
        );
    }
}

#[test]
fn days_that_cannot_be_are_named() {
    let date = ("date", "2022-07-10");
    let variety = ("variety", "Nonpareil");
    refused(
        &[date, ("kind", "egg-laying-start"), ("value", "2022-07-11")],
        "row 2, column value, \"2022-07-11\": lies after the day it was decided",
    );
    refused(
        &[
            date,
            variety,
            ("kind", "hull-split-expected"),
            ("value", "2021-07-01"),
        ],
        "row 2, column value, \"2021-07-01\": lies in another year than the note's date",
    );
    refused(
        &[date, ("kind", "no-entry-until"), ("value", "2022-07-09")],
        "row 2, column value, \"2022-07-09\": lies before the day it was posted",
    );
    let shake = |earliest, likely, latest| {
        [
            date,
            variety,
            ("kind", "shake-expected"),
            ("earliest", earliest),
            ("value", likely),
            ("latest", latest),
        ]
    };
    refused(
        &shake("2022-08-10", "2022-08-05", "2022-08-20"),
        "row 2, column value, \"2022-08-05\": the likely day lies before the earliest",
    );
    refused(
        &shake("2022-08-01", "2022-08-05", "2022-08-04"),
        "row 2, column latest, \"2022-08-04\": lies before value, the likely day",
    );
}

#[test]
fn numbers_that_cannot_be_are_named() {
    let date = ("date", "2022-07-10");
    let check = |column, cell| {
        let kind = ("kind", "hull-split-check");
        let mut cells = vec![date, ("variety", "Nonpareil"), kind, (column, cell)];
        cells.extend((column != "trees").then_some(("trees", "6")));
        cells
    };
    for percent in ["101", "-1", "NaN", "half"] {
        refused(
            &check("low", percent),
            &format!("row 2, column low, {percent:?}: write a percentage from 0 to 100"),
        );
    }
    refused(
        &check("trees", "0"),
        "row 2, column trees, \"0\": write how many trees were looked at, at least 1",
    );
    refused(
        &[
            date,
            ("variety", "Nonpareil"),
            ("kind", "hull-split-check"),
            ("trees", "6"),
        ],
        "row 2, column top, \"\": give a percentage by tree position, or a stage with its scale",
    );
    refused(
        &check("stage", "2C"),
        "row 2, column scale, \"\": name the stage's scale: ucce, uc-ipm, letters",
    );
    refused(
        &[&check("stage", "deep-v")[..], &[("scale", "ucce")]].concat(),
        "row 2, column stage, \"deep-v\": the stages of ucce are 1, 2A, 2B, 2C, 3, 4, 5, 6",
    );
    refused(
        &[date, ("kind", "mummies"), ("trees", "20")],
        "row 2, column in_tree, \"\": give in_tree, on_ground or both",
    );
    let sample = |nuts, orangeworm| {
        [
            date,
            ("kind", "harvest-sample"),
            ("nuts", nuts),
            ("orangeworm", orangeworm),
            ("twig_borer", "1"),
            ("ants", "0"),
            ("other", "0"),
        ]
    };
    refused(
        &sample("500", "500"),
        "row 2, column nuts, \"500\": 501 damaged nuts are more than were cracked out",
    );
    refused(
        &sample("0", "0"),
        "row 2, column nuts, \"0\": write how many were cracked out",
    );
}

#[test]
fn a_nut_sample_says_how_many_were_looked_at_and_no_more_are_damaged() {
    let sample = |nuts, damaged| {
        [
            ("date", "2022-07-20"),
            ("kind", "nut-sample"),
            ("nuts", nuts),
            ("damaged", damaged),
        ]
    };
    refused(
        &sample("300", ""),
        "row 2, column damaged, \"\": nut-sample needs it",
    );
    refused(
        &sample("0", "0"),
        "row 2, column nuts, \"0\": write how many were looked at",
    );
    refused(
        &sample("300", "301"),
        "row 2, column damaged, \"301\": more than were looked at",
    );
}

#[test]
fn no_fault_of_a_row_hides_another() {
    let text = "date,block,variety,kind,value,earliest,latest,trees,top,percent,note\n\
        2022-13-01,X,,egg-laying-start,soon,2022-04-31,2022-04-12,,,,\n\
        2022-07-01,B,Nonpariel,hull-split-check,,,,none,101,2,\n";
    let faults = import(text).unwrap_err();
    let columns: Vec<(&str, &str)> = faults
        .iter()
        .map(|fault| {
            let (row, rest) = fault.split_once(", column ").unwrap();
            (row, rest.split(',').next().unwrap())
        })
        .collect();
    let of = |row, columns: &[&'static str]| -> Vec<(&str, &str)> {
        columns.iter().map(|column| (row, *column)).collect()
    };
    let first = of("row 2", &["date", "block", "note", "value", "earliest"]);
    let second = of("row 3", &["variety", "percent", "top", "trees"]);
    assert_eq!(columns, [first, second].concat(), "{faults:#?}");
}

#[test]
fn a_note_stands_once_a_day() {
    let text = "date,block,variety,kind\n2022-07-02,B,Nonpareil,hull-split\n\
        2022-07-02,B,Monterey,hull-split\n2022-07-02,B,Nonpareil,hull-split\n";
    let faults = import(text).unwrap_err();
    assert_eq!(faults.len(), 1);
    assert!(faults[0].starts_with("row 4, column kind, \"hull-split\": stands twice"));
}

#[test]
fn a_start_by_hand_says_why_and_dispensers_are_of_disrupted_blocks() {
    let start = [
        ("date", "2022-04-20"),
        ("kind", "egg-laying-start"),
        ("value", "2022-04-12"),
        ("note", ""),
    ];
    refused(
        &start,
        "row 2, column note, \"\": egg-laying-start needs it",
    );
    let mut block = orchard().blocks()[0].clone();
    block.regime = Regime::Conventional;
    let conventional = Orchard::new(vec![block], Vec::new(), Vec::new());
    let text = "date,block,kind\n2022-03-25,B,dispensers-on\n";
    let faults = parsed(text, conventional).faults;
    let said = "row 2, column kind, \"dispensers-on\": block B is conventional in blocks.csv";
    assert!(faults[0].to_string().starts_with(said), "{}", faults[0]);
}

#[test]
fn a_day_that_no_year_has_shown_is_asked_about_at_its_column() {
    let asked = |row: &str| {
        let text = format!("block,variety,date,kind,earliest,value,latest\nB,Nonpareil,{row}\n");
        let rows = parsed(&text, orchard()).rows.into_iter();
        rows.flat_map(|(_, asked)| asked)
            .map(|asked| asked.to_string())
            .collect::<Vec<_>>()
    };
    let check = |row, said: &str| {
        let asked = asked(row);
        assert_eq!(asked.len(), 1, "{row}: {asked:?}");
        assert!(asked[0].starts_with(said), "{}", asked[0]);
    };
    check(
        "2022-04-01,hull-split,,,",
        "row 2, column date, \"2022-04-01\": a slip of the keys? hull split of almonds is asked about \
         outside of Jun 1 – Sep 30",
    );
    check(
        "2022-06-01,hull-split-expected,,2022-12-07,",
        "row 2, column value, \"2022-12-07\": a slip",
    );
    check(
        "2022-07-20,shake-expected,2022-01-05,2022-08-10,2022-08-20",
        "row 2, column earliest, \"2022-01-05\": a slip",
    );
    assert_eq!(asked("2022-07-02,hull-split,,,"), [""; 0]);
}
