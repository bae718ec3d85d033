//! Draws seasons of blocks beneath each other: names on the left, days across.

use chrono::NaiveDate;
use duskflight_core::contents::GlanceChart;
use duskflight_core::contents::chart::{FlightHill, Frame, GlanceRow, KeyEntry};

use super::canvas::{Canvas, Side, Stroke, Words, cut, width};
use super::plot::PAD;
use super::signs::{self, LABEL};
use super::size::SHARPNESS_OF_ROWS;
use super::{WIDTH, palette};

/// Size of the title, and of what stands behind it.
const TITLE: f64 = 22.0;
/// Size of blocks' names, of months and of the key.
const NAMES: f64 = 17.0;
/// Names get no more of the width.
const WIDEST_NAMES: f64 = 190.0;
/// Space between names and days.
const BESIDE: f64 = 12.0;
/// Height of a row.
const ROW: f64 = 28.0;
/// Where months stand, and where the first row begins.
const MONTHS: f64 = 62.0;
const TOP: f64 = 80.0;
/// Room for today's words below the rows.
const TODAY: f64 = 30.0;
/// Two pixels of the picture, which are one byte.
const STEP: f64 = 2.0 / SHARPNESS_OF_ROWS as f64;
/// Height of a line of the key, width of its samples, and the space after an entry.
const LINE: f64 = 24.8;
const SAMPLE: f64 = 30.0;
const BETWEEN: f64 = 20.0;

/// The days of a chart, across.
struct Days {
    left: f64,
    right: f64,
    first: NaiveDate,
    count: f64,
}

impl Days {
    fn new(chart: &GlanceChart) -> Self {
        let names = chart.rows.iter().map(|row| width(&row.block) * NAMES);
        let widest = names.fold(0.0, f64::max).min(WIDEST_NAMES);
        let Frame { first, last, .. } = chart.frame;
        Self {
            left: PAD + widest + BESIDE,
            right: f64::from(WIDTH) - PAD,
            first,
            count: ((last - first).num_days() as f64).max(1.0),
        }
    }

    /// Where a day is; one outside lies on the edge. Rounded to a third of a day or so, so that equal signs have
    /// equal bytes, which pack well.
    fn x(&self, day: NaiveDate) -> f64 {
        let share = (day - self.first).num_days() as f64 / self.count;
        let x = self.left + share.clamp(0.0, 1.0) * (self.right - self.left);
        (x / STEP).round() * STEP
    }
}

/// Draws it.
pub(super) fn draw(chart: &GlanceChart) -> Canvas {
    let bottom = TOP + chart.rows.len() as f64 * ROW;
    let key = lines(&chart.key);
    let height = bottom + TODAY + key.len() as f64 * LINE + PAD - 6.0;
    let mut canvas = Canvas::new(height);
    let days = Days::new(chart);
    title(&mut canvas, &chart.frame);
    months(&mut canvas, &days, chart, bottom);
    for (at, row) in chart.rows.iter().enumerate() {
        block(&mut canvas, &days, row, TOP + at as f64 * ROW);
    }
    today(&mut canvas, &days, chart, bottom);
    let today = days.x(chart.today.day);
    for (at, row) in chart.rows.iter().enumerate() {
        let top = TOP + at as f64 * ROW;
        dates(&mut canvas, &days, row, top);
        note(&mut canvas, row, [days.left, today, days.right], top);
    }
    draw_key(&mut canvas, &key, bottom + TODAY);
    canvas
}

fn title(canvas: &mut Canvas, frame: &Frame) {
    canvas.words((PAD, 28.0), &frame.block, TITLE, palette::NIGHT, Side::Left);
    let right = f64::from(WIDTH) - PAD;
    let room = right - PAD - width(&frame.block) * TITLE - 16.0;
    let subtitle = cut(&frame.subtitle, room / NAMES);
    canvas.words((right, 28.0), &subtitle, NAMES, palette::NIGHT, Side::Right);
}

/// Months with their names, and weeks between them.
fn months(canvas: &mut Canvas, days: &Days, chart: &GlanceChart, bottom: f64) {
    for week in &chart.weeks {
        let x = days.x(*week);
        canvas.line(
            [(x, TOP - 5.0), (x, TOP)],
            Stroke::solid(palette::BAND_MIDDLE, 1.0),
        );
    }
    for month in &chart.frame.days {
        let x = days.x(month.day);
        canvas.line(
            [(x, MONTHS - 9.0), (x, bottom)],
            Stroke::solid(palette::BAND, 1.3),
        );
        if x + 4.0 + width(&month.label) * NAMES <= days.right + 6.0 {
            let at = (x + 5.0, MONTHS);
            canvas.words(at, &month.label, NAMES, palette::NIGHT, Side::Left);
        }
    }
}

/// A row's line, name and flights.
fn block(canvas: &mut Canvas, days: &Days, row: &GlanceRow, top: f64) {
    let thin = Stroke::solid(palette::GRID, 1.2);
    canvas.line([(PAD, top), (days.right, top)], thin);
    let middle = top + ROW / 2.0;
    let name = cut(&row.block, (days.left - BESIDE - PAD + 1.0) / NAMES);
    let name = Words {
        at: (PAD, middle),
        text: name,
        size: NAMES,
        colour: palette::NIGHT,
        side: Side::Left,
        block: row.id.clone(),
    };
    canvas.name(name);
    for flight in &row.flights {
        hill(canvas, days, flight, top + ROW - 2.0);
    }
}

fn hill(canvas: &mut Canvas, days: &Days, flight: &FlightHill, ground: f64) {
    let x = [flight.from, flight.highest, flight.to].map(|day| days.x(day));
    signs::hill(
        canvas,
        x,
        [flight.started, flight.ended],
        flight.peaked,
        ground,
    );
}

/// A row's dated things.
fn dates(canvas: &mut Canvas, days: &Days, row: &GlanceRow, top: f64) {
    for sign in &row.signs {
        let x = [sign.early, sign.middle, sign.late].map(|day| days.x(day));
        signs::draw(canvas, sign, x, top);
    }
}

/// What an empty row has to say, clear of today's line.
fn note(canvas: &mut Canvas, row: &GlanceRow, [left, today, right]: [f64; 3], top: f64) {
    let Some(note) = &row.note else { return };
    let wide = width(note) * LABEL;
    let (x, side) = match today + 8.0 + wide <= right {
        true => (today + 8.0, Side::Left),
        false => ((today - 8.0).max(left + wide), Side::Right),
    };
    let at = (x, top + ROW / 2.0);
    canvas.words(at, note, LABEL, palette::FAINT, side);
}

fn today(canvas: &mut Canvas, days: &Days, chart: &GlanceChart, bottom: f64) {
    let x = days.x(chart.today.day);
    canvas.line(
        [(x, TOP - 5.0), (x, bottom + 7.0)],
        Stroke::solid(palette::NIGHT, 2.0),
    );
    let half = width(&chart.today.label) * NAMES / 2.0;
    let middle = x.min(days.right - half).max(PAD + half);
    let at = (middle, bottom + 16.0);
    canvas.words(at, &chart.today.label, NAMES, palette::NIGHT, Side::Center);
}

/// Entries of the key by lines, each with its place; a group is not parted.
fn lines(key: &[Vec<KeyEntry>]) -> Vec<Vec<(f64, &KeyEntry)>> {
    let wide = |entry: &KeyEntry| SAMPLE + width(&entry.label) * NAMES + BETWEEN;
    let mut lines: Vec<Vec<(f64, &KeyEntry)>> = Vec::new();
    let mut x = f64::INFINITY;
    for group in key {
        let all: f64 = group.iter().map(wide).sum();
        if x + all - BETWEEN > f64::from(WIDTH) - PAD {
            lines.push(Vec::new());
            x = PAD;
        }
        for entry in group {
            lines
                .last_mut()
                .into_iter()
                .for_each(|line| line.push((x, entry)));
            x += wide(entry);
        }
    }
    lines
}

fn draw_key(canvas: &mut Canvas, lines: &[Vec<(f64, &KeyEntry)>], top: f64) {
    for (at, line) in lines.iter().enumerate() {
        let y = top + (at as f64 + 0.5) * LINE;
        for (x, entry) in line {
            signs::sample(canvas, &entry.sample, (*x, y));
            let room = (f64::from(WIDTH) - PAD - x - SAMPLE) / NAMES;
            let words = cut(&entry.label, room);
            canvas.words((x + SAMPLE, y), &words, NAMES, palette::NIGHT, Side::Left);
        }
    }
}

#[cfg(test)]
mod tests;
