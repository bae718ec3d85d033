//! Traps, where they hang, their parts, and the products that serve as those.

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::own_group;
use crate::id::{BlockId, GroupId, ProductId, TrapId};

/// What a trap catches.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum TrapKind {
    /// Eggs.
    Egg,
    /// Males, by pheromone.
    Pheromone,
    /// Both sexes, mostly males, by pheromone and phenyl propionate.
    PheromonePpo,
    /// Females, by a bag of bait.
    BaitBag,
}

/// A part of a trap that wears out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// The pheromone lure.
    Lure,
    /// The phenyl propionate dispenser.
    Ppo,
    /// The bait of an egg trap or a bait bag.
    Bait,
    /// The sticky liner.
    Liner,
}

impl Part {
    /// All parts, in the order people service them.
    pub const ALL: [Self; 4] = [Self::Lure, Self::Ppo, Self::Bait, Self::Liner];

    /// The word used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Lure => "lure",
            Self::Ppo => "ppo",
            Self::Bait => "bait",
            Self::Liner => "liner",
        }
    }

    /// Reads what [`Part::name`] writes.
    #[must_use]
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|part| part.name() == name)
    }
}

impl TrapKind {
    /// The parts a trap of this kind has.
    #[must_use]
    pub const fn parts(self) -> &'static [Part] {
        match self {
            Self::Egg => &[Part::Bait],
            Self::Pheromone => &[Part::Lure, Part::Liner],
            Self::PheromonePpo => &[Part::Lure, Part::Ppo, Part::Liner],
            Self::BaitBag => &[Part::Bait, Part::Liner],
        }
    }

    /// The words used in mails.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Egg => "egg",
            Self::Pheromone => "pheromone",
            Self::PheromonePpo => "pheromone + PPO",
            Self::BaitBag => "bait bag",
        }
    }
}

/// A stretch in which a trap was taken down, as for shaking.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pull {
    /// The day it was taken down.
    pub down: NaiveDate,
    /// The day it was hung again; `None` while it is down.
    pub back: Option<NaiveDate>,
}

impl Pull {
    /// Whether the trap is down all day: not on the day it was taken down, when it may be read first.
    #[must_use]
    pub fn holds_down(&self, day: NaiveDate) -> bool {
        self.down < day && self.back.is_none_or(|back| day < back)
    }
}

/// Where a trap hangs, each part in people's words and empty where it was not given.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The round on which it is read.
    pub route: String,
    /// The gate to enter by.
    pub gate: String,
    /// The tree row.
    pub row: String,
    /// The tree in the row.
    pub tree: String,
    /// Anything else.
    pub remark: String,
}

/// A trap at one place; moved, it is another trap.
#[derive(Debug, Clone, PartialEq)]
pub struct Trap {
    /// Its id.
    pub id: TrapId,
    /// Where it hangs.
    pub block: BlockId,
    /// What it catches.
    pub kind: TrapKind,
    /// The day it was hung.
    pub hung: NaiveDate,
    /// The day it was taken away or lost.
    pub removed: Option<NaiveDate>,
    /// The egg-trap group it belongs to.
    pub group: GroupId,
    /// The times it was taken down for shaking, oldest first.
    pub pulls: Vec<Pull>,
    /// Where it hangs.
    pub place: Place,
    /// The product in each part.
    pub products: BTreeMap<Part, ProductId>,
}

impl Trap {
    /// A trap of its block's own egg-trap group, without products or a place.
    #[must_use]
    pub fn new(id: TrapId, block: BlockId, kind: TrapKind, hung: NaiveDate) -> Self {
        Self {
            id,
            kind,
            hung,
            removed: None,
            pulls: Vec::new(),
            group: own_group(&block),
            block,
            place: Place::default(),
            products: BTreeMap::new(),
        }
    }

    /// Whether it hangs on a day: from the day after hanging, since a reading needs a night.
    #[must_use]
    pub fn hangs_on(&self, day: NaiveDate) -> bool {
        let down = |pull: &Pull| pull.down < day && pull.back.is_none_or(|back| day <= back);
        self.hung < day
            && self.removed.is_none_or(|removed| day <= removed)
            && !self.pulls.iter().any(down)
    }

    /// Whether it still needs looking after on a day.
    #[must_use]
    pub fn in_use_on(&self, day: NaiveDate) -> bool {
        self.hung <= day
            && self.removed.is_none_or(|removed| day < removed)
            && !self.is_down_on(day)
    }

    /// Whether it has been taken down for shaking and not hung again by the end of a day.
    #[must_use]
    pub fn is_down_on(&self, day: NaiveDate) -> bool {
        self.down_since(day).is_some()
    }

    /// The day it was taken down, where it has not been hung again by the end of a day.
    #[must_use]
    pub fn down_since(&self, day: NaiveDate) -> Option<NaiveDate> {
        let down = |pull: &&Pull| pull.down <= day && pull.back.is_none_or(|back| day < back);
        self.pulls.iter().find(down).map(|pull| pull.down)
    }

    /// The day it was last hung again after it had been taken down, up to a day.
    #[must_use]
    pub fn hung_again(&self, up_to: NaiveDate) -> Option<NaiveDate> {
        let back = self.pulls.iter().filter_map(|pull| pull.back);
        back.filter(|back| *back <= up_to).max()
    }

    /// The nights after `from` and up to `to` that it spent hanging, not taken down between.
    #[must_use]
    pub fn nights(&self, from: NaiveDate, to: NaiveDate) -> u32 {
        let span = |from: NaiveDate, to: NaiveDate| (to - from).num_days().max(0);
        let (from, last) = (
            from.max(self.hung),
            self.removed.map_or(to, |day| to.min(day)),
        );
        let down: i64 = self
            .pulls
            .iter()
            .map(|pull| span(pull.down.max(from), pull.back.unwrap_or(last).min(last)))
            .sum();
        u32::try_from(span(from, last) - down).unwrap_or(0)
    }
}

/// Something that wears out, with the life its maker or a source declares.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Product {
    /// Its id.
    pub id: ProductId,
    /// The part it serves as.
    pub part: Part,
    /// Service life in days.
    pub life_days: u16,
    /// Where that number comes from.
    pub source: String,
    /// The sticky area in cm² of a liner, where it is declared.
    pub area_cm2: Option<u16>,
}

impl fmt::Display for Place {
    /// The way from the gate to the tree, by commas.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let named = [
            ("gate", &self.gate),
            ("row", &self.row),
            ("tree", &self.tree),
        ];
        let named = named.into_iter().filter(|(_, text)| !text.is_empty());
        let mut parts: Vec<String> = named.map(|(name, text)| format!("{name} {text}")).collect();
        parts.extend((!self.remark.is_empty()).then(|| self.remark.clone()));
        f.write_str(&parts.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 8, day).unwrap()
    }

    /// Hung on 1 August, down for shaking from the 10th to the 20th.
    fn pulled() -> Trap {
        let (id, block) = (TrapId::new("P1").unwrap(), BlockId::new("B").unwrap());
        Trap {
            pulls: vec![Pull {
                down: day(10),
                back: Some(day(20)),
            }],
            ..Trap::new(id, block, TrapKind::Pheromone, day(1))
        }
    }

    #[test]
    fn a_trap_taken_down_hangs_no_nights_until_it_is_back() {
        let trap = pulled();
        let hangs = [1, 2, 10, 11, 20, 21].map(|d| trap.hangs_on(day(d)));
        assert_eq!(hangs, [false, true, true, false, false, true]);
        let in_use = [1, 9, 10, 19, 20].map(|d| trap.in_use_on(day(d)));
        assert_eq!(in_use, [true, true, false, false, true]);
        // By hand: 8 to 10, none to 20, then 20 to 24.
        assert_eq!(trap.nights(day(8), day(10)), 2);
        assert_eq!(trap.nights(day(12), day(18)), 0);
        assert_eq!(trap.nights(day(8), day(24)), 6);
    }

    #[test]
    fn a_place_is_written_from_the_gate_to_the_tree() {
        let place = Place {
            gate: "2".into(),
            row: "18".into(),
            remark: "north side".into(),
            ..Place::default()
        };
        assert_eq!(place.to_string(), "gate 2, row 18, north side");
    }
}
