//! Trap work in sentences: readings due, and parts at the end of their service life.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::id::TrapId;
use crate::orchard::{Part, TrapKind};
use crate::season::BlockSeason;
use crate::trapping::{ReadingDue, ServiceDue};

use super::gather::trap_list;
use super::words::Words;

/// Readings due and parts past their service life, by kind; of a closed block, what waits.
pub(super) fn work_today(words: Words, season: &BlockSeason) -> Vec<String> {
    match season.closed_until {
        Some(until) => vec![closed_line(words, season, until)],
        None => work_due(words, season),
    }
}

/// That nobody may enter, and how much waits for it.
fn closed_line(words: Words, season: &BlockSeason, until: NaiveDate) -> String {
    let waits = |due: NaiveDate| due <= season.as_of;
    let must = |reading: &&ReadingDue| !reading.optional && waits(reading.due);
    let readings = season.readings.iter().filter(must).count();
    let parts = season.service.iter().filter(|due| waits(due.due)).count();
    let counted = [(readings, "reading"), (parts, "service")];
    let counted = counted.into_iter().filter(|(count, _)| *count > 0);
    let waiting: Vec<String> = counted.map(|(count, what)| plural(count, what)).collect();
    let until = words.day(until);
    let closed = format!("closed: no entry until {until}, as noted from the posting");
    match (readings + parts, waiting.join(" and ")) {
        (0, _) => closed,
        (1, waiting) => format!("{closed}; {waiting} waits"),
        (_, waiting) => format!("{closed}; {waiting} wait"),
    }
}

/// So many of something.
pub(super) fn plural(count: usize, what: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {what}{plural}")
}

fn work_due(words: Words, season: &BlockSeason) -> Vec<String> {
    let day = season.as_of;
    let mut readings: BTreeMap<TrapKind, Vec<(&TrapId, NaiveDate)>> = BTreeMap::new();
    let must = |reading: &&ReadingDue| !reading.optional && reading.due <= day;
    for reading in season.readings.iter().filter(must) {
        let of_kind = readings.entry(reading.kind).or_default();
        of_kind.push((&reading.trap, reading.due));
    }
    let mut lines: Vec<String> = readings
        .into_iter()
        .map(|(kind, traps)| reading_line(words, kind, &traps, day))
        .collect();
    lines.extend(service_lines(
        season,
        |due| due.due <= day,
        |due| service_phrase(words, due, day),
    ));
    lines
}

fn reading_line(
    words: Words,
    kind: TrapKind,
    traps: &[(&TrapId, NaiveDate)],
    day: NaiveDate,
) -> String {
    let ids: Vec<&TrapId> = traps.iter().map(|(trap, _)| *trap).collect();
    let oldest = traps.iter().map(|(_, due)| *due).min().unwrap_or(day);
    let since = if oldest < day {
        format!(", due since {}", words.day(oldest))
    } else {
        String::new()
    };
    let plural = if traps.len() == 1 { "trap" } else { "traps" };
    format!(
        "read {} {} {plural}{since}: {}",
        traps.len(),
        kind.name(),
        trap_list(&ids)
    )
}

fn service_phrase(words: Words, due: &ServiceDue, day: NaiveDate) -> String {
    let (part, life) = (due.part.words(), due.life_days);
    if due.due < day {
        format!("{part}, {life}-day life ended {}", words.day(due.due))
    } else {
        format!("{part}, {life}-day life ends today")
    }
}

/// The service clocks that a condition picks: traps with the same phrase share a line, by part and
/// oldest first.
pub(super) fn service_lines(
    season: &BlockSeason,
    pick: impl Fn(&ServiceDue) -> bool,
    phrase: impl Fn(&ServiceDue) -> String,
) -> Vec<String> {
    let mut alike: BTreeMap<(Part, NaiveDate, u16), Vec<&ServiceDue>> = BTreeMap::new();
    for due in season.service.iter().filter(|due| pick(due)) {
        let key = (due.part, due.due, due.life_days);
        alike.entry(key).or_default().push(due);
    }
    alike
        .into_values()
        .map(|dues| {
            let traps: Vec<&TrapId> = dues.iter().map(|due| &due.trap).collect();
            format!("{}: {}", phrase(dues[0]), trap_list(&traps))
        })
        .collect()
}
