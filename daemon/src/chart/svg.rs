//! What was drawn, as SVG to stand in a page: colours by class, words as text, nothing by style, so that a
//! page that allows no inline style shows it.

use std::fmt::Write as _;

use askama::filters::Escaper as _;
use duskflight_core::id::BlockId;

use super::canvas::{Canvas, Point, Shape, Side, Stroke, Words};
use super::palette::{self, Colour};
use super::size::CORNER;
use crate::one_line::Markup;

/// Leads from a block to its page.
pub type Link<'a> = &'a dyn Fn(&BlockId) -> Option<String>;

/// What was drawn on a card, with its sentences for those who do not see it. Names of blocks are links where
/// `link` has one; everything else is hidden from a screen reader then, since the sentences say it.
pub(super) fn svg(canvas: &Canvas, alt: &str, link: Link<'_>) -> String {
    let mut drawing = Drawing::default();
    drawing.card(canvas.size());
    for shape in canvas.shapes() {
        drawing.draw(shape, link);
    }
    let Drawing { shapes, links, .. } = drawing;
    let (width, height) = canvas.size();
    // A picture has no parts that can be followed.
    let (role, inside) = match links.is_empty() {
        true => ("img", shapes),
        false => (
            "group",
            format!("<g aria-hidden=\"true\">{shapes}</g>{links}"),
        ),
    };
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" class=\"chart\" viewBox=\"0 0 {} {}\" role=\"{role}\" \
         aria-label=\"{}\">{inside}</svg>",
        number(width),
        number(height),
        escaped(alt)
    )
}

#[derive(Default)]
struct Drawing {
    shapes: String,
    links: String,
    /// The stroke of the line that was drawn last, which goes on where the next one is drawn alike.
    open: Option<Stroke>,
}

impl Drawing {
    fn card(&mut self, (width, height): Point) {
        // Half of the edge's width inside.
        let _ = write!(
            self.shapes,
            "<rect class=\"{} {}\" stroke-width=\"1\" x=\".5\" y=\".5\" width=\"{}\" height=\"{}\" rx=\"{}\"/>",
            fill(palette::CARD),
            stroke(palette::EDGE),
            number(width - 1.0),
            number(height - 1.0),
            number(CORNER)
        );
    }

    fn draw(&mut self, shape: &Shape, link: Link<'_>) {
        match shape {
            Shape::Line(points, stroke) => self.line(points, *stroke),
            Shape::Area(points, colour) => self.area(points, *colour),
            Shape::Disc(centre, radius, colour) => self.disc(*centre, *radius, *colour),
            Shape::Words(words) => self.words(words, link),
        }
    }

    /// A line; one after another of the same stroke is part of it.
    fn line(&mut self, points: &[Point], stroke: Stroke) {
        let path = through(points);
        if path.is_empty() {
            return;
        }
        if self.open == Some(stroke) {
            self.shapes.truncate(self.shapes.len() - "\"/>".len());
            let _ = write!(self.shapes, "{path}\"/>");
            return;
        }
        let dash = stroke.dash.map(|(dash, gap)| {
            let (dash, gap) = (number(dash), number(gap));
            format!(" stroke-dasharray=\"{dash} {gap}\"")
        });
        let _ = write!(
            self.shapes,
            "<path class=\"{}\" stroke-width=\"{}\"{} d=\"{path}\"/>",
            self::stroke(stroke.colour),
            number(stroke.width),
            dash.unwrap_or_default()
        );
        self.open = Some(stroke);
    }

    fn area(&mut self, points: &[Point], colour: Colour) {
        self.open = None;
        let path = through(points);
        if !path.is_empty() {
            let class = fill(colour);
            let _ = write!(self.shapes, "<path class=\"{class}\" d=\"{path}z\"/>");
        }
    }

    fn disc(&mut self, (x, y): Point, radius: f64, colour: Colour) {
        self.open = None;
        let _ = write!(
            self.shapes,
            "<circle class=\"{}\" cx=\"{}\" cy=\"{}\" r=\"{}\"/>",
            fill(colour),
            number(x),
            number(y),
            number(radius)
        );
    }

    fn words(&mut self, words: &Words, link: Link<'_>) {
        if words.text.trim().is_empty() {
            return;
        }
        self.open = None;
        let text = text(words);
        match words.block.as_ref().and_then(link) {
            Some(href) => {
                let _ = write!(self.links, "<a href=\"{}\">{text}</a>", escaped(&href));
            }
            None => self.shapes.push_str(&text),
        }
    }
}

fn text(words: &Words) -> String {
    let anchor = match words.side {
        Side::Left => "",
        Side::Center => " mid",
        Side::Right => " end",
    };
    format!(
        "<text class=\"{}{anchor}\" font-size=\"{}\" x=\"{}\" y=\"{}\">{}</text>",
        fill(words.colour),
        number(words.size),
        number(words.at.0),
        number(words.base()),
        escaped(&words.text)
    )
}

fn fill(colour: Colour) -> String {
    format!("f-{}", colour.class)
}

fn stroke(colour: Colour) -> String {
    format!("s-{}", colour.class)
}

/// The way through points, each step from the one before, along and up by one number where it goes so. One
/// point alone is nothing; a dot has two, and round ends.
fn through(points: &[Point]) -> String {
    let mut steps = points.iter().map(|(x, y)| (tenths(*x), tenths(*y)));
    let Some(mut at) = steps.next() else {
        return String::new();
    };
    let mut path = format!("M{}{}", tenth(at.0), spaced(at.1));
    let begun = path.len();
    for next in steps {
        let step = (next.0 - at.0, next.1 - at.1);
        let _ = match step {
            (0, 0) if path.len() > begun => Ok(()),
            (along, 0) => write!(path, "h{}", tenth(along)),
            (0, down) => write!(path, "v{}", tenth(down)),
            (along, down) => write!(path, "l{}{}", tenth(along), spaced(down)),
        };
        at = next;
    }
    path
}

/// A length to a tenth, in the fewest letters.
fn number(length: f64) -> String {
    tenth(tenths(length))
}

fn tenths(length: f64) -> i64 {
    (length * 10.0).round() as i64
}

fn tenth(tenths: i64) -> String {
    let sign = if tenths < 0 { "-" } else { "" };
    match (tenths.abs() / 10, tenths.abs() % 10) {
        (whole, 0) => format!("{sign}{whole}"),
        (0, part) => format!("{sign}.{part}"),
        (whole, part) => format!("{sign}{whole}.{part}"),
    }
}

/// A number after another one, which a minus sets apart by itself.
fn spaced(tenths: i64) -> String {
    let gap = if tenths < 0 { "" } else { " " };
    format!("{gap}{}", tenth(tenths))
}

/// Text between tags or in an attribute.
fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    // Writing to a text does not fail.
    let _ = Markup.write_escaped_str(&mut escaped, text);
    escaped
}

#[cfg(test)]
mod tests;
