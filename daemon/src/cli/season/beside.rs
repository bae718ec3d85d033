//! What a season stands beside, as JSON: the disruption check, earlier years, what bears on risk.

use duskflight_core::season::{
    Aligned, BlockSeason, Difference, RiskFacts, SampleShare, SeasonCatch, StartBeside,
};
use duskflight_core::trapping::{Disruption, Doubt, Haul, Note, NoteKind, Window};
use duskflight_core::wording::Words;
use serde_json::{Value, json};

/// Null in a conventional block.
pub(super) fn disruption(checked: Option<&Disruption>) -> Value {
    let Some(checked) = checked else {
        return Value::Null;
    };
    json!({
        "dispensers_on": checked.dispensers.on,
        "dispensers_until": checked.dispensers.until,
        "last_7_days": window(&checked.week),
        "season": window(&checked.season),
        "sentinel_catches": checked.catches.iter().map(|caught| json!({
            "trap": caught.trap,
            "date": caught.date,
            "count": caught.count,
            "two_readings_running": caught.running,
        })).collect::<Vec<_>>(),
    })
}

fn window(window: &Window) -> Value {
    let percent = |reference: &duskflight_core::trapping::Reference| {
        reference.shutdown_percent(window.sentinel.as_ref()?)
    };
    json!({
        "sentinel": window.sentinel.as_ref().map(haul),
        "others": window.others.iter().map(haul).collect::<Vec<_>>(),
        "references": window.references.iter().map(|reference| json!({
            "block": reference.block,
            "same_station": reference.same_station,
            "near_disruption": reference.near_disruption,
            "catch": haul(&reference.haul),
            "shutdown_percent": percent(reference),
        })).collect::<Vec<_>>(),
        "cannot_tell": window.doubts.iter().map(|doubt| doubt_name(*doubt)).collect::<Vec<_>>(),
    })
}

const fn doubt_name(doubt: Doubt) -> &'static str {
    match doubt {
        Doubt::NoSentinel => "no-sentinel",
        Doubt::NotRead => "not-read",
        Doubt::DispensersNotEntered => "dispensers-not-entered",
        Doubt::DispensersNotOn(_) => "dispensers-not-on",
        Doubt::DispensersRunOut(_) => "dispensers-run-out",
        Doubt::LurePastLife => "lure-past-life",
        Doubt::LureNotDeclared => "lure-not-declared",
        Doubt::BothEmpty => "both-empty",
        Doubt::NoOtherTrap => "no-other-trap",
    }
}

fn haul(haul: &Haul) -> Value {
    json!({
        "kind": haul.kind,
        "counted": haul.counted.words(2),
        "count": haul.count,
        "traps_read": haul.traps_read,
        "trap_nights": haul.trap_nights,
        "nights_past_life": haul.nights_past_life,
        "first": haul.first,
        "last": haul.last,
    })
}

/// Catches beside those of earlier years, by kind of trap.
pub(super) fn years(season: &BlockSeason) -> Vec<Value> {
    let compared = season.beside.years.iter();
    let compared = compared.map(|compared| {
        let by_heat = compared.by_heat.as_ref();
        let seasons = by_heat.map(|by_heat| {
            json!({
                "degree_days": by_heat.degree_days.in_unit(season.unit),
                "seasons": aligned(&by_heat.seasons),
                "unknown": by_heat.unknown,
            })
        });
        json!({
            "kind": compared.kind,
            "of_farm": compared.of_farm,
            "by_date": aligned(&compared.by_date),
            "by_degree_days": seasons.as_ref().ok(),
            "by_degree_days_reason": seasons.err().map(|why| Words::ISO.why_not_by_heat(why)),
        })
    });
    compared.collect()
}

fn aligned(aligned: &Aligned) -> Value {
    let standing = aligned.standing();
    json!({
        "this": aligned.this.as_ref().map(season_catch),
        "earlier": aligned.earlier.iter().map(|(season, differ)| {
            let mut value = season_catch(season);
            value["differs"] = differ.iter().map(|differ| difference(*differ)).collect();
            value
        }).collect::<Vec<_>>(),
        "higher_than": standing.map(|(lower, _)| lower),
        "of_seasons": standing.map(|(_, all)| all),
    })
}

fn season_catch(season: &SeasonCatch) -> Value {
    json!({
        "season": season.year,
        "to": season.to,
        "regime": season.regime,
        "catch": haul(&season.haul),
    })
}

const fn difference(difference: Difference) -> &'static str {
    match difference {
        Difference::Kind(_) => "kind",
        Difference::Lure => "lure",
        Difference::LureNotDeclared => "lure-not-declared",
        Difference::Regime(_) => "regime",
        Difference::RegimeNotDeclared => "regime-not-declared",
        Difference::Place => "place",
        Difference::PlaceNotDeclared => "place-not-declared",
        Difference::Service(_) => "service",
        Difference::Stretch(_) => "stretch",
    }
}

/// Notes that bear on risk.
pub(super) fn context(context: &RiskFacts) -> Value {
    let notes = |notes: &[Note]| notes.iter().map(note).collect::<Vec<_>>();
    json!({
        "mummies": notes(&context.mummies),
        "damage": notes(&context.damage),
        "nut_samples": notes(&context.nut_samples),
        "crop": notes(&context.crop),
        "insecticides": notes(&context.insecticides),
    })
}

fn note(note: &Note) -> Value {
    let share = match &note.kind {
        NoteKind::HarvestSample(sample) => SampleShare::of_orangeworm(sample),
        NoteKind::NutSample(sample) => SampleShare::of_nuts(sample),
        _ => None,
    };
    let mut value = json!({
        "date": note.date,
        "variety": note.variety,
        "what": note.kind,
        "remark": note.text,
        "entered_by": note.by,
    });
    if let Some(share) = share {
        value["orangeworm_percent"] = json!(share.percent);
        value["interval_95_percent"] = json!(share.interval);
    }
    value
}

/// A conventional block's start; null where none stands beside.
pub(super) fn start(beside: Option<&StartBeside>) -> Value {
    beside.map_or(Value::Null, |beside| {
        json!({
            "block": beside.block,
            "status": beside.start.status.name(),
            "date": beside.start.date,
        })
    })
}
