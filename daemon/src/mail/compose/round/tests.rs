//! Rounds as they are sent, and what must not be in them.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate};
use duskflight_core::answer::{Answer, Form, FormBlock, FormTrap, Sent, read};
use duskflight_core::contents::RoundStop;
use duskflight_core::id::{BlockId, TrapId};
use duskflight_core::orchard::TrapKind;
use duskflight_core::wording::DateOrder;
use duskflight_core::wording::language::Language;
use proptest::prelude::*;

use super::*;
use crate::mail::message::Mailbox;

fn envelope<'a>(to: &'a str, farm: &'a str) -> Envelope<'a> {
    let mailbox = |name| Mailbox {
        name,
        address: "sam@juniper-flat.example",
    };
    Envelope {
        farm,
        farm_note: None,
        authority: "the county agricultural commissioner",
        from: mailbox("Juniper Flat, Duskflight"),
        to: mailbox(to),
        reply_to: None,
        in_reply_to: None,
        in_subject: None,
        answerable: true,
        message_id: "<round-2022-06-21.5f1c@juniper-flat.example>",
        date: DateTime::parse_from_rfc3339("2022-06-21T06:00:00-07:00").unwrap(),
        as_of: "Jun 21, 2022, 06:00 PDT",
    }
}

const ADVISER: Adviser<'static> = Adviser {
    name: "Inés Arroyo",
    licence: Some("PCA 000000"),
    phone: "+1 (555) 010-0199",
    adds: &[],
};

fn stop(trap: &str, block: Option<&str>, place: &str, kind: &str) -> RoundStop {
    RoundStop {
        trap: TrapId::new(trap).unwrap(),
        block: block.map(str::to_owned),
        place: place.to_owned(),
        kind: kind.to_owned(),
        last: None,
        notes: Vec::new(),
        changes: Vec::new(),
    }
}

/// A round with all that may stand on one.
fn full() -> RoundMail {
    let mut stops = vec![
        stop("N1-E1", Some("North 20"), "gate 3, row 18, tree 4", "egg"),
        stop("N1-P1", None, "gate 3, row 18, tree 9", "pheromone"),
        stop("R4-B1", Some("River 4"), "", "bait bag"),
    ];
    stops[0].last = Some("last: 12 on Jun 14".to_owned());
    stops[0].notes = vec!["count the 4 eggs left on with the others".to_owned()];
    stops[0].changes = vec!["change bait: meal-28, life ended Jun 12".to_owned()];
    stops[1].last = Some("last: not readable on Jun 14".to_owned());
    RoundMail {
        day: NaiveDate::from_ymd_opt(2022, 6, 21).unwrap(),
        language: Language::English,
        route: "north".to_owned(),
        headline: "Jun 21: round north, 3 traps".to_owned(),
        title: "Route north: 3 traps".to_owned(),
        on: "Tuesday, June 21, 2022".to_owned(),
        closed: vec!["No entry until Jun 24: Canal; 5 traps wait".to_owned()],
        bring: vec!["1 bait (meal-28)".to_owned()],
        stops,
        down: vec!["down since Jun 12: N1-P2".to_owned()],
    }
}

fn spanish() -> RoundMail {
    RoundMail {
        language: Language::Spanish,
        headline: "21 jun: ronda north, 1 trampa".to_owned(),
        title: "Ruta north: 1 trampa".to_owned(),
        on: "Martes, 21 de junio de 2022".to_owned(),
        closed: Vec::new(),
        bring: Vec::new(),
        down: Vec::new(),
        stops: vec![stop(
            "N1-E1",
            Some("North 20"),
            "portón 3, hilera 18",
            "huevos",
        )],
        ..full()
    }
}

#[test]
fn the_text_is_a_form() {
    let mail = round(&envelope("Sam Rowe", "Juniper Flat"), &full(), ADVISER).unwrap();
    insta::assert_snapshot!("text", mail.parts.text);
    insta::assert_snapshot!("html", shown(&mail.parts.html));
    assert_eq!(mail.parts.subject, "Jun 21: round north, 3 traps");
}

#[test]
fn it_comes_in_the_readers_language() {
    let mail = round(
        &envelope("Lucio Amparo", "Juniper Flat"),
        &spanish(),
        ADVISER,
    )
    .unwrap();
    insta::assert_snapshot!("text_spanish", mail.parts.text);
    assert!(mail.parts.html.contains("<html lang=\"es\">"));
    for part in [&mail.parts.text, &mail.parts.html] {
        let english = ["Ask ", "write ", "trap ", "The round", "label is"];
        assert_eq!(
            english.map(|word| part.matches(word).count()),
            [0; 5],
            "{part}"
        );
    }
}

#[test]
fn a_round_that_comes_back_unanswered_is_no_answer() {
    let mail = round(&envelope("Sam Rowe", "Juniper Flat"), &full(), ADVISER).unwrap();
    for text in [mail.parts.text, shown(&mail.parts.html)] {
        for came_back in [text.replace('\n', " "), text] {
            assert_eq!(understood(&came_back, &full()), Answer::default());
        }
    }
}

#[test]
fn where_no_answers_are_read_nothing_asks_for_one() {
    let envelope = Envelope {
        answerable: false,
        ..envelope("Sam Rowe", "Juniper Flat")
    };
    let mail = round(&envelope, &full(), ADVISER).unwrap();
    for part in [&mail.parts.text, &shown(&mail.parts.html)] {
        let asked = ["=", "One trap a line", "undo"].map(|sign| part.matches(sign).count());
        assert_eq!(asked, [0; 3], "{part}");
        assert!(part.contains("\nN1-E1\n"), "{part}");
    }
}

#[test]
fn an_adviser_who_walks_the_round_is_not_told_to_ask_themselves() {
    let mail = round(&envelope("Inés Arroyo", "Juniper Flat"), &full(), ADVISER).unwrap();
    assert!(!mail.parts.text.contains("telephone") && !mail.parts.html.contains("tel:"));
}

/// What an HTML part shows, a line an element, as a mail program quotes it.
fn shown(html: &str) -> String {
    let (_, body) = html.split_once("<body").unwrap();
    let mut text = String::new();
    for piece in body.split('<').skip(1) {
        let (tag, rest) = piece.split_once('>').unwrap();
        let ends = ["/p", "/h1", "/h2", "/div", "/td"];
        if ends.contains(&tag) {
            text.push('\n');
        }
        text.push_str(rest);
    }
    let lines = text.lines().map(str::trim).filter(|line| !line.is_empty());
    lines.collect::<Vec<&str>>().join("\n")
}

/// The same without what stands in brackets.
fn without_brackets(text: &str) -> String {
    let mut depth = 0;
    let outside = |c: &char| {
        let inside = depth > 0;
        match c {
            '[' => depth += 1,
            ']' => depth -= 1,
            _ => {}
        }
        !inside && *c != '['
    };
    text.chars().filter(outside).collect()
}

/// What an answer to a round says.
fn understood(text: &str, round: &RoundMail) -> Answer {
    let block = BlockId::new("N1").unwrap();
    let traps = round.stops.iter().map(|stop| FormTrap {
        id: stop.trap.clone(),
        block: block.clone(),
        kind: TrapKind::Egg,
        told: None,
    });
    let form = Form {
        asked: round.traps(),
        traps: traps.collect(),
        blocks: vec![FormBlock {
            id: block.clone(),
            name: "North 20".to_owned(),
            varieties: vec!["Nonpareil".to_owned()],
        }],
    };
    let sent = Sent {
        on: round.day,
        day_is_clear: true,
        order: DateOrder::MonthDay,
        language: round.language,
    };
    read(text, &form, &sent)
}

/// A word of people's, with what could end a line, a bracket or a remark.
fn words() -> impl Strategy<Value = String> {
    let odd = "[a-zA-Z0-9 =#\\[\\]\n\r\t\u{85}\u{2028},.:;<>&'\"-]{1,90}";
    prop_oneof![odd, "\\PC{1,40}", "E1 =? [0-9]{1,3}"]
}

prop_compose! {
    fn any_stop()(
        trap in "[A-Za-z0-9._-]{1,40}", block in proptest::option::of(words()), place in words(),
        last in proptest::option::of(words()), changes in proptest::collection::vec(words(), 0..3),
    ) -> RoundStop {
        RoundStop {
            trap: TrapId::new(&trap).unwrap(), block, place, kind: "egg".to_owned(), last, notes: Vec::new(), changes,
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn nothing_of_ours_can_be_taken_for_a_reading(
        stops in proptest::collection::vec(any_stop(), 1..6), farm in words(), route in words(), down in words(),
        spanish: bool,
    ) {
        let ids: BTreeSet<String> = stops.iter().map(|stop| stop.trap.to_string()).collect();
        let language = if spanish { Language::Spanish } else { Language::English };
        let contents = RoundMail {
            language, stops, title: route.clone(), route, down: vec![down], ..full()
        };
        let mail = round(&envelope("Sam Rowe", &farm), &contents, ADVISER).unwrap();
        let mut lines = mail.parts.text.lines();
        prop_assert!(lines.next().unwrap().starts_with(form::BEGINS));
        prop_assert!(lines.next_back().unwrap().starts_with(form::ENDS));
        for line in lines {
            let to_fill_in = line.strip_suffix(" =").is_some_and(|id| ids.contains(id));
            let remark = line.starts_with("# [") && line.ends_with(']') && line.matches([ '[', ']', '=' ]).count() == 2;
            prop_assert!(to_fill_in || remark || line.is_empty(), "{line:?}");
            prop_assert!(to_fill_in || textwrap::core::display_width(line) <= REMARK_COLUMNS + 4, "{line:?}");
        }
        let html = shown(&mail.parts.html);
        for text in [&mail.parts.text, &html] {
            let quoted: Vec<String> = text.lines().map(|line| format!("> {line}")).collect();
            for came_back in [text.clone(), quoted.join("\n"), text.replace('\n', " ")] {
                let said = understood(&came_back, &contents).said;
                prop_assert!(said.is_empty(), "{said:?} in {came_back}");
            }
        }
        let first = format!("\n{} =\n", contents.stops[0].trap);
        let (_, form) = html.split_once(&first).unwrap();
        for line in without_brackets(form).lines().map(str::trim) {
            let to_fill_in = line.strip_suffix(" =").is_some_and(|id| ids.contains(id));
            let digit = line.contains(|c: char| c.is_ascii_digit());
            prop_assert!(to_fill_in || !digit, "{line:?} in {form}");
        }
    }
}
