//! Why a told date changed, from what was revised or entered since it was told.

use chrono::NaiveDate;

use crate::id::{MarkId, TrapId};
use crate::orchard::Orchard;
use crate::season::BlockSeason;
use crate::trapping::{Note, NoteKind, StartStatus};

use super::words::Words;
use crate::ledger::Since;
use crate::ledger::Value;
use crate::ledger::{Change, Notice};
use crate::ledger::{Event, EventKind};

impl Words {
    /// The cause of a correction or withdrawal, as far as one can be named.
    #[must_use]
    pub fn why(
        self,
        orchard: &Orchard,
        season: &BlockSeason,
        notice: &Notice,
        since: &Since,
    ) -> Option<String> {
        let corrected = matches!(notice.change, Change::Corrected { .. });
        if !corrected && !matches!(notice.change, Change::Withdrawn { .. }) {
            return None;
        }
        let mut causes = Vec::new();
        if matches!(notice.event, Event::MarkNear(..) | Event::MarkPassed(..)) {
            causes.extend(self.revised(season, since));
            causes.extend(self.decided(season, since));
        }
        causes.extend(hull_split(season, notice, since));
        let of_start = season.start.status != StartStatus::NotAsked;
        let by_start = matches!(
            notice.event.kind(),
            EventKind::StartProvisional
                | EventKind::Start
                | EventKind::SecondCandidate
                | EventKind::MarkNear
                | EventKind::MarkPassed
        );
        if of_start && by_start {
            causes.extend(self.late_readings(orchard, season, since));
            causes.extend(by_hand(season, since));
        }
        if causes.is_empty() {
            causes.extend(by_itself(season, notice));
        }
        (!causes.is_empty()).then(|| format!("since then {}", Self::listed(&causes)))
    }

    /// Station days that the block's heat rests on.
    fn revised(self, season: &BlockSeason, since: &Since) -> Option<String> {
        let days = in_season(season, &since.station_days);
        let stretch = self.stretch(*days.first()?, *days.last()?);
        Some(match days.len() {
            1 => format!("the station's {stretch} was revised or came late"),
            n => format!("{n} station days between {stretch} were revised or came late"),
        })
    }

    /// Station days that somebody judged by hand.
    fn decided(self, season: &BlockSeason, since: &Since) -> Option<String> {
        let days = in_season(season, &since.decided_days);
        let stretch = self.stretch(*days.first()?, *days.last()?);
        Some(format!("the station's {stretch} was judged by hand"))
    }

    /// Readings of the egg traps that decide the block's start.
    fn late_readings(self, orchard: &Orchard, season: &BlockSeason, since: &Since) -> Vec<String> {
        let of = |readings: &[(TrapId, NaiveDate)], became: &str| {
            let days = self.days_of_start(orchard, season, readings)?;
            Some(format!("egg-trap readings of {days} were {became}"))
        };
        let late = of(&since.readings, "entered late");
        let withdrawn = of(&since.withdrawn_readings, "withdrawn");
        late.into_iter().chain(withdrawn).collect()
    }

    /// The days of those readings that are of traps that decide the block's start.
    fn days_of_start(
        self,
        orchard: &Orchard,
        season: &BlockSeason,
        readings: &[(TrapId, NaiveDate)],
    ) -> Option<String> {
        let group = &season.block.start_group;
        let decides = |trap: &TrapId| orchard.egg_traps(group).any(|t| &t.id == trap);
        let readings = readings.iter().filter(|(trap, _)| decides(trap));
        let mut days: Vec<NaiveDate> = readings.map(|(_, day)| *day).collect();
        days.sort_unstable();
        days.dedup();
        let days: Vec<String> = days.into_iter().map(|day| self.day(day)).collect();
        (!days.is_empty()).then(|| Self::listed(&days))
    }
}

/// The days that the block's heat rests on.
fn in_season(season: &BlockSeason, days: &[NaiveDate]) -> Vec<NaiveDate> {
    let Some(from) = season.heat_from else {
        return Vec::new();
    };
    let counted = days.iter().copied();
    counted
        .filter(|day| (from..season.as_of).contains(day))
        .collect()
}

/// What moves a projected date that nothing was revised of: the days that have passed since, and what was
/// counted on them.
fn by_itself(season: &BlockSeason, notice: &Notice) -> Option<String> {
    let Change::Corrected { was, now, .. } = notice.change else {
        return None;
    };
    let moved = match (&notice.event, was, now) {
        (Event::MarkPassed(_), Value::Range { .. }, Value::Day(_) | Value::Within { .. }) => {
            "the newest temperatures reached the mark"
        }
        (Event::Start, Value::Within { .. }, Value::Within { .. }) => {
            "more counts date it otherwise"
        }
        (
            Event::MarkPassed(_),
            Value::Day(_) | Value::Within { .. },
            Value::Day(_) | Value::Within { .. },
        ) if season.start.is_estimated() => "more counts date the egg-laying start otherwise",
        (Event::MarkNear(_), ..) | (Event::MarkPassed(_), Value::Range { .. }, _) => {
            "temperatures were other than those of past years"
        }
        _ => return None,
    };
    Some(moved.to_owned())
}

/// Hull split of any variety moves the block's first, and the marks that wait for it.
fn hull_split(season: &BlockSeason, notice: &Notice, since: &Since) -> Option<String> {
    let waits = |mark: &MarkId| {
        let mut marks = season.marks.iter();
        marks.any(|reading| &reading.mark == mark && reading.waits_for_split)
    };
    match &notice.event {
        Event::HullSplit => {}
        Event::MarkNear(mark) | Event::MarkPassed(mark) if waits(mark) => {}
        _ => return None,
    }
    let about = |notes: &[Note]| {
        let about = notes.iter().filter(|note| {
            note.block == season.block.id
                && (note.kind.shows_hull_split()
                    || matches!(note.kind, NoteKind::HullSplitExpected(_)))
        });
        let mut varieties: Vec<String> = about.filter_map(|note| note.variety.clone()).collect();
        varieties.sort();
        varieties.dedup();
        (!varieties.is_empty()).then(|| Words::listed(&varieties))
    };
    if let Some(varieties) = about(&since.notes) {
        return Some(format!("hull split of {varieties} was entered"));
    }
    let varieties = about(&since.withdrawn_notes)?;
    Some(format!(
        "what was entered of hull split of {varieties} was withdrawn"
    ))
}

fn by_hand(season: &BlockSeason, since: &Since) -> Option<String> {
    let group = season.block.start_group.as_str();
    let about = |note: &Note| {
        let block = note.block.as_str();
        (block == season.block.id.as_str() || block == group)
            && matches!(note.kind, NoteKind::EggLayingStart(_))
    };
    if since.notes.iter().any(about) {
        return Some("the start was set by hand".to_owned());
    }
    let withdrawn = since.withdrawn_notes.iter().any(about);
    withdrawn.then(|| "the start set by hand was withdrawn".to_owned())
}
