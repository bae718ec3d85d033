//! Short ways to say the same thing of many traps and many blocks.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::{MarkId, TrapId};
use crate::ledger::{Change, Event, Notice};
use crate::orchard::Part;

/// From so many traps on a run of numbers is written by its ends.
const SHORTEST_RUN: usize = 3;

/// Lines under a title: a block, several blocks that share them, or what they are about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Lines {
    /// Whose or what they are.
    pub title: String,
    /// The lines, most urgent first.
    pub lines: Vec<String>,
}

/// What has the same key together, in the order in which the keys first come.
pub(crate) fn grouped<K: Clone + Ord, V>(
    pairs: impl IntoIterator<Item = (K, V)>,
) -> Vec<(K, Vec<V>)> {
    let (mut groups, mut places) = (Vec::<(K, Vec<V>)>::new(), BTreeMap::new());
    for (key, value) in pairs {
        let place = *places.entry(key.clone()).or_insert(groups.len());
        match groups.get_mut(place) {
            Some((_, values)) => values.push(value),
            None => groups.push((key, vec![value])),
        }
    }
    groups
}

/// Names in a row; where one of them holds a comma, semicolons part them.
pub(crate) fn name_list(names: &[impl AsRef<str>]) -> String {
    let names: Vec<&str> = names.iter().map(AsRef::as_ref).collect();
    let comma = names.len() > 1 && names.iter().any(|name| name.contains(','));
    names.join(if comma { "; " } else { ", " })
}

/// Notices that are told in one sentence: parts of several traps of a block that went in on the
/// same day and changed alike, and one date that is taken back both as near and as passed, by what was told last; any
/// other notice alone. The order is kept.
pub(crate) fn gathered<'a>(notices: &[&'a Notice]) -> Vec<Vec<&'a Notice>> {
    let mut groups: Vec<Vec<&Notice>> = Vec::new();
    let mut places: BTreeMap<_, Vec<usize>> = BTreeMap::new();
    for notice in notices {
        let Some(shared) = shared(notice) else {
            groups.push(vec![notice]);
            continue;
        };
        let key = (notice.year, &notice.block, &notice.insect, shared);
        let alike = places.entry(key).or_default();
        let changed_alike = |place: &&usize| changed_alike(groups[**place][0], notice);
        if let Some(place) = alike.iter().find(changed_alike) {
            groups[*place].push(notice);
        } else {
            alike.push(groups.len());
            groups.push(vec![notice]);
        }
    }
    for group in &mut groups {
        group.sort_by_key(|notice| Reverse(notice.change.told_on()));
    }
    groups
}

/// What notices are about that one sentence may tell.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum Shared<'a> {
    /// Parts that went in on one day.
    Parts(Part, NaiveDate),
    /// A mark's date.
    Mark(&'a MarkId),
}

fn shared(notice: &Notice) -> Option<Shared<'_>> {
    match (&notice.event, &notice.change) {
        (Event::PastServiceLife(_, part, since), _) => Some(Shared::Parts(*part, *since)),
        (Event::MarkNear(mark) | Event::MarkPassed(mark), Change::Withdrawn { .. }) => {
            Some(Shared::Mark(mark))
        }
        _ => None,
    }
}

/// Whether two notices of what they share say the same of it.
fn changed_alike(one: &Notice, other: &Notice) -> bool {
    match (&one.change, &other.change) {
        (Change::Withdrawn { why, .. }, Change::Withdrawn { why: other, .. }) => why == other,
        (change, other) => change == other,
    }
}

/// Trap ids in their order, runs of numbers by their ends: `N-1 to N-6, N-9`.
#[must_use]
pub fn trap_list(traps: &[&TrapId]) -> String {
    trap_runs(traps, "to")
}

/// The same with a word between the ends of a run.
pub(crate) fn trap_runs(traps: &[&TrapId], to: &str) -> String {
    let ids: Vec<&str> = traps.iter().map(|trap| trap.as_str()).collect();
    let runs = ids.chunk_by(|one, next| follows(one, next));
    let phrases: Vec<String> = runs
        .map(|run| match run {
            [first, .., last] if run.len() >= SHORTEST_RUN => format!("{first} {to} {last}"),
            _ => run.join(", "),
        })
        .collect();
    phrases.join(", ")
}

/// Whether the second id is the first with its number one higher, written with as many digits.
fn follows(one: &str, next: &str) -> bool {
    let ((stem, number), (stem_2, number_2)) = (numbered(one), numbered(next));
    let padded = number.starts_with('0') || number_2.starts_with('0');
    let value = |digits: &str| digits.parse::<u64>().ok();
    stem == stem_2
        && (!padded || number.len() == number_2.len())
        && value(number).is_some_and(|n| n.checked_add(1) == value(number_2))
}

/// An id parted before its last digits.
pub(crate) fn numbered(id: &str) -> (&str, &str) {
    let stem = id.trim_end_matches(|c: char| c.is_ascii_digit());
    id.split_at(stem.len())
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn names_with_commas_are_parted_by_semicolons() {
        assert_eq!(name_list(&["A", "B"]), "A, B");
        assert_eq!(name_list(&["A", "B, by the pump"]), "A; B, by the pump");
        assert_eq!(name_list(&["B, by the pump"]), "B, by the pump");
    }

    #[test]
    fn runs_of_numbers_are_written_by_their_ends() {
        let check = |ids: &[&str], expected: &str| {
            let ids: Vec<TrapId> = ids.iter().map(|id| TrapId::new(id).unwrap()).collect();
            let ids: Vec<&TrapId> = ids.iter().collect();
            assert_eq!(trap_list(&ids), expected);
        };
        check(&[], "");
        check(&["N-1"], "N-1");
        check(&["N-1", "N-2"], "N-1, N-2");
        check(&["N-1", "N-2", "N-3", "N-5"], "N-1 to N-3, N-5");
        check(&["N-9", "N-10", "N-11"], "N-9 to N-11");
        check(&["N-09", "N-10", "N-11"], "N-09 to N-11");
        check(&["N-08", "N-9", "N-10"], "N-08, N-9, N-10");
        check(&["N-1", "S-2", "S-3", "S-4"], "N-1, S-2 to S-4");
        check(&["north", "south", "west"], "north, south, west");
    }
}
