//! All key dates of one person's season as they stand in their calendar: what they were told last of each mark.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::key_date::{CalendarEntry, DateState, KeyDate, kind_of_date, title};
use crate::id::{BlockId, InsectId, MarkId, PersonId};
use crate::ledger::{Event, Told, Value};

/// An entry, and the day on which its person was told it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StandingDate {
    /// The entry.
    pub date: KeyDate,
    /// The day of telling.
    pub told_on: NaiveDate,
}

/// What one person was told last of one mark, ahead and passed.
#[derive(Default)]
struct OfMark<'a> {
    near: Option<&'a Told>,
    passed: Option<&'a Told>,
}

/// The entries of a person from what they were told last of each event; what was taken back stands in none. `names`
/// gives the names of a block and of a mark; `None` for one that is no longer declared.
#[must_use]
pub fn whole_calendar(
    person: &PersonId,
    told: &[Told],
    names: impl Fn(&BlockId, &InsectId, &MarkId) -> Option<(String, String)>,
) -> Vec<StandingDate> {
    let mut marks: BTreeMap<(i32, &BlockId, &InsectId, MarkId), OfMark<'_>> = BTreeMap::new();
    for told in told {
        let key = |mark| (told.year, &told.block, &told.insect, mark);
        match told.event.parse() {
            Ok(Event::MarkNear(mark)) => marks.entry(key(mark)).or_default().near = Some(told),
            Ok(Event::MarkPassed(mark)) => marks.entry(key(mark)).or_default().passed = Some(told),
            _ => {}
        }
    }
    let standing = |((year, block, insect, mark), of): (_, OfMark<'_>)| {
        let (block_name, mark_name) = names(block, insect, &mark)?;
        let entry = CalendarEntry {
            person: person.clone(),
            year,
            block: block.clone(),
            insect: insect.clone(),
            mark,
            variety: None,
        };
        of.standing(entry, &block_name, &mark_name)
    };
    marks.into_iter().filter_map(standing).collect()
}

impl OfMark<'_> {
    /// What was told as passed stands before what was told as ahead.
    fn standing(&self, entry: CalendarEntry, block: &str, mark: &str) -> Option<StandingDate> {
        let stands = |told: &Option<&Told>| told.and_then(|told| Some((told.on, told.value?)));
        let (told_on, value) = stands(&self.passed).or_else(|| stands(&self.near))?;
        let (standing, first, last) = match value {
            Value::Range { early, late, .. } => (DateState::Projected, early, late),
            Value::Day(day) | Value::Within { day, .. } => (DateState::Passed, day, day),
            Value::Caught { .. } | Value::First(_) => return None,
        };
        let revision = |told: Option<&Told>| told.map_or(0, |told| told.revision);
        Some(StandingDate {
            date: KeyDate {
                entry,
                standing,
                title: title(standing, mark, block),
                first,
                last,
                lines: vec![kind_of_date(standing).to_owned()],
                sequence: (revision(self.near) + revision(self.passed)).saturating_sub(1),
            },
            told_on,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, d).unwrap()
    }

    fn told(event: &str, revision: u32, value: Option<Value>) -> Told {
        Told {
            year: 2022,
            block: BlockId::new("B").unwrap(),
            insect: InsectId::new("navel-orangeworm").unwrap(),
            event: event.to_owned(),
            revision,
            value,
            on: day(1),
            step: 1,
            history: false,
            of_variety: false,
            corrected_on: None,
            taken_back: None,
        }
    }

    fn entries(told: &[Told]) -> Vec<(String, u32)> {
        let person = PersonId::new("gil").unwrap();
        let names = |_: &BlockId, _: &InsectId, mark: &MarkId| {
            (mark.as_str() != "gone").then(|| ("North".to_owned(), "egg laying".to_owned()))
        };
        let dates = whole_calendar(&person, told, names).into_iter();
        dates.map(|of| (of.date.title, of.date.sequence)).collect()
    }

    #[test]
    fn each_mark_has_one_entry_as_it_was_told_last_and_none_once_it_was_taken_back() {
        let range = Some(Value::Range {
            early: day(10),
            middle: day(14),
            late: day(20),
        });
        let near = told("mark-near:second", 2, range);
        let passed = told("mark-passed:second", 1, Some(Value::Day(day(15))));
        let projected = [("Projected: egg laying, North".to_owned(), 1)];
        assert_eq!(entries(std::slice::from_ref(&near)), projected);
        let computed = [("Computed: mark passed, egg laying, North".to_owned(), 2)];
        assert_eq!(entries(&[near.clone(), passed]), computed);
        assert_eq!(entries(&[told("mark-near:second", 3, None)]), []);
        let start = told("egg-laying-start", 1, Some(Value::Day(day(1))));
        let undeclared = told("mark-near:gone", 1, near.value);
        assert_eq!(entries(&[start, undeclared]), []);
    }
}
