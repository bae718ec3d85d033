//! Answers fetched from a real mailbox.

use std::collections::BTreeMap;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use chrono::NaiveDate;
use duskflight::config::{ImapServer, Proof, Security};
use duskflight::inbox::imap::{Collected, ImapError, Session, Why};
use duskflight::inbox::{Fate, Message, Place, Taker};
use duskflight::secret::Secret;
use duskflight::store::StoreError;

use crate::mailserver::MailServer;

/// Keeps what it is handed, as the records do: each place once. What says `answer` is one.
#[derive(Default)]
pub(crate) struct Kept {
    marks: Mutex<BTreeMap<String, (u32, u32)>>,
    pub(crate) taken: Mutex<Vec<(Place, Message)>>,
    /// Whether the program stops once it has taken a message.
    stops: bool,
}

impl Kept {
    /// Whether each was done before, and what it says.
    pub(crate) fn all(&self) -> Vec<(bool, String)> {
        let taken = self.taken.lock().unwrap();
        let said = |message: &Message| match message {
            Message::Whole(bytes) => {
                let text = String::from_utf8_lossy(bytes);
                text.lines().last().unwrap().to_owned()
            }
            Message::TooLarge(size) => format!("{} MB", size / 1_000_000),
        };
        let all = taken.iter();
        all.map(|(place, message)| (place.done_before, said(message)))
            .collect()
    }
}

impl Taker for Kept {
    async fn taken_up_to(&self, folder: &str) -> Result<Option<(u32, u32)>, StoreError> {
        Ok(self.marks.lock().unwrap().get(folder).copied())
    }

    async fn take(&self, place: Place, message: Message) -> Result<Fate, StoreError> {
        let is_answer =
            matches!(&message, Message::Whole(bytes) if bytes.windows(6).any(|w| w == b"answer"));
        let mark = (place.validity, place.uid);
        self.marks
            .lock()
            .unwrap()
            .insert(place.folder.clone(), mark);
        self.taken.lock().unwrap().push((place, message));
        if self.stops {
            std::future::pending::<()>().await;
        }
        Ok(match is_answer {
            true => Fate::Done,
            false => Fate::LeftAlone,
        })
    }
}

pub(crate) fn on<T>(work: impl Future<Output = T>) -> T {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(work)
}

pub(crate) fn since() -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, 6, 20).unwrap()
}

/// Opens a mailbox, looks through it once, and closes it.
async fn collect(
    server: &ImapServer,
    taker: &Kept,
    since: NaiveDate,
) -> Result<Collected, ImapError> {
    let mut session = Session::open(server).await?;
    let collected = session.collect(taker, since).await;
    session.close().await;
    collected
}

pub(crate) fn look(server: &ImapServer, taker: &Kept) -> Result<Collected, ImapError> {
    on(collect(server, taker, since()))
}

pub(crate) fn mail(text: &str) -> Vec<u8> {
    format!("From: gil@farm.example\nTo: office@test.example\nSubject: round\n\n{text}\n")
        .into_bytes()
}

/// Brings mails, each once the one before has arrived.
pub(crate) fn bring(server: &MailServer, texts: &[&str]) {
    for text in texts {
        let before = server.in_folder("office", "INBOX").len();
        server.bring("gil@farm.example", "office+tag@test.example", &mail(text));
        server.wait_for("the mail", || {
            server.in_folder("office", "INBOX").len() > before
        });
    }
}

/// The flags of the messages in a folder, as a maildir has them in its names.
pub(crate) fn flags(server: &MailServer, folder: &str) -> Vec<String> {
    let files = server.in_folder("office", folder).into_iter();
    let names = files.map(|file| file.file_name().unwrap().to_str().unwrap().to_owned());
    names
        .map(|name| {
            let flags = name.split_once(":2,").map_or("", |(_, flags)| flags);
            flags.to_owned()
        })
        .collect()
}

pub(crate) fn why(result: Result<Collected, ImapError>) -> (Why, bool) {
    let error = result.unwrap_err();
    let lasting = error.is_lasting();
    assert!(!error.to_string().contains("hunter2"), "{error}");
    (error.why, lasting)
}

#[test]
fn an_answer_is_taken_flagged_and_moved_and_other_mail_stays_unread_where_it_is() {
    let server = MailServer::start(&["office"]);
    bring(&server, &["an answer", "a letter", "another answer"]);
    let kept = Kept::default();
    for security in [Security::Tls, Security::Starttls] {
        let found = look(&server.mailbox_of("office", security), &kept).unwrap();
        assert!(!found.more, "{security:?}");
    }
    let all = kept.all();
    let expected = [
        (false, "an answer"),
        (false, "a letter"),
        (false, "another answer"),
        (true, "an answer"),
        (true, "another answer"),
    ];
    let expected = expected.map(|(before, text)| (before, text.to_owned()));
    assert_eq!(all, expected);
    let taken = kept.taken.lock().unwrap();
    let places: Vec<_> = taken.iter().map(|(place, _)| place.clone()).collect();
    assert_eq!(places[0].folder, "office at localhost: INBOX");
    assert_eq!(places[3].folder, "office at localhost: Duskflight");
    assert_eq!([places[0].uid, places[1].uid, places[2].uid], [1, 2, 3]);
    drop(taken);
    assert_eq!(flags(&server, "INBOX"), [""]);
    assert_eq!(flags(&server, "Duskflight"), ["S", "S"]);

    let nothing = look(&server.mailbox_of("office", Security::Tls), &kept).unwrap();
    assert_eq!(nothing, Collected::default());
}

#[test]
fn a_stranger_s_certificate_and_a_wrong_password_are_named_and_nothing_is_said_to_a_stranger() {
    let server = MailServer::start(&["office"]);
    let kept = Kept::default();
    for security in [Security::Tls, Security::Starttls] {
        let declared = server.mailbox_of("office", security);
        let strange = ImapServer {
            ca: Some(server.certificates("stranger")),
            ..declared.clone()
        };
        let (why, lasting) = why(look(&strange, &kept));
        assert!(matches!(why, Why::Certificate(_)) && lasting, "{why}");
        let wrong = ImapServer {
            proof: Proof::Password(Ok(Secret::new("hunter2".to_owned()))),
            ..declared
        };
        let (why, lasting) = self::why(look(&wrong, &kept));
        assert!(matches!(why, Why::Login(_)) && lasting, "{why}");
    }
    let logins = server.log().matches("imap-login").count();
    assert!(logins > 0 && server.heard_by_imap("office").is_empty());
    assert!(kept.all().is_empty());
}

#[test]
fn what_was_taken_but_not_moved_is_moved_by_the_next_session() {
    let server = MailServer::start(&["office"]);
    bring(&server, &["an answer"]);
    let declared = server.mailbox_of("office", Security::Tls);
    let mut kept = Kept {
        stops: true,
        ..Kept::default()
    };
    on(async {
        let broken = collect(&declared, &kept, since());
        tokio::pin!(broken);
        while kept.taken.lock().unwrap().is_empty() {
            let step = tokio::time::timeout(Duration::from_millis(20), &mut broken).await;
            assert!(step.is_err(), "{step:?}");
        }
    });
    assert_eq!(server.in_folder("office", "INBOX").len(), 1);
    kept.stops = false;
    assert_eq!(look(&declared, &kept).unwrap().done, 1);
    assert!(server.in_folder("office", "INBOX").is_empty());
    assert_eq!(flags(&server, "Duskflight"), ["S"]);
}

#[test]
fn a_folder_that_is_numbered_anew_is_looked_through_again() {
    let server = MailServer::start(&["office"]);
    bring(&server, &["a letter"]);
    let declared = server.mailbox_of("office", Security::Tls);
    let kept = Kept::default();
    look(&declared, &kept).unwrap();
    server.renumber("office");
    bring(&server, &["another letter"]);
    look(&declared, &kept).unwrap();
    let texts: Vec<String> = kept.all().into_iter().map(|(_, text)| text).collect();
    assert_eq!(texts, ["a letter", "a letter", "another letter"]);
    let taken = kept.taken.lock().unwrap();
    assert_ne!(taken[0].0.validity, taken[1].0.validity);
}

#[test]
fn a_server_without_move_copies_and_removes_the_one_or_keeps_it_beside_its_copy() {
    for (offers, left) in [("UIDPLUS", vec![]), ("IDLE", vec!["S".to_owned()])] {
        let lines = format!("imap_capability = IMAP4rev1 {offers}");
        let server = MailServer::start_with(&["office"], &lines);
        bring(&server, &["an answer"]);
        let declared = server.mailbox_of("office", Security::Tls);
        let kept = Kept::default();
        for _ in 0..3 {
            look(&declared, &kept).unwrap();
        }
        assert_eq!(flags(&server, "INBOX"), left, "{offers}");
        assert_eq!(flags(&server, "Duskflight"), ["S"], "{offers}");
        let heard = server.heard_by_imap("office");
        let copied = heard.contains("UID COPY 1") && !heard.contains("UID MOVE");
        assert!(copied, "{heard}");
        assert_eq!(heard.contains("UID EXPUNGE 1"), left.is_empty());
    }
}

#[test]
fn a_large_message_is_counted_without_being_fetched() {
    let server = MailServer::start(&["office"]);
    let large = "an answer\n".repeat(300_000);
    bring(&server, &[&large]);
    let kept = Kept::default();
    look(&server.mailbox_of("office", Security::Tls), &kept).unwrap();
    assert_eq!(kept.all(), [(false, "3 MB".to_owned())]);
    let heard = server.heard_by_imap("office");
    assert!(
        heard.contains("RFC822.SIZE") && !heard.contains("BODY"),
        "{heard}"
    );
    assert_eq!(flags(&server, "INBOX"), [""]);
}

#[test]
fn a_wait_ends_when_a_mail_comes_and_may_be_broken_off() {
    let server = MailServer::start(&["office"]);
    let declared = server.mailbox_of("office", Security::Tls);
    let kept = Kept::default();
    on(async {
        let mut session = Session::open(&declared).await.unwrap();
        session.collect(&kept, since()).await.unwrap();
        let short = Duration::from_millis(50);
        session.wait(short).await.unwrap();
        for _ in 0..3 {
            let broken_off = tokio::time::timeout(short, session.wait(Duration::from_secs(60)));
            assert!(broken_off.await.is_err());
        }
        session.collect(&kept, since()).await.unwrap();
        let begun = Instant::now();
        server.bring(
            "gil@farm.example",
            "office@test.example",
            &mail("an answer"),
        );
        while kept.all().is_empty() {
            session.wait(Duration::from_secs(60)).await.unwrap();
            session.collect(&kept, since()).await.unwrap();
        }
        assert!(begun.elapsed() < Duration::from_secs(50));
        session.close().await;
    });
}

#[test]
fn mail_from_long_before_is_not_asked_for_in_a_folder_that_was_never_seen() {
    let server = MailServer::start(&["office"]);
    bring(&server, &["a letter"]);
    let declared = server.mailbox_of("office", Security::Tls);
    let kept = Kept::default();
    let tomorrow = NaiveDate::from_ymd_opt(2199, 1, 1).unwrap();
    on(collect(&declared, &kept, tomorrow)).unwrap();
    assert!(kept.all().is_empty());
    look(&declared, &kept).unwrap();
    assert_eq!(kept.all().len(), 1);
}
