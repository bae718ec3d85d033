//! Delivery to a mail server that goes wrong in every way: nothing is lost, nothing is said in
//! clear, nobody waits for somebody else's trouble.

use std::time::{Duration, Instant};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use duskflight::config::{Login, Secret, Security, SmtpServer};
use duskflight::mail::delivery::{Delivered, deliver};
use duskflight::mail::transport::Transport;
use duskflight::store::outbox::{self, MailKind, NewMail};
use duskflight::store::post::{self, Standing};
use duskflight::store::{Store, StoreError};
use duskflight_core::id::PersonId;
use tempfile::TempDir;

use crate::harness::{Farm, VISITS, duskflight, printed, refused, rows};
use crate::scripted::{Act, At, Scripted};

const PASSWORD: &str = "orchard-at-dusk-81";

/// An outbox of its own and a runtime to deliver it with.
struct Post {
    _dir: TempDir,
    store: Store,
    runtime: tokio::runtime::Runtime,
}

fn at(hours: i64) -> DateTime<Utc> {
    DateTime::from_timestamp(1_655_730_000 + hours * 3600, 0).unwrap()
}

/// Lines that begin with dots, as they are doubled on the way.
fn body(id: &str) -> Vec<u8> {
    let lines = [
        "Subject: ",
        id,
        "\r\n\r\n.\r\n..\r\n.dusk\r\n\r\nthe end\r\n",
    ];
    lines.concat().into_bytes()
}

impl Post {
    /// Queues one mail for each recipient, in order; a second one of a person is of the next day.
    fn with(people: &[&str]) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let store = Store::open(&dir.path().join("records.sqlite")).unwrap();
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        let post = Self {
            _dir: dir,
            store,
            runtime,
        };
        for (n, person) in people.iter().enumerate() {
            post.queue(n, person);
        }
        post
    }

    fn queue(&self, n: usize, person: &str) {
        let id = format!("<{n}@test.example>");
        let mail = NewMail {
            body: body(&id),
            subject: id.clone(),
            message_id: id,
            kind: MailKind::Digest,
            person: PersonId::new(person).unwrap(),
            adviser: PersonId::new(person).unwrap(),
            day: NaiveDate::from_ymd_opt(2022, 6, 20 + u32::try_from(n).unwrap()).unwrap(),
            address: format!("{person}@test.example"),
            queued_at: at(0),
            waits_for: None,
            hold_s: 0,
        };
        let queued: Result<(), StoreError> = self
            .runtime
            .block_on(self.store.write(move |t| outbox::queue(t, &mail)));
        queued.unwrap();
    }

    fn deliver(&self, server: SmtpServer, now: DateTime<Utc>) -> Delivered {
        let transport = Transport::Smtp {
            server: Box::new(server),
            sender: "duskflight@test.example".to_owned(),
        };
        let delivery = deliver(&self.store, &transport, now);
        self.runtime.block_on(delivery).unwrap()
    }

    fn standing(&self) -> Standing {
        let standing: Result<_, StoreError> =
            self.runtime.block_on(self.store.read(post::standing));
        standing.unwrap()
    }
}

fn login() -> Option<Login> {
    Some(Login {
        username: "office".to_owned(),
        password: Ok(Secret::new(PASSWORD.to_owned())),
    })
}

#[test]
fn a_mail_arrives_as_it_was_frozen_to_the_byte() {
    let server = Scripted::start(&[]);
    let post = Post::with(&["gil"]);
    assert_eq!(post.deliver(server.declared(), at(0)).sent, 1);
    let taken = server.taken();
    assert_eq!(taken.len(), 1);
    assert_eq!(taken[0].recipient, "gil@test.example");
    assert_eq!(taken[0].bytes, body("<0@test.example>"));
    // Neither this computer's name nor a login that was not declared.
    let commands = server.commands();
    assert_eq!(commands[0], "EHLO [127.0.0.1]");
    assert_eq!(commands[1], "MAIL FROM:<duskflight@test.example>");
}

#[test]
fn whatever_stops_the_talk_keeps_the_mail_within_the_time_out_and_sends_it_later() {
    let faults = [
        (At::Greeting, Act::Silence),
        (At::Greeting, Act::Drop),
        (At::Greeting, Act::Say("421 4.3.2 shutting down")),
        (At::Mail, Act::Drop),
        (At::Mail, Act::Say("450 4.1.8 cannot check the sender now")),
        (At::Rcpt("gil"), Act::Silence),
        (At::Rcpt("gil"), Act::Say("450 4.2.0 greylisted")),
        (At::Rcpt("gil"), Act::Say("554 5.2.2 mailbox full")),
        (At::Data, Act::Silence),
        (At::Data, Act::Drop),
        (At::Dot, Act::Silence),
        (At::Dot, Act::Drop),
        (At::Dot, Act::Say("554 5.2.2 quota exceeded")),
        (At::Dot, Act::Say("550 5.7.1 looks like unsolicited mail")),
    ];
    for fault in faults {
        let server = Scripted::start(&[fault]);
        let post = Post::with(&["gil"]);
        let begun = Instant::now();
        let delivered = post.deliver(server.declared(), at(0));
        assert!(begun.elapsed() < Duration::from_secs(4), "{fault:?}");
        assert_eq!((delivered.sent, delivered.kept), (0, 1), "{fault:?}");
        let standing = post.standing();
        assert_eq!((standing.queued, standing.failed), (1, 0), "{fault:?}");
        server.now_does(&[]);
        assert_eq!(post.deliver(server.declared(), at(0)), Delivered::default());
        assert_eq!(post.deliver(server.declared(), at(12)).sent, 1, "{fault:?}");
        assert_eq!(server.taken().len(), 1, "{fault:?}");
        assert_eq!(post.standing().trouble, None, "{fault:?}");
    }
}

#[test]
fn of_three_recipients_the_refused_one_fails_and_is_shown_and_two_have_their_mail() {
    let refusal = "550 5.1.1 <bo@test.example>: no such user";
    let server = Scripted::start(&[(At::Rcpt("bo@"), Act::Say(refusal))]);
    let post = Post::with(&["ada", "bo", "gil"]);
    let delivered = post.deliver(server.declared(), at(0));
    assert_eq!((delivered.sent, delivered.given_up), (2, 1));
    let recipients: Vec<_> = server.taken().into_iter().map(|t| t.recipient).collect();
    assert_eq!(recipients, ["ada@test.example", "gil@test.example"]);
    let standing = post.standing();
    assert_eq!((standing.failed, standing.queued), (1, 0));
    let failed = &standing.given_up[0];
    assert_eq!(
        (failed.state.as_str(), failed.person.as_str()),
        ("failed", "bo")
    );
    assert_eq!(failed.subject, "<1@test.example>");
    assert!(
        failed
            .reason
            .contains("550 5.1.1 <b…@test.example>: no such user"),
        "{failed:?}"
    );
}

#[test]
fn a_wrong_password_stops_the_queue_and_is_tried_once_an_hour() {
    let server = Scripted::start(&[(At::Auth, Act::Say("535 5.7.8 authentication failed"))]);
    let declared = || SmtpServer {
        login: login(),
        ..server.declared()
    };
    let post = Post::with(&["ada", "bo", "gil"]);
    let delivered = post.deliver(declared(), at(0));
    assert_eq!((delivered.sent, delivered.kept), (0, 1));
    assert_eq!(server.connections(), 1);
    for minutes in [1, 30, 59] {
        post.deliver(declared(), at(0) + TimeDelta::minutes(minutes));
    }
    post.queue(3, "cy");
    post.deliver(declared(), at(0));
    assert_eq!(
        server.connections(),
        1,
        "the server is left alone for an hour"
    );
    // A week of it loses nothing.
    for hour in 1..=7 * 24 {
        post.deliver(declared(), at(hour));
    }
    assert_eq!(server.connections(), 1 + 7 * 24);
    let standing = post.standing();
    assert_eq!(
        (standing.queued, standing.failed, standing.expired),
        (4, 0, 0)
    );
    let trouble = standing.trouble.unwrap();
    assert!(
        trouble.error.contains("535 5.7.8 authentication failed"),
        "{trouble:?}"
    );
    assert!(trouble.advice.unwrap().contains("app password"));
    server.now_does(&[]);
    assert_eq!(post.deliver(declared(), at(7 * 24 + 1)).sent, 4);
    let recipients: Vec<_> = server.taken().into_iter().map(|t| t.recipient).collect();
    let expected = ["ada", "bo", "gil", "cy"].map(|person| format!("{person}@test.example"));
    assert_eq!(recipients, expected);
    assert_eq!(post.standing().trouble, None);
}

#[test]
fn without_starttls_nothing_but_the_greeting_is_said() {
    let server = Scripted::start(&[]);
    let post = Post::with(&["ada", "gil"]);
    let declared = SmtpServer {
        login: login(),
        security: Security::Starttls,
        ..server.declared()
    };
    let delivered = post.deliver(declared, at(0));
    assert_eq!((delivered.sent, delivered.kept), (0, 1));
    let said: Vec<String> = server.commands();
    assert!(
        said.iter()
            .all(|line| line.starts_with("EHLO") || line == "QUIT"),
        "{said:?}"
    );
    let trouble = post.standing().trouble.unwrap();
    assert!(
        trouble.error.contains("the server offers no STARTTLS"),
        "{trouble:?}"
    );
    assert!(
        trouble
            .advice
            .unwrap()
            .contains("nothing was sent in clear")
    );
}

#[test]
fn a_server_that_offers_no_login_is_not_sent_one() {
    let server = Scripted::start(&[]);
    server.offers(&["AUTH SOMETHING-ELSE"]);
    let post = Post::with(&["gil"]);
    let declared = SmtpServer {
        login: login(),
        ..server.declared()
    };
    assert_eq!(post.deliver(declared, at(0)).kept, 1);
    assert!(
        !server
            .commands()
            .iter()
            .any(|line| line.starts_with("AUTH"))
    );
    let trouble = post.standing().trouble.unwrap();
    assert!(
        trouble.error.contains("no login by name and password"),
        "{trouble:?}"
    );
}

#[test]
fn a_later_mail_never_overtakes_but_goes_once_the_first_is_given_up() {
    let server = Scripted::start(&[(At::Rcpt("gil"), Act::Say("450 4.2.1 mailbox busy"))]);
    let post = Post::with(&["gil", "gil", "ada"]);
    assert_eq!(post.deliver(server.declared(), at(0)).sent, 1);
    assert_eq!(server.taken()[0].recipient, "ada@test.example");
    // Three days of trying, then the first one is expired and the second one's days begin.
    for hour in 1..72 {
        post.deliver(server.declared(), at(hour));
    }
    assert_eq!(post.standing().expired, 0);
    for hour in 72..77 {
        post.deliver(server.declared(), at(hour));
    }
    let standing = post.standing();
    assert_eq!((standing.expired, standing.queued), (1, 1));
    assert_eq!(standing.given_up[0].subject, "<0@test.example>");
    server.now_does(&[]);
    assert_eq!(post.deliver(server.declared(), at(90)).sent, 1);
    assert_eq!(server.taken()[1].bytes, body("<1@test.example>"));
}

#[test]
fn an_unclear_refusal_is_tried_three_times_in_a_day_and_then_failed() {
    let server = Scripted::start(&[(At::Dot, Act::Say("554 5.7.1 content rejected"))]);
    let post = Post::with(&["gil"]);
    for hour in 0..=24 {
        post.deliver(server.declared(), at(hour));
        let expected = match hour {
            0..12 => 1,
            12..24 => 2,
            _ => 3,
        };
        assert_eq!(server.connections(), expected, "hour {hour}");
        assert_eq!(post.standing().failed, u32::from(hour == 24), "hour {hour}");
    }
}

#[test]
fn a_server_that_is_gone_for_three_days_expires_what_waited_so_long() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let nobody = SmtpServer {
        port: listener.local_addr().unwrap().port(),
        ..Scripted::start(&[]).declared()
    };
    drop(listener);
    let post = Post::with(&["ada", "gil"]);
    for hour in 0..72 {
        post.deliver(nobody.clone(), at(hour));
    }
    let standing = post.standing();
    assert_eq!((standing.queued, standing.expired), (2, 0));
    assert!(standing.trouble.unwrap().error.contains("refused"));
    for hour in 72..75 {
        post.deliver(nobody.clone(), at(hour));
    }
    let standing = post.standing();
    assert_eq!((standing.queued, standing.expired), (0, 2));
}

/// A farm whose mails go to a server without a login.
fn farm_with(server: &Scripted) -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.route(&format!(
        "host = \"127.0.0.1\"\nport = {}\nsecurity = \"none\"\ntimeout_s = 2\n",
        server.port()
    ));
    farm.import("round.csv", VISITS);
    farm
}

#[test]
fn what_an_expired_mail_said_is_told_again_and_the_next_digest_says_so() {
    let server = Scripted::start(&[(At::Rcpt("gil"), Act::Say("450 4.2.1 mailbox busy"))]);
    let farm = farm_with(&server);
    let told = "SELECT revision, day FROM told
                WHERE person = 'gil' AND event = 'egg-laying-start' ORDER BY revision";
    for day in 16..=20 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    assert_eq!(rows(&farm.database(), told), [["1", "2022-04-16"]]);
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
fn after_an_outage_all_mails_arrive_in_order_and_the_next_digest_says_which_were_late() {
    let server = Scripted::start(&[(At::Greeting, Act::Say("421 4.3.2 shutting down"))]);
    let farm = farm_with(&server);
    for day in ["2022-04-16", "2022-04-17"] {
        refused(75, &["nightly", "--config", farm.config(), "--as-of", day]);
    }
    server.now_does(&[]);
    for day in ["2022-04-18", "2022-04-19"] {
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
    let last = to_ada[3].replace("=\r\n", "").replace("\r\n", " ");
    for late in [
        "digest of Apr 16 to Ada Vance",
        "alert of Apr 16 to Gil Marrow",
    ] {
        let words = format!("{late} was delivered late, on Apr 18, 06:00");
        assert!(last.contains(&words), "{words}: {last}");
    }
    assert!(!last.contains("digest of Apr 18"), "{last}");
}

#[test]
fn nightly_and_status_say_in_plain_words_why_mails_are_kept() {
    let server = Scripted::start(&[(At::Mail, Act::Say("553 5.7.1 sender not owned by user"))]);
    let farm = farm_with(&server);
    let said = refused(
        75,
        &[
            "nightly",
            "--config",
            farm.config(),
            "--as-of",
            "2022-04-16",
        ],
    );
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
    assert!(sent.contains("1 mails sent"), "{sent}");
}

#[test]
fn a_login_that_fails_at_trace_level_shows_the_password_nowhere() {
    // The server even repeats what it was sent.
    let server = Scripted::start(&[(At::Auth, Act::Repeat("535 5.7.8 not this:"))]);
    let farm = Farm::new("2022-04-30");
    farm.write("password", &format!("{PASSWORD}\n"));
    farm.route(&format!(
        "host = \"127.0.0.1\"\nport = {}\nsecurity = \"none\"\nusername = \"office\"\n\
         password_file = \"password\"\ntimeout_s = 2\n",
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
