//! A picture in few colours: a third of the bytes, since edges have few shades.

use std::collections::BTreeMap;

use plotters::style::RGBColor;
use resvg::tiny_skia::Pixmap;

use super::{ChartError, palette};

/// Shades between a colour and the one that it stands on.
const SHADES: u32 = 2;
/// The first entry is no colour at all: the corners of the card.
const NOTHING: u8 = 0;

/// The picture as a PNG of indexed colours.
pub(super) fn png(picture: &Pixmap) -> Result<Vec<u8>, ChartError> {
    let failed = |error: png::EncodingError| ChartError::Picture(error.to_string());
    let colours = colours();
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, picture.width(), picture.height());
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Eight);
    let entries = std::iter::once(&RGBColor(0, 0, 0)).chain(&colours);
    encoder.set_palette(entries.flat_map(|c| [c.0, c.1, c.2]).collect::<Vec<u8>>());
    encoder.set_trns(vec![0]);
    encoder.set_compression(png::Compression::High);
    encoder.set_filter(png::Filter::NoFilter);
    let mut writer = encoder.write_header().map_err(failed)?;
    writer
        .write_image_data(&indices(picture, &colours))
        .map_err(failed)?;
    writer.finish().map_err(failed)?;
    Ok(bytes)
}

/// Each colour, and its shades on those that it stands on.
fn colours() -> Vec<RGBColor> {
    let mut colours = palette::ALL.to_vec();
    for (above, below) in palette::STANDS_ON {
        colours.extend((1..SHADES).map(|shade| blend(above, below, shade)));
    }
    colours
}

/// So many parts of one colour, the rest of the other.
fn blend(above: RGBColor, below: RGBColor, shade: u32) -> RGBColor {
    let mix = |above: u8, below: u8| {
        let sum = u32::from(above) * shade + u32::from(below) * (SHADES - shade);
        u8::try_from(sum / SHADES).unwrap_or(u8::MAX)
    };
    RGBColor(
        mix(above.0, below.0),
        mix(above.1, below.1),
        mix(above.2, below.2),
    )
}

/// For each pixel the nearest colour. Most are like the one before.
fn indices(picture: &Pixmap, colours: &[RGBColor]) -> Vec<u8> {
    let mut indices = Vec::with_capacity(picture.pixels().len());
    let mut found: BTreeMap<[u8; 4], u8> = BTreeMap::new();
    for run in picture.pixels().chunk_by(|one, next| one == next) {
        let pixel = run[0];
        let key = [pixel.red(), pixel.green(), pixel.blue(), pixel.alpha()];
        let index = *found.entry(key).or_insert_with(|| nearest(key, colours));
        indices.resize(indices.len() + run.len(), index);
    }
    indices
}

fn nearest([red, green, blue, alpha]: [u8; 4], colours: &[RGBColor]) -> u8 {
    if alpha < 128 {
        return NOTHING;
    }
    let far = |colour: &RGBColor| {
        let apart = |one: u8, other: u8| i32::from(one.abs_diff(other)).pow(2);
        apart(red, colour.0) + apart(green, colour.1) + apart(blue, colour.2)
    };
    // There are far fewer than 255 colours.
    let nearest = (1..=u8::MAX)
        .zip(colours)
        .min_by_key(|(_, colour)| far(colour));
    nearest.map_or(NOTHING, |(index, _)| index)
}
