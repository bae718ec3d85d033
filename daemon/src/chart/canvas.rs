//! A sheet to draw on, in pixels of the layout: it keeps what was drawn, in order, for a surface to show.

use duskflight_core::id::BlockId;

use super::WIDTH;
use super::palette::Colour;

/// A point in pixels of the layout.
pub(super) type Point = (f64, f64);

/// How a line is drawn; ends and corners are round.
#[derive(Debug, Clone, Copy, PartialEq)]
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
}

/// Which part of words stands at their point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Side {
    Left,
    Center,
    Right,
}

/// What is drawn.
#[derive(Debug)]
pub(super) enum Shape {
    /// A line through points.
    Line(Vec<Point>, Stroke),
    /// A filled area.
    Area(Vec<Point>, Colour),
    /// A filled circle: its centre and radius.
    Disc(Point, f64, Colour),
    /// Words.
    Words(Words),
}

/// Words whose middle line goes through a point.
#[derive(Debug)]
pub(super) struct Words {
    pub(super) at: Point,
    pub(super) text: String,
    pub(super) size: f64,
    pub(super) colour: Colour,
    pub(super) side: Side,
    /// The block that they name, where they may lead to it.
    pub(super) block: Option<BlockId>,
}

impl Words {
    /// Where their base line is: half of small letters' height below the middle line, a quarter of the size.
    pub(super) fn base(&self) -> f64 {
        self.at.1 + self.size / 4.0
    }
}

/// A card of a fixed width and of a height.
pub(super) struct Canvas {
    height: f64,
    shapes: Vec<Shape>,
}

impl Canvas {
    /// An empty card.
    pub(super) fn new(height: f64) -> Self {
        Self {
            // A height of fours has whole pixels.
            height: (height / 4.0).ceil() * 4.0,
            shapes: Vec::new(),
        }
    }

    /// Its width and height.
    pub(super) fn size(&self) -> (f64, f64) {
        (f64::from(WIDTH), self.height)
    }

    /// What was drawn on it, the lowest first.
    pub(super) fn shapes(&self) -> &[Shape] {
        &self.shapes
    }

    /// A line through points.
    pub(super) fn line(&mut self, points: impl IntoIterator<Item = Point>, stroke: Stroke) {
        let points = points.into_iter().collect();
        self.shapes.push(Shape::Line(points, stroke));
    }

    /// A filled area.
    pub(super) fn area(&mut self, points: impl IntoIterator<Item = Point>, colour: Colour) {
        let points = points.into_iter().collect();
        self.shapes.push(Shape::Area(points, colour));
    }

    /// A filled circle.
    pub(super) fn disc(&mut self, centre: Point, radius: f64, colour: Colour) {
        self.shapes.push(Shape::Disc(centre, radius, colour));
    }

    /// Words whose middle line goes through a point.
    pub(super) fn words(&mut self, at: Point, text: &str, size: f64, colour: Colour, side: Side) {
        self.shapes.push(Shape::Words(Words {
            at,
            text: text.to_owned(),
            size,
            colour,
            side,
            block: None,
        }));
    }

    /// The name of a block, which may lead to it.
    pub(super) fn name(&mut self, words: Words) {
        self.shapes.push(Shape::Words(words));
    }
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
