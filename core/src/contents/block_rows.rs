//! The blocks of a digest that have something to say, one row each.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::id::{BlockId, PersonId};
use crate::ledger::Notice;
use crate::ledger::rank::{NEVER_LEADS, rank};
use crate::season::{BlockSeason, HullSplit, MarkReading, Projection, Shake, lagging};
use crate::wording::words::{Words, short_mark};
use crate::wording::work::plural;

/// More rows than this are counted by grower.
const MOST_ROWS: usize = 40;

/// One block in the table.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct BlockRow {
    /// The block.
    pub block: BlockId,
    /// Its name.
    pub name: String,
    /// Its egg-laying start.
    pub start: String,
    /// The next mark and its range; empty where none is projected.
    pub next: String,
    /// What traps caught when they were last read, each kind in one phrase.
    pub read: Vec<String>,
    /// First split and shake of the early variety; empty where nothing is known.
    pub harvest: String,
    /// What is overdue, or when a trap is read next.
    pub due: String,
}

/// The rows, and what is said of the other blocks.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct BlockRows {
    /// Blocks that have something to say.
    pub rows: Vec<BlockRow>,
    /// How many of the others there are, and those that were read; empty without any.
    pub others: Vec<String>,
}

/// Blocks with news, with a reading of the day before, with overdue work, and those that somebody is asked to decide
/// about. `name` gives people's names.
pub(crate) fn block_rows(
    words: Words,
    seasons: &[&BlockSeason],
    notices: &[Notice],
    name: &dyn Fn(&PersonId) -> String,
) -> BlockRows {
    let lagging = lagging(seasons);
    let asked = lagging.iter().filter(|lagging| lagging.is_new());
    let asked = asked.map(|lagging| &lagging.season.block.id);
    let news = notices.iter().filter(|notice| rank(notice) < NEVER_LEADS);
    let pressing: BTreeSet<&BlockId> = news.map(|notice| &notice.block).chain(asked).collect();
    let is_pressing = |season: &&&BlockSeason| pressing.contains(&season.block.id);
    let (first, rest): (Vec<&BlockSeason>, Vec<&BlockSeason>) =
        seasons.iter().partition(|season| is_pressing(season));
    let (read, quiet): (Vec<&BlockSeason>, Vec<&BlockSeason>) =
        rest.into_iter().partition(|season| was_read(season));
    let room = MOST_ROWS.saturating_sub(first.len());
    let (shown, counted) = match read.len() <= room {
        true => (read, Vec::new()),
        false => (Vec::new(), read),
    };
    // A firm's news is told block by block above; its rows end where nobody reads on.
    let rows = first.into_iter().take(MOST_ROWS).chain(shown);
    let rows: Vec<BlockRow> = rows.map(|season| row(words, season)).collect();
    BlockRows {
        others: others(&counted, quiet.len(), rows.len(), name),
        rows,
    }
}

/// Whether a trap of the block was read on the day before, or today.
pub(super) fn was_read(season: &BlockSeason) -> bool {
    let mut read = season.last_read.iter();
    read.any(|read| (season.as_of - read.on).num_days() <= 1)
}

fn others(
    counted: &[&BlockSeason],
    quiet: usize,
    shown: usize,
    name: &dyn Fn(&PersonId) -> String,
) -> Vec<String> {
    let mut growers: BTreeMap<&PersonId, usize> = BTreeMap::new();
    for season in counted {
        *growers.entry(&season.block.grower).or_default() += 1;
    }
    let growers: Vec<String> = growers
        .into_iter()
        .map(|(grower, blocks)| format!("{} {blocks}", name(grower)))
        .collect();
    let read = (!growers.is_empty()).then(|| {
        let blocks = plural(counted.len(), "block");
        format!(
            "{blocks} read the day before without news: {}",
            growers.join(", ")
        )
    });
    let more = if shown + counted.len() == 0 {
        ""
    } else {
        " more"
    };
    let quiet = (quiet > 0).then(|| format!("{quiet}{more} with nothing new"));
    read.into_iter().chain(quiet).collect()
}

pub(super) fn row(words: Words, season: &BlockSeason) -> BlockRow {
    let next = next_mark(season).map(|(reading, projection)| {
        let range = words.range(projection.early, projection.late);
        format!("{} {range}", short_mark(&reading.name))
    });
    let newest = season.last_read.iter().map(|read| read.on).max();
    let read = season
        .last_read
        .iter()
        .filter(|read| Some(read.on) == newest);
    BlockRow {
        block: season.block.id.clone(),
        name: season.block.name.clone(),
        start: words.start_briefly(season),
        next: next
            .or_else(|| season.without_marks.clone())
            .unwrap_or_default(),
        read: read.map(|read| words.last_read(read)).collect(),
        harvest: harvest(words, season),
        due: due(words, season),
    }
}

/// The told mark that is projected next; none once every variety was shaken.
pub(super) fn next_mark(season: &BlockSeason) -> Option<(&MarkReading, &Projection)> {
    season
        .marks
        .iter()
        .filter(|reading| reading.told && season.all_shaken().is_none())
        .filter_map(|reading| Some((reading, reading.outcome.projection()?)))
        .min_by_key(|(_, projection)| projection.middle)
}

/// First split and shake of the variety that is first in the block.
pub(super) fn harvest(words: Words, season: &BlockSeason) -> String {
    let Some(of) = season.exposure.first() else {
        return String::new();
    };
    let split = of.split.days().map(|days| {
        let known = if matches!(of.split, HullSplit::Seen(_)) {
            "seen"
        } else {
            "expected"
        };
        let days = words.stretch(days.earliest, days.latest);
        format!("hull split {known} {days}")
    });
    let shake = of.shake.map(|shake| match shake {
        Shake::Done(day) => format!("shaken {}", words.day(day)),
        Shake::Expected(days) => format!("shake {}", words.stretch(days.earliest, days.latest)),
    });
    let both: Vec<String> = split.into_iter().chain(shake).collect();
    both.join(", ")
}

/// Since when readings are overdue, else the day of the next one.
fn due(words: Words, season: &BlockSeason) -> String {
    let readings = season
        .work
        .readings
        .iter()
        .filter(|reading| !reading.optional);
    let next = readings.map(|reading| reading.due).min();
    match next {
        Some(day) if day < season.as_of => format!("since {}", words.day(day)),
        Some(day) => words.day(day),
        None => String::new(),
    }
}
