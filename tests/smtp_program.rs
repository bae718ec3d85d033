//! The program with a mail server: what it declares, what it says of trouble, what it keeps to
//! itself.

use std::time::{Duration, Instant};

use crate::daemon::{in_the_small_hours, start};
use crate::harness::{Farm, VISITS, duskflight, printed, refused, rows};
use crate::scripted::{Act, At, Scripted};

const PASSWORD: &str = "orchard-at-dusk-81";

/// A farm whose mails go to a server without a login.
fn farm_with(server: &Scripted) -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.route(&format!(
        "host = \"127.0.0.1\"\nport = {}\nsecurity = \"none\"\ntimeout_s = 2\nafter_dot_s = 2\n",
        server.port()
    ));
    farm.import("round.csv", VISITS);
    farm
}

#[test]
fn what_a_mail_said_that_perhaps_arrived_is_never_told_again_and_the_next_digest_says_so() {
    let server = Scripted::start(&[(At::Dot("gil"), Act::TakeAndKeepSilent)]);
    let farm = farm_with(&server);
    farm.nightly("2022-04-10");
    for day in 16..=20 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let states = "SELECT state, attempts FROM outbox WHERE person = 'gil' AND day = '2022-04-16'";
    assert_eq!(rows(&farm.database(), states), [["unknown", "3"]]);
    server.now_does(&[]);
    for day in 21..=25 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let told = "SELECT revision, day FROM told
                WHERE person = 'gil' AND event = 'egg-laying-start' ORDER BY revision";
    assert_eq!(rows(&farm.database(), told), [["1", "2022-04-16"]]);
    let mails = server.taken().into_iter();
    let mails: Vec<String> = mails
        .map(|mail| String::from_utf8(mail.bytes).unwrap())
        .map(|mail| mail.replace("=\r\n", "").replace("\r\n", " "))
        .collect();
    let of_the_alert = mails
        .iter()
        .filter(|mail| mail.contains("<alert.2022-04-16"));
    assert_eq!(of_the_alert.count(), 3);
    let line = "the alert of Apr 16 to Gil Marrow may have arrived or not";
    let say_so: Vec<&String> = mails.iter().filter(|mail| mail.contains(line)).collect();
    assert_eq!(say_so.len(), 1, "once, in the digest after it");
    let [digest] = say_so[..] else { unreachable!() };
    assert!(digest.contains("what it said counts as told"), "{digest}");
    let status = printed(&["status", "--config", farm.config()]);
    assert!(
        status.contains("perhaps arrived: alert of 2022-04-16 to gil"),
        "{status}"
    );
}

#[test]
fn what_an_expired_mail_said_is_told_again_and_the_next_digest_says_so() {
    let server = Scripted::start(&[(At::Data("gil"), Act::Drop)]);
    let farm = farm_with(&server);
    let told = "SELECT revision, day FROM told
                WHERE person = 'gil' AND event = 'egg-laying-start' ORDER BY revision";
    farm.nightly("2022-04-10");
    farm.nightly("2022-04-16");
    // Its adviser has added a line, so that it is not folded into another.
    let added = ["alerts", "note", "gil", "Call me."];
    printed(&[&added[..], &["--config", farm.config()]].concat());
    for day in 17..=20 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let states = "SELECT state, count(*) FROM outbox WHERE person = 'gil' AND day = '2022-04-16'";
    assert_eq!(rows(&farm.database(), states), [["expired", "1"]]);
    server.now_does(&[]);
    for day in 21..=22 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    // The revisions count on, and the mail that tells it again is no correction.
    assert_eq!(
        rows(&farm.database(), told),
        [["1", "2022-04-16"], ["2", "2022-04-21"]]
    );
    let to_gil = server
        .taken()
        .into_iter()
        .filter(|mail| mail.recipient.starts_with("gil"));
    let to_gil: Vec<String> = to_gil
        .map(|mail| String::from_utf8(mail.bytes).unwrap())
        .collect();
    let alert = to_gil
        .iter()
        .find(|mail| mail.contains("alert.2022-04-21"))
        .unwrap();
    assert!(alert.contains("egg-laying"), "{alert}");
    let digest = server
        .taken()
        .into_iter()
        .map(|mail| String::from_utf8(mail.bytes).unwrap());
    let digest = digest
        .into_iter()
        .find(|mail| mail.contains("<digest.2022-04-21"))
        .unwrap();
    let words = digest.replace("=\r\n", "").replace("\r\n", " ");
    assert!(
        words.contains("could not be delivered for three days and is given up"),
        "{words}"
    );
    let status = printed(&["status", "--config", farm.config()]);
    assert!(
        status.contains("expired alert of 2022-04-16 to gil"),
        "{status}"
    );
}

#[test]
fn after_a_short_outage_all_mails_arrive_in_order_and_the_next_digest_says_which_were_late() {
    let server = Scripted::start(&[(At::Greeting, Act::Say("421 4.3.2 shutting down"))]);
    let farm = farm_with(&server);
    let outage = "2022-04-16";
    refused(
        75,
        &["nightly", "--config", farm.config(), "--as-of", outage],
    );
    server.now_does(&[]);
    for day in ["2022-04-17", "2022-04-18", "2022-04-19"] {
        farm.nightly(day);
    }
    let mails = server
        .taken()
        .into_iter()
        .map(|mail| String::from_utf8(mail.bytes).unwrap());
    let mails: Vec<String> = mails.collect();
    let to_ada: Vec<&String> = mails
        .iter()
        .filter(|mail| mail.contains("<digest."))
        .collect();
    assert_eq!(to_ada.len(), 4);
    for (day, mail) in (16..).zip(&to_ada) {
        assert!(mail.contains(&format!("<digest.2022-04-{day}.")), "{mail}");
        let date = format!(", {day} Apr 2022 13:00:00 +0000");
        assert!(
            mail.lines()
                .any(|line| line.starts_with("Date: ") && line.ends_with(&date)),
            "{mail}"
        );
    }
    let plain = |mail: &str| mail.replace("=\r\n", "").replace("\r\n", " ");
    let (next, last) = (plain(to_ada[2]), plain(to_ada[3]));
    for (digest, late, on) in [
        (&next, "digest of Apr 16 to Ada Vance", "Apr 17"),
        (&last, "alert of Apr 16 to Gil Marrow", "Apr 18"),
    ] {
        let words = format!("{late} was delivered late, on {on}, 06:00");
        assert!(digest.contains(&words), "{words}: {digest}");
    }
    assert!(!last.contains("digest of Apr 18"), "{last}");
}

#[test]
fn a_stop_in_the_middle_of_a_mail_loses_nothing_and_the_next_start_sends_it() {
    let server = Scripted::start(&[(At::Dot(""), Act::Silence)]);
    let farm = farm_with(&server);
    farm.change("after_dot_s = 2", "after_dot_s = 600");
    in_the_small_hours(&farm);
    let daemon = start(&farm);
    daemon.looks_until("the message is under way", || {
        server.commands().iter().any(|line| line == "DATA")
    });
    let asked = Instant::now();
    daemon.stop("-TERM");
    assert!(asked.elapsed() < Duration::from_secs(30));
    let states = "SELECT state, attempts FROM outbox WHERE kind = 'digest'";
    assert_eq!(rows(&farm.database(), states), [["queued", "1"]]);
    server.now_does(&[]);
    let daemon = start(&farm);
    daemon.looks_until("the mail is taken", || !server.taken().is_empty());
    daemon.stop("-TERM");
    assert_eq!(rows(&farm.database(), states), [["sent", "2"]]);
    assert_eq!(server.taken().len(), 1);
}

#[test]
fn while_a_server_keeps_silent_the_runner_takes_in_what_is_dropped() {
    let server = Scripted::start(&[(At::Dot(""), Act::Silence)]);
    let farm = farm_with(&server);
    farm.change("after_dot_s = 2", "after_dot_s = 600");
    in_the_small_hours(&farm);
    farm.change("[mail]", "[records]\ndrop = \"drop\"\n\n[mail]");
    std::fs::create_dir(farm.path("drop")).unwrap();
    let daemon = start(&farm);
    daemon.looks_until("the message is under way", || {
        server.commands().iter().any(|line| line == "DATA")
    });
    farm.write(
        "drop/visits.csv",
        "date,trap,eggs\n2022-04-19,e1,1\n2022-04-19,e2,0\n",
    );
    let read = "SELECT count(*) FROM visit WHERE day = '2022-04-19'";
    daemon.looks_until("the file is taken in", || {
        rows(&farm.database(), read) == [["2"]]
    });
    // All that time the one mail was waiting for its answer.
    assert_eq!((server.connections(), server.taken().len()), (1, 0));
    daemon.stop("-TERM");
}

#[test]
fn nightly_and_status_say_in_plain_words_why_mails_are_kept() {
    let server = Scripted::start(&[(At::Mail, Act::Say("553 5.7.1 sender not owned by user"))]);
    let farm = farm_with(&server);
    let said = farm.nightly_fails("2022-04-16");
    assert!(said.contains("mail.from"), "{said}");
    let status = printed(&["status", "--config", farm.config()]);
    assert!(status.contains("no mail goes out since"), "{status}");
    assert!(
        status.contains("553 5.7.1 sender not owned by user"),
        "{status}"
    );
    assert!(
        status.contains("to mend: the server does not let this login send"),
        "{status}"
    );
    // Once mended, the same command sends at once what was kept.
    server.now_does(&[]);
    let sent = farm.nightly("2022-04-16");
    assert!(sent.contains("1 mail sent"), "{sent}");
}

#[test]
fn a_login_that_fails_at_trace_level_shows_the_password_nowhere() {
    // The server even repeats what it was sent.
    let server = Scripted::start(&[(At::Auth, Act::Repeat("535 5.7.8 not this:"))]);
    let farm = Farm::new("2022-04-30");
    farm.write("password", &format!("{PASSWORD}\n"));
    farm.route(&format!(
        "host = \"127.0.0.1\"\nport = {}\nsecurity = \"none\"\nusername = \"office\"\n\
         password_file = \"password\"\ntimeout_s = 2\nafter_dot_s = 2\n",
        server.port()
    ));
    let output = duskflight()
        .args([
            "nightly",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-16",
        ])
        .env("DUSKFLIGHT_LOG", "trace")
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(75));
    let status = printed(&["status", "--config", farm.config()]);
    let database = std::fs::read(farm.path("duskflight.sqlite")).unwrap();
    let log = std::fs::read(farm.path("duskflight.sqlite-wal")).unwrap_or_default();
    let sent = server
        .commands()
        .into_iter()
        .find(|line| line.starts_with("AUTH"))
        .unwrap();
    let encoded = sent.rsplit(' ').next().unwrap();
    assert!(encoded.len() > 20, "the password was sent: {sent}");
    let places = [
        ("log", [output.stderr.as_slice(), &output.stdout].concat()),
        ("status", status.clone().into_bytes()),
        ("database", [database, log].concat()),
    ];
    for (place, bytes) in places {
        for secret in [PASSWORD, encoded] {
            let found = bytes
                .windows(secret.len())
                .any(|part| part == secret.as_bytes());
            assert!(!found, "the {place} shows {secret}");
        }
    }
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(
        said.contains("535 5.7.8 not this: AUTH PLAIN ***"),
        "{said}"
    );
    assert!(status.contains("app password"), "{status}");
    for shown in [said.as_ref(), &status] {
        assert!(!shown.contains("ada@test.example"), "{shown}");
    }
}

#[test]
fn a_declaration_that_would_show_the_password_or_contradict_itself_is_refused() {
    let farm = Farm::new("2022-04-30");
    farm.write("password", "secret\n");
    let login = "username = \"office\"\npassword_file = \"password\"\n";
    let cases = [
        (
            format!("host = \"mail.farm.example\"\nsecurity = \"none\"\n{login}"),
            "unprotected",
        ),
        ("host = \"mail.farm.example\"\n".to_owned(), "security"),
        (
            "host = \"mail.farm.example\"\nsecurity = \"opportunistic\"\n".to_owned(),
            "starttls",
        ),
        (
            "host = \"\"\nsecurity = \"tls\"\n".to_owned(),
            "mail.smtp.host",
        ),
        (
            "host = \"mail.farm.example\"\nsecurity = \"tls\"\npassword_file = \"password\"\n"
                .to_owned(),
            "no username",
        ),
        (
            "host = \"mail.farm.example\"\nsecurity = \"tls\"\nusername = \"office\"\n".to_owned(),
            "without a password",
        ),
        (
            "host = \"mail.farm.example\"\nsecurity = \"tls\"\nca_file = \"password\"\n".to_owned(),
            "PEM",
        ),
        (
            "host = \"mail.farm.example\"\nsecurity = \"tls\"\naccept_invalid = true\n".to_owned(),
            "accept_invalid",
        ),
    ];
    for (table, expected) in cases {
        farm.route(&table);
        let said = refused(
            78,
            &[
                "nightly",
                "--config",
                farm.config(),
                "--as-of",
                "2022-04-16",
            ],
        );
        assert!(said.contains(expected), "{table}: {said}");
        assert!(!said.contains("secret"), "{said}");
    }
    farm.route(&format!(
        "host = \"127.0.0.1\"\nsecurity = \"none\"\n{login}"
    ));
    printed(&["status", "--config", farm.config()]);
}

#[test]
fn a_password_in_the_configuration_is_taken_only_where_others_cannot_read_it() {
    use std::os::unix::fs::PermissionsExt;
    let farm = Farm::new("2022-04-30");
    farm.route(
        "host = \"mail.farm.example\"\nsecurity = \"tls\"\nport = 587\nusername = \"office\"\n\
         password = \"abcd efgh ijkl mnop\"\n",
    );
    let main = farm.path("duskflight.toml");
    let allow = |mode| std::fs::set_permissions(&main, PermissionsExt::from_mode(mode)).unwrap();
    allow(0o644);
    let said = refused(78, &["status", "--config", farm.config()]);
    assert!(said.contains("mode 0644; chmod 640"), "{said}");
    allow(0o640);
    let status = printed(&["status", "--config", farm.config()]);
    for warning in [
        "port 587 is meant for",
        "a file of its own",
        "app password are left out",
    ] {
        assert!(status.contains(warning), "{status}");
    }
    assert!(!said.contains("abcd") && !status.contains("abcd"));
}

#[test]
fn a_password_may_come_from_the_service_manager_or_the_environment() {
    let farm = Farm::new("2022-04-30");
    farm.route("host = \"127.0.0.1\"\nport = 9\nsecurity = \"none\"\nusername = \"office\"\n");
    let warned = |name: &str, value: &str| {
        let output = duskflight()
            .args(["status", "--config", farm.config()])
            .env(name, value)
            .output()
            .unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout)
            .unwrap()
            .contains("without a password")
    };
    // Looking at the records needs none.
    assert!(warned("NOTHING", ""));
    assert!(!warned("DUSKFLIGHT_SMTP_PASSWORD", "secret"));
    farm.write("smtp-password", "secret\n");
    assert!(!warned("CREDENTIALS_DIRECTORY", farm.config()));
}

#[test]
fn the_page_for_a_report_says_what_one_asks_first_and_shows_no_secret() {
    let key = "9f86d081884c7d659a2feaa0c55ad015";
    let server = Scripted::start(&[(At::Auth, Act::Repeat("535 5.7.8 not this:"))]);
    let farm = Farm::new("2022-04-30");
    farm.write("password", &format!("{PASSWORD}\n"));
    farm.route(&format!(
        "host = \"127.0.0.1\"\nport = {}\nsecurity = \"none\"\nusername = \"office\"\n\
         password_file = \"password\"\ntimeout_s = 2\n",
        server.port()
    ));
    let beat = format!("[telling]\nheartbeat = \"https://watch.test.example/{key}\"\n\n[mail]");
    farm.change("[mail]", &beat);
    farm.change(
        "yard.csv",
        &format!("http://127.0.0.1:9/{key}/day.csv?key={key}"),
    );
    let nightly = [
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-16",
    ];
    refused(75, &nightly);
    let page = printed(&["doctor", "--config", farm.config()]);
    for words in [
        "duskflight ",
        "duskflight.toml, mode 0",
        "configuration: no errors",
        "duskflight.sqlite, mode 0",
        "damage: none",
        "MB free",
        "tell: done for 2022-04-16",
        "last fetch failed: fetch http://127.0.0.1:9/…/day.csv?…",
        "1 waiting",
        "app password",
    ] {
        assert!(page.contains(words), "{words}: {page}");
    }
    for secret in [PASSWORD, key, "ada@test.example", "gil@test.example"] {
        assert!(!page.contains(secret), "{secret}: {page}");
    }
    // It makes nothing that is not there, and a configuration that is wrong is on the page, too.
    std::fs::remove_file(farm.path("duskflight.sqlite")).unwrap();
    let page = printed(&["doctor", "--config", farm.config()]);
    assert!(!farm.path("duskflight.sqlite").exists(), "{page}");
    farm.change("[farm]", "[farm]\nnonsense = 1");
    let page = printed(&["doctor", "--config", farm.config()]);
    assert!(page.contains("nonsense"), "{page}");
}
