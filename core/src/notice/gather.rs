//! Short ways to say the same thing of many traps.

use crate::id::TrapId;

use super::decide::Notice;
use super::event::Event;

/// From so many traps on a run of numbers is written by its ends.
const SHORTEST_RUN: usize = 3;

/// Notices that are told in one sentence: parts of several traps of a block that went in on the
/// same day and changed alike; any other notice alone. The order is kept.
pub(super) fn gathered<'a>(notices: &[&'a Notice]) -> Vec<Vec<&'a Notice>> {
    let mut groups: Vec<Vec<&Notice>> = Vec::new();
    for notice in notices {
        match groups.iter_mut().find(|group| alike(group[0], notice)) {
            Some(group) => group.push(notice),
            None => groups.push(vec![notice]),
        }
    }
    groups
}

fn alike(one: &Notice, other: &Notice) -> bool {
    match (&one.event, &other.event) {
        (Event::PastServiceLife(_, part, since), Event::PastServiceLife(_, part_2, since_2)) => {
            (part, since, &one.change) == (part_2, since_2, &other.change)
                && (one.year, &one.block, &one.insect) == (other.year, &other.block, &other.insect)
        }
        _ => false,
    }
}

/// Trap ids in their order, runs of numbers by their ends: `N-1 to N-6, N-9`.
pub(super) fn trap_list(traps: &[&TrapId]) -> String {
    let ids: Vec<&str> = traps.iter().map(|trap| trap.as_str()).collect();
    let runs = ids.chunk_by(|one, next| follows(one, next));
    let phrases: Vec<String> = runs
        .map(|run| match run {
            [first, .., last] if run.len() >= SHORTEST_RUN => format!("{first} to {last}"),
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
pub(super) fn numbered(id: &str) -> (&str, &str) {
    let stem = id.trim_end_matches(|c: char| c.is_ascii_digit());
    id.split_at(stem.len())
}

#[cfg(test)]
mod tests {
    use super::*;

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
