//! The one font of charts, and words set in it.

use icu_normalizer::ComposingNormalizerBorrowed;
use tiny_skia::{Path, PathBuilder, Transform};
use ttf_parser::gpos::{PairAdjustment, PositioningSubtable};
use ttf_parser::opentype_layout::Lookup;
use ttf_parser::{Face, GlyphId, OutlineBuilder};

use super::ChartError;

/// The one font, see `fonts/PROVENANCE.md`: fonts of the system would make a picture differ from machine
/// to machine.
const FONT: &[u8] = include_bytes!("../../fonts/inter-medium-latin.otf");

/// A font.
pub(super) struct Font {
    face: Face<'static>,
}

/// Words as one shape, in the size of the font: it begins at zero on the base line, up is positive.
pub(super) struct SetWords {
    /// `None` where nothing is to be seen.
    pub(super) outline: Option<Path>,
    pub(super) width: f32,
}

impl Font {
    /// The font that is compiled in.
    pub(super) fn compiled_in() -> Result<Self, ChartError> {
        let face = Face::parse(FONT, 0)?;
        Ok(Self { face })
    }

    /// Words in one line; a letter that the font does not have is an empty box.
    pub(super) fn set(&self, text: &str) -> SetWords {
        let text = ComposingNormalizerBorrowed::new_nfc().normalize(text);
        let mut shape = Shape::default();
        let mut last = None;
        for letter in text.chars().filter(|letter| !is_unseen(*letter)) {
            let letter = if letter.is_control() { ' ' } else { letter };
            let glyph = self.face.glyph_index(letter).unwrap_or(GlyphId(0));
            shape.at += last.map_or(0.0, |last| self.kerning(last, glyph));
            self.face.outline_glyph(glyph, &mut shape);
            shape.at += f32::from(self.face.glyph_hor_advance(glyph).unwrap_or(0));
            last = Some(glyph);
        }
        let unit = 1.0 / f32::from(self.face.units_per_em());
        let outline = shape.path.finish();
        SetWords {
            outline: outline.and_then(|path| path.transform(Transform::from_scale(unit, unit))),
            width: shape.at * unit,
        }
    }

    /// How much further apart two letters stand, in the font's units.
    fn kerning(&self, left: GlyphId, right: GlyphId) -> f32 {
        let lookups = self.face.tables().gpos.map(|table| table.lookups);
        let lookups = lookups.into_iter().flatten();
        let apart = lookups.filter_map(|lookup| pair(&lookup, left, right));
        apart.map(f32::from).sum()
    }
}

/// What a lookup says of a pair, by the first of its tables that knows it.
fn pair(lookup: &Lookup<'_>, left: GlyphId, right: GlyphId) -> Option<i16> {
    let tables = lookup.subtables.into_iter::<PositioningSubtable<'_>>();
    tables
        .filter_map(|table| match table {
            PositioningSubtable::Pair(pairs) => Some(pairs),
            _ => None,
        })
        .find_map(|pairs| {
            let place = pairs.coverage().get(left)?;
            let (first, _) = match pairs {
                PairAdjustment::Format1 { sets, .. } => sets.get(place)?.get(right)?,
                PairAdjustment::Format2 {
                    classes, matrix, ..
                } => matrix.get((classes.0.get(left), classes.1.get(right)))?,
            };
            Some(first.x_advance)
        })
}

/// Marks that have no shape: soft hyphens, joiners, directions.
const fn is_unseen(letter: char) -> bool {
    matches!(letter, '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}'
        | '\u{2060}'..='\u{206f}' | '\u{feff}')
}

/// Letters one beside the other.
#[derive(Default)]
struct Shape {
    path: PathBuilder,
    /// Where the next letter begins.
    at: f32,
}

impl OutlineBuilder for Shape {
    fn move_to(&mut self, x: f32, y: f32) {
        self.path.move_to(self.at + x, y);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.path.line_to(self.at + x, y);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.path.quad_to(self.at + x1, y1, self.at + x, y);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        let at = self.at;
        self.path.cubic_to(at + x1, y1, at + x2, y2, at + x, y);
    }

    fn close(&mut self) {
        self.path.close();
    }
}
