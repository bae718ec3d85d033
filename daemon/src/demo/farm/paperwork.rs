//! Which sheet was entered when: most on the evening of the reading, some days late.

use std::collections::BTreeMap;

use chrono::{Datelike, Days, NaiveDate};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::days::{MonthDay, day_of};
use super::notes::{self, Note};
use super::places::LATE_SHEET_BLOCK;
use super::visits::{self, Catch, Visit};

/// One file of records, entered on one evening.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The civil day on which it was entered; a late sheet comes days after its readings.
    pub entered_on: NaiveDate,
    /// The name of the file, unique within the season.
    pub via_file: String,
    /// What the lines are.
    pub kind: Kind,
    /// Visits: `date,trap,eggs,moths,males,females,readable,serviced,note`, where an empty
    /// `readable` means yes and `serviced` lists parts with spaces between; moths that were sexed
    /// are in `males` and `females`, others in `moths`. Notes:
    /// the columns of `notes.rs`. Any other empty field was not given.
    pub csv: String,
}

/// The two kinds of record.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Readings of traps.
    Visits,
    /// Field notes.
    Notes,
}

/// The sheet of the check that starts egg laying in [`LATE_SHEET_BLOCK`] lay in the truck so long.
const LOST_IN_THE_TRUCK_DAYS: u64 = 10;
/// From here on, when nobody waits for a start, sheets are late now and then.
const LATE_FROM: MonthDay = (6, 1);

/// The files of a season.
pub(super) fn entries(visits: &[Visit], notes: &[Note], rng: &mut ChaCha8Rng) -> Vec<Entry> {
    sheets(visits, rng)
        .into_iter()
        .map(|(sheet, lines)| Entry {
            entered_on: sheet.entered_on,
            via_file: sheet.file_name(),
            kind: Kind::Visits,
            csv: visits::csv(lines),
        })
        .chain(note_files(notes))
        .collect()
}

/// A whole season before, typed in during the winter after the farm began with its records.
pub(super) fn history(visits: &[Visit], year: i32, earlier: i32) -> Entry {
    Entry {
        entered_on: day_of(year, (1, 5)),
        via_file: format!("visits-{earlier}.csv"),
        kind: Kind::Visits,
        csv: visits::csv(visits),
    }
}

/// One file of visits: those of a day, or of one block of that day when it was late.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Sheet {
    entered_on: NaiveDate,
    read_on: NaiveDate,
    late_block: Option<&'static str>,
}

impl Sheet {
    fn file_name(self) -> String {
        let date = self.read_on;
        match self.late_block {
            None => format!("visits-{date}.csv"),
            Some(block) => format!("visits-{date}-{block}.csv"),
        }
    }
}

fn sheets<'a>(visits: &'a [Visit], rng: &mut ChaCha8Rng) -> BTreeMap<Sheet, Vec<&'a Visit>> {
    let mut of_block_and_day: BTreeMap<(NaiveDate, &'static str), Vec<&Visit>> = BTreeMap::new();
    for visit in visits {
        of_block_and_day
            .entry((visit.date, visit.block.id))
            .or_default()
            .push(visit);
    }
    let first_eggs = first_widespread_eggs(visits);
    let mut sheets: BTreeMap<Sheet, Vec<&Visit>> = BTreeMap::new();
    for ((read_on, block), lines) in of_block_and_day {
        let now_and_then = rng.random_bool(0.025).then(|| rng.random_range(3..=9));
        let delay = if block == LATE_SHEET_BLOCK && Some(read_on) == first_eggs {
            Some(LOST_IN_THE_TRUCK_DAYS)
        } else {
            now_and_then.filter(|_| read_on >= day_of(read_on.year(), LATE_FROM))
        };
        let sheet = Sheet {
            entered_on: read_on + Days::new(delay.unwrap_or(0)),
            read_on,
            late_block: delay.map(|_| block),
        };
        sheets.entry(sheet).or_default().extend(lines);
    }
    sheets
}

/// The first day on which three quarters of the late block's readable egg traps had eggs.
fn first_widespread_eggs(visits: &[Visit]) -> Option<NaiveDate> {
    let mut checks: BTreeMap<NaiveDate, (u32, u32)> = BTreeMap::new();
    for visit in visits
        .iter()
        .filter(|visit| visit.block.id == LATE_SHEET_BLOCK)
    {
        if let Catch::Eggs(eggs) = visit.catch {
            let (with_eggs, read) = checks.entry(visit.date).or_default();
            *with_eggs += u32::from(eggs > 0);
            *read += 1;
        }
    }
    checks
        .into_iter()
        .find(|(_, (with_eggs, read))| 4 * with_eggs >= 3 * read)
        .map(|(date, _)| date)
}

fn note_files(notes: &[Note]) -> impl Iterator<Item = Entry> {
    let mut of_day: BTreeMap<NaiveDate, Vec<&Note>> = BTreeMap::new();
    for note in notes {
        of_day.entry(note.written_on).or_default().push(note);
    }
    of_day.into_iter().map(|(entered_on, lines)| Entry {
        entered_on,
        via_file: format!("notes-{entered_on}.csv"),
        kind: Kind::Notes,
        csv: notes::csv(lines),
    })
}
