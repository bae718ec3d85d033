//! What strangers, broken programs and floods of mail can do to the inbox: nothing is stored that should not be, nobody
//! is written to without end, and no message takes more room or time than a box has.

use std::fs;
use std::io::Write;
use std::time::{Duration, Instant};

use duskflight::clock::SetClock;
use duskflight::inbox::Counter;
use duskflight::inbox::folder::{Seen, look_through};
use duskflight::mail::left::Left;
use duskflight::records::Pauses;
use mail_parser::MessageParser;

use crate::harness::{Farm, rows};
use crate::letters::{Round, bytes_of, counter, farm, round};

/// An answer of the scout's to a round.
fn answer(round: &Round, id: &str, text: &str) -> String {
    format!(
        "From: Sam Rowe <sam@test.example>\r\nTo: <{}>\r\nSubject: Re: {}\r\nDate: Fri, 22 Apr 2022 18:05:00 -0700\r\n\
         Message-ID: <{id}@phone.example>\r\nIn-Reply-To: <{}>\r\n\r\n{text}\r\n",
        round.reply_to, round.subject, round.message_id
    )
}

fn opened(farm: &Farm) -> Counter {
    counter(farm, &farm.path("duskflight.sqlite"))
}

fn count(farm: &Farm, of: &str) -> usize {
    let sql = format!("SELECT count(*) FROM {of}");
    rows(&farm.database(), &sql)[0][0].parse().unwrap()
}

const RECEIPTS: &str = "outbox WHERE kind = 'receipt'";
const ENTERED: &str = "visit WHERE via = 'mail'";

#[tokio::test]
async fn a_mark_that_is_guessed_or_somebody_elses_opens_nothing() {
    let farm = farm();
    let round = round(&farm);
    let counter = opened(&farm);
    let digest = bytes_of(&farm, "ada", "digest");
    let digest = MessageParser::default().parse(&digest).unwrap();
    let hers = digest.message_id().unwrap();
    let good = answer(&round, "1", "N1-E1 14");
    let tag = round.reply_to.split(['+', '@']).nth(1).unwrap();
    let with_tag = |tag_then: &str| good.replace(tag, tag_then);
    let mut letters = tag.to_owned().into_bytes();
    letters.reverse();
    let reversed = String::from_utf8(letters).unwrap();
    let from = |who: &str| good.replace("sam@test.example", who);
    for message in [
        with_tag(&reversed),
        with_tag(&tag[..tag.len() - 1]),
        with_tag(&format!("{tag}a")),
        with_tag(&tag.replacen(&tag[..1], "d", 1)),
        // The adviser's, with which they are no scout's; and the scout's, answered to all by the adviser.
        good.replace(&round.message_id, hers).replace(tag, "x"),
        from("ada@test.example"),
        from("gil@test.example"),
        // The writer's address is only the name, a second one, or a group.
        from("sam@test.example@far.example"),
        good.replacen(
            "Sam Rowe <sam@test.example>",
            "\"sam@test.example\" <sam@far.example>",
            1,
        ),
        good.replacen(
            "Sam Rowe <sam@test.example>",
            "Sam: sam@test.example, ada@test.example;",
            1,
        ),
        good.replacen(
            "From: Sam Rowe <sam@test.example>",
            "Sender: <sam@test.example>",
            1,
        ),
        good.replacen("From: ", "Resent-From: ", 1),
    ] {
        let left = counter
            .hand_in(message.clone().into_bytes(), true)
            .await
            .unwrap();
        assert!(left.is_some(), "{message}");
    }
    assert_eq!((count(&farm, ENTERED), count(&farm, "answer")), (0, 0));
    // Marks of others beside one's own change nothing about whose answer it is.
    let copied = good.replacen(
        "In-Reply-To: ",
        &format!("Cc: <{hers}>\r\nReferences: <{hers}>\r\nIn-Reply-To: "),
        1,
    );
    assert_eq!(
        counter.hand_in(copied.into_bytes(), true).await.unwrap(),
        None
    );
    assert_eq!(
        rows(
            &farm.database(),
            "SELECT DISTINCT entered_by FROM visit WHERE via = 'mail'"
        ),
        [["sam"]]
    );
}

#[tokio::test]
async fn a_program_that_answers_each_receipt_gets_thirty_a_day_at_most() {
    let farm = farm();
    let round = round(&farm);
    let mut counter = opened(&farm);
    for turn in 0..60 {
        // An absence note that does not say that it is one, to whatever came last.
        let message = answer(
            &round,
            &turn.to_string(),
            "I am away until 4/25, ask at gate 2.",
        );
        assert_eq!(
            counter.hand_in(message.into_bytes(), true).await.unwrap(),
            None
        );
        counter.write_receipts().await.unwrap();
    }
    assert_eq!(count(&farm, RECEIPTS), 30);
    let next = counter.config.digest_instant("2022-04-24".parse().unwrap());
    counter.clock = std::sync::Arc::new(SetClock::at(next));
    counter.write_receipts().await.unwrap();
    counter.write_receipts().await.unwrap();
    assert_eq!(
        count(&farm, RECEIPTS),
        31,
        "what was left over stands in one"
    );
    // One that says so gets none.
    let noted = format!(
        "Auto-Submitted: auto-replied\r\n{}",
        answer(&round, "note", "N1-E1 14")
    );
    assert_eq!(
        counter.hand_in(noted.into_bytes(), true).await.unwrap(),
        Some(Left::Automatic)
    );
    assert_eq!(counter.write_receipts().await.unwrap(), 0);
    assert_eq!(count(&farm, ENTERED), 0);
}

/// Parts or mails within each other, so many times.
fn nested(head: &str, times: usize) -> String {
    head.repeat(times) + "\r\nN1-E1 14\r\n"
}

#[tokio::test]
async fn no_message_takes_more_time_or_room_than_a_box_has() {
    let farm = farm();
    let round = round(&farm);
    let counter = opened(&farm);
    let head = answer(&round, "1", "");
    let head = head.trim_end();
    let size = (2 << 20) - 10_000;
    let base64 = |text: &str| {
        use base64::Engine;
        base64::engine::general_purpose::STANDARD.encode(text)
    };
    let forwarded = nested("Content-Type: message/rfc822\r\n\r\n", size * 3 / 4 / 32);
    let times = |piece: &str| piece.repeat(size / piece.len());
    let bombs = [
        ("fifty megabytes", "N1-E1 14\r\n".repeat(5 << 20)),
        (
            "mails in mails",
            format!(
                "\r\n{}",
                nested("Content-Type: message/rfc822\r\n\r\n", size / 32)
            ),
        ),
        (
            "mails in mails, named oddly",
            format!(
                "\r\n{}",
                nested("content-type:Message / (x) \"RFC822\"\n\n", size / 40)
            ),
        ),
        (
            "mails of the world",
            format!(
                "\r\n{}",
                nested("CONTENT-TYPE:\tmessage/global\n\n", size / 32)
            ),
        ),
        (
            "mails in mails, encoded",
            format!(
                "\r\nContent-Type: message/rfc822\r\nContent-Transfer-Encoding: base64\r\n\r\n{}",
                base64(&forwarded)
            ),
        ),
        (
            "a list's digest, encoded",
            format!(
                "\r\nContent-Type: multipart/digest; boundary=b\r\n\r\n--b\r\nContent-Transfer-Encoding: base64\r\n\r\n{}\r\n--b--",
                base64(&forwarded)
            ),
        ),
        (
            "parts in parts",
            format!(
                "\r\n{}",
                times("Content-Type:multipart/mixed;boundary=b\n\n--b\n")
            ),
        ),
        (
            "parts that are nowhere",
            format!(
                "\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n{}",
                times("--b\nContent-Type:multipart/mixed;boundary=c\n\n")
            ),
        ),
        (
            "many parts",
            format!(
                "\r\nContent-Type: multipart/mixed; boundary=b\r\n\r\n{}",
                times("--b\n\nx\n")
            ),
        ),
        (
            "words of a header without end",
            format!(
                "\r\nContent-Type: text/plain;{}\r\n\r\nN1-E1 14",
                times("a*1=b;")
            ),
        ),
        (
            "names of a header without end",
            format!(
                "\r\nContent-Type: text/plain;{}\r\n\r\nN1-E1 14",
                (0..size / 12)
                    .map(|n| format!("a{n}*1=b;"))
                    .collect::<String>()
            ),
        ),
        (
            "languages of a header without end",
            format!(
                "\r\nContent-Type: text/plain;{}\r\n\r\nN1-E1 14",
                (0..size / 16)
                    .map(|n| format!("a{n}*=u'e'b;"))
                    .collect::<String>()
            ),
        ),
        (
            "comments in comments",
            format!("\r\nContent-Type: text/plain{}\r\n\r\nN1-E1 14", times("(")),
        ),
        (
            "addresses without end",
            format!("\r\nCc: {}\r\n\r\nN1-E1 14", times("a@b.example, ")),
        ),
        (
            "references without end",
            format!(
                "\r\nReferences: {}\r\n\r\nN1-E1 14",
                times("<a@b.example> ")
            ),
        ),
        (
            "findings without end",
            format!(
                "\r\n{}\r\nN1-E1 14",
                times("Authentication-Results: mx.test.example; dmarc=none\r\n")
            ),
        ),
        (
            "headers without end",
            format!("\r\n{}\r\nN1-E1 14", times("X-A: b\r\n")),
        ),
        (
            "quotes in quotes",
            format!(
                "\r\nContent-Type: text/html\r\n\r\n{}",
                times("<blockquote><br>")
            ),
        ),
        (
            "tags that do not end",
            format!("\r\nContent-Type: text/html\r\n\r\n{}", times("<a ")),
        ),
        (
            "comments that do not end",
            format!("\r\nContent-Type: text/html\r\n\r\n{}", times("<!-")),
        ),
        ("lines of one sign", format!("\r\n\r\n{}", times("=\r\n"))),
        (
            "brackets that do not end",
            format!("\r\n\r\n{}", times("[")),
        ),
        (
            "readings without end",
            format!("\r\n\r\n{}", times("N1-E1 14\r\n")),
        ),
        (
            "a packed file",
            format!(
                "\r\nContent-Type: application/zip; name=\"round.csv.zip\"\r\nContent-Transfer-Encoding: base64\r\n\r\n{}",
                base64(&times("PK"))
            ),
        ),
        (
            "escaped text without end",
            format!(
                "\r\nContent-Type: text/plain\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n{}",
                times("=3D")
            ),
        ),
    ];
    let mut slow = Vec::new();
    for (name, body) in bombs {
        let message = format!("{head}{body}").replacen("<1@", &format!("<{}@", name.len()), 1);
        let began = Instant::now();
        let left = counter.hand_in(message.into_bytes(), true).await.unwrap();
        let took = began.elapsed();
        eprintln!("{name}: {left:?} {took:?}");
        // Of what is looked through again and again, each would take minutes.
        if took > Duration::from_secs(60) {
            slow.push((name, took));
        }
    }
    assert!(slow.is_empty(), "{slow:?}");
    let entered = rows(
        &farm.database(),
        "SELECT DISTINCT trap, eggs FROM visit WHERE via = 'mail'",
    );
    assert!(
        entered.is_empty() || entered == [["N1-E1", "14"]],
        "{entered:?}"
    );
}

#[tokio::test]
async fn nothing_in_a_message_becomes_a_header_or_markup_of_its_receipt() {
    let farm = farm();
    let round = round(&farm);
    let counter = opened(&farm);
    let break_in = "=?utf-8?Q?x=0D=0ABcc:_all@far.example=0D=0A=0D=0A<script>?=";
    let message = answer(
        &round,
        "1",
        "N1-E1 <script>alert(1)</script> 14\r\nN1-E9 4 <img src=x>\r\n.\r\nQUIT\r\n",
    )
    .replacen("Sam Rowe <", &format!("{break_in} <"), 1)
    .replacen("Subject: Re: ", &format!("Subject: {break_in} "), 1)
    .replacen(
        "<1@phone.example>",
        "<1\r\n\t@phone.example>\r\n\tBcc: <all@far.example>",
        1,
    );
    assert_eq!(
        counter.hand_in(message.into_bytes(), true).await.unwrap(),
        None
    );
    assert_eq!(counter.write_receipts().await.unwrap(), 1);
    drop(counter);
    farm.nightly("2022-04-23");
    let bytes = bytes_of(&farm, "sam", "receipt");
    let text = String::from_utf8(bytes.clone()).unwrap();
    let (headers, _) = text.split_once("\r\n\r\n").unwrap();
    let smuggled = |line: &str| line.starts_with("Bcc") || line.contains("script");
    assert!(!headers.lines().any(smuggled), "{headers}");
    let mail = MessageParser::default().parse(&bytes).unwrap();
    let html = mail.body_html(0).unwrap();
    assert!(
        !html.contains("<script") && !html.contains("<img"),
        "{html}"
    );
}

#[tokio::test]
async fn a_message_that_is_still_written_is_not_taken_by_half() {
    let farm = farm();
    let round = round(&farm);
    let folder = farm.path("answers");
    fs::create_dir(&folder).unwrap();
    let counter = opened(&farm);
    let mut seen = Seen::default();
    let message = answer(&round, "1", "N1-E1 3\r\nN1-E2 4");
    let half = message.find("N1-E2").unwrap();
    let mut file = fs::File::create(folder.join("1.eml")).unwrap();
    file.write_all(&message.as_bytes()[..half]).unwrap();
    let look = async |seen: &mut Seen| {
        let looked = look_through(&counter, &folder, seen, Pauses::NONE).await;
        looked.unwrap()
    };
    assert_eq!(look(&mut seen).await, 0);
    file.write_all(&message.as_bytes()[half..]).unwrap();
    drop(file);
    assert_eq!(look(&mut seen).await, 1);
    assert_eq!(count(&farm, ENTERED), 2);
}

/// So many answers at once: how long they take, and that each is entered, with a few receipts.
async fn flood(answers: usize) {
    let farm = farm();
    let round = round(&farm);
    let folder = farm.path("answers");
    fs::create_dir(&folder).unwrap();
    for turn in 0..answers {
        let text = format!(
            "Apr {}\r\nN1-E1 {}\r\nN2-E1 {}",
            16 + turn % 7,
            turn % 90,
            turn % 7
        );
        let message = answer(&round, &turn.to_string(), &text);
        fs::write(folder.join(format!("{turn:05}.eml")), message).unwrap();
    }
    let counter = opened(&farm);
    let (mut seen, mut taken) = (Seen::default(), 0);
    let began = Instant::now();
    let mut receipts = Duration::ZERO;
    loop {
        let now = look_through(&counter, &folder, &mut seen, Pauses::NONE)
            .await
            .unwrap();
        let told = Instant::now();
        counter.write_receipts().await.unwrap();
        receipts += told.elapsed();
        taken += now;
        if now == 0 {
            break;
        }
    }
    let memory = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let peak = memory.lines().find(|line| line.starts_with("VmHWM"));
    eprintln!(
        "{answers} answers: {:?}, of it receipts {receipts:?}; {peak:?}",
        began.elapsed()
    );
    assert_eq!((taken, count(&farm, "answer")), (answers, answers));
    assert_eq!(count(&farm, ENTERED), 14);
    assert!(count(&farm, RECEIPTS) <= 30);
}

#[tokio::test]
async fn many_answers_at_once_are_all_entered_and_get_a_few_receipts() {
    flood(200).await;
}

#[tokio::test]
#[ignore = "takes minutes; tests/long runs it"]
async fn thousands_of_answers_at_once_are_all_entered_and_get_a_few_receipts() {
    // As many as are wanted: ten thousand take minutes.
    let wanted = std::env::var("DUSKFLIGHT_ANSWERS").ok();
    flood(
        wanted
            .and_then(|wanted| wanted.parse().ok())
            .unwrap_or(2_000),
    )
    .await;
}
