//! Colours of charts. None of them carries a meaning alone: lines differ in width and dashes, signs in
//! shape and filling. The hues stay apart for the colour-blind as those of Okabe & Ito (2008, *Color
//! Universal Design*) do, being dark blue, orange and grey, of different lightness.

use plotters::style::RGBColor;

/// The card that all is drawn on, light on any background.
pub(super) const CARD: RGBColor = RGBColor(0xfb, 0xfa, 0xfd);
/// Its edge.
pub(super) const EDGE: RGBColor = RGBColor(0xd5, 0xd3, 0xe2);
/// Lines of the grid.
pub(super) const GRID: RGBColor = RGBColor(0xe4, 0xe2, 0xee);
/// Words, and what is known.
pub(super) const NIGHT: RGBColor = RGBColor(0x26, 0x2b, 0x52);
/// What is projected, and flights.
pub(super) const AMBER: RGBColor = RGBColor(0xe6, 0x9f, 0x00);
/// The same where it is thin.
pub(super) const DARK_AMBER: RGBColor = RGBColor(0x8f, 0x4f, 0x00);
/// Earlier years.
pub(super) const BAND: RGBColor = RGBColor(0xd3, 0xd1, 0xde);
/// Their middle.
pub(super) const BAND_MIDDLE: RGBColor = RGBColor(0x85, 0x83, 0x99);

/// All of them.
pub(super) const ALL: [RGBColor; 8] = [
    CARD,
    EDGE,
    GRID,
    NIGHT,
    AMBER,
    DARK_AMBER,
    BAND,
    BAND_MIDDLE,
];
/// Which stand on which, so that edges between them have shades.
pub(super) const STANDS_ON: [(RGBColor, RGBColor); 8] = [
    (NIGHT, CARD),
    (NIGHT, BAND),
    (DARK_AMBER, CARD),
    (DARK_AMBER, BAND),
    (DARK_AMBER, AMBER),
    (NIGHT, AMBER),
    (BAND_MIDDLE, CARD),
    (BAND, CARD),
];
