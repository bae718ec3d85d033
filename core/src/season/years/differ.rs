//! What keeps an earlier season from being compared with this one.

use chrono::NaiveDate;

use crate::orchard::{Regime, TrapKind};
use crate::trapping::Haul;

use super::{SeasonCatch, Spot};
use crate::same_day::same_day;

/// Shares of nights in service life that differ by more are other service states. Our own choice, no
/// source.
const SERVICE_DIFFERS_BY: f64 = 0.1;
/// Seasons whose first nights lie further apart are of another stretch: two weekly readings. Our own
/// choice, no source.
const STRETCH_DIFFERS_BY_DAYS: i64 = 14;

/// What keeps an earlier season from being compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Difference {
    /// Other traps were used: of this kind.
    Kind(TrapKind),
    /// The lure, PPO or bait was another product.
    Lure,
    /// Of one of the seasons no product is declared.
    LureNotDeclared,
    /// The block was kept otherwise.
    Regime(Regime),
    /// How the block was kept is not declared.
    RegimeNotDeclared,
    /// The traps hung elsewhere.
    Place,
    /// Where they hung was not written down.
    PlaceNotDeclared,
    /// Another share of the nights was within service life: this one.
    Service(f64),
    /// Its first night was much earlier or later in the year.
    Stretch(NaiveDate),
}

/// What differs between this season and an earlier one with the same kind of trap.
pub(super) fn differences(this: &SeasonCatch, then: &SeasonCatch) -> Vec<Difference> {
    let differ = [
        lure_differs(this, then),
        match (this.regime, then.regime) {
            (Some(now), Some(before)) if now == before => None,
            (Some(_), Some(before)) => Some(Difference::Regime(before)),
            _ => Some(Difference::RegimeNotDeclared),
        },
        place_differs(this, then),
        service_differs(&this.haul, &then.haul),
        stretch_differs(this, then),
    ];
    differ.into_iter().flatten().collect()
}

fn lure_differs(this: &SeasonCatch, then: &SeasonCatch) -> Option<Difference> {
    match (&this.lures, &then.lures) {
        (Some(now), Some(before)) if now == before => None,
        (Some(_), Some(_)) => Some(Difference::Lure),
        _ => Some(Difference::LureNotDeclared),
    }
}

fn place_differs(this: &SeasonCatch, then: &SeasonCatch) -> Option<Difference> {
    if this.places == then.places {
        return None;
    }
    let mut spots = this.places.iter().chain(&then.places);
    let unknown = spots.any(|spot| matches!(spot, Spot::Trap(_)));
    Some(match unknown {
        true => Difference::PlaceNotDeclared,
        false => Difference::Place,
    })
}

/// Where a service life is not declared, no product is, which says enough.
fn service_differs(this: &Haul, then: &Haul) -> Option<Difference> {
    let share = |haul: &Haul| Some(f64::from(haul.nights_in_life()?) / f64::from(haul.trap_nights));
    let (now, before) = (share(this)?, share(then)?);
    ((now - before).abs() > SERVICE_DIFFERS_BY).then_some(Difference::Service(before))
}

fn stretch_differs(this: &SeasonCatch, then: &SeasonCatch) -> Option<Difference> {
    let same = same_day(this.haul.first, then.year)?;
    let days = (then.haul.first - same).num_days().abs();
    (days > STRETCH_DIFFERS_BY_DAYS).then_some(Difference::Stretch(then.haul.first))
}
