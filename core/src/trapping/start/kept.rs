//! What an estimate that stands still came to, so that a night works out only those that may still move.

use std::collections::BTreeMap;
use std::hash::{DefaultHasher, Hash, Hasher};

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::orchard::StartRule;
use crate::temperature::DegreeDays;

use super::estimate::Estimate;
use super::rules::GroupChecks;

/// Counts up with every change of the estimate, so that none is kept from before it.
const EDITION: u32 = 1;

/// What a group's estimate came to once it stood still, with a fingerprint of all that it rests on: where that is
/// another one by now, it is worked out again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct KeptStart {
    fingerprint: u64,
    /// The last day whose checks it rests on.
    rests_to: NaiveDate,
    pub(super) estimate: Estimate,
    /// The check on which each rule was confirmed.
    pub(super) confirmed: BTreeMap<StartRule, NaiveDate>,
}

impl KeptStart {
    pub(super) fn new(
        checks: &GroupChecks<'_>,
        in_force: StartRule,
        rests_to: NaiveDate,
        estimate: Estimate,
        confirmed: BTreeMap<StartRule, NaiveDate>,
    ) -> Self {
        Self {
            fingerprint: fingerprint(checks, in_force, rests_to),
            rests_to,
            estimate,
            confirmed,
        }
    }

    /// Whether it still rests on the same.
    pub(super) fn holds(&self, checks: &GroupChecks<'_>, in_force: StartRule) -> bool {
        self.fingerprint == fingerprint(checks, in_force, self.rests_to)
    }
}

/// Of the model, the rule, the checks to a day, and the heat of the nights they look back on.
fn fingerprint(checks: &GroupChecks<'_>, in_force: StartRule, to: NaiveDate) -> u64 {
    let mut hasher = DefaultHasher::new();
    let model = checks.model;
    let earliest = model.earliest(to.year());
    (EDITION, in_force.name(), earliest).hash(&mut hasher);
    let [narrow, wide] = model.laying_spread;
    for number in [model.first_brood_until, narrow, wide] {
        DegreeDays::fahrenheit_days(number)
            .to_bits()
            .hash(&mut hasher);
    }
    let heat_by = |day| checks.heat?.by(day).map(f64::to_bits);
    heat_by(earliest).hash(&mut hasher);
    for check in checks.checks.iter().filter(|check| check.date <= to) {
        (check.date, check.hung).hash(&mut hasher);
        for reading in &check.readings {
            let heat = [reading.since, reading.date].map(heat_by);
            (reading.trap.as_str(), reading.eggs, reading.baseline, heat).hash(&mut hasher);
            (reading.since, reading.date).hash(&mut hasher);
        }
    }
    hasher.finish()
}
