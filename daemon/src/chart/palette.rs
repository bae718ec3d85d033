//! Colours of charts. None of them carries a meaning alone: lines differ in width and dashes, signs in
//! shape and filling. The hues stay apart for the colour-blind as those of Okabe & Ito (2008, *Color
//! Universal Design*) do, being dark blue, orange and grey, of different lightness.

/// Red, green and blue.
pub(super) type Rgb = [u8; 3];

/// A colour as a picture has it, and the class that a page's stylesheet has for it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Colour {
    pub(super) rgb: Rgb,
    pub(super) class: &'static str,
}

const fn colour(class: &'static str, rgb: Rgb) -> Colour {
    Colour { rgb, class }
}

/// The card that all is drawn on, light on any background.
pub(super) const CARD: Colour = colour("card", [0xfb, 0xfa, 0xfd]);
/// Lines of the grid.
pub(super) const GRID: Colour = colour("grid", [0xe4, 0xe2, 0xee]);
/// Words, and what is known.
pub(super) const NIGHT: Colour = colour("ink", [0x26, 0x2b, 0x52]);
/// What is projected, and flights.
pub(super) const AMBER: Colour = colour("amber", [0xe6, 0x9f, 0x00]);
/// The same where it is thin.
pub(super) const DARK_AMBER: Colour = colour("amber-edge", [0x8f, 0x4f, 0x00]);
/// Earlier years.
pub(super) const BAND: Colour = colour("band", [0xd3, 0xd1, 0xde]);
/// The card's edge.
pub(super) const EDGE: Colour = colour("edge", BAND.rgb);
/// Their middle.
pub(super) const BAND_MIDDLE: Colour = colour("band-middle", [0x85, 0x83, 0x99]);
/// Words of what is not there yet.
pub(super) const FAINT: Colour = colour("faint", BAND_MIDDLE.rgb);

/// All colours of a picture.
pub(super) const ALL: [Colour; 7] = [CARD, GRID, NIGHT, AMBER, DARK_AMBER, BAND, BAND_MIDDLE];
/// Edges: so many quarters of one colour on another. Words have the finest ones.
pub(super) const EDGES: [(Colour, u16, Colour); 8] = [
    (NIGHT, 1, CARD),
    (NIGHT, 2, CARD),
    (NIGHT, 3, CARD),
    (NIGHT, 2, BAND),
    (DARK_AMBER, 2, CARD),
    (DARK_AMBER, 2, AMBER),
    (NIGHT, 2, AMBER),
    (BAND_MIDDLE, 2, CARD),
];
