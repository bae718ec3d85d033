//! The work of a year with its handbook dates, and what of it is open in a block.

use chrono::{Datelike, NaiveDate};

use crate::orchard::{Block, Crop, Orchard, Trap};
use crate::trapping::{EggLayingStart, Note, NoteKind, StartStatus};

use super::plan::{Purpose, Wanted, trap_plan};

/// Whose date it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// The work of each block.
    Block,
    /// A date that a handbook gives for the district; never a block's deadline.
    District,
    /// The adviser's own.
    Adviser,
}

/// A piece of the year's work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct YearEntry {
    /// When, in words.
    pub when: &'static str,
    /// What.
    pub what: &'static str,
    /// Whose date it is.
    pub whose: Whose,
    /// First and last month and day between which a digest names it; `None` where each block has work
    /// of its own or the date is not one for digests.
    pub named: Option<[(u32, u32); 2]>,
    /// Where it comes from.
    pub source: &'static str,
}

const RELAYED_MUMMIES: &str = "relayed from Bentley et al. by the farm press; pointer only";
const UC_IPM_EGG_TRAPS: &str = "UC IPM almond guideline";

/// The year from January to the report.
pub const YEAR: [YearEntry; 12] = [
    entry(
        "on or before Jan 15",
        "mummies are counted in 20 trees a block (almond)",
        Whose::Block,
        RELAYED_MUMMIES,
    ),
    YearEntry {
        named: Some([(1, 1), (2, 1)]),
        ..entry(
            "by Feb 1",
            "fewer than 2 mummies a tree in the Sacramento Valley, fewer in the San Joaquin Valley (almond)",
            Whose::District,
            RELAYED_MUMMIES,
        )
    },
    YearEntry {
        named: Some([(1, 1), (3, 15)]),
        ..entry(
            "by Mar 15",
            "mummies on the ground are destroyed (almond)",
            Whose::District,
            RELAYED_MUMMIES,
        )
    },
    entry(
        "early Mar in the south to late Mar in the north",
        "traps are hung in pistachio, earlier in warm years",
        Whose::Block,
        "Bentley, Siegel, Holtz & Daane 2008, Pistachio Production Manual",
    ),
    entry(
        "by Mar 15",
        "traps are hung in almond; an older UC IPM page has the first week of April",
        Whose::Block,
        "UC Cooperative Extension, Sacramento Valley, 2023",
    ),
    entry(
        "until the start is confirmed",
        "egg traps are read twice a week, after that like all traps at least weekly",
        Whose::Block,
        UC_IPM_EGG_TRAPS,
    ),
    entry(
        "all season",
        "lures, PPO, bait and liners are changed, each by the life of its product",
        Whose::Block,
        "the products of the configuration, each with its own source",
    ),
    entry(
        "from early Jul",
        "hull split of sound nuts is looked for, top southwest shoots of 5 or 6 trees (almond)",
        Whose::Block,
        "UC IPM, how to identify hull split",
    ),
    entry(
        "once sound nuts have split",
        "egg traps may go unread",
        Whose::Block,
        "common practice, no source",
    ),
    entry(
        "after each shake, before sweeping",
        "500 nuts a block are sampled (almond)",
        Whose::Block,
        "UC IPM, almond harvest sample",
    ),
    entry(
        "after harvest",
        "samples, frozen until then, are cracked out by cause of damage",
        Whose::Block,
        "UC IPM, almond harvest sample",
    ),
    YearEntry {
        named: Some([(10, 15), (10, 31)]),
        ..entry(
            "end of Oct",
            "the season is reported: starts, marks, catches, samples, rejects",
            Whose::Adviser,
            "common practice, no source",
        )
    },
];

const fn entry(
    when: &'static str,
    what: &'static str,
    whose: Whose,
    source: &'static str,
) -> YearEntry {
    YearEntry {
        when,
        what,
        whose,
        named: None,
        source,
    }
}

impl YearEntry {
    /// Whether a digest of that day names it.
    #[must_use]
    pub fn is_named_on(&self, day: NaiveDate) -> bool {
        let day = (day.month(), day.day());
        self.named
            .is_some_and(|[first, last]| (first..=last).contains(&day))
    }
}

/// Work of a block that the records do not show as done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OpenTask {
    /// No count of mummies is entered.
    CountMummies,
    /// No trap hangs.
    HangTraps,
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

/// Egg traps of a block that are still to hang.
#[derive(Debug, Clone, PartialEq)]
pub struct EggTrapsToHang {
    /// By which day: by Mar 15 in almond (UC Cooperative Extension, Sacramento Valley, 2023).
    pub by: NaiveDate,
    /// How many traps are declared to hang on a later day, and the first such day.
    pub declared: Option<(usize, NaiveDate)>,
    /// How many the sources want.
    pub wanted: Vec<Wanted>,
}

/// When a count of mummies is still of use, when traps should hang, and when split is looked for:
/// first and last month and day. The ends after a handbook's date are from memory.
const MUMMIES_COUNTED: [(u32, u32); 2] = [(1, 1), (3, 15)];
const TRAPS_HUNG: [(u32, u32); 2] = [(3, 1), (6, 30)];
const EGG_TRAPS_HUNG_BY: (u32, u32) = (3, 15);
const SPLIT_LOOKED_FOR: [(u32, u32); 2] = [(7, 1), (9, 30)];

/// What is open in a block on a day, as far as the handbooks have a date for its crop.
#[must_use]
pub(super) fn open_tasks(
    orchard: &Orchard,
    block: &Block,
    notes: &[Note],
    day: NaiveDate,
) -> Vec<OpenTask> {
    let notes: Vec<&Note> = notes.iter().filter(|note| note.date <= day).collect();
    let almond = block.crop == Crop::Almond;
    let within =
        |[first, last]: [(u32, u32); 2]| (first..=last).contains(&(day.month(), day.day()));
    let mut open = Vec::new();
    let counted = || notes.iter().any(|note| note.counts_mummies_to(day));
    if almond && within(MUMMIES_COUNTED) && !counted() {
        open.push(OpenTask::CountMummies);
    }
    if block.crop != Crop::Walnut && within(TRAPS_HUNG) && !a_trap_hangs(orchard, block, day) {
        open.push(OpenTask::HangTraps);
    }
    if almond && within(SPLIT_LOOKED_FOR) {
        let unsplit = unsplit(block, &notes, day);
        open.extend((!unsplit.is_empty()).then_some(OpenTask::LookForSplit(unsplit)));
    }
    open.extend(unsampled(&notes, day));
    open
}

/// Egg traps that a block needs for a start of its own, from the day on which traps should hang until one
/// does or the start is known.
#[must_use]
pub(super) fn egg_traps_to_hang(
    orchard: &Orchard,
    block: &Block,
    start: &EggLayingStart,
    day: NaiveDate,
) -> Option<EggTrapsToHang> {
    let [first, last] = TRAPS_HUNG;
    let within = (first..=last).contains(&(day.month(), day.day()));
    let asked = start.status != StartStatus::NotAsked && start.date.is_none();
    let own: Vec<&Trap> = orchard.egg_traps(&block.start_group).collect();
    let hangs = |trap: &&Trap| trap.in_use_on(day) || trap.is_down_on(day);
    if !within || !asked || block.borrows_start() || own.iter().any(hangs) {
        return None;
    }
    let later = own.iter().filter(|trap| trap.hung > day);
    let first_later = later.clone().map(|trap| trap.hung).min();
    let plans = trap_plan(orchard, block, day).into_iter();
    let mut of_eggs = plans.filter(|plan| plan.purpose == Purpose::Eggs);
    let (month, by) = EGG_TRAPS_HUNG_BY;
    Some(EggTrapsToHang {
        by: NaiveDate::from_ymd_opt(day.year(), month, by)?,
        declared: first_later.map(|hung| (later.count(), hung)),
        wanted: of_eggs.next().map_or_else(Vec::new, |plan| plan.wanted),
    })
}

/// Whether a trap of the block or of the group whose start it uses hangs or is down for shaking.
fn a_trap_hangs(orchard: &Orchard, block: &Block, day: NaiveDate) -> bool {
    let traps = orchard.traps_of(&block.id);
    let mut traps = traps.chain(orchard.egg_traps(&block.start_group));
    traps.any(|trap| trap.in_use_on(day) || trap.is_down_on(day))
}

/// Varieties whose split was not seen this year, and which were not shaken.
fn unsplit(block: &Block, notes: &[&Note], day: NaiveDate) -> Vec<String> {
    let past = |note: &&&Note| {
        note.is_of_year_to(day) && (note.kind.shows_hull_split() || note.kind == NoteKind::Shaken)
    };
    let varieties = block.varieties.iter().filter(|variety| {
        let about = |note: &&Note| note.variety.as_ref().is_none_or(|v| v == *variety);
        !notes.iter().filter(past).any(about)
    });
    varieties.cloned().collect()
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
    fn traps_are_open_from_march_until_one_hangs() {
        let block = sample::block();
        let hang = |day| open(&block, &[], day).contains(&OpenTask::HangTraps);
        // The trap is hung on 10 March.
        assert_eq!(
            [date(2, 28), date(3, 1), date(3, 10)].map(hang),
            [false, true, false]
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

    #[test]
    fn a_handbook_date_is_named_until_it_is_past() {
        let named = |month, day| {
            YEAR.iter()
                .filter(|e| e.is_named_on(date(month, day)))
                .count()
        };
        assert_eq!(
            [(2, 1), (2, 2), (3, 15), (3, 16)].map(|(m, d)| named(m, d)),
            [2, 1, 1, 0]
        );
        assert!(YEAR.iter().all(|entry| !entry.source.is_empty()));
    }
}
