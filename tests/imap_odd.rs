//! Answers fetched from a mailbox whose server says odd things.

use std::time::Duration;

use duskflight::config::{ImapServer, Proof, Security};
use duskflight::inbox::imap::{Collected, Session, Why};

use crate::imap::{Kept, look, on, since, why};
use crate::imap_server::ImapScript;

#[test]
fn nothing_that_stands_in_clear_before_tls_is_believed() {
    let kept = Kept::default();
    let cases = [
        (
            "* OK ready",
            "TAG OK begin\r\n* OK [UIDVALIDITY 1] ahead",
            "in clear behind",
        ),
        (
            "* PREAUTH welcome office",
            "TAG OK begin",
            "before we have logged in",
        ),
        ("* OK ready", "TAG BAD what?", "refuses STARTTLS"),
        ("* OK ready", "TAG NO not now", "refuses STARTTLS"),
        ("* BYE too many", "TAG OK begin", "hung up: * BYE too many"),
        ("+OK ready", "TAG OK begin", "no answer"),
        ("* OK ready", "", "within 1 s"),
    ];
    for (greeting, answer, words) in cases {
        let server = ImapScript::start(greeting, move |_| Some(answer.to_owned()));
        let declared = ImapServer {
            security: Security::Starttls,
            ..server.declared()
        };
        let error = look(&declared, &kept).unwrap_err().to_string();
        assert!(error.contains(words), "{error}");
        let heard = server.heard();
        assert!(heard.iter().all(|said| said == "STARTTLS"), "{heard:?}");
    }
    let server = ImapScript::start("* PREAUTH welcome", |_| None);
    let (why, _) = why(look(&server.declared(), &kept));
    assert!(matches!(why, Why::Known), "{why}");
    assert!(kept.all().is_empty());
}

#[test]
fn a_server_that_says_odd_things_is_never_taken_for_an_empty_mailbox() {
    let check = |at: &'static str, says: &'static str, words: &str, lasts: bool| {
        let server = ImapScript::usual(move |command| command.starts_with(at).then_some(says));
        let kept = Kept::default();
        let error = look(&server.declared(), &kept).unwrap_err();
        assert_eq!(error.is_lasting(), lasts, "{error}");
        let text = error.to_string();
        assert!(text.contains(words), "{at}: {text}");
        assert!(!text.contains("hunter2"), "{text}");
    };
    for at in [
        "CAPABILITY",
        "SELECT",
        "UID SEARCH",
        "UID FETCH",
        "UID STORE",
        "UID MOVE",
    ] {
        check(at, "HANG UP", "hung up", false);
        check(
            at,
            "* BYE for office@farm.example",
            "hung up: for o…@farm.example",
            false,
        );
        check(at, "", "within 1 s", false);
        check(at, "what?", "no answer", false);
    }
    for at in ["UID SEARCH", "UID FETCH", "UID STORE", "UID MOVE"] {
        check(at, "TAG NO not now", "not now", false);
        check(at, "TAG BAD what?", "refused to", false);
    }
    check(
        "SELECT \"INBOX\"",
        "TAG NO there is none",
        "mend folder",
        true,
    );
    check(
        "SELECT \"Duskflight\"",
        "TAG NO none",
        "INBOX.Duskflight",
        true,
    );
    check(
        "AUTHENTICATE",
        "TAG NO [AUTHENTICATIONFAILED] hunter2?",
        "mend username",
        true,
    );
    check("AUTHENTICATE", "TAG NO [UNAVAILABLE] later", "later", false);
    let in_vain = "* CAPABILITY IMAP4rev1 LOGINDISABLED\r\nTAG OK done";
    check("CAPABILITY", in_vain, "offers no login", true);
    let greedy = "* 1 FETCH (UID 5 BODY[] {400000000}\r\n";
    check(
        "UID FETCH 5 (UID BODY",
        greedy,
        "more than was asked",
        false,
    );
}

#[test]
fn a_message_that_is_larger_than_was_said_or_gone_meanwhile_stops_nobody() {
    let gone = |command: &str| {
        let asked = command.contains("BODY.PEEK");
        asked.then_some("TAG OK done")
    };
    let nil = |command: &str| {
        let asked = command.contains("BODY.PEEK");
        asked.then_some("* 1 FETCH (UID 5 BODY[]<0> NIL)\r\nTAG OK done")
    };
    let other = |command: &str| {
        let asked = command.contains("BODY.PEEK");
        asked.then_some("* 2 FETCH (UID 6 BODY[]<0> {6}\r\nanswer)\r\nTAG OK done")
    };
    for server in [
        ImapScript::usual(gone),
        ImapScript::usual(nil),
        ImapScript::usual(other),
    ] {
        let kept = Kept::default();
        assert_eq!(
            look(&server.declared(), &kept).unwrap(),
            Collected::default()
        );
    }
    let larger = ImapScript::start("* OK ready", |command| {
        let most = 2 * 1024 * 1024 + 1;
        let large = format!("* 1 FETCH (UID 5 BODY[]<0> {{{most}}}\r\n");
        let large = large + &"x".repeat(most) + ")\r\nTAG OK done";
        Some(match command.contains("BODY.PEEK") {
            true => large,
            false => ImapScript::usually(command),
        })
    });
    let kept = Kept::default();
    look(&larger.declared(), &kept).unwrap();
    let large = |done_before| (done_before, "2 MB".to_owned());
    assert_eq!(kept.all(), [large(true), large(false)]);
}

/// A server with 450 messages in each folder, but for what it gives nothing for.
fn many(is_vain: impl Fn(&str) -> bool + Send + Sync + 'static) -> ImapScript {
    ImapScript::start("* OK ready", move |command| {
        if is_vain(command) {
            return Some("TAG OK done".to_owned());
        }
        if command.starts_with("UID SEARCH UID 1:*") {
            let uids: Vec<String> = (1..=450).map(|uid| uid.to_string()).collect();
            return Some(format!("* SEARCH {}\r\nTAG OK done", uids.join(" ")));
        }
        if let Some(set) = command.strip_prefix("UID FETCH ") {
            let set = set.split(' ').next().unwrap().split(',');
            let attribute = match command.contains("SIZE") {
                true => "RFC822.SIZE 6",
                false => "BODY[]<0> {6}\r\nletter",
            };
            let lines: String = set
                .map(|uid| format!("* {uid} FETCH (UID {uid} {attribute})\r\n"))
                .collect();
            return Some(lines + "TAG OK done");
        }
        Some(ImapScript::usually(command))
    })
}

#[test]
fn one_look_is_bounded_and_says_that_there_is_more() {
    let kept = Kept::default();
    let server = many(|_| false);
    let found = look(&server.declared(), &kept).unwrap();
    assert_eq!((found.taken, found.more), (200, true));
    let unreadable = many(|command| command.contains("BODY"));
    let found = look(&unreadable.declared(), &Kept::default()).unwrap();
    assert_eq!(
        (found.taken, found.more),
        (0, false),
        "the same again at once"
    );
    let taken = kept.taken.lock().unwrap();
    assert!(
        taken.iter().all(|(place, _)| place.done_before),
        "the older first"
    );
}

#[test]
fn what_cannot_be_moved_stops_no_answer_behind_it_and_is_told() {
    for refused in ["UID MOVE 5 ", "UID MOVE 6 ", "UID MOVE 7 ", "UID STORE 6 "] {
        let server = ImapScript::start("* OK ready", move |command| {
            if command.starts_with(refused) {
                return Some("TAG NO [OVERQUOTA] the folder is full".to_owned());
            }
            if command.starts_with("UID SEARCH") {
                let uids = if command.contains("SINCE") {
                    "5 6 7"
                } else {
                    ""
                };
                return Some(format!("* SEARCH {uids}\r\nTAG OK done"));
            }
            let Some(set) = command.strip_prefix("UID FETCH ") else {
                return Some(ImapScript::usually(command));
            };
            let attribute = match command.contains("SIZE") {
                true => "RFC822.SIZE 6",
                false => "BODY[]<0> {6}\r\nanswer",
            };
            let uids = set.split(' ').next().unwrap().split(',');
            let lines = uids.map(|uid| format!("* {uid} FETCH (UID {uid} {attribute})\r\n"));
            Some(lines.collect::<String>() + "TAG OK done")
        });
        let kept = Kept::default();
        let (why, lasts) = why(look(&server.declared(), &kept));
        assert!(why.to_string().contains("the folder is full"), "{why}");
        assert!(!lasts);
        assert_eq!(kept.all().len(), 3, "{refused}");
        let heard = server.heard();
        let moved = heard.iter().filter(|said| said.starts_with("UID MOVE"));
        let tried = if refused.contains("MOVE") { 3 } else { 2 };
        assert_eq!(moved.count(), tried, "{heard:?}");
    }
}

#[test]
fn a_token_of_a_command_is_sent_as_xoauth2_and_shown_nowhere() {
    let refused = |command: &str| match command {
        "AUTHENTICATE XOAUTH2" => Some("+ "),
        "" => Some("TAG NO [AUTHENTICATIONFAILED] not with ya29.abc"),
        said if said.starts_with("dXNlcj1") => Some("+ eyJzdGF0dXMiOiI0MDEifQ=="),
        _ => None,
    };
    let taken = |command: &str| match command {
        "AUTHENTICATE XOAUTH2" => Some("+ "),
        said if said.starts_with("dXNlcj1") => Some("TAG OK welcome"),
        _ => None,
    };
    let command = ["/bin/sh", "-c", "echo ya29.abc"]
        .map(str::to_owned)
        .to_vec();
    let kept = Kept::default();
    for (server, works) in [
        (ImapScript::usual(taken), true),
        (ImapScript::usual(refused), false),
    ] {
        let declared = ImapServer {
            proof: Proof::TokenCommand(command.clone()),
            ..server.declared()
        };
        let looked = look(&declared, &kept);
        let heard = server.heard();
        // user=office^Aauth=Bearer ya29.abc^A^A
        let sent = "dXNlcj1vZmZpY2UBYXV0aD1CZWFyZXIgeWEyOS5hYmMBAQ==";
        assert!(heard.iter().any(|said| said == sent), "{heard:?}");
        assert_eq!(looked.is_ok(), works, "{looked:?}");
        if let Err(error) = looked {
            assert!(error.is_lasting(), "{error}");
            let text = error.to_string();
            assert!(text.contains("not with ***"), "{text}");
        }
    }
}

/// The daemon runs them in tasks of their own.
#[test]
fn a_look_and_a_wait_may_go_on_in_another_thread() {
    fn may_move<T: Send>(work: T) -> T {
        work
    }
    let server = ImapScript::usual(|_| None);
    let kept = Kept::default();
    on(async {
        let mut session = may_move(Session::open(&server.declared())).await.unwrap();
        may_move(session.collect(&kept, since())).await.unwrap();
        may_move(session.wait(Duration::from_millis(1)))
            .await
            .unwrap();
        may_move(session.close()).await;
    });
}

#[test]
fn a_wait_without_a_word_from_the_server_is_a_pause() {
    let server = ImapScript::usual(|_| None);
    on(async {
        let mut session = Session::open(&server.declared()).await.unwrap();
        session.collect(&Kept::default(), since()).await.unwrap();
        session.wait(Duration::from_millis(20)).await.unwrap();
    });
    assert!(!server.heard().iter().any(|said| said == "IDLE"));
}
