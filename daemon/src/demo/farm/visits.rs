//! What was read and serviced at each trap.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::days::{MonthDay, day_of};
use super::nature::{FIRST_TRAP, Population, Warmth, count, dice, lognormal};
use super::places::{Block, LATE_SHEET_BLOCK};
use super::supplies::Product;
use super::traps::{Trap, TrapKind};
use crate::sheet::csv_text;
use duskflight_core::orchard::Part;

/// One reading of one trap.
#[derive(Debug, Clone)]
pub(super) struct Visit {
    pub(super) date: NaiveDate,
    pub(super) block: &'static Block,
    pub(super) trap: String,
    pub(super) catch: Catch,
    serviced: Vec<Part>,
    note: String,
}

impl Visit {
    /// Whether its trap is an egg trap, also when it could not be read.
    pub(super) fn of_egg_trap(&self) -> bool {
        self.trap[self.block.id.len()..].starts_with("-E")
    }
}

/// What a reading gave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Catch {
    Eggs(u32),
    /// Both sexes, not told apart.
    Moths(u32),
    Males(u32),
    Females(u32),
    /// Both sexes, told apart.
    Sexed {
        males: u32,
        females: u32,
    },
    Unreadable,
}

/// Service that was forgotten: trap, part, and the days from and to which it was.
const FORGOTTEN: [(&str, Part, MonthDay, MonthDay); 3] = [
    ("N1-P2", Part::Lure, (5, 20), (7, 6)),
    ("C3-P1", Part::Lure, (7, 10), (8, 25)),
    ("C2-C1", Part::Ppo, (6, 10), (7, 28)),
];
/// A liner is changed when so many moths stick to it (Kuenen 2008: it loses efficiency at 50-60).
const FULL_LINER: u32 = 50;
/// The block where moths of combined traps are sexed.
const SEXED_BLOCK: &str = "N3";
/// A combined trap catches more males than females.
const FEMALE_SHARE: f64 = 0.3;
const WET_SHARE: f64 = 0.01;
const KNOCKED_DOWN_SHARE: f64 = 0.004;
/// The first readings always come off, and in the block of the late sheet all of spring, so that
/// only the sheet decides its start.
const TROUBLE_FROM: MonthDay = (3, 25);
const TROUBLE_FROM_LATE_SHEET_BLOCK: MonthDay = (6, 1);
/// Moths spread more evenly over the traps than eggs; bait bags lie in between.
const MOTH_EVENNESS: f64 = 3.0;
const BAIT_BAG_EVENNESS: f64 = 1.0;

/// All readings, by day and trap.
pub(super) fn read_all(
    traps: &[Trap],
    populations: &[Population],
    warmth: &Warmth,
    year: i32,
) -> Vec<Visit> {
    let mut visits = Vec::new();
    for (number, trap) in (0..).zip(traps) {
        let population = populations.iter().find(|p| p.lives_in(trap.block));
        let population = population.expect("every block has its moths");
        let mut rng = dice(year, FIRST_TRAP + number);
        visits.extend(read_season(trap, population, warmth, &mut rng));
    }
    visits.sort_by(|a, b| (a.date, &a.trap).cmp(&(b.date, &b.trap)));
    visits
}

fn read_season(
    trap: &Trap,
    population: &Population,
    warmth: &Warmth,
    rng: &mut ChaCha8Rng,
) -> Vec<Visit> {
    let attraction = lognormal(rng, 1.0, 0.25);
    let mut inside = Inside::fresh(trap);
    let mut last = trap.hung;
    let mut visits = Vec::new();
    for (index, &date) in trap.reading_days.iter().enumerate() {
        let nights: Vec<Night> = last
            .iter_days()
            .take_while(|&night| night < date)
            .filter(|&night| trap.hangs_at_night(night))
            .map(|night| (night, warmth.by(night)))
            .collect();
        let share = attraction * inside.strength(date);
        let caught = draw(trap, population, &nights, share, rng);
        let trouble = trouble(trap, date, rng);
        let catch = if trouble.is_some() {
            Catch::Unreadable
        } else {
            caught
        };
        inside.add(catch);
        let next = trap.reading_days.get(index + 1).copied();
        visits.push(Visit {
            date,
            block: trap.block,
            trap: trap.id.clone(),
            catch,
            serviced: inside.service(trap, date, next, trouble),
            note: trouble.map_or_else(String::new, |trouble| trouble.note(trap)),
        });
        last = date;
    }
    visits
}

/// A night by its evening's date, with the heat gathered by then.
type Night = (NaiveDate, f64);

/// Draws the catch of the nights since the last reading.
fn draw(
    trap: &Trap,
    population: &Population,
    nights: &[Night],
    share: f64,
    rng: &mut ChaCha8Rng,
) -> Catch {
    let mean = share
        * nights
            .iter()
            .map(|&night| a_night(trap, population, night))
            .sum::<f64>();
    let level = nights.last().map_or(0.0, |&(_, level)| level);
    match trap.kind {
        TrapKind::Egg => Catch::Eggs(count(rng, mean, population.egg_evenness(level))),
        TrapKind::Pheromone => Catch::Males(count(rng, mean, MOTH_EVENNESS)),
        TrapKind::BaitBag => Catch::Females(count(rng, mean, BAIT_BAG_EVENNESS)),
        TrapKind::PheromonePpo => {
            let moths = count(rng, mean, MOTH_EVENNESS);
            match trap.block.id {
                SEXED_BLOCK => sexed(moths, rng),
                _ => Catch::Moths(moths),
            }
        }
    }
}

/// The mean catch of one night in a fresh trap of average place.
fn a_night(trap: &Trap, population: &Population, (night, level): Night) -> f64 {
    match trap.kind {
        TrapKind::Egg => population.eggs_a_night(level),
        TrapKind::Pheromone => population.males_on(night, level),
        TrapKind::PheromonePpo => population.both_sexes_a_night(level),
        TrapKind::BaitBag => population.females_on(night, level),
    }
}

fn sexed(moths: u32, rng: &mut ChaCha8Rng) -> Catch {
    let females = (0..moths)
        .map(|_| u32::from(rng.random_bool(FEMALE_SHARE)))
        .sum();
    Catch::Sexed {
        males: moths - females,
        females,
    }
}

/// Why a reading gave nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Trouble {
    Gone,
    Wet,
    KnockedDown,
}

impl Trouble {
    fn note(self, trap: &Trap) -> String {
        match (self, &trap.replaced_by) {
            (Self::Gone, Some(other)) => format!("trap gone, {other} hung in its place"),
            (Self::Gone, None) => "trap gone".to_owned(),
            (Self::Wet, _) => "bait wet".to_owned(),
            (Self::KnockedDown, _) => "on the ground, hung again".to_owned(),
        }
    }
}

fn trouble(trap: &Trap, date: NaiveDate, rng: &mut ChaCha8Rng) -> Option<Trouble> {
    let chance = rng.random::<f64>();
    let baited = matches!(trap.kind, TrapKind::Egg | TrapKind::BaitBag);
    let trouble_from = match trap.block.id {
        LATE_SHEET_BLOCK => TROUBLE_FROM_LATE_SHEET_BLOCK,
        _ => TROUBLE_FROM,
    };
    let last_day = trap.reading_days.last() == Some(&date);
    if last_day && trap.replaced_by.is_some() {
        Some(Trouble::Gone)
    } else if trap.sprinkled.contains(&date) {
        Some(Trouble::Wet)
    } else if date < day_of(date.year(), trouble_from) {
        None
    } else if chance < KNOCKED_DOWN_SHARE && !last_day {
        Some(Trouble::KnockedDown)
    } else if baited && chance < KNOCKED_DOWN_SHARE + WET_SHARE {
        Some(Trouble::Wet)
    } else {
        None
    }
}

/// What is inside a trap and how long it has been there.
struct Inside {
    parts: BTreeMap<Part, (Product, NaiveDate)>,
    on_liner: u32,
}

impl Inside {
    fn fresh(trap: &Trap) -> Self {
        let part = |product: Product| (product.kind, (product, trap.hung));
        Self {
            parts: trap.products().into_iter().map(part).collect(),
            on_liner: 0,
        }
    }

    fn add(&mut self, catch: Catch) {
        self.on_liner += match catch {
            Catch::Eggs(_) | Catch::Unreadable => 0,
            Catch::Moths(moths) | Catch::Males(moths) | Catch::Females(moths) => moths,
            Catch::Sexed { males, females } => males + females,
        };
    }

    /// How well it still draws: 1 within the service lives, half for every two weeks beyond one.
    fn strength(&self, date: NaiveDate) -> f64 {
        let drawing = self
            .parts
            .values()
            .filter(|(product, _)| product.kind != Part::Liner);
        drawing
            .map(|(product, since)| {
                let overdue = (date - *since).num_days() - i64::from(product.life_days);
                0.5_f64.powf(overdue.max(0) as f64 / 14.0)
            })
            .product()
    }

    /// Renews what would not last until the next reading, wet bait and a full liner, unless it is
    /// forgotten; says what was renewed. Nothing is renewed as a trap is taken down.
    fn service(
        &mut self,
        trap: &Trap,
        date: NaiveDate,
        next: Option<NaiveDate>,
        trouble: Option<Trouble>,
    ) -> Vec<Part> {
        let Some(next) = next else {
            return Vec::new();
        };
        let full = self.on_liner >= FULL_LINER;
        let mut renewed = Vec::new();
        for (&part, (product, since)) in &mut self.parts {
            let worn = (next - *since).num_days() > i64::from(product.life_days);
            let spoilt = match part {
                Part::Bait => trouble == Some(Trouble::Wet),
                Part::Liner => full,
                Part::Lure | Part::Ppo => false,
            };
            if (worn || spoilt) && !forgotten(trap, part, date) {
                *since = date;
                renewed.push(part);
            }
        }
        if renewed.contains(&Part::Liner) {
            self.on_liner = 0;
        }
        renewed
    }
}

fn forgotten(trap: &Trap, part: Part, date: NaiveDate) -> bool {
    let day = |month_day| day_of(date.year(), month_day);
    FORGOTTEN.iter().any(|&(id, of, from, to)| {
        id == trap.id && of == part && (day(from)..day(to)).contains(&date)
    })
}

pub(super) fn csv<'a>(visits: impl IntoIterator<Item = &'a Visit>) -> String {
    const HEADER: [&str; 9] = [
        "date", "trap", "eggs", "moths", "males", "females", "readable", "serviced", "note",
    ];
    csv_text(HEADER, visits.into_iter().map(row))
}

fn row(visit: &Visit) -> [String; 9] {
    let [eggs, moths, males, females] = match visit.catch {
        Catch::Eggs(eggs) => [Some(eggs), None, None, None],
        Catch::Moths(moths) => [None, Some(moths), None, None],
        Catch::Males(males) => [None, None, Some(males), None],
        Catch::Females(females) => [None, None, None, Some(females)],
        Catch::Sexed { males, females } => [None, None, Some(males), Some(females)],
        Catch::Unreadable => [None; 4],
    }
    .map(|count| count.map_or_else(String::new, |count| count.to_string()));
    let readable = if visit.catch == Catch::Unreadable {
        "no"
    } else {
        ""
    };
    let serviced: Vec<&str> = visit.serviced.iter().map(|part| part.name()).collect();
    [
        visit.date.to_string(),
        visit.trap.clone(),
        eggs,
        moths,
        males,
        females,
        readable.to_owned(),
        serviced.join(" "),
        visit.note.clone(),
    ]
}
