//! Seasons of one trap, each with few readings, so that catches per trap and night are plain divisions.
//! What may be compared with what is common practice, no source: the same place, trap, lure, regime and
//! service state.

use super::*;
use crate::id::{BlockId, PersonId};
use crate::orchard::{Part, Product};
use crate::sample;
use crate::season::tests::{date, heat, year_of};
use crate::trapping::Visit;
use crate::weather::ReceivedDay;

const LIFE_DAYS: u16 = 200;

/// A pheromone trap of the block `B`, hung on 1 March of a year at a tree, with a lure that lasts.
fn trap(year: i32) -> Trap {
    let mut trap = sample::trap(&format!("P{year}"), TrapKind::Pheromone, date(year, 3, 1));
    trap.removed = Some(date(year, 11, 1));
    trap.place.row = "12".into();
    trap.place.tree = "7".into();
    trap.products
        .insert(Part::Lure, ProductId::new("lure").unwrap());
    trap
}

fn read(trap: &Trap, month: u32, day: u32, moths: u32) -> Visit {
    Visit {
        moths: Some(moths),
        ..sample::visit(trap.id.as_str(), date(trap.hung.year(), month, day))
    }
}

/// A farm as it is known on 1 June 2021.
#[derive(Default)]
struct Case {
    blocks: Vec<Block>,
    traps: Vec<Trap>,
    visits: Vec<Visit>,
    declared: Vec<(NaiveDate, Block)>,
}

impl Case {
    /// Hangs a trap and reads it once in its year, on 20 May: 80 nights after 1 March.
    fn with(mut self, trap: Trap, moths: u32) -> Self {
        self.visits.push(read(&trap, 5, 20, moths));
        self.traps.push(trap);
        self
    }

    fn compared(&self, received: &[ReceivedDay], as_of: NaiveDate) -> Vec<Comparison> {
        let product = |id: &str, life_days| Product {
            id: ProductId::new(id).unwrap(),
            part: Part::Lure,
            life_days,
            source: "test".into(),
            area_cm2: None,
        };
        let products = vec![
            product("lure", LIFE_DAYS),
            product("other", LIFE_DAYS),
            product("short", 60),
        ];
        let blocks = match self.blocks.is_empty() {
            true => vec![sample::block()],
            false => self.blocks.clone(),
        };
        let block = blocks[0].clone();
        let orchard = Orchard::new(blocks, self.traps.clone(), products);
        let orchard = orchard.with_declared(self.declared.clone());
        let heat = heat(received, as_of);
        years(&orchard, &block, &heat, &Visits::new(self.visits.clone()))
    }

    fn by_date(&self) -> Aligned {
        self.compared(&[], date(2021, 6, 1)).remove(0).by_date
    }
}

/// This year 160 moths in 80 nights: 2 a night.
fn this_year() -> Case {
    Case::default().with(trap(2021), 160)
}

fn rates(aligned: &Aligned) -> Vec<(i32, f64)> {
    let seasons = aligned.this.iter().chain(aligned.comparable());
    seasons.map(|s| (s.year, s.haul.per_trap_night())).collect()
}

#[test]
fn seasons_of_the_same_place_stand_beside_each_other_newest_first() {
    let aligned = this_year()
        .with(trap(2019), 40)
        .with(trap(2020), 240)
        .by_date();
    // By hand: 160, 240 and 40 moths in 80 nights each.
    assert_eq!(rates(&aligned), [(2021, 2.0), (2020, 3.0), (2019, 0.5)]);
    assert_eq!(aligned.standing(), None, "two seasons give no place");
}

#[test]
fn from_three_comparable_seasons_on_this_one_is_given_its_place() {
    let three = || {
        this_year()
            .with(trap(2018), 159)
            .with(trap(2019), 160)
            .with(trap(2020), 240)
    };
    // Lower in 2018 alone: an equal catch is not lower.
    assert_eq!(three().by_date().standing(), Some((1, 3)));
    let mut other = trap(2017);
    other
        .products
        .insert(Part::Lure, ProductId::new("other").unwrap());
    assert_eq!(three().with(other, 0).by_date().standing(), Some((1, 3)));
}

#[test]
fn what_differs_is_named_and_keeps_a_season_from_being_compared() {
    let earlier = |change: fn(&mut Trap)| {
        let mut trap = trap(2020);
        change(&mut trap);
        this_year().with(trap, 80)
    };
    let lure = |id: &str| ProductId::new(id).unwrap();
    let cases: [(&str, Case, Vec<Difference>); 8] = [
        ("nothing", earlier(|_| ()), vec![]),
        (
            "another round",
            earlier(|trap| trap.place.route = "north".into()),
            vec![],
        ),
        (
            "another tree",
            earlier(|trap| trap.place.tree = "8".into()),
            vec![Difference::Place],
        ),
        (
            "no place written down",
            earlier(|trap| trap.place = Place::default()),
            vec![Difference::PlaceNotDeclared],
        ),
        (
            "no product",
            earlier(|trap| trap.products.clear()),
            vec![Difference::LureNotDeclared],
        ),
        (
            "another product",
            earlier(|trap| {
                let other = ProductId::new("other").unwrap();
                trap.products.insert(Part::Lure, other);
            }),
            vec![Difference::Lure],
        ),
        // Hung 16 days later: 64 nights to 20 May.
        (
            "a later beginning",
            earlier(|trap| trap.hung = date(2020, 3, 17)),
            vec![Difference::Stretch(date(2020, 3, 17))],
        ),
        (
            "a fortnight later",
            earlier(|trap| trap.hung = date(2020, 3, 15)),
            vec![],
        ),
    ];
    for (name, case, expected) in cases {
        assert_eq!(case.by_date().earlier[0].1, expected, "{name}");
    }
    // The same short-lived lure in both years, replaced in time this year: of 80 nights 60 were in its
    // life before, all are now.
    let short = |year| {
        let mut trap = trap(year);
        trap.products.insert(Part::Lure, lure("short"));
        trap
    };
    let mut case = Case::default().with(short(2021), 160).with(short(2020), 80);
    case.visits.push(Visit {
        serviced: [Part::Lure].into(),
        ..read(&short(2021), 4, 20, 0)
    });
    assert_eq!(case.by_date().earlier[0].1, [Difference::Service(0.75)]);
}

#[test]
fn an_earlier_regime_is_named() {
    let disrupted = Block {
        regime: Regime::MatingDisruption,
        ..sample::block()
    };
    let mut case = this_year()
        .with(trap(2020), 4)
        .with(trap(2019), 3)
        .with(trap(2018), 2);
    case.declared = vec![
        (date(2021, 1, 1), sample::block()),
        (date(2019, 1, 1), disrupted),
    ];
    let aligned = case.by_date();
    let differ: Vec<_> = aligned
        .earlier
        .iter()
        .map(|(season, differ)| (season.year, &differ[..]))
        .collect();
    let then = [Difference::Regime(Regime::MatingDisruption)];
    assert_eq!(
        differ,
        [
            (2020, &then[..]),
            (2019, &then[..]),
            (2018, &[Difference::RegimeNotDeclared][..])
        ]
    );
}

#[test]
fn another_kind_of_trap_is_shown_as_such() {
    let mut other = trap(2020);
    other.kind = TrapKind::PheromonePpo;
    let aligned = this_year().with(other, 80).by_date();
    let (season, differ) = &aligned.earlier[0];
    assert_eq!(
        (season.haul.count, &differ[..]),
        (80, &[Difference::Kind(TrapKind::PheromonePpo)][..])
    );
    assert_eq!(rates(&aligned).len(), 1);
}

#[test]
fn later_readings_of_earlier_years_and_those_over_the_winter_do_not_count() {
    let mut case = this_year().with(trap(2020), 80);
    // Read once more after 1 June, and the trap of 2020 hung on into this year.
    case.visits.push(read(&trap(2020), 6, 10, 500));
    case.traps[1].removed = None;
    case.visits.push(Visit {
        date: date(2021, 3, 10),
        ..read(&trap(2020), 6, 10, 900)
    });
    assert_eq!(rates(&case.by_date()), [(2021, 2.0), (2020, 1.0)]);
}

#[test]
fn the_29th_of_february_falls_to_the_28th() {
    assert_eq!(same_day(date(2024, 2, 29), 2023), Some(date(2023, 2, 28)));
    assert_eq!(same_day(date(2024, 2, 29), 2020), Some(date(2020, 2, 29)));
    assert_eq!(same_day(date(2023, 6, 1), 2020), Some(date(2020, 6, 1)));
}

/// Past years of 16 (2018) and 24 (2020) degree-days a day, and this one of 20; 2019 is missing.
fn temperatures(as_of: NaiveDate) -> Vec<ReceivedDay> {
    let this = year_of(2021, 20.0).filter(|day| day.date < as_of);
    year_of(2018, 16.0)
        .chain(year_of(2020, 24.0))
        .chain(this)
        .collect()
}

#[test]
fn by_degree_days_a_warmer_year_is_cut_earlier_and_a_colder_one_later() {
    let as_of = date(2021, 6, 1);
    let mut case = this_year()
        .with(trap(2020), 80)
        .with(trap(2019), 80)
        .with(trap(2018), 80);
    // Known to 31 May: 151 days of 20 are 3020. At 24 a day 125.8, so the 126th day of the leap year
    // 2020, 5 May: a reading of the 6th still counts, one of the 20th does not. At 16 a day 188.75:
    // the 189th day of 2018, 8 July, so a reading of the 9th counts.
    case.visits.push(read(&trap(2020), 5, 6, 33));
    case.visits.push(read(&trap(2018), 7, 9, 20));
    case.visits.push(read(&trap(2018), 7, 10, 700));
    let by_heat = case
        .compared(&temperatures(as_of), as_of)
        .remove(0)
        .by_heat
        .unwrap();
    assert!((by_heat.degree_days.fahrenheit_days() - 3020.0).abs() < 1e-6);
    assert_eq!(by_heat.unknown, [2019]);
    // Nights by hand: 1 March to 6 May 66; to 20 May 80 and on to 9 July 50.
    let seasons = by_heat.seasons;
    let counted: Vec<_> = seasons
        .this
        .iter()
        .chain(seasons.earlier.iter().map(|(season, _)| season))
        .map(|season| (season.to, season.haul.count, season.haul.trap_nights))
        .collect();
    let expected = [
        (as_of, 160, 80),
        (date(2020, 5, 6), 33, 66),
        (date(2018, 7, 9), 100, 130),
    ];
    assert_eq!(counted, expected);
}

#[test]
fn years_with_the_same_temperatures_are_cut_at_the_same_day() {
    let as_of = date(2021, 6, 1);
    let received: Vec<ReceivedDay> = year_of(2019, 20.0)
        .chain(year_of(2021, 20.0).filter(|day| day.date < as_of))
        .collect();
    let case = this_year().with(trap(2019), 80);
    let by_heat = case.compared(&received, as_of).remove(0).by_heat.unwrap();
    assert_eq!(by_heat.seasons.earlier[0].0.to, date(2019, 6, 1));
}

#[test]
fn without_temperatures_of_this_year_only_dates_compare() {
    let as_of = date(2021, 6, 1);
    let received: Vec<ReceivedDay> = year_of(2020, 20.0).collect();
    let case = this_year().with(trap(2020), 80);
    let by_heat = case.compared(&received, as_of).remove(0).by_heat;
    assert_eq!(by_heat, Err(WhyNotByHeat::NoneThisYear));
}

#[test]
fn a_block_without_an_earlier_season_is_given_those_of_its_farm() {
    let elsewhere = |id: &str, grower: &str, regime| Block {
        id: BlockId::new(id).unwrap(),
        grower: PersonId::new(grower).unwrap(),
        regime,
        ..sample::block()
    };
    let hung_in = |block: &str, year| Trap {
        id: TrapId::new(&format!("{block}-{year}")).unwrap(),
        block: BlockId::new(block).unwrap(),
        ..trap(year)
    };
    let case = Case {
        blocks: vec![
            sample::block(),
            elsewhere("C", "grower", Regime::Conventional),
            elsewhere("D", "grower", Regime::MatingDisruption),
            elsewhere("E", "neighbour", Regime::Conventional),
        ],
        ..this_year()
    };
    let case = ["C", "D", "E"].iter().fold(case, |case, block| {
        case.with(hung_in(block, 2020), 40)
            .with(hung_in(block, 2021), 80)
    });
    let compared = case.compared(&[], date(2021, 6, 1));
    assert!(compared[0].of_farm);
    // Only C is of the same grower, crop and regime: 80 and 40 moths in 80 nights.
    assert_eq!(rates(&compared[0].by_date), [(2021, 1.0), (2020, 0.5)]);
    let own = case.with(trap(2020), 240).compared(&[], date(2021, 6, 1));
    assert!(!own[0].of_farm);
    assert_eq!(rates(&own[0].by_date), [(2021, 2.0), (2020, 3.0)]);
}

#[test]
fn without_any_earlier_season_nothing_is_compared() {
    assert_eq!(this_year().compared(&[], date(2021, 6, 1)), []);
}
