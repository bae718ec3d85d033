//! Heat of a season so far, beside earlier years, with the days that marks are projected for.

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::id::MarkId;
use crate::season::{
    Basis, BlockSeason, BlockSplit, FEW_PAST_YEARS, HeatCurves, MarkReading, Outcome, StationHeat,
};
use crate::temperature::{DegreeDays, Unit};
use crate::trapping::StartStatus;
use crate::wording::words::degree_days;
use crate::wording::{Words, station_words};

use super::axis::{day_ticks, days_after, value_axis};
use super::{Frame, ValueAxis};

/// A chart goes on for so many days after the last thing it shows.
const MARGIN_DAYS: u64 = 7;
/// And for so many after the newest day at least.
const AHEAD_DAYS: u64 = 21;
/// Curves that are not of this season are drawn from one day in so many.
const STEP_DAYS: usize = 5;

/// Heat so far and ahead. All sums are in the unit of the subtitle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct HeatChart {
    /// What surrounds it.
    pub frame: Frame,
    /// The axis of sums.
    pub sums: ValueAxis,
    /// This season, day by day.
    pub known: Vec<HeatPoint>,
    /// What the line of this season is, with its newest sum.
    pub known_label: String,
    /// What its dashed parts are, where there are any.
    pub estimated_label: Option<String>,
    /// Earlier years; empty without one.
    pub band: Vec<BandPoint>,
    /// Which years those are.
    pub band_label: Option<String>,
    /// How past years would run this one on; empty where nothing does.
    pub ahead: Vec<AheadPoint>,
    /// What that line is.
    pub ahead_label: Option<String>,
    /// The marks that are passed or projected, lowest first.
    pub marks: Vec<MarkLine>,
}

/// The sum at the end of a day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct HeatPoint {
    /// The day.
    pub day: NaiveDate,
    /// The sum.
    pub sum: f64,
    /// Whether the day is an estimate.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub estimated: bool,
}

/// What earlier years had at the end of a day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct BandPoint {
    /// The day of this year.
    pub day: NaiveDate,
    /// The low edge.
    pub low: f64,
    /// The middle.
    pub middle: f64,
    /// The high edge.
    pub high: f64,
}

/// The sum at the end of a day to come.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct AheadPoint {
    /// The day.
    pub day: NaiveDate,
    /// The sum.
    pub sum: f64,
}

/// A mark at its sum, on the day it was passed or over the days it is projected for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MarkLine {
    /// Its sum.
    pub sum: f64,
    /// Its name with its day or range.
    pub label: String,
    /// Whether it was passed.
    pub passed: bool,
    /// The first day of its range, or the day it was passed.
    pub early: NaiveDate,
    /// The middle.
    pub middle: NaiveDate,
    /// The last.
    pub late: NaiveDate,
}

/// The heat of a block's season, from the season and the heat of its station that it was assessed with;
/// `None` while no heat counts.
#[must_use]
pub fn heat_chart(words: Words, season: &BlockSeason, heat: &StationHeat) -> Option<HeatChart> {
    let newest = season.newest_day?;
    let last = last_day(season, newest);
    let curves = HeatCurves::new(season, heat, last)?;
    let drawn = Drawn {
        words,
        season,
        curves: &curves,
    };
    let known = drawn.known();
    let marks = drawn.marks();
    let band = drawn.band();
    let ahead = drawn.ahead();
    let ends = [
        known.last().map(|point| point.sum),
        band.last().map(|point| point.high),
        ahead.last().map(|point| point.sum),
        marks.last().map(|mark| mark.sum),
    ];
    let highest = ends.into_iter().flatten().fold(0.0, f64::max);
    let first = curves.known.first()?.date;
    Some(HeatChart {
        frame: Frame {
            block: season.block.name.clone(),
            subtitle: drawn.subtitle(first),
            alt: drawn.alt(),
            caption: drawn.caption(),
            first,
            last,
            days: day_ticks(words, first, last),
        },
        sums: value_axis(highest),
        known_label: format!("this season: {}", drawn.newest()?),
        estimated_label: drawn.estimated(),
        band_label: drawn.years(),
        ahead_label: (!ahead.is_empty())
            .then(|| "ahead and bars: projected from past years".to_owned()),
        known,
        band,
        ahead,
        marks,
    })
}

/// The last day drawn: after the ranges of all marks, and some days ahead.
fn last_day(season: &BlockSeason, newest: NaiveDate) -> NaiveDate {
    let told = season.marks.iter().filter(|reading| reading.told);
    let projected = told.filter_map(|reading| reading.outcome.projection());
    let ends = projected.map(|projection| {
        let late = projection.late;
        match (late.month(), late.day()) {
            // An open end would leave little room for what is known.
            (12, 31) => days_after(projection.middle, AHEAD_DAYS),
            _ => late,
        }
    });
    let last = ends.fold(days_after(newest, AHEAD_DAYS), NaiveDate::max);
    let year_end = NaiveDate::from_ymd_opt(season.year, 12, 31).unwrap_or(last);
    days_after(last, MARGIN_DAYS).min(year_end).max(newest)
}

struct Drawn<'a> {
    words: Words,
    season: &'a BlockSeason,
    curves: &'a HeatCurves,
}

impl Drawn<'_> {
    const fn unit(&self) -> Unit {
        self.season.unit
    }

    /// A sum in the farm's unit, to a tenth.
    fn sum(&self, sum: DegreeDays) -> f64 {
        (sum.in_unit(self.unit()) * 10.0).round() / 10.0
    }

    fn known(&self) -> Vec<HeatPoint> {
        let days = self.curves.known.iter();
        let point = days.map(|day| HeatPoint {
            day: day.date,
            sum: self.sum(day.sum),
            estimated: day.estimated,
        });
        point.collect()
    }

    fn band(&self) -> Vec<BandPoint> {
        let points = thinned(&self.curves.band).map(|day| BandPoint {
            day: day.date,
            low: self.sum(day.low),
            middle: self.sum(day.middle),
            high: self.sum(day.high),
        });
        points.collect()
    }

    fn ahead(&self) -> Vec<AheadPoint> {
        let points = thinned(&self.curves.ahead).map(|(day, sum)| AheadPoint {
            day: *day,
            sum: self.sum(*sum),
        });
        points.collect()
    }

    /// The marks that people are told, lowest first.
    fn marks(&self) -> Vec<MarkLine> {
        let told = self.season.marks.iter().filter(|reading| reading.told);
        let mut marks: Vec<MarkLine> = told.filter_map(|reading| self.mark(reading)).collect();
        marks.sort_by(|a, b| a.sum.total_cmp(&b.sum));
        marks
    }

    fn mark(&self, reading: &MarkReading) -> Option<MarkLine> {
        let [early, middle, late] = reading.outcome.days()?;
        let when = match &reading.outcome {
            Outcome::Projected(range) => self.words.range(range.early, range.late),
            passed => self.words.outcome(passed),
        };
        Some(MarkLine {
            sum: self.sum(self.level(reading)?),
            // A day is not torn apart at the end of a line.
            label: format!("{}: {}", reading.name, when.replace(' ', "\u{a0}")),
            passed: matches!(reading.outcome, Outcome::Passed { .. }),
            early,
            middle,
            late,
        })
    }

    /// The sum since the first day at which a reading of a mark is reached.
    fn level(&self, reading: &MarkReading) -> Option<DegreeDays> {
        let from = match &reading.basis {
            Basis::EggLayingStart | Basis::NewYear => 0.0,
            Basis::Mark(mark) => self.level_of(mark)?,
            Basis::HullSplit(mark) => self.after_split(self.level_of(mark)?),
        };
        Some(DegreeDays::from_fahrenheit_days(
            from + reading.at.fahrenheit_days(),
        ))
    }

    /// The later of a level and the block's first hull split; half way to it where an earlier variety's may
    /// have come before.
    fn after_split(&self, mark: f64) -> f64 {
        let BlockSplit::Known {
            days,
            unknown_before,
            ..
        } = &self.season.split
        else {
            return mark;
        };
        // Before counting began there is nothing to be later than the mark.
        let at_split = self.curves.before(days.likely);
        let later = at_split.map_or(mark, |sum| mark.max(sum.fahrenheit_days()));
        match unknown_before.is_empty() {
            true => later,
            false => f64::midpoint(mark, later),
        }
    }

    /// The level of the mark that others count from, °F-days.
    fn level_of(&self, mark: &MarkId) -> Option<f64> {
        let mut readings = self.season.marks.iter();
        let earlier = readings.find(|other| other.mark == *mark)?;
        Some(self.level(earlier)?.fahrenheit_days())
    }

    fn subtitle(&self, first: NaiveDate) -> String {
        let unit = self.unit().symbol();
        let first = self.words.day(first);
        match self.season.start.status {
            StartStatus::NotAsked => format!("{unit}-days since {first}"),
            status => {
                let status = status.words();
                format!("{unit}-days since egg-laying start {first}, {status}")
            }
        }
    }

    fn newest(&self) -> Option<String> {
        let newest = self.curves.known.last()?;
        let sum = newest.sum.in_unit(self.unit());
        Some(format!("{sum:.0} on {}", self.words.day(newest.date)))
    }

    fn estimated(&self) -> Option<String> {
        let estimated = self.curves.known.iter().filter(|day| day.estimated);
        match estimated.count() {
            0 => None,
            1 => Some("1 day estimated".to_owned()),
            days => Some(format!("{days} days estimated")),
        }
    }

    /// Which earlier years the band is made of.
    fn years(&self) -> Option<String> {
        let (first, last) = (self.curves.years.first()?, self.curves.years.last()?);
        let count = self.curves.years.len();
        Some(match count {
            1 => format!("{first}, the one earlier year"),
            few if few < FEW_PAST_YEARS => {
                format!("{few} earlier years ({first}–{last}), line: middle")
            }
            _ => format!("8 in 10 of {count} years ({first}–{last}), line: middle"),
        })
    }

    /// How this season stands beside the earlier years on its newest day.
    fn beside(&self) -> Option<String> {
        let newest = self.curves.known.last()?.date;
        let band = self.curves.band.iter().find(|day| day.date == newest)?;
        let (first, last) = (self.curves.years.first()?, self.curves.years.last()?);
        let [low, middle, high] =
            [band.low, band.middle, band.high].map(|sum| sum.in_unit(self.unit()));
        Some(match self.curves.years.len() {
            1 => format!("The one earlier year, {first}, had {middle:.0} by then."),
            few if few < FEW_PAST_YEARS => format!(
                "{few} earlier years ({first}–{last}) had {low:.0} to {high:.0} by then, the middle \
                 one {middle:.0}."
            ),
            count => format!(
                "Of {count} earlier years ({first}–{last}) 8 in 10 had {low:.0} to {high:.0} by \
                 then, the middle one {middle:.0}."
            ),
        })
    }

    /// The chart in sentences.
    fn alt(&self) -> String {
        let Self {
            words,
            season,
            curves,
        } = *self;
        let (Some(first), Some(newest)) = (curves.known.first(), curves.known.last()) else {
            return String::new();
        };
        let mut sentences = vec![format!(
            "Heat in {}: {} from {} to {}{}.",
            season.block.name,
            degree_days(newest.sum, self.unit()),
            words.day(first.date),
            words.day(newest.date),
            self.estimated()
                .map_or(String::new(), |text| format!(", {text}"))
        )];
        sentences.extend(curves.hole.map(|hole| {
            format!(
                "Temperatures are missing for {}, so the sum ends before it.",
                words.day(hole)
            )
        }));
        sentences.extend(self.beside());
        sentences.extend(self.next_mark());
        sentences.join(" ")
    }

    /// The next mark ahead, with its range.
    fn next_mark(&self) -> Option<String> {
        let told = self.season.marks.iter().filter(|reading| reading.told);
        let ahead = told.filter_map(|reading| Some((reading.outcome.projection()?, reading)));
        let (_, reading) = ahead.min_by_key(|(projection, _)| projection.middle)?;
        let level = self.level(reading)?;
        Some(format!(
            "Next mark: {} at {}, {}.",
            reading.name,
            degree_days(level, self.unit()),
            self.words.outcome(&reading.outcome)
        ))
    }

    fn caption(&self) -> String {
        let station = station_words(self.season.block.station.as_str(), self.season.modelled);
        let hole = self.curves.hole.map(|hole| {
            let hole = self.words.day(hole);
            format!("; temperatures of {hole} are missing, so the sum ends before it")
        });
        format!(
            "Heat at station {station}; days ahead are projected, not observed{}",
            hole.unwrap_or_default()
        )
    }
}

/// One in so many, and the last.
fn thinned<T>(all: &[T]) -> impl Iterator<Item = &T> {
    let last = all.len().saturating_sub(1);
    let each = all.iter().enumerate();
    each.filter(move |(at, _)| at % STEP_DAYS == 0 || *at == last)
        .map(|(_, one)| one)
}

#[cfg(test)]
mod tests;
