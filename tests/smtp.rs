//! Delivery to a mail server that goes wrong in every way: nothing is lost, nothing is said in
//! clear, nobody waits for somebody else's trouble.

use std::collections::BTreeMap;
use std::time::{Duration, Instant};

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use duskflight::clock::SetClock;
use duskflight::config::{Login, Security, SmtpServer};
use duskflight::mail::delivery::{Delivered, deliver};
use duskflight::mail::transport::Transport;
use duskflight::secret::Secret;
use duskflight::store::outbox::{self, NewMail};
use duskflight::store::outbox_report::{self, Standing};
use duskflight::store::{Store, StoreError};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::MailKind;
use tempfile::TempDir;

use crate::scripted::{Act, At, Scripted};

const PASSWORD: &str = "orchard-at-dusk-81";

/// An outbox of its own and a runtime to deliver it with.
struct Post {
    dir: TempDir,
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
        let store = Store::create(&dir.path().join("records.sqlite")).unwrap();
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_all()
            .build()
            .unwrap();
        let post = Self {
            dir,
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
            body: Some(body(&id)),
            about: String::new(),
            subject: id.clone(),
            message_id: id,
            kind: MailKind::Digest,
            person: PersonId::new(person).unwrap(),
            adviser: PersonId::new(person).ok(),
            day: NaiveDate::from_ymd_opt(2022, 6, 20 + u32::try_from(n).unwrap()).unwrap(),
            address: format!("{person}@test.example"),
            queued_at: at(0),
            contents: None,
            waits_for: Vec::new(),
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
            heard: std::sync::Arc::default(),
        };
        let clock = SetClock::at(now);
        let delivery = deliver(&self.store, &transport, &clock);
        self.runtime.block_on(delivery).unwrap()
    }

    fn standing(&self) -> Standing {
        let standing: Result<_, StoreError> = self
            .runtime
            .block_on(self.store.read(outbox_report::standing));
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
        (At::Data(""), Act::Silence),
        (At::Data(""), Act::Drop),
        (
            At::Data(""),
            Act::Say("250 2.0.0 taken, says who has seen nothing yet"),
        ),
        (At::Dot(""), Act::Say("554 5.2.2 quota exceeded")),
        (
            At::Dot(""),
            Act::Say("550 5.7.1 looks like unsolicited mail"),
        ),
    ];
    for fault in faults {
        let server = Scripted::start(&[fault]);
        let post = Post::with(&["gil"]);
        let begun = Instant::now();
        let delivered = post.deliver(server.declared(), at(0));
        // By its own time-out of a second and not by one of a minute that would stand behind it.
        assert!(begun.elapsed() < Duration::from_secs(30), "{fault:?}");
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

/// How often each message arrived, by its first line.
fn copies(server: &Scripted) -> BTreeMap<String, usize> {
    let mut copies = BTreeMap::new();
    for mail in server.taken() {
        let text = String::from_utf8(mail.bytes).unwrap();
        let subject = text.lines().next().unwrap().to_owned();
        *copies.entry(subject).or_default() += 1;
    }
    copies
}

#[test]
fn a_server_that_takes_mails_and_says_so_too_late_has_three_copies_of_each_at_the_most() {
    let server = Scripted::start(&[(At::Dot(""), Act::TakeAndKeepSilent)]);
    let post = Post::with(&["gil", "ada"]);
    // Three days, and two days more, with a mail of the next day for each.
    for hour in 0..5 * 24 {
        if hour == 24 {
            post.queue(2, "gil");
        }
        post.deliver(server.declared(), at(hour));
    }
    let copies = copies(&server);
    assert_eq!(copies.into_values().collect::<Vec<_>>(), [3, 3, 3]);
    let standing = post.standing();
    assert_eq!((standing.queued, standing.expired), (0, 0));
    let unknown = standing.unknown.iter();
    let unknown: Vec<&str> = unknown.map(|mail| mail.state.name()).collect();
    assert_eq!(unknown, ["unknown"; 3]);
    let reason = &standing.unknown[0].reason;
    assert!(reason.contains("handing over the message"), "{reason}");
    assert!(reason.contains("did not answer within 1 s"), "{reason}");
}

#[test]
fn a_mail_that_was_perhaps_taken_holds_nothing_up_and_is_not_sent_behind_a_newer_one() {
    for lost in [
        Act::TakeAndKeepSilent,
        Act::Drop,
        Act::Say("354 go on for ever"),
    ] {
        let server = Scripted::start(&[(At::Dot("gil"), lost)]);
        let post = Post::with(&["gil", "ada"]);
        assert_eq!(post.deliver(server.declared(), at(0)).sent, 1);
        let first = server.taken().len();
        server.now_does(&[]);
        assert_eq!(
            post.deliver(server.declared(), at(23)),
            Delivered::default()
        );
        post.queue(2, "gil");
        // Both may leave at this hour: the older one first.
        assert_eq!(post.deliver(server.declared(), at(24)).sent, 2);
        assert_eq!(server.taken()[first].bytes, body("<0@test.example>"));

        let server = Scripted::start(&[(At::Dot("gil"), lost)]);
        let post = Post::with(&["gil"]);
        post.deliver(server.declared(), at(0));
        let first = server.taken().len();
        server.now_does(&[]);
        post.queue(2, "gil");
        assert_eq!(post.deliver(server.declared(), at(12)).sent, 1);
        assert_eq!(post.deliver(server.declared(), at(24)).sent, 0);
        assert_eq!(server.taken()[first].bytes, body("<2@test.example>"));
        let standing = post.standing();
        assert_eq!(
            (standing.queued, standing.failed, standing.expired),
            (0, 0, 0)
        );
        assert_eq!(standing.unknown[0].state.name(), "unknown");
    }
}

#[test]
fn what_was_perhaps_taken_once_ends_as_unknown_whatever_ends_it() {
    let server = Scripted::start(&[(At::Dot(""), Act::Drop)]);
    let post = Post::with(&["gil"]);
    post.deliver(server.declared(), at(0));
    server.now_does(&[(At::Rcpt("gil"), Act::Say("550 5.1.1 no such user"))]);
    assert_eq!(post.deliver(server.declared(), at(24)).given_up, 1);
    let standing = post.standing();
    assert_eq!((standing.queued, standing.failed), (0, 0));
    assert!(standing.unknown[0].reason.contains("no such user"));
}

#[test]
fn a_code_without_words_is_an_answer() {
    let all = [
        (At::Greeting, Act::Say("220")),
        (At::Mail, Act::Say("250")),
        (At::Rcpt(""), Act::Say("250")),
        (At::Data(""), Act::Say("354")),
        (At::Dot(""), Act::Say("250")),
    ];
    let server = Scripted::start(&all);
    let post = Post::with(&["gil", "ada"]);
    assert_eq!(post.deliver(server.declared(), at(0)).sent, 2);
    assert_eq!(server.taken().len(), 2);
    server.now_does(&[(At::Rcpt("bo"), Act::Say("550"))]);
    post.queue(2, "bo");
    assert_eq!(post.deliver(server.declared(), at(1)).kept, 1);
}

#[test]
fn one_connection_and_login_serves_the_mails_of_a_round_also_behind_a_refused_one() {
    let refused = [(At::Rcpt("cy"), Act::Say("550 5.1.1 no such user"))];
    let server = Scripted::start(&refused);
    let post = Post::with(&["ada", "bo", "cy", "di", "ed"]);
    let declared = || SmtpServer {
        login: login(),
        ..server.declared()
    };
    let delivered = post.deliver(declared(), at(0));
    assert_eq!((delivered.sent, delivered.given_up), (4, 1));
    assert_eq!(server.connections(), 1);
    let commands = server.commands();
    let verbs: Vec<&str> = commands.iter().map(|line| &line[..4]).collect();
    let mail = ["MAIL", "RCPT", "DATA"];
    let expected = [
        &["EHLO", "AUTH"],
        &mail[..],
        &mail,
        &["MAIL", "RCPT", "RSET"],
        &mail,
        &mail,
        &["QUIT"],
    ];
    assert_eq!(verbs, expected.concat());
    post.queue(5, "ada");
    post.deliver(declared(), at(1));
    assert_eq!(
        server.connections(),
        2,
        "a round has a connection of its own"
    );
}

#[test]
fn a_connection_that_a_server_ends_between_two_mails_is_made_anew() {
    let server = Scripted::start(&[(At::SecondMail, Act::Drop)]);
    let post = Post::with(&["ada", "bo", "cy"]);
    assert_eq!(post.deliver(server.declared(), at(0)).sent, 3);
    assert_eq!(server.connections(), 3);
    server.now_does(&[(At::SecondMail, Act::Say("421 4.4.2 enough for now"))]);
    for (n, who) in [(3, "ada"), (4, "bo")] {
        post.queue(n, who);
    }
    assert_eq!(post.deliver(server.declared(), at(1)).sent, 2);
    assert_eq!(post.standing().trouble, None);
}

#[test]
fn a_try_is_counted_for_good_before_the_server_hears_of_it() {
    let server = Scripted::start(&[(At::Greeting, Act::Silence)]);
    let post = Post::with(&["gil"]);
    let path = post.dir.path().join("records.sqlite");
    let declared = server.declared();
    let counted = std::thread::spawn(move || {
        crate::daemon::wait_for("the server is called", || server.connections() > 0);
        let other = rusqlite::Connection::open(path).unwrap();
        let tried = "SELECT attempts, state FROM outbox";
        crate::harness::rows(&other, tried)
    });
    assert_eq!(post.deliver(declared, at(0)).kept, 1);
    assert_eq!(counted.join().unwrap(), [["1", "queued"]]);
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
        (failed.state.name(), failed.person.as_str()),
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
    let server = Scripted::start(&[(At::Dot(""), Act::Say("554 5.7.1 content rejected"))]);
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
