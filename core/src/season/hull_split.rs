//! First hull split of sound nuts: what is known of each variety, and of the block as a whole. Moths that
//! grew in the first variety's nuts lay on the next row, so the block has one first split, the earliest.

use chrono::{Datelike, Days, NaiveDate, TimeDelta};

use crate::orchard::{Block, Crop};
use crate::statistics::mean;
use crate::trapping::{Expected, Note, NoteKind, not_split_on, split_seen};

use super::projection::NORMAL_QUANTILE;

/// How far a split that somebody expects may be off, days to each side. Common practice, no source.
const EXPECTED_DAYS: u64 = 5;
/// The usual standard deviation of a variety's first split from year to year, days, and how many years' worth
/// of evidence it counts for beside a block's own. Assumed, no source.
const USUAL_SPREAD_DAYS: f64 = 6.0;
const USUAL_SPREAD_YEARS: f64 = 2.0;
/// Days from full bloom to first hull split: Nonpareil, as relayed of Cooperative Extension advisers in 2016.
const AFTER_BLOOM_DAYS: [u64; 2] = [130, 165];

/// What is known of a variety's first hull split of sound nuts this year.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HullSplit {
    /// It was seen on that day.
    Seen(NaiveDate),
    /// Somebody expects it.
    Expected(Expected),
    /// As in this variety's earlier years in the block.
    EarlierYears {
        /// When it falls by them.
        days: Expected,
        /// How many they are.
        years: usize,
    },
    /// By the days that usually go by after full bloom; no date counts from it.
    AfterBloom {
        /// When it falls by them.
        days: Expected,
        /// Full bloom.
        bloom: NaiveDate,
    },
    /// Nothing is known.
    NotKnown,
}

impl HullSplit {
    /// Of a variety, by the block's notes of this and earlier years. Checks that found none split yet move
    /// what is only expected behind them.
    pub(super) fn of(block: &Block, variety: &str, notes: &[Note], as_of: NaiveDate) -> Self {
        if let Some(day) = split_seen(notes, variety, as_of) {
            return Self::Seen(day);
        }
        let not_before = not_split_on(notes, variety, as_of).and_then(|day| day.succ_opt());
        let later = |days: Expected| not_before.map_or(days, |first| not_earlier(days, first));
        let expected = || expected(notes, variety, as_of).map(|days| Self::Expected(later(days)));
        let earlier = || {
            let (days, years) = by_earlier_years(notes, variety, as_of)?;
            let days = later(days);
            Some(Self::EarlierYears { days, years })
        };
        let after_bloom = || {
            let (days, bloom) = by_bloom(block, notes, variety, as_of)?;
            let days = later(days);
            Some(Self::AfterBloom { days, bloom })
        };
        expected()
            .or_else(earlier)
            .or_else(after_bloom)
            .unwrap_or(Self::NotKnown)
    }

    /// The earliest, the likely and the latest day; `None` where nothing is known.
    #[must_use]
    pub const fn days(self) -> Option<Expected> {
        match self {
            Self::Seen(day) => Some(Expected {
                earliest: day,
                likely: day,
                latest: day,
            }),
            Self::Expected(days)
            | Self::EarlierYears { days, .. }
            | Self::AfterBloom { days, .. } => Some(days),
            Self::NotKnown => None,
        }
    }

    /// The days from which a generation may count.
    const fn counts(self) -> Option<Expected> {
        match self {
            Self::AfterBloom { .. } => None,
            known => known.days(),
        }
    }
}

/// First hull split of sound nuts as it was first seen in a block.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FirstSplit {
    /// The variety.
    pub variety: String,
    /// The day.
    pub day: NaiveDate,
    /// Who entered it.
    pub by: String,
}

impl FirstSplit {
    /// The earliest of the varieties', with the note that shows it; `None` while none was seen.
    pub(super) fn of(varieties: &[(String, HullSplit)], notes: &[Note]) -> Option<Self> {
        let seen = varieties.iter().filter_map(|(variety, split)| match split {
            HullSplit::Seen(day) => Some((*day, variety)),
            _ => None,
        });
        let (day, variety) = seen.min_by_key(|(day, _)| *day)?;
        let shows = |note: &&Note| {
            note.date == day
                && note.variety.as_ref() == Some(variety)
                && note.kind.shows_hull_split()
        };
        let note = notes
            .iter()
            .filter(shows)
            .max_by_key(|note| note.entered_at);
        Some(Self {
            variety: variety.clone(),
            day,
            by: note.map_or_else(String::new, |note| note.by.clone()),
        })
    }
}

/// The block's first hull split, from which new-crop generations count.
#[derive(Debug, Clone, PartialEq)]
pub enum BlockSplit {
    /// It is neither seen nor expected of any variety, nor were there earlier years.
    NotKnown,
    /// The earliest of its varieties' splits.
    Known {
        /// The variety.
        variety: String,
        /// What is known of it; always with days.
        split: HullSplit,
        /// Its days.
        days: Expected,
        /// Varieties listed before it of which nothing is known: the first split may have been theirs.
        unknown_before: Vec<String>,
    },
}

impl BlockSplit {
    /// The earliest of the varieties' splits, in the block's order.
    pub(super) fn of(varieties: &[(String, HullSplit)]) -> Self {
        let known = varieties.iter().enumerate();
        let known = known.filter_map(|(place, (variety, split))| {
            Some((place, variety, *split, split.counts()?))
        });
        match known.min_by_key(|(.., days)| days.likely) {
            None => Self::NotKnown,
            Some((place, variety, split, days)) => Self::Known {
                variety: variety.clone(),
                split,
                days,
                unknown_before: varieties[..place]
                    .iter()
                    .filter(|(_, split)| split.counts().is_none())
                    .map(|(variety, _)| variety.clone())
                    .collect(),
            },
        }
    }

    /// Its days; `None` where it is not known.
    #[must_use]
    pub const fn days(&self) -> Option<Expected> {
        match self {
            Self::NotKnown => None,
            Self::Known { days, .. } => Some(*days),
        }
    }
}

/// What is left of an expected day once it was found not to have come before another: where that lies beyond the likely
/// day, about what the late side of a normal distribution has left there, a third of its width in the middle and the
/// whole of it in nine of ten.
pub(crate) fn not_earlier(days: Expected, first: NaiveDate) -> Expected {
    let late_side = (days.latest - days.likely).num_days().max(1);
    let after = |days: i64| {
        first
            .checked_add_signed(TimeDelta::days(days))
            .unwrap_or(first)
    };
    let (likely, latest) = match first > days.likely {
        true => (after(late_side / 3), after(late_side)),
        false => (days.likely, days.latest),
    };
    Expected {
        earliest: days.earliest.max(first),
        likely: likely.max(days.likely),
        latest: latest.max(days.latest),
    }
}

fn around(likely: NaiveDate, before: u64, after: u64) -> Option<Expected> {
    Some(Expected {
        earliest: likely.checked_sub_days(Days::new(before))?,
        likely,
        latest: likely.checked_add_days(Days::new(after))?,
    })
}

/// The newest expectation of this year.
fn expected(notes: &[Note], variety: &str, as_of: NaiveDate) -> Option<Expected> {
    let about = notes
        .iter()
        .filter(|note| note.variety.as_deref() == Some(variety) && note.is_of_year_to(as_of));
    let expectations = about.filter_map(|note| match note.kind {
        NoteKind::HullSplitExpected(day) => Some((note.date, note.entered_at, day)),
        _ => None,
    });
    let (.., day) = expectations.max()?;
    around(day, EXPECTED_DAYS, EXPECTED_DAYS)
}

/// By the variety's first splits in earlier years: their mean, and to each side what one more year is within
/// in four of five (Hahn & Meeker 1991, *Statistical Intervals*, 4.7), by their own spread drawn towards the
/// usual one.
fn by_earlier_years(notes: &[Note], variety: &str, as_of: NaiveDate) -> Option<(Expected, usize)> {
    let first = notes.iter().map(|note| note.date.year()).min()?;
    let in_year = |year| {
        let end = NaiveDate::from_ymd_opt(year, 12, 31)?;
        Some(split_seen(notes, variety, end)?.ordinal0())
    };
    let splits: Vec<f64> = (first..as_of.year())
        .filter_map(in_year)
        .map(f64::from)
        .collect();
    let middle = mean(splits.iter().copied())?;
    let years = splits.len() as f64;
    let squares: f64 = splits.iter().map(|day| (day - middle).powi(2)).sum();
    let usual = USUAL_SPREAD_YEARS * USUAL_SPREAD_DAYS.powi(2);
    let variance = (usual + squares) / (USUAL_SPREAD_YEARS + years - 1.0);
    let half = NORMAL_QUANTILE * (variance * (1.0 + 1.0 / years)).sqrt();
    let new_year = super::new_year(as_of);
    let likely = new_year.checked_add_days(Days::new(middle.round() as u64))?;
    let half = half.ceil() as u64;
    Some((around(likely, half, half)?, splits.len()))
}

/// By the newest note on full bloom of the variety, else of the block; almonds only.
fn by_bloom(
    block: &Block,
    notes: &[Note],
    variety: &str,
    as_of: NaiveDate,
) -> Option<(Expected, NaiveDate)> {
    if block.crop != Crop::Almond {
        return None;
    }
    let blooms = || {
        let of_year = notes.iter().filter(|note| note.is_of_year_to(as_of));
        of_year.filter(|note| note.kind == NoteKind::Bloom)
    };
    let of = |variety: Option<&str>| {
        let about = blooms().filter(|note| note.variety.as_deref() == variety);
        about.max_by_key(|note| note.entered_at)
    };
    let bloom = of(Some(variety)).or_else(|| of(None))?.date;
    let [from, to] = AFTER_BLOOM_DAYS;
    let days = Expected {
        earliest: bloom.checked_add_days(Days::new(from))?,
        likely: bloom.checked_add_days(Days::new(u64::midpoint(from, to)))?,
        latest: bloom.checked_add_days(Days::new(to))?,
    };
    Some((days, bloom))
}

#[cfg(test)]
mod tests;
