//! Which start is in force: practice says that it began, the estimate says when, and where they do not agree
//! the adviser is asked.
//!
//! A rule's run of checks is believed once the estimate gives laying an even chance to have begun, and its
//! range meets the days on which the run's first eggs were laid. The rule *estimate* also believes the
//! estimate alone, once it gives nine in ten. Chosen from others on simulated seasons, see
//! `deploy/guide/egg-laying-start.md`.

use std::collections::BTreeMap;

use chrono::{NaiveDate, TimeDelta};

use crate::id::GroupId;
use crate::orchard::StartRule;
use crate::trapping::Check;

use super::estimate::{Estimate, Estimator, HeatOfDays};
use super::rules::GroupChecks;
use super::{
    CheckEvidence, EggLayingStart, KeptStart, RuleResult, StartEvidence, StartStatus, WhyStart,
};

/// The chance from which on the estimate alone is believed.
const NINE_IN_TEN: f64 = 0.9;
/// Days after a confirmation from which on more counts do not move the estimate.
pub(super) const FROZEN_AFTER: TimeDelta = TimeDelta::days(21);

/// Two checks running that meet a rule.
#[derive(Debug, Clone, Copy)]
struct Run {
    /// The days on which the eggs of the first were laid: from the day of the check before it.
    laid: [NaiveDate; 2],
    second: NaiveDate,
}

/// What the estimate makes of the rules' runs.
struct Judged {
    runs: BTreeMap<StartRule, Option<Run>>,
    /// As of the newest check, or frozen. Of a start that is confirmed the newest that dates it.
    estimate: Option<Estimate>,
    /// The check on which each rule was confirmed.
    confirmed: BTreeMap<StartRule, NaiveDate>,
    /// Whether it is what was kept.
    was_kept: bool,
}

impl GroupChecks<'_> {
    /// The group's start by the rule in force.
    pub(super) fn start(
        &self,
        group: &GroupId,
        rule: StartRule,
    ) -> (EggLayingStart, Option<KeptStart>) {
        let mut results: BTreeMap<StartRule, RuleResult> = StartRule::ALL
            .into_iter()
            .map(|rule| (rule, self.result(rule)))
            .collect();
        let judged = self.judge(&results, rule);
        let (status, date, why) = self.status(rule, &results[&rule], &judged);
        let run = results[&rule].clone();
        results.insert(StartRule::Estimate, judged.result(&results));
        let checks = self.deciding(&run, judged.confirmed.get(&rule));
        let before = |check: &&Check| check.counts() && date.is_some_and(|date| check.date < date);
        let to_keep = self.to_keep(rule, &judged);
        let start = EggLayingStart {
            status,
            date,
            evidence: StartEvidence {
                group: group.clone(),
                rule,
                newest_check: (self.checks.last())
                    .map(|check| self.evidence(check, checks.first().map(|check| check.date))),
                check_before: (self.checks.iter().rev().find(before)).map(|check| check.date),
                confirmed_on: (status == StartStatus::Confirmed)
                    .then(|| judged.confirmed.get(&rule).copied())
                    .flatten(),
                estimate: judged.estimate,
                entered_range: None,
                second_candidate: (status == StartStatus::Confirmed)
                    .then(|| self.second_candidate(rule, checks.last()?.date))
                    .flatten(),
                may_be_late: false,
                checks,
                results,
                why,
            },
        };
        (start, to_keep)
    }

    /// What the estimate came to, once no check of later can move it; `None` where that is kept already.
    fn to_keep(&self, in_force: StartRule, judged: &Judged) -> Option<KeptStart> {
        let rests_to = *judged.confirmed.get(&StartRule::Estimate)? + FROZEN_AFTER;
        let known_to = self.heat?.known_to();
        let stands = rests_to < self.as_of && rests_to <= known_to && !judged.was_kept;
        let estimate = judged.estimate.clone().filter(|_| stands)?;
        let confirmed = judged.confirmed.clone();
        Some(KeptStart::new(
            self, in_force, rests_to, estimate, confirmed,
        ))
    }

    /// The status by the rule in force, with the reasons for which traps cannot show a start first.
    fn status(
        &self,
        rule: StartRule,
        result: &RuleResult,
        judged: &Judged,
    ) -> (StartStatus, Option<NaiveDate>, WhyStart) {
        let cannot_tell = |why| (StartStatus::CannotTell, None, why);
        if let Some(why) = self.cannot_show() {
            return cannot_tell(why);
        }
        let on = judged.confirmed.get(&rule).copied();
        if let (StartRule::Estimate, Some(on)) = (rule, on) {
            let run = match *result {
                RuleResult::Confirmed { date, second } => Some([date, second]),
                RuleResult::NotYet { .. } | RuleResult::Provisional { .. } => None,
            };
            let checks = run.filter(|[_, second]| *second <= on);
            let why = WhyStart::Estimated { checks, on };
            return (StartStatus::Confirmed, judged.middle(), why);
        }
        match *result {
            RuleResult::Confirmed { date, second } if on.is_some() => {
                let first = date;
                let why = WhyStart::TwoChecks { first, second };
                (StartStatus::Confirmed, Some(date), why)
            }
            RuleResult::Confirmed { date, second } => {
                let why = self.doubt(date, second, judged);
                (StartStatus::Provisional, Some(date), why)
            }
            RuleResult::Provisional { date, missed_check } => {
                let why = match missed_check {
                    true => WhyStart::MissedCheck,
                    false => WhyStart::OneCheck,
                };
                (StartStatus::Provisional, Some(date), why)
            }
            RuleResult::NotYet { .. } if self.too_few_hang() => cannot_tell(WhyStart::TooFewTraps),
            RuleResult::NotYet { ref withdrawn } => match self.first_brood_over() {
                Some(day) => cannot_tell(WhyStart::FirstBroodOver(day)),
                None => (StartStatus::None, None, self.not_yet(withdrawn)),
            },
        }
    }

    /// Why a run of checks is not believed.
    fn doubt(&self, first: NaiveDate, second: NaiveDate, judged: &Judged) -> WhyStart {
        let known_to = self.heat.map(HeatOfDays::known_to);
        let known = known_to.is_some_and(|known| second <= known);
        match judged.estimate.as_ref().filter(|_| known) {
            Some(estimate) => WhyStart::Doubted {
                checks: [first, second],
                in_a_hundred: estimate.in_a_hundred(),
                days: estimate.days,
            },
            None => WhyStart::NotDated {
                checks: [first, second],
                known_to,
            },
        }
    }

    /// Reads the checks one after the other until every rule's run is confirmed and the estimate frozen.
    fn judge(&self, results: &BTreeMap<StartRule, RuleResult>, in_force: StartRule) -> Judged {
        let of_rule = |rule: StartRule| (rule, self.run(&results[&rule]));
        let mut judged = Judged {
            runs: [StartRule::Estimate, in_force].map(of_rule).into(),
            estimate: None,
            confirmed: BTreeMap::new(),
            was_kept: false,
        };
        if let Some(kept) = self.kept.filter(|kept| kept.holds(self, in_force)) {
            judged.estimate = Some(kept.estimate.clone());
            judged.confirmed = kept.confirmed.clone();
            judged.was_kept = true;
            return judged;
        }
        let estimator = self.heat.and_then(|heat| Estimator::new(heat, self.model));
        if let Some(mut estimator) = estimator {
            for check in &self.checks {
                if judged.is_frozen_by(check.date) || !estimator.read(check) {
                    break;
                }
                judged.weigh(check, &estimator);
            }
            judged.look_back(&estimator);
        }
        judged.let_stand_by_themselves(self.heat.map(HeatOfDays::known_to));
        judged
    }

    fn run(&self, result: &RuleResult) -> Option<Run> {
        let RuleResult::Confirmed { date, second } = *result else {
            return None;
        };
        let before = self.counted().take_while(|check| check.date < date).last();
        let readings = self.checks.iter().filter(|check| check.date == date);
        let hung = readings
            .flat_map(|check| &check.readings)
            .map(|reading| reading.since);
        let from = before.map(|check| check.date).or_else(|| hung.min());
        Some(Run {
            laid: [from.unwrap_or(date), date],
            second,
        })
    }

    /// The check dates that decided: the run's, or the one on which the estimate alone was believed.
    fn deciding(&self, run: &RuleResult, confirmed: Option<&NaiveDate>) -> Vec<CheckEvidence> {
        let days = match (run, confirmed) {
            (RuleResult::Confirmed { date, second }, on) if on.is_none_or(|on| second <= on) => {
                vec![*date, *second]
            }
            (_, Some(on)) => vec![*on],
            (RuleResult::Provisional { date, .. }, None) => vec![*date],
            _ => Vec::new(),
        };
        let first = days.first().copied();
        let decided = self
            .checks
            .iter()
            .filter(|check| days.contains(&check.date));
        decided.map(|check| self.evidence(check, first)).collect()
    }
}

impl Judged {
    /// Whether the start that the estimate dates was confirmed so long before a check that it is of no account.
    fn is_frozen_by(&self, check: NaiveDate) -> bool {
        let confirmed = self.confirmed.get(&StartRule::Estimate);
        confirmed.is_some_and(|on| *on + FROZEN_AFTER < check)
    }

    /// The run of a rule, once both of its checks are read.
    fn run_by(&self, rule: StartRule, check: NaiveDate) -> Option<Run> {
        self.runs[&rule].filter(|run| run.second <= check)
    }

    /// Whether a check may confirm what is not confirmed, or date anew what is.
    fn is_worth_weighing(&self, check: &Check, estimator: &Estimator<'_>) -> bool {
        let waits = |rule: &&StartRule| !self.confirmed.contains_key(rule);
        let may = |rule: &StartRule| {
            self.run_by(*rule, check.date).is_some() || estimator.may_be_likely()
        };
        let may_confirm = check.counts() && self.runs.keys().filter(waits).any(may);
        may_confirm || self.confirmed.contains_key(&StartRule::Estimate)
    }

    fn weigh(&mut self, check: &Check, estimator: &Estimator<'_>) {
        if !self.is_worth_weighing(check, estimator) {
            return;
        }
        let Some(estimate) = estimator.estimate().filter(|of| of.days.is_some()) else {
            return;
        };
        let rules = self.runs.keys().copied().filter(|_| check.counts());
        let believed = rules.filter(|rule| {
            let run = self.run_by(*rule, check.date);
            is_believed(*rule, run, &estimate)
        });
        for rule in believed.collect::<Vec<_>>() {
            self.confirmed.entry(rule).or_insert(check.date);
        }
        if self.confirmed.contains_key(&StartRule::Estimate) {
            self.estimate = Some(estimate);
        }
    }

    /// Takes the newest estimate, unless that dates no more what an earlier one did.
    fn look_back(&mut self, estimator: &Estimator<'_>) {
        let newest = estimator.estimate();
        let dates = newest.as_ref().is_some_and(|newest| newest.days.is_some());
        if dates || self.estimate.is_none() {
            self.estimate = newest;
        }
        if let Some(estimate) = &mut self.estimate {
            estimate.weigh_most = estimator.weigh_most();
        }
    }

    /// Rules whose run the estimate has not reached, as far as heat is known: one that is not dated by it
    /// stands by itself.
    fn let_stand_by_themselves(&mut self, known_to: Option<NaiveDate>) {
        for (&rule, run) in &self.runs {
            let unread = run.filter(|run| known_to.is_none_or(|known| known < run.second));
            if let Some(run) = unread.filter(|_| rule != StartRule::Estimate) {
                self.confirmed.entry(rule).or_insert(run.second);
            }
        }
    }

    fn middle(&self) -> Option<NaiveDate> {
        let [_, middle, _] = self.estimate.as_ref()?.days?;
        Some(middle)
    }

    /// What the rule *estimate* says, from what its run alone says.
    fn result(&self, results: &BTreeMap<StartRule, RuleResult>) -> RuleResult {
        let on = self.confirmed.get(&StartRule::Estimate);
        match (
            self.middle().zip(on.copied()),
            &results[&StartRule::Estimate],
        ) {
            (Some((date, second)), _) => RuleResult::Confirmed { date, second },
            (None, &RuleResult::Confirmed { date, .. }) => RuleResult::Provisional {
                date,
                missed_check: false,
            },
            (None, other) => other.clone(),
        }
    }
}

/// Whether a rule is met, by its run of checks together with the estimate.
fn is_believed(rule: StartRule, run: Option<Run>, estimate: &Estimate) -> bool {
    // There are days once the chance is even.
    let Some([early, _, late]) = estimate.days else {
        return false;
    };
    let agrees = |run: Run| run.laid[0] <= late && early <= run.laid[1];
    let alone = rule == StartRule::Estimate && estimate.chance >= NINE_IN_TEN;
    alone || run.is_some_and(agrees)
}
