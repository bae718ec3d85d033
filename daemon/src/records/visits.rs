//! Trap visits as rows of a sheet.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use duskflight_core::id::TrapId;
use duskflight_core::orchard::{Part, Pull, Trap, TrapKind};
use duskflight_core::trapping::{Visit, implausible_count};
use duskflight_core::wording::Words;

use super::cells::{entered_by, unguarded};
use super::reading::{Asked, Reading};
use crate::nearest::suggestion;
use crate::sheet::{self, Columns, Fault, Row, Sheet, keep};

pub(super) const COLUMNS: Columns = Columns {
    all: &[
        "date",
        "trap",
        "eggs",
        "eggs_left",
        "moths",
        "males",
        "females",
        "readable",
        "serviced",
        "note",
        "by",
    ],
    needed: &["date", "trap"],
};

/// The columns of counts.
const COUNTS: [&str; 4] = ["eggs", "moths", "males", "females"];

/// What is wrong with a visit that says nothing.
pub(super) const NOTHING_COUNTED: &str =
    "nothing was counted; give a count, readable no, or what was serviced";

/// What a round sheet carries beside [`COLUMNS`] for whoever makes the round; not looked at here.
pub(super) const FOR_THE_ROUND: [&str; 7] =
    ["route", "block", "gate", "row", "tree", "place", "todo"];

/// The columns of a file: those of a visit, and those of a round sheet.
const OF_FILE: Columns = Columns {
    all: &with_those_of_the_round(),
    needed: COLUMNS.needed,
};

const fn with_those_of_the_round() -> [&'static str; COLUMNS.all.len() + FOR_THE_ROUND.len()] {
    let mut all = [""; COLUMNS.all.len() + FOR_THE_ROUND.len()];
    let mut place = 0;
    while place < all.len() {
        all[place] = match place < COLUMNS.all.len() {
            true => COLUMNS.all[place],
            false => FOR_THE_ROUND[place - COLUMNS.all.len()],
        };
        place += 1;
    }
    all
}

/// Checks every row against the traps that are declared. A row with nothing but its date and trap is
/// of a round sheet and was left blank: it is no visit. Each visit comes with who entered it.
pub(super) fn parse(bytes: &[u8], reading: &Reading<'_>) -> Sheet<Option<Asked<(Visit, String)>>> {
    let traps: BTreeMap<&str, &Trap> = reading
        .orchard
        .traps()
        .iter()
        .map(|trap| (trap.id.as_str(), trap))
        .collect();
    let mut seen: BTreeSet<(TrapId, NaiveDate)> = BTreeSet::new();
    sheet::read(bytes, &OF_FILE, &reading.dates, |row| {
        if is_blank(row) {
            return Ok(None);
        }
        let id = unguarded(row.text("trap"));
        let trap = traps.get(id).copied().ok_or_else(|| {
            let near = suggestion(id, traps.keys().copied());
            row.wrong("trap", format!("no such trap in traps.csv{near}"))
        });
        let visit = visit(row, trap, reading.today)?;
        if seen.insert((visit.trap.clone(), visit.date)) {
            let asked = asked(row, reading.words, &visit).into_iter().collect();
            Ok(Some(((visit, entered_by(row, reading.by)), asked)))
        } else {
            Err(vec![
                row.wrong("trap", format!("stands twice on {}", visit.date)),
            ])
        }
    })
}

/// The question about a count, at the largest that stands there.
fn asked(row: &Row<'_>, words: Words, visit: &Visit) -> Option<Fault> {
    let found = implausible_count(visit)?;
    let counts = [
        ("eggs", visit.eggs),
        ("moths", visit.moths),
        ("males", visit.males),
        ("females", visit.females),
    ];
    let (column, _) = counts.into_iter().max_by_key(|(_, count)| *count)?;
    Some(row.doubt(column, words.implausible(found)))
}

/// Whether nothing was filled in beside what a round sheet comes with, and who made the round.
fn is_blank(row: &Row<'_>) -> bool {
    let of_visit = |column: &&&str| !COLUMNS.needed.contains(column) && **column != "by";
    let mut columns = COLUMNS.all.iter().filter(of_visit);
    columns.all(|column| row.text(column).is_empty())
}

/// The visit of a row; what does not depend on its trap is looked at without one, too.
fn visit(row: &Row<'_>, trap: Result<&Trap, Fault>, today: NaiveDate) -> Result<Visit, Vec<Fault>> {
    let mut wrong = Vec::new();
    let trap = keep(&mut wrong, trap);
    let [eggs, moths, males, females] =
        COUNTS.map(|column| keep(&mut wrong, row.count(column)).flatten());
    let date = keep(&mut wrong, date(row, trap, today));
    let serviced = keep(&mut wrong, serviced(row, trap));
    let readable = keep(&mut wrong, readable(row));
    let eggs_left = keep(&mut wrong, eggs_left(row, trap));
    let counted = COUNTS.iter().any(|column| !row.text(column).is_empty());
    if readable == Some(false) && counted {
        wrong.push(row.wrong("readable", "a trap that could not be read has no counts"));
    }
    let idle = serviced.as_ref().is_some_and(BTreeSet::is_empty) && readable == Some(true);
    if idle && !counted && wrong.is_empty() {
        wrong.push(row.wrong("trap", NOTHING_COUNTED));
    }
    wrong.extend(trap.into_iter().flat_map(|trap| misplaced(row, trap)));
    let (Some(trap), Some(date), Some(serviced), Some(readable), Some(eggs_left), true) =
        (trap, date, serviced, readable, eggs_left, wrong.is_empty())
    else {
        return Err(wrong);
    };
    Ok(Visit {
        trap: trap.id.clone(),
        date,
        eggs,
        eggs_left,
        moths,
        males,
        females,
        readable,
        serviced,
        note: unguarded(row.text("note")).to_owned(),
    })
}

/// Counts that a trap of this kind cannot have.
fn misplaced(row: &Row<'_>, trap: &Trap) -> Vec<Fault> {
    let columns: &[&'static str] = match trap.kind {
        TrapKind::Egg => &["moths", "males", "females"],
        _ => &["eggs"],
    };
    let given = columns.iter().filter(|column| !row.text(column).is_empty());
    given
        .map(|column| {
            let kind = trap.kind.name();
            row.wrong(column, format!("a trap of kind {kind} does not catch them"))
        })
        .collect()
}

fn date(row: &Row<'_>, trap: Option<&Trap>, today: NaiveDate) -> Result<NaiveDate, Fault> {
    let date = row.day("date")?;
    if date > today {
        return Err(row.wrong("date", format!("lies after today, {today}")));
    }
    let Some(trap) = trap else {
        return Ok(date);
    };
    if date < trap.hung {
        return Err(row.wrong(
            "date",
            format!("trap {} was hung on {}", trap.id, trap.hung),
        ));
    }
    if let Some(removed) = trap.removed.filter(|removed| date > *removed) {
        return Err(row.wrong("date", format!("trap {} was removed on {removed}", trap.id)));
    }
    match trap.pulls.iter().find(|pull| pull.holds_down(date)) {
        Some(pull) => Err(row.wrong("date", down(trap, pull))),
        None => Ok(date),
    }
}

/// That a trap was down, and when.
fn down(trap: &Trap, pull: &Pull) -> String {
    let Pull { down, back } = pull;
    match back {
        Some(back) => format!("trap {} was down from {down} to {back}", trap.id),
        None => format!("trap {} is down since {down}", trap.id),
    }
}

/// Whether the eggs counted stay on the trap.
fn eggs_left(row: &Row<'_>, trap: Option<&Trap>) -> Result<bool, Fault> {
    let left = row.yes_or_no("eggs_left")?;
    if let (Some(_), Some(trap)) = (left, trap)
        && trap.kind != TrapKind::Egg
    {
        let kind = trap.kind.name();
        return Err(row.wrong("eggs_left", format!("a trap of kind {kind} has no eggs")));
    }
    if left == Some(true) && row.text("eggs").is_empty() {
        return Err(row.wrong("eggs_left", "say in eggs how many were counted"));
    }
    Ok(left == Some(true))
}

fn serviced(row: &Row<'_>, trap: Option<&Trap>) -> Result<BTreeSet<Part>, Fault> {
    let parts = trap.map_or(&Part::ALL[..], |trap| trap.kind.parts());
    let whose = || match trap {
        Some(trap) => format!("a trap of kind {} has", trap.kind.name()),
        None => "traps have".to_owned(),
    };
    let words = row.text("serviced").split_whitespace();
    words
        .map(|word| {
            let part = Part::from_name(word).filter(|part| parts.contains(part));
            part.ok_or_else(|| {
                let names: Vec<&str> = parts.iter().map(|part| part.name()).collect();
                let why = format!("{word:?}: {} {}", whose(), names.join(" "));
                row.wrong("serviced", why)
            })
        })
        .collect()
}

fn readable(row: &Row<'_>) -> Result<bool, Fault> {
    Ok(row.yes_or_no("readable")? != Some(false))
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;
    use duskflight_core::id::{BlockId, ProductId};
    use duskflight_core::orchard::Orchard;
    use duskflight_core::wording::DateOrder;

    use super::*;
    use crate::sheet::Dates;

    fn day(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn orchard() -> Orchard {
        let trap = |id: &str, kind| Trap {
            removed: Some(day(9, 1)),
            products: BTreeMap::from([(Part::Bait, ProductId::new("meal").unwrap())]),
            ..Trap::new(
                TrapId::new(id).unwrap(),
                BlockId::new("B").unwrap(),
                kind,
                day(4, 1),
            )
        };
        let pulled = Trap {
            pulls: vec![
                Pull {
                    down: day(5, 10),
                    back: Some(day(5, 14)),
                },
                Pull {
                    down: day(5, 28),
                    back: None,
                },
            ],
            ..trap("P2", TrapKind::Pheromone)
        };
        let traps = vec![
            trap("E1", TrapKind::Egg),
            trap("P1", TrapKind::Pheromone),
            pulled,
        ];
        Orchard::new(Vec::new(), traps, Vec::new())
    }

    fn parsed(text: &str) -> Sheet<Option<Asked<(Visit, String)>>> {
        let reading = Reading {
            orchard: orchard(),
            today: day(6, 1),
            now: DateTime::UNIX_EPOCH,
            by: "ada",
            words: Words::default(),
            dates: Dates::new(DateOrder::MonthDay),
        };
        parse(text.as_bytes(), &reading)
    }

    fn import(text: &str) -> Result<Vec<Visit>, Vec<String>> {
        let Sheet { rows, faults, .. } = parsed(text);
        let visits = rows.into_iter().flatten().map(|((visit, _), _)| visit);
        match faults.as_slice() {
            [] => Ok(visits.collect()),
            faults => Err(faults.iter().map(ToString::to_string).collect()),
        }
    }

    #[test]
    fn columns_may_come_in_any_order_and_be_left_out() {
        let text = "trap,date,eggs,serviced\nE1,2022-04-05,0,bait\nE1,2022-04-08,,bait\n";
        let visits = import(text).unwrap();
        assert_eq!(visits[0].eggs, Some(0));
        assert!(visits[0].serviced.contains(&Part::Bait));
        assert_eq!(visits[1].eggs, None);
        assert!(visits[1].readable);
    }

    #[test]
    fn a_row_of_a_round_sheet_that_was_left_blank_is_no_visit() {
        let text = "date,trap,eggs,note,route,row,todo\n\
            2022-04-05,E1,3,,north,6,reading due\n\
            2022-04-05,P1,,,north,9,reading due\n";
        let rows = parsed(text).rows;
        let eggs = rows
            .iter()
            .map(|row| row.as_ref().map(|((visit, _), _)| visit.eggs));
        assert_eq!(eggs.collect::<Vec<_>>(), [Some(Some(3)), None]);
        // A remark alone is a slip rather than a trap that was passed by.
        let remark = text.replace("P1,,,", "P1,,gate locked,");
        assert!(import(&remark).unwrap_err()[0].contains("nothing was counted"));
    }

    #[test]
    fn eggs_stay_on_where_they_were_counted() {
        let text = "date,trap,eggs,eggs_left\n2022-04-05,E1,4,yes\n";
        assert!(import(text).unwrap()[0].eggs_left);
        let faults = import(
            "date,trap,eggs,moths,eggs_left,readable\n\
             2022-04-05,P1,,3,no,\n\
             2022-04-05,E1,,,yes,no\n\
             2022-04-06,E1,2,,maybe,\n",
        );
        assert_eq!(
            faults.unwrap_err(),
            [
                "row 2, column eggs_left, \"no\": a trap of kind pheromone has no eggs",
                "row 3, column eggs_left, \"yes\": say in eggs how many were counted",
                "row 4, column eggs_left, \"maybe\": write yes or no, or leave it empty",
            ]
        );
    }

    #[test]
    fn a_trap_that_is_down_is_not_visited_but_on_the_days_it_goes_and_comes() {
        let visits = "date,trap,moths,serviced\n2022-05-10,P2,3,\n2022-05-14,P2,,lure\n";
        assert_eq!(import(visits).unwrap().len(), 2);
        let faults = import("date,trap,moths\n2022-05-11,P2,0\n2022-05-30,P2,0\n").unwrap_err();
        assert_eq!(
            faults,
            [
                "row 2, column date, \"2022-05-11\": trap P2 was down from 2022-05-10 to 2022-05-14",
                "row 3, column date, \"2022-05-30\": trap P2 is down since 2022-05-28",
            ]
        );
    }

    #[test]
    fn a_count_that_no_trap_holds_is_asked_about_at_its_column() {
        let text = "date,trap,moths,males,females\n2022-04-12,P1,,3000,\n2022-04-19,P1,,300,\n";
        let rows = parsed(text).rows.into_iter().flatten();
        let asked: Vec<String> = rows
            .flat_map(|(_, asked)| asked)
            .map(|f| f.to_string())
            .collect();
        assert_eq!(asked.len(), 1, "{asked:?}");
        let said = "row 2, column males, \"3000\": a slip of the keys? 3000 moths in one trap";
        assert!(asked[0].starts_with(said), "{}", asked[0]);
        assert!(
            asked[0].ends_with("; if it is right, --sure takes it"),
            "{}",
            asked[0]
        );
    }

    #[test]
    fn every_fault_of_every_row_is_named() {
        let text = "date,trap,eggs,moths,males,females,readable,serviced,note\n\
            2022-04-05,E9,1,,,,,,\n\
            2022-13-05,E1,-1,,,,perhaps,lure,\n\
            2022-06-02,E1,1,,,,,,\n\
            2022-03-05,E1,1,,,,,,\n\
            2022-04-06,P1,,,3,,no,,wet\n\
            2022-04-09,E1,1,,,,,,\n\
            2022-04-09,E1,2,,,,,,\n\
            2022-04-12,E1,,4,,,,,\n\
            2022-04-12,P1,,,,,yes,,\n";
        let faults = import(text).unwrap_err();
        let expected = [
            "row 2, column trap, \"E9\": no such trap in traps.csv; did you mean \"E1\"?",
            "row 3, column eggs, \"-1\": write a whole number, or leave it empty",
            "row 3, column date, \"2022-13-05\": write a day as YYYY-MM-DD",
            "row 3, column serviced, \"lure\": \"lure\": a trap of kind egg has bait",
            "row 3, column readable, \"perhaps\": write yes or no, or leave it empty",
            "row 4, column date, \"2022-06-02\": lies after today, 2022-06-01",
            "row 5, column date, \"2022-03-05\": trap E1 was hung on 2022-04-01",
            "row 6, column readable, \"no\": a trap that could not be read has no counts",
            "row 8, column trap, \"E1\": stands twice on 2022-04-09",
            "row 9, column moths, \"4\": a trap of kind egg does not catch them",
            "row 10, column trap, \"P1\": nothing was counted; give a count, readable no, or what was serviced",
        ];
        assert_eq!(faults, expected);
    }

    #[test]
    fn no_fault_of_a_row_hides_another() {
        let text = "date,trap,eggs,moths,eggs_left,readable,serviced\n\
            2022-13-05,E9,many,-1,perhaps,no,bell\n";
        let faults = import(text).unwrap_err();
        for column in [
            "date",
            "trap",
            "eggs",
            "moths",
            "eggs_left",
            "readable",
            "serviced",
        ] {
            let named = format!("row 2, column {column}, ");
            let count = faults.iter().filter(|fault| fault.starts_with(&named));
            assert_eq!(count.count(), 1, "{column}: {faults:#?}");
        }
    }
}
