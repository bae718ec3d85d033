//! A picture in sixteen colours, half a byte a pixel: edges have few shades.

use std::collections::BTreeMap;

use tiny_skia::{Pixmap, PremultipliedColorU8};

use super::ChartError;
use super::palette::{self, Rgb};

/// The first entry is no colour at all: the corners of the card.
const NOTHING: u8 = 0;
/// Beyond this level of deflate a picture of few curves takes longer and is hardly smaller.
pub(super) const LEVEL: u8 = 6;
/// One of many rows alike is by a fourteenth.
pub(super) const LEVEL_OF_ROWS: u8 = 8;

/// The picture as a PNG of indexed colours, at a level of deflate.
pub(super) fn png(picture: &Pixmap, level: u8) -> Result<Vec<u8>, ChartError> {
    let known = palette::ALL.into_iter().map(|colour| colour.rgb);
    let colours: Vec<Rgb> = known.chain(shades()).collect();
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, picture.width(), picture.height());
    encoder.set_color(png::ColorType::Indexed);
    encoder.set_depth(png::BitDepth::Four);
    let entries = std::iter::once(&[0; 3]).chain(&colours);
    encoder.set_palette(entries.flatten().copied().collect::<Vec<u8>>());
    encoder.set_trns(vec![0]);
    encoder.set_deflate_compression(png::DeflateCompression::Level(level));
    encoder.set_filter(png::Filter::NoFilter);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&packed(picture, &colours))?;
    writer.finish()?;
    Ok(bytes)
}

/// The colours of edges.
fn shades() -> impl Iterator<Item = Rgb> {
    palette::EDGES.into_iter().map(|(above, quarters, below)| {
        let mix = |above: u8, below: u8| {
            let sum = u16::from(above) * quarters + u16::from(below) * (4 - quarters);
            u8::try_from(sum / 4).unwrap_or(u8::MAX)
        };
        let [red, green, blue] = above.rgb;
        [
            mix(red, below.rgb[0]),
            mix(green, below.rgb[1]),
            mix(blue, below.rgb[2]),
        ]
    })
}

/// Two pixels a byte, each row beginning with a byte of its own.
fn packed(picture: &Pixmap, colours: &[Rgb]) -> Vec<u8> {
    let indices = indices(picture, colours);
    let rows = indices.chunks(picture.width() as usize);
    let pairs = rows.flat_map(|row| row.chunks(2));
    let byte = |pair: &[u8]| pair[0] << 4 | pair.get(1).unwrap_or(&NOTHING);
    pairs.map(byte).collect()
}

/// For each pixel the nearest colour. Most are like the one before.
fn indices(picture: &Pixmap, colours: &[Rgb]) -> Vec<u8> {
    let mut indices = Vec::with_capacity(picture.pixels().len());
    let mut found: BTreeMap<[u8; 4], u8> = BTreeMap::new();
    for run in picture.pixels().chunk_by(|one, next| one == next) {
        let index = *found
            .entry(parts(run[0]))
            .or_insert_with_key(|pixel| nearest(*pixel, colours));
        indices.resize(indices.len() + run.len(), index);
    }
    indices
}

fn parts(pixel: PremultipliedColorU8) -> [u8; 4] {
    [pixel.red(), pixel.green(), pixel.blue(), pixel.alpha()]
}

fn nearest([red, green, blue, alpha]: [u8; 4], colours: &[Rgb]) -> u8 {
    if alpha < 128 {
        return NOTHING;
    }
    let far = |colour: &Rgb| {
        let apart = |one: u8, other: u8| i32::from(one.abs_diff(other)).pow(2);
        apart(red, colour[0]) + apart(green, colour[1]) + apart(blue, colour[2])
    };
    // There are fifteen colours.
    let nearest = (1..=u8::MAX)
        .zip(colours)
        .min_by_key(|(_, colour)| far(colour));
    nearest.map_or(NOTHING, |(index, _)| index)
}
