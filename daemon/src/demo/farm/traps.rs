//! The traps of the farm: where they hang, what is in them, and on which days they are read.

use chrono::{Datelike, NaiveDate};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::crop::Crop;
use super::days::{MonthDay, day_of};
use super::nature::{FIRST_PLACE, Population, Warmth, dice};
use super::places::{Block, TrapNumbers};
use super::rounds::Calendar;
use super::supplies::{BAG_BAIT, EGG_BAIT, LINER, LONG_LURE, LURE, PPO, Product};
use crate::sheet::csv_text;
use duskflight_core::orchard::Part;

/// The kinds of trap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum TrapKind {
    Egg,
    Pheromone,
    PheromonePpo,
    BaitBag,
}

const KINDS: [TrapKind; 4] = [
    TrapKind::Egg,
    TrapKind::Pheromone,
    TrapKind::PheromonePpo,
    TrapKind::BaitBag,
];

impl TrapKind {
    const fn of(self, numbers: &TrapNumbers) -> u32 {
        match self {
            Self::Egg => numbers.egg,
            Self::Pheromone => numbers.pheromone,
            Self::PheromonePpo => numbers.pheromone_ppo,
            Self::BaitBag => numbers.bait_bag,
        }
    }

    const fn code(self) -> &'static str {
        match self {
            Self::Egg => "egg",
            Self::Pheromone => "pheromone",
            Self::PheromonePpo => "pheromone-ppo",
            Self::BaitBag => "bait-bag",
        }
    }

    const fn letter(self) -> char {
        match self {
            Self::Egg => 'E',
            Self::Pheromone => 'P',
            Self::PheromonePpo => 'C',
            Self::BaitBag => 'B',
        }
    }
}

/// One trap and the days on which it is read.
#[derive(Debug, Clone)]
pub(super) struct Trap {
    pub(super) id: String,
    pub(super) block: &'static Block,
    pub(super) kind: TrapKind,
    pub(super) hung: NaiveDate,
    /// In order; the last is the day on which it is taken down or found gone.
    pub(super) reading_days: Vec<NaiveDate>,
    /// What hangs in its place after it was found gone.
    pub(super) replaced_by: Option<String>,
    /// Days on which its bait is found wet from sprinklers.
    pub(super) sprinkled: Vec<NaiveDate>,
    /// The stretch in which it is down for shaking.
    pull: (NaiveDate, NaiveDate),
    row: u32,
    tree: u32,
}

impl Trap {
    /// The products in it.
    pub(super) fn products(&self) -> Vec<Product> {
        let lure = if self.block.route() == "river" {
            LONG_LURE
        } else {
            LURE
        };
        match self.kind {
            TrapKind::Egg => vec![EGG_BAIT],
            TrapKind::Pheromone => vec![lure, LINER],
            TrapKind::PheromonePpo => vec![lure, PPO, LINER],
            TrapKind::BaitBag => vec![BAG_BAIT, LINER],
        }
    }

    /// Whether it hangs in the night after a day.
    pub(super) fn hangs_at_night(&self, day: NaiveDate) -> bool {
        !(self.pull.0..self.pull.1).contains(&day)
    }

    /// The stretch in which it is down, if that is while it is in use at all.
    fn pulled(&self) -> Option<(NaiveDate, NaiveDate)> {
        let (down, back) = self.pull;
        (self.hung < down && back < self.removed()).then_some((down, back))
    }

    fn removed(&self) -> NaiveDate {
        self.reading_days.last().copied().unwrap_or(self.hung)
    }

    fn product_id(&self, part: Part) -> String {
        let of_part = self
            .products()
            .into_iter()
            .find(|product| product.kind == part);
        of_part.map_or_else(String::new, |product| product.id.to_owned())
    }
}

/// Traps found gone at the first reading from a day on, and the number of what replaces them.
const LOST: [(&str, MonthDay, u32); 3] = [
    ("N2-E2", (5, 24), 6),
    ("R1-P1", (6, 21), 3),
    ("R2-C3", (8, 16), 4),
];
/// The egg traps in the sprinklers, and how many checks they are wet once egg laying has begun.
const SPRINKLED_TRAPS: [&str; 2] = ["H2-E2", "H2-E3"];
const SPRINKLED_CHECKS: usize = 3;

/// All traps of a block, lost ones with their replacements.
pub(super) fn hang(
    crop: &Crop,
    calendar: &Calendar,
    population: &Population,
    warmth: &Warmth,
) -> Vec<Trap> {
    let block = crop.block;
    // Traps hang in the same places every year.
    let mut rng = dice(0, FIRST_PLACE + block.index());
    let laying = warmth.day_after(population.first_laying());
    let mut traps = Vec::new();
    for kind in KINDS {
        for number in 1..=kind.of(&block.traps) {
            let mut trap = new_trap(crop, calendar, kind, number, &mut rng);
            if SPRINKLED_TRAPS.contains(&trap.id.as_str()) {
                let days = trap.reading_days.iter().filter(|&&day| day > laying);
                trap.sprinkled = days.take(SPRINKLED_CHECKS).copied().collect();
            }
            traps.extend(with_replacement(trap));
        }
    }
    traps
}

fn new_trap(
    crop: &Crop,
    calendar: &Calendar,
    kind: TrapKind,
    number: u32,
    rng: &mut ChaCha8Rng,
) -> Trap {
    let (block, pull) = (crop.block, crop.pull());
    let first_ones = matches!(kind, TrapKind::Egg) || !block.disrupted;
    let hung = match kind {
        TrapKind::BaitBag => calendar.second_hanging(),
        _ if first_ones => calendar.hanging,
        _ => calendar.second_hanging(),
    };
    let mut reading_days = match kind {
        TrapKind::Egg => calendar.egg_checks(number + 1 >= block.traps.egg),
        _ => calendar.weekly_after(hung),
    };
    reading_days.retain(|day| *day <= pull.0 || *day > pull.1);
    Trap {
        id: trap_id(block, kind, number),
        block,
        kind,
        hung,
        reading_days,
        replaced_by: None,
        sprinkled: Vec::new(),
        pull,
        row: rng.random_range(6..=60),
        tree: rng.random_range(6..=40),
    }
}

fn trap_id(block: &Block, kind: TrapKind, number: u32) -> String {
    format!("{}-{}{number}", block.id, kind.letter())
}

/// A lost trap ends on the day it is found gone; another is hung in its place that day.
fn with_replacement(mut trap: Trap) -> Vec<Trap> {
    let lost = LOST.iter().find(|(id, ..)| *id == trap.id);
    let Some(&(_, month_day, number)) = lost else {
        return vec![trap];
    };
    let from = day_of(trap.hung.year(), month_day);
    let kept = trap.reading_days.partition_point(|&day| day < from) + 1;
    let rest = trap
        .reading_days
        .split_off(kept.min(trap.reading_days.len()));
    let replacement = Trap {
        id: trap_id(trap.block, trap.kind, number),
        hung: trap.removed(),
        reading_days: rest,
        ..trap.clone()
    };
    trap.replaced_by = Some(replacement.id.clone());
    vec![trap, replacement]
}

pub(super) fn csv(traps: &[Trap]) -> String {
    const HEADER: [&str; 16] = [
        "id", "block", "kind", "hung", "pulled", "back", "removed", "group", "route", "gate",
        "row", "tree", "lure", "ppo", "bait", "liner",
    ];
    csv_text(HEADER, traps.iter().map(row))
}

fn row(trap: &Trap) -> [String; 16] {
    let day = |day: Option<NaiveDate>| day.map_or_else(String::new, |day| day.to_string());
    let pulled = trap.pulled();
    [
        trap.id.clone(),
        trap.block.id.to_owned(),
        trap.kind.code().to_owned(),
        trap.hung.to_string(),
        day(pulled.map(|(down, _)| down)),
        day(pulled.map(|(_, back)| back)),
        trap.removed().to_string(),
        String::new(),
        trap.block.route().to_owned(),
        trap.block.id.to_owned(),
        trap.row.to_string(),
        trap.tree.to_string(),
        trap.product_id(Part::Lure),
        trap.product_id(Part::Ppo),
        trap.product_id(Part::Bait),
        trap.product_id(Part::Liner),
    ]
}
