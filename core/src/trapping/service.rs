//! Service due: each part of each trap on its own clock, and the next reading.

use chrono::{Datelike, Days, NaiveDate};

use crate::id::{ProductId, TrapId};
use crate::orchard::{Orchard, Part, Product, Trap, TrapKind};

use super::Visits;

/// Reading interval of every trap: at least weekly. Common practice, no source.
const READ_EVERY_DAYS: u64 = 7;
/// Reading interval of egg traps while the start is awaited: twice a week (UC IPM almond guideline),
/// which on fixed weekdays is every third and fourth day in turn; the shorter one, so that a round
/// is listed on the morning it is made.
const READ_EGG_TRAPS_EVERY_DAYS: u64 = 3;

/// What is due in so many days is due soon.
const SOON_DAYS: i64 = 7;

/// How a due day stands on another day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum DueState {
    /// It is past.
    Overdue,
    /// It is today.
    Today,
    /// It is within a week.
    Soon,
    /// It is later.
    Later,
}

impl DueState {
    /// How `due` stands on `day`.
    #[must_use]
    pub fn on(due: NaiveDate, day: NaiveDate) -> Self {
        match (due - day).num_days() {
            ..0 => Self::Overdue,
            0 => Self::Today,
            1..=SOON_DAYS => Self::Soon,
            _ => Self::Later,
        }
    }

    /// The words used in lists.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Overdue => "overdue",
            Self::Today => "due today",
            Self::Soon => "soon",
            Self::Later => "later",
        }
    }
}

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
    /// The last day of its service life.
    pub due: NaiveDate,
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

/// When a trap should be read next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadingDue {
    /// The trap.
    pub trap: TrapId,
    /// Its kind.
    pub kind: TrapKind,
    /// When it was last visited; `None` when never since hanging.
    pub last: Option<NaiveDate>,
    /// The day the next reading is due.
    pub due: NaiveDate,
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
    /// When it was replaced, or the trap taken away; `None` while it still serves.
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
                Some(ServiceDue {
                    trap: trap.id.clone(),
                    part,
                    product: product.id.clone(),
                    since,
                    due: life_end(since, product),
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
            let ends = begun.iter().skip(1).copied().map(Some).chain([taken]);
            lapses.extend(begun.iter().zip(ends).map(|(&since, ended)| Lapse {
                trap: trap.id.clone(),
                part,
                since,
                due: life_end(since, product),
                ended,
            }));
        }
    }
    lapses.retain(|lapse| {
        lapse.due.year() == as_of.year() && lapse.ended.unwrap_or(as_of) > lapse.due
    });
    lapses
}

fn products_of<'a>(
    orchard: &'a Orchard,
    trap: &'a Trap,
) -> impl Iterator<Item = (Part, &'a Product)> {
    let products = trap.products.iter();
    products.filter_map(|(part, product)| Some((*part, orchard.product(product)?)))
}

/// The days on which a part was put in: with the trap, and at every service of it.
fn put_in<'a>(
    trap: &'a Trap,
    part: Part,
    visits: &'a Visits,
    as_of: NaiveDate,
) -> impl Iterator<Item = NaiveDate> + 'a {
    let serviced = visits.of(&trap.id, as_of).iter();
    let serviced = serviced.filter(move |visit| visit.serviced.contains(&part));
    std::iter::once(trap.hung).chain(serviced.map(|visit| visit.date))
}

fn life_end(since: NaiveDate, product: &Product) -> NaiveDate {
    after(since, u64::from(product.life_days))
}

/// The next readings of the given traps that are in use. Egg traps are read twice a week until the
/// start is confirmed.
#[must_use]
pub fn readings_due<'a>(
    traps: impl Iterator<Item = &'a Trap>,
    visits: &Visits,
    start_awaited: bool,
    as_of: NaiveDate,
) -> Vec<ReadingDue> {
    traps
        .filter(|trap| trap.in_use_on(as_of))
        .map(|trap| {
            let last = visits.of(&trap.id, as_of).last().map(|visit| visit.date);
            let every = if start_awaited && trap.kind == TrapKind::Egg {
                READ_EGG_TRAPS_EVERY_DAYS
            } else {
                READ_EVERY_DAYS
            };
            ReadingDue {
                trap: trap.id.clone(),
                kind: trap.kind,
                last,
                due: after(last.unwrap_or(trap.hung), every),
            }
        })
        .collect()
}

fn after(date: NaiveDate, days: u64) -> NaiveDate {
    date.checked_add_days(Days::new(days))
        .unwrap_or(NaiveDate::MAX)
}

#[cfg(test)]
mod tests {
    use std::collections::{BTreeMap, BTreeSet};

    use super::*;
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
    fn a_due_day_is_overdue_only_once_it_is_past() {
        let state = |day| DueState::on(date(5, 13), date(5, day));
        assert_eq!(state(14), DueState::Overdue);
        assert_eq!(state(13), DueState::Today);
        assert_eq!((state(12), state(6)), (DueState::Soon, DueState::Soon));
        assert_eq!(state(5), DueState::Later);
    }

    #[test]
    fn a_trap_taken_away_is_not_serviced_or_read_any_more() {
        let (mut trap, product) = hung();
        trap.removed = Some(date(5, 1));
        let orchard = Orchard::new(Vec::new(), vec![trap], vec![product]);
        let visits = Visits::default();
        assert!(service_due(&orchard, orchard.traps().iter(), &visits, date(5, 20)).is_empty());
        assert!(readings_due(orchard.traps().iter(), &visits, false, date(5, 20)).is_empty());
    }

    #[test]
    fn egg_traps_are_read_twice_a_week_until_the_start_is_confirmed() {
        let (mut trap, product) = hung();
        trap.kind = TrapKind::Egg;
        let orchard = Orchard::new(Vec::new(), vec![trap], vec![product]);
        let due = |awaited| {
            readings_due(
                orchard.traps().iter(),
                &Visits::default(),
                awaited,
                date(4, 2),
            )[0]
            .due
        };
        assert_eq!(due(true), date(4, 4));
        assert_eq!(due(false), date(4, 8));
    }
}
