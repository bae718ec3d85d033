//! The field of a chart: days along, values up, with their labels.

use chrono::NaiveDate;
use duskflight_core::contents::chart::{DayTick, Frame, ValueAxis};

use super::canvas::{Canvas, Point, Side, Stroke, cut};
use super::{WIDTH, palette};

/// Space between the card's edge and what stands on it.
pub(super) const PAD: f64 = 20.0;
/// Size of most words: on a phone, which shows the picture at little more than half its width, they are
/// as large as small print.
pub(super) const WORDS: f64 = 19.0;
/// Size of the block's name.
const NAME: f64 = 24.0;
/// Where the first field begins.
pub(super) const TOP: f64 = 92.0;
/// Room for labels of values.
const LABELS: f64 = 52.0;
/// Room for labels of days.
pub(super) const DAYS: f64 = 34.0;

/// A field.
pub(super) struct Plot {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
    first: NaiveDate,
    days: f64,
    highest: f64,
}

impl Plot {
    /// A field of a height below `top`, over all days of a frame and up to the highest value.
    pub(super) fn new(frame: &Frame, values: &ValueAxis, top: f64, height: f64) -> Self {
        Self {
            left: PAD + LABELS,
            right: f64::from(WIDTH) - PAD,
            top,
            bottom: top + height,
            first: frame.first,
            days: ((frame.last - frame.first).num_days() as f64).max(1.0),
            // A little room above it.
            highest: values.highest * 1.04,
        }
    }

    /// Where a day is.
    pub(super) fn x(&self, day: NaiveDate) -> f64 {
        let share = (day - self.first).num_days() as f64 / self.days;
        self.left + share.clamp(0.0, 1.0) * (self.right - self.left)
    }

    /// Where a value is.
    pub(super) fn y(&self, value: f64) -> f64 {
        self.bottom - value / self.highest * (self.bottom - self.top)
    }

    /// Where a value on a day is.
    pub(super) fn at(&self, day: NaiveDate, value: f64) -> Point {
        (self.x(day), self.y(value))
    }

    pub(super) const fn left(&self) -> f64 {
        self.left
    }

    pub(super) const fn right(&self) -> f64 {
        self.right
    }

    pub(super) const fn top(&self) -> f64 {
        self.top
    }

    pub(super) const fn bottom(&self) -> f64 {
        self.bottom
    }

    /// The grid with its labels of values; labels of days are drawn where wanted.
    pub(super) fn grid(&self, canvas: &mut Canvas, values: &ValueAxis, days: &[DayTick]) {
        let thin = Stroke::solid(palette::GRID, 1.2);
        for tick in days {
            let x = self.x(tick.day);
            canvas.line([(x, self.top), (x, self.bottom)], thin);
        }
        for tick in &values.ticks {
            let y = self.y(tick.value);
            canvas.line([(self.left, y), (self.right, y)], thin);
            let at = (self.left - 8.0, y);
            canvas.words(at, &tick.label, WORDS, palette::NIGHT, Side::Right);
        }
        let base = Stroke::solid(palette::BAND_MIDDLE, 1.5);
        canvas.line([(self.left, self.bottom), (self.right, self.bottom)], base);
    }

    /// Labels of days below the field.
    pub(super) fn days(&self, canvas: &mut Canvas, days: &[DayTick]) {
        for tick in days {
            let x = self.x(tick.day);
            let side = match x {
                near if near > self.right - 24.0 => Side::Right,
                near if near < self.left + 24.0 => Side::Left,
                _ => Side::Center,
            };
            let at = (x, self.bottom + 19.0);
            canvas.words(at, &tick.label, WORDS, palette::NIGHT, side);
        }
    }
}

/// The block's name and what is drawn.
pub(super) fn heading(canvas: &mut Canvas, frame: &Frame) {
    let room = f64::from(WIDTH) - 2.0 * PAD;
    let name = cut(&frame.block, room / NAME);
    canvas.words((PAD, 34.0), &name, NAME, palette::NIGHT, Side::Left);
    let subtitle = cut(&frame.subtitle, room / WORDS);
    canvas.words((PAD, 64.0), &subtitle, WORDS, palette::NIGHT, Side::Left);
}
