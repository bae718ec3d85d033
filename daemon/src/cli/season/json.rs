//! A season as JSON: stable keys, ISO days, null where nothing is known.

mod flights;

use duskflight_core::insect::SpreadSource;
use duskflight_core::season::{
    Basis, Between, BlockSeason, HullSplit, LayingBeside, LayingOfYear, MarkReading, Outcome,
    Shake, VarietyExposure,
};
use duskflight_core::trapping::{CheckEvidence, EggLayingStart, Estimate, RuleResult, StartStatus};
use duskflight_core::wording::Words;
use serde_json::{Value, json};

use super::beside;

pub(super) fn season(season: &BlockSeason, laying_years: &[LayingOfYear]) -> Value {
    let model = season.heat_model;
    let thresholds = model.thresholds();
    let sum = season.degree_days.as_ref().ok();
    json!({
        "block": season.block.id,
        "name": season.block.name,
        "insect": season.insect,
        "season": season.year,
        "as_of": season.as_of,
        "crop": season.block.crop,
        "regime": season.block.regime,
        "egg_laying_start": start(&season.start),
        "heat_from": season.heat_from,
        "degree_days": sum.map(|sum| sum.degree_days.in_unit(season.unit)),
        "degree_days_reason": season.degree_days.as_ref().err().map(|why| Words::ISO.why_not(why)),
        "estimated_days": sum.map(|sum| sum.estimated_days),
        "newest_day": season.newest_day,
        "heat": {
            "station": season.block.station,
            "unit": season.unit,
            "lower": thresholds.lower().in_unit(season.unit),
            "upper": thresholds.upper().in_unit(season.unit),
            "method": model.method(),
            "cutoff": model.cutoff(),
        },
        "marks": season.marks.iter().map(|reading| mark(season, reading)).collect::<Vec<_>>(),
        "without_marks": season.without_marks,
        "exposure": season.exposure.iter().map(exposure).collect::<Vec<_>>(),
        "service": season.work.service.iter().map(|due| json!({
            "trap": due.trap,
            "part": due.part,
            "product": due.product,
            "since": due.since,
            "due": due.due,
            "days_past": due.days_past(season.as_of).max(0),
            "moths_on_full_liner": due.full.map(|full| full.moths),
            "life_days": due.life_days,
            "source": due.source,
        })).collect::<Vec<_>>(),
        "readings": season.work.readings.iter().map(|reading| json!({
            "trap": reading.trap,
            "kind": reading.kind,
            "last": reading.last,
            "due": reading.due,
            "every_days": reading.every_days,
            "optional": reading.optional,
        })).collect::<Vec<_>>(),
        "closed_until": season.work.closed_until,
        "catches": season.latest.iter().map(|catch| json!({
            "kind": catch.kind,
            "counted": catch.counted.words(2),
            "count": catch.count,
            "traps_read": catch.traps_read,
            "traps_with_some": catch.traps_with_some,
            "traps_hung": catch.traps_hung,
            "trap_nights": catch.trap_nights,
        })).collect::<Vec<_>>(),
        "flights": flights::of(season),
        "start_beside": beside::start(season.beside.start.as_ref()),
        "disruption": beside::disruption(season.beside.disruption.as_ref()),
        "years": beside::years(season),
        "laying_years": laying_years.iter().map(|of| json!({
            "year": of.year,
            "computed": of.computed,
            "seen_from": of.seen.from,
            "days_after": of.days_after(),
        })).collect::<Vec<_>>(),
        "context": beside::context(&season.beside.risk),
    })
}

fn start(start: &EggLayingStart) -> Value {
    let evidence = &start.evidence;
    if start.status == StartStatus::NotAsked {
        let evidence = json!({"reason": Words::ISO.why_start(&evidence.why)});
        return json!({"status": start.status.name(), "date": null, "evidence": evidence});
    }
    let by_rule: serde_json::Map<String, Value> = evidence
        .results
        .iter()
        .map(|(rule, result)| (rule.name().to_owned(), rule_result(result)))
        .collect();
    json!({
        "status": start.status.name(),
        "date": start.date,
        "evidence": {
            "group": evidence.group,
            "rule": evidence.rule,
            "reason": Words::ISO.why_start(&evidence.why),
            "by_rule": by_rule,
            "checks": evidence.checks.iter().map(check).collect::<Vec<_>>(),
            "newest_check": evidence.newest_check.as_ref().map(check),
            "check_before": evidence.check_before,
            "may_have_begun": start.may_have_begun(),
            "estimate": evidence.estimate.as_ref().map(estimate),
            "confirmed_on": evidence.confirmed_on,
            "second_candidate": evidence.second_candidate.map(|later| json!({
                "date": later.date,
                "second": later.second,
                "quiet_from": later.quiet_from,
            })),
            "may_be_late": evidence.may_be_late,
        },
    })
}

fn estimate(estimate: &Estimate) -> Value {
    let weigh_most = estimate.weigh_most.iter().map(|weight| {
        json!({
            "trap": weight.reading.trap,
            "date": weight.reading.date,
            "nights": weight.reading.nights,
            "eggs": weight.reading.eggs,
            "speaks_for": weight.speaks_for,
        })
    });
    json!({
        "chance": estimate.chance,
        "early": estimate.days.map(|[early, _, _]| early),
        "middle": estimate.days.map(|[_, middle, _]| middle),
        "late": estimate.days.map(|[_, _, late]| late),
        "read_to": estimate.read_to,
        "weigh_most": weigh_most.collect::<Vec<_>>(),
    })
}

fn rule_result(result: &RuleResult) -> Value {
    match result {
        RuleResult::NotYet { withdrawn } => json!({"status": "none", "withdrawn": withdrawn}),
        RuleResult::Provisional { date, missed_check } => {
            json!({"status": "provisional", "date": date, "missed_check": missed_check})
        }
        RuleResult::Confirmed { date, second } => {
            json!({"status": "confirmed", "date": date, "second": second})
        }
    }
}

fn check(check: &CheckEvidence) -> Value {
    json!({
        "date": check.date,
        "hung": check.hung,
        "read": check.read,
        "first_readings": check.first_readings,
        "rising": check.rising,
        "with_eggs": check.with_eggs,
        "eggs": check.eggs,
    })
}

fn mark(season: &BlockSeason, reading: &MarkReading) -> Value {
    let mut value = json!({
        "id": reading.mark,
        "name": reading.name,
        "at": reading.at.in_unit(season.unit),
        "counts_from": basis(&reading.basis),
        "begins_laying": reading.begins_laying,
        "waits_for_split": reading.waits_for_split,
        "told": reading.told,
        "eggs_seen": reading.eggs_seen.map(|seen| json!({
            "from": seen.from,
            "traps_with_some": seen.with_eggs,
            "traps_read": seen.read,
        })),
        "date": null,
        "early": null,
        "late": null,
        "reason": null,
    });
    let answer = match &reading.outcome {
        Outcome::Passed {
            date,
            by_estimate,
            firm,
        } => json!({
            "status": "passed",
            "date": date,
            "by_estimate": by_estimate,
            "firm": firm,
        }),
        Outcome::Projected(projection) => json!({
            "status": "projected",
            "date": projection.middle,
            "early": projection.early,
            "late": projection.late,
            "weather_early": projection.weather_early,
            "weather_late": projection.weather_late,
            "past_years": projection.past_years,
            "not_reached": projection.not_reached,
            "spread": spread(projection.spread),
            "may_have_begun": projection.may_have_begun,
            "warming_a_year": projection.shift.trend.in_unit(season.unit),
            "last_week_warmer": projection.shift.last_week.map(|w| w.in_unit(season.unit)),
            "last_sixty_days_warmer":
                projection.shift.last_sixty_days.map(|w| w.in_unit(season.unit)),
        }),
        Outcome::CannotTell { why } => {
            json!({"status": "cannot-tell", "reason": Words::ISO.why_not(why)})
        }
    };
    if let (Some(value), Value::Object(answer)) = (value.as_object_mut(), answer) {
        value.extend(answer);
    }
    value
}

const fn spread(source: SpreadSource) -> &'static str {
    match source {
        SpreadSource::Published => "published",
        SpreadSource::Assumed => "assumed",
        SpreadSource::PartlyAssumed => "partly-assumed",
    }
}

/// A variety's first split and shake, and the days from them to each generation's egg laying, below zero where
/// it begins before.
fn exposure(exposure: &VarietyExposure) -> Value {
    json!({
        "variety": exposure.variety,
        "hull_split": hull_split(exposure.split),
        "shake": exposure.shake.map(|shake| {
            let [earliest, likely, latest] = shake.days();
            let status = match shake {
                Shake::Expected(_) => "expected",
                Shake::Done(_) => "done",
            };
            json!({"status": status, "earliest": earliest, "likely": likely, "latest": latest})
        }),
        "generations": exposure.layings.iter().map(laying).collect::<Vec<_>>(),
    })
}

fn laying(laying: &LayingBeside) -> Value {
    let margin = laying.at_harvest.as_ref();
    let chance = margin.and_then(|margin| margin.chance.as_ref());
    let worked_out = chance.and_then(|chance| chance.as_ref().ok());
    let why = chance.and_then(|chance| chance.as_ref().err());
    json!({
        "mark": laying.mark,
        "name": laying.name,
        "begins": laying.laying.days(),
        "first_hatch": laying.hatch.as_ref().and_then(Outcome::days),
        "days_after_split": laying.after_split.map(days),
        "days_after_shake": margin.and_then(|margin| margin.between).map(days),
        "chance_shake_first": worked_out.map(|chance| chance.shake_first),
        "chance_words": worked_out.map(|chance| chance.likelihood().words()),
        "past_years": worked_out.map(|chance| chance.past_years),
        "no_chance_reason": why.map(|why| Words::ISO.why_no_chance(why)),
    })
}

fn days(between: Between) -> Value {
    json!({"likely": between.likely, "least": between.least, "most": between.most})
}

fn hull_split(split: HullSplit) -> Value {
    let status = match split {
        HullSplit::Seen(_) => "seen",
        HullSplit::Expected(_) => "expected",
        HullSplit::EarlierYears { .. } => "earlier-years",
        HullSplit::AfterBloom { .. } => "after-bloom",
        HullSplit::NotKnown => "not-known",
    };
    let days = split.days();
    json!({
        "status": status,
        "date": days.map(|days| days.likely),
        "early": days.map(|days| days.earliest),
        "late": days.map(|days| days.latest),
    })
}

/// What the mark counts from; where it waits for hull split itself, from the later of both.
fn basis(basis: &Basis) -> Value {
    match basis {
        Basis::EggLayingStart => json!(["egg-laying-start"]),
        Basis::NewYear => json!(["1-january"]),
        Basis::Mark(mark) => json!([mark]),
        Basis::HullSplit(mark) => json!([mark, "hull-split"]),
    }
}
