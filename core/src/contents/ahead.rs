//! What comes in the next days: marks with their ranges, parts that near the end of their life, open
//! work.

use std::collections::BTreeMap;

use chrono::{Days, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::season::{BlockSeason, MarkReading, Projection};
use crate::trapping::ServiceDue;

use crate::wording::gather::{BlockName, Lines, grouped, shared};
use crate::wording::trap_plan::WHERE_TO_LOOK;
use crate::wording::words::{Words, may_have_begun};
use crate::wording::work::{hangings_ahead, parts_counted};

/// How far "the next days" look.
const NEXT_DAYS: u64 = 7;
/// How far marks are listed ahead of the middle of their range.
const MARKS_AHEAD_DAYS: u64 = 14;

/// One thing that comes, with what is known of it for each block.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Topic {
    /// What comes.
    pub title: String,
    /// For which blocks, and when.
    pub rows: Vec<Lines>,
}

/// The topics of the next days: marks in the order in which they come, then service, then open work.
pub(crate) fn ahead(words: Words, seasons: &[&BlockSeason]) -> Vec<Topic> {
    let all = seasons.len();
    let ends = seasons.iter().flat_map(|season| {
        let lines = life_ends(words, season).into_iter();
        lines.map(|line| (BlockName::of(&season.block), line))
    });
    let open = seasons.iter().flat_map(|season| {
        let lines = words.other_open_lines(season).into_iter();
        lines.map(|line| (BlockName::of(&season.block), line))
    });
    let hangings = seasons.iter().flat_map(|season| {
        let lines = hangings_ahead(words, season).into_iter();
        lines.map(|line| (BlockName::of(&season.block), line))
    });
    let mut topics = marks(words, seasons);
    topics.push(Topic {
        title: "traps to hang, as declared".to_owned(),
        rows: shared(all, hangings),
    });
    topics.push(Topic {
        title: "service life ends".to_owned(),
        rows: shared(all, ends),
    });
    let split = seasons.iter().filter_map(|season| {
        let varieties = Words::split_looked_for(season)?;
        Some((BlockName::of(&season.block), varieties))
    });
    topics.push(Topic {
        title: format!("hull split not seen yet, {WHERE_TO_LOOK}"),
        rows: shared(usize::MAX, split),
    });
    topics.push(Topic {
        title: "open, as far as the records show".to_owned(),
        rows: shared(all, open),
    });
    topics.retain(|topic| !topic.rows.is_empty());
    topics
}

/// A topic for each mark that comes near, its blocks by the middle of their ranges.
fn marks<'a>(words: Words, seasons: &[&'a BlockSeason]) -> Vec<Topic> {
    let near = |season: &&'a BlockSeason| -> Vec<(NaiveDate, String, BlockName<'a>, String)> {
        let season = *season;
        let readings = season.marks.iter();
        let near = readings.filter_map(|reading| Some((reading, near(season, reading)?)));
        near.map(|(reading, projection)| {
            let begin = if reading.begins_laying {
                " to begin"
            } else {
                ""
            };
            let title = format!("{}, projected{begin}", reading.name);
            let when = when(words, season, reading);
            (projection.middle, title, BlockName::of(&season.block), when)
        })
        .collect()
    };
    let mut coming: Vec<_> = seasons.iter().flat_map(near).collect();
    coming.sort_by_key(|(middle, ..)| *middle);
    let topics = coming
        .into_iter()
        .map(|(_, title, whose, when)| (title, (whose, when)));
    let topic = |(title, said): (String, Vec<(BlockName<'a>, String)>)| Topic {
        title,
        rows: shared(usize::MAX, said),
    };
    grouped(topics).into_iter().map(topic).collect()
}

/// The projection of a told mark that has begun its range or comes near the middle of it.
fn near<'a>(season: &BlockSeason, reading: &'a MarkReading) -> Option<&'a Projection> {
    let told = reading.told && season.all_shaken().is_none();
    let projection = reading.outcome.projection().filter(|_| told)?;
    let near = projection.middle <= within(season.as_of, MARKS_AHEAD_DAYS)
        || projection.early <= within(season.as_of, NEXT_DAYS);
    near.then_some(projection)
}

fn within(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(Days::new(days)).unwrap_or(day)
}

/// The range, and how firm it is.
fn when(words: Words, season: &BlockSeason, reading: &MarkReading) -> String {
    let Some(projection) = reading.outcome.projection() else {
        return String::new();
    };
    let mut when = words.value(projection.into());
    when.push_str(may_have_begun(projection));
    if reading.rests_on_start && !season.start.status.is_firm() {
        when.push_str(", from a provisional start");
    }
    when
}

/// How many parts of each kind end their service life in the next days, by day.
fn life_ends(words: Words, season: &BlockSeason) -> Vec<String> {
    let (day, soon) = (season.as_of, within(season.as_of, NEXT_DAYS));
    let mut by_day: BTreeMap<NaiveDate, Vec<&ServiceDue>> = BTreeMap::new();
    let mut dues = season.work.service.iter();
    for due in dues.by_ref().filter(|due| due.due > day && due.due <= soon) {
        by_day.entry(due.due).or_default().push(due);
    }
    let line = |(day, dues): (NaiveDate, Vec<&ServiceDue>)| {
        format!("{}: {}", words.day(day), parts_counted(&dues))
    };
    by_day.into_iter().map(line).collect()
}
