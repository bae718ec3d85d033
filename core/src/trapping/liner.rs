//! What a sticky liner holds since it was changed: a full one catches less than flies.

use chrono::NaiveDate;

use crate::orchard::{Orchard, Part, Trap};

use super::Visits;

/// A liner of 465 cm² lost efficiency where it held 50 to 60 moths (Kuenen 2008, abstract of the
/// Pacific Branch of the Entomological Society of America); the lower end, so that a near one counts.
const FULL_AT_MOTHS: u32 = 50;
/// The area of that liner. One whose area is not declared is taken for it.
const FULL_AT_CM2: u32 = 465;

/// A liner at one visit, before it was serviced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OnLiner {
    /// The day.
    pub date: NaiveDate,
    /// Moths caught since it was put in, as far as they were counted.
    pub moths: u32,
    /// So many make it lose efficiency, by its area.
    pub full_at: u32,
}

impl OnLiner {
    /// Whether the count of this visit is likely less than a fresh liner would have caught.
    #[must_use]
    pub const fn undercounts(&self) -> bool {
        self.moths >= self.full_at
    }
}

/// The liner of one trap at each of its visits up to `as_of`, oldest first.
#[must_use]
pub fn on_liner(orchard: &Orchard, trap: &Trap, visits: &Visits, as_of: NaiveDate) -> Vec<OnLiner> {
    let product = trap.products.get(&Part::Liner);
    let area = product.and_then(|id| orchard.product(id)?.area_cm2);
    let full_at = FULL_AT_MOTHS * area.map_or(FULL_AT_CM2, u32::from) / FULL_AT_CM2;
    let mut moths: u32 = 0;
    let seen = visits.of(&trap.id, as_of).iter();
    seen.map(|visit| {
        moths = moths.saturating_add(visit.all_moths().unwrap_or(0));
        let held = OnLiner {
            date: visit.date,
            moths,
            full_at,
        };
        if visit.serviced.contains(&Part::Liner) {
            moths = 0;
        }
        held
    })
    .collect()
}

/// The liner that hangs in a trap, where it is so full that it undercounts: by the first visit that
/// found it so. `None` also for a trap without one, or whose liner was changed at its last visit.
#[must_use]
pub fn full_liner(
    orchard: &Orchard,
    trap: &Trap,
    visits: &Visits,
    as_of: NaiveDate,
) -> Option<OnLiner> {
    let last = visits.of(&trap.id, as_of).last()?;
    if last.serviced.contains(&Part::Liner) || !trap.kind.parts().contains(&Part::Liner) {
        return None;
    }
    let held = on_liner(orchard, trap, visits, as_of);
    let now = *held.last()?;
    let full = held.iter().rev().take_while(|held| held.undercounts());
    full.last().map(|first| OnLiner {
        date: first.date,
        ..now
    })
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use super::*;
    use crate::id::ProductId;
    use crate::orchard::{Product, TrapKind};
    use crate::sample;
    use crate::trapping::{Visit, service_due};

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 7, day).unwrap()
    }

    fn hung(area_cm2: Option<u16>) -> (Orchard, Trap) {
        let liner = Product {
            id: ProductId::new("liner").unwrap(),
            part: Part::Liner,
            life_days: 42,
            source: "common practice, no source".into(),
            area_cm2,
        };
        let trap = Trap {
            products: BTreeMap::from([(Part::Liner, liner.id.clone())]),
            ..sample::trap("P1", TrapKind::Pheromone, date(1))
        };
        let orchard = Orchard::new(Vec::new(), vec![trap.clone()], vec![liner]);
        (orchard, trap)
    }

    fn held(area_cm2: Option<u16>, visits: Vec<Visit>) -> Vec<(u32, bool)> {
        let (orchard, trap) = hung(area_cm2);
        let found = on_liner(&orchard, &trap, &Visits::new(visits), date(31));
        let pairs = found
            .into_iter()
            .map(|held| (held.moths, held.undercounts()));
        pairs.collect()
    }

    fn visit(day: u32, males: Option<u32>, changed: bool) -> Visit {
        let serviced = changed.then_some(Part::Liner);
        Visit {
            males,
            readable: males.is_some(),
            serviced: BTreeSet::from_iter(serviced),
            ..sample::visit("P1", date(day))
        }
    }

    #[test]
    fn a_liner_holds_what_was_caught_since_it_was_changed() {
        // 30, then 30 + 19 = 49, one short of 50; unread it still holds 49; 51 before the change.
        let visits = vec![
            visit(4, Some(30), false),
            visit(8, Some(19), false),
            visit(11, None, false),
            visit(15, Some(2), true),
            visit(18, Some(9), false),
        ];
        let expected = [
            (30, false),
            (49, false),
            (49, false),
            (51, true),
            (9, false),
        ];
        assert_eq!(held(Some(465), visits.clone()), expected);
        assert_eq!(held(None, visits), expected);
    }

    #[test]
    fn a_liner_of_another_size_is_full_in_proportion() {
        // 50 moths on 465 cm² are 100 on 930 cm² and, rounded down, 24 on 232 cm².
        let visits = vec![visit(4, Some(99), false), visit(8, Some(1), false)];
        assert_eq!(held(Some(930), visits), [(99, false), (100, true)]);
        let visits = vec![visit(4, Some(23), false), visit(8, Some(1), false)];
        assert_eq!(held(Some(232), visits), [(23, false), (24, true)]);
    }

    #[test]
    fn a_full_liner_is_due_on_the_day_it_was_found_full_until_it_is_changed() {
        let (orchard, trap) = hung(None);
        let full = |visits: Vec<Visit>| {
            let due = service_due(
                &orchard,
                std::iter::once(&trap),
                &Visits::new(visits),
                date(20),
            );
            (due[0].due, due[0].full.map(|full| full.moths))
        };
        // 30, then 52 on the 8th, 60 on the 15th; in since 1 July for 42 days, to 12 August.
        let mut visits = vec![visit(4, Some(30), false), visit(8, Some(22), false)];
        visits.push(visit(15, Some(8), false));
        assert_eq!(
            full(visits[..1].to_vec()),
            (date(1) + chrono::TimeDelta::days(42), None)
        );
        assert_eq!(full(visits.clone()), (date(8), Some(60)));
        visits.push(visit(18, Some(1), true));
        assert_eq!(full(visits), (date(18) + chrono::TimeDelta::days(42), None));
    }
}
