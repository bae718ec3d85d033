use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate};
use duskflight_core::id::{BlockId, InsectId, MarkId, PersonId};

use super::*;
use crate::mail::message::Mailbox;

const ADVISER: Adviser<'static> = Adviser {
    name: "Inés Arroyo",
    adds: &[],
    licence: None,
    phone: "+1 555 010-0199",
};

fn envelope() -> Envelope<'static> {
    let farm = Mailbox {
        name: "Juniper Flat, Duskflight",
        address: "watch@juniper-flat.example",
    };
    Envelope {
        farm: "Juniper Flat",
        farm_note: Some("An invented farm."),
        authority: "the county agricultural commissioner",
        from: farm,
        to: Mailbox {
            name: "Tom Avery",
            address: "tom@juniper-flat.example",
        },
        reply_to: None,
        in_reply_to: None,
        in_subject: None,
        answerable: false,
        message_id: "<alert-2022-06-20.9b0e@juniper-flat.example>",
        date: DateTime::parse_from_rfc3339("2022-06-20T06:00:00-07:00").unwrap(),
        as_of: "Jun 20, 2022, 06:00 PDT",
    }
}

fn day(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, month, day).unwrap()
}

fn key_date(title: &str) -> KeyDate {
    KeyDate {
        entry: CalendarEntry {
            person: PersonId::new("tom").unwrap(),
            year: 2022,
            block: BlockId::new("North_80").unwrap(),
            insect: InsectId::new("navel-orangeworm").unwrap(),
            mark: MarkId::new("second-generation").unwrap(),
            variety: None,
        },
        standing: DateState::Projected,
        title: title.to_owned(),
        first: day(6, 20),
        last: day(6, 30),
        lines: vec![title.to_owned()],
        sequence: 3,
    }
}

fn text(date: &KeyDate) -> String {
    file(&envelope(), [(ADVISER, date)].into_iter())
        .unwrap()
        .text
}

/// A file's lines, joined again as RFC 5545, 3.1 says.
fn lines(text: &str) -> Vec<String> {
    let unfolded = text.replace("\r\n ", "");
    unfolded
        .split_terminator("\r\n")
        .map(str::to_owned)
        .collect()
}

fn value(text: &str, property: &str) -> String {
    let lines = lines(text);
    let mut of = lines.iter().filter_map(|line| {
        let (name, value) = line.split_once(':')?;
        (name == property).then(|| value.to_owned())
    });
    let value = of.next().unwrap();
    assert_eq!(of.next(), None, "{property} is there once");
    value
}

/// A text read as RFC 5545, 3.3.11 says.
fn read(value: &str) -> String {
    let mut read = String::new();
    let mut chars = value.chars();
    while let Some(c) = chars.next() {
        read.push(match c {
            '\\' => match chars.next().unwrap() {
                'n' | 'N' => '\n',
                c => c,
            },
            c => c,
        });
    }
    read
}

#[test]
fn a_file_reads_as_agreed() {
    insta::assert_snapshot!(
        text(&key_date("Projected: egg laying, North 80")).replace("\r\n", "\n")
    );
}

#[test]
fn equal_input_gives_equal_bytes() {
    let date = key_date("Projected: egg laying, North 80");
    assert_eq!(text(&date), text(&date));
}

#[test]
fn what_is_taken_out_is_cancelled_in_both_places_under_the_same_uid() {
    let put_in = key_date("Projected: egg laying, North 80");
    let taken_out = KeyDate {
        standing: DateState::Withdrawn,
        ..put_in.clone()
    };
    let file = file(&envelope(), [(ADVISER, &taken_out)].into_iter()).unwrap();
    assert_eq!(
        file.media_type,
        "text/calendar; method=CANCEL; charset=utf-8"
    );
    assert_eq!(value(&file.text, "METHOD"), "CANCEL");
    assert_eq!(value(&file.text, "STATUS"), "CANCELLED");
    assert_eq!(value(&file.text, "UID"), value(&text(&put_in), "UID"));
}

#[test]
fn entries_differ_in_their_uid_by_all_they_are_about() {
    let one = key_date("a");
    let mut others = vec![one.entry.clone(); 6];
    others[0].person = PersonId::new("ann").unwrap();
    others[1].year = 2023;
    others[2].block = BlockId::new("North_81").unwrap();
    others[3].insect = InsectId::new("another").unwrap();
    others[4].mark = MarkId::new("third-generation").unwrap();
    others[5].variety = Some("Nonpareil".to_owned());
    let mut uids: BTreeSet<String> = others.iter().map(|entry| uid(&envelope(), entry)).collect();
    uids.insert(uid(&envelope(), &one.entry));
    assert_eq!(uids.len(), 7);
    // A later state of the same has the same one.
    let later = KeyDate {
        title: "b".to_owned(),
        sequence: 9,
        ..one.clone()
    };
    assert_eq!(value(&text(&one), "UID"), value(&text(&later), "UID"));
}

#[test]
fn commas_semicolons_and_backslashes_come_back() {
    let title = r"Projected: egg laying; North, \80\n, 50:50 \\";
    let file = text(&key_date(title));
    assert_eq!(read(&value(&file, "SUMMARY")), title);
    assert!(read(&value(&file, "DESCRIPTION")).contains(title));
}

/// The names of a file's properties and components, in order.
fn names(text: &str) -> Vec<String> {
    let name = |line: &String| line.split([':', ';']).next().unwrap().to_owned();
    lines(text).iter().map(name).collect()
}

#[test]
fn a_name_cannot_open_a_property() {
    let title = "Projected\r\nATTENDEE:mailto:thief@evil.example\r\n \nBEGIN:VALARM\rX:1\u{2028}Y:1\u{85}Z:1";
    let file = text(&key_date(title));
    assert_eq!(names(&file), names(&text(&key_date("plain"))));
    assert!(!file.replace("\r\n", "").contains(['\r', '\n']));
}

#[test]
fn lines_are_folded_within_75_octets_between_characters() {
    let check = |name: &str| {
        let title = format!("Projected: {name}");
        let file = text(&key_date(&title));
        assert!(file.split("\r\n").all(|line| line.len() <= 75), "{file}");
        assert_eq!(read(&value(&file, "SUMMARY")), title);
    };
    // Every place of the last fold.
    (0..160).for_each(|length| check(&"x".repeat(length)));
    check(&"x".repeat(2_000));
    check(&" ".repeat(2_000));
    check(&"🌰".repeat(2_000));
    check(&"Peñón, 🌰 ".repeat(250));
}

#[test]
fn a_mail_has_one_file_with_all_its_entries_and_none_without_any() {
    let near = key_date("Projected: egg laying, North 80");
    let gone = KeyDate {
        standing: DateState::Withdrawn,
        ..key_date("Withdrawn: egg laying, South")
    };
    let dates = [(ADVISER, &near), (ADVISER, &gone)];
    let both = file(&envelope(), dates.into_iter()).unwrap();
    assert_eq!(both.name, "key-dates.ics");
    // One that is taken out beside one that stays is published as cancelled (RFC 5546, 3.2.1).
    assert_eq!(value(&both.text, "METHOD"), "PUBLISH");
    let lines = lines(&both.text);
    let statuses = lines.iter().filter(|line| line.starts_with("STATUS:"));
    let statuses: Vec<&str> = statuses.map(String::as_str).collect();
    assert_eq!(statuses, ["STATUS:TENTATIVE", "STATUS:CANCELLED"]);
    assert_eq!(file(&envelope(), std::iter::empty()), None);
}

#[test]
fn an_address_is_written_as_a_uri() {
    assert_eq!(mailto("a.b+c@d.example"), "mailto:a.b+c@d.example");
    assert_eq!(
        mailto("a?cc=x&\r\n:;,@d"),
        "mailto:a%3Fcc%3Dx%26%0D%0A%3A%3B%2C@d"
    );
}
