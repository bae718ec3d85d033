//! What nobody has entered of a block, so that it is not known and not taken for zero.

use chrono::{Datelike, NaiveDate};

use crate::id::TrapId;
use crate::orchard::{Block, Crop, Orchard, Trap};

use super::note::{Note, NoteKind};
use super::visit::{Visit, Visits};

/// Nights for which a trap may hang before its first reading: a weekly round and a few days' delay
/// (common practice, no source).
const USUAL_FIRST_NIGHTS: u32 = 10;
/// Mummies are counted on or before 15 January (Bentley et al. by Western Farm Press); month and day from
/// which a missing count is said.
const MUMMIES_COUNTED_BY: (u32, u32) = (1, 16);
/// Almonds have bloomed (from memory).
const BLOOM_OVER: (u32, u32) = (3, 16);
/// Hull split of the early variety begins from the end of June to the first week of July (UC Cooperative
/// Extension, thealmonddoctor.com, 2017).
const SPLIT_BEGINS: (u32, u32) = (7, 1);

/// What was not entered of one block up to a day.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Unknown {
    /// Traps without a reading for long after they were hung.
    pub unread: Vec<Unread>,
    /// Field notes that are wanted by now.
    pub missing: Vec<Missing>,
}

/// Traps of which no reading is entered for the same stretch since they were hung.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unread {
    /// The traps, in the order of the file.
    pub traps: Vec<TrapId>,
    /// The day they were hung, or the first of this year.
    pub from: NaiveDate,
    /// The day of their first reading, or the day they were removed; `None` while they wait for one.
    pub to: Option<NaiveDate>,
}

/// A field note that is not entered.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Missing {
    /// Damage in the field at last year's harvest: neither a sample nor a percentage. Rejects are not it.
    Damage,
    /// Mummies left over from last year.
    Mummies,
    /// Bloom.
    Bloom,
    /// Hull split of these varieties: neither seen, nor expected, nor looked for.
    HullSplit(Vec<String>),
}

/// What was not entered of a block up to and including a day.
#[must_use]
pub fn unknown(
    orchard: &Orchard,
    block: &Block,
    visits: &Visits,
    notes: &[Note],
    as_of: NaiveDate,
) -> Unknown {
    Unknown {
        unread: unread(orchard.traps_of(&block.id), visits, as_of),
        missing: missing(block, notes, as_of),
    }
}

fn unread<'a>(
    traps: impl Iterator<Item = &'a Trap>,
    visits: &Visits,
    as_of: NaiveDate,
) -> Vec<Unread> {
    let mut unread: Vec<Unread> = Vec::new();
    for trap in traps {
        let Some((from, to)) = before_first_reading(trap, visits, as_of) else {
            continue;
        };
        match unread.iter_mut().find(|u| (u.from, u.to) == (from, to)) {
            Some(alike) => alike.traps.push(trap.id.clone()),
            None => unread.push(Unread {
                traps: vec![trap.id.clone()],
                from,
                to,
            }),
        }
    }
    unread
}

/// This year's stretch before a trap's first reading, where it is longer than usual.
fn before_first_reading(
    trap: &Trap,
    visits: &Visits,
    as_of: NaiveDate,
) -> Option<(NaiveDate, Option<NaiveDate>)> {
    let new_year = NaiveDate::from_ymd_opt(as_of.year(), 1, 1)?;
    let from = trap.hung.max(new_year);
    let mut of_trap = visits.of(&trap.id, as_of).iter();
    let read = of_trap.find(|visit| is_reading(visit)).map(|v| v.date);
    let removed = trap.removed.filter(|removed| *removed <= as_of);
    let to = read.or(removed);
    let is_long = trap.nights(from, to.unwrap_or(as_of)) > USUAL_FIRST_NIGHTS;
    is_long.then_some((from, to))
}

/// A visit that only serviced the trap says nothing of what was in it.
fn is_reading(visit: &Visit) -> bool {
    visit.eggs.is_some() || visit.all_moths().is_some() || !visit.readable
}

fn missing(block: &Block, notes: &[Note], as_of: NaiveDate) -> Vec<Missing> {
    let in_year = |year| {
        let known = notes.iter().filter(|note| note.date <= as_of);
        known.filter(move |note| note.date.year() == year)
    };
    let year = as_of.year();
    let due = |day: (u32, u32)| (as_of.month(), as_of.day()) >= day;
    let is_damage =
        |kind: &NoteKind| matches!(kind, NoteKind::FieldDamage(_) | NoteKind::HarvestSample(_));
    let mut missing = Vec::new();
    if !in_year(year - 1).any(|note| is_damage(&note.kind)) {
        missing.push(Missing::Damage);
    }
    if due(MUMMIES_COUNTED_BY) && !notes.iter().any(|note| note.counts_mummies_to(as_of)) {
        missing.push(Missing::Mummies);
    }
    if block.crop != Crop::Almond {
        return missing;
    }
    if due(BLOOM_OVER) && !in_year(year).any(|note| note.kind == NoteKind::Bloom) {
        missing.push(Missing::Bloom);
    }
    if due(SPLIT_BEGINS) {
        let this_year: Vec<&Note> = in_year(year).collect();
        let varieties = varieties_without_split(block, &this_year);
        missing.extend((!varieties.is_empty()).then_some(Missing::HullSplit(varieties)));
    }
    missing
}

fn varieties_without_split(block: &Block, notes: &[&Note]) -> Vec<String> {
    let is_split = |kind: &NoteKind| {
        matches!(
            kind,
            NoteKind::HullSplit | NoteKind::HullSplitExpected(_) | NoteKind::HullSplitCheck(_)
        )
    };
    let entered = |variety: &&String| {
        let mut about = notes
            .iter()
            .filter(|note| note.variety.as_ref() == Some(*variety));
        about.any(|note| is_split(&note.kind))
    };
    let varieties = block.varieties.iter();
    varieties.filter(|v| !entered(v)).cloned().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::TrapKind;
    use crate::sample;
    use crate::trapping::{HarvestSample, Mummies};

    fn day(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn traps(hung: &[(&str, NaiveDate)]) -> Orchard {
        let traps = hung
            .iter()
            .map(|(id, hung)| sample::trap(id, TrapKind::Pheromone, *hung));
        Orchard::new(vec![sample::block()], traps.collect(), Vec::new())
    }

    fn read(trap: &str, date: NaiveDate) -> Visit {
        Visit {
            moths: Some(0),
            ..sample::visit(trap, date)
        }
    }

    fn unread_on(as_of: NaiveDate, orchard: &Orchard, visits: Vec<Visit>) -> Vec<Unread> {
        let visits = Visits::new(visits);
        unknown(orchard, &sample::block(), &visits, &[], as_of).unread
    }

    #[test]
    fn a_season_taken_up_in_june_does_not_know_what_hung_before() {
        // Hung on 15 March, read on 2 June: 79 nights without a reading. A service tells no catch.
        let orchard = traps(&[("P1", day(3, 15)), ("P2", day(3, 15)), ("P3", day(5, 25))]);
        let visits = ["P1", "P2", "P3"].map(|id| read(id, day(6, 2))).into_iter();
        let service = sample::visit("P1", day(5, 1));
        let unread = unread_on(day(6, 20), &orchard, visits.chain([service]).collect());
        let traps = ["P1", "P2"].map(|id| TrapId::new(id).unwrap()).to_vec();
        let expected = Unread {
            traps,
            from: day(3, 15),
            to: Some(day(6, 2)),
        };
        assert_eq!(unread, [expected]);
    }

    #[test]
    fn ten_nights_before_the_first_reading_are_usual_and_eleven_are_not() {
        let orchard = traps(&[("P1", day(3, 15))]);
        let unread = |as_of, visits| unread_on(as_of, &orchard, visits).len();
        assert_eq!(unread(day(3, 25), Vec::new()), 0);
        assert_eq!(unread(day(3, 26), Vec::new()), 1);
        assert_eq!(unread(day(6, 1), vec![read("P1", day(3, 25))]), 0);
        assert_eq!(unread(day(6, 1), vec![read("P1", day(3, 26))]), 1);
    }

    #[test]
    fn a_trap_of_years_before_is_asked_for_this_year_only() {
        let last_year = NaiveDate::from_ymd_opt(2021, 3, 15).unwrap();
        let orchard = traps(&[("P1", last_year)]);
        let unread = unread_on(day(2, 1), &orchard, Vec::new());
        assert_eq!((unread[0].from, unread[0].to), (day(1, 1), None));
        let read_then = read(
            "P1",
            last_year.checked_add_days(chrono::Days::new(60)).unwrap(),
        );
        assert!(unread_on(day(2, 1), &orchard, vec![read_then]).is_empty());
    }

    fn missing_on(as_of: NaiveDate, notes: &[Note]) -> Vec<Missing> {
        missing(&sample::block(), notes, as_of)
    }

    #[test]
    fn a_note_is_missed_from_the_day_it_is_wanted() {
        let both = vec!["Nonpareil".to_owned(), "Monterey".to_owned()];
        let split = Missing::HullSplit(both);
        let all = [Missing::Damage, Missing::Mummies, Missing::Bloom, split];
        assert_eq!(missing_on(day(1, 15), &[]), all[..1]);
        assert_eq!(missing_on(day(3, 15), &[]), all[..2]);
        assert_eq!(missing_on(day(6, 30), &[]), all[..3]);
        assert_eq!(missing_on(day(7, 1), &[]), all);
    }

    #[test]
    fn what_is_entered_is_not_missed() {
        let last_year = |month, day| NaiveDate::from_ymd_opt(2021, month, day).unwrap();
        let sample = HarvestSample {
            nuts: 500,
            ..HarvestSample::default()
        };
        let mummies = Mummies {
            in_tree: Some(0.4),
            on_ground: None,
            trees: 20,
        };
        let split = |variety, kind| sample::note(day(6, 20), Some(variety), kind);
        let mut notes = vec![
            sample::note(last_year(8, 20), None, NoteKind::HarvestSample(sample)),
            sample::note(last_year(12, 20), None, NoteKind::Mummies(mummies)),
            sample::note(day(2, 20), Some("Nonpareil"), NoteKind::Bloom),
            split("Nonpareil", NoteKind::HullSplitExpected(day(7, 2))),
        ];
        let monterey = vec![Missing::HullSplit(vec!["Monterey".to_owned()])];
        assert_eq!(missing_on(day(7, 1), &notes), monterey);
        notes.push(split("Monterey", NoteKind::HullSplit));
        assert!(missing_on(day(7, 1), &notes).is_empty());
        // Rejects at the handler are not damage in the field, and mummies of last spring are gone.
        let rejects = sample::note(last_year(10, 1), None, NoteKind::Rejects(1.0));
        let spring = sample::note(last_year(1, 10), None, NoteKind::Mummies(mummies));
        notes.splice(..2, [rejects, spring]);
        let expected = [Missing::Damage, Missing::Mummies];
        assert_eq!(missing_on(day(7, 1), &notes), expected);
    }

    #[test]
    fn other_crops_have_no_hulls_to_split_and_other_blooms() {
        let block = Block {
            crop: Crop::Walnut,
            ..sample::block()
        };
        let expected = [Missing::Damage, Missing::Mummies];
        assert_eq!(missing(&block, &[], day(8, 1)), expected);
    }
}
