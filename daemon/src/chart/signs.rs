//! The signs of a season at a glance. What is known is dark and filled, what is expected or provisional is
//! hollow, and what is projected is an amber bar. Each kind has a shape of its own.

use duskflight_core::contents::chart::{KeySample, Sign, SignKind, SignState};

use super::canvas::{Canvas, Point, Side, Stroke};
use super::palette::{self, Colour};

/// Size of labels in signs.
pub(super) const LABEL: f64 = 14.4;
/// Where in a row marks and starts stand, and where splits and shakes do.
const UPPER: f64 = 8.8;
const LOWER: f64 = 21.6;
/// Half of the height of a mark's box and of a projected bar.
const HALF: f64 = 7.4;
/// A bar is not narrower, so that its label fits.
const NARROWEST: f64 = 13.0;
/// The days within which something falls.
const THIN: Stroke = Stroke::solid(palette::NIGHT, 1.6);
/// How high a flight rises.
const HILL: f64 = 19.2;

/// Draws a sign over its days in a row.
pub(super) fn draw(canvas: &mut Canvas, sign: &Sign, [early, middle, late]: [f64; 3], row: f64) {
    let y = match sign.kind {
        SignKind::Start | SignKind::Mark => row + UPPER,
        SignKind::Split | SignKind::Shake => row + LOWER,
    };
    let label = sign.label.as_deref();
    if sign.is_bar() {
        return bar(canvas, sign.state, label, [early, late], y);
    }
    if late > early {
        canvas.line([(early, y), (late, y)], THIN);
    }
    at(canvas, (sign.kind, sign.state), label, (middle, y));
}

/// A sample before the words of a key, from a point to the right.
pub(super) fn sample(canvas: &mut Canvas, sample: &KeySample, (x, y): Point) {
    let middle = (x + 11.0, y);
    match sample {
        KeySample::Sign(SignKind::Mark, state, label) if *state != SignState::Known => {
            bar(canvas, *state, label.as_deref(), [x, x + 22.0], y);
        }
        KeySample::Sign(kind, state, label) => {
            at(canvas, (*kind, *state), label.as_deref(), middle);
        }
        KeySample::Letter(letter) => {
            canvas.words(middle, letter, LABEL, palette::NIGHT, Side::Center);
        }
        KeySample::Days => canvas.line([(x + 1.0, y), (x + 22.0, y)], THIN),
        KeySample::Flight => {
            hill(
                canvas,
                [x, x + 9.0, x + 23.0],
                [true; 2],
                true,
                y + HILL / 2.0,
            );
        }
    }
}

/// A flight that rises from its first day to the highest reading and falls to its last. An end that is not
/// told does not come down to the ground.
pub(super) fn hill(
    canvas: &mut Canvas,
    [from, highest, to]: [f64; 3],
    [started, ended]: [bool; 2],
    peaked: bool,
    ground: f64,
) {
    let height = |told: bool| ground - if told { 0.0 } else { 0.6 * HILL };
    let top = (highest, ground - HILL);
    let slope = [(from, height(started)), top, (to, height(ended))];
    let sides = [(from, ground), (to, ground)];
    canvas.area(
        [sides[0], slope[0], slope[1], slope[2], sides[1]],
        palette::BAND,
    );
    canvas.line(slope, Stroke::solid(palette::BAND_MIDDLE, 1.6));
    if peaked {
        canvas.disc(top, 2.6, palette::BAND_MIDDLE);
    }
}

/// The days for which a mark is projected, filled where that rests on nothing provisional.
fn bar(
    canvas: &mut Canvas,
    state: SignState,
    label: Option<&str>,
    [early, late]: [f64; 2],
    y: f64,
) {
    let wide = (late - early).max(NARROWEST);
    let middle = f64::midpoint(early, late);
    let reach = wide / 2.0 - HALF;
    let ends = [(middle - reach.max(0.0), y), (middle + reach.max(0.0), y)];
    let inside = match state {
        SignState::Provisional => palette::CARD,
        SignState::Known | SignState::Ahead => palette::AMBER,
    };
    canvas.line(ends, Stroke::solid(palette::DARK_AMBER, 2.0 * HALF));
    canvas.line(ends, Stroke::solid(inside, 2.0 * HALF - 3.0));
    words(canvas, label, (middle, y), palette::NIGHT);
}

/// A sign on one day, set off from what lies below it.
fn at(canvas: &mut Canvas, (kind, state): (SignKind, SignState), label: Option<&str>, at: Point) {
    let mut shape = |size: f64, colour: Colour| match kind {
        SignKind::Start => canvas.disc(at, size, colour),
        SignKind::Mark => canvas.area(square(at, size), colour),
        SignKind::Split => canvas.area(diamond(at, 1.2 * size), colour),
        SignKind::Shake => canvas.area(falling(at, 1.2 * size), colour),
    };
    let size = match kind {
        SignKind::Start => 6.8,
        SignKind::Mark => HALF,
        SignKind::Split | SignKind::Shake => 5.5,
    };
    let filled = state == SignState::Known;
    shape(size + 1.6, palette::CARD);
    shape(size, palette::NIGHT);
    if !filled {
        shape(size - 2.4, palette::CARD);
    }
    let ink = if filled {
        palette::CARD
    } else {
        palette::NIGHT
    };
    words(canvas, label, at, ink);
}

/// A label in a sign: figures are higher than small letters, by whose middle words are set.
fn words(canvas: &mut Canvas, label: Option<&str>, (x, y): Point, ink: Colour) {
    let at = (x, y + 0.1 * LABEL);
    canvas.words(at, label.unwrap_or(""), LABEL, ink, Side::Center);
}

fn square((x, y): Point, half: f64) -> [Point; 4] {
    [
        (x - half, y - half),
        (x + half, y - half),
        (x + half, y + half),
        (x - half, y + half),
    ]
}

fn diamond((x, y): Point, half: f64) -> [Point; 4] {
    [(x, y - half), (x + half, y), (x, y + half), (x - half, y)]
}

/// A triangle that stands on its corner.
fn falling((x, y): Point, half: f64) -> [Point; 3] {
    let y = y - 0.3 * half;
    [
        (x - half, y - 0.55 * half),
        (x + half, y - 0.55 * half),
        (x, y + 1.15 * half),
    ]
}
