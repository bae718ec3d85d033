//! What was told of marks by variety, when each variety had a clock of its own, as it stands for the block.

use std::collections::BTreeMap;

use super::decide::Told;
use super::event::EventKind;

/// One person's entries about a block, with what they were told of a mark by variety standing for the block: of
/// several varieties the earliest, unless the block itself was told since.
pub(super) fn for_block(mut told: Vec<Told>) -> Vec<Told> {
    for carried in carried_over(&told) {
        let is_it = |other: &&mut Told| {
            (other.year, &other.insect, &other.event)
                == (carried.year, &carried.insect, &carried.event)
        };
        match told.iter_mut().find(is_it) {
            None => told.push(carried),
            Some(block) if is_since(block, &carried) => {}
            Some(block) => {
                *block = Told {
                    revision: block.revision,
                    ..carried
                }
            }
        }
    }
    told
}

/// Whether the block was told after its varieties. A mark that went by variety was taken back for the block on
/// the same day.
fn is_since(block: &Told, carried: &Told) -> bool {
    block.on > carried.on || (block.on == carried.on && block.value.is_some())
}

/// The earliest variety's standing entry of each mark, as one of the block.
fn carried_over(told: &[Told]) -> Vec<Told> {
    let mut earliest: BTreeMap<_, &Told> = BTreeMap::new();
    let standing = told
        .iter()
        .filter_map(|told| Some((told, told.value?.day()?)));
    for (told, day) in standing {
        let Some(event) = event_of_block(&told.event) else {
            continue;
        };
        let of_mark = earliest.entry((told.year, &told.insect, event));
        let first = of_mark.or_insert(told);
        if first
            .value
            .and_then(|value| value.day())
            .is_some_and(|first| day < first)
        {
            *first = told;
        }
    }
    let as_of_block = |((_, _, event), told): (_, &Told)| Told {
        event,
        revision: 0,
        of_variety: true,
        ..told.clone()
    };
    earliest.into_iter().map(as_of_block).collect()
}

/// The block's key of a mark that was told by variety; `None` for any other key. No mark's id has a colon.
fn event_of_block(key: &str) -> Option<String> {
    let (kind, rest) = key.split_once(':')?;
    let (mark, _variety) = rest.split_once(':')?;
    let kind = EventKind::from_name(kind)?;
    let of_mark = matches!(kind, EventKind::MarkNear | EventKind::MarkPassed);
    of_mark.then(|| format!("{}:{mark}", kind.name()))
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::id::{BlockId, InsectId};
    use crate::ledger::Value;

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 8, day).unwrap()
    }

    fn told(event: &str, revision: u32, value: Option<u32>, on: u32) -> Told {
        Told {
            year: 2022,
            block: BlockId::new("B").unwrap(),
            insect: InsectId::new("navel-orangeworm").unwrap(),
            event: event.to_owned(),
            revision,
            value: value.map(|middle| Value::Day(day(middle))),
            on: day(on),
            step: 1,
            history: false,
            of_variety: false,
            corrected_on: None,
            taken_back: None,
        }
    }

    /// Revision, day told, and whether it is of a variety.
    fn standing(entries: &[Told], event: &str) -> Option<(u32, Option<NaiveDate>, bool)> {
        let all = for_block(entries.to_vec());
        assert!(all.len() >= entries.len());
        let found = all.into_iter().find(|told| told.event == event)?;
        Some((
            found.revision,
            found.value.and_then(Value::day),
            found.of_variety,
        ))
    }

    #[test]
    fn the_earliest_variety_stands_for_the_block() {
        let entries = [
            told("mark-near:third:Wood Colony: late", 1, Some(25), 7),
            told("mark-near:third:Nonpareil", 2, Some(3), 2),
            told("mark-near:fourth:Nonpareil", 2, None, 5),
            told("margin-turned:third:Nonpareil", 1, Some(1), 1),
        ];
        let third = standing(&entries, "mark-near:third");
        assert_eq!(third, Some((0, Some(day(3)), true)));
        // What was taken back stands for nothing, and a margin is a variety's own.
        assert_eq!(standing(&entries, "mark-near:fourth"), None);
        assert_eq!(standing(&entries, "margin-turned:third"), None);
        assert!(standing(&entries, "mark-near:third:Nonpareil").is_some());
    }

    #[test]
    fn a_block_that_was_taken_back_when_it_went_by_variety_has_its_date_again() {
        let by_variety = told("mark-passed:third:Nonpareil", 1, Some(4), 6);
        let with = |block| standing(&[block, by_variety.clone()], "mark-passed:third");
        let gone = told("mark-passed:third", 2, None, 6);
        assert_eq!(with(gone), Some((2, Some(day(4)), true)));
        // What the block was told since, or lost since, holds.
        let since = told("mark-passed:third", 3, Some(9), 12);
        assert_eq!(with(since), Some((3, Some(day(9)), false)));
        let lost = told("mark-passed:third", 4, None, 13);
        assert_eq!(with(lost), Some((4, None, false)));
    }
}
