//! A sheet to draw on, in pixels of a mail's layout.

use tiny_skia::{
    FillRule, LineCap, LineJoin, Paint, Path, PathBuilder, Pixmap, StrokeDash, Transform,
};

use super::font::Font;
use super::palette::{self, Colour};
use super::size::SHARPNESS;
use super::{ChartError, WIDTH};

/// Radius of the card's corners.
const CORNER: f64 = 10.0;

/// A point in pixels of the layout.
pub(super) type Point = (f64, f64);

/// How a line is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stroke {
    pub(super) colour: Colour,
    pub(super) width: f64,
    /// Lengths of dash and gap.
    pub(super) dash: Option<(f64, f64)>,
}

impl Stroke {
    pub(super) const fn solid(colour: Colour, width: f64) -> Self {
        Self {
            colour,
            width,
            dash: None,
        }
    }

    pub(super) const fn dashed(self, dash: f64, gap: f64) -> Self {
        Self {
            dash: Some((dash, gap)),
            ..self
        }
    }

    /// Ends and corners are round.
    fn pen(self) -> tiny_skia::Stroke {
        let dash = self.dash;
        tiny_skia::Stroke {
            width: self.width as f32,
            line_cap: LineCap::Round,
            line_join: LineJoin::Round,
            dash: dash.and_then(|(dash, gap)| StrokeDash::new(vec![dash as f32, gap as f32], 0.0)),
            ..tiny_skia::Stroke::default()
        }
    }
}

/// Which part of words stands at their point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Center,
    Right,
}

/// A card of a fixed width and of a height.
pub(super) struct Canvas {
    picture: Pixmap,
    font: Font,
    sharpness: f32,
}

impl Canvas {
    /// An empty card.
    pub(super) fn new(height: f64) -> Result<Self, ChartError> {
        Self::of_sharpness(height, SHARPNESS)
    }

    /// An empty card with so many pixels for each of the layout.
    pub(super) fn of_sharpness(height: f64, sharpness: f32) -> Result<Self, ChartError> {
        // A height of fours has whole pixels.
        let height = (height / 4.0).ceil() * 4.0;
        let pixels = |length: f64| (length * f64::from(sharpness)).round() as u32;
        let (wide, high) = (pixels(f64::from(WIDTH)), pixels(height));
        let mut canvas = Self {
            picture: Pixmap::new(wide, high).ok_or(ChartError::Size(wide, high))?,
            font: Font::compiled_in()?,
            sharpness,
        };
        let size = (f64::from(WIDTH), height);
        canvas.area(card(size, 0.0), palette::EDGE);
        canvas.area(card(size, 1.0), palette::CARD);
        Ok(canvas)
    }

    /// What was drawn.
    pub(super) const fn picture(&self) -> &Pixmap {
        &self.picture
    }

    /// A line through points.
    pub(super) fn line(&mut self, points: impl IntoIterator<Item = Point>, stroke: Stroke) {
        let Some(path) = through(points).finish() else {
            return;
        };
        let paint = paint(stroke.colour);
        self.picture
            .stroke_path(&path, &paint, &stroke.pen(), self.scale(), None);
    }

    /// A filled area.
    pub(super) fn area(&mut self, points: impl IntoIterator<Item = Point>, colour: Colour) {
        let mut outline = through(points);
        outline.close();
        self.fill(outline.finish(), colour, self.scale());
    }

    /// A filled circle.
    pub(super) fn disc(&mut self, centre: Point, radius: f64, colour: Colour) {
        let circle = PathBuilder::from_circle(centre.0 as f32, centre.1 as f32, radius as f32);
        self.fill(circle, colour, self.scale());
    }

    /// Words whose middle line goes through a point.
    pub(super) fn words(&mut self, at: Point, text: &str, size: f64, colour: Colour, side: Side) {
        let set = self.font.set(text);
        let size = size as f32;
        let before = match side {
            Side::Left => 0.0,
            Side::Center => set.width / 2.0,
            Side::Right => set.width,
        };
        // Half of small letters' height below the middle line, a quarter of the size.
        let origin = (at.0 as f32 - before * size, at.1 as f32 + size / 4.0);
        let place = self
            .scale()
            .pre_translate(origin.0, origin.1)
            .pre_scale(size, -size);
        self.fill(set.outline, colour, place);
    }

    /// From pixels of the layout to those of the picture.
    fn scale(&self) -> Transform {
        Transform::from_scale(self.sharpness, self.sharpness)
    }

    fn fill(&mut self, path: Option<Path>, colour: Colour, place: Transform) {
        if let Some(path) = path {
            let paint = paint(colour);
            self.picture
                .fill_path(&path, &paint, FillRule::Winding, place, None);
        }
    }
}

fn paint(colour: Colour) -> Paint<'static> {
    let mut paint = Paint::default();
    paint.set_color_rgba8(colour.0, colour.1, colour.2, u8::MAX);
    paint
}

fn through(points: impl IntoIterator<Item = Point>) -> PathBuilder {
    let mut path = PathBuilder::new();
    for (x, y) in points {
        let (x, y) = (x as f32, y as f32);
        if path.is_empty() {
            path.move_to(x, y);
        } else {
            path.line_to(x, y);
        }
    }
    path
}

/// The outline of the card, so far inside the edge.
fn card((width, height): (f64, f64), inset: f64) -> Vec<Point> {
    let radius = CORNER - inset;
    let centres = [
        (width - CORNER, CORNER, -90.0),
        (width - CORNER, height - CORNER, 0.0),
        (CORNER, height - CORNER, 90.0),
        (CORNER, CORNER, 180.0),
    ];
    let corner = |(x, y, from): (f64, f64, f64)| {
        (0..=9).map(move |step| {
            let angle = (from + 10.0 * f64::from(step)).to_radians();
            (x + radius * angle.cos(), y + radius * angle.sin())
        })
    };
    centres.into_iter().flat_map(corner).collect()
}

/// About how wide words are, in their size, and rather too wide: the font's letters are of about five
/// widths.
pub(super) fn width(text: &str) -> f64 {
    let of = |letter: char| match letter {
        'i' | 'j' | 'l' | 'I' | '.' | ',' | ':' | ';' | '\'' | '!' | '·' | ' ' | '\u{a0}' => 0.29,
        'f' | 't' | 'r' | '(' | ')' | '/' | '1' => 0.42,
        'a'..='z' if !matches!(letter, 'm' | 'w') => 0.6,
        '0'..='9' | '–' => 0.64,
        'A'..='Z' if !matches!(letter, 'M' | 'W') => 0.72,
        _ => 0.98,
    };
    text.chars().map(of).sum()
}

/// Words cut to a width, in their size, with a sign that they were.
pub(super) fn cut(text: &str, room: f64) -> String {
    if width(text) <= room {
        return text.to_owned();
    }
    let mut kept = String::new();
    for letter in text.chars() {
        kept.push(letter);
        if width(&kept) + width("…") > room {
            kept.pop();
            break;
        }
    }
    kept.truncate(kept.trim_end().len());
    kept + "…"
}
