//! What was drawn, as pixels.

use tiny_skia::{
    FillRule, LineCap, LineJoin, Paint, Path, PathBuilder, Pixmap, StrokeDash, Transform,
};

use super::ChartError;
use super::canvas::{Canvas, Point, Shape, Side, Stroke, Words};
use super::font::Font;
use super::palette::{self, Colour};
use super::size::CORNER;

/// What was drawn on a card, with so many pixels for each of the layout.
pub(super) fn pixels(canvas: &Canvas, sharpness: f32) -> Result<Pixmap, ChartError> {
    let (width, height) = canvas.size();
    let pixels = |length: f64| (length * f64::from(sharpness)).round() as u32;
    let (wide, high) = (pixels(width), pixels(height));
    let mut picture = Picture {
        pixels: Pixmap::new(wide, high).ok_or(ChartError::Size(wide, high))?,
        font: Font::compiled_in()?,
        scale: Transform::from_scale(sharpness, sharpness),
    };
    picture.area(&card((width, height), 0.0), palette::EDGE);
    picture.area(&card((width, height), 1.0), palette::CARD);
    for shape in canvas.shapes() {
        picture.draw(shape);
    }
    Ok(picture.pixels)
}

struct Picture {
    pixels: Pixmap,
    font: Font,
    /// From pixels of the layout to those of the picture.
    scale: Transform,
}

impl Picture {
    fn draw(&mut self, shape: &Shape) {
        match shape {
            Shape::Line(points, stroke) => self.line(points, *stroke),
            Shape::Area(points, colour) => self.area(points, *colour),
            Shape::Disc(centre, radius, colour) => {
                let circle =
                    PathBuilder::from_circle(centre.0 as f32, centre.1 as f32, *radius as f32);
                self.fill(circle, *colour, self.scale);
            }
            Shape::Words(words) => self.words(words),
        }
    }

    fn line(&mut self, points: &[Point], stroke: Stroke) {
        if let Some(path) = through(points).finish() {
            let paint = paint(stroke.colour);
            self.pixels
                .stroke_path(&path, &paint, &pen(stroke), self.scale, None);
        }
    }

    fn area(&mut self, points: &[Point], colour: Colour) {
        let mut outline = through(points);
        outline.close();
        self.fill(outline.finish(), colour, self.scale);
    }

    fn words(&mut self, words: &Words) {
        let set = self.font.set(&words.text);
        let size = words.size as f32;
        let before = match words.side {
            Side::Left => 0.0,
            Side::Center => set.width / 2.0,
            Side::Right => set.width,
        };
        let origin = (words.at.0 as f32 - before * size, words.base() as f32);
        let place = self
            .scale
            .pre_translate(origin.0, origin.1)
            .pre_scale(size, -size);
        self.fill(set.outline, words.colour, place);
    }

    fn fill(&mut self, path: Option<Path>, colour: Colour, place: Transform) {
        if let Some(path) = path {
            let paint = paint(colour);
            self.pixels
                .fill_path(&path, &paint, FillRule::Winding, place, None);
        }
    }
}

fn pen(stroke: Stroke) -> tiny_skia::Stroke {
    let dash = stroke.dash;
    tiny_skia::Stroke {
        width: stroke.width as f32,
        line_cap: LineCap::Round,
        line_join: LineJoin::Round,
        dash: dash.and_then(|(dash, gap)| StrokeDash::new(vec![dash as f32, gap as f32], 0.0)),
        ..tiny_skia::Stroke::default()
    }
}

fn paint(colour: Colour) -> Paint<'static> {
    let [red, green, blue] = colour.rgb;
    let mut paint = Paint::default();
    paint.set_color_rgba8(red, green, blue, u8::MAX);
    paint
}

fn through(points: &[Point]) -> PathBuilder {
    let mut path = PathBuilder::new();
    for (x, y) in points {
        let (x, y) = (*x as f32, *y as f32);
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
