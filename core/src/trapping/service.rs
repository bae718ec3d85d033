//! Service due: each part of each trap on its own clock.
//!
//! A part ages from the day it was put in, also while its trap is taken down for shaking: whether it
//! was kept cold or in the sun is not known. It is only fresh when it was replaced, which is entered
//! with a visit as ever. While a trap is down nobody is reminded of its parts.

use chrono::{Datelike, NaiveDate};

use crate::id::{ProductId, TrapId};
use crate::orchard::{Orchard, Part, Product, Trap};

use super::routine::after;
use super::{OnLiner, Visits, full_liner};

/// When one part of one trap reaches the end of its service life.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ServiceDue {
    /// The trap.
    pub trap: TrapId,
    /// The part.
    pub part: Part,
    /// The product in it.
    pub product: ProductId,
    /// When it was put in.
    pub since: NaiveDate,
    /// The last day of its service life, or the earlier day on which a liner was found full.
    pub due: NaiveDate,
    /// What a full liner holds.
    pub full: Option<OnLiner>,
    /// The life in force, in days.
    pub life_days: u16,
    /// Where that number comes from.
    pub source: String,
}

impl ServiceDue {
    /// Days past its service life; zero or less is still in life.
    #[must_use]
    pub fn days_past(&self, as_of: NaiveDate) -> i64 {
        (as_of - self.due).num_days()
    }
}

/// A stretch in which one part of one trap served past its life.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lapse {
    /// The trap.
    pub trap: TrapId,
    /// The part.
    pub part: Part,
    /// When it was put in.
    pub since: NaiveDate,
    /// The last day of its service life.
    pub due: NaiveDate,
    /// When it was replaced, or the trap taken away or down; `None` while it still serves.
    pub ended: Option<NaiveDate>,
}

/// The service clocks of the given traps that are in use, by trap and part.
#[must_use]
pub fn service_due<'a>(
    orchard: &Orchard,
    traps: impl Iterator<Item = &'a Trap>,
    visits: &Visits,
    as_of: NaiveDate,
) -> Vec<ServiceDue> {
    traps
        .filter(|trap| trap.in_use_on(as_of))
        .flat_map(|trap| {
            products_of(orchard, trap).filter_map(move |(part, product)| {
                let since = put_in(trap, part, visits, as_of).last()?;
                let end = life_end(since, product);
                let full = match part {
                    Part::Liner => full_liner(orchard, trap, visits, as_of),
                    _ => None,
                };
                Some(ServiceDue {
                    trap: trap.id.clone(),
                    part,
                    product: product.id.clone(),
                    since,
                    due: full.map_or(end, |full| full.date.min(end)),
                    full,
                    life_days: product.life_days,
                    source: product.source.clone(),
                })
            })
        })
        .collect()
}

/// Every stretch past a service life that ended this year, also those that are over by now.
#[must_use]
pub fn lapses<'a>(
    orchard: &Orchard,
    traps: impl Iterator<Item = &'a Trap>,
    visits: &Visits,
    as_of: NaiveDate,
) -> Vec<Lapse> {
    let mut lapses = Vec::new();
    for trap in traps.filter(|trap| trap.hung <= as_of) {
        for (part, product) in products_of(orchard, trap) {
            let begun: Vec<NaiveDate> = put_in(trap, part, visits, as_of).collect();
            let taken = trap.removed.filter(|removed| *removed <= as_of);
            let taken = taken.or_else(|| trap.down_since(as_of));
            let ends = begun.iter().skip(1).copied().map(Some).chain([taken]);
            let served = begun.iter().zip(ends).map(|(&since, ended)| Lapse {
                trap: trap.id.clone(),
                part,
                since,
                due: life_end(since, product),
                ended,
            });
            lapses.extend(served.filter(|lapse| is_past_life(trap, lapse, as_of)));
        }
    }
    lapses
}

/// Whether a part hung past the end of its life, which it reached this year. In a trap that is down
/// it serves nothing.
fn is_past_life(trap: &Trap, lapse: &Lapse, as_of: NaiveDate) -> bool {
    let until = lapse.ended.unwrap_or(as_of);
    lapse.due.year() == as_of.year() && trap.nights(lapse.due, until) > 0
}

/// The parts of a trap that no product is declared for, and so have no clock.
#[must_use]
pub fn without_clock(trap: &Trap) -> Vec<Part> {
    let parts = trap.kind.parts().iter().copied();
    parts
        .filter(|part| !trap.products.contains_key(part))
        .collect()
}

pub(super) fn products_of<'a>(
    orchard: &'a Orchard,
    trap: &'a Trap,
) -> impl Iterator<Item = (Part, &'a Product)> {
    let products = trap.products.iter();
    products.filter_map(|(part, product)| Some((*part, orchard.product(product)?)))
}

/// The days on which a part was put in: with the trap, and at every service of it.
pub(super) fn put_in<'a>(
    trap: &'a Trap,
    part: Part,
    visits: &'a Visits,
    as_of: NaiveDate,
) -> impl Iterator<Item = NaiveDate> + 'a {
    let serviced = visits.of(&trap.id, as_of).iter();
    let serviced = serviced.filter(move |visit| visit.serviced.contains(&part));
    std::iter::once(trap.hung).chain(serviced.map(|visit| visit.date))
}

/// The last day of a product's service life.
pub(super) fn life_end(since: NaiveDate, product: &Product) -> NaiveDate {
    after(since, u64::from(product.life_days))
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use super::*;
    use crate::orchard::{Pull, TrapKind};
    use crate::sample;
    use crate::trapping::Visit;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    fn hung() -> (Trap, Product) {
        let product = Product {
            id: ProductId::new("lure-6w").unwrap(),
            part: Part::Lure,
            life_days: 42,
            source: "the maker's sheet".into(),
            area_cm2: None,
        };
        let trap = Trap {
            products: BTreeMap::from([(Part::Lure, product.id.clone())]),
            ..sample::trap("P1", TrapKind::Pheromone, date(4, 1))
        };
        (trap, product)
    }

    fn orchard() -> Orchard {
        let (trap, product) = hung();
        Orchard::new(Vec::new(), vec![trap], vec![product])
    }

    fn serviced(month: u32, day: u32, part: Part) -> Visit {
        Visit {
            males: Some(2),
            serviced: BTreeSet::from([part]),
            ..sample::visit("P1", date(month, day))
        }
    }

    #[test]
    fn a_lure_runs_from_hanging_and_then_from_its_last_change() {
        let orchard = orchard();
        // 1 April + 42 days is 13 May; a new liner does not move the lure's clock, a new lure does.
        let cases = [
            (vec![], date(5, 13)),
            (vec![serviced(5, 2, Part::Liner)], date(5, 13)),
            (vec![serviced(5, 2, Part::Lure)], date(6, 13)),
        ];
        for (visits, due) in cases {
            let visits = Visits::new(visits);
            let found = service_due(&orchard, orchard.traps().iter(), &visits, date(5, 20));
            assert_eq!(found[0].due, due);
        }
    }

    #[test]
    fn days_past_service_life_start_the_day_after_the_last_one() {
        let orchard = orchard();
        let due = &service_due(
            &orchard,
            orchard.traps().iter(),
            &Visits::default(),
            date(5, 20),
        )[0];
        assert_eq!(due.days_past(date(5, 13)), 0);
        assert_eq!(due.days_past(date(5, 14)), 1);
    }

    #[test]
    fn a_lapse_stays_on_record_after_the_change_and_goes_when_the_change_was_in_time() {
        let orchard = orchard();
        // In since 1 April for 42 days: its last day is 13 May.
        let found = |visits: Vec<Visit>| {
            let visits = Visits::new(visits);
            lapses(&orchard, orchard.traps().iter(), &visits, date(5, 20))
                .into_iter()
                .map(|lapse| (lapse.since, lapse.due, lapse.ended))
                .collect::<Vec<_>>()
        };
        let hung = date(4, 1);
        assert_eq!(found(vec![]), [(hung, date(5, 13), None)]);
        let late = vec![serviced(5, 18, Part::Lure)];
        assert_eq!(found(late), [(hung, date(5, 13), Some(date(5, 18)))]);
        assert_eq!(found(vec![serviced(5, 13, Part::Lure)]), []);
    }

    #[test]
    fn a_trap_taken_away_is_not_serviced_any_more() {
        let (mut trap, product) = hung();
        trap.removed = Some(date(5, 1));
        let orchard = Orchard::new(Vec::new(), vec![trap], vec![product]);
        let visits = Visits::default();
        assert!(service_due(&orchard, orchard.traps().iter(), &visits, date(5, 20)).is_empty());
    }

    #[test]
    fn a_part_ages_while_its_trap_is_down_and_nobody_is_reminded_of_it_then() {
        let (mut trap, product) = hung();
        let down = |back| Pull {
            down: date(5, 10),
            back,
        };
        let orchard =
            |trap: &Trap| Orchard::new(Vec::new(), vec![trap.clone()], vec![product.clone()]);
        let look = |trap: &Trap, visits: &[Visit], as_of| {
            let (orchard, visits) = (orchard(trap), Visits::new(visits.to_vec()));
            let due = service_due(&orchard, orchard.traps().iter(), &visits, as_of);
            let lapses = lapses(&orchard, orchard.traps().iter(), &visits, as_of);
            (due.first().map(|due| due.due), lapses.len())
        };
        // In since 1 April for 42 days, to 13 May; the trap is taken down on 10 May.
        trap.pulls = vec![down(None)];
        assert_eq!(look(&trap, &[], date(5, 20)), (None, 0));
        // Back on 25 May with the old lure, it is past its life from the first night on.
        trap.pulls = vec![down(Some(date(5, 25)))];
        assert_eq!(look(&trap, &[], date(5, 25)), (Some(date(5, 13)), 0));
        assert_eq!(look(&trap, &[], date(5, 26)), (Some(date(5, 13)), 1));
        // Back with a new one, that lasts 42 days from the 25th, to 6 July.
        let replaced = [serviced(5, 25, Part::Lure)];
        assert_eq!(look(&trap, &replaced, date(5, 26)), (Some(date(7, 6)), 0));
    }

    #[test]
    fn a_lapse_ends_when_the_trap_is_taken_down() {
        let (mut trap, product) = hung();
        trap.pulls = vec![Pull {
            down: date(5, 18),
            back: None,
        }];
        let orchard = Orchard::new(Vec::new(), vec![trap], vec![product]);
        let found = lapses(
            &orchard,
            orchard.traps().iter(),
            &Visits::default(),
            date(6, 1),
        );
        assert_eq!(found[0].ended, Some(date(5, 18)));
    }

    #[test]
    fn a_part_without_a_product_has_no_clock() {
        let (trap, _) = hung();
        assert_eq!(without_clock(&trap), [Part::Liner]);
    }
}
