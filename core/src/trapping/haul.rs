//! What readings add up to, and how many of their nights were within the service life of what attracts.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, NaiveDate};

use crate::orchard::{Orchard, Part, Product, Trap, TrapKind};

use super::service::life_end;
use super::span::spans;
use super::{Counted, Visits};

/// The readings of traps of one kind, added up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Haul {
    /// The kind of trap.
    pub kind: TrapKind,
    /// What was counted.
    pub counted: Counted,
    /// The sum of the counts.
    pub count: u32,
    /// Traps with at least one readable count.
    pub traps_read: usize,
    /// Nights behind the counts, over all traps.
    pub trap_nights: u32,
    /// Of those, nights on which a lure, PPO or bait was past its service life; `None` where a trap's
    /// attractant has no declared product, so that nobody can say.
    pub nights_past_life: Option<u32>,
    /// The day from which the first night counts.
    pub first: NaiveDate,
    /// The last reading.
    pub last: NaiveDate,
}

impl Haul {
    /// Catch per trap and night.
    #[must_use]
    pub fn per_trap_night(&self) -> f64 {
        f64::from(self.count) / f64::from(self.trap_nights)
    }

    /// Nights within the service life, where that is declared.
    #[must_use]
    pub fn nights_in_life(&self) -> Option<u32> {
        Some(self.trap_nights - self.nights_past_life?)
    }
}

/// One readable count of one trap, over the nights since the visit before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Interval {
    /// The visit before, or the day of hanging.
    pub(crate) from: NaiveDate,
    /// The day of the reading.
    pub(crate) to: NaiveDate,
    pub(crate) count: u32,
    /// Nights the trap hung; never zero.
    pub(crate) nights: u32,
    pub(crate) past_life: Option<u32>,
    /// Whether only females were counted.
    females_alone: bool,
}

impl Interval {
    /// Whether it lies within one year: the first reading of a trap that hung over the winter does not.
    pub(crate) fn is_of_one_year(&self) -> bool {
        self.from.year() == self.to.year()
    }
}

/// The readable counts of one trap up to a day, oldest first.
pub(crate) fn intervals(
    orchard: &Orchard,
    trap: &Trap,
    visits: &Visits,
    up_to: NaiveDate,
) -> Vec<Interval> {
    let attractants = attractants(orchard, trap);
    let mut put_in: BTreeMap<Part, NaiveDate> = BTreeMap::new();
    let mut intervals = Vec::new();
    for span in spans(trap, visits, up_to) {
        let (from, to) = (span.from, span.visit.date);
        let past_life = |attractants: &Vec<(Part, &Product)>| {
            let past = attractants.iter().map(|(part, product)| {
                let since = put_in.get(part).copied().unwrap_or(trap.hung);
                trap.nights(from.max(life_end(since, product)), to)
            });
            past.max().unwrap_or(0)
        };
        let count = span.count(Counted::on(trap.kind, false));
        intervals.extend(count.map(|count| Interval {
            from,
            to,
            count,
            nights: span.nights,
            past_life: attractants.as_ref().map(past_life),
            females_alone: span.visit.is_of_females_alone(),
        }));
        put_in.extend(span.visit.serviced.iter().map(|part| (*part, to)));
    }
    intervals
}

/// What draws insects to a trap, all but the liner; `None` where a product is not declared.
pub(crate) fn attractants<'a>(
    orchard: &'a Orchard,
    trap: &Trap,
) -> Option<Vec<(Part, &'a Product)>> {
    let parts = trap
        .kind
        .parts()
        .iter()
        .filter(|part| **part != Part::Liner);
    parts
        .map(|part| Some((*part, orchard.product(trap.products.get(part)?)?)))
        .collect()
}

/// Adds up readings of traps of one kind; `None` without one.
pub(crate) fn haul<'a>(readings: impl Iterator<Item = (&'a Trap, Interval)>) -> Option<Haul> {
    let mut traps = BTreeSet::new();
    let mut females_alone = true;
    let mut sum: Option<Haul> = None;
    for (trap, reading) in readings {
        traps.insert(&trap.id);
        females_alone &= reading.females_alone;
        let sum = sum.get_or_insert(Haul {
            kind: trap.kind,
            counted: Counted::on(trap.kind, false),
            count: 0,
            traps_read: 0,
            trap_nights: 0,
            nights_past_life: Some(0),
            first: reading.from,
            last: reading.to,
        });
        sum.count += reading.count;
        sum.trap_nights += reading.nights;
        let past = sum.nights_past_life.zip(reading.past_life);
        sum.nights_past_life = past.map(|(sum, more)| sum + more);
        sum.first = sum.first.min(reading.from);
        sum.last = sum.last.max(reading.to);
    }
    sum.map(|sum| Haul {
        counted: Counted::on(sum.kind, females_alone),
        traps_read: traps.len(),
        ..sum
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::ProductId;
    use crate::sample;
    use crate::trapping::Visit;

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 5, day).unwrap()
    }

    fn lure(life_days: u16) -> Product {
        Product {
            id: ProductId::new("lure").unwrap(),
            part: Part::Lure,
            life_days,
            source: "test".into(),
            area_cm2: None,
        }
    }

    fn trap(product: Option<&Product>) -> Trap {
        let mut trap = sample::trap("P1", TrapKind::Pheromone, date(1));
        let declared = product.map(|product| (Part::Lure, product.id.clone()));
        trap.products.extend(declared);
        trap
    }

    fn read(day: u32, males: u32, serviced: Option<Part>) -> Visit {
        Visit {
            males: Some(males),
            serviced: serviced.into_iter().collect(),
            ..sample::visit("P1", date(day))
        }
    }

    fn added_up(orchard: &Orchard, trap: &Trap, visits: Vec<Visit>) -> Option<Haul> {
        let intervals = intervals(orchard, trap, &Visits::new(visits), date(31));
        haul(intervals.into_iter().map(|interval| (trap, interval)))
    }

    #[test]
    fn nights_past_the_lures_life_are_those_after_its_last_day() {
        let lure = lure(10);
        let trap = trap(Some(&lure));
        let orchard = Orchard::new(vec![sample::block()], vec![trap.clone()], vec![lure]);
        // By hand: hung the 1st, so the lure lasts to the 11th. Nights to the 8th: 7, in life. To the
        // 15th: 7, of which 4 past it; replaced then. To the 22nd: 7, in life.
        let visits = vec![
            read(8, 3, None),
            read(15, 0, Some(Part::Lure)),
            read(22, 2, None),
        ];
        let haul = added_up(&orchard, &trap, visits).unwrap();
        assert_eq!((haul.count, haul.trap_nights), (5, 21));
        assert_eq!(
            (haul.nights_past_life, haul.nights_in_life()),
            (Some(4), Some(17))
        );
        assert_eq!((haul.first, haul.last), (date(1), date(22)));
        assert_eq!(haul.counted, Counted::Males);
    }

    #[test]
    fn without_a_declared_product_nobody_can_say_whether_the_lure_was_in_life() {
        let trap = trap(None);
        let orchard = Orchard::new(vec![sample::block()], vec![trap.clone()], Vec::new());
        let haul = added_up(&orchard, &trap, vec![read(8, 3, None)]).unwrap();
        assert_eq!(haul.nights_in_life(), None);
    }

    #[test]
    fn a_trap_that_was_not_read_adds_nothing_up() {
        let trap = trap(None);
        let orchard = Orchard::new(vec![sample::block()], vec![trap.clone()], Vec::new());
        let unread = Visit {
            readable: false,
            ..read(8, 3, None)
        };
        assert_eq!(added_up(&orchard, &trap, vec![unread]), None);
    }
}
