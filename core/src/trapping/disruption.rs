//! The check of mating disruption: what its sentinels and the traps beside them caught. Counts, never
//! a verdict: females may be mated, and nuts damaged, where a sentinel stays empty.
//!
//! A sentinel is a pheromone-only trap in a disrupted block. In 88 orchards of 16 ha (IOBC-WPRS
//! Bulletin, 2019 to 2021) disruption took 88 % or more of the males out of such traps by aerosol and
//! meso dispensers, and less than 60 % by a sprayable product.

use chrono::{Datelike, Days, NaiveDate};

use crate::id::{BlockId, TrapId};
use crate::orchard::{Block, Dispensers, Near, Orchard, Regime, Trap, TrapKind};

use super::haul::{Haul, Interval, haul, intervals};
use super::{Note, NoteKind, Visits};

/// So many moths in one reading of a sentinel are told at once. Common practice, no source.
const TELLING_CATCH: u32 = 2;
/// So many reference blocks are set beside: more would not be read.
const MOST_REFERENCES: usize = 3;
/// Days of readings in the short window.
const WEEK_DAYS: u64 = 7;

/// What the traps of a disrupted block show of the disruption.
#[derive(Debug, Clone, PartialEq)]
pub struct Disruption {
    /// When the dispensers went on and run out: as noted this year, else as declared.
    pub dispensers: Dispensers,
    /// The last seven days.
    pub week: Window,
    /// The season so far.
    pub season: Window,
    /// Sentinel readings of this year that are told at once, oldest first.
    pub catches: Vec<SentinelCatch>,
}

/// The catches of a stretch of days.
#[derive(Debug, Clone, PartialEq)]
pub struct Window {
    /// What the sentinels caught.
    pub sentinel: Option<Haul>,
    /// What the traps caught that work under disruption: pheromone with PPO, and bait bags.
    pub others: Vec<Haul>,
    /// What pheromone traps of conventional blocks caught in those days.
    pub references: Vec<Reference>,
    /// Why the sentinels' catch says nothing; empty when it says something.
    pub doubts: Vec<Doubt>,
}

/// A conventional block beside a disrupted one.
#[derive(Debug, Clone, PartialEq)]
pub struct Reference {
    /// The block.
    pub block: BlockId,
    /// Its name.
    pub name: String,
    /// Whether its temperatures come from the same station.
    pub same_station: bool,
    /// Whether disruption is near it too, so that its own catch of males may be smaller for it (Burks
    /// 2017, J. Econ. Entomol. 110:438-446: at sites 0.6 to 2.8 miles away).
    pub near_disruption: bool,
    /// What its pheromone traps caught.
    pub haul: Haul,
}

impl Reference {
    /// By how many percent fewer males per trap per night the sentinels caught; `None` where the
    /// reference caught none, or fewer than they did.
    #[must_use]
    pub fn shutdown_percent(&self, sentinel: &Haul) -> Option<f64> {
        let (beside, own) = (self.haul.per_trap_night(), sentinel.per_trap_night());
        (beside > 0.0 && own <= beside).then(|| 100.0 * (1.0 - own / beside))
    }
}

/// Why what sentinels caught says nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// None hangs in the block.
    NoSentinel,
    /// None was read in those days, over nights of disruption alone.
    NotRead,
    /// Nobody entered when the dispensers went on.
    DispensersNotEntered,
    /// They go on later.
    DispensersNotOn(NaiveDate),
    /// They ran out.
    DispensersRunOut(NaiveDate),
    /// The lure was past its life in every night of an empty sentinel.
    LurePastLife,
    /// Nothing is declared of the lure of an empty sentinel, so it may be past its life.
    LureNotDeclared,
    /// The traps that work under disruption were empty as well.
    BothEmpty,
    /// No such trap was read.
    NoOtherTrap,
}

/// A reading of a sentinel that is told at once: two or more moths, or any on two readings running.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SentinelCatch {
    /// The trap.
    pub trap: TrapId,
    /// The day of the reading.
    pub date: NaiveDate,
    /// Moths caught.
    pub count: u32,
    /// Whether the reading before had moths too.
    pub running: bool,
}

/// Checks a block under mating disruption, with its notes; `None` for any other.
#[must_use]
pub fn disruption(
    orchard: &Orchard,
    block: &Block,
    visits: &Visits,
    notes: &[Note],
    as_of: NaiveDate,
) -> Option<Disruption> {
    if block.regime != Regime::MatingDisruption {
        return None;
    }
    let dispensers = dispensers(block, notes, as_of);
    let readings = |block: &Block| readings(orchard, block, visits, dispensers, as_of);
    let own = readings(block);
    let beside = orchard
        .conventional_beside(block)
        .map(|other| (other, readings(other)))
        .filter(|(_, of_other)| of_kind(of_other, TrapKind::Pheromone).next().is_some())
        .take(MOST_REFERENCES);
    let mut sentinels = orchard.traps_of(&block.id);
    let look = Look {
        block,
        dispensers,
        as_of,
        sentinel_hangs: sentinels
            .any(|trap| trap.kind == TrapKind::Pheromone && trap.in_use_on(as_of)),
        beside: beside.collect(),
        own,
    };
    let week_ago = as_of.checked_sub_days(Days::new(WEEK_DAYS - 1));
    Some(Disruption {
        dispensers,
        week: look.window(week_ago.unwrap_or(as_of)),
        season: look.window(NaiveDate::MIN),
        catches: sentinel_catches(&look.own),
    })
}

/// What was noted this year up to a day, else what is declared. An end before the newest beginning
/// belongs to dispensers that were replaced.
fn dispensers(block: &Block, notes: &[Note], as_of: NaiveDate) -> Dispensers {
    let mut seen: Vec<&Note> = notes
        .iter()
        .filter(|note| note.is_of_year_to(as_of))
        .collect();
    seen.sort_by_key(|note| note.date);
    let mut newest = seen.iter().rev();
    let on = newest.find(|note| matches!(note.kind, NoteKind::DispensersOn));
    let on = on.map(|note| note.date).or(block.dispensers.on);
    let until = seen.iter().rev().find_map(|note| match note.kind {
        NoteKind::DispensersUntil(day) => Some(day),
        _ => None,
    });
    let until = until.or(block.dispensers.until);
    Dispensers {
        on,
        until: until.filter(|until| on.is_none_or(|on| *until >= on)),
    }
}

/// The readings of one trap.
type Readings<'a> = (&'a Trap, Vec<Interval>);

/// This year's readings of a block's traps over nights of disruption alone, as far as that is known.
fn readings<'a>(
    orchard: &'a Orchard,
    block: &Block,
    visits: &Visits,
    dispensers: Dispensers,
    as_of: NaiveDate,
) -> Vec<Readings<'a>> {
    let Dispensers { on, until } = dispensers;
    let counts = |reading: &Interval| {
        reading.is_of_one_year()
            && reading.to.year() == as_of.year()
            && on.is_none_or(|on| reading.from >= on)
            && until.is_none_or(|until| reading.to <= until)
    };
    let traps = orchard.traps_of(&block.id);
    let readings = traps.filter(|trap| trap.kind != TrapKind::Egg).map(|trap| {
        let mut of_trap = intervals(orchard, trap, visits, as_of);
        of_trap.retain(counts);
        (trap, of_trap)
    });
    readings.collect()
}

/// The readings of one kind of trap, one by one.
fn of_kind<'a>(
    readings: &'a [Readings<'a>],
    kind: TrapKind,
) -> impl Iterator<Item = (&'a Trap, Interval)> {
    let traps = readings.iter().filter(move |(trap, _)| trap.kind == kind);
    traps.flat_map(|(trap, of_trap)| of_trap.iter().map(move |reading| (*trap, *reading)))
}

/// One look at a block.
struct Look<'a> {
    block: &'a Block,
    dispensers: Dispensers,
    as_of: NaiveDate,
    sentinel_hangs: bool,
    own: Vec<Readings<'a>>,
    beside: Vec<(&'a Block, Vec<Readings<'a>>)>,
}

impl Look<'_> {
    fn window(&self, from: NaiveDate) -> Window {
        let caught = |readings, kind| {
            haul(of_kind(readings, kind).filter(|(_, reading)| reading.to >= from))
        };
        let sentinel = caught(&self.own, TrapKind::Pheromone);
        let others: Vec<Haul> = [TrapKind::PheromonePpo, TrapKind::BaitBag]
            .into_iter()
            .filter_map(|kind| caught(&self.own, kind))
            .collect();
        let references = self.beside.iter().filter_map(|(other, readings)| {
            Some(self.reference(other, caught(readings, TrapKind::Pheromone)?))
        });
        Window {
            doubts: self.doubts(sentinel.as_ref(), &others),
            references: match sentinel {
                Some(_) => references.collect(),
                None => Vec::new(),
            },
            sentinel,
            others,
        }
    }

    fn reference(&self, other: &Block, haul: Haul) -> Reference {
        Reference {
            block: other.id.clone(),
            name: other.name.clone(),
            same_station: other.station == self.block.station,
            near_disruption: other.near.contains(&Near::Disruption),
            haul,
        }
    }

    fn doubts(&self, sentinel: Option<&Haul>, others: &[Haul]) -> Vec<Doubt> {
        let mut doubts = Vec::new();
        let Dispensers { on, until } = self.dispensers;
        match (on, until) {
            (Some(on), _) if self.as_of <= on => doubts.push(Doubt::DispensersNotOn(on)),
            (_, Some(until)) if self.as_of > until => doubts.push(Doubt::DispensersRunOut(until)),
            (None, _) => doubts.push(Doubt::DispensersNotEntered),
            _ => {}
        }
        match sentinel {
            Some(haul) if haul.count > 0 => {}
            Some(haul) => doubts.extend(doubts_of_none(haul, others)),
            None if !self.sentinel_hangs => doubts.push(Doubt::NoSentinel),
            None => doubts.push(Doubt::NotRead),
        }
        doubts
    }
}

/// Sentinel readings that are told at once, oldest first.
fn sentinel_catches(own: &[Readings]) -> Vec<SentinelCatch> {
    let sentinels = own
        .iter()
        .filter(|(trap, _)| trap.kind == TrapKind::Pheromone);
    let mut catches: Vec<SentinelCatch> = sentinels
        .flat_map(|(trap, of_trap)| told_at_once(trap, of_trap))
        .collect();
    catches.sort_by(|a, b| (a.date, &a.trap).cmp(&(b.date, &b.trap)));
    catches
}

/// Why an empty sentinel says nothing.
fn doubts_of_none(sentinel: &Haul, others: &[Haul]) -> Vec<Doubt> {
    let lure = match sentinel.nights_in_life() {
        None => Some(Doubt::LureNotDeclared),
        Some(0) => Some(Doubt::LurePastLife),
        Some(_) => None,
    };
    let moths = if others.is_empty() {
        Some(Doubt::NoOtherTrap)
    } else if others.iter().all(|haul| haul.count == 0) {
        Some(Doubt::BothEmpty)
    } else {
        None
    };
    lure.into_iter().chain(moths).collect()
}

/// The readings of one sentinel that are told at once.
fn told_at_once(trap: &Trap, readings: &[Interval]) -> Vec<SentinelCatch> {
    let before = std::iter::once(0).chain(readings.iter().map(|reading| reading.count));
    let caught = readings
        .iter()
        .zip(before)
        .map(|(reading, before)| SentinelCatch {
            trap: trap.id.clone(),
            date: reading.to,
            count: reading.count,
            running: before > 0 && reading.count > 0,
        });
    caught
        .filter(|caught| caught.count >= TELLING_CATCH || caught.running)
        .collect()
}

#[cfg(test)]
mod tests;
