//! The demo's own moths: warmth, flights, and what a trap catches of them by chance.

use chrono::{Datelike, Days, NaiveDate};
use duskflight_core::heat::HeatSeries;
use duskflight_core::id::StationId;
use duskflight_core::weather::{ReceivedDay, StationWeather};
use rand::seq::SliceRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rand_distr::{Distribution, Gamma, LogNormal, Normal, Poisson};

use super::days::day_of;
use super::places::{BLOCKS, Block, DISPENSERS_ON, Laying};
use super::round_days::{hanging_day, round_days};
use crate::config::navel_orangeworm;

/// Streams of chance: one each, so that a change in one leaves the others as they were. Blocks and
/// traps count up from their first.
const POPULATIONS: u64 = 1;
pub(super) const PAPERWORK: u64 = 2;
pub(super) const HULL_SPLIT: u64 = 3;
pub(super) const FIELD_NOTES: u64 = 4;
pub(super) const FIRST_CALENDAR: u64 = 100;
pub(super) const FIRST_PLACE: u64 = 200;
pub(super) const FIRST_TRAP: u64 = 1000;

/// The dice of one stream in one year.
pub(super) fn dice(year: i32, stream: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(u64::from(year.unsigned_abs()));
    rng.set_stream(stream);
    rng
}

/// Heat gathered since 1 March, °F-days.
pub(super) struct Warmth {
    first: NaiveDate,
    gathered: Vec<f64>,
}

impl Warmth {
    /// The warmth of one season. A day without temperatures counts like the day before it: moths
    /// do not stop where a record does.
    pub(super) fn of(record: &[ReceivedDay], year: i32) -> Self {
        let of_year: Vec<ReceivedDay> = record
            .iter()
            .filter(|day| day.date.year() == year)
            .cloned()
            .collect();
        let station = StationId::new("demo").expect("a plain word is an id");
        let weather = StationWeather::alone(station, &of_year, day_of(year, (12, 31)));
        let series = weather.series();
        let heat = series.map(|series| HeatSeries::new(series, navel_orangeworm().heat));
        let heat_of = |date: NaiveDate| {
            let sum = heat.as_ref()?.sum(date, date).ok()?;
            Some(sum.degree_days.fahrenheit_days())
        };
        let first = day_of(year, (3, 1));
        let (mut sum, mut yesterday) = (0.0, 0.0);
        let gathered = first
            .iter_days()
            .take_while(|&date| date <= day_of(year, (10, 31)))
            .map(|date| {
                yesterday = heat_of(date).unwrap_or(yesterday);
                sum += yesterday;
                sum
            })
            .collect();
        Self { first, gathered }
    }

    /// Heat gathered by the evening of a day from 1 March to 31 October.
    pub(super) fn by(&self, date: NaiveDate) -> f64 {
        usize::try_from((date - self.first).num_days())
            .ok()
            .and_then(|position| self.gathered.get(position))
            .copied()
            .unwrap_or(0.0)
    }

    /// The first day by whose evening more than `level` is gathered.
    pub(super) fn day_after(&self, level: f64) -> NaiveDate {
        let days = self.gathered.partition_point(|&gathered| gathered <= level);
        self.first + Days::new(days as u64)
    }
}

/// Heat from 1 March at which egg laying starts, first and last block: about 8 and 30 April in an
/// average year of the record.
const FIRST_LAYING: (f64, f64) = (195.0, 400.0);
/// No block starts sooner than this after the traps were hung, so that each has clean checks.
const CLEAN_DAYS: u64 = 15;
/// How much sooner than the eggs the moths fly, °F-days.
const MOTHS_SOONER: f64 = 60.0;
/// Mean and spread of the lengths of the generations, °F-days: the first on last year's nuts, the
/// others on the new crop. They are not the published marks, and each block draws its own.
const GENERATIONS: [(f64, f64); 3] = [(1056.0, 70.0), (760.0, 90.0), (760.0, 90.0)];
/// A wave's width, °F-days: nine tenths of it pass within five and a half of these.
const WIDTHS: [f64; 4] = [60.0, 75.0, 85.0, 85.0];
/// Egg traps compete with the new crop from the second generation on.
const EGG_WAVES: [f64; 4] = [1.0, 0.4, 0.3, 0.2];
const MOTH_WAVES: [f64; 4] = [1.0, 0.9, 1.6, 1.8];

/// The moths of one block.
pub(super) struct Population {
    block: &'static Block,
    /// Heat at which each generation starts to lay.
    onsets: [f64; 4],
    /// Eggs per egg trap and night at the height of the first flight.
    eggs: f64,
    /// Males per pheromone trap and night, at the same time.
    males: f64,
}

impl Population {
    /// One population per block, in their order.
    pub(super) fn draw_all(warmth: &Warmth, year: i32) -> Vec<Self> {
        let mut rng = dice(year, POPULATIONS);
        let mut ranks: Vec<u32> = (0..).take(BLOCKS.len()).collect();
        ranks.shuffle(&mut rng);
        BLOCKS
            .iter()
            .zip(ranks)
            .map(|(block, rank)| Self::draw(block, rank, warmth, year, &mut rng))
            .collect()
    }

    fn draw(
        block: &'static Block,
        rank: u32,
        warmth: &Warmth,
        year: i32,
        rng: &mut ChaCha8Rng,
    ) -> Self {
        let (first, last) = FIRST_LAYING;
        let share = (f64::from(rank) + rng.random::<f64>()) / BLOCKS.len() as f64;
        let drawn = warmth.day_after(first + (last - first) * share);
        let earliest = drawn.max(hanging_day(block, year) + Days::new(CLEAN_DAYS));
        let mut onset = warmth.by(day_before_a_reading(block, earliest));
        let mut onsets = [onset; 4];
        for (later, (mean, spread)) in onsets[1..].iter_mut().zip(GENERATIONS) {
            onset += normal(rng, mean, spread);
            *later = onset;
        }
        let (median, spread) = match block.laying {
            Laying::Even => (8.0, 0.2),
            Laying::Patchy => (10.0, 0.3),
            Laying::Scarce => (0.03, 0.2),
        };
        let disrupted = if block.disrupted { 0.5 } else { 1.0 };
        Self {
            block,
            onsets,
            eggs: disrupted * lognormal(rng, median, spread),
            males: lognormal(rng, 3.0, 0.5),
        }
    }

    pub(super) fn lives_in(&self, block: &Block) -> bool {
        self.block.id == block.id
    }

    /// Heat at which the first egg laying starts.
    pub(super) fn first_laying(&self) -> f64 {
        self.onsets[0]
    }

    /// Mean eggs per egg trap in a night by whose evening `level` was gathered.
    pub(super) fn eggs_a_night(&self, level: f64) -> f64 {
        self.eggs * self.waves(level, EGG_WAVES)
    }

    /// How unevenly the traps share the eggs: the shape of the negative binomial. Where laying is
    /// even, the females of the first weeks find few other nuts and every trap has eggs.
    pub(super) fn egg_evenness(&self, level: f64) -> f64 {
        let first_weeks = level < self.onsets[0] + 6.0 * WIDTHS[0];
        match self.block.laying {
            Laying::Even if first_weeks => 5.0,
            Laying::Patchy if first_weeks => 0.6,
            _ => 0.45,
        }
    }

    /// Mean males per pheromone trap and night where nothing hides the females.
    fn males_a_night(&self, level: f64) -> f64 {
        self.males * self.waves(level + MOTHS_SOONER, MOTH_WAVES)
    }

    /// Mean males per pheromone trap in the night of `date`; disruption leaves two in a hundred.
    pub(super) fn males_on(&self, date: NaiveDate, level: f64) -> f64 {
        let hidden = self.block.disrupted && date >= day_of(date.year(), DISPENSERS_ON);
        self.males_a_night(level) * if hidden { 0.02 } else { 1.0 }
    }

    /// Mean moths of both sexes in a night at a trap with PPO and pheromone under disruption.
    pub(super) fn both_sexes_a_night(&self, level: f64) -> f64 {
        0.35 * self.males_a_night(level)
    }

    /// Mean females per bait bag in the night of `date`: fewer from late July on, when the new nuts
    /// split.
    pub(super) fn females_on(&self, date: NaiveDate, level: f64) -> f64 {
        let past_split = (date - day_of(date.year(), (7, 21))).num_days().max(0) as f64;
        0.2 * self.males_a_night(level) * (-past_split / 20.0).exp()
    }

    fn waves(&self, level: f64, heights: [f64; 4]) -> f64 {
        let of =
            |(&onset, (height, width)): (&f64, (f64, f64))| height * wave((level - onset) / width);
        self.onsets
            .iter()
            .zip(heights.into_iter().zip(WIDTHS))
            .map(of)
            .sum()
    }
}

/// The eve of the first reading day from `earliest` on. Laying starts in the night after a reading,
/// so that the first sheet with eggs has whole nights behind it, not a single one.
fn day_before_a_reading(block: &Block, earliest: NaiveDate) -> NaiveDate {
    let reading = round_days(block.round, earliest.year()).find(|&date| date >= earliest);
    reading.unwrap_or(earliest) - Days::new(1)
}

/// A flight over its heat: nothing before 0, a slow start, its height of 1 at 2, a long tail.
fn wave(x: f64) -> f64 {
    let x = x.max(0.0);
    (x / 2.0).powi(2) * (2.0 - x).exp()
}

/// A skewed count: negative binomial with the given mean; the smaller `evenness`, the more zeros.
pub(super) fn count(rng: &mut ChaCha8Rng, mean: f64, evenness: f64) -> u32 {
    let share = Gamma::new(evenness, mean / evenness).map_or(0.0, |gamma| gamma.sample(rng));
    // Poisson is not defined for a mean of zero, where the count is zero.
    let drawn: f64 = Poisson::new(share).map_or(0.0, |poisson| poisson.sample(rng));
    drawn as u32
}

pub(super) fn normal(rng: &mut ChaCha8Rng, mean: f64, spread: f64) -> f64 {
    Normal::new(mean, spread).map_or(mean, |normal| normal.sample(rng))
}

pub(super) fn lognormal(rng: &mut ChaCha8Rng, median: f64, spread: f64) -> f64 {
    LogNormal::new(median.ln(), spread).map_or(median, |lognormal| lognormal.sample(rng))
}
