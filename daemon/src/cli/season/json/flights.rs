//! The flights of a season as JSON.

use duskflight_core::season::BlockSeason;
use duskflight_core::trapping::{Flight, FlightDay, Round};
use duskflight_core::wording::Words;
use serde_json::{Value, json};

pub(super) fn of(season: &BlockSeason) -> Value {
    match &season.flights {
        Err(why) => json!({"reason": Words::ISO.why_no_flights(*why)}),
        Ok(flights) => json!({
            "reason": null,
            "kind": flights.kind,
            "counted": flights.counted.words(2),
            "rounds": flights.rounds,
            "usable": flights.usable,
            "newest": round(&flights.newest),
            "may_be_starting": flights.may_be_starting,
            "seen": flights.flights.iter().map(|f| flight(season, f)).collect::<Vec<_>>(),
        }),
    }
}

fn flight(season: &BlockSeason, flight: &Flight) -> Value {
    let unit = season.unit;
    json!({
        "start": day(&flight.start),
        "peak": day(&flight.peak),
        "end": day(&flight.end),
        "highest": round(&flight.highest),
        "other_humps": flight.other_humps.iter().map(round).collect::<Vec<_>>(),
        "degree_days_between": flight.heat_between.map(|heat| heat.in_unit(unit)),
        "published": flight.published.map(|generation| json!({
            "at": generation.at.in_unit(unit),
            "range": generation.range.map(|(low, high)| [low.in_unit(unit), high.in_unit(unit)]),
        })),
    })
}

/// A day is told by the readings it lies between.
fn day(day: &FlightDay) -> Value {
    match day {
        FlightDay::In(of) => json!({"status": "seen", "in": round(of), "reason": null}),
        FlightDay::NotYet { why } => {
            json!({"status": "not-yet", "in": null, "reason": why.words()})
        }
        FlightDay::CannotTell { why } => {
            json!({"status": "cannot-tell", "in": null, "reason": Words::ISO.why_no_day(why)})
        }
    }
}

fn round(round: &Round) -> Value {
    json!({
        "after": round.after,
        "by": round.by,
        "count": round.count,
        "trap_nights": round.trap_nights,
        "traps_read": round.traps_read,
        "traps_hung": round.traps_hung,
        "past_life": round.past_life,
        "mostly_past_life": round.mostly_past_life,
        "after_overdue_change": round.after_overdue_change,
        "undercounts": round.undercounts,
    })
}
