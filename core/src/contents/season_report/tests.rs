use chrono::NaiveDate;

use super::*;
use crate::id::TrapId;
use crate::orchard::{Orchard, Part, Trap, TrapKind};
use crate::sample;
use crate::season::BlockSeason;
use crate::season::tests::date;
use crate::trapping::{
    HarvestSample, LateChange, LateRound, MissedRound, Note, NoteKind, PartRecord, ReadingRecord,
    Visit,
};

fn record() -> ServiceRecord {
    ServiceRecord {
        within: [date(2021, 3, 1), date(2021, 10, 31)],
        readings: ReadingRecord {
            due: 10,
            in_time: 7,
            late: vec![LateRound {
                due: date(2021, 4, 8),
                made: date(2021, 4, 11),
                days: 3,
                kind: TrapKind::Pheromone,
                traps: 2,
            }],
            missed: vec![MissedRound {
                due: date(2021, 5, 3),
                kind: TrapKind::Egg,
                traps: 1,
            }],
            beside: 4,
            unreadable: 1,
            open: 0,
            empty_weeks: vec![date(2021, 5, 3)],
        },
        parts: vec![PartRecord {
            part: Part::Lure,
            due: 3,
            in_time: 1,
            late: vec![late("P1", Some(date(2021, 5, 18)), 5), late("P2", None, 40)],
        }],
    }
}

fn late(trap: &str, changed: Option<NaiveDate>, nights: u32) -> LateChange {
    LateChange {
        due: date(2021, 5, 13),
        trap: TrapId::new(trap).unwrap(),
        changed,
        nights,
    }
}

fn numbers(row: &ServiceRow) -> [u32; 4] {
    [row.due, row.in_time, row.late, row.not_done]
}

#[test]
fn a_blocks_work_is_a_table_and_what_was_late_is_named() {
    let table = ServiceTable::of_block(Words::default(), &record());
    let rows: Vec<(&str, [u32; 4])> = table
        .rows
        .iter()
        .map(|row| (row.work.as_str(), numbers(row)))
        .collect();
    assert_eq!(
        rows,
        [
            ("traps read", [10, 7, 2, 1]),
            ("lures changed", [3, 1, 1, 1])
        ]
    );
    let expected = [
        "13 readings in all, 4 of them more than fell due",
        "1 visit at which the trap could not be read",
        "weeks in which readings fell due and none was made, by their Mondays: May 3",
        "read late: 2 pheromone traps due Apr 8, read Apr 11, 3 days late",
        "not read: 1 egg trap due May 3",
        "lures past their life: P2 to May 13, not changed, 40 nights past its life; P1 to May 13, changed May 18, 5 \
         nights past its life",
    ];
    assert_eq!(table.lines, expected);
}

#[test]
fn several_blocks_add_up() {
    let records = [&record(), &record()];
    let table = ServiceTable::of(Words::default(), &records);
    assert_eq!(numbers(&table.rows[0]), [20, 14, 4, 2]);
    assert_eq!(
        table.lines[0],
        "26 readings in all, 8 of them more than fell due"
    );
}

#[test]
fn mails_are_counted_in_a_sentence() {
    let of = |sent: &[(MailKind, u32)], given_up| {
        mails(&MailsSent {
            sent: sent.into(),
            given_up,
        })
    };
    assert_eq!(of(&[], 0), "none");
    let all = [
        (MailKind::Alert, 1),
        (MailKind::Letter, 29),
        (MailKind::Summary, 2),
    ];
    assert_eq!(
        of(&all, 0),
        "1 key-date alert, 29 weekly letters and 2 summaries"
    );
    let failed = of(&[(MailKind::Alert, 3)], 1);
    assert_eq!(failed, "3 key-date alerts; 1 mail could not be delivered");
}

#[test]
fn differences_are_days_before_and_after() {
    let all = [-2, -1, 0, 1, 4].map(marks::beside);
    let expected = [
        "2 days before",
        "1 day before",
        "same day",
        "1 day after",
        "4 days after",
    ];
    assert_eq!(all, expected);
}

/// A trap a year, hung on 1 March and read on 20 May, 80 nights later, and moved in 2017.
fn season(notes: &[Note]) -> BlockSeason {
    let caught = [(2021, 160), (2020, 240), (2019, 40), (2018, 80), (2017, 8)];
    let trap = |(year, _): &(i32, u32)| {
        let hung = date(*year, 3, 1);
        let mut trap: Trap =
            sample::served_trap(&format!("P{year}"), "B", TrapKind::Pheromone, hung);
        trap.removed = Some(date(*year, 11, 1));
        trap.place.row = if *year == 2017 { "9" } else { "12" }.into();
        trap
    };
    let read = |(year, moths): &(i32, u32)| Visit {
        moths: Some(*moths),
        ..sample::visit(&format!("P{year}"), date(*year, 5, 20))
    };
    let traps = caught.iter().map(trap).collect();
    let orchard = Orchard::new(vec![sample::block()], traps, sample::products(200));
    let visits = caught.iter().map(read).collect();
    sample::season(&orchard, visits, notes, date(2021, 12, 31))
}

#[test]
fn years_stand_beside_each_other_and_those_that_differ_have_a_star() {
    let table = CatchTable::of(Words::default(), &season(&[])).unwrap();
    assert_eq!(table.years, [2021, 2020, 2019, 2018, 2017]);
    let row = &table.rows[0];
    assert_eq!(row.title, "pheromone traps, males");
    let expected = [
        "2.0 (160 in 80)",
        "3.0 (240 in 80)",
        "0.5 (40 in 80)",
        "1.0 (80 in 80)",
        "0.1 (8 in 80) *",
    ];
    assert_eq!(row.cells, expected);
    let expected = [
        "Pheromone traps: higher than in 2 of 3 earlier seasons alike in traps, lure, place, regime and service",
        "* Pheromone traps, not compared: 2017 other places",
        "Catches have not predicted damage reliably",
    ];
    assert_eq!(table.notes, expected);
}

#[test]
fn a_report_holds_samples_and_rejects_the_adviser_and_the_caution() {
    let sampled = HarvestSample {
        nuts: 500,
        orangeworm: 10,
        ants: 2,
        ..HarvestSample::default()
    };
    let notes = [
        sample::note(date(2020, 8, 9), None, NoteKind::Rejects(3.0)),
        sample::note(date(2021, 8, 12), None, NoteKind::Rejects(1.5)),
        sample::note(
            date(2021, 8, 10),
            Some("Nonpareil"),
            NoteKind::HarvestSample(sampled),
        ),
    ];
    let season = season(&notes);
    let insect = sample::insect();
    let block = BlockOfSeason {
        season: &season,
        notes: &notes,
        service: record(),
        starts: Vec::new(),
        charts: Vec::new(),
    };
    let source = SeasonSource {
        farm: "Test orchards".into(),
        note: None,
        authority: "the county",
        grower: "Gil".into(),
        advisers: vec![Signature {
            name: "Ada".into(),
            licence: Some("PCA 12".into()),
            phone: None,
        }],
        blocks: vec![block],
        insects: vec![&insect, &insect],
        stations: vec!["station S: the yard".into()],
        mails: MailsSent::default(),
    };
    let report = season_report(Words::default(), &source).unwrap();
    let samples = &report.blocks[0].samples;
    assert_eq!(samples.harvest.len(), 1);
    assert_eq!(samples.harvest[0].share, "2.0 (1.1–3.6)");
    assert_eq!(samples.others.len(), 1);
    assert!(samples.others[0].starts_with("Aug 12 2021: rejects 1.5 %"));
    assert_eq!(
        (report.year, report.overview[0].readings.as_str()),
        (2021, "7 of 10")
    );
    assert!(report.caution.contains("Ask the county about permits"));
    // A source that two crops share is named once.
    let heat = report
        .sources
        .iter()
        .filter(|line| line.contains(", heat: "));
    assert_eq!(heat.count(), 1);
    assert_eq!(
        season_report(
            Words::default(),
            &SeasonSource {
                blocks: Vec::new(),
                ..source
            }
        ),
        None
    );
}
