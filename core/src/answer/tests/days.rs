//! Days as people write them.

use super::*;
use crate::answer::atoms::atoms;
use crate::answer::days::{Written, around, day_at, of_readings};
use crate::answer::lexicon::Lexicon;

fn read(text: &str, order: DateOrder) -> Option<String> {
    // A Tuesday.
    let sent = Sent {
        on: NaiveDate::from_ymd_opt(2026, 6, 23).unwrap(),
        day_is_clear: true,
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

#[test]
fn what_names_no_day_is_of_the_one_that_was_told_and_has_to_name_one_where_none_is_clear() {
    let mut form = farm(ASKED);
    form.traps[0].told = NaiveDate::from_ymd_opt(2026, 6, 16);
    let clear = sent(Language::English, DateOrder::MonthDay);
    let read = |text: &str, sent: &Sent| told(&super::read(text, &form, sent));
    assert_eq!(
        read("N1-E1 5, N1-E2 6", &clear),
        ["N1-E1 06-16 5 eggs", "N1-E2 6 eggs"]
    );
    // A day that is written counts, be it that of the answer.
    assert_eq!(read("N1-E1 5 today", &clear), ["N1-E1 5 eggs"]);
    assert_eq!(read("Jun 22\nN1-E1 5", &clear), ["N1-E1 06-22 5 eggs"]);
    // Two readings of one day are no two days'.
    assert_eq!(
        read("N1-E1 5\nJun 16\nN1-E1 6", &clear),
        ["? Twice: N1-E1 5", "? Twice: N1-E1 6"]
    );
    let unclear = Sent {
        day_is_clear: false,
        ..clear
    };
    assert_eq!(
        read(
            "N1-E1 5\nN1-E2 6\nN1-E3 7 today\nN1 split Nonpareil\nN1 closed until Jun 26",
            &unclear
        ),
        [
            "N1-E1 06-16 5 eggs",
            "N1-E3 7 eggs",
            "N1 06-23 no variety: closed until 06-26",
            "? NoDay: N1-E2 6",
            "? NoDay: N1 split Nonpareil",
        ]
    );
    assert_eq!(
        read("N1 shaken Nonpareil Jun 20\nJun 22\nN1-E2 6", &unclear),
        ["N1 06-20 Nonpareil: shaken", "N1-E2 06-22 6 eggs"]
    );
}
