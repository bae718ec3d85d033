//! Trap work in sentences: readings due, and parts at the end of their service life.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use crate::id::TrapId;
use crate::orchard::TrapKind;
use crate::season::BlockSeason;
use crate::trapping::{OnLiner, ReadingDue, ServiceDue};

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
    if let Some(full) = due.full {
        let OnLiner { moths, full_at, .. } = full;
        return format!(
            "{part} full, {moths} moths on it; one of its size undercounts from about {full_at} on"
        );
    }
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
    let mut alike: BTreeMap<_, Vec<&ServiceDue>> = BTreeMap::new();
    for due in season.service.iter().filter(|due| pick(due)) {
        let key = (
            due.part,
            due.due,
            due.life_days,
            due.full.map(|full| full.moths),
        );
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::Orchard;
    use crate::sample;
    use crate::trapping::{Note, NoteKind};

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    /// Work at an egg trap and a pheromone trap hung on 1 April, whose parts last 28 days, to the 29th.
    fn work(notes: &[Note], as_of: NaiveDate) -> Vec<String> {
        let traps = vec![
            sample::served_trap("E1", "B", TrapKind::Egg, date(4, 1)),
            sample::served_trap("P1", "B", TrapKind::Pheromone, date(4, 1)),
        ];
        let orchard = Orchard::new(vec![sample::block()], traps, sample::products(28));
        let season = sample::season(&orchard, vec![], notes, as_of);
        work_today(Words::default(), &season)
    }

    #[test]
    fn work_in_a_closed_block_waits_and_is_told_so() {
        let posted = |until| {
            [sample::note(
                date(4, 7),
                None,
                NoteKind::NoEntryUntil(until),
            )]
        };
        let closed = "closed: no entry until May 2, as noted from the posting";
        let found = |as_of| work(&posted(date(5, 2)), as_of);
        assert_eq!(found(date(4, 7)), [closed]);
        // Readings are due on the 8th; bait, lure and liner end on the 29th.
        assert_eq!(found(date(4, 8)), [format!("{closed}; 2 readings wait")]);
        let all = format!("{closed}; 2 readings and 3 services wait");
        assert_eq!(found(date(4, 29)), [all]);
        // Open again, all of it is late and named trap by trap.
        assert!(found(date(5, 2))[0].starts_with("read 1 egg trap, due since Apr 8"));
    }

    #[test]
    fn a_reading_that_may_be_left_out_is_no_work() {
        let split = [sample::note(
            date(4, 5),
            Some("Nonpareil"),
            NoteKind::HullSplit,
        )];
        assert_eq!(work(&[], date(4, 8)).len(), 2);
        assert_eq!(work(&split, date(4, 8)), ["read 1 pheromone trap: P1"]);
    }
}
