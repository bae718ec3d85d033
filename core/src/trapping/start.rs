//! The egg-laying start (the biofix) of an egg-trap group.
//!
//! Two rules are always worked out beside each other; the one in force decides.
//! *Share rising* is the published one (UC IPM almond guideline): the first of two consecutive
//! check dates on which at least 75 % of the traps show an increase. *Eggs twice* is common
//! practice, no source: after two clean checks, eggs in two traps on two check dates running.

mod why;

pub use why::WhyStart;

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, TimeDelta};

use crate::id::{GroupId, TrapId};
use crate::orchard::{Block, Orchard, Regime, StartRule, Trap};

use super::check::CONSECUTIVE_DAYS;
use super::{Check, Note, NoteKind, Notes, Reading, StartByHand, Visits, checks};

/// Readable traps that a check needs, and so traps that a group needs.
const FEWEST_TRAPS: usize = 3;
/// A run of checks after so many days near zero may be the true start (common practice, no source).
const QUIET_DAYS: i64 = 14;
/// Days to each side of a start within which laying may have begun: set by hand without a range, and
/// borrowed from another group (common practice, no source).
const BY_HAND: TimeDelta = TimeDelta::days(3);
const BORROWED: TimeDelta = TimeDelta::days(5);
/// Clean checks that *eggs twice* wants before it believes eggs.
const CLEAN_CHECKS: usize = 2;

/// How well the start is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StartStatus {
    /// Not yet.
    None,
    /// One check date meets the rule; the next one decides.
    Provisional,
    /// Two check dates running meet the rule.
    Confirmed,
    /// Set by the adviser.
    ByHand,
    /// Taken over from another group, where it is confirmed or set by hand.
    Borrowed,
    /// The traps cannot show it.
    CannotTell,
    /// Nothing counts from it in this crop.
    NotAsked,
}

impl StartStatus {
    /// The name used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Provisional => "provisional",
            Self::Confirmed => "confirmed",
            Self::ByHand => "by-hand",
            Self::Borrowed => "borrowed",
            Self::CannotTell => "cannot-tell",
            Self::NotAsked => "not-asked",
        }
    }

    /// Whether dates that count from the start may go to a grower.
    #[must_use]
    pub const fn is_firm(self) -> bool {
        matches!(self, Self::Confirmed | Self::ByHand | Self::Borrowed)
    }
}

/// The start of egg laying, as known on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct EggLayingStart {
    /// How well it is known.
    pub status: StartStatus,
    /// Its day, where there is one.
    pub date: Option<NaiveDate>,
    /// What it rests on.
    pub evidence: StartEvidence,
}

impl EggLayingStart {
    /// Whether the egg traps may still show it.
    #[must_use]
    pub const fn is_awaited(&self) -> bool {
        matches!(self.status, StartStatus::None | StartStatus::Provisional)
    }

    /// The earliest and the latest day on which laying may have begun; `None` without a start. By traps
    /// from the day after the check before, or the start itself where there was none, to the start. Set
    /// by hand as entered, else three days to each side. Borrowed five days to each side, and more where
    /// the group that lends it knows it no better.
    #[must_use]
    pub fn may_have_begun(&self) -> Option<[NaiveDate; 2]> {
        let date = self.date?;
        let around = |days| [date - days, date + days];
        let evidence = &self.evidence;
        let after_check = evidence.check_before.and_then(|check| check.succ_opt());
        let by_traps = [after_check.map_or(date, |day| day.min(date)), date];
        Some(match evidence.why {
            WhyStart::ByHand { .. } => evidence.entered_range.unwrap_or(around(BY_HAND)),
            WhyStart::Lent { .. } => {
                let [early, late] = around(BORROWED);
                let [earliest, latest] = evidence.entered_range.unwrap_or(by_traps);
                [early.min(earliest), late.max(latest)]
            }
            _ => by_traps,
        })
    }

    /// Of a block whose crop has no date that counts from it.
    #[must_use]
    pub fn not_asked(block: &Block) -> Self {
        Self {
            status: StartStatus::NotAsked,
            date: None,
            evidence: StartEvidence {
                group: block.start_group.clone(),
                // No rule is at work; the published one stands in its place.
                rule: StartRule::ShareRising,
                results: BTreeMap::new(),
                checks: Vec::new(),
                newest_check: None,
                check_before: None,
                entered_range: None,
                second_candidate: None,
                may_be_late: false,
                why: WhyStart::NotAsked(block.crop),
            },
        }
    }
}

/// What a start rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct StartEvidence {
    /// The group whose traps decide.
    pub group: GroupId,
    /// The rule in force.
    pub rule: StartRule,
    /// The result of each rule, also of the one not in force.
    pub results: BTreeMap<StartRule, RuleResult>,
    /// The two check dates that decided, by the rule in force.
    pub checks: Vec<CheckEvidence>,
    /// The newest check date, whatever it showed.
    pub newest_check: Option<CheckEvidence>,
    /// The check date before the start: eggs may have been laid since the day after it.
    pub check_before: Option<NaiveDate>,
    /// The earliest and the latest day of a start set by hand, where they were entered.
    pub entered_range: Option<[NaiveDate; 2]>,
    /// A later run of checks that may be the true start. A start that is confirmed never moves by
    /// itself; the adviser may set this one by hand.
    pub second_candidate: Option<SecondCandidate>,
    /// Under mating disruption egg catch falls by a third to two thirds, so a start may be late
    /// (IOBC-WPRS Bulletin, 88 orchards, 2019-21).
    pub may_be_late: bool,
    /// Why the status is what it is.
    pub why: WhyStart,
}

/// Two checks running that meet the rule again, after two weeks near zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SecondCandidate {
    /// The first of the two check dates.
    pub date: NaiveDate,
    /// The second.
    pub second: NaiveDate,
    /// The first check of those near zero before it: at most one trap with eggs on each.
    pub quiet_from: NaiveDate,
}

/// What one rule says by itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RuleResult {
    /// No check date meets it. Names those that a second check took back.
    NotYet {
        /// Check dates that met the rule once.
        withdrawn: Vec<NaiveDate>,
    },
    /// One check date meets it.
    Provisional {
        /// That date.
        date: NaiveDate,
        /// Whether the next check came too late to decide.
        missed_check: bool,
    },
    /// Two running check dates meet it.
    Confirmed {
        /// The first of them: the start.
        date: NaiveDate,
        /// The second.
        second: NaiveDate,
    },
}

/// One check date in numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CheckEvidence {
    /// The day.
    pub date: NaiveDate,
    /// Egg traps hanging.
    pub hung: usize,
    /// Of those, readable and past their baseline.
    pub read: usize,
    /// Of those, read for the first time: a baseline that is not judged.
    pub first_readings: usize,
    /// Of those, showing a rise.
    pub rising: usize,
    /// Of those read, with eggs.
    pub with_eggs: usize,
    /// Eggs on all of them.
    pub eggs: u32,
}

/// Decides a block's start of the year from everything known up to `as_of`: a start set by hand
/// first, then the group it uses, its own or a borrowed one, by the rule of the block that owns it.
#[must_use]
pub fn egg_laying_start(
    orchard: &Orchard,
    block: &Block,
    default_rule: StartRule,
    visits: &Visits,
    notes: &Notes,
    as_of: NaiveDate,
) -> EggLayingStart {
    let lender = orchard.block_of_group(&block.start_group).unwrap_or(block);
    let rule = lender.start_rule.unwrap_or(default_rule);
    let traps: Vec<&Trap> = orchard
        .egg_traps(&block.start_group)
        .filter(|trap| {
            trap.removed
                .is_none_or(|removed| removed.year() >= as_of.year())
        })
        .collect();
    let mut start = GroupChecks::new(&traps, visits, as_of).start(&block.start_group, rule);
    start.evidence.may_be_late = lender.regime == Regime::MatingDisruption;
    if let Some((by_hand, note)) = set_by_hand(notes, block.start_group.as_str(), as_of) {
        start.set_by_hand(by_hand, note);
    }
    if block.borrows_start() {
        start.lend();
        if let Some((by_hand, note)) = set_by_hand(notes, block.id.as_str(), as_of) {
            start.set_by_hand(by_hand, note);
        }
    }
    start
}

fn set_by_hand<'a>(
    notes: &'a Notes,
    block: &str,
    as_of: NaiveDate,
) -> Option<(StartByHand, &'a Note)> {
    notes
        .of(block)
        .iter()
        .filter(|note| note.is_of_year_to(as_of))
        .filter_map(|note| match note.kind {
            NoteKind::EggLayingStart(start) => {
                let of_year = start.day <= as_of && start.day.year() == as_of.year();
                of_year.then_some((start, note))
            }
            _ => None,
        })
        .max_by_key(|(_, note)| note.date)
}

impl EggLayingStart {
    fn set_by_hand(&mut self, start: StartByHand, note: &Note) {
        self.status = StartStatus::ByHand;
        self.date = Some(start.day);
        self.evidence.check_before = None;
        self.evidence.entered_range = start.within;
        self.evidence.second_candidate = None;
        self.evidence.why = WhyStart::ByHand {
            by: note.by.clone(),
            text: note.text.clone(),
            traps: Box::new(self.evidence.why.clone()),
        };
    }

    fn lend(&mut self) {
        self.evidence.why = WhyStart::Lent {
            group: self.evidence.group.clone(),
            why: Box::new(self.evidence.why.clone()),
        };
        if self.status.is_firm() {
            self.status = StartStatus::Borrowed;
        }
    }
}

/// A group's check dates, with each trap's readings at hand.
struct GroupChecks {
    checks: Vec<Check>,
    hanging: usize,
    ever_hung: usize,
    as_of: NaiveDate,
}

impl GroupChecks {
    fn new(traps: &[&Trap], visits: &Visits, as_of: NaiveDate) -> Self {
        Self {
            checks: checks(traps, visits, as_of),
            hanging: traps.iter().filter(|t| t.in_use_on(as_of)).count(),
            ever_hung: traps.iter().filter(|t| t.hung <= as_of).count(),
            as_of,
        }
    }

    fn start(&self, group: &GroupId, rule: StartRule) -> EggLayingStart {
        let results: BTreeMap<StartRule, RuleResult> = StartRule::ALL
            .into_iter()
            .map(|rule| (rule, self.result(rule)))
            .collect();
        let (status, date, why) = self.status(&results[&rule]);
        let decisive: Vec<NaiveDate> = match &results[&rule] {
            RuleResult::Confirmed { date, second } => vec![*date, *second],
            RuleResult::Provisional { date, .. } => vec![*date],
            RuleResult::NotYet { .. } => Vec::new(),
        };
        let run = decisive.first().copied();
        let before = |check: &&Check| check.counts() && date.is_some_and(|date| check.date < date);
        EggLayingStart {
            status,
            date,
            evidence: StartEvidence {
                group: group.clone(),
                rule,
                checks: self
                    .checks
                    .iter()
                    .filter(|check| decisive.contains(&check.date))
                    .map(|check| self.evidence(check, run))
                    .collect(),
                newest_check: self.checks.last().map(|check| self.evidence(check, run)),
                check_before: self
                    .checks
                    .iter()
                    .rev()
                    .find(before)
                    .map(|check| check.date),
                entered_range: None,
                second_candidate: match &results[&rule] {
                    RuleResult::Confirmed { second, .. } => self.second_candidate(rule, *second),
                    _ => None,
                },
                may_be_late: false,
                results,
                why,
            },
        }
    }

    /// The status by the rule in force, with the reasons for which traps cannot show a start first.
    fn status(&self, result: &RuleResult) -> (StartStatus, Option<NaiveDate>, WhyStart) {
        let cannot_tell = |why| (StartStatus::CannotTell, None, why);
        if self.ever_hung == 0 {
            return cannot_tell(WhyStart::NoTraps);
        }
        if let Some(eggs) = self.eggs_on_baseline() {
            return cannot_tell(WhyStart::EggsOnBaseline(eggs));
        }
        match *result {
            RuleResult::Confirmed { date, second } => {
                let first = date;
                let why = WhyStart::TwoChecks { first, second };
                (StartStatus::Confirmed, Some(date), why)
            }
            RuleResult::Provisional { date, missed_check } => {
                let why = match missed_check {
                    true => WhyStart::MissedCheck,
                    false => WhyStart::OneCheck,
                };
                (StartStatus::Provisional, Some(date), why)
            }
            RuleResult::NotYet { .. } if self.too_few_hang() => cannot_tell(WhyStart::TooFewTraps),
            RuleResult::NotYet { ref withdrawn } => {
                (StartStatus::None, None, self.not_yet(withdrawn))
            }
        }
    }

    /// Traps that were all taken down after checks that counted were not too few.
    fn too_few_hang(&self) -> bool {
        let were_enough = self.checks.iter().any(Check::counts);
        self.hanging < FEWEST_TRAPS && !(self.hanging == 0 && were_enough)
    }

    fn not_yet(&self, withdrawn: &[NaiveDate]) -> WhyStart {
        match withdrawn.last() {
            Some(date) => WhyStart::TakenBack(*date),
            None => WhyStart::NoneMet {
                checks: self.checks.len(),
                judged: self.counted().count(),
            },
        }
    }

    /// Eggs on the baselines of the traps that were hung for the season, which are those read first
    /// up to the first check that counts; a later replacement says nothing about the start.
    fn eggs_on_baseline(&self) -> Option<u32> {
        let first_counted = self.counted().next();
        let until = first_counted.map_or(NaiveDate::MAX, |check| check.date);
        let eggs = self
            .checks
            .iter()
            .filter(|check| check.date <= until)
            .flat_map(|check| &check.readings)
            .filter(|reading| reading.baseline)
            .map(|reading| reading.eggs)
            .sum();
        (eggs > 0).then_some(eggs)
    }

    /// The first run that meets the rule again after a start, when the checks before it were near zero
    /// for long enough.
    fn second_candidate(&self, rule: StartRule, after: NaiveDate) -> Option<SecondCandidate> {
        let later: Vec<&Check> = self.counted().filter(|check| check.date > after).collect();
        let mut quiet_from = None;
        for (place, check) in later.iter().enumerate() {
            if check.with_eggs() < 2 {
                quiet_from.get_or_insert(check.date);
                continue;
            }
            let long = |from: &NaiveDate| (check.date - *from).num_days() >= QUIET_DAYS;
            let (Some(quiet_from), Some(next)) =
                (quiet_from.take().filter(long), later.get(place + 1))
            else {
                continue;
            };
            let running = CONSECUTIVE_DAYS.contains(&(next.date - check.date).num_days());
            let meets = |of_run: &Check| self.meets(rule, of_run, check.date);
            if running && meets(check) && meets(next) {
                return Some(SecondCandidate {
                    date: check.date,
                    second: next.date,
                    quiet_from,
                });
            }
        }
        None
    }

    fn counted(&self) -> impl Iterator<Item = &Check> {
        self.checks.iter().filter(|check| check.counts())
    }

    /// Walks the check dates that count and looks for two running ones that meet the rule.
    fn result(&self, rule: StartRule) -> RuleResult {
        let counted: Vec<&Check> = self.counted().collect();
        let mut withdrawn = Vec::new();
        let mut provisional = None;
        for (place, check) in counted.iter().enumerate() {
            let first = check.date;
            if !self.meets(rule, check, first) {
                continue;
            }
            let next = counted[place + 1..]
                .iter()
                .find(|next| (next.date - first).num_days() >= *CONSECUTIVE_DAYS.start());
            match next {
                Some(next) if !CONSECUTIVE_DAYS.contains(&(next.date - first).num_days()) => {
                    provisional.get_or_insert((first, true));
                }
                Some(next) if self.meets(rule, next, first) => {
                    return RuleResult::Confirmed {
                        date: first,
                        second: next.date,
                    };
                }
                Some(_) => withdrawn.push(first),
                None => {
                    let waited = (self.as_of - first).num_days();
                    provisional.get_or_insert((first, waited > *CONSECUTIVE_DAYS.end()));
                }
            }
        }
        provisional.map_or(RuleResult::NotYet { withdrawn }, |(date, missed_check)| {
            RuleResult::Provisional { date, missed_check }
        })
    }

    /// Whether a check meets a rule, as part of a run that begins on `run`.
    fn meets(&self, rule: StartRule, check: &Check, run: NaiveDate) -> bool {
        match rule {
            StartRule::ShareRising => {
                let (read, rising) = (check.judged().count(), self.rising(check, run));
                rising * 4 >= read * 3
            }
            StartRule::EggsTwice => {
                let clean = |c: &&Check| c.date < run && c.counts() && c.with_eggs() == 0;
                check.with_eggs() >= 2 && self.checks.iter().filter(clean).count() >= CLEAN_CHECKS
            }
        }
    }

    /// How many traps show a rise: at least one egg more than the trap's rate at its last reading
    /// before the run would give, over the nights of this reading.
    fn rising(&self, check: &Check, run: NaiveDate) -> usize {
        let rises = |reading: &&Reading| {
            self.reading_before(&reading.trap, run)
                .is_some_and(|before| {
                    let expected = f64::from(before.eggs) / f64::from(before.nights)
                        * f64::from(reading.nights);
                    f64::from(reading.eggs) >= expected + 1.0
                })
        };
        check.judged().filter(rises).count()
    }

    fn reading_before(&self, trap: &TrapId, run: NaiveDate) -> Option<&Reading> {
        let earlier = self.checks.iter().rev().filter(|check| check.date < run);
        earlier
            .flat_map(|check| &check.readings)
            .find(|reading| &reading.trap == trap)
    }

    fn evidence(&self, check: &Check, run: Option<NaiveDate>) -> CheckEvidence {
        let run = run.filter(|run| *run <= check.date).unwrap_or(check.date);
        CheckEvidence {
            date: check.date,
            hung: check.hung,
            read: check.judged().count(),
            first_readings: check.readings.len() - check.judged().count(),
            rising: self.rising(check, run),
            with_eggs: check.with_eggs(),
            eggs: check.judged().map(|reading| reading.eggs).sum(),
        }
    }
}

#[cfg(test)]
mod tests;
