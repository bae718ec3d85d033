//! The flights of a season as JSON.

use duskflight_core::season::BlockSeason;
use duskflight_core::trapping::{Flight, FlightDay, NumberedBy, Peak, Round};
use duskflight_core::wording::Words;
use serde_json::{Value, json};

pub(super) fn of(season: &BlockSeason) -> Value {
    match &season.flights {
        Err(why) => json!({"reason": Words::ISO.why_no_flights(*why)}),
        Ok(flights) => json!({
            "reason": null,
            "kind": flights.kind,
            "counted": flights.counted.words(2),
            "far_below": flights.far_below.map(|far_below| json!({
                "by": far_below.by,
                "males": far_below.males[0], "male_trap_nights": far_below.males[1],
                "moths": far_below.moths[0], "moth_trap_nights": far_below.moths[1],
            })),
            "kinds_beside": flights.beside,
            "numbered_by": numbered_by(flights.numbered_by),
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
        "number": flight.number,
        "name": season.flight_name(flight.number),
        "start": day(&flight.start),
        "peak": peak(flight),
        "end": day(&flight.end),
        "highest": round(&flight.highest),
        "other_humps": flight.other_humps.iter().map(round).collect::<Vec<_>>(),
        "degree_days_between": flight.heat_between.map(|(heat, _)| heat.in_unit(unit)),
        "published": flight.heat_between.and_then(|(_, published)| published).map(|generation| json!({
            "at": generation.at.in_unit(unit),
            "range": generation.range.map(|(low, high)| [low.in_unit(unit), high.in_unit(unit)]),
        })),
    })
}

/// What the flights' numbers count from.
fn numbered_by(by: NumberedBy) -> Value {
    match by {
        NumberedBy::Start(day) => json!({"from": "egg-laying-start", "day": day}),
        NumberedBy::NewYear(day) => json!({"from": "1-january", "day": day}),
        NumberedBy::Order => Value::Null,
    }
}

/// The peak, in its round once two lower ones followed; until then that is the highest so far.
fn peak(flight: &Flight) -> Value {
    let (status, reason) = match &flight.peak {
        Peak::Seen => ("seen", None),
        Peak::AtLeast(day, traps) => ("at-least", Some(Words::ISO.full_liners(*day, traps))),
        Peak::SoFar(why) => ("so-far", Some(why.words().to_owned())),
        Peak::MayBeBefore => ("may-be-before", None),
    };
    let doubts = flight.peak_doubts.iter();
    json!({
        "status": status,
        "in": flight.peak_round().map(round),
        "reason": reason,
        "doubts": doubts.map(|doubt| Words::ISO.why_no_day(doubt)).collect::<Vec<_>>(),
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
