//! Mails that wait: holds, kept mails, and what one can do about them by hand.

use crate::harness::{Farm, VISITS, printed, refused, rows, told_farm};

#[test]
fn answers_to_an_alert_go_to_the_adviser_and_to_a_digest_to_the_operator() {
    let farm = Farm::new("2022-04-30");
    farm.change("[farm]", "[farm]\noperator = \"office@test.example\"");
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-16");
    farm.nightly("2022-04-17");
    let mail = |name: &str| std::fs::read_to_string(farm.path("mail").join(name)).unwrap();
    let digest = mail("2022-04-16-digest-ada.eml");
    assert!(
        digest.contains("Reply-To: Duskflight <office@test.example>"),
        "{digest}"
    );
    let alert = mail("2022-04-16-alert-gil-from-ada.eml");
    assert!(
        alert.contains("Reply-To: \"Ada Vance\" <ada@test.example>"),
        "{alert}"
    );
}

#[test]
fn a_growers_alert_waits_for_the_digest_and_the_hold_time() {
    let farm = told_farm();
    assert_eq!(farm.mails(), ["2022-04-16-digest-ada.eml"]);
    farm.nightly("2022-04-17");
    let alert = "2022-04-16-alert-gil-from-ada.eml".to_owned();
    assert!(farm.mails().contains(&alert), "{:?}", farm.mails());
}

#[test]
fn mails_that_cannot_be_delivered_are_kept_shown_and_go_when_the_way_is_free() {
    let farm = told_farm_without_a_mail_folder();
    let list = || printed(&["outbox", "list", "--config", farm.config()]);
    assert!(list().contains("queued"), "{}", list());
    let status = printed(&["status", "--config", farm.config()]);
    assert!(status.contains("write into the mail folder"), "{status}");
    let said = refused(
        2,
        &["outbox", "retry", "no-such-mail", "--config", farm.config()],
    );
    assert!(said.contains("no such mail is waiting"), "{said}");

    std::fs::remove_file(farm.path("mail")).unwrap();
    farm.nightly("2022-04-17");
    assert!(
        farm.mails()
            .contains(&"2022-04-16-digest-ada.eml".to_owned()),
        "{:?}",
        farm.mails()
    );
}

#[test]
fn a_test_mail_goes_through_the_outbox_and_says_what_became_of_it_per_person() {
    let farm = Farm::new("2022-04-30");
    let said = printed(&["test-mail", "--config", farm.config()]);
    assert!(
        said.contains("ada <ada@test.example>: sent, written as "),
        "{said}"
    );
    assert!(
        said.contains("gil <gil@test.example>: sent, written as "),
        "{said}"
    );
    assert_eq!(farm.mails().len(), 2);
    let said = refused(2, &["test-mail", "bo", "--config", farm.config()]);
    assert!(said.contains("person bo: no such person"), "{said}");

    let blocked = told_farm_without_a_mail_folder();
    let output = crate::harness::run(&["test-mail", "ada", "--config", blocked.config()]);
    assert_eq!(output.status.code(), Some(75));
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(
        said.contains("ada <ada@test.example>: queued, behind older mails"),
        "{said}"
    );
    assert!(
        said.contains("no mail goes out: write into the mail folder"),
        "{said}"
    );
}

#[test]
fn a_test_mail_before_the_first_morning_does_not_turn_history_into_news() {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    printed(&["test-mail", "--config", farm.config()]);
    // As if it had been sent on the day before.
    let database = farm.database();
    database
        .execute("UPDATE outbox SET day = '2022-04-19'", [])
        .unwrap();
    farm.nightly("2022-04-20");
    // The start of 12 April is history on the first morning: recorded, not alerted.
    let told = "SELECT mail IS NULL FROM told WHERE person = 'gil' AND event = 'egg-laying-start'";
    assert_eq!(rows(&database, told), [["1"]]);
}

#[test]
fn a_first_digest_that_is_given_up_leaves_its_history_to_the_next_one() {
    let farm = Farm::new("2022-12-31");
    farm.import("round.csv", VISITS);
    farm.write("mail", "in the way");
    let night = [
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-26",
    ];
    refused(75, &night);
    let digest = "SELECT trim(message_id, '<>') FROM outbox WHERE kind = 'digest'";
    let digest = &rows(&farm.database(), digest)[0][0];
    printed(&["outbox", "drop", digest, "--config", farm.config()]);
    std::fs::remove_file(farm.path("mail")).unwrap();
    for day in 27..=28 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let digest = |day: u32| {
        let file = format!("mail/2022-04-{day}-digest-ada.eml");
        let text = std::fs::read_to_string(farm.path(&file)).unwrap();
        text.replace("=\r\n", "")
    };
    assert!(digest(27).contains("Apr 12, confirmed"));
    assert!(!digest(28).contains("began here"));
    // The lure of p1 ended its life on the 26th, after the first telling: news to the adviser.
    let told = |event: &str| {
        let of = format!(
            "SELECT person, change, day, mail IS NULL FROM told WHERE event GLOB '{event}' ORDER BY 1, 3"
        );
        rows(&farm.database(), &of)
    };
    let lure = [["ada", "new", "2022-04-27", "0"]];
    assert_eq!(told("past-service-life:p1:lure:*"), lure);
    let start = [
        ["ada", "history", "2022-04-26", "1"],
        ["ada", "history", "2022-04-27", "1"],
        ["gil", "history", "2022-04-26", "1"],
    ];
    assert_eq!(told("egg-laying-start"), start);
    let to_gil = farm.mails().into_iter().filter(|name| name.contains("gil"));
    for name in to_gil {
        let text = std::fs::read_to_string(farm.path(&format!("mail/{name}"))).unwrap();
        assert!(!text.contains("start confirmed"), "{name}");
    }
}

#[test]
fn what_a_dropped_mail_told_is_told_anew() {
    let farm = told_farm_without_a_mail_folder();
    let id = rows(
        &farm.database(),
        "SELECT trim(message_id, '<>') FROM outbox WHERE kind = 'alert'",
    );
    printed(&["outbox", "drop", &id[0][0], "--config", farm.config()]);
    std::fs::remove_file(farm.path("mail")).unwrap();
    farm.nightly("2022-04-17");
    let told = "SELECT day, revision FROM told WHERE person = 'gil' AND event = 'egg-laying-start' ORDER BY 2";
    assert_eq!(
        rows(&farm.database(), told),
        [["2022-04-16", "1"], ["2022-04-17", "2"]]
    );
}

/// A farm whose start was told while a file stood where the mail folder should be.
fn told_farm_without_a_mail_folder() -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-10");
    std::fs::remove_dir_all(farm.path("mail")).unwrap();
    farm.write("mail", "in the way");
    let said = farm.nightly_fails("2022-04-16");
    assert!(said.contains("mails are kept"), "{said}");
    farm
}
