//! When sound nuts of a variety first split, by its notes.

use std::ops::Range;

use chrono::{DateTime, NaiveDate, Utc};

use super::{Note, NoteKind, SplitCheck};

/// A variety's first hull split of sound nuts this year. Of notes that say so the one entered last wins,
/// since whoever enters another day corrects the one before; of two entered at once the later day. Only
/// without any it is the earliest check that shows it.
#[must_use]
pub fn split_seen(notes: &[Note], variety: &str, as_of: NaiveDate) -> Option<NaiveDate> {
    let noted = of_year(notes, variety, as_of).filter(|note| note.kind == NoteKind::HullSplit);
    let last = noted.max_by_key(|note| (note.entered_at, note.date));
    last.map(|note| note.date)
        .or_else(|| first_begun(notes, variety, as_of))
}

/// The newest day of this year on which a check found no nut of a variety split yet. A check after one
/// that had found some says nothing more.
#[must_use]
pub fn not_split_on(notes: &[Note], variety: &str, as_of: NaiveDate) -> Option<NaiveDate> {
    let until = first_begun(notes, variety, as_of).unwrap_or(NaiveDate::MAX);
    let closed = checks(notes, variety, as_of).filter(|(_, check)| !check.has_begun());
    closed.map(|(day, _)| day).filter(|day| *day < until).max()
}

/// The first hull split of sound nuts of any variety this year, by the notes of one block.
#[must_use]
pub fn first_split(notes: &[Note], as_of: NaiveDate) -> Option<NaiveDate> {
    let varieties = notes.iter().filter_map(|note| note.variety.as_deref());
    varieties
        .filter_map(|variety| split_seen(notes, variety, as_of))
        .min()
}

/// Days on which a variety's first hull split is noted this year, where there are several and one was entered
/// in a stretch of time: that which counts, and the others, oldest first.
#[must_use]
pub fn splits_that_disagree(
    notes: &[Note],
    variety: &str,
    as_of: NaiveDate,
    entered: &Range<DateTime<Utc>>,
) -> Option<(NaiveDate, Vec<NaiveDate>)> {
    let noted = || of_year(notes, variety, as_of).filter(|note| note.kind == NoteKind::HullSplit);
    let counts = split_seen(notes, variety, as_of)?;
    let mut others: Vec<NaiveDate> = noted().map(|note| note.date).collect();
    others.retain(|day| *day != counts);
    others.sort_unstable();
    let is_news = noted().any(|note| entered.contains(&note.entered_at));
    (is_news && !others.is_empty()).then_some((counts, others))
}

fn first_begun(notes: &[Note], variety: &str, as_of: NaiveDate) -> Option<NaiveDate> {
    let begun = checks(notes, variety, as_of).filter(|(_, check)| check.has_begun());
    begun.map(|(day, _)| day).min()
}

fn checks<'a>(
    notes: &'a [Note],
    variety: &'a str,
    as_of: NaiveDate,
) -> impl Iterator<Item = (NaiveDate, SplitCheck)> + 'a {
    of_year(notes, variety, as_of).filter_map(|note| match note.kind {
        NoteKind::HullSplitCheck(check) => Some((note.date, check)),
        _ => None,
    })
}

fn of_year<'a>(
    notes: &'a [Note],
    variety: &'a str,
    as_of: NaiveDate,
) -> impl Iterator<Item = &'a Note> {
    notes
        .iter()
        .filter(move |note| note.variety.as_deref() == Some(variety) && note.is_of_year_to(as_of))
}

#[cfg(test)]
mod tests {
    use chrono::Datelike;

    use super::*;
    use crate::sample;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn at(month: u32, day: u32) -> DateTime<Utc> {
        date(month, day).and_hms_opt(20, 0, 0).unwrap().and_utc()
    }

    /// First hull split of Nonpareil, seen on one day and entered on another.
    fn split(on: NaiveDate, entered_at: DateTime<Utc>) -> Note {
        Note {
            entered_at,
            ..sample::note(on, Some("Nonpareil"), NoteKind::HullSplit)
        }
    }

    /// A look at six trees of Nonpareil with so many percent split in the top.
    fn check(on: NaiveDate, percent: f64) -> Note {
        let check = SplitCheck {
            top: Some(percent),
            middle: None,
            low: None,
            trees: 6,
            stage: None,
        };
        sample::note(on, Some("Nonpareil"), NoteKind::HullSplitCheck(check))
    }

    #[test]
    fn of_two_first_hull_splits_the_one_entered_last_wins() {
        let seen = |notes: &[Note]| split_seen(notes, "Nonpareil", date(8, 1));
        let typed_wrong = split(date(4, 1), at(7, 1));
        let right = split(date(7, 1), at(7, 2));
        let both = [typed_wrong.clone(), right.clone()];
        assert_eq!(seen(&both), Some(date(7, 1)));
        assert_eq!(first_split(&both, date(8, 1)), Some(date(7, 1)));
        let earlier_is_newer = [right.clone(), split(date(6, 29), at(7, 5))];
        assert_eq!(seen(&earlier_is_newer), Some(date(6, 29)));
        // Entered in one sheet, the later day.
        let at_once = [split(date(7, 3), at(7, 9)), split(date(7, 1), at(7, 9))];
        assert_eq!(seen(&at_once), Some(date(7, 3)));
        // What lies ahead of the day asked about, or in another year, is not seen.
        assert_eq!(
            split_seen(&both, "Nonpareil", date(6, 30)),
            Some(date(4, 1))
        );
        let last_year = split(date(7, 1).with_year(2021).unwrap(), at(7, 9));
        assert_eq!(seen(&[last_year]), None);
        assert_eq!(split_seen(&both, "Monterey", date(8, 1)), None);
    }

    #[test]
    fn notes_that_disagree_are_news_where_one_was_entered_since() {
        let notes = [split(date(4, 1), at(7, 1)), split(date(7, 1), at(7, 2))];
        let news = |notes: &[Note], from, to| {
            splits_that_disagree(notes, "Nonpareil", date(7, 9), &(from..to))
        };
        let both = Some((date(7, 1), vec![date(4, 1)]));
        assert_eq!(news(&notes, at(7, 2), at(7, 3)), both);
        assert_eq!(news(&notes, at(7, 3), at(7, 4)), None);
        assert_eq!(news(&notes[1..], at(7, 2), at(7, 3)), None);
        // A check that shows split later contradicts nothing.
        let seen_later = [split(date(7, 1), at(7, 2)), check(date(7, 5), 10.0)];
        assert_eq!(news(&seen_later, at(7, 1), at(7, 9)), None);
    }

    #[test]
    fn a_check_that_shows_split_counts_only_where_no_first_split_is_noted() {
        let seen = |notes: &[Note]| split_seen(notes, "Nonpareil", date(8, 1));
        let checks = [
            check(date(7, 12), 40.0),
            check(date(7, 5), 1.0),
            check(date(6, 30), 0.0),
        ];
        assert_eq!(seen(&checks), Some(date(7, 5)));
        let noted = [&checks[..], &[split(date(7, 8), at(7, 8))]].concat();
        assert_eq!(seen(&noted), Some(date(7, 8)));
    }

    #[test]
    fn the_newest_check_without_split_ends_at_the_first_with_one() {
        let not_on = |notes: &[Note]| not_split_on(notes, "Nonpareil", date(7, 8));
        let closed = [check(date(6, 24), 0.0), check(date(6, 30), 0.0)];
        assert_eq!(not_on(&closed), Some(date(6, 30)));
        // Another tree, looked at after split had begun.
        let begun = [
            &closed[..],
            &[check(date(7, 2), 2.0), check(date(7, 6), 0.0)],
        ]
        .concat();
        assert_eq!(not_on(&begun), Some(date(6, 30)));
        assert_eq!(not_on(&[check(date(7, 2), 2.0)]), None);
        assert_eq!(not_on(&[check(date(7, 9), 0.0)]), None);
    }
}
