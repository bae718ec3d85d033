//! What a farm declares: blocks, traps, products. Checked by the daemon before it gets here.

mod block;
mod district;
mod trap;

pub use block::{Block, Crop, Dispensers, Near, Regime, StartRule, own_group};
pub use district::District;
pub use trap::{Part, Place, Product, Pull, Trap, TrapKind};

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};

use crate::id::{BlockId, GroupId, PersonId, ProductId, StationId};

/// Everything declared that is in force on one day, with the look-ups that a season needs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Orchard {
    blocks: Vec<Block>,
    traps: Vec<Trap>,
    products: BTreeMap<ProductId, Product>,
    district: District,
    /// Each block as declared from a day on, oldest first.
    declared: BTreeMap<BlockId, Vec<(NaiveDate, Block)>>,
    block_places: BTreeMap<BlockId, usize>,
    blocks_by_grower: BTreeMap<PersonId, Vec<usize>>,
    blocks_by_station: BTreeMap<StationId, Vec<usize>>,
    traps_by_block: BTreeMap<BlockId, Vec<usize>>,
    egg_traps_by_group: BTreeMap<GroupId, Vec<usize>>,
    /// Of each block the day on which its first trap was hung.
    first_hung: Vec<Option<NaiveDate>>,
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
        let mut blocks_by_grower: BTreeMap<PersonId, Vec<usize>> = BTreeMap::new();
        let mut blocks_by_station: BTreeMap<StationId, Vec<usize>> = BTreeMap::new();
        for (place, block) in blocks.iter().enumerate() {
            let of_grower = blocks_by_grower.entry(block.grower.clone());
            of_grower.or_default().push(place);
            let of_station = blocks_by_station.entry(block.station.clone());
            of_station.or_default().push(place);
        }
        let first_hung = blocks.iter().map(|block| {
            let of_block = traps_by_block.get(&block.id).into_iter().flatten();
            of_block.map(|&place| traps[place].hung).min()
        });
        Self {
            declared: BTreeMap::new(),
            district: District::default(),
            first_hung: first_hung.collect(),
            blocks_by_grower,
            blocks_by_station,
            block_places: (blocks.iter().map(|block| block.id.clone()).zip(0..)).collect(),
            products: products.into_iter().map(|p| (p.id.clone(), p)).collect(),
            blocks,
            traps,
            traps_by_block,
            egg_traps_by_group,
        }
    }

    /// The same, knowing also how each block was declared before: from which day on, and how.
    #[must_use]
    pub fn with_declared(mut self, rows: impl IntoIterator<Item = (NaiveDate, Block)>) -> Self {
        for (from, block) in rows {
            let of_block = self.declared.entry(block.id.clone()).or_default();
            of_block.push((from, block));
        }
        for of_block in self.declared.values_mut() {
            of_block.sort_by_key(|(from, _)| *from);
        }
        self
    }

    /// The same in a district.
    #[must_use]
    pub fn in_district(self, district: District) -> Self {
        Self { district, ..self }
    }

    /// The district it lies in.
    #[must_use]
    pub const fn district(&self) -> District {
        self.district
    }

    /// A block as it was in force on an earlier day: `None` where it was declared only later. Where
    /// nothing is known of earlier days it is taken to have been the same.
    #[must_use]
    pub fn block_on(&self, id: &BlockId, day: NaiveDate) -> Option<&Block> {
        match self.declared.get(id) {
            Some(rows) => {
                let row = rows.iter().rfind(|(from, _)| *from <= day);
                row.map(|(_, block)| block)
            }
            None => self.block(id),
        }
    }

    /// The blocks of one grower.
    pub fn blocks_of(&self, grower: &PersonId) -> impl Iterator<Item = &Block> {
        let places = self.blocks_by_grower.get(grower).into_iter().flatten();
        places.map(|&place| &self.blocks[place])
    }

    /// The blocks of one grower in which a trap was hung before a year.
    pub fn trapped_before(&self, grower: &PersonId, year: i32) -> impl Iterator<Item = &Block> {
        let places = self.blocks_by_grower.get(grower).into_iter().flatten();
        let is_trapped =
            move |place: &&usize| self.first_hung[**place].is_some_and(|day| day.year() < year);
        places.filter(is_trapped).map(|&place| &self.blocks[place])
    }

    /// The blocks whose temperatures come from one station.
    pub fn blocks_at(&self, station: &StationId) -> impl Iterator<Item = &Block> {
        self.placed_at(station).map(|(_, block)| block)
    }

    /// The same, each with its place among all blocks.
    pub fn placed_at(&self, station: &StationId) -> impl Iterator<Item = (usize, &Block)> {
        let places = self.blocks_by_station.get(station).into_iter().flatten();
        places.map(|&place| (place, &self.blocks[place]))
    }

    /// The conventional blocks that a disrupted one can be set beside, of the same adviser and crop: of
    /// the same station before others, and of the same grower before others. There are no coordinates,
    /// so none is the nearest.
    pub fn conventional_beside<'a>(&'a self, block: &'a Block) -> impl Iterator<Item = &'a Block> {
        let here = move |other: &&Block| other.station == block.station;
        let own = move |other: &&Block| other.grower == block.grower;
        let own_here = self.blocks_of(&block.grower).filter(here);
        let others_here = self
            .blocks_at(&block.station)
            .filter(move |other| !own(other));
        let own_elsewhere = self
            .blocks_of(&block.grower)
            .filter(move |other| !here(other));
        let all = own_here.chain(others_here).chain(own_elsewhere);
        all.filter(move |other| {
            other.regime == Regime::Conventional
                && other.crop == block.crop
                && other.adviser == block.adviser
        })
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
        let place = self.block_places.get(group.as_str())?;
        Some(&self.blocks[*place])
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

#[cfg(test)]
mod tests {
    use super::*;

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 8, day).unwrap()
    }

    #[test]
    fn a_block_is_known_as_it_was_declared_for_an_earlier_day() {
        let disrupted = || Block {
            regime: Regime::MatingDisruption,
            ..crate::sample::block()
        };
        let now = crate::sample::block();
        let id = now.id.clone();
        let orchard = Orchard::new(vec![now.clone()], Vec::new(), Vec::new());
        let regime = |orchard: &Orchard, d| orchard.block_on(&id, day(d)).map(|block| block.regime);
        assert_eq!(regime(&orchard, 1), Some(Regime::Conventional));
        let orchard = orchard.with_declared([(day(20), now), (day(10), disrupted())]);
        assert_eq!(regime(&orchard, 9), None);
        assert_eq!(regime(&orchard, 19), Some(Regime::MatingDisruption));
        assert_eq!(regime(&orchard, 20), Some(Regime::Conventional));
    }
}
