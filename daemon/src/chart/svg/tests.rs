use std::collections::BTreeMap;

use duskflight_core::contents::Chart;
use duskflight_core::id::BlockId;
use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

use super::*;
use crate::chart::palette::Rgb;
use crate::chart::{CSS, svg, svg_with_links};

/// Charts of the demo's farm, as stored with a mail; the glance has twelve rows.
fn stored() -> [Chart; 3] {
    [
        include_str!("../../../../tests/data/charts/heat.json"),
        include_str!("../../../../tests/data/charts/catches.json"),
        include_str!("../../../../tests/data/charts/glance.json"),
    ]
    .map(|stored| serde_json::from_str(stored).unwrap())
}

fn glance_named(name: &str) -> Chart {
    let Chart::Glance(mut chart) = stored()[2].clone() else {
        panic!("the third is the glance")
    };
    for (at, row) in chart.rows.iter_mut().enumerate() {
        row.block = name.to_owned();
        row.id = Some(BlockId::new(&format!("b-{at}")).unwrap());
    }
    Chart::Glance(chart)
}

/// The values of an attribute, wherever it stands; fails where the XML is not well formed.
fn attributes(xml: &str, name: &str) -> Vec<String> {
    let mut reader = Reader::from_str(xml);
    reader.config_mut().check_end_names = true;
    let mut found = Vec::new();
    let mut depth = 0;
    loop {
        let mut element = |element: &BytesStart<'_>| {
            for attribute in element.attributes() {
                let attribute = attribute.unwrap();
                if attribute.key.as_ref() == name {
                    found.push(attribute.value.into_owned());
                }
            }
        };
        match reader.read_event().unwrap() {
            Event::Start(start) => {
                element(&start);
                depth += 1;
            }
            Event::Empty(empty) => element(&empty),
            Event::End(_) => depth -= 1,
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
    found
}

#[test]
fn charts_are_well_formed_without_styles_and_ids() {
    for chart in stored() {
        let drawn = svg(&chart);
        assert_eq!(attributes(&drawn, "role"), ["img"]);
        assert_eq!(attributes(&drawn, "aria-label").len(), 1);
        for refused in ["style", "id", "href", "onload"] {
            assert_eq!(attributes(&drawn, refused), [""; 0], "{refused}");
        }
    }
}

#[test]
fn every_class_of_a_chart_has_its_colour() {
    for chart in stored() {
        for classes in &attributes(&svg(&chart), "class")[1..] {
            for class in classes.split(' ') {
                if matches!(class, "mid" | "end") {
                    continue;
                }
                let rule = format!(".chart .{class}{{");
                assert!(CSS.contains(&rule), "{class}");
                let (_, name) = class.split_once('-').unwrap();
                assert!(CSS.contains(&format!("--chart-{name}:#")), "{class}");
            }
        }
    }
}

#[test]
fn a_page_can_carry_them() {
    let sizes = stored().map(|chart| svg(&chart).len());
    assert!(sizes.iter().all(|size| *size < 26_000), "{sizes:?}");
}

#[test]
fn hostile_names_stay_words() {
    for name in [
        "<script>alert(1)</script>",
        "\" onload=\"alert(1)",
        "'&]]>",
        "\u{0}\u{b}\u{ffff}x\u{202e}y",
        &"W".repeat(2000),
    ] {
        let drawn = svg_with_links(&glance_named(name), &|_| Some(format!("/{name}")));
        assert_eq!(attributes(&drawn, "onload"), [""; 0]);
        assert_eq!(attributes(&drawn, "href").len(), 12);
        assert!(!drawn.contains("<script") && !drawn.contains('\u{202e}'));
        assert!(!drawn.contains(|letter: char| letter.is_control()));
    }
}

#[test]
fn names_of_blocks_lead_where_they_are_told_to() {
    let only_first = |id: &BlockId| (id.as_str() == "b-0").then(|| "/block?a=1&b".to_owned());
    let drawn = svg_with_links(&glance_named("North"), &only_first);
    assert_eq!(attributes(&drawn, "href"), ["/block?a=1&#38;b"]);
    assert_eq!(attributes(&drawn, "role"), ["group"]);
    assert_eq!(attributes(&drawn, "aria-hidden"), ["true"]);
    // The glance was stored before rows had ids.
    let drawn = svg_with_links(&stored()[2], &|_| Some(String::new()));
    assert_eq!(attributes(&drawn, "href"), [""; 0]);
}

#[test]
fn numbers_are_short() {
    let check = |length: f64, expected: &str| assert_eq!(number(length), expected);
    check(12.04, "12");
    check(12.06, "12.1");
    check(0.5, ".5");
    check(0.0, "0");
    check(-0.01, "0");
    check(640.0, "640");
}

#[test]
fn a_path_says_what_changes() {
    let square = [(1.0, 1.0), (3.0, 1.0), (3.0, 4.5), (1.0, 1.0)];
    assert_eq!(through(&square), "M1 1h2v3.5l-2-3.5");
    assert_eq!(through(&[(1.0, 1.0), (1.0, 1.0)]), "M1 1h0");
    assert_eq!(
        through(&[(1.0, 1.0), (1.0, 1.0), (0.5, 0.5)]),
        "M1 1h0l-.5-.5"
    );
    assert_eq!(through(&[]), "");
}

#[test]
fn light_and_dark_are_told_apart_by_everybody() {
    let (light, dark) = CSS.split_once("@media screen").unwrap();
    let dark = dark.split_once("@media print").unwrap().0;
    for scheme in [light, dark] {
        let colours = colours(scheme);
        let check = |one: &str, other: &str, least: f64| {
            let apart = contrast(colours[one], colours[other]);
            assert!(apart >= least, "{one} on {other}: {apart:.1}");
        };
        // Words (WCAG 2.2, 1.4.3), then lines and signs (1.4.11).
        for (words, below) in [
            ("ink", "card"),
            ("faint", "card"),
            ("ink", "amber"),
            ("ink", "band"),
        ] {
            check(words, below, 4.5);
        }
        for (line, below) in [
            ("amber-edge", "card"),
            ("band-middle", "card"),
            ("amber-edge", "amber"),
        ] {
            check(line, below, 3.0);
        }
    }
}

fn colours(css: &str) -> BTreeMap<&str, Rgb> {
    let declared = css.split("--chart-").skip(1);
    declared
        .map(|rest| {
            let (name, value) = rest.split_once(":#").unwrap();
            let part = |at: usize| u8::from_str_radix(&value[at..at + 2], 16).unwrap();
            (name, [part(0), part(2), part(4)])
        })
        .collect()
}

/// Contrast by WCAG 2.2: from 1 to 21.
fn contrast(one: Rgb, other: Rgb) -> f64 {
    let light = |colour: Rgb| {
        let [red, green, blue] = colour.map(|part| {
            let part = f64::from(part) / 255.0;
            match part <= 0.04045 {
                true => part / 12.92,
                false => ((part + 0.055) / 1.055).powf(2.4),
            }
        });
        0.2126 * red + 0.7152 * green + 0.0722 * blue + 0.05
    };
    let (one, other) = (light(one), light(other));
    one.max(other) / one.min(other)
}
