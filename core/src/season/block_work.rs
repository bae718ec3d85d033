//! What is to be done in a block and at its traps.

use std::collections::BTreeSet;

use chrono::{Datelike, NaiveDate};

use crate::orchard::{Block, Crop, Orchard};
use crate::trapping::{
    EggLayingStart, EggRoutine, Lapse, Note, NoteKind, ReadingDue, ServiceDue, Visits,
    closed_until, first_split, lapses, readings_due, service_due, split_seen,
};

use super::hanging::{
    Hanging, TrapsToHang, egg_traps_by, egg_traps_to_hang, hangings, is_asked_for, moth_traps_by,
    moth_traps_to_hang,
};

/// The work of a block.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockWork {
    /// Service clocks of the block's traps.
    pub service: Vec<ServiceDue>,
    /// Parts that served past their life this year.
    pub lapses: Vec<Lapse>,
    /// Next readings of the block's traps.
    pub readings: Vec<ReadingDue>,
    /// Work of the year that the records do not show as done.
    pub open_tasks: Vec<OpenTask>,
    /// Egg traps that should hang by now or soon, while none does.
    pub egg_traps_to_hang: Option<TrapsToHang>,
    /// Moth traps that should hang by now or soon, of kinds of which none does.
    pub moth_traps_to_hang: Option<TrapsToHang>,
    /// Traps that are declared to be hung on the day or in the week after it, the first one first.
    pub hangings: Vec<Hanging>,
    /// The day before which nobody may enter, as noted from a posting, while it has not come.
    pub closed_until: Option<NaiveDate>,
}

impl BlockWork {
    /// Whether traps are to be read, serviced or hung by a day, in an open block.
    #[must_use]
    pub fn is_due_on(&self, day: NaiveDate) -> bool {
        let readings = self.readings.iter();
        let mut readings = readings.filter(|reading| !reading.optional);
        let due = readings.any(|reading| reading.due <= day)
            || self.service.iter().any(|service| service.due <= day)
            || self.hangings.iter().any(|hanging| hanging.on == day);
        due && self.closed_until.is_none()
    }

    /// The routes on which traps are to be read or serviced by a day, posting or not; an empty name stands for traps
    /// without a route.
    #[must_use]
    pub fn routes_due_on(&self, day: NaiveDate) -> BTreeSet<&str> {
        let served = |reading: &ReadingDue| {
            let mut service = self.service.iter().filter(|due| due.due <= day);
            service.any(|due| due.trap == reading.trap)
        };
        let is_due =
            |reading: &&ReadingDue| (reading.due <= day && !reading.optional) || served(reading);
        let due = self.readings.iter().filter(is_due);
        due.map(|reading| reading.route.as_str()).collect()
    }

    /// What is to be done on a day, with the block's own notes.
    pub(super) fn on(
        day: NaiveDate,
        orchard: &Orchard,
        block: &Block,
        start: &EggLayingStart,
        visits: &Visits,
        notes: &[Note],
    ) -> Self {
        let traps = || orchard.traps_of(&block.id);
        let egg_traps = EggRoutine::of(start.is_awaited(), first_split(notes, day));
        Self {
            service: service_due(orchard, traps(), visits, day),
            lapses: lapses(orchard, traps(), visits, day),
            readings: readings_due(traps(), visits, egg_traps, day),
            open_tasks: open_tasks(orchard, block, notes, day),
            egg_traps_to_hang: egg_traps_to_hang(orchard, block, start, day),
            moth_traps_to_hang: moth_traps_to_hang(orchard, block, day),
            hangings: hangings(orchard, block, day),
            closed_until: closed_until(notes, day),
        }
    }
}

/// Work of a block that the records do not show as done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OpenTask {
    /// No count of mummies is entered.
    CountMummies,
    /// No trap hangs.
    HangTraps {
        /// By which day moth traps hang.
        moths_by: NaiveDate,
        /// By which day egg traps hang.
        eggs_by: NaiveDate,
    },
    /// Hull split of these varieties is not seen yet.
    LookForSplit(Vec<String>),
    /// A variety was shaken and no sample of it is entered.
    SampleHarvest {
        /// The variety; `None` where the note was about the whole block.
        variety: Option<String>,
        /// When it was shaken.
        shaken: NaiveDate,
    },
}

/// When a count of mummies is still of use, and when split is looked for: first and last month and day. The
/// ends after a handbook's date are from memory.
const MUMMIES_COUNTED: [(u32, u32); 2] = [(1, 1), (3, 15)];
const SPLIT_LOOKED_FOR: [(u32, u32); 2] = [(7, 1), (9, 30)];

/// What is open in a block on a day, as far as the handbooks have a date for its crop.
#[must_use]
fn open_tasks(orchard: &Orchard, block: &Block, all: &[Note], day: NaiveDate) -> Vec<OpenTask> {
    let notes: Vec<&Note> = all.iter().filter(|note| note.date <= day).collect();
    let almond = block.crop == Crop::Almond;
    let within =
        |[first, last]: [(u32, u32); 2]| (first..=last).contains(&(day.month(), day.day()));
    let mut open = Vec::new();
    let counted = || notes.iter().any(|note| note.counts_mummies_to(day));
    if almond && within(MUMMIES_COUNTED) && !counted() {
        open.push(OpenTask::CountMummies);
    }
    if !a_trap_hangs(orchard, block, day) {
        open.extend(first_trap_to_hang(orchard, block, day));
    }
    if almond && within(SPLIT_LOOKED_FOR) {
        let unsplit = unsplit(block, all, day);
        open.extend((!unsplit.is_empty()).then_some(OpenTask::LookForSplit(unsplit)));
    }
    open.extend(unsampled(&notes, day));
    open
}

/// That no trap hangs, from two weeks before the first of them should; `None` where no source has a date.
fn first_trap_to_hang(orchard: &Orchard, block: &Block, day: NaiveDate) -> Option<OpenTask> {
    let moths_by = moth_traps_by(block.crop, orchard.district(), day.year())?;
    let eggs_by = egg_traps_by(day.year())?;
    is_asked_for(moths_by, day).then_some(OpenTask::HangTraps { moths_by, eggs_by })
}

/// Whether a trap of the block or of the group whose start it uses hangs or is down for shaking.
fn a_trap_hangs(orchard: &Orchard, block: &Block, day: NaiveDate) -> bool {
    let traps = orchard.traps_of(&block.id);
    let mut traps = traps.chain(orchard.egg_traps(&block.start_group));
    traps.any(|trap| trap.in_use_on(day) || trap.is_down_on(day))
}

/// Varieties whose split was not seen this year, and which were not shaken.
fn unsplit(block: &Block, notes: &[Note], day: NaiveDate) -> Vec<String> {
    let shaken = |variety: &String| {
        let shaken = |note: &Note| note.kind == NoteKind::Shaken && note.is_of_year_to(day);
        let mut shaken = notes.iter().filter(|note| shaken(note));
        shaken.any(|note| note.variety.as_ref().is_none_or(|v| v == variety))
    };
    let is_open = |variety: &&String| split_seen(notes, variety, day).is_none() && !shaken(variety);
    block.varieties.iter().filter(is_open).cloned().collect()
}

/// What was shaken this year without a sample of it, or of the whole block, since.
fn unsampled(notes: &[&Note], day: NaiveDate) -> Vec<OpenTask> {
    let shaken = notes
        .iter()
        .filter(|note| note.kind == NoteKind::Shaken && note.is_of_year_to(day));
    let sampled = |shaken: &Note| {
        notes.iter().any(|note| {
            let same = note.variety == shaken.variety || note.variety.is_none();
            matches!(note.kind, NoteKind::HarvestSample(_)) && note.date >= shaken.date && same
        })
    };
    let open = shaken.filter(|note| !sampled(note));
    let open = open.map(|note| OpenTask::SampleHarvest {
        variety: note.variety.clone(),
        shaken: note.date,
    });
    open.collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::TrapKind;
    use crate::sample;
    use crate::trapping::{HarvestSample, Mummies};

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn open(block: &Block, notes: &[Note], day: NaiveDate) -> Vec<OpenTask> {
        let hung = sample::trap("P1", TrapKind::Pheromone, date(3, 10));
        let orchard = Orchard::new(vec![block.clone()], vec![hung], Vec::new());
        open_tasks(&orchard, block, notes, day)
    }

    #[test]
    fn mummies_are_open_until_counted_in_this_winter() {
        let block = sample::block();
        let counted = |date| {
            let kind = NoteKind::Mummies(Mummies {
                in_tree: Some(0.4),
                on_ground: None,
                trees: 20,
            });
            [sample::note(date, None, kind)]
        };
        let found = |notes: &[Note]| open(&block, notes, date(1, 20));
        assert_eq!(found(&[]), [OpenTask::CountMummies]);
        assert_eq!(found(&counted(date(1, 12))), []);
        let last_winter = date(1, 12).with_year(2021).unwrap();
        assert_eq!(found(&counted(last_winter)), [OpenTask::CountMummies]);
        let pistachio = Block {
            crop: Crop::Pistachio,
            ..block.clone()
        };
        assert_eq!(open(&pistachio, &[], date(1, 20)), []);
    }

    #[test]
    fn traps_are_open_from_two_weeks_before_the_first_date_until_one_hangs() {
        let block = sample::block();
        let task = OpenTask::HangTraps {
            moths_by: date(2, 15),
            eggs_by: date(3, 15),
        };
        let hang = |day| open(&block, &[], day).contains(&task);
        // The trap is hung on 10 March.
        assert_eq!(
            [date(1, 31), date(2, 1), date(3, 9), date(3, 10)].map(hang),
            [false, true, true, false]
        );
    }

    #[test]
    fn split_is_looked_for_from_july_in_each_variety_until_it_is_seen() {
        let block = sample::block();
        let split = [sample::note(
            date(7, 4),
            Some("Nonpareil"),
            NoteKind::HullSplit,
        )];
        let look = |varieties: &[&str]| {
            let varieties = varieties.iter().map(|v| (*v).to_owned());
            vec![OpenTask::LookForSplit(varieties.collect())]
        };
        assert_eq!(open(&block, &[], date(6, 30)), []);
        assert_eq!(
            open(&block, &[], date(7, 1)),
            look(&["Nonpareil", "Monterey"])
        );
        assert_eq!(open(&block, &split, date(7, 4)), look(&["Monterey"]));
    }

    #[test]
    fn a_sample_is_open_from_the_shake_until_it_is_entered() {
        let block = sample::block();
        let shaken = |date| sample::note(date, Some("Nonpareil"), NoteKind::Shaken);
        let sampled = |date, variety| {
            sample::note(
                date,
                variety,
                NoteKind::HarvestSample(HarvestSample::default()),
            )
        };
        let waits = |notes: &[Note]| {
            let open = open(&block, notes, date(10, 5));
            open.iter()
                .any(|task| matches!(task, OpenTask::SampleHarvest { .. }))
        };
        let shake = shaken(date(8, 14));
        assert!(!waits(&[]));
        assert!(waits(std::slice::from_ref(&shake)));
        assert!(waits(&[
            shake.clone(),
            sampled(date(8, 30), Some("Monterey"))
        ]));
        assert!(!waits(&[
            shake.clone(),
            sampled(date(8, 16), Some("Nonpareil"))
        ]));
        assert!(!waits(&[shake, sampled(date(9, 1), None)]));
        let last_year = shaken(date(8, 14).with_year(2021).unwrap());
        assert!(!waits(&[last_year]));
    }
}
