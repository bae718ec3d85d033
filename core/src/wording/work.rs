//! Trap work in sentences: readings due, and parts at the end of their service life.

use std::collections::BTreeMap;
use std::fmt::Display;

use chrono::NaiveDate;

use crate::id::TrapId;
use crate::orchard::{Part, TrapKind};
use crate::season::{BlockSeason, Hanging};
use crate::trapping::{OnLiner, ReadingDue, ServiceDue};

use super::gather::trap_list;
use super::words::Words;

/// Readings due and parts past their service life, by kind; of a closed block, what waits.
pub(crate) fn work_today(words: Words, season: &BlockSeason) -> Vec<String> {
    match season.work.closed_until {
        Some(until) => vec![closed_line(words, season, until)],
        None => work_due(words, season),
    }
}

/// That nobody may enter, and how much waits for it.
pub(crate) fn closed_line(words: Words, season: &BlockSeason, until: NaiveDate) -> String {
    let waiting = waiting(season).map(|(count, what)| plural(count, what));
    let waiting: Vec<String> = waiting.collect();
    let until = words.day(until);
    let closed = format!("closed: no entry until {until}, as noted from the posting");
    match (waits_in(season), waiting.join(" and ")) {
        (0, _) => closed,
        (1, waiting) => format!("{closed}; {waiting} waits"),
        (_, waiting) => format!("{closed}; {waiting} wait"),
    }
}

/// How much is due at the traps of a block.
pub(crate) fn waits_in(season: &BlockSeason) -> usize {
    waiting(season).map(|(count, _)| count).sum()
}

fn waiting(season: &BlockSeason) -> impl Iterator<Item = (usize, &'static str)> {
    let waits = |due: NaiveDate| due <= season.as_of;
    let work = &season.work;
    let must = |reading: &&ReadingDue| !reading.optional && waits(reading.due);
    let readings = work.readings.iter().filter(must).count();
    let hangings = hung_today(season).count();
    let parts = work.service.iter().filter(|due| waits(due.due)).count();
    let counted = [
        (hangings, "hanging"),
        (readings, "reading"),
        (parts, "service"),
    ];
    counted.into_iter().filter(|(count, _)| *count > 0)
}

/// Which liners are full, and how full.
pub(crate) fn service_full(season: &BlockSeason) -> Vec<String> {
    let due = season
        .work
        .service
        .iter()
        .filter(|due| due.due <= season.as_of);
    let full = due.filter_map(|due| {
        let OnLiner { moths, full_at, .. } = due.full?;
        let (part, trap) = (due.part.words(), &due.trap);
        Some(format!(
            "{part} of {trap} full, {moths} moths on it; one of its size undercounts from about {full_at} on"
        ))
    });
    full.collect()
}

/// So many of something: `1 day`, `4 days`.
#[must_use]
pub fn plural<N: Copy + Display + PartialEq + From<u8>>(count: N, what: &str) -> String {
    let plural = if count == N::from(1) { "" } else { "s" };
    format!("{count} {what}{plural}")
}

fn due_since(words: Words, oldest: NaiveDate, day: NaiveDate) -> String {
    match oldest < day {
        true => format!(", due since {}", words.day(oldest)),
        false => String::new(),
    }
}

impl Part {
    /// So many of a part: `1 lure`, `3 baits`; a dispenser of PPO has no plural.
    pub(crate) fn counted(self, count: usize) -> String {
        match self {
            Self::Ppo => format!("{count} PPO"),
            part => plural(count, part.words()),
        }
    }
}

fn work_due(words: Words, season: &BlockSeason) -> Vec<String> {
    let day = season.as_of;
    let mut readings: BTreeMap<TrapKind, Vec<(&TrapId, NaiveDate)>> = BTreeMap::new();
    let must = |reading: &&ReadingDue| !reading.optional && reading.due <= day;
    for reading in season.work.readings.iter().filter(must) {
        let of_kind = readings.entry(reading.kind).or_default();
        of_kind.push((&reading.trap, reading.due));
    }
    let hung = |kind: TrapKind| {
        season
            .work
            .readings
            .iter()
            .filter(|r| r.kind == kind)
            .count()
    };
    let mut lines = hanging_lines(season);
    let readings = readings.into_iter();
    lines.extend(readings.map(|(kind, traps)| reading_line(words, kind, &traps, hung(kind), day)));
    lines.extend(service_lines(words, season));
    lines
}

/// Traps that are declared to be hung today.
fn hung_today(season: &BlockSeason) -> impl Iterator<Item = &Hanging> {
    let hangings = season.work.hangings.iter();
    hangings.filter(|hanging| hanging.on == season.as_of)
}

/// Which traps are hung today, by kind.
fn hanging_lines(season: &BlockSeason) -> Vec<String> {
    let mut kinds: BTreeMap<TrapKind, Vec<&TrapId>> = BTreeMap::new();
    for hanging in hung_today(season) {
        kinds.entry(hanging.kind).or_default().push(&hanging.trap);
    }
    let line = |(kind, traps): (TrapKind, Vec<&TrapId>)| {
        let what = traps_of_kind(traps.len(), kind);
        format!("hang {what} today: {}", trap_list(&traps))
    };
    kinds.into_iter().map(line).collect()
}

/// The same in the fewest words: `hang 4 egg traps, 1 bait bag trap`.
fn hung_briefly<'a>(hangings: impl Iterator<Item = &'a Hanging>) -> Option<String> {
    let mut kinds: BTreeMap<TrapKind, usize> = BTreeMap::new();
    for hanging in hangings {
        *kinds.entry(hanging.kind).or_default() += 1;
    }
    let counted = kinds
        .into_iter()
        .map(|(kind, count)| traps_of_kind(count, kind));
    let counted: Vec<String> = counted.collect();
    (!counted.is_empty()).then(|| format!("hang {}", counted.join(", ")))
}

fn traps_of_kind(count: usize, kind: TrapKind) -> String {
    plural(count, &format!("{} trap", kind.name()))
}

/// Traps that are declared to be hung on the days after today, a line a day: `Mar 14: hang 4 egg traps`.
pub(crate) fn hangings_ahead(words: Words, season: &BlockSeason) -> Vec<String> {
    let hangings = &season.work.hangings;
    let days = hangings.chunk_by(|one, next| one.on == next.on);
    let ahead = days.filter(|day| day[0].on > season.as_of);
    let line = |day: &[Hanging]| {
        Some(format!(
            "{}: {}",
            words.day(day[0].on),
            hung_briefly(day.iter())?
        ))
    };
    ahead.filter_map(line).collect()
}

/// Which traps of a kind are to be read; of all that hang, and several, none need be named.
fn reading_line(
    words: Words,
    kind: TrapKind,
    traps: &[(&TrapId, NaiveDate)],
    hung: usize,
    day: NaiveDate,
) -> String {
    let ids: Vec<&TrapId> = traps.iter().map(|(trap, _)| *trap).collect();
    let oldest = traps.iter().map(|(_, due)| *due).min().unwrap_or(day);
    let since = due_since(words, oldest, day);
    let counted = traps_of_kind(traps.len(), kind);
    match traps.len() {
        several if several > 1 && several == hung => format!("read all {counted}{since}"),
        _ => format!("read {counted}{since}: {}", trap_list(&ids)),
    }
}

/// What ended a part's service life, to follow its name.
fn service_phrase(words: Words, due: &ServiceDue, day: NaiveDate) -> String {
    if let Some(OnLiner { moths, full_at, .. }) = due.full {
        return format!(
            " full, {moths} moths on it; one of its size undercounts from about {full_at} on"
        );
    }
    let life = due.life_days;
    match due.due < day {
        true => format!(", {life}-day life ended {}", words.day(due.due)),
        false => format!(", {life}-day life ends today"),
    }
}

/// Parts at the end of their service life: traps with the same phrase share a line, by part and oldest
/// first, and parts of the same traps and age share it too.
fn service_lines(words: Words, season: &BlockSeason) -> Vec<String> {
    let day = season.as_of;
    let mut alike: BTreeMap<_, Vec<&ServiceDue>> = BTreeMap::new();
    for due in season.work.service.iter().filter(|due| due.due <= day) {
        let key = (
            due.part,
            due.due,
            due.life_days,
            due.full.map(|full| full.moths),
        );
        alike.entry(key).or_default().push(due);
    }
    let mut lines: Vec<(Vec<&str>, String)> = Vec::new();
    for dues in alike.into_values() {
        let traps: Vec<&TrapId> = dues.iter().map(|due| &due.trap).collect();
        let rest = format!(
            "{}: {}",
            service_phrase(words, dues[0], day),
            trap_list(&traps)
        );
        let part = dues[0].part.words();
        match lines.iter_mut().find(|(_, other)| *other == rest) {
            Some((parts, _)) => parts.push(part),
            None => lines.push((vec![part], rest)),
        }
    }
    let line = |(parts, rest): (Vec<&str>, String)| format!("{}{rest}", parts.join(", "));
    lines.into_iter().map(line).collect()
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
    fn traps_are_to_be_hung_on_the_day_that_is_declared_and_named_in_the_week_before() {
        let mut traps: Vec<_> = (1..=4)
            .map(|n| sample::trap(&format!("N1-E{n}"), TrapKind::Egg, date(3, 14)))
            .collect();
        traps.push(sample::trap("N1-P1", TrapKind::Pheromone, date(3, 14)));
        traps.push(sample::trap("N1-B1", TrapKind::BaitBag, date(3, 16)));
        let orchard = Orchard::new(vec![sample::block()], traps, Vec::new());
        let seen = |notes: &[Note], day| {
            let season = sample::season(&orchard, vec![], notes, date(3, day));
            let words = Words::default();
            (work_today(words, &season), hangings_ahead(words, &season))
        };
        let first = "Mar 14: hang 4 egg traps, 1 pheromone trap".to_owned();
        let second = "Mar 16: hang 1 bait bag trap".to_owned();
        assert_eq!(seen(&[], 7), (vec![], vec![first.clone()]));
        assert_eq!(seen(&[], 13), (vec![], vec![first, second.clone()]));
        let lines = [
            "hang 4 egg traps today: N1-E1 to N1-E4",
            "hang 1 pheromone trap today: N1-P1",
        ];
        assert_eq!(
            seen(&[], 14),
            (lines.map(str::to_owned).to_vec(), vec![second])
        );
        let posted = [sample::note(
            date(3, 13),
            None,
            NoteKind::NoEntryUntil(date(3, 20)),
        )];
        let closed = "closed: no entry until Mar 20, as noted from the posting; 5 hangings wait";
        assert_eq!(seen(&posted, 14).0, [closed]);
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
