//! How the traps of a block were looked after in its season.

use chrono::NaiveDate;

use crate::orchard::{Orchard, Trap};
use crate::trapping::{
    EggLayingStart, Note, NoteKind, Notes, Served, ServiceRecord, StartStatus, Visits, WhyStart,
};

use super::BlockSeason;

/// The record of a block's trap work within some days of its season's year.
#[must_use]
pub fn served(
    orchard: &Orchard,
    season: &BlockSeason,
    visits: &Visits,
    notes: &Notes,
    within: [NaiveDate; 2],
) -> ServiceRecord {
    let block = &season.block;
    let of = [block.id.as_str(), block.start_group.as_str()];
    let about_start = of.iter().flat_map(|id| notes.of(id));
    let served = Served {
        orchard,
        visits,
        notes: notes.of(block.id.as_str()),
        start_settled: settled_on(&season.start, about_start, season.as_of),
        within,
    };
    let traps: Vec<&Trap> = orchard.traps_of(&block.id).collect();
    served.record(&traps)
}

/// The day on which a start was no longer awaited; `None` where it always was. Where the traps could not show it,
/// none was awaited from the first day on.
fn settled_on<'a>(
    start: &EggLayingStart,
    notes: impl Iterator<Item = &'a Note>,
    as_of: NaiveDate,
) -> Option<NaiveDate> {
    let by_hand = notes.filter(|note| note.is_of_year_to(as_of));
    let by_hand = by_hand.filter(|note| matches!(note.kind, NoteKind::EggLayingStart(_)));
    let by_hand = by_hand.map(|note| note.date).min();
    let by_traps = match start.status {
        StartStatus::None | StartStatus::Provisional => return None,
        StartStatus::NotAsked | StartStatus::CannotTell => Some(given_up(&start.evidence.why)),
        StartStatus::Confirmed | StartStatus::ByHand | StartStatus::Borrowed => {
            let last = start.evidence.checks.last().map(|check| check.date);
            start.evidence.confirmed_on.or(last)
        }
    };
    by_traps.into_iter().chain(by_hand).min()
}

/// The day from which nobody waits for a start that cannot be told.
fn given_up(why: &WhyStart) -> NaiveDate {
    match why {
        WhyStart::FirstBroodOver(day) => *day,
        WhyStart::Lent { why, .. } => given_up(why),
        _ => NaiveDate::MIN,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::TrapKind;
    use crate::sample;
    use crate::season::tests::date;
    use crate::trapping::Visit;

    #[test]
    fn egg_traps_are_due_by_the_week_once_the_start_is_set_by_hand() {
        let trap = sample::trap("E1", TrapKind::Egg, date(2021, 4, 1));
        let orchard = Orchard::new(vec![sample::block()], vec![trap], Vec::new());
        let read = |day| Visit {
            eggs: Some(1),
            ..sample::visit("E1", date(2021, 4, day))
        };
        let set = |day| {
            sample::note(
                date(2021, 4, day),
                None,
                NoteKind::EggLayingStart(date(2021, 4, 9).into()),
            )
        };
        let due = |notes: Vec<Note>| {
            let visits: Vec<Visit> = [4, 7, 10, 17, 24].map(read).into();
            let season = sample::season(&orchard, visits.clone(), &notes, date(2021, 4, 30));
            let within = [date(2021, 4, 1), date(2021, 4, 25)];
            let (visits, notes) = (Visits::new(visits), Notes::new(notes));
            let record = served(&orchard, &season, &visits, &notes, within);
            (record.readings.due, record.readings.missed_count())
        };
        // Set on the 10th: read on each day that was due.
        assert_eq!(due(vec![set(10)]), (5, 0));
        // One trap shows no start, so nobody waits for one: the readings of the 4th, 7th and 10th are not due by
        // themselves, but one of a week is.
        let (due_without, _) = due(Vec::new());
        assert!(due_without < 5);
    }
}
