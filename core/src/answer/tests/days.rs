//! Days as people write them.

use super::*;
use crate::answer::atoms::atoms;
use crate::answer::days::{Written, around, day_at, of_readings};
use crate::answer::lexicon::Lexicon;

fn read(text: &str, order: DateOrder) -> Option<String> {
    // A Tuesday.
    let sent = Sent {
        on: NaiveDate::from_ymd_opt(2026, 6, 23).unwrap(),
        order,
        language: Language::Spanish,
    };
    let line = atoms(text);
    let (written, end) = day_at(&line, 0, &sent, &Lexicon::of(sent.language))?;
    assert_eq!(end, line.len(), "{text}");
    Some(around(written, sent.on).map_or("none".into(), |day| day.to_string()))
}

#[test]
fn a_day_is_read_as_people_write_it() {
    for text in [
        "Jun 20",
        "June 20",
        "june 20th",
        "20 Jun",
        "20 de junio",
        "20 de junio de 2026",
        "6/20",
        "6/20/26",
        "6/20/2026",
        "2026-06-20",
        "on Jun. 20",
        "Saturday",
        "Sat, Jun 20",
        "sabado 20 de junio",
        "sáb 20 jun",
        "el 20 de junio",
        "Sat Jun 20, 2026",
        "20. Juni",
    ] {
        assert_eq!(
            read(text, DateOrder::MonthDay).as_deref(),
            Some("2026-06-20"),
            "{text}"
        );
    }
    for text in ["20/6", "20/06/26", "20.06.2026", "2026-06-20"] {
        assert_eq!(
            read(text, DateOrder::DayMonth).as_deref(),
            Some("2026-06-20"),
            "{text}"
        );
    }
    assert_eq!(
        read("ayer", DateOrder::MonthDay).as_deref(),
        Some("2026-06-22")
    );
    assert_eq!(
        read("Dec 30", DateOrder::MonthDay).as_deref(),
        Some("2025-12-30")
    );
    for text in ["6/20", "Jun 31", "Mon Jun 20", "2026-13-01"] {
        assert_eq!(
            read(text, DateOrder::DayMonth).as_deref(),
            Some("none"),
            "{text}"
        );
    }
    for text in ["12", "12.5", "wet", "", "N1-E1 12"] {
        assert_eq!(read(text, DateOrder::MonthDay), None, "{text}");
    }
}

#[test]
fn a_reading_is_neither_of_tomorrow_nor_of_two_months_ago() {
    let on = NaiveDate::from_ymd_opt(2026, 6, 23).unwrap();
    let day = |month, of_month| of_readings(Written::OfYear(month, of_month), on);
    assert_eq!(day(6, 23), Some(on));
    assert_eq!(day(6, 24), None);
    assert!(day(4, 24).is_some());
    assert_eq!(day(4, 23), None);
}
