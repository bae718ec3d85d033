use chrono::{Days, NaiveDate};
use duskflight_core::contents::chart::{GlanceRow, SignKind, SignState};
use duskflight_core::contents::{Chart, GlanceChart};

use crate::chart::png;
use crate::chart::tests::size;

/// The glance of the demo's twelve blocks on one of its densest days.
fn glance() -> GlanceChart {
    let stored = include_str!("../../../../tests/data/charts/glance.json");
    match serde_json::from_str(stored).unwrap() {
        Chart::Glance(chart) => chart,
        other => panic!("{other:?}"),
    }
}

/// The same with so many rows, each with a name of its own.
fn glance_of(rows: usize) -> Chart {
    let mut chart = glance();
    let of_demo = std::mem::take(&mut chart.rows);
    let rows = of_demo.iter().cycle().take(rows).enumerate();
    chart.rows = rows
        .map(|(number, row)| GlanceRow {
            block: format!("{} {number}", row.block),
            ..row.clone()
        })
        .collect();
    Chart::Glance(chart)
}

#[test]
fn a_glance_is_light_and_each_row_makes_it_higher_by_the_same() {
    let png = |rows| png(&glance_of(rows)).unwrap();
    let (one, twelve, forty) = (png(1), png(12), png(40));
    assert!(twelve.len() < 28_000, "{}", twelve.len());
    assert!(forty.len() < 66_000, "{}", forty.len());
    let [one, twelve, forty] = [one, twelve, forty].map(|png| size(&png));
    assert_eq!((one.0, forty.0), (800, 800));
    // 28 pixels of the layout each, and the height rounded to four of them.
    assert!(
        (twelve.1 - one.1).abs_diff(11 * 35) <= 5,
        "{one:?} {twelve:?}"
    );
    assert!(
        (forty.1 - one.1).abs_diff(39 * 35) <= 5,
        "{one:?} {forty:?}"
    );
}

#[test]
fn signs_differ_by_shape_and_filling() {
    let drawn = |kind, state, label: Option<&str>| {
        let mut chart = glance();
        let mut sign = chart.rows[0].signs[0].clone();
        sign.kind = kind;
        sign.state = state;
        sign.label = label.map(str::to_owned);
        // Over as many days each, so that nothing but the sign differs.
        sign.early = sign.middle - Days::new(4);
        sign.late = sign.middle + Days::new(4);
        chart.rows[0].signs = vec![sign];
        chart.rows.truncate(1);
        in_greys(&png(&Chart::Glance(chart)).unwrap())
    };
    let kinds = [
        SignKind::Start,
        SignKind::Mark,
        SignKind::Split,
        SignKind::Shake,
    ];
    let states = [SignState::Known, SignState::Ahead];
    let mut pictures: Vec<Vec<u8>> = Vec::new();
    for kind in kinds {
        pictures.extend(states.map(|state| drawn(kind, state, None)));
    }
    let provisional = drawn(SignKind::Mark, SignState::Provisional, None);
    pictures.push(provisional);
    pictures.push(drawn(SignKind::Mark, SignState::Known, Some("2")));
    for (at, picture) in pictures.iter().enumerate() {
        assert!(
            !pictures[..at].contains(picture),
            "the {at}th is like another"
        );
    }
}

#[test]
fn hostile_names_and_days_outside_do_not_break_a_glance() {
    let mut chart = glance();
    let expected = size(&png(&Chart::Glance(chart.clone())).unwrap());
    let names = ["<b>&\"'", "\u{0}\r\n", "🌰 核桃", &"W".repeat(2000), ""];
    for (row, name) in chart.rows.iter_mut().zip(names) {
        row.block = name.to_owned();
    }
    chart.rows[0].signs[0].late = NaiveDate::MAX;
    chart.rows[0].signs[0].early = NaiveDate::MIN;
    chart.today.day = chart.frame.last + Days::new(100);
    assert_eq!(size(&png(&Chart::Glance(chart)).unwrap()), expected);
}

#[test]
fn the_note_of_an_empty_row_is_drawn_before_and_after_today() {
    let of = |note: Option<&str>, today: u64| {
        let mut chart = glance();
        chart.rows.truncate(1);
        chart.rows[0].signs.clear();
        chart.rows[0].flights.clear();
        chart.rows[0].note = note.map(str::to_owned);
        chart.today.day = chart.frame.first + Days::new(today);
        png(&Chart::Glance(chart)).unwrap()
    };
    for today in [10, 150] {
        let note = Some("no egg-laying start yet");
        assert_ne!(of(note, today), of(None, today));
    }
}

/// A picture as those see it who see no colours, in four greys.
fn in_greys(bytes: &[u8]) -> Vec<u8> {
    let mut decoder = png::Decoder::new(std::io::Cursor::new(bytes));
    decoder.set_transformations(png::Transformations::EXPAND);
    let mut reader = decoder.read_info().unwrap();
    let mut pixels = vec![0; reader.output_buffer_size().unwrap()];
    reader.next_frame(&mut pixels).unwrap();
    let grey = |pixel: &[u8]| {
        let [red, green, blue] = [pixel[0], pixel[1], pixel[2]].map(u32::from);
        u8::try_from((3 * red + 6 * green + blue) / 10 / 64).unwrap()
    };
    pixels.chunks(4).map(grey).collect()
}
