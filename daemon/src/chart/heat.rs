//! Draws the heat of a season.

use duskflight_core::contents::HeatChart;
use duskflight_core::contents::chart::{HeatPoint, MarkLine};

use super::canvas::{Canvas, Point, Stroke};
use super::key::{self, Row, Sample, badge};
use super::palette;
use super::plot::{DAYS, PAD, Plot, TOP, heading};

/// Height of the field.
const FIELD: f64 = 330.0;

/// Numbers are so far apart at least.
const NUMBERS_APART: f64 = 28.0;

/// This season.
const KNOWN: Stroke = Stroke::solid(palette::NIGHT, 4.5);
/// Its estimated days.
const ESTIMATED: Stroke = KNOWN.dashed(5.0, 7.0);
/// How it would go on.
const AHEAD: Stroke = Stroke::solid(palette::DARK_AMBER, 3.0).dashed(1.0, 7.0);

/// Draws it.
pub(super) fn draw(chart: &HeatChart) -> Canvas {
    let rows = rows(chart);
    let below = TOP + FIELD + DAYS + 8.0;
    let mut canvas = Canvas::new(below + key::height(&rows) + PAD - 8.0);
    let plot = Plot::new(&chart.frame, &chart.sums, TOP, FIELD);
    heading(&mut canvas, &chart.frame);
    earlier_years(&mut canvas, &plot, chart);
    plot.grid(&mut canvas, &chart.sums, &chart.frame.days);
    plot.days(&mut canvas, &chart.frame.days);
    for mark in &chart.marks {
        level(&mut canvas, &plot, mark);
    }
    season(&mut canvas, &plot, chart);
    numbers(&mut canvas, &plot, &chart.marks);
    key::draw(&mut canvas, &rows, below);
    canvas
}

fn rows(chart: &HeatChart) -> Vec<Row> {
    let mut rows = vec![(Sample::Ended(KNOWN), chart.known_label.clone())];
    let estimated = chart.estimated_label.iter();
    rows.extend(estimated.map(|label| (Sample::Line(ESTIMATED), label.clone())));
    let band = chart.band_label.iter();
    rows.extend(band.map(|label| (Sample::Band, label.clone())));
    let ahead = chart.ahead_label.iter();
    rows.extend(ahead.map(|label| (Sample::Line(AHEAD), label.clone())));
    let marks = (1..).zip(&chart.marks);
    rows.extend(
        marks.map(|(number, mark)| (Sample::Badge(number, mark.passed), mark.label.clone())),
    );
    rows
}

fn earlier_years(canvas: &mut Canvas, plot: &Plot, chart: &HeatChart) {
    let band = || chart.band.iter();
    let up = band().map(|day| plot.at(day.day, day.low));
    let back = band().rev().map(|day| plot.at(day.day, day.high));
    canvas.area(up.chain(back), palette::BAND);
    let middle = band().map(|day| plot.at(day.day, day.middle));
    canvas.line(middle, Stroke::solid(palette::BAND_MIDDLE, 1.8));
}

/// A mark's level up to its day or range, and the range as a bar.
fn level(canvas: &mut Canvas, plot: &Plot, mark: &MarkLine) {
    let y = plot.y(mark.sum);
    let thin = Stroke::solid(palette::NIGHT, 1.4).dashed(6.0, 5.0);
    canvas.line([(plot.left(), y), (plot.x(mark.early), y)], thin);
    if mark.passed {
        canvas.disc(plot.at(mark.early, mark.sum), 5.5, palette::NIGHT);
    } else {
        let ends = [(plot.x(mark.early), y), (plot.x(mark.late), y)];
        canvas.line(ends, Stroke::solid(palette::DARK_AMBER, 12.0));
        canvas.line(ends, Stroke::solid(palette::AMBER, 8.5));
        let middle = plot.x(mark.middle);
        let tick = [(middle, y - 4.5), (middle, y + 4.5)];
        canvas.line(tick, Stroke::solid(palette::DARK_AMBER, 3.0));
    }
}

/// The numbers of marks, above their levels and left of the curve, where nothing is drawn; one that
/// would lie on another moves on to the left.
fn numbers(canvas: &mut Canvas, plot: &Plot, marks: &[MarkLine]) {
    let mut placed: Vec<Point> = Vec::new();
    for (number, mark) in (1..).zip(marks) {
        let (x, y) = plot.at(mark.early, mark.sum);
        let mut at = (x.max(plot.left() + 22.0) - 8.0, y - 21.0);
        let covers =
            |at: &Point, other: &Point| (at.0 - other.0).hypot(at.1 - other.1) < NUMBERS_APART;
        while placed.iter().any(|other| covers(&at, other)) {
            at.0 -= 4.0;
        }
        badge(canvas, at, number, mark.passed);
        placed.push(at);
    }
}

/// The season so far and ahead.
fn season(canvas: &mut Canvas, plot: &Plot, chart: &HeatChart) {
    let Some(newest) = chart.known.last() else {
        return;
    };
    let at = plot.at(newest.day, newest.sum);
    let ahead = chart.ahead.iter().map(|day| plot.at(day.day, day.sum));
    canvas.line(std::iter::once(at).chain(ahead), AHEAD);
    for stretch in chart.known.chunk_by(|a, b| a.estimated == b.estimated) {
        let from = before(&chart.known, &stretch[0]);
        let points = from.into_iter().chain(stretch);
        let stroke = if stretch[0].estimated {
            ESTIMATED
        } else {
            KNOWN
        };
        canvas.line(points.map(|day| plot.at(day.day, day.sum)), stroke);
    }
    canvas.disc(at, 9.5, palette::CARD);
    canvas.disc(at, 7.5, palette::NIGHT);
}

/// The day before one, so that stretches join.
fn before<'a>(all: &'a [HeatPoint], day: &HeatPoint) -> Option<&'a HeatPoint> {
    let at = all.iter().position(|other| other.day == day.day)?;
    all.get(at.checked_sub(1)?)
}
