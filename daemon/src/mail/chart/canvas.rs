//! A sheet to draw on, in pixels of a mail's layout.

use plotters::element::DashedPathElement;
use plotters::prelude::{
    Circle, DrawingArea, IntoDrawingArea, PathElement, Polygon, SVGBackend, Text,
};
use plotters::style::text_anchor::{Pos, VPos};
use plotters::style::{Color, IntoFont, RGBColor, ShapeStyle, TextStyle};

use super::{ChartError, FAMILY, WIDTH, palette};

/// Units of the drawing in a pixel of the layout: it knows whole units only, so they are small.
pub(super) const UNITS: u32 = 8;
/// plotters takes the size of letters with the space around them, and writes so much less.
const POINTS: f64 = 1.24;
/// Radius of the card's corners.
const CORNER: f64 = 10.0;

/// A point in pixels of the layout.
pub(super) type Point = (f64, f64);

/// Where text stands beside its point.
pub(super) use plotters::style::text_anchor::HPos as Side;

/// How a line is drawn.
#[derive(Debug, Clone, Copy)]
pub(super) struct Stroke {
    pub(super) colour: RGBColor,
    pub(super) width: f64,
    /// Lengths of dash and gap.
    pub(super) dash: Option<(f64, f64)>,
}

impl Stroke {
    pub(super) const fn solid(colour: RGBColor, width: f64) -> Self {
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

    fn style(self) -> ShapeStyle {
        self.colour.stroke_width(units(self.width).unsigned_abs())
    }
}

/// Something drawn.
enum Shape {
    Line(Vec<Point>, Stroke),
    Area(Vec<Point>, RGBColor),
    Disc(Point, f64, RGBColor),
    Words {
        at: Point,
        text: String,
        size: f64,
        colour: RGBColor,
        side: Side,
    },
}

/// Shapes on a card of a fixed width and of a height.
pub(super) struct Canvas {
    height: u32,
    shapes: Vec<Shape>,
}

impl Canvas {
    /// An empty card.
    pub(super) fn new(height: f64) -> Self {
        let height = height.ceil() as u32;
        let mut canvas = Self {
            height,
            shapes: Vec::new(),
        };
        let (width, height) = (f64::from(WIDTH), f64::from(height));
        canvas.area(card((width, height), 0.0), palette::EDGE);
        canvas.area(card((width, height), 1.0), palette::CARD);
        canvas
    }

    /// Its height.
    pub(super) const fn height(&self) -> u32 {
        self.height
    }

    /// A line through points.
    pub(super) fn line(&mut self, points: impl IntoIterator<Item = Point>, stroke: Stroke) {
        let points = points.into_iter().collect();
        self.shapes.push(Shape::Line(points, stroke));
    }

    /// A filled area.
    pub(super) fn area(&mut self, points: impl IntoIterator<Item = Point>, colour: RGBColor) {
        let points = points.into_iter().collect();
        self.shapes.push(Shape::Area(points, colour));
    }

    /// A filled circle.
    pub(super) fn disc(&mut self, centre: Point, radius: f64, colour: RGBColor) {
        self.shapes.push(Shape::Disc(centre, radius, colour));
    }

    /// Words whose middle line goes through a point.
    pub(super) fn words(&mut self, at: Point, text: &str, size: f64, colour: RGBColor, side: Side) {
        // What XML cannot hold.
        let held = |c: char| !c.is_control() && !matches!(c, '\u{fffe}' | '\u{ffff}');
        let text = text.chars().map(|c| if held(c) { c } else { ' ' });
        self.shapes.push(Shape::Words {
            at,
            text: text.collect(),
            size,
            colour,
            side,
        });
    }

    /// The drawing.
    pub(super) fn svg(&self) -> Result<String, ChartError> {
        let mut svg = String::new();
        let size = (WIDTH * UNITS, self.height * UNITS);
        let area = SVGBackend::with_string(&mut svg, size).into_drawing_area();
        for shape in &self.shapes {
            draw(&area, shape).map_err(|error| ChartError::Draw(error.to_string()))?;
        }
        area.present()
            .map_err(|error| ChartError::Draw(error.to_string()))?;
        drop(area);
        // plotters leaves ends and corners of lines sharp.
        Ok(svg.replacen(
            "<svg ",
            "<svg stroke-linejoin=\"round\" stroke-linecap=\"round\" ",
            1,
        ))
    }
}

type Area<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;
type Failed<'a> = plotters::drawing::DrawingAreaErrorKind<
    <SVGBackend<'a> as plotters::prelude::DrawingBackend>::ErrorType,
>;

fn draw<'a>(area: &Area<'a>, shape: &Shape) -> Result<(), Failed<'a>> {
    match shape {
        Shape::Line(points, stroke) => {
            let points: Vec<(i32, i32)> = points.iter().map(place).collect();
            match stroke.dash {
                None => area.draw(&PathElement::new(points, stroke.style())),
                Some((dash, gap)) => area.draw(&DashedPathElement::new(
                    points,
                    units(dash),
                    units(gap),
                    stroke.style(),
                )),
            }
        }
        Shape::Area(points, colour) => {
            let points: Vec<(i32, i32)> = points.iter().map(place).collect();
            area.draw(&Polygon::new(points, colour.filled()))
        }
        Shape::Disc(centre, radius, colour) => {
            area.draw(&Circle::new(place(centre), units(*radius), colour.filled()))
        }
        Shape::Words {
            at,
            text,
            size,
            colour,
            side,
        } => {
            let font = (FAMILY, size * f64::from(UNITS) * POINTS).into_font();
            let style = TextStyle::from(font)
                .color(colour)
                .pos(Pos::new(*side, VPos::Center));
            area.draw(&Text::new(text.as_str(), place(at), style))
        }
    }
}

fn place(point: &Point) -> (i32, i32) {
    (units(point.0), units(point.1))
}

fn units(pixels: f64) -> i32 {
    (pixels * f64::from(UNITS)).round() as i32
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
