use chrono::{DateTime, FixedOffset, TimeDelta};
use duskflight_core::contents::{AlertItem, AlertLine, KeyDate};
use duskflight_core::wording::caution;
use mail_parser::{HeaderValue, Message, MessageParser, MimeHeaders};

use super::sample::{MORNING, Sample};
use super::*;
use crate::mail::message::Mailbox;

const INVENTED: &str = "An invented farm: its people, blocks and counts do not exist.";

const AUTHORITY: &str = "the county agricultural commissioner";

const ADVISER: Adviser<'static> = Adviser {
    name: "Inés Arroyo",
    licence: Some("PCA 000000"),
    phone: "+1 (555) 010-0199",
    adds: &[],
};

fn instant() -> DateTime<FixedOffset> {
    DateTime::parse_from_rfc3339("2022-06-20T06:00:00-07:00").unwrap()
}

fn envelope() -> Envelope<'static> {
    let adviser = Mailbox {
        name: "Inés Arroyo",
        address: "ines@juniper-flat.example",
    };
    Envelope {
        farm: "Juniper Flat",
        farm_note: Some(INVENTED),
        authority: AUTHORITY,
        from: Mailbox {
            name: "Juniper Flat, Duskflight",
            address: "watch@juniper-flat.example",
        },
        to: adviser,
        reply_to: Some(adviser),
        in_reply_to: None,
        in_subject: None,
        answerable: false,
        message_id: "<digest-2022-06-20.5f1c@juniper-flat.example>",
        date: instant(),
        as_of: "Jun 20, 2022, 06:00 PDT",
    }
}

fn to_grower() -> Envelope<'static> {
    Envelope {
        to: Mailbox {
            name: "Tom Avery",
            address: "tom@juniper-flat.example",
        },
        message_id: "<alert-2022-06-20.9b0e@juniper-flat.example>",
        ..envelope()
    }
}

fn full() -> Composed {
    let growers = vec![GrowerAlert {
        grower: "Tom Avery".to_owned(),
        headline: "North 20, along the canal: corrected: second-generation egg laying projected \
                   for Jun 19–20"
            .to_owned(),
    }];
    let held = vec![
        "held since Jun 18 by Inés Arroyo: alert of Jun 18 to Tom Avery: East 3: egg-laying start \
                 confirmed: Jun 18; to let it go: duskflight alerts release tom-0618"
            .to_owned(),
    ];
    let extras = Extras {
        charts: Vec::new(),
        remark: None,
        growers,
        held,
        hold_hours: 4,
    };
    let refused = "the mail to Tom Avery was refused: mailbox full, next try 07:00";
    let contents = Sample::full().digest(&[refused]);
    digest(
        &envelope(),
        Words::default(),
        &contents,
        &extras,
        Vec::new(),
    )
    .unwrap()
}

fn quiet() -> Composed {
    let extras = Extras {
        remark: Some("Sent 3 h late: the machine was off this morning.".to_owned()),
        ..Extras::default()
    };
    let contents = Sample::quiet().digest(&[]);
    digest(
        &envelope(),
        Words::default(),
        &contents,
        &extras,
        Vec::new(),
    )
    .unwrap()
}

fn alert_for(block: &str) -> Composed {
    let contents = Sample::full().alert(block);
    alert(
        &to_grower(),
        Words::default(),
        &contents,
        ADVISER,
        (&[], Vec::new()),
    )
    .unwrap()
}

const LONG: usize = 2_000;

/// Names that try to open a header, a line, a tag or an attribute.
fn hostile_names() -> [String; 5] {
    [
        "North\r\nBcc: thief@evil.example\r\n\r\nfree text".to_owned(),
        "<script>alert('x')</script><img src=//evil.example/x.png>\" onload=\"x".to_owned(),
        "Finca Peñón 🌰 {{ 7 * 7 }} {% include \"/etc/passwd\" %}".to_owned(),
        ".".to_owned(),
        "x".repeat(LONG),
    ]
}

fn hostile() -> Composed {
    let names = hostile_names();
    let item = |name: &String| AlertItem {
        title: name.clone(),
        lines: vec![AlertLine {
            name: name.clone(),
            when: Some(name.clone()),
            says: name.clone(),
        }],
    };
    let key_date = |name: &String| KeyDate {
        title: name.clone(),
        lines: vec![name.clone()],
        ..Sample::full().alert("N-20").calendar[0].clone()
    };
    let contents = Alert {
        day: MORNING,
        headline: format!("{}{}", names[0], names[4]),
        items: names.iter().map(item).collect(),
        rests_on: names.join("; "),
        calendar: names.iter().map(key_date).collect(),
        catch_up: None,
    };
    let envelope = Envelope {
        farm: &names[1],
        farm_note: Some(&names[0]),
        authority: &names[2],
        from: Mailbox {
            name: &names[0],
            ..envelope().from
        },
        to: Mailbox {
            name: &names[4],
            ..envelope().to
        },
        reply_to: Some(Mailbox {
            name: &names[2],
            ..envelope().to
        }),
        as_of: &names[3],
        ..to_grower()
    };
    let adviser = Adviser {
        name: &names[1],
        licence: Some(&names[2]),
        phone: "\"><b>1",
        adds: &[],
    };
    alert(
        &envelope,
        Words::default(),
        &contents,
        adviser,
        (&[], Vec::new()),
    )
    .unwrap()
}

fn parsed(composed: &Composed) -> Message<'_> {
    MessageParser::default().parse(&composed.bytes).unwrap()
}

fn all() -> Vec<Composed> {
    vec![
        full(),
        quiet(),
        alert_for("N-14"),
        alert_for("N-20"),
        alert_for("W-3"),
        hostile(),
    ]
}

#[test]
fn each_mail_reads_as_agreed() {
    let mails = [
        ("digest-full", full()),
        ("digest-quiet", quiet()),
        ("alert", alert_for("N-14")),
        ("alert-corrected", alert_for("N-20")),
        ("alert-withdrawn", alert_for("W-3")),
        ("alert-hostile", hostile()),
    ];
    for (name, mail) in mails {
        insta::assert_snapshot!(
            format!("{name}.txt"),
            format!("Subject: {}\n\n{}", mail.parts.subject, mail.parts.text)
        );
        insta::assert_snapshot!(format!("{name}.html"), mail.parts.html);
    }
}

fn digest_of(contents: &Digest) -> Composed {
    let extras = Extras::default();
    digest(&envelope(), Words::default(), contents, &extras, Vec::new()).unwrap()
}

#[test]
fn small_and_large_farms_and_growers_and_mornings_after_silence_read_as_agreed() {
    let silent = CatchUp::of(
        MORNING - TimeDelta::days(10),
        MORNING - TimeDelta::days(1),
        MORNING,
    );
    let after_silence = Digest {
        catch_up: silent,
        ..Sample::full().digest(&[])
    };
    let weekly = Digest {
        weekly: true,
        ..Sample::quiet().digest(&[])
    };
    let alerts = [1, 40].map(|blocks| {
        let contents = Sample::busy(blocks).alert_of_all();
        let charts = (&[][..], Vec::new());
        alert(&to_grower(), Words::default(), &contents, ADVISER, charts).unwrap()
    });
    let [one, forty] = alerts;
    let mails = [
        ("digest-after-silence", digest_of(&after_silence)),
        ("digest-weekly", digest_of(&weekly)),
        ("digest-one-block", digest_of(&Sample::busy(1).digest(&[]))),
        (
            "digest-800-blocks",
            digest_of(&Sample::busy(800).digest(&[])),
        ),
        ("alert-one-block", one),
        ("alert-40-blocks", forty),
    ];
    for (name, mail) in mails {
        assert!(
            mail.parts.html.len() < 80_000,
            "{name}: {}",
            mail.parts.html.len()
        );
        let text = format!("Subject: {}\n\n{}", mail.parts.subject, mail.parts.text);
        insta::assert_snapshot!(format!("{name}.txt"), text);
    }
}

#[test]
fn headers_are_complete_and_say_that_no_person_wrote_it() {
    let mail = alert_for("N-14");
    let headers = String::from_utf8(mail.bytes).unwrap();
    let (headers, _) = headers.split_once("\r\n\r\n").unwrap();
    insta::assert_snapshot!("headers", headers.replace("\r\n", "\n"));
}

#[test]
fn both_parts_arrive_as_composed_the_text_first_and_files_after_them() {
    for mail in all() {
        let message = parsed(&mail);
        let files = mail.parts.files.len();
        assert_eq!(message.subject(), Some(mail.parts.subject.as_str()));
        // Two parts in one, and around them and the files another one.
        let around = usize::from(files > 0);
        let parts = &message.parts[around..];
        assert_eq!(parts.len(), 3 + files, "{}", mail.parts.subject);
        assert!(parts[1].is_text(), "{}", mail.parts.subject);
        assert!(parts[2].is_text_html(), "{}", mail.parts.subject);
        let arrived = |part: usize| parts[part].text_contents().unwrap();
        assert_eq!(arrived(1).replace("\r\n", "\n"), mail.parts.text);
        assert_eq!(arrived(2).replace("\r\n", "\n"), mail.parts.html);
        assert_eq!(
            parts[0].content_type().unwrap().subtype(),
            Some("alternative")
        );
        for (part, file) in parts[3..].iter().zip(&mail.parts.files) {
            assert_eq!(part.attachment_name(), Some(file.name.as_str()));
            assert_eq!(part.text_contents(), Some(file.text.as_str()));
        }
    }
    let withdrawn = parsed(&alert_for("W-3")).parts.len();
    assert_eq!(withdrawn, 5, "a withdrawn date comes with a file");
}

#[test]
fn equal_input_gives_equal_bytes_and_another_id_another_boundary() {
    assert_eq!(full().bytes, full().bytes);
    let boundary = |mail: &Composed| {
        let message = parsed(mail);
        let kind = message.content_type().unwrap();
        kind.attribute("boundary").unwrap().to_owned()
    };
    assert_ne!(boundary(&full()), boundary(&alert_for("N-14")));
}

#[test]
fn no_line_is_longer_than_mail_allows() {
    for mail in all() {
        let text = String::from_utf8(mail.bytes).unwrap();
        let (headers, body) = text.split_once("\r\n\r\n").unwrap();
        let longest = |part: &str| part.split("\r\n").map(str::len).max();
        assert!(longest(body) <= Some(78), "{:?}", longest(body));
        assert!(longest(headers) <= Some(998), "{:?}", longest(headers));
        assert!(
            !text.replace("\r\n", "").contains(['\r', '\n']),
            "a bare CR or LF"
        );
    }
}

#[test]
fn every_mail_carries_the_caution_the_note_and_its_instant() {
    let flat = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    for mail in [full(), quiet(), alert_for("N-14"), alert_for("W-3")] {
        for part in [&mail.parts.text, &mail.parts.html] {
            let part = flat(part);
            for said in [
                &*caution(AUTHORITY),
                INVENTED,
                "As of Jun 20, 2022, 06:00 PDT",
            ] {
                assert!(part.contains(said), "{}: {said}", mail.parts.subject);
            }
        }
    }
    let sent = flat(&quiet().parts.text);
    assert!(sent.contains("every morning in season"));
}

#[test]
fn the_digest_keeps_its_order() {
    let mail = full();
    let order = ["Trap work today", "with something to say", "Trouble"];
    let text_places = order.map(|title| mail.parts.text.find(&title.to_uppercase()));
    let html_places = order.map(|title| mail.parts.html.find(&format!("{title}</h2>")));
    for places in [text_places, html_places] {
        assert!(places.iter().all(Option::is_some), "{places:?}");
        assert!(places.is_sorted(), "{places:?}");
    }
}

#[test]
fn a_quiet_morning_is_a_paragraph_of_at_most_120_words_without_a_table() {
    let mut contents = Sample::quiet().digest(&[]);
    // The sample's morning is a Monday, on which one start is asked about.
    contents.decide.clear();
    contents.quiet = Some("Nothing new and nothing due in 2 blocks.".to_owned());
    let mail = digest(
        &envelope(),
        Words::default(),
        &contents,
        &Extras::default(),
        Vec::new(),
    )
    .unwrap();
    let (said, _) = mail.parts.text.split_once("-----").unwrap();
    assert!(said.split_whitespace().count() <= 120, "{said}");
    assert!(said.contains("Nothing new and nothing due in "), "{said}");
    assert!(!mail.parts.html.contains("<table class=\"rows\""));
}

#[test]
fn the_alert_names_the_adviser_with_a_telephone_number() {
    let mail = alert_for("N-14");
    assert!(
        mail.parts
            .text
            .contains("Inés Arroyo, PCA 000000, telephone +1 (555) 010-0199")
    );
    let link = "<a href=\"tel:+15550100199\">+1 (555) 010-0199</a>";
    assert!(mail.parts.html.contains(link));
}

#[test]
fn a_name_cannot_open_a_header() {
    let mail = hostile();
    let message = parsed(&mail);
    let names: Vec<&str> = message.headers().iter().map(|h| h.name()).collect();
    let expected = [
        "Date",
        "Message-ID",
        "From",
        "To",
        "Subject",
        "Auto-Submitted",
        "X-Auto-Response-Suppress",
        "Reply-To",
        "MIME-Version",
        "Content-Type",
    ];
    assert_eq!(names, expected);
    assert!(message.bcc().is_none());
    let sender = message.from().unwrap().first().unwrap();
    assert_eq!(sender.address(), Some("watch@juniper-flat.example"));
    assert_eq!(
        sender.name(),
        Some("North  Bcc: thief@evil.example    free text")
    );
    let recipient = message.to().unwrap().first().unwrap();
    let cut = format!("{}…", "x".repeat(69));
    assert_eq!(recipient.name(), Some(cut.as_str()));
    assert!(matches!(
        message.header("Auto-Submitted"),
        Some(HeaderValue::Text(text)) if text == "auto-generated"
    ));
}

#[test]
fn a_name_cannot_open_a_tag_or_a_line() {
    let mail = hostile();
    for tag in ["<script", "<img", "<b>1", "\" onload=\""] {
        assert!(!mail.parts.html.contains(tag), "{tag}");
    }
    assert!(mail.parts.html.contains("&#60;script&#62;"));
    assert!(mail.parts.html.contains("{{ 7 * 7 }}"));
    assert!(mail.parts.html.contains("href=\"tel:1\""));
    let begins_a_header = |line: &str| line.trim_start().starts_with("Bcc:");
    assert!(!mail.parts.text.lines().any(begins_a_header));
}

#[test]
fn forty_busy_blocks_fit_whole_into_eighty_kilobytes_of_html() {
    let contents = Sample::busy(40).digest(&[]);
    let extras = Extras::default();
    let mail = digest(
        &envelope(),
        Words::default(),
        &contents,
        &extras,
        Vec::new(),
    )
    .unwrap();
    let news: Vec<&str> = contents
        .news
        .iter()
        .map(|item| item.blocks.as_str())
        .collect();
    let news = news.join("; ");
    let told = (1..=40).all(|block| news.contains(&format!("North {block}, ")));
    assert!(told, "{news}");
    assert_eq!(contents.blocks.rows.len(), 40);
    assert!(mail.parts.html.len() < 80_000, "{}", mail.parts.html.len());
    assert!(!mail.parts.text.contains("Too long for one mail"));
}

#[test]
fn a_digest_of_a_firm_counts_what_it_cannot_name_and_fits() {
    let contents = Sample::busy(120).digest(&[]);
    let extras = Extras::default();
    let mail = digest(
        &envelope(),
        Words::default(),
        &contents,
        &extras,
        Vec::new(),
    )
    .unwrap();
    let html = mail.parts.html;
    assert!(html.len() < 80_000, "{}", html.len());
    assert_eq!(contents.blocks.rows.len(), 40);
    // The work of the day stays, counted by route and grower.
    assert!(html.contains("Tom Avery, 120 blocks"), "{html}");
}

#[test]
fn html_loads_nothing_and_runs_nothing() {
    for mail in all() {
        for bad in [
            "<script", "<link", "<img", "http:", "https:", "url(", "@import",
        ] {
            assert!(
                !mail.parts.html.contains(bad),
                "{}: {bad}",
                mail.parts.subject
            );
        }
    }
}

#[test]
fn a_subject_is_one_line_cut_between_words() {
    assert_eq!(subject("Jun 20: start, North"), "Jun 20: start, North");
    let long = subject(&"Jun 20: second generation ".repeat(4));
    assert_eq!(
        long,
        "Jun 20: second generation Jun 20: second generation Jun…"
    );
    let unbroken = format!("{}…", "ñ".repeat(LONGEST_SUBJECT - 1));
    assert_eq!(subject(&"ñ".repeat(LONG)), unbroken);
}

#[test]
fn an_address_or_a_message_id_that_cannot_be_used_is_named() {
    let contents = Sample::quiet().digest(&[]);
    let error = |envelope: &Envelope<'_>| {
        let composed = digest(
            envelope,
            Words::default(),
            &contents,
            &Extras::default(),
            Vec::new(),
        );
        composed.unwrap_err().to_string()
    };
    let nowhere = Mailbox {
        name: "Tom",
        address: "tom@",
    };
    let to_nowhere = Envelope {
        to: nowhere,
        ..envelope()
    };
    assert_eq!(
        error(&to_nowhere),
        "use \"tom@\" as the recipient address of a mail"
    );
    let two_lines = Envelope {
        message_id: "<a@b>\r\nBcc: c@d",
        ..envelope()
    };
    assert!(error(&two_lines).contains("as a message id: it must read <left@right>"));
}
