//! Growers' alerts in the adviser's hands: held, released, with a line added, never after they were tried.

use duskflight::mail::contents::MailContents;
use mail_parser::MessageParser;

use crate::harness::{Farm, VISITS, played_demo, printed, refused, rows, told_farm};

const ALERT: &str = "2022-04-16-alert-gil-from-ada.eml";

fn alerts(farm: &Farm, arguments: &[&str]) -> String {
    printed(&[&["alerts"], arguments, &["--config", farm.config()]].concat())
}

fn alerts_refused(farm: &Farm, arguments: &[&str]) -> String {
    refused(
        2,
        &[&["alerts"], arguments, &["--config", farm.config()]].concat(),
    )
}

fn texts(farm: &Farm, name: &str) -> (String, String) {
    let bytes = std::fs::read(farm.path("mail").join(name)).unwrap();
    let mail = MessageParser::default().parse(&bytes).unwrap();
    let text = mail.body_text(0).unwrap().into_owned();
    let html = mail.body_html(0).unwrap().into_owned();
    (unwrapped(&text), html)
}

fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn an_alert_that_waits_is_listed_with_its_earliest_instant() {
    let farm = told_farm();
    let list = alerts(&farm, &[]);
    // The digest of 16 April was sent at 06:00; four hours on it is 10:00, long ago.
    for piece in [
        "gil-0416",
        "Gil Marrow",
        "Ada Vance",
        "Apr 16",
        "at once",
        "alerts waiting: 1",
    ] {
        assert!(list.contains(piece), "{piece} is not in {list}");
    }
    farm.nightly("2022-04-17");
    assert!(!alerts(&farm, &[]).contains("gil-0416"));
}

#[test]
fn a_held_alert_stays_stands_in_every_digest_and_leaves_once_released() {
    let farm = told_farm();
    let said = alerts(&farm, &["hold", "gil", "--by", "Ben Ruiz"]);
    assert!(
        said.starts_with("gil-0416: alert of Apr 16 to Gil Marrow leaves: held since "),
        "{said}"
    );
    for day in ["2022-04-17", "2022-04-20"] {
        farm.nightly(day);
        assert!(
            !farm.mails().contains(&ALERT.to_owned()),
            "{:?}",
            farm.mails()
        );
        let (digest, html) = texts(&farm, &format!("{day}-digest-ada.eml"));
        let held = "by Ben Ruiz: alert of Apr 16 to Gil Marrow: Apr 14–17: first egg hatch, \
                    Home block";
        assert!(digest.contains(held), "{digest}");
        let release = "; to let it go: duskflight alerts release gil-0416";
        assert!(digest.contains(release), "{digest}");
        assert!(
            digest.contains("to hold one: duskflight alerts hold PERSON"),
            "{digest}"
        );
        assert!(html.contains("duskflight alerts release gil-0416"));
    }
    let status = printed(&["status", "--config", farm.config()]);
    assert!(status.contains("alerts: held since "), "{status}");
    assert!(!status.contains("the oldest for"), "{status}");

    let said = alerts(&farm, &["release", "gil-0416"]);
    assert!(said.contains("leaves: at once"), "{said}");
    farm.nightly("2022-04-21");
    assert!(
        farm.mails().contains(&ALERT.to_owned()),
        "{:?}",
        farm.mails()
    );
    let (digest, _) = texts(&farm, "2022-04-21-digest-ada.eml");
    assert!(!digest.contains("held since"), "{digest}");
}

#[test]
fn a_summary_that_stands_for_an_alert_and_a_letter_can_be_held_too() {
    let farm = Farm::new("2022-04-30");
    let address = "email = \"gil@test.example\"";
    farm.change(address, &format!("{address}\nletter = \"saturday\""));
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-10");
    farm.nightly("2022-04-16");
    let summary = "2022-04-16-summary-gil.eml".to_owned();
    let said = alerts(&farm, &["hold", "gil"]);
    assert!(said.contains("held since"), "{said}");
    for day in ["2022-04-17", "2022-04-18"] {
        farm.nightly(day);
        assert!(!farm.mails().contains(&summary), "{:?}", farm.mails());
        let (digest, _) = texts(&farm, &format!("{day}-digest-ada.eml"));
        assert!(
            digest.contains("by an adviser: alert of Apr 16 to Gil Marrow"),
            "{digest}"
        );
    }
    let note = [
        "alerts",
        "note",
        "gil-0416",
        "Call me.",
        "--config",
        farm.config(),
    ];
    assert!(refused(2, &note).contains("stands for several alerts"));
    alerts(&farm, &["release", "gil-0416"]);
    farm.nightly("2022-04-19");
    assert!(farm.mails().contains(&summary), "{:?}", farm.mails());
}

#[test]
fn a_released_alert_does_not_wait_for_the_hold_time() {
    let farm = told_farm();
    // As if it had been told a moment ago: the hold time lies ahead.
    let now = "CAST(strftime('%s') AS INTEGER)";
    farm.database()
        .execute_batch(&format!(
            "UPDATE outbox SET queued_at = {now}, next_try_at = {now};
             UPDATE outbox SET sent_at = {now} WHERE state = 'sent'"
        ))
        .unwrap();
    let may_leave = || -> bool {
        let list = alerts(&farm, &[]);
        list.contains("at once")
    };
    assert!(!may_leave());
    alerts(&farm, &["release", "gil"]);
    assert!(may_leave());
    printed(&["test-mail", "ada", "--config", farm.config()]);
    assert!(
        farm.mails().contains(&ALERT.to_owned()),
        "{:?}",
        farm.mails()
    );
}

#[test]
fn later_alerts_wait_behind_a_held_one_and_an_id_is_asked_for() {
    let farm = told_farm();
    alerts(&farm, &["hold", "gil"]);
    // First hatch comes near: a second alert.
    farm.nightly("2022-04-17");
    farm.nightly("2022-04-20");
    let list = alerts(&farm, &[]);
    assert!(list.contains("after gil-0416"), "{list}");
    assert!(
        !farm.mails().iter().any(|name| name.contains("alert")),
        "{:?}",
        farm.mails()
    );
    let said = alerts_refused(&farm, &["release", "gil"]);
    assert!(said.contains("alerts wait; name one by its id"), "{said}");
    assert!(
        said.contains("gil-0416: of Apr 16: Apr 14–17: first egg hatch, Home block"),
        "{said}"
    );
    alerts(&farm, &["release", "gil-0416"]);
    // Told before: the mails that wait are delivered.
    farm.nightly("2022-04-20");
    let sent =
        "SELECT day FROM outbox WHERE kind = 'alert' AND state = 'sent' ORDER BY sent_at, rowid";
    let days = rows(&farm.database(), sent);
    assert_eq!(days[0], ["2022-04-16"]);
    assert!(days.len() >= 2, "{days:?}");
}

#[test]
fn lines_of_the_advisers_stand_in_both_parts_marked_as_theirs_under_the_same_id_and_date() {
    let farm = told_farm();
    let head = "SELECT message_id, subject, address, queued_at FROM outbox WHERE kind = 'alert'";
    let before = rows(&farm.database(), head);
    let date = |body: &str| {
        body.lines()
            .find(|line| line.starts_with("Date:"))
            .map(str::to_owned)
    };
    let body = "SELECT CAST(body AS TEXT) FROM outbox JOIN mail_content USING (message_id) WHERE kind = 'alert'";
    let first = rows(&farm.database(), body)[0][0].clone();

    alerts(&farm, &["note", "gil", "I walk the block <on> Monday."]);
    let output = crate::harness::run(&[
        "alerts",
        "note",
        "gil",
        "Call me before noon.",
        "--by",
        "Ben Ruiz",
        "--config",
        farm.config(),
    ]);
    let hint = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        hint.contains("licensed adviser's written recommendation in law"),
        "{hint}"
    );
    let list = alerts(&farm, &[]);
    assert!(
        list.contains("+ Ada Vance: I walk the block <on> Monday."),
        "{list}"
    );

    assert_eq!(rows(&farm.database(), head), before);
    let second = rows(&farm.database(), body)[0][0].clone();
    assert_eq!(date(&first), date(&second));
    farm.nightly("2022-04-17");
    let (text, html) = texts(&farm, ALERT);
    let theirs = "From your adviser Ada Vance (not the written recommendation): I walk the block <on> Monday.";
    let entered = "From your adviser Ada Vance, entered by Ben Ruiz (not the written recommendation): Call me before \
                   noon.";
    let caution = "Information and projection only";
    assert!(
        text.find(theirs).unwrap() < text.find(caution).unwrap(),
        "{text}"
    );
    assert!(text.contains(entered), "{text}");
    assert!(
        html.contains("I walk the block &#60;on&#62; Monday."),
        "{html}"
    );
    assert!(html.contains("Call me before noon."), "{html}");
    assert_eq!(html.matches("(not the written recommendation):").count(), 2);
}

#[test]
fn an_alert_with_a_line_is_not_folded_into_a_later_mail_that_would_lose_it() {
    let farm = told_farm();
    alerts(&farm, &["note", "gil", "Call me first."]);
    // Nothing was delivered for four days: mails that nobody touched are made up for by new ones.
    farm.nightly("2022-04-20");
    let (text, _) = texts(&farm, ALERT);
    assert!(
        text.contains(
            "From your adviser Ada Vance (not the written recommendation): Call me first."
        ),
        "{text}"
    );
}

#[test]
fn lines_taken_out_leave_the_mail_as_it_was() {
    let farm = told_farm();
    let body = "SELECT body FROM outbox JOIN mail_content USING (message_id) WHERE kind = 'alert'";
    let before = rows(&farm.database(), body);
    alerts(&farm, &["note", "gil", "one"]);
    alerts(&farm, &["note", "gil", "two"]);
    assert_ne!(rows(&farm.database(), body), before);
    alerts(&farm, &["note", "gil", "--clear"]);
    assert_eq!(rows(&farm.database(), body), before);
    // Who did what, and when, stays.
    let json = &rows(
        &farm.database(),
        "SELECT contents FROM outbox JOIN mail_content USING (message_id) WHERE kind = 'alert'",
    )[0][0];
    let kept: serde_json::Value = serde_json::from_str(json).unwrap();
    let acts = kept["acts"].as_array().unwrap();
    assert_eq!(acts.len(), 3);
    assert_eq!(
        (&acts[1]["by"], &acts[1]["what"]["line"]),
        (&"Ada Vance".into(), &"two".into())
    );
}

#[test]
fn a_line_must_be_one_line_and_not_long() {
    let farm = told_farm();
    for line in ["", "  ", "two\nlines", "a\u{7}bell", &"x".repeat(501)] {
        let said = alerts_refused(&farm, &["note", "gil", line]);
        assert!(
            said.contains("the line cannot be added"),
            "{line:?}: {said}"
        );
    }
    alerts(&farm, &["note", "gil", &"ü".repeat(500)]);
}

#[test]
fn what_was_tried_or_sent_can_no_longer_be_changed_and_one_is_told_since_when() {
    let farm = told_farm();
    let said = alerts_refused(&farm, &["hold", "nobody"]);
    assert!(
        said.contains("nobody: no alert waits that this means"),
        "{said}"
    );
    farm.database()
        .execute(
            "UPDATE outbox SET attempts = 1, first_try_at = 1650128400 WHERE kind = 'alert'",
            [],
        )
        .unwrap();
    for arguments in [
        &["hold", "gil"][..],
        &["release", "gil"],
        &["note", "gil", "late"],
    ] {
        let said = alerts_refused(&farm, arguments);
        assert!(
            said.contains("it was tried first on Saturday, April 16, 2022, 10:00 PDT"),
            "{said}"
        );
    }
    farm.nightly("2022-04-17");
    let id =
        "SELECT trim(message_id, '<>') FROM outbox WHERE kind = 'alert' AND day = '2022-04-16'";
    let said = alerts_refused(&farm, &["hold", &rows(&farm.database(), id)[0][0]]);
    assert!(
        said.contains("the alert of Apr 16 to Gil Marrow was sent on"),
        "{said}"
    );
    assert!(said.contains("April 17, 2022, 06:00 PDT"), "{said}");
}

#[test]
#[ignore = "takes minutes; tests/long runs it"]
fn each_mail_of_a_season_can_be_composed_anew_to_the_byte() {
    let database = rusqlite::Connection::open(played_demo().join("duskflight.sqlite")).unwrap();
    let mut mails = database
        .prepare(
            "SELECT message_id, contents, body FROM outbox JOIN mail_content USING (message_id)",
        )
        .unwrap();
    let mails = mails.query_map([], |row| {
        Ok((
            row.get::<_, String>(0)?,
            row.get::<_, String>(1)?,
            row.get::<_, Vec<u8>>(2)?,
        ))
    });
    let mut seen = 0;
    for mail in mails.unwrap() {
        let (id, contents, body) = mail.unwrap();
        let contents = MailContents::from_json(&contents).unwrap();
        assert_eq!(contents.compose(&id).unwrap().bytes, body, "{id}");
        seen += 1;
    }
    assert!(seen >= 250, "{seen}");
}
