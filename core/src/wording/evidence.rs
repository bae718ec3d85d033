//! What an answer rests on, in sentences: traps read, rules, station, method, past years.

use crate::heat::Accumulated;
use crate::insect::SpreadSource;
use crate::orchard::StartRule;
use crate::season::{
    Basis, BlockSeason, BlockSplit, FEW_PAST_YEARS, LayingOfYear, MarkReading, Outcome, Projection,
};
use crate::temperature::{DegreeDays, Unit};
use crate::trapping::{
    CheckEvidence, Counted, EggLayingStart, RuleResult, StartEvidence, StartStatus, Weight,
    WhyStart,
};

use super::moth_flights::counted_days;
use super::stations::station_words;
use super::words::{Words, degree_days, mark_name};

impl Words {
    /// What the start of a block rests on.
    #[must_use]
    pub fn start_evidence(self, season: &BlockSeason) -> Vec<String> {
        let mut lines = self.start_evidence_alone(season);
        if season.start.evidence.may_be_late && season.start.status != StartStatus::NotAsked {
            lines.push(match &season.beside.start {
                Some(beside) => format!(
                    "beside it {}, a conventional block of the same station: egg-laying start {}",
                    beside.name,
                    self.start_of(&beside.start)
                ),
                None => "no conventional block of the same station has egg traps".to_owned(),
            });
        }
        lines
    }

    /// The same without a block beside it, which may be another grower's.
    pub(crate) fn start_evidence_alone(self, season: &BlockSeason) -> Vec<String> {
        let evidence = &season.start.evidence;
        if season.start.status == StartStatus::NotAsked {
            let counts = season.heat_from.is_some();
            return counts
                .then(|| format!("start: {}", self.why_start(&evidence.why)))
                .into_iter()
                .collect();
        }
        let mut lines = Vec::new();
        // Two checks say by themselves why a start is confirmed.
        let by_checks = matches!(evidence.why, WhyStart::TwoChecks { .. });
        if season.start.status != StartStatus::Confirmed || !by_checks {
            lines.push(format!("start: {}", self.why_start(&evidence.why)));
        }
        let shown = match evidence.checks.len() {
            0 => evidence.newest_check.as_slice(),
            _ => &evidence.checks,
        };
        if !shown.is_empty() {
            let checks: Vec<String> = shown.iter().map(|check| self.check(check)).collect();
            lines.push(format!(
                "egg traps of {}: {}",
                evidence.group,
                checks.join("; ")
            ));
        }
        let results: Vec<String> = evidence
            .results
            .iter()
            .map(|(rule, result)| self.rule_result(*rule, result, *rule == evidence.rule))
            .collect();
        lines.push(format!("by each rule: {}", results.join("; ")));
        lines.extend(self.estimate(evidence));
        lines.extend(self.may_have_begun(&season.start));
        if let Some(later) = &evidence.second_candidate {
            lines.push(format!(
                "second candidate {}: checks of {} and {} met the rule again, after at most one trap with \
                 eggs a check since {}; the start stays unless you set it by hand",
                self.day(later.date),
                self.day(later.date),
                self.day(later.second),
                self.day(later.quiet_from),
            ));
        }
        if evidence.may_be_late {
            lines.push(
                "under mating disruption egg traps catch less: the start may be late".to_owned(),
            );
        }
        lines
    }

    /// Within which days laying may have begun, and why so.
    fn may_have_begun(self, start: &EggLayingStart) -> Option<String> {
        let [earliest, latest] = start.may_have_begun()?;
        let evidence = &start.evidence;
        // The estimate's own line has its range.
        if matches!(evidence.why, WhyStart::Estimated { .. }) {
            return None;
        }
        let before = evidence.check_before.map(|before| self.day(before));
        let (start, why) = match (&evidence.why, evidence.entered_range) {
            (WhyStart::ByHand { .. }, Some(_)) => ("set by hand", "as entered".to_owned()),
            (WhyStart::ByHand { .. }, None) => (
                "set by hand",
                "3 days to each side, common practice".to_owned(),
            ),
            (WhyStart::Lent { .. }, _) => {
                let before = before.map(|day| format!("; the check before was {day}"));
                let before = before.unwrap_or_default();
                let why = format!("at least 5 days to each side, common practice{before}");
                ("borrowed", why)
            }
            _ => {
                let before = before?;
                return Some(format!(
                    "the check before was {before}: laying may have begun since, so ranges begin earlier"
                ));
            }
        };
        let range = self.stretch(earliest, latest);
        Some(format!(
            "{start}: laying may have begun {range} ({why}), and ranges allow for it"
        ))
    }

    /// What the estimate says, and the counts that weigh most.
    fn estimate(self, evidence: &StartEvidence) -> Option<String> {
        let estimate = evidence.estimate.as_ref()?;
        let in_a_hundred = estimate.in_a_hundred();
        let dates = estimate.days.map(|[early, middle, late]| {
            format!(
                ", about {} ({})",
                self.day(middle),
                self.stretch(early, late)
            )
        });
        let counts = estimate.weigh_most.iter().map(|weight| self.weight(weight));
        let counts: Vec<String> = counts.collect();
        let weigh = match dates.is_none() || counts.is_empty() {
            true => String::new(),
            false => format!("; what weighs most: {}", counts.join(", ")),
        };
        Some(format!(
            "estimate from all counts to {}: {in_a_hundred} in 100 that laying had begun{}{weigh}",
            self.day(estimate.read_to),
            dates.unwrap_or_default()
        ))
    }

    fn weight(self, weight: &Weight) -> String {
        let reading = &weight.reading;
        let eggs = Counted::Eggs.words(reading.eggs);
        let day = self.day(reading.date);
        let against = if weight.speaks_for { "" } else { " (against)" };
        format!("{} {} {eggs} {day}{against}", reading.trap, reading.eggs)
    }

    fn check(self, check: &CheckEvidence) -> String {
        let day = self.day(check.date);
        let firsts = match check.first_readings {
            0 => String::new(),
            firsts => format!("{firsts} read for the first time, which is not judged"),
        };
        if check.read == 0 && !firsts.is_empty() {
            return format!("{day}: {firsts}");
        }
        let firsts = if firsts.is_empty() {
            firsts
        } else {
            format!(", {firsts}")
        };
        format!(
            "{day}: {} read of {} hung, {} rising, {} with eggs, {} {}{firsts}",
            check.read,
            check.hung,
            check.rising,
            check.with_eggs,
            check.eggs,
            Counted::Eggs.words(check.eggs)
        )
    }

    fn rule_result(self, rule: StartRule, result: &RuleResult, in_force: bool) -> String {
        let mark = if in_force { " (in force)" } else { "" };
        let result = match result {
            RuleResult::NotYet { withdrawn } if withdrawn.is_empty() => "not yet".to_owned(),
            RuleResult::NotYet { withdrawn } => {
                let days: Vec<_> = withdrawn.iter().map(|day| self.day(*day)).collect();
                format!("not yet, taken back {}", days.join(", "))
            }
            RuleResult::Provisional { date, missed_check } => {
                let missed = if *missed_check { ", missed check" } else { "" };
                format!("provisional {}{missed}", self.day(*date))
            }
            RuleResult::Confirmed { date, .. } => self.day(*date),
        };
        format!("{}{mark}: {result}", rule.words())
    }

    /// What the heat of a block rests on.
    #[must_use]
    pub fn heat_evidence(self, season: &BlockSeason) -> String {
        let source = self.heat_source(season);
        match &season.degree_days {
            Ok(sum) => format!("heat: {source}, {}", estimated(sum, season.unit)),
            Err(_) => format!("heat: {source}"),
        }
    }

    /// Station, method, cutoff, thresholds and newest day behind the heat of a block.
    pub(crate) fn heat_source(self, season: &BlockSeason) -> String {
        let model = season.heat_model;
        let unit = season.unit;
        let thresholds = model.thresholds();
        let newest = season
            .newest_day
            .map_or_else(|| "none".to_owned(), |day| self.day(day));
        format!(
            "station {}, {}, {} cutoff, {}–{} {}, newest day {newest}",
            station_words(season.block.station.as_str(), season.modelled),
            model.method(),
            model.cutoff(),
            number(thresholds.lower().in_unit(unit)),
            number(thresholds.upper().in_unit(unit)),
            unit.symbol()
        )
    }

    /// The eggs that egg traps showed again beside a mark.
    pub(crate) fn eggs_beside(self, reading: &MarkReading) -> Option<String> {
        let seen = reading.eggs_seen?;
        let [_, middle, _] = reading.outcome.days()?;
        let beside = match (&reading.outcome, (seen.from - middle).num_days()) {
            (Outcome::Passed { .. }, days) => format!(", {}", beside_computed(days)),
            _ => String::new(),
        };
        Some(format!(
            "egg traps: eggs again on {} of {} from {}{beside}",
            seen.with_eggs,
            seen.read,
            self.day(seen.from)
        ))
    }

    /// How far off the computed egg laying was in each year, by what egg traps showed; `None` without a year.
    #[must_use]
    pub fn laying_years(self, years: &[LayingOfYear]) -> Option<String> {
        let of_year = |of: &LayingOfYear| {
            let off = beside_computed(of.days_after());
            format!("{} {} ({off})", of.year, self.day(of.seen.from))
        };
        let years: Vec<String> = years.iter().map(of_year).collect();
        (!years.is_empty()).then(|| format!("egg traps showed it from: {}", years.join("; ")))
    }

    /// What a mark's answer rests on.
    #[must_use]
    pub fn mark_evidence(self, season: &BlockSeason, reading: &MarkReading) -> String {
        let at = self.placed(season, reading);
        let eggs = self.eggs_beside(reading);
        let eggs = eggs.map_or_else(String::new, |eggs| format!("; {eggs}"));
        match &reading.outcome {
            Outcome::Projected(projection) => {
                let begins = match reading.begins_laying {
                    true => "; egg laying begins within these days and goes on for weeks",
                    false => "",
                };
                format!("{at}; {}{begins}{eggs}", self.range_evidence(projection))
            }
            _ => format!("{at}{eggs}"),
        }
    }

    /// Where a mark stands: so much heat after what it counts from.
    fn placed(self, season: &BlockSeason, reading: &MarkReading) -> String {
        let at = degree_days(reading.at, season.unit);
        format!("{at} after {}", self.counts_from(season, reading))
    }

    fn counts_from(self, season: &BlockSeason, reading: &MarkReading) -> String {
        match &reading.basis {
            Basis::EggLayingStart => "the egg-laying start".to_owned(),
            Basis::NewYear => season
                .heat_from
                .map_or_else(|| "1 January".to_owned(), |from| self.day(from)),
            Basis::Mark(mark) => mark_name(season, mark),
            Basis::HullSplit(mark) => {
                let mark = mark_name(season, mark);
                format!("{mark} or the block's first hull split, whichever is later")
            }
        }
    }

    /// The block's first hull split; a line of its own, so that a crop stage and an insect's date do not
    /// stand in one sentence. Nothing where no mark waits for it.
    #[must_use]
    pub fn hull_split_evidence(self, season: &BlockSeason) -> Option<String> {
        let mut told = season.marks.iter().filter(|reading| reading.told);
        told.any(|reading| reading.waits_for_split).then(|| {
            let first = match &season.split {
                BlockSplit::NotKnown => {
                    "not known of any variety, so dates count without it".to_owned()
                }
                BlockSplit::Known {
                    variety,
                    split,
                    unknown_before,
                    ..
                } => {
                    let first = format!("{variety} {}", self.split(*split));
                    match unknown_before.is_empty() {
                        true => first,
                        false => format!(
                            "{first}; that of {} is not known and may have been earlier, so ranges \
                             begin as if there were none",
                            Self::listed(unknown_before)
                        ),
                    }
                }
            };
            format!("the block's first hull split of sound nuts: {first}")
        })
    }

    /// How past years were moved to this one before they continued it; `None` where nothing is
    /// projected.
    #[must_use]
    pub fn shift_evidence(self, season: &BlockSeason) -> Option<String> {
        let mut projections = season.marks.iter().filter_map(|r| r.outcome.projection());
        let shift = projections.next()?.shift;
        let more =
            |heat: DegreeDays, years: f64| format!("{:+.1}", heat.in_unit(season.unit) * years);
        let warmth = |name: &str, warmth: Option<DegreeDays>| {
            let warmth = warmth.map_or("unknown".to_owned(), |warmth| more(warmth, 1.0));
            format!("{name} {warmth}")
        };
        Some(format!(
            "past years as they would run this year, in {}-days a day: {} for ten years of \
             warming; this season beside them: {}, {}, which fades into the days ahead",
            season.unit.symbol(),
            more(shift.trend, 10.0),
            warmth("last week", shift.last_week),
            warmth("last sixty days", shift.last_sixty_days),
        ))
    }

    fn range_evidence(self, projection: &Projection) -> String {
        let years = projection.past_years;
        let few = if years < FEW_PAST_YEARS {
            ", few, so widened"
        } else {
            ""
        };
        let late = match projection.not_reached {
            0 => String::new(),
            years => format!(", in {years} of them not before the year ends"),
        };
        let forecast = match projection.forecast_days {
            0 => String::new(),
            1 => " after 1 forecast day".to_owned(),
            days => format!(" after {days} forecast days"),
        };
        let spread = match projection.spread {
            SpreadSource::Published => "the range adds the insect's published spread",
            SpreadSource::Assumed => {
                "the range adds a spread of the insect that is assumed, none being published"
            }
            SpreadSource::PartlyAssumed => {
                "the range adds the insect's spread, in part published and in part assumed"
            }
        };
        format!(
            "by weather alone {}, from {years} past years{few}{forecast}{late}; {spread}",
            self.stretch(projection.weather_early, projection.weather_late)
        )
    }
}

/// How many days of a sum were estimated, and how far off they may have put it.
fn estimated(sum: &Accumulated, unit: Unit) -> String {
    let error = sum.expected_error.in_unit(unit);
    match sum.estimated_days {
        0 => "no day estimated".to_owned(),
        1 => format!("1 day estimated (±{error:.0})"),
        days => format!("{days} days estimated (±{error:.0})"),
    }
}

fn number(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// How a day stands to the computed one.
fn beside_computed(days: i64) -> String {
    match days {
        0 => "on the computed day".to_owned(),
        1.. => format!("{} after the computed day", counted_days(days)),
        _ => format!("{} before the computed day", counted_days(-days)),
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::id::{BlockId, TrapId};
    use crate::orchard::{Block, Orchard};
    use crate::sample;
    use crate::trapping::{Estimate, Note, NoteKind, Reading, StartByHand};

    fn april(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 4, day).unwrap()
    }

    /// A start of block B by hand, with its range where one is entered.
    fn by_hand(within: Option<[NaiveDate; 2]>) -> Note {
        let day = april(18);
        let start = NoteKind::EggLayingStart(StartByHand { day, within });
        sample::note(april(20), None, start)
    }

    #[test]
    fn the_estimate_says_its_chance_its_range_and_what_weighs_most_and_little_while_none_began() {
        let orchard = Orchard::new(vec![sample::block()], Vec::new(), Vec::new());
        let mut season = sample::season(&orchard, Vec::new(), &[], april(30));
        let reading = |trap: &str, eggs| Reading {
            trap: TrapId::new(trap).unwrap(),
            since: april(15),
            date: april(18),
            eggs,
            nights: 3,
            baseline: false,
        };
        let weight = |trap, eggs, speaks_for| Weight {
            reading: reading(trap, eggs),
            speaks_for,
        };
        let began = Estimate {
            chance: 0.924,
            days: Some([8, 10, 14].map(april)),
            read_to: april(18),
            weigh_most: vec![weight("E3", 31, true), weight("E1", 0, false)],
        };
        let not_yet = Estimate {
            chance: 0.002,
            days: None,
            ..began.clone()
        };
        for (estimate, expected) in [
            (
                began,
                "estimate from all counts to Apr 18: 92 in 100 that laying had begun, about Apr 10 (Apr 8–14); \
                 what weighs most: E3 31 eggs Apr 18, E1 0 eggs Apr 18 (against)",
            ),
            (
                not_yet,
                "estimate from all counts to Apr 18: 1 in 100 that laying had begun",
            ),
        ] {
            season.start.evidence.estimate = Some(estimate);
            let lines = Words::default().start_evidence(&season);
            assert!(lines.iter().any(|line| line == expected), "{lines:#?}");
        }
    }

    #[test]
    fn a_start_that_no_check_dates_says_within_which_days_it_may_lie() {
        let borrower = Block {
            id: BlockId::new("C").unwrap(),
            ..sample::block()
        };
        let check = |block: Block, within, expected: &str| {
            let orchard = Orchard::new(vec![block, sample::block()], Vec::new(), Vec::new());
            let mut season = sample::season(&orchard, Vec::new(), &[by_hand(within)], april(30));
            // Whatever the traps showed, and by which rule.
            season.start.evidence.rule = StartRule::Estimate;
            season.start.evidence.confirmed_on = Some(april(25));
            let lines = Words::default().start_evidence(&season);
            assert_eq!(lines.last().map(String::as_str), Some(expected));
        };
        check(
            sample::block(),
            None,
            "set by hand: laying may have begun Apr 15–21 (3 days to each side, common practice), and \
             ranges allow for it",
        );
        check(
            sample::block(),
            Some([april(16), april(23)]),
            "set by hand: laying may have begun Apr 16–23 (as entered), and ranges allow for it",
        );
        check(
            borrower,
            None,
            "borrowed: laying may have begun Apr 13–23 (at least 5 days to each side, common practice), \
             and ranges allow for it",
        );
    }
}
