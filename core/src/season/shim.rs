//! Shim.
#![allow(missing_docs)]
use crate::trapping::*;
use chrono::*;
pub(super) fn split_seen(notes: &[Note], variety: &str, as_of: NaiveDate) -> Option<NaiveDate> {
    let of = notes
        .iter()
        .filter(|n| n.is_of_year_to(as_of) && n.variety.as_deref() == Some(variety));
    of.filter(|n| n.kind.shows_hull_split())
        .map(|n| n.date)
        .min()
}
pub(super) fn not_split_on(notes: &[Note], variety: &str, as_of: NaiveDate) -> Option<NaiveDate> {
    let of = notes
        .iter()
        .filter(|n| n.is_of_year_to(as_of) && n.variety.as_deref() == Some(variety));
    of.filter(|n| matches!(n.kind, NoteKind::HullSplitCheck(c) if !c.has_begun()))
        .map(|n| n.date)
        .max()
}
pub(super) fn may_have_begun(start: &EggLayingStart) -> Option<[NaiveDate; 2]> {
    let day = start.date?;
    let d = |n: i64| day + TimeDelta::days(n);
    Some(match start.status {
        StartStatus::ByHand => [d(-3), d(3)],
        StartStatus::Borrowed => [d(-5), d(5)],
        _ => {
            let e = start
                .evidence
                .check_before
                .map_or(day, |c| (c + TimeDelta::days(1)).min(day));
            [e, day]
        }
    })
}
