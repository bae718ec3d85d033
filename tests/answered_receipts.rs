//! Receipts answered: what waits for `sure`, of which day a correction is, what `undo` takes back; done mail read again.

use std::fs;

use crate::answers::{
    EVENING, LATER, Sent, TWO_DAYS_ON, answer, farm, hand_in, receipt, round, sent,
};
use crate::harness::{Farm, rows};
use crate::letters::counter;

/// The farm with another block of the scout's, which is on no route.
fn farm_with_creek() -> Farm {
    let farm = farm();
    let with = |name: &str, more: &str| {
        let table = fs::read_to_string(farm.path(name)).unwrap();
        farm.write(name, &format!("{table}{more}"));
    };
    with(
        "blocks.csv",
        "N2,Creek,gil,ada,sam,almond,conventional,yard,Nonpareil\n",
    );
    with(
        "traps.csv",
        "home-T1,home,egg,2022-04-20,north,1,9,3,meal,\nN2-T1,N2,egg,2022-03-15,,,,,meal,\n\
         N2-E1,N2,egg,2022-03-15,,,,,meal,\nN2-E2,N2,egg,2022-03-15,,,,,meal,\n",
    );
    farm
}

fn says(mail: &Sent, date: &str, id: &str, text: &str) -> String {
    answer(mail, "sam@test.example", date, id, text)
}

fn newest_receipt(farm: &Farm) -> Sent {
    sent(farm, "sam", "receipt").pop().unwrap()
}

/// Readings since the round: day of April, trap, eggs.
fn readings(farm: &Farm) -> Vec<String> {
    let sql = "SELECT substr(day, 9) || ' ' || trap || ' ' || coalesce(eggs, '-') FROM visit
               WHERE day > '2022-04-19' ORDER BY day, trap";
    rows(&farm.database(), sql).into_iter().flatten().collect()
}

#[test]
fn sure_stores_each_reading_on_the_trap_and_day_that_were_asked_about() {
    let farm = farm_with_creek();
    let mail = round(&farm, "2022-04-22");
    let first = says(&mail, EVENING, "1", "e2 3000 yesterday\r\nN2\r\nT1 2900");
    hand_in(&farm, "2022-04-23", &first);
    assert_eq!(readings(&farm), Vec::<String>::new());
    let told = receipt(&farm, "2022-04-23", 1);
    assert!(told.contains("[T1 2900]"), "{told}");
    farm.import("ada.csv", "date,trap,eggs,by\n2022-04-22,home-T1,9,ada\n");
    let sure = says(&newest_receipt(&farm), TWO_DAYS_ON, "2", "sure");
    hand_in(&farm, "2022-04-25", &sure);
    assert_eq!(
        readings(&farm),
        ["21 e2 3000", "22 N2-T1 2900", "22 home-T1 9"]
    );
}

#[test]
fn sure_stores_what_a_sheet_was_asked_about() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    let sheet =
        "date,trap,eggs,route,block,gate,row,tree,place,todo\r\n2022-04-22,e1,3000,,,,,,,\r\n";
    let parts = format!(
        "--b\r\nContent-Type: text/plain\r\n\r\nThanks, Sam\r\n--b\r\nContent-Type: text/csv; name=round.csv\r\n\
         Content-Disposition: attachment; filename=round.csv\r\n\r\n{sheet}--b--"
    );
    let mixed = "MIME-Version: 1.0\r\nContent-Type: multipart/mixed; boundary=b";
    let message = says(&mail, EVENING, "1", &parts);
    hand_in(&farm, "2022-04-23", &format!("{mixed}\r\n{message}"));
    let told = receipt(&farm, "2022-04-23", 1);
    assert!(told.contains("[round.csv: e1]"), "{told}");
    let sure = says(&newest_receipt(&farm), LATER, "2", "sure");
    hand_in(&farm, "2022-04-23", &sure);
    assert_eq!(readings(&farm), ["22 e1 3000"]);
}

#[test]
fn a_reading_written_beside_sure_takes_the_place_of_the_one_that_waits() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    hand_in(
        &farm,
        "2022-04-23",
        &says(&mail, EVENING, "1", "e1 3000\r\ne2 3000"),
    );
    receipt(&farm, "2022-04-23", 1);
    let sure = says(&newest_receipt(&farm), TWO_DAYS_ON, "2", "sure\r\ne2 30");
    hand_in(&farm, "2022-04-25", &sure);
    assert_eq!(readings(&farm), ["22 e1 3000", "22 e2 30"]);
}

#[test]
fn a_day_that_is_written_counts_in_an_answer_to_a_receipt_too() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    hand_in(
        &farm,
        "2022-04-23",
        &says(&mail, EVENING, "1", "yesterday\r\ne1 12"),
    );
    receipt(&farm, "2022-04-23", 1);
    let mended = says(&newest_receipt(&farm), TWO_DAYS_ON, "2", "Apr 22\r\ne1 5");
    hand_in(&farm, "2022-04-25", &mended);
    assert_eq!(readings(&farm), ["21 e1 12", "22 e1 5"]);
}

#[test]
fn a_reading_that_the_receipt_told_nothing_of_is_of_no_day_until_one_is_written() {
    let farm = farm_with_creek();
    let mail = round(&farm, "2022-04-22");
    hand_in(
        &farm,
        "2022-04-23",
        &says(&mail, EVENING, "1", "e1 12\r\ne2 3000"),
    );
    receipt(&farm, "2022-04-23", 1);
    let told_of = newest_receipt(&farm);
    let more = "e1 14\r\ne2 30\r\nN2-E1 4\r\nN2-E2 7 yesterday\r\nN2 split";
    hand_in(&farm, "2022-04-25", &says(&told_of, TWO_DAYS_ON, "2", more));
    assert_eq!(readings(&farm), ["22 e1 14", "22 e2 30", "23 N2-E2 7"]);
    let told = receipt(&farm, "2022-04-25", 2);
    for words in ["[N2-E1 4]", "[N2 split]", "of which day is it?"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    let dated = says(
        &newest_receipt(&farm),
        TWO_DAYS_ON,
        "3",
        "Apr 24\r\nN2-E1 4",
    );
    hand_in(&farm, "2022-04-25", &dated);
    assert_eq!(readings(&farm)[3..], ["24 N2-E1 4"]);
    // On the day of the answer itself there is no doubt.
    let same = round(&farm, "2022-04-26");
    let on = "Tue, 26 Apr 2022 05:30:00 -0700";
    hand_in(&farm, "2022-04-26", &says(&same, on, "4", "e1 1"));
    receipt(&farm, "2022-04-26", 4);
    let rest = says(&newest_receipt(&farm), on, "5", "N2-E1 2");
    hand_in(&farm, "2022-04-26", &rest);
    assert_eq!(readings(&farm)[4..], ["26 N2-E1 2", "26 e1 1"]);
}

#[test]
fn undo_takes_back_what_sure_stored_and_says_so_only_where_it_did() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    hand_in(
        &farm,
        "2022-04-23",
        &says(&mail, EVENING, "1", "e1 3000\r\ne2 4"),
    );
    receipt(&farm, "2022-04-23", 1);
    let first = newest_receipt(&farm);
    hand_in(&farm, "2022-04-23", &says(&first, LATER, "2", "sure"));
    receipt(&farm, "2022-04-23", 2);
    let second = newest_receipt(&farm);
    assert_eq!(readings(&farm), ["22 e1 3000", "22 e2 4"]);
    // The days of what was stored for the word are told, too.
    hand_in(
        &farm,
        "2022-04-25",
        &says(&second, TWO_DAYS_ON, "3", "e1 2000"),
    );
    hand_in(
        &farm,
        "2022-04-25",
        &says(&second, TWO_DAYS_ON, "4", "e1 20"),
    );
    assert_eq!(readings(&farm), ["22 e1 20", "22 e2 4"]);
    let undo = |of: &Sent, id: &str| says(of, TWO_DAYS_ON, id, "undo");
    hand_in(&farm, "2022-04-25", &undo(&second, "5"));
    assert_eq!(readings(&farm), ["22 e2 4"]);
    let told = receipt(&farm, "2022-04-25", 5);
    assert!(told.contains("was taken back"), "{told}");
    hand_in(&farm, "2022-04-25", &undo(&second, "6"));
    let told = receipt(&farm, "2022-04-25", 6);
    assert!(told.contains("no answer that can be taken back"), "{told}");
    // What came of answers to the receipt goes with the answer.
    hand_in(
        &farm,
        "2022-04-25",
        &says(&first, TWO_DAYS_ON, "7", "e2 14"),
    );
    assert_eq!(readings(&farm), ["22 e2 14"]);
    receipt(&farm, "2022-04-25", 7);
    let third = newest_receipt(&farm);
    hand_in(
        &farm,
        "2022-04-26",
        &says(&third, TWO_DAYS_ON, "9", "e2 15"),
    );
    hand_in(&farm, "2022-04-27", &undo(&third, "10"));
    assert_eq!(readings(&farm), ["22 e2 4"]);
    hand_in(&farm, "2022-04-25", &undo(&mail, "8"));
    assert_eq!(readings(&farm), Vec::<String>::new());
}

#[test]
fn why_a_trap_could_not_be_read_goes_when_it_was_read() {
    let farm = farm();
    let mail = round(&farm, "2022-04-22");
    hand_in(
        &farm,
        "2022-04-23",
        &says(&mail, EVENING, "1", "e1 wet\r\ne2 3 # ants"),
    );
    hand_in(
        &farm,
        "2022-04-23",
        &says(&mail, LATER, "2", "e1 12\r\ne2 4"),
    );
    let sql = "SELECT trap, eggs, note FROM visit WHERE via = 'mail' ORDER BY trap";
    assert_eq!(
        rows(&farm.database(), sql),
        [["e1", "12", ""], ["e2", "4", "ants"]]
    );
}

#[tokio::test]
async fn done_mail_that_is_read_again_does_nothing_to_alerts_that_wait_now() {
    let farm = farm();
    farm.change("[inbox]\n", "[inbox]\nverified_by = \"mx.test.example\"\n");
    farm.nightly("2022-04-16");
    let digest = sent(&farm, "ada", "digest").pop().unwrap();
    let waits = "SELECT held_by FROM outbox WHERE kind = 'alert' AND state = 'queued'";
    assert_eq!(rows(&farm.database(), waits), [[""]], "an alert waits");
    let order = |id: &str, text: &str| {
        let date = "Sat, 16 Apr 2022 07:00:00 -0700";
        let message = answer(&digest, "ada@test.example", date, id, text);
        let proof = "Authentication-Results: mx.test.example; dmarc=pass header.from=test.example";
        format!("{proof}\r\n{message}").into_bytes()
    };
    let counter = counter(&farm, &farm.path("duskflight.sqlite"));
    let text = "hold Marrow\r\nnote Marrow: call me\r\ne1 12";
    let done = counter.hand_in(order("1", text), false).await.unwrap();
    assert_eq!(done, None);
    assert_eq!(rows(&farm.database(), waits), [[""]]);
    let stored = "SELECT trap, eggs FROM visit WHERE day = '2022-04-16'";
    assert_eq!(rows(&farm.database(), stored), [["e1", "12"]]);
    counter
        .hand_in(order("2", "hold Marrow"), true)
        .await
        .unwrap();
    assert_eq!(rows(&farm.database(), waits), [["Ada Vance"]]);
}
