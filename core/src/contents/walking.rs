//! The order in which traps are walked.

use crate::orchard::Trap;

use crate::wording::gather::numbered;

/// Gate, block in the order of the file, row, tree, trap.
pub(crate) type Key<'a> = (Step<'a>, usize, Step<'a>, Step<'a>, &'a str, u64);

/// One part of a place: numbers by their value with what follows them, then words, then nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Step<'a> {
    Number(u64, &'a str),
    Word(&'a str),
    NotGiven,
}

/// What traps on one route are sorted by. Blocks behind one gate are walked one after the other, since
/// each may have its own row 6.
pub(crate) fn walking_key(trap: &Trap, block_place: usize) -> Key<'_> {
    let place = &trap.place;
    let (stem, number) = numbered(trap.id.as_str());
    (
        step(&place.gate),
        block_place,
        step(&place.row),
        step(&place.tree),
        stem,
        number.parse().unwrap_or(0),
    )
}

/// What routes are sorted by; traps without a route come last.
pub(crate) fn route_key(route: Option<&str>) -> Step<'_> {
    route.map_or(Step::NotGiven, step)
}

fn step(text: &str) -> Step<'_> {
    let end = text.find(|c: char| !c.is_ascii_digit());
    let (digits, rest) = text.split_at(end.unwrap_or(text.len()));
    match digits.parse() {
        Ok(number) => Step::Number(number, rest),
        Err(_) if text.is_empty() => Step::NotGiven,
        Err(_) => Step::Word(text),
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::orchard::{Place, TrapKind};
    use crate::sample;

    #[test]
    fn traps_are_walked_by_gate_row_and_tree_as_numbers() {
        let hung = NaiveDate::from_ymd_opt(2022, 3, 15).unwrap();
        let trap = |id: &str, gate: &str, row: &str, tree: &str| Trap {
            place: Place {
                gate: gate.into(),
                row: row.into(),
                tree: tree.into(),
                ..Place::default()
            },
            ..sample::trap(id, TrapKind::Egg, hung)
        };
        let mut traps = [
            (trap("none", "", "", ""), 0),
            (trap("far-gate", "10", "1", "1"), 0),
            (trap("other-block", "2", "3", "1"), 1),
            (trap("lane", "lane", "1", "1"), 0),
            (trap("row-18", "2", "18", "4"), 0),
            (trap("row-6a", "2", "6a", "9"), 0),
            (trap("row-6-tree-12", "2", "6", "12"), 0),
            (trap("row-6-tree-9", "2", "6", "9"), 0),
            (trap("p1", "3", "1", "1"), 0),
            (trap("e10", "3", "1", "1"), 0),
            (trap("e9", "3", "1", "1"), 0),
        ];
        traps.sort_by(|(a, block_a), (b, block_b)| {
            walking_key(a, *block_a).cmp(&walking_key(b, *block_b))
        });
        let walked = traps.iter().map(|(trap, _)| trap.id.as_str());
        let expected = [
            "row-6-tree-9",
            "row-6-tree-12",
            "row-6a",
            "row-18",
            "other-block",
            "e9",
            "e10",
            "p1",
            "far-gate",
            "lane",
            "none",
        ];
        assert_eq!(walked.collect::<Vec<_>>(), expected);
    }

    #[test]
    fn routes_are_in_order_and_those_without_one_last() {
        let mut routes = [None, Some("west"), Some("10"), Some("9")];
        routes.sort_by(|a, b| route_key(*a).cmp(&route_key(*b)));
        assert_eq!(routes, [Some("9"), Some("10"), Some("west"), None]);
    }
}
