//! What lines and signs mean, one row each below a chart.

use super::canvas::{Canvas, Point, Side, Stroke, width};
use super::plot::{PAD, WORDS};
use super::{WIDTH, palette};

/// Height of a line of words.
const LINE: f64 = 26.0;
/// Space after a row.
const GAP: f64 = 4.0;
/// Width of the sample before the words.
const SAMPLE: f64 = 44.0;
/// Space between sample and words.
const BETWEEN: f64 = 12.0;

/// What stands before the words of a row.
pub(super) enum Sample {
    /// A line.
    Line(Stroke),
    /// A line with a dot at its end.
    Ended(Stroke),
    /// The band of earlier years.
    Band,
    /// A number in a circle.
    Badge(usize, bool),
    /// A sign.
    Hollow,
}

/// A row: its sample and its words.
pub(super) type Row = (Sample, String);

/// How high rows are.
pub(super) fn height(rows: &[Row]) -> f64 {
    let lines: usize = rows.iter().map(|(_, words)| wrapped(words).len()).sum();
    lines as f64 * LINE + rows.len() as f64 * GAP
}

/// Draws rows below a height.
pub(super) fn draw(canvas: &mut Canvas, rows: &[Row], top: f64) {
    let mut y = top + LINE / 2.0;
    for (sample, words) in rows {
        sample.draw(canvas, (PAD, y));
        for line in wrapped(words) {
            let at = (PAD + SAMPLE + BETWEEN, y);
            canvas.words(at, &line, WORDS, palette::NIGHT, Side::Left);
            y += LINE;
        }
        y += GAP;
    }
}

fn wrapped(words: &str) -> Vec<String> {
    let room = (f64::from(WIDTH) - 2.0 * PAD - SAMPLE - BETWEEN) / WORDS;
    let mut lines = vec![String::new()];
    for word in words.split(' ') {
        let line = lines.last_mut().expect("begins with one line");
        if !line.is_empty() && width(line) + width(" ") + width(word) > room {
            lines.push(word.to_owned());
            continue;
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines
}

impl Sample {
    fn draw(&self, canvas: &mut Canvas, (x, y): Point) {
        let middle = (x + SAMPLE / 2.0, y);
        match self {
            Self::Line(stroke) => canvas.line([(x, y), (x + SAMPLE, y)], *stroke),
            Self::Ended(stroke) => {
                canvas.line([(x, y), (x + SAMPLE - 7.0, y)], *stroke);
                canvas.disc((x + SAMPLE - 7.0, y), 7.5, stroke.colour);
            }
            Self::Band => {
                let corners = [
                    (x, y - 9.0),
                    (x + SAMPLE, y - 9.0),
                    (x + SAMPLE, y + 9.0),
                    (x, y + 9.0),
                ];
                canvas.area(corners, palette::BAND);
                let line = Stroke::solid(palette::BAND_MIDDLE, 1.8);
                canvas.line([(x, y), (x + SAMPLE, y)], line);
            }
            Self::Badge(number, filled) => badge(canvas, middle, *number, *filled),
            Self::Hollow => {
                canvas.disc(middle, 7.0, palette::NIGHT);
                canvas.disc(middle, 4.5, palette::CARD);
            }
        }
    }
}

/// A number in a circle: filled for what has happened, else open.
pub(super) fn badge(canvas: &mut Canvas, at: Point, number: usize, filled: bool) {
    let (edge, inside, ink) = match filled {
        true => (palette::NIGHT, palette::NIGHT, palette::CARD),
        false => (palette::DARK_AMBER, palette::CARD, palette::NIGHT),
    };
    canvas.disc(at, 15.5, palette::CARD);
    canvas.disc(at, 13.5, edge);
    canvas.disc(at, 11.3, inside);
    canvas.words(at, &number.to_string(), 17.0, ink, Side::Center);
}
