//! What a farm declares: blocks, traps, products. Checked by the daemon before it gets here.

use std::collections::BTreeMap;
use std::fmt;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::{BlockId, GroupId, PersonId, ProductId, StationId, TrapId};

/// A nut crop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Crop {
    /// Almond.
    Almond,
    /// Pistachio.
    Pistachio,
    /// Walnut.
    Walnut,
}

/// How a block is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Regime {
    /// No mating disruption.
    Conventional,
    /// Dispensers hide the females from the males: pheromone traps should stay empty.
    MatingDisruption,
}

/// A piece of orchard treated as a unit, as in force on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Its id.
    pub id: BlockId,
    /// What people call it.
    pub name: String,
    /// Who owns or runs it.
    pub grower: PersonId,
    /// Who watches it.
    pub adviser: PersonId,
    /// The crop.
    pub crop: Crop,
    /// Its size in acres, when declared.
    pub acres: Option<f64>,
    /// The regime.
    pub regime: Regime,
    /// The station its temperatures come from.
    pub station: StationId,
    /// Varieties, the early one first.
    pub varieties: Vec<String>,
    /// The egg-trap group whose start it uses: its own, which has the block's id, or a borrowed one.
    pub start_group: GroupId,
    /// The rule for its start; the insect's own when `None`.
    pub start_rule: Option<StartRule>,
}

impl Block {
    /// The id of the block's own egg-trap group.
    #[must_use]
    pub fn own_group(&self) -> GroupId {
        own_group(&self.id)
    }

    /// Whether the start is taken over from another group.
    #[must_use]
    pub fn borrows_start(&self) -> bool {
        self.start_group.as_str() != self.id.as_str()
    }
}

/// The egg-trap group that a block has when nothing else is declared.
#[must_use]
pub fn own_group(block: &BlockId) -> GroupId {
    GroupId::new(block.as_str()).expect("a block id obeys the same rule as a group id")
}

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

    /// The word used in sentences.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ppo => "PPO",
            other => other.name(),
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

/// A rule for the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StartRule {
    /// At least 75 % of the readable traps show a rise, on two check dates running.
    ShareRising,
    /// Eggs in at least two traps on two check dates running, after two clean checks.
    EggsTwice,
}

impl StartRule {
    /// Both rules, the published one first.
    pub const ALL: [Self; 2] = [Self::ShareRising, Self::EggsTwice];

    /// The name used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ShareRising => "share-rising",
            Self::EggsTwice => "eggs-twice",
        }
    }

    /// The name used in mails.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::ShareRising => "share rising",
            Self::EggsTwice => "eggs twice",
        }
    }
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
    /// Where in the block, in people's words.
    pub place: String,
    /// The product in each part.
    pub products: BTreeMap<Part, ProductId>,
}

impl Trap {
    /// Whether it hangs on a day: from the day after hanging, since a reading needs a night.
    #[must_use]
    pub fn hangs_on(&self, day: NaiveDate) -> bool {
        self.hung < day && self.removed.is_none_or(|removed| day <= removed)
    }

    /// Whether it still needs looking after on a day.
    #[must_use]
    pub fn in_use_on(&self, day: NaiveDate) -> bool {
        self.hung <= day && self.removed.is_none_or(|removed| day < removed)
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
}

/// Everything declared that is in force on one day, with the look-ups that a season needs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Orchard {
    blocks: Vec<Block>,
    traps: Vec<Trap>,
    products: BTreeMap<ProductId, Product>,
    block_places: BTreeMap<BlockId, usize>,
    traps_by_block: BTreeMap<BlockId, Vec<usize>>,
    egg_traps_by_group: BTreeMap<GroupId, Vec<usize>>,
}

impl Orchard {
    /// Blocks in force that day, traps ever hung, products; all in the order of the files.
    #[must_use]
    pub fn new(blocks: Vec<Block>, traps: Vec<Trap>, products: Vec<Product>) -> Self {
        let mut traps_by_block: BTreeMap<BlockId, Vec<usize>> = BTreeMap::new();
        let mut egg_traps_by_group: BTreeMap<GroupId, Vec<usize>> = BTreeMap::new();
        for (place, trap) in traps.iter().enumerate() {
            traps_by_block
                .entry(trap.block.clone())
                .or_default()
                .push(place);
            if trap.kind == TrapKind::Egg {
                egg_traps_by_group
                    .entry(trap.group.clone())
                    .or_default()
                    .push(place);
            }
        }
        Self {
            block_places: (blocks.iter().map(|block| block.id.clone()).zip(0..)).collect(),
            products: products.into_iter().map(|p| (p.id.clone(), p)).collect(),
            blocks,
            traps,
            traps_by_block,
            egg_traps_by_group,
        }
    }

    /// All blocks.
    #[must_use]
    pub fn blocks(&self) -> &[Block] {
        &self.blocks
    }

    /// All traps ever hung.
    #[must_use]
    pub fn traps(&self) -> &[Trap] {
        &self.traps
    }

    /// One block.
    #[must_use]
    pub fn block(&self, id: &BlockId) -> Option<&Block> {
        self.block_places.get(id).map(|&place| &self.blocks[place])
    }

    /// The block that a group is named after, where there is one.
    #[must_use]
    pub fn block_of_group(&self, group: &GroupId) -> Option<&Block> {
        self.block(&BlockId::new(group.as_str()).ok()?)
    }

    /// One product.
    #[must_use]
    pub fn product(&self, id: &ProductId) -> Option<&Product> {
        self.products.get(id)
    }

    /// The traps that ever hung in a block.
    pub fn traps_of(&self, block: &BlockId) -> impl Iterator<Item = &Trap> {
        self.at(self.traps_by_block.get(block))
    }

    /// The egg traps that ever belonged to a group.
    pub fn egg_traps(&self, group: &GroupId) -> impl Iterator<Item = &Trap> {
        self.at(self.egg_traps_by_group.get(group))
    }

    fn at<'a>(&'a self, places: Option<&'a Vec<usize>>) -> impl Iterator<Item = &'a Trap> {
        places
            .into_iter()
            .flatten()
            .map(|&place| &self.traps[place])
    }
}

impl fmt::Display for Crop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Almond => "almond",
            Self::Pistachio => "pistachio",
            Self::Walnut => "walnut",
        })
    }
}

impl fmt::Display for Regime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Conventional => "conventional",
            Self::MatingDisruption => "mating disruption",
        })
    }
}
