//! Round mails answered by mail: what is stored, what is asked, what the receipt says, and who may.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::Write;
use std::process::Stdio;

use duskflight_core::wording::form::BEGINS;
use mail_parser::MessageParser;

use crate::harness::{Farm, VISITS, duskflight, played_demo, rows};

/// A farm whose four egg traps are on a route, walked by a scout; its answers are read.
pub(crate) fn farm() -> Farm {
    let farm = Farm::new("2022-12-31");
    farm.add_scout();
    farm.write(
        "blocks.csv",
        "id,name,grower,adviser,scout,crop,regime,station,varieties\n\
         home,Home block,gil,ada,sam,almond,conventional,yard,Nonpareil\n",
    );
    farm.write(
        "traps.csv",
        "id,block,kind,hung,route,gate,row,tree,bait,lure\n\
         e1,home,egg,2022-03-15,north,1,2,3,meal,\ne2,home,egg,2022-03-15,north,1,4,3,meal,\n\
         e3,home,egg,2022-03-15,north,1,6,3,meal,\ne4,home,egg,2022-03-15,north,1,8,3,meal,\n\
         p1,home,pheromone,2022-03-15,north,1,9,1,,lure\n",
    );
    farm.import("round.csv", VISITS);
    farm
}

/// A mail that left.
pub(crate) struct Sent {
    pub(crate) message_id: String,
    pub(crate) reply_to: String,
    pub(crate) subject: String,
    pub(crate) text: String,
}

impl Sent {
    pub(crate) fn read(bytes: &[u8]) -> Self {
        let mail = MessageParser::default().parse(bytes).unwrap();
        let to = mail.reply_to().unwrap().first().unwrap();
        Self {
            message_id: format!("<{}>", mail.message_id().unwrap()),
            reply_to: to.address.as_ref().unwrap().to_string(),
            subject: mail.subject().unwrap().to_owned(),
            text: mail.body_text(0).unwrap().into_owned(),
        }
    }
}

pub(crate) fn sent(farm: &Farm, person: &str, kind: &str) -> Vec<Sent> {
    let sql = format!(
        "SELECT hex(body) FROM outbox JOIN mail_content USING (message_id) WHERE person = '{person}' AND kind = '{kind}' ORDER BY place"
    );
    let mails = rows(&farm.database(), &sql).into_iter();
    let read = |row: Vec<String>| {
        let bytes: Vec<u8> = (0..row[0].len() / 2)
            .map(|at| u8::from_str_radix(&row[0][2 * at..2 * at + 2], 16).unwrap())
            .collect();
        Sent::read(&bytes)
    };
    mails.map(read).collect()
}

/// The round of a day, told and delivered.
pub(crate) fn round(farm: &Farm, day: &str) -> Sent {
    farm.nightly(day);
    sent(farm, "sam", "round").pop().expect("a round mail")
}

/// An answer as a plain mail program sends it.
pub(crate) fn answer(mail: &Sent, from: &str, date: &str, id: &str, text: &str) -> String {
    format!(
        "From: Sam <{from}>\r\nTo: <{}>\r\nSubject: Re: {}\r\nDate: {date}\r\nMessage-ID: <{id}@phone.example>\r\n\
         In-Reply-To: {}\r\n\r\n{text}\r\n",
        mail.reply_to, mail.subject, mail.message_id
    )
}

/// Hands a message to the program as a mail filter does, and gives what it said.
pub(crate) fn hand_in(farm: &Farm, as_of: &str, message: &str) -> String {
    let mut program = duskflight()
        .args(["answer", "--config", farm.config(), "--as-of", as_of])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    program
        .stdin
        .take()
        .unwrap()
        .write_all(message.as_bytes())
        .unwrap();
    let output = program.wait_with_output().unwrap();
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{errors}");
    String::from_utf8(output.stdout).unwrap()
}

pub(crate) const EVENING: &str = "Fri, 22 Apr 2022 18:05:00 -0700";
pub(crate) const TWO_DAYS_ON: &str = "Sun, 24 Apr 2022 08:00:00 -0700";
pub(crate) const LATER: &str = "Fri, 22 Apr 2022 19:40:00 -0700";

fn visits(farm: &Farm) -> Vec<Vec<String>> {
    let sql =
        "SELECT trap, coalesce(eggs, males), serviced, readable, note, entered_by, via FROM visit
               WHERE day = '2022-04-22' ORDER BY trap";
    rows(&farm.database(), sql)
}

/// What the newest receipt says. Its bytes are made with the next delivery.
pub(crate) fn receipt(farm: &Farm, day: &str, count: usize) -> String {
    farm.nightly(day);
    let mut receipts = sent(farm, "sam", "receipt");
    assert_eq!(receipts.len(), count);
    let text = receipts.pop().unwrap().text;
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn an_answer_brings_readings_and_a_receipt_and_counts_once() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    assert!(
        mail.subject.starts_with("Apr 22: round north"),
        "{}",
        mail.subject
    );
    assert!(
        mail.reply_to.starts_with("duskflight+"),
        "{}",
        mail.reply_to
    );
    let text = "e1 14, bait\r\ne2: 0\r\ne3 wet # sprinkler\r\np1 7";
    let said = answer(&mail, "sam@test.example", EVENING, "1", text);
    assert!(hand_in(&farm, "2022-04-23", &said).contains("a receipt is on its way"));
    let expected = [
        ["e1", "14", "bait", "1", "", "sam", "mail"],
        ["e2", "0", "", "1", "", "sam", "mail"],
        ["e3", "", "", "0", "wet, sprinkler", "sam", "mail"],
        ["p1", "7", "", "1", "", "sam", "mail"],
    ];
    assert_eq!(visits(&farm), expected);
    assert!(hand_in(&farm, "2022-04-23", &said).contains("taken before"));
    let told = receipt(&farm, "2022-04-23", 1);
    for words in [
        "e1 [14 eggs, changed bait; was 4 eggs, Apr 15]",
        "p1 [7 males; first reading]",
        "[Home block: 4 traps, together 14 eggs, 7 males]",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    assert!(told.starts_with(BEGINS), "{told}");
}

#[test]
fn the_form_filled_in_and_sent_back_quoted_is_an_answer_and_unfilled_it_is_none() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    let quoted = |text: &str| -> String {
        let lines = text.lines().map(|line| format!("> {line}\r\n"));
        "On Fri, 22 Apr 2022 at 06:00, Duskflight <duskflight@test.example> wrote:\r\n".to_owned()
            + &lines.collect::<String>()
    };
    let blank = answer(&mail, "sam@test.example", EVENING, "1", &quoted(&mail.text));
    assert!(hand_in(&farm, "2022-04-23", &blank).contains("nothing in it to answer"));
    assert_eq!(visits(&farm), Vec::<Vec<String>>::new());
    let filled = mail
        .text
        .replace("e1 =", "e1 = 3")
        .replace("e4 =", "e4 = 5 bait");
    let filled = answer(
        &mail,
        "sam.rowe@phone.example",
        EVENING,
        "2",
        &quoted(&filled),
    );
    hand_in(&farm, "2022-04-23", &filled);
    let stored = visits(&farm);
    assert_eq!(stored.len(), 2, "{stored:?}");
    assert_eq!(stored[0][..3], ["e1", "3", ""]);
    assert_eq!(stored[1][..3], ["e4", "5", "bait"]);
}

#[test]
fn what_is_odd_waits_for_sure_and_what_was_taken_can_be_corrected_and_undone() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    let first = answer(
        &mail,
        "sam@test.example",
        EVENING,
        "1",
        "e1 3000\r\ne2 4\r\ne9 1\r\ne3 o",
    );
    hand_in(&farm, "2022-04-23", &first);
    assert_eq!(visits(&farm), [["e2", "4", "", "1", "", "sam", "mail"]]);
    let told = receipt(&farm, "2022-04-23", 1);
    for words in [
        "[e1 3000]",
        "[e9 1]",
        "[e3 o]",
        "meant perhaps [e3 0]",
        "the word: sure",
    ] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let receipts = sent(&farm, "sam", "receipt");
    let sure = answer(&receipts[0], "sam@test.example", LATER, "2", "Sure");
    hand_in(&farm, "2022-04-23", &sure);
    assert_eq!(visits(&farm)[0][..2], ["e1", "3000"]);
    // Two days later a line without a day still corrects what the receipt told of.
    let mended = answer(&receipts[0], "sam@test.example", TWO_DAYS_ON, "3", "e2 14");
    hand_in(&farm, "2022-04-25", &mended);
    assert_eq!(visits(&farm)[1][..2], ["e2", "14"]);
    let told = receipt(&farm, "2022-04-25", 3);
    assert!(told.contains("corrected, stood as 4 eggs"), "{told}");
    // Taken back, the correction gives way to what it had replaced; then the answer with all that came of it.
    let newest = sent(&farm, "sam", "receipt").pop().unwrap();
    let undo = |of: &Sent, id: &str| answer(of, "sam@test.example", TWO_DAYS_ON, id, "undo");
    hand_in(&farm, "2022-04-25", &undo(&newest, "4"));
    let stored = visits(&farm);
    assert_eq!(
        (&stored[0][..2], &stored[1][..2]),
        (
            &["e1", "3000"].map(str::to_owned)[..],
            &["e2", "4"].map(str::to_owned)[..]
        )
    );
    hand_in(&farm, "2022-04-25", &undo(&mail, "5"));
    assert_eq!(visits(&farm), Vec::<Vec<String>>::new());
}

#[test]
fn two_people_with_different_counts_are_asked_and_nothing_is_overwritten() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    farm.import(
        "ada.csv",
        "date,trap,eggs,by\n2022-04-22,e1,9,ada\n2022-04-22,e2,1,ada\n",
    );
    hand_in(
        &farm,
        "2022-04-23",
        &answer(
            &mail,
            "sam@test.example",
            EVENING,
            "1",
            "e1 12\r\ne2 1 bait",
        ),
    );
    let stored = visits(&farm);
    assert_eq!(stored[0][..2], ["e1", "9"]);
    assert_eq!(stored[1][..3], ["e2", "1", "bait"]);
    let told = receipt(&farm, "2022-04-23", 1);
    assert!(
        told.contains("has another count there, by Ada Vance: 9 eggs"),
        "{told}"
    );
    let receipts = sent(&farm, "sam", "receipt");
    hand_in(
        &farm,
        "2022-04-23",
        &answer(&receipts[0], "sam@test.example", LATER, "2", "sure"),
    );
    assert_eq!(visits(&farm)[0][..2], ["e1", "12"]);
}

#[test]
fn nothing_that_is_no_answer_of_its_reader_changes_anything_or_is_answered() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    let good = answer(&mail, "sam@test.example", EVENING, "1", "e1 14");
    let other = Sent {
        message_id:
            "<round.2022-04-22.0123456789abcdef.raaaabbbbccccddddeeeeffffgggg@test.example>"
                .to_owned(),
        reply_to: "duskflight@test.example".to_owned(),
        ..round(&farm, "2022-04-22")
    };
    let with = |header: &str| format!("{header}\r\n{good}");
    let bad = [
        // Somebody else, though they know the mail; nobody's; a guessed mark.
        answer(&mail, "gil@test.example", EVENING, "2", "e1 14"),
        answer(&mail, "ada@test.example", EVENING, "3", "e1 14"),
        answer(&mail, "stranger@far.example", EVENING, "4", "e1 14"),
        answer(&other, "sam@test.example", EVENING, "5", "e1 14"),
        // Programs.
        with("Auto-Submitted: auto-replied"),
        with("Precedence: bulk"),
        with("List-Id: <growers.example>"),
        with("Return-Path: <>"),
        // Two senders; a header smuggled into another.
        good.replacen(
            "From: Sam <sam@test.example>",
            "From: Sam <sam@test.example>, <gil@test.example>",
            1,
        ),
        good.replacen(
            "From: Sam <sam@test.example>",
            "From: Sam <far@far.example>\r\nFrom: <sam@test.example>",
            1,
        ),
        "no message at all".to_owned(),
        format!("{good}{}", "x".repeat(3 << 20)),
    ];
    for message in &bad {
        let said = hand_in(&farm, "2022-04-23", message);
        assert!(said.contains("left as it is"), "{said}{:.300}", message);
    }
    // Too late.
    let late = answer(
        &mail,
        "sam@test.example",
        "Fri, 10 Jun 2022 18:05:00 -0700",
        "6",
        "e1 14",
    );
    assert!(hand_in(&farm, "2022-06-10", &late).contains("left as it is"));
    assert_eq!(visits(&farm), Vec::<Vec<String>>::new());
    assert_eq!(
        rows(&farm.database(), "SELECT 1 FROM answer"),
        Vec::<Vec<String>>::new()
    );
    assert!(sent(&farm, "sam", "receipt").is_empty());
    farm.nightly("2022-04-24");
    let digest = farm.digest("2022-04-24");
    assert!(
        digest.contains("mail that came to the inbox yesterday and was left as it is"),
        "{digest}"
    );
}

#[test]
fn a_person_enters_only_traps_of_theirs() {
    let farm = farm();
    let with = |name: &str, row: &str| {
        let table = fs::read_to_string(farm.path(name)).unwrap();
        farm.write(name, &format!("{table}{row}\n"));
    };
    with(
        "blocks.csv",
        "far,Far block,gil,ada,,almond,conventional,yard,Nonpareil",
    );
    with("traps.csv", "l1,far,egg,2022-03-15,,,,,meal,");
    let mail = round(&farm, "2022-04-22");
    hand_in(
        &farm,
        "2022-04-23",
        &answer(&mail, "sam@test.example", EVENING, "1", "l1 12\r\ne1 2"),
    );
    assert_eq!(visits(&farm), [["e1", "2", "", "1", "", "sam", "mail"]]);
    let told = receipt(&farm, "2022-04-23", 1);
    assert!(
        told.contains("[l1 12]") && told.contains("no trap or block of yours"),
        "{told}"
    );
}

#[test]
fn what_is_meant_for_a_person_is_not_lost_in_silence() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    let talk = "Hi Ada,\r\nthe pump at the creek is broken, please call me.\r\nThanks, Sam";
    let said = answer(&mail, "sam@test.example", EVENING, "1", talk);
    hand_in(&farm, "2022-04-23", &said);
    let told = receipt(&farm, "2022-04-23", 1);
    assert!(
        told.contains("[the pump at the creek is broken, please call me.]"),
        "{told}"
    );
    assert!(told.contains("nobody reads this mailbox"), "{told}");
    let thanks = answer(&mail, "sam@test.example", EVENING, "2", "Thanks a lot, Sam");
    assert!(hand_in(&farm, "2022-04-23", &thanks).contains("nothing in it to answer"));
}

#[test]
fn orders_need_an_adviser_and_the_word_of_the_named_server() {
    let farm = farm();
    farm.nightly("2022-04-16");
    let digest = sent(&farm, "ada", "digest").pop().unwrap();
    let waits = "SELECT held_by FROM outbox WHERE kind = 'alert' AND state = 'queued'";
    assert_eq!(rows(&farm.database(), waits), [[""]], "an alert waits");
    let date = "Sat, 16 Apr 2022 07:00:00 -0700";
    let order = |id: &str| answer(&digest, "ada@test.example", date, id, "hold Marrow");
    hand_in(&farm, "2022-04-16", &order("1"));
    assert_eq!(rows(&farm.database(), waits), [[""]]);
    farm.change("[inbox]\n", "[inbox]\nverified_by = \"mx.test.example\"\n");
    hand_in(&farm, "2022-04-16", &order("2"));
    assert_eq!(rows(&farm.database(), waits), [[""]]);
    let proved = |id: &str, result: &str| {
        format!(
            "Authentication-Results: mx.test.example; dmarc={result} header.from=test.example\r\n{}",
            order(id)
        )
    };
    let failed = hand_in(&farm, "2022-04-16", &proved("3", "fail"));
    assert!(failed.contains("not from whom they say"), "{failed}");
    hand_in(&farm, "2022-04-16", &proved("4", "pass"));
    assert_eq!(rows(&farm.database(), waits), [["Ada Vance"]]);
    // Another adviser of the same grower's has no hand in it.
    farm.change("[[station]]", "[[person]]\nid = \"bo\"\nname = \"Bo Tarn\"\nrole = \"adviser\"\nemail = \"bo@test.example\"\nphone = \"559-555-0103\"\n\n[[station]]");
    let blocks = fs::read_to_string(farm.path("blocks.csv")).unwrap();
    farm.write(
        "blocks.csv",
        &format!("{blocks}far,Far block,gil,bo,,almond,conventional,yard,Nonpareil\n"),
    );
    farm.nightly("2022-04-17");
    let all = "SELECT message_id, held_by, released_by FROM outbox ORDER BY place";
    let before = rows(&farm.database(), &format!("{all} LIMIT 4"));
    let of_bo = sent(&farm, "bo", "digest").pop().unwrap();
    let release = answer(
        &of_bo,
        "bo@test.example",
        "Sun, 17 Apr 2022 07:00:00 -0700",
        "5",
        "release Marrow",
    );
    let proof = "Authentication-Results: mx.test.example; dmarc=pass header.from=test.example\r\n";
    hand_in(&farm, "2022-04-17", &format!("{proof}{release}"));
    assert_eq!(rows(&farm.database(), &format!("{all} LIMIT 4")), before);
    assert!(
        before.iter().any(|mail| mail[1] == "Ada Vance"),
        "{before:?}"
    );
    let receipts = sent(&farm, "ada", "receipt");
    let last = &receipts.last().unwrap().text;
    assert!(last.contains("[hold Marrow]"), "{last}");
    assert!(
        receipts[0].text.contains("inbox.verified_by"),
        "{}",
        receipts[0].text
    );
}

#[test]
fn a_day_that_cannot_be_is_asked_about_and_one_that_is_written_counts() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    let ahead = "Fri, 29 Apr 2022 18:05:00 -0700";
    hand_in(
        &farm,
        "2022-04-23",
        &answer(
            &mail,
            "sam@test.example",
            ahead,
            "1",
            "e1 4\r\nApr 22\r\ne2 5",
        ),
    );
    assert_eq!(visits(&farm), [["e2", "5", "", "1", "", "sam", "mail"]]);
    let before = "Thu, 21 Apr 2022 18:05:00 -0700";
    hand_in(
        &farm,
        "2022-04-23",
        &answer(&mail, "sam@test.example", before, "2", "e1 4"),
    );
    assert_eq!(visits(&farm).len(), 1);
    let told = receipt(&farm, "2022-04-23", 2);
    assert!(
        told.contains("write the day on a line of its own"),
        "{told}"
    );
}

#[test]
fn the_demos_answers_bring_the_readings_that_its_sheets_have() {
    let demo = played_demo();
    let database = rusqlite::Connection::open(demo.join("duskflight.sqlite")).unwrap();
    let stored = "SELECT day || ',' || trap || ',' || coalesce(eggs, '') || ',' || coalesce(moths, '') || ',' ||
                  coalesce(males, '') || ',' || coalesce(females, '') || ',' || CASE readable WHEN 0 THEN 'no' ELSE '' END,
                  serviced, via FROM visit";
    let stored = rows(&database, stored).into_iter();
    let stored: BTreeMap<String, [String; 2]> = stored
        .map(|row| (row[0].clone(), [row[1].clone(), row[2].clone()]))
        .collect();
    let mut by_mail = 0;
    for sheet in fs::read_dir(demo.join("entered")).unwrap() {
        let sheet = fs::read_to_string(sheet.unwrap().path()).unwrap();
        let rows = sheet.lines().filter(|row| row.starts_with("2022-"));
        for row in rows.filter(|_| sheet.starts_with("date,trap,eggs")) {
            let cells: Vec<&str> = row.split(',').collect();
            let [parts, via] = stored
                .get(&cells[..7].join(","))
                .unwrap_or_else(|| panic!("{row}"));
            let sorted = |parts: &str| parts.split(' ').map(str::to_owned).collect::<BTreeSet<_>>();
            assert_eq!(sorted(parts), sorted(cells[7]), "{row}");
            by_mail += usize::from(via == "mail");
        }
    }
    assert!(by_mail > 100, "{by_mail} by mail");
}
