//! "No entry until" as typed from the posting at a block.

use chrono::NaiveDate;

use super::{Note, NoteKind};

/// The day before which nobody may enter a block by its notes, while that day has not come: the latest of all
/// postings noted up to `as_of`, since a newer one does not end an older one that runs longer. One
/// that was typed wrong is edited or withdrawn.
#[must_use]
pub fn closed_until(notes: &[Note], as_of: NaiveDate) -> Option<NaiveDate> {
    let postings = notes
        .iter()
        .filter(|note| note.date <= as_of)
        .filter_map(|note| match note.kind {
            NoteKind::NoEntryUntil(until) => Some(until),
            _ => None,
        });
    postings.max().filter(|until| *until > as_of)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 7, day).unwrap()
    }

    #[test]
    fn a_block_is_closed_until_the_longest_posting_runs_out() {
        let posted = |on, until| sample::note(date(on), None, NoteKind::NoEntryUntil(date(until)));
        let notes = [posted(1, 10), posted(3, 5)];
        let closed = |day| closed_until(&notes, date(day));
        // Known from the 1st; the posting of the 3rd ends on the 5th, the older one on the 10th.
        let ten = Some(date(10));
        assert_eq!([1, 3, 5, 9].map(closed), [ten, ten, ten, ten]);
        assert_eq!(closed(10), None);
        assert_eq!(closed_until(&notes[1..], date(2)), None);
    }
}
