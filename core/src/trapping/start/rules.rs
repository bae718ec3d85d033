//! The check dates of a group, and what each rule says of them by itself.

use chrono::NaiveDate;

use crate::id::TrapId;
use crate::insect::StartModel;
use crate::orchard::{StartRule, Trap};
use crate::trapping::check::CONSECUTIVE_DAYS;
use crate::trapping::{Check, Reading, checks};

use super::estimate::HeatOfDays;
use super::{CheckEvidence, KeptStart, RuleResult, SecondCandidate, StartView, WhyStart};

/// Readable traps that a check needs, and so traps that a group needs.
const FEWEST_TRAPS: usize = 3;
/// A run of checks after so many days near zero may be the true start (common practice, no source).
const QUIET_DAYS: i64 = 14;
/// Clean checks that *eggs twice* wants before it believes eggs.
const CLEAN_CHECKS: usize = 2;
/// Traps with eggs on a check that *eggs twice* and the estimate want.
const TRAPS_WITH_EGGS: usize = 2;

/// A group's check dates, with each trap's readings at hand, and the heat of its station.
pub(super) struct GroupChecks<'a> {
    pub(super) checks: Vec<Check>,
    hanging: usize,
    ever_hung: usize,
    pub(super) as_of: NaiveDate,
    pub(super) model: &'a StartModel,
    pub(super) heat: Option<&'a HeatOfDays>,
    /// What the group's estimate came to when it was worked out last.
    pub(super) kept: Option<&'a KeptStart>,
}

impl<'a> GroupChecks<'a> {
    pub(super) fn new(
        traps: &[&Trap],
        view: StartView<'a>,
        heat: Option<&'a HeatOfDays>,
        kept: Option<&'a KeptStart>,
    ) -> Self {
        let StartView { model, as_of, .. } = view;
        Self {
            checks: checks(traps, view.visits, as_of),
            hanging: traps.iter().filter(|t| t.in_use_on(as_of)).count(),
            ever_hung: traps.iter().filter(|t| t.hung <= as_of).count(),
            as_of,
            model,
            heat,
            kept,
        }
    }

    /// Why the traps cannot show a start, whatever was counted since.
    pub(super) fn cannot_show(&self) -> Option<WhyStart> {
        match self.ever_hung {
            0 => Some(WhyStart::NoTraps),
            _ => self.eggs_on_baselines(),
        }
    }

    /// The day from which on eggs are likelier the second generation's than the first's; `None` before it,
    /// and where that is not known.
    pub(super) fn first_brood_over(&self) -> Option<NaiveDate> {
        let until = self.model.first_brood_until.fahrenheit_days();
        self.heat?.first_from(until)
    }

    /// Whether a run that begins on a day is of the overwintered brood, as far as that is known.
    fn is_of_first_brood(&self, day: NaiveDate) -> bool {
        self.first_brood_over().is_none_or(|over| day < over)
    }

    /// Traps that were all taken down after checks that counted were not too few.
    pub(super) fn too_few_hang(&self) -> bool {
        let were_enough = self.checks.iter().any(Check::counts);
        self.hanging < FEWEST_TRAPS && !(self.hanging == 0 && were_enough)
    }

    pub(super) fn not_yet(&self, withdrawn: &[NaiveDate]) -> WhyStart {
        match withdrawn.last() {
            Some(date) => WhyStart::TakenBack(*date),
            None => WhyStart::NoneMet {
                checks: self.checks.len(),
                judged: self.counted().count(),
            },
        }
    }

    /// Eggs on at least two, and a quarter, of the traps that were hung for the season, at their first
    /// readings: egg laying had begun before. Those are the ones read first up to the first check that
    /// counts; a later replacement says nothing about the start.
    fn eggs_on_baselines(&self) -> Option<WhyStart> {
        let first_counted = self.counted().next();
        let until = first_counted.map_or(NaiveDate::MAX, |check| check.date);
        let checks = self.checks.iter().filter(|check| check.date <= until);
        let baselines = checks
            .flat_map(|check| &check.readings)
            .filter(|reading| reading.baseline);
        let baselines: Vec<&Reading> = baselines.collect();
        let with_eggs = baselines.iter().filter(|reading| reading.eggs > 0).count();
        let hung_late = with_eggs >= 2 && with_eggs * 4 >= baselines.len();
        hung_late.then(|| WhyStart::EggsOnBaseline {
            eggs: baselines.iter().map(|reading| reading.eggs).sum(),
            traps: with_eggs,
            of: baselines.len(),
        })
    }

    /// The first run that meets the rule again after a start, when the checks before it were near zero
    /// for long enough.
    pub(super) fn second_candidate(
        &self,
        rule: StartRule,
        after: NaiveDate,
    ) -> Option<SecondCandidate> {
        let later: Vec<&Check> = self.counted().filter(|check| check.date > after).collect();
        let mut quiet_from = None;
        for (place, check) in later.iter().enumerate() {
            if check.with_eggs() < TRAPS_WITH_EGGS {
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

    pub(super) fn counted(&self) -> impl Iterator<Item = &Check> {
        self.checks.iter().filter(|check| check.counts())
    }

    /// Walks the check dates that count and looks for two running ones that meet the rule.
    pub(super) fn result(&self, rule: StartRule) -> RuleResult {
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
        if !self.is_of_first_brood(run) {
            return false;
        }
        match rule {
            StartRule::ShareRising => {
                let (read, rising) = (check.judged().count(), self.rising(check, run));
                rising * 4 >= read * 3
            }
            StartRule::EggsTwice => {
                let clean = |c: &&Check| c.date < run && c.counts() && c.with_eggs() == 0;
                let were_clean = self.checks.iter().filter(clean).count() >= CLEAN_CHECKS;
                check.with_eggs() >= TRAPS_WITH_EGGS && were_clean
            }
            StartRule::Estimate => check.with_eggs() >= TRAPS_WITH_EGGS,
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

    pub(super) fn evidence(&self, check: &Check, run: Option<NaiveDate>) -> CheckEvidence {
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
