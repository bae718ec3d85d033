//! Draws catches with flights, one field for each kind of trap.

use duskflight_core::contents::CatchChart;
use duskflight_core::contents::chart::{FlightSpan, Panel, ReadingPoint};
use duskflight_core::orchard::TrapKind;

use super::canvas::{Canvas, Point, Side, Stroke, cut};
use super::key::{self, Row, Sample, badge};
use super::plot::{DAYS, PAD, Plot, TOP, WORDS, heading};
use super::{WIDTH, palette};

/// Height of a field where there is one.
const ALONE: f64 = 300.0;
/// And where there are several.
const BESIDE: f64 = 165.0;
/// Room for a field's title.
const TITLE: f64 = 34.0;
/// Room for the spans of flights on top of a field.
const SPANS: f64 = 40.0;

/// How far a span goes on where its end is not told.
const OPEN: f64 = 44.0;

/// Draws it.
pub(super) fn draw(chart: &CatchChart) -> Canvas {
    let rows = rows(chart);
    let field = if chart.panels.len() == 1 {
        ALONE
    } else {
        BESIDE
    };
    let heights = chart
        .panels
        .iter()
        .map(|panel| TITLE + spans_room(panel) + field + DAYS);
    let below = TOP - 8.0 + heights.sum::<f64>() + 8.0;
    let mut canvas = Canvas::new(below + key::height(&rows) + PAD - 8.0);
    heading(&mut canvas, &chart.frame);
    let mut top = TOP - 8.0;
    let mut number = 1;
    for panel in &chart.panels {
        let title = cut(&panel.title, (f64::from(WIDTH) - 2.0 * PAD - 26.0) / WORDS);
        sign(&mut canvas, (PAD + 8.0, top + 12.0), panel.kind, false);
        canvas.words(
            (PAD + 26.0, top + 12.0),
            &title,
            WORDS,
            palette::NIGHT,
            Side::Left,
        );
        let begin = top + TITLE + spans_room(panel);
        let plot = Plot::new(&chart.frame, &panel.rates, begin, field);
        plot.grid(&mut canvas, &panel.rates, &chart.frame.days);
        plot.days(&mut canvas, &chart.frame.days);
        for flight in &panel.flights {
            span(&mut canvas, &plot, flight, number);
            number += 1;
        }
        readings(&mut canvas, &plot, panel);
        top = begin + field + DAYS;
    }
    key::draw(&mut canvas, &rows, below);
    canvas
}

fn spans_room(panel: &Panel) -> f64 {
    if panel.flights.is_empty() { 6.0 } else { SPANS }
}

fn rows(chart: &CatchChart) -> Vec<Row> {
    let flights = chart.panels.iter().flat_map(|panel| &panel.flights);
    let flights = (1..).zip(flights);
    let mut rows: Vec<Row> = flights
        .map(|(number, flight)| (Sample::Badge(number, flight.peaked), flight.label.clone()))
        .collect();
    let hollow = chart.hollow_label.iter();
    rows.extend(hollow.map(|label| (Sample::Hollow, label.clone())));
    rows
}

/// A flight as a bar over the field from start to end, with its highest reading marked; an end that is
/// not told stays open.
fn span(canvas: &mut Canvas, plot: &Plot, flight: &FlightSpan, number: usize) {
    let y = plot.top() - SPANS / 2.0;
    let top = plot.x(flight.highest);
    let bar = Stroke::solid(palette::DARK_AMBER, 3.0);
    let cap = |canvas: &mut Canvas, x: f64| canvas.line([(x, y - 9.0), (x, plot.top())], bar);
    let from = flight.start.map(|day| plot.x(day));
    let to = flight.end.map(|day| plot.x(day));
    let (left, right) = (
        from.unwrap_or((top - OPEN).max(plot.left())),
        to.unwrap_or((top + OPEN).min(plot.right())),
    );
    canvas.line([(top, y), (left, y)], open(bar, from));
    canvas.line([(top, y), (right, y)], open(bar, to));
    for end in from.into_iter().chain(to) {
        cap(canvas, end);
    }
    canvas.line(
        [(top, y), (top, plot.bottom())],
        Stroke::solid(palette::DARK_AMBER, 1.6).dashed(5.0, 6.0),
    );
    badge(canvas, (top, y), number, flight.peaked);
}

/// A bar without an end is dotted.
fn open(bar: Stroke, end: Option<f64>) -> Stroke {
    match end {
        Some(_) => bar,
        None => bar.dashed(4.0, 7.0),
    }
}

fn readings(canvas: &mut Canvas, plot: &Plot, panel: &Panel) {
    let at = |reading: &ReadingPoint| Some(plot.at(reading.day, reading.rate?));
    for pair in panel.readings.windows(2) {
        if let (Some(one), Some(next), true) = (at(&pair[0]), at(&pair[1]), pair[1].joined) {
            canvas.line([one, next], stroke(panel.kind));
        }
    }
    for reading in &panel.readings {
        if let Some(point) = at(reading) {
            sign(canvas, point, panel.kind, reading.hollow);
        }
    }
}

const fn stroke(kind: TrapKind) -> Stroke {
    let line = Stroke::solid(palette::NIGHT, 2.6);
    match kind {
        TrapKind::Egg | TrapKind::Pheromone => line,
        TrapKind::PheromonePpo => line.dashed(10.0, 6.0),
        TrapKind::BaitBag => line.dashed(2.0, 6.0),
    }
}

/// A sign for each kind of trap.
fn sign(canvas: &mut Canvas, at: Point, kind: TrapKind, hollow: bool) {
    let mut shape = |size: f64, colour| match kind {
        TrapKind::Egg => canvas.area(polygon(at, size, 4, 0.0), colour),
        TrapKind::Pheromone => canvas.disc(at, 0.8 * size, colour),
        TrapKind::PheromonePpo => canvas.area(polygon(at, size, 4, 45.0), colour),
        TrapKind::BaitBag => canvas.area(polygon(at, 1.1 * size, 3, -90.0), colour),
    };
    shape(10.0, palette::CARD);
    shape(8.0, palette::NIGHT);
    if hollow {
        shape(4.6, palette::CARD);
    }
}

/// A regular polygon about a point, with its first corner at an angle.
fn polygon((x, y): Point, radius: f64, corners: u32, from: f64) -> Vec<Point> {
    let corner = |corner| {
        let turn = 360.0 * f64::from(corner) / f64::from(corners);
        let angle = (from + turn).to_radians();
        (x + radius * angle.cos(), y + radius * angle.sin())
    };
    (0..corners).map(corner).collect()
}
