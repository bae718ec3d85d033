use chrono::{Days, NaiveDate};
use duskflight_core::contents::chart::{
    AheadPoint, BandPoint, DayTick, FlightSpan, Frame, HeatPoint, MarkLine, Panel, ReadingPoint,
    ValueAxis, ValueTick,
};
use duskflight_core::contents::{CatchChart, HeatChart};
use duskflight_core::orchard::TrapKind;

use super::*;

/// A picture should be no more than a mail carries lightly.
const MOST_BYTES: usize = 55_000;

fn day(after: u64) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, 4, 18).unwrap() + Days::new(after)
}

fn axis(highest: f64) -> ValueAxis {
    let ticks = [0.0, highest / 2.0].map(|value| ValueTick {
        value,
        label: format!("{value:.0}"),
    });
    ValueAxis {
        highest,
        ticks: ticks.into(),
    }
}

fn frame(block: &str) -> Frame {
    Frame {
        block: block.to_owned(),
        subtitle: "°F-days since egg-laying start Apr 18, confirmed".to_owned(),
        alt: String::new(),
        caption: String::new(),
        first: day(0),
        last: day(150),
        days: vec![DayTick {
            day: day(13),
            label: "May".to_owned(),
        }],
    }
}

fn heat_chart(block: &str) -> Chart {
    let sum = |after: u64| (after * 15) as f64;
    let mark = |after: u64, passed: bool| MarkLine {
        sum: sum(after),
        label: "second-generation egg laying: Jun\u{a0}20–29".to_owned(),
        passed,
        early: day(after),
        middle: day(after),
        late: day(after + if passed { 0 } else { 9 }),
    };
    Chart::Heat(HeatChart {
        frame: frame(block),
        sums: axis(2300.0),
        known: (0..60)
            .map(|after| HeatPoint {
                day: day(after),
                sum: sum(after + 1),
                estimated: (20..23).contains(&after),
            })
            .collect(),
        known_label: "this season: 900 on Jun 16".to_owned(),
        estimated_label: Some("3 days estimated".to_owned()),
        band: (0..150)
            .map(|after| BandPoint {
                day: day(after),
                low: sum(after) * 0.9,
                middle: sum(after),
                high: sum(after) * 1.1,
            })
            .collect(),
        band_label: Some("8 in 10 of 23 years (1999–2021), line: middle".to_owned()),
        ahead: (60..150)
            .map(|after| AheadPoint {
                day: day(after),
                sum: sum(after),
            })
            .collect(),
        ahead_label: Some("ahead and bars: projected from past years".to_owned()),
        marks: vec![mark(7, true), mark(70, false), mark(70, false)],
    })
}

fn catch_chart(readings: usize) -> Chart {
    let panel = |kind| Panel {
        kind,
        title: "pheromone traps: males".to_owned(),
        rates: axis(400.0),
        readings: (0..readings)
            .map(|at| ReadingPoint {
                day: day(at as u64 * 7),
                rate: (at % 5 != 3).then_some((at % 7) as f64 * 60.0),
                joined: at % 4 != 0,
                hollow: at % 6 == 0,
            })
            .collect(),
        flights: vec![FlightSpan {
            start: None,
            highest: day(7),
            peaked: false,
            end: Some(day(28)),
            label: "1st flight: start: can't tell, highest so far Apr\u{a0}25".to_owned(),
        }],
    };
    let kinds = [
        TrapKind::Pheromone,
        TrapKind::PheromonePpo,
        TrapKind::BaitBag,
    ];
    Chart::Catch(CatchChart {
        frame: frame("North Slough 1"),
        panels: kinds.map(panel).into(),
        hollow_label: Some("hollow: past a service life".to_owned()),
    })
}

/// Width and height as the PNG's header says.
pub(super) fn size(png: &[u8]) -> (u32, u32) {
    assert_eq!(&png[..8], b"\x89PNG\r\n\x1a\n");
    let number = |at: usize| u32::from_be_bytes(png[at..at + 4].try_into().unwrap());
    (number(16), number(20))
}

#[test]
fn a_chart_is_a_light_png_half_as_wide_again_as_a_mail() {
    for chart in [heat_chart("North Slough 1"), catch_chart(20)] {
        let png = png(&chart).unwrap();
        let (width, height) = size(&png);
        assert_eq!(width, 960);
        assert!((750..1800).contains(&height), "{height}");
        assert!(png.len() < MOST_BYTES, "{}", png.len());
    }
}

#[test]
fn equal_charts_give_equal_bytes_and_a_stored_chart_is_drawn_alike() {
    for chart in [heat_chart("North Slough 1"), catch_chart(20)] {
        let stored = serde_json::to_string(&chart).unwrap();
        let read: Chart = serde_json::from_str(&stored).unwrap();
        assert_eq!(read, chart);
        assert_eq!(png(&chart).unwrap(), png(&read).unwrap());
    }
}

#[test]
fn the_font_has_the_letters_and_a_letter_in_two_parts_is_one() {
    let picture = |name: &str| png(&heat_chart(name)).unwrap();
    // With its letters a picture differs from one without, and from one of letters that it lacks.
    assert_ne!(picture("Āčéñß – ‘x’ °·"), picture(""));
    assert_ne!(picture("Ñ"), picture("核"));
    assert_eq!(picture("N\u{303}o\u{ad}\u{200b}"), picture("Ño"));
}

#[test]
fn letters_are_kerned() {
    let font = font::Font::compiled_in().unwrap();
    let width = |text| font.set(text).width;
    assert!(width("To") < width("T") + width("o") - 0.05);
    assert_eq!(width("HH"), 2.0 * width("H"));
}

#[test]
fn hostile_names_are_drawn_and_no_part_of_the_drawing() {
    for name in [
        "<script>&\"'",
        "\u{0}\r\n\u{b}\u{ffff}",
        "🌰 核桃",
        &"W".repeat(2000),
    ] {
        let png = png(&heat_chart(name)).unwrap();
        assert_eq!(size(&png), size(&super::png(&heat_chart("N")).unwrap()));
    }
}

#[test]
fn one_reading_and_none_with_a_count_are_drawn() {
    for readings in [0, 1] {
        assert_eq!(size(&png(&catch_chart(readings)).unwrap()).0, 960);
    }
}

#[test]
fn a_picture_is_light_inside_and_nothing_at_its_corners() {
    let bytes = png(&heat_chart("N")).unwrap();
    let mut reader = png::Decoder::new(std::io::Cursor::new(bytes))
        .read_info()
        .unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    let info = reader.next_frame(&mut pixels).unwrap();
    assert_eq!(info.color_type, png::ColorType::Indexed);
    assert_eq!(info.bit_depth, png::BitDepth::Four);
    // The first entry is no colour, the second the card; a byte holds two pixels.
    assert_eq!(pixels[0] >> 4, 0);
    assert_eq!(pixels[480 * 30 + 8], 0x11);
}
