//! Our own dating of the start from all counts, with a range. It is called an estimate everywhere.

use std::collections::BTreeMap;

use chrono::{Datelike, Days, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::heat::HeatSeries;
use crate::insect::StartModel;
use crate::temperature::DegreeDays;
use crate::trapping::{Check, Reading};

use super::laying::{Counts, Grid, Laying, Posterior};

/// The range runs from a tenth of the chance to nine tenths.
const RANGE: [f64; 3] = [0.1, 0.5, 0.9];
/// The chance from which on laying has likelier begun than not.
pub(super) const EVEN: f64 = 0.5;
/// So many counts are named.
const NAMED: usize = 3;

/// What all counts of a group's egg traps say of the day on which egg laying began.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The chance that laying had begun by the newest day read.
    pub chance: f64,
    /// First day, middle and last day of the range, which holds four fifths of the chance and does not go
    /// beyond the newest day read; `None` while laying has likelier not begun.
    pub days: Option<[NaiveDate; 3]>,
    /// The newest day read: of the last check, and not beyond the station's newest day.
    pub read_to: NaiveDate,
    /// The counts that weigh most, the heaviest first.
    pub weigh_most: Vec<Weight>,
}

impl Estimate {
    /// The chance as people read it; never certain.
    #[must_use]
    pub fn in_a_hundred(&self) -> u8 {
        // Between 1 and 99.
        (self.chance * 100.0).round().clamp(1.0, 99.0) as u8
    }
}

/// A count that weighs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Weight {
    /// The trap and what was read.
    pub reading: Reading,
    /// Whether it speaks for laying, or against.
    pub speaks_for: bool,
}

/// Heat since 1 January by the beginning of each day, °F-days, as far as no day is missing.
#[derive(Debug, Clone)]
pub(super) struct HeatOfDays {
    new_year: NaiveDate,
    levels: Vec<f64>,
}

impl HeatOfDays {
    /// Of the year of a day; `None` where 1 January is not in the series.
    pub(super) fn of_year(series: &HeatSeries, day: NaiveDate) -> Option<Self> {
        let new_year = NaiveDate::from_ymd_opt(day.year(), 1, 1)?;
        let first = series.position(new_year)?;
        let daily = (first..).map_while(|at| series.daily(at));
        let levels = std::iter::once(0.0).chain(daily.scan(0.0, |level, heat| {
            *level += heat;
            Some(*level)
        }));
        Some(Self {
            new_year,
            levels: levels.collect(),
        })
    }

    /// By the beginning of a day, where that is known.
    pub(super) fn by(&self, day: NaiveDate) -> Option<f64> {
        let at = usize::try_from((day - self.new_year).num_days()).ok()?;
        self.levels.get(at).copied()
    }

    /// The day in which a level is reached, not beyond the newest one known.
    pub(super) fn day_of(&self, level: f64) -> NaiveDate {
        let after = self.levels.partition_point(|&known| known <= level);
        let at = Days::new(after.saturating_sub(1) as u64);
        self.new_year.checked_add_days(at).unwrap_or(self.new_year)
    }

    /// The first day that begins with at least so much; `None` while none does.
    pub(super) fn first_from(&self, level: f64) -> Option<NaiveDate> {
        let at = self.levels.partition_point(|&known| known < level);
        (at < self.levels.len()).then(|| self.new_year + Days::new(at as u64))
    }

    /// The newest day by whose beginning the heat is known.
    pub(super) fn known_to(&self) -> NaiveDate {
        self.new_year + Days::new(self.levels.len().saturating_sub(1) as u64)
    }
}

/// Reads the checks of a group one after the other.
pub(super) struct Estimator<'a> {
    heat: &'a HeatOfDays,
    until: f64,
    laying: Laying,
    read: Vec<(&'a Reading, [f64; 2])>,
    read_to: Option<NaiveDate>,
}

impl<'a> Estimator<'a> {
    /// Before the first check; `None` until the earliest day of the model has come.
    pub(super) fn new(heat: &'a HeatOfDays, model: &StartModel) -> Option<Self> {
        let until = model.first_brood_until.fahrenheit_days();
        let earliest = heat.by(model.earliest(heat.new_year.year()))?;
        let widths = model.laying_spread.map(DegreeDays::fahrenheit_days);
        (earliest < until).then(|| Self {
            heat,
            until,
            laying: Laying::new(Grid::between([earliest, until], widths)),
            read: Vec::new(),
            read_to: None,
        })
    }

    /// Takes in a check. Baselines say nothing of when their eggs were laid, and nights that end once eggs
    /// are likelier the second generation's nothing of the first. Whether its heat is known.
    pub(super) fn read(&mut self, check: &'a Check) -> bool {
        let mut alike: BTreeMap<(NaiveDate, NaiveDate), ([f64; 2], Vec<u32>)> = BTreeMap::new();
        for reading in check.judged() {
            let (Some(from), Some(to)) = (self.heat.by(reading.since), self.heat.by(reading.date))
            else {
                return false;
            };
            if to < self.until {
                let of_nights = alike.entry((reading.date, reading.since));
                let (_, eggs) = of_nights.or_insert(([from, to], Vec::new()));
                eggs.push(reading.eggs);
                self.read.push((reading, [from, to]));
                self.read_to = self.read_to.max(Some(reading.date));
            }
        }
        for ((date, since), (heat, eggs)) in alike {
            let nights = (date - since).num_days() as f64;
            let eggs = &eggs;
            self.laying.read(&Counts { heat, nights, eggs });
        }
        true
    }

    /// Whether the estimate alone can be believed.
    pub(super) fn may_be_likely(&self) -> bool {
        self.laying.may_be_likely()
    }

    /// What the checks read so far say; `None` before the first.
    pub(super) fn estimate(&self) -> Option<Estimate> {
        let read_to = self.read_to?;
        let posterior = self.laying.posterior();
        let newest = self.heat.by(read_to)?;
        let chance = posterior.begun_by(newest);
        Some(Estimate {
            chance,
            days: (chance >= EVEN).then(|| self.days(&posterior, read_to)),
            read_to,
            weigh_most: Vec::new(),
        })
    }

    /// The days in which so much of the chance is reached, if laying begins at all.
    fn days(&self, posterior: &Posterior, read_to: NaiveDate) -> [NaiveDate; 3] {
        RANGE.map(|share| {
            let day = self.heat.day_of(posterior.heat_at(share));
            day.min(read_to)
        })
    }

    /// The counts that weigh most of those read so far.
    pub(super) fn weigh_most(&self) -> Vec<Weight> {
        let speaks = self.laying.speaks();
        let weighed = self.read.iter().map(|(reading, heat)| {
            let nights = (reading.date - reading.since).num_days() as f64;
            let (heat, eggs) = (*heat, &[reading.eggs][..]);
            (speaks(&Counts { heat, nights, eggs }), *reading)
        });
        let mut weighed: Vec<(f64, &Reading)> = weighed.collect();
        // Of equal weight the earlier stands first, as read.
        weighed.sort_by(|(one, _), (other, _)| other.abs().total_cmp(&one.abs()));
        let named = weighed.into_iter().take(NAMED);
        let weight = |(speaks, reading): (f64, &Reading)| Weight {
            reading: reading.clone(),
            speaks_for: speaks > 0.0,
        };
        named.map(weight).collect()
    }
}
