//! Field notes: winter counts, hull split, harvest, samples, and a start set by hand.

use chrono::{Days, NaiveDate};
use rand_chacha::ChaCha8Rng;

use super::crop::{Crop, Variety};
use super::day_of;
use super::nature::{FIELD_NOTES, count, dice, lognormal, normal};
use super::places::{Block, SPRINKLED_BLOCK};
use super::visits::{Catch, Visit};
use crate::sheet::csv_text;

/// The columns of a sheet of notes that this farm fills in.
const COLUMNS: [&str; 21] = [
    "date",
    "block",
    "variety",
    "kind",
    "value",
    "earliest",
    "latest",
    "trees",
    "top",
    "middle",
    "low",
    "scale",
    "stage",
    "in_tree",
    "on_ground",
    "nuts",
    "orangeworm",
    "twig_borer",
    "ants",
    "other",
    "note",
];

/// Days from first hull split of each check, percent split in the top, at middle height and low, and
/// the stage of the foremost nuts on the scale of Reyes et al.
const SPLIT_CHECKS: [(i64, [u32; 3], &str); 5] = [
    (-7, [0, 0, 0], "2B"),
    (1, [2, 0, 0], "2C"),
    (7, [20, 8, 1], "3"),
    (14, [65, 40, 15], "4"),
    (22, [98, 92, 80], "5"),
];
/// Blocks in which an insecticide was put on, and the day: facts of the invented year.
const INSECTICIDES: [(&str, super::MonthDay); 4] = [
    ("N1", (7, 8)),
    ("C1", (7, 11)),
    ("C2", (7, 11)),
    ("R1", (7, 6)),
];

/// One field note: its columns that are filled in beside date, block, variety and kind.
#[derive(Debug, Clone)]
pub(super) struct Note {
    /// The day it is about; for an expectation the day it was written.
    date: NaiveDate,
    pub(super) written_on: NaiveDate,
    block: &'static str,
    variety: &'static str,
    kind: &'static str,
    fields: Vec<(&'static str, String)>,
}

impl Note {
    fn new(date: NaiveDate, block: &'static Block, kind: &'static str) -> Self {
        Self {
            date,
            written_on: date,
            block: block.id,
            variety: "",
            kind,
            fields: Vec::new(),
        }
    }

    fn of(self, variety: &Variety) -> Self {
        Self {
            variety: variety.name,
            ..self
        }
    }

    fn with(mut self, column: &'static str, value: impl ToString + Copy) -> Self {
        self.fields.push((column, value.to_string()));
        self
    }
}

/// All notes, by the day they were written.
pub(super) fn write_all(visits: &[Visit], crops: &[Crop], year: i32) -> Vec<Note> {
    let mut rng = dice(year, FIELD_NOTES);
    let mut notes: Vec<Note> = crops
        .iter()
        .flat_map(|crop| {
            let mut notes = winter(crop, year, &mut rng);
            notes.extend(hull_split(crop));
            notes.extend(harvest(crop, &mut rng));
            notes.extend(insecticide(crop.block, year));
            notes
        })
        .chain(start_by_hand(visits))
        .collect();
    notes.sort_by_key(|note| note.written_on);
    notes
}

/// What is known before the season: last year's sample, mummies, bloom.
fn winter(crop: &Crop, year: i32, rng: &mut ChaCha8Rng) -> Vec<Note> {
    let block = crop.block;
    let last_harvest = later(day_of(year - 1, (8, 22)), rng, 4.0);
    let counted = later(day_of(year, (1, 12)), rng, 3.0);
    let bloomed = later(day_of(year, (2, 19)), rng, 3.0);
    let mummies = |rng: &mut ChaCha8Rng, median| format!("{:.1}", lognormal(rng, median, 0.6));
    let early = &crop.varieties[0];
    vec![
        sample(last_harvest, block, early, rng),
        Note::new(counted, block, "mummies")
            .with("in_tree", &*mummies(rng, 0.7))
            .with("on_ground", &*mummies(rng, 2.5))
            .with("trees", 20),
        Note::new(bloomed, block, "bloom").of(early),
    ]
}

/// What was expected of the early variety, how it came along, and when each was seen to begin.
fn hull_split(crop: &Crop) -> Vec<Note> {
    let early = &crop.varieties[0];
    let mut notes = vec![
        Note::new(crop.expected_on, crop.block, "hull-split-expected")
            .of(early)
            .with("value", crop.expected),
    ];
    for variety in &crop.varieties {
        let seen = Note::new(variety.split, crop.block, "hull-split").of(variety);
        notes.push(Note {
            written_on: variety.split + Days::new(u64::from(variety.seen_late)),
            ..seen.with("note", "first sound nuts, top south-west")
        });
    }
    notes.extend(SPLIT_CHECKS.map(|(days, [top, middle, low], stage)| {
        let on = early.split + chrono::TimeDelta::days(days);
        Note::new(on, crop.block, "hull-split-check")
            .of(early)
            .with("trees", 6)
            .with("top", top)
            .with("middle", middle)
            .with("low", low)
            .with("scale", "ucce")
            .with("stage", stage)
    }));
    notes
}

/// The shake as expected three weeks before, as done, and the sample taken after it.
fn harvest(crop: &Crop, rng: &mut ChaCha8Rng) -> Vec<Note> {
    let of_variety = |variety: &Variety| {
        let Variety { shaken, likely, .. } = *variety;
        let expected = Note::new(shaken - Days::new(22), crop.block, "shake-expected")
            .of(variety)
            .with("value", likely)
            .with("earliest", likely - Days::new(5))
            .with("latest", likely + Days::new(8));
        let done = Note::new(shaken, crop.block, "shaken").of(variety);
        let sampled = sample(shaken + Days::new(2), crop.block, variety, rng);
        [expected, done, sampled]
    };
    crop.varieties.iter().flat_map(of_variety).collect()
}

fn sample(on: NaiveDate, block: &'static Block, variety: &Variety, rng: &mut ChaCha8Rng) -> Note {
    Note::new(on, block, "harvest-sample")
        .of(variety)
        .with("nuts", 500)
        .with("orangeworm", count(rng, 7.0, 2.0))
        .with("twig_borer", count(rng, 1.5, 1.0))
        .with("ants", count(rng, 2.0, 0.5))
        .with("other", count(rng, 1.0, 1.0))
}

fn insecticide(block: &'static Block, year: i32) -> Vec<Note> {
    let Some(&(_, on)) = INSECTICIDES.iter().find(|(id, _)| *id == block.id) else {
        return Vec::new();
    };
    let on = day_of(year, on);
    let closed = Note::new(on, block, "no-entry-until").with("value", on + Days::new(2));
    vec![
        Note::new(on, block, "insecticide"),
        closed.with("note", "as posted at the gate"),
    ]
}

/// In the sprinkled block too few egg traps can be read when it matters: on the last of its wet
/// checks the adviser sets the start to the first day with eggs on the others.
fn start_by_hand(visits: &[Visit]) -> Option<Note> {
    let mut of_block = visits
        .iter()
        .filter(|visit| visit.block.id == SPRINKLED_BLOCK);
    let laid = of_block.find(|visit| matches!(visit.catch, Catch::Eggs(eggs) if eggs > 0))?;
    let why = format!(
        "two of four egg traps wet from the sprinklers; eggs on the others from {} on",
        laid.date.format("%b %-d")
    );
    let note = Note::new(laid.date + Days::new(7), laid.block, "egg-laying-start");
    Some(note.with("value", laid.date).with("note", &*why))
}

/// About a day, with so many days of spread.
fn later(day: NaiveDate, rng: &mut ChaCha8Rng, spread: f64) -> NaiveDate {
    super::crop::later(day, normal(rng, 0.0, spread).round())
}

pub(super) fn csv<'a>(notes: impl IntoIterator<Item = &'a Note>) -> String {
    csv_text(COLUMNS, notes.into_iter().map(row))
}

fn row(note: &Note) -> [String; COLUMNS.len()] {
    COLUMNS.map(|column| match column {
        "date" => note.date.to_string(),
        "block" => note.block.to_owned(),
        "variety" => note.variety.to_owned(),
        "kind" => note.kind.to_owned(),
        _ => {
            let mut given = note.fields.iter().filter(|(name, _)| *name == column);
            given
                .next()
                .map_or_else(String::new, |(_, value)| value.clone())
        }
    })
}
