//! The crop of each block in one year: when its nuts split and when they are shaken.

use chrono::{Days, NaiveDate, TimeDelta};
use rand::RngExt;
use rand_chacha::ChaCha8Rng;

use super::days::day_of;
use super::nature::{HULL_SPLIT, dice, normal};
use super::places::{BLOCKS, Block};

/// Days from first hull split to the shake, mean and spread: four to six weeks, from memory.
const SPLIT_TO_SHAKE_DAYS: (f64, f64) = (38.0, 3.0);
/// Traps are down from the day before the early variety is shaken until so much later.
const DOWN_DAYS: u64 = 8;

/// One block's crop.
pub(super) struct Crop {
    pub(super) block: &'static Block,
    /// First hull split of the early variety as expected, and the day on which that was written.
    pub(super) expected: NaiveDate,
    pub(super) expected_on: NaiveDate,
    /// Its varieties in their order.
    pub(super) varieties: Vec<Variety>,
}

/// One variety's crop.
pub(super) struct Variety {
    pub(super) name: &'static str,
    pub(super) split: NaiveDate,
    pub(super) seen_late: bool,
    pub(super) shaken: NaiveDate,
    /// The shake date as expected weeks before.
    pub(super) likely: NaiveDate,
}

impl Crop {
    /// One crop per block, in their order.
    pub(super) fn draw_all(year: i32) -> Vec<Self> {
        let mut rng = dice(year, HULL_SPLIT);
        let season_shift = normal(&mut rng, 0.0, 2.0);
        let blocks = BLOCKS.iter();
        blocks
            .map(|block| Self::draw(block, season_shift, year, &mut rng))
            .collect()
    }

    fn draw(block: &'static Block, season_shift: f64, year: i32, rng: &mut ChaCha8Rng) -> Self {
        let usual = day_of(year, (7, 3));
        let shift = (season_shift + normal(rng, 0.0, 2.0))
            .round()
            .clamp(-6.0, 7.0);
        let first = later(usual, shift);
        let expected_on = later(day_of(year, (5, 16)), f64::from(rng.random_range(0..28)));
        let expected = later(usual, normal(rng, 0.0, 3.0).round());
        let mut days_later: Vec<u64> = block.varieties[1..]
            .iter()
            .map(|_| rng.random_range(14..=28))
            .collect();
        days_later.sort_unstable();
        let splits = std::iter::once(0).chain(days_later);
        let varieties = block.varieties.iter().zip(splits);
        Self {
            block,
            expected,
            expected_on,
            varieties: varieties
                .map(|(&name, days)| Variety::draw(name, first + Days::new(days), rng))
                .collect(),
        }
    }

    /// The stretch in which the block's traps are down for shaking the early variety.
    pub(super) fn pull(&self) -> (NaiveDate, NaiveDate) {
        let down = self.varieties[0].shaken - Days::new(1);
        (down, down + Days::new(DOWN_DAYS))
    }
}

impl Variety {
    fn draw(name: &'static str, split: NaiveDate, rng: &mut ChaCha8Rng) -> Self {
        let (mean, spread) = SPLIT_TO_SHAKE_DAYS;
        let seen_late = rng.random_bool(0.3);
        let shaken = later(split, normal(rng, mean, spread).round());
        Self {
            name,
            split,
            seen_late,
            shaken,
            likely: later(shaken, normal(rng, 0.0, 3.0).round().clamp(-4.0, 6.0)),
        }
    }
}

pub(super) fn later(date: NaiveDate, days: f64) -> NaiveDate {
    date + TimeDelta::days(days as i64)
}
