//! Told once, whatever happens to the farm-office box: run again, set up anew, put back from a copy.

use std::fs;

use crate::harness::{Farm, VISITS, printed, rows, told_farm};
use crate::scripted::{Act, At, Scripted};

/// A farm whose mails go to a server; its start of 12 April can be told from the 16th on.
fn farm_with(server: &Scripted, newest: &str) -> Farm {
    let farm = Farm::new(newest);
    farm.route(&format!(
        "host = \"127.0.0.1\"\nport = {}\nsecurity = \"none\"\ntimeout_s = 5\nafter_dot_s = 5\n",
        server.port()
    ));
    farm.import("round.csv", VISITS);
    farm
}

/// Message-IDs of what the server took for a person, in order.
fn ids_for(server: &Scripted, person: &str) -> Vec<String> {
    let taken = server.taken().into_iter();
    let of_person = taken.filter(|mail| mail.recipient.starts_with(person));
    of_person
        .map(|mail| {
            let text = String::from_utf8(mail.bytes).unwrap();
            let id = text
                .lines()
                .find_map(|line| line.strip_prefix("Message-ID: "));
            id.unwrap().to_owned()
        })
        .collect()
}

fn alerts(server: &Scripted) -> Vec<String> {
    let mut alerts = ids_for(server, "gil");
    alerts.retain(|id| id.contains("alert"));
    alerts
}

/// A copy of the database as it is now, made the safe way.
fn back_up(farm: &Farm) {
    let copy = farm.path("copy.sqlite");
    let _ = fs::remove_file(&copy);
    let vacuum = format!("VACUUM INTO '{}'", copy.display());
    farm.database().execute_batch(&vacuum).unwrap();
}

fn restore(farm: &Farm) {
    for ending in ["-wal", "-shm"] {
        let _ = fs::remove_file(farm.path(&format!("duskflight.sqlite{ending}")));
    }
    fs::copy(farm.path("copy.sqlite"), farm.path("duskflight.sqlite")).unwrap();
}

const LEDGER: &str =
    "SELECT person, event, revision, value FROM told ORDER BY person, event, revision";

#[test]
fn yesterdays_database_put_back_tells_nobody_again() {
    let server = Scripted::start(&[]);
    let farm = farm_with(&server, "2022-04-30");
    for day in 14..=15 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    back_up(&farm);
    for day in 16..=17 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let ledger = rows(&farm.database(), LEDGER);
    let (digests, told) = (ids_for(&server, "ada"), alerts(&server));
    assert_eq!(told.len(), 1);

    restore(&farm);
    for day in 17..=19 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    // What was queued on the 17th and had not left is told on the next morning, all else stays told.
    assert_eq!(rows(&farm.database(), LEDGER), ledger);
    let since = alerts(&server).split_off(told.len());
    assert!(
        since.iter().all(|id| id.contains("alert.2022-04-18")),
        "{since:?}"
    );
    // The digest of the 17th was sent before; only those after it are new.
    let since = ids_for(&server, "ada").split_off(digests.len());
    let days: Vec<&str> = since
        .iter()
        .map(|id| &id["<digest.".len()..]["2022-04-".len()..][..2])
        .collect();
    assert_eq!(days, ["18", "19"]);
}

#[test]
fn a_mail_that_an_older_copy_still_has_as_waiting_is_not_sent_again() {
    let server = Scripted::start(&[]);
    let farm = farm_with(&server, "2022-04-30");
    farm.nightly("2022-04-16");
    back_up(&farm);
    let waits = "SELECT state FROM outbox WHERE kind = 'alert'";
    assert_eq!(rows(&farm.database(), waits), [["queued"]]);
    farm.nightly("2022-04-17");
    assert_eq!(alerts(&server).len(), 1);
    restore(&farm);
    farm.nightly("2022-04-17");
    assert_eq!(alerts(&server).len(), 1, "{:?}", alerts(&server));
    assert_eq!(rows(&farm.database(), waits), [["sent"]]);
}

#[test]
fn a_journal_that_is_torn_or_of_no_use_stops_nothing_and_is_told() {
    let server = Scripted::start(&[]);
    let farm = farm_with(&server, "2022-04-30");
    farm.nightly("2022-04-16");
    let journal = farm.path("duskflight.sqlite.told.jsonl");
    let text = fs::read_to_string(&journal).unwrap();
    // Cut off in the middle of its last line.
    fs::write(&journal, &text[..text.len() - 9]).unwrap();
    farm.nightly("2022-04-17");
    let lines = fs::read_to_string(&journal).unwrap();
    let whole = lines.lines().filter(|line| line.ends_with("}")).count();
    let sent = rows(
        &farm.database(),
        "SELECT count(*) FROM outbox WHERE state = 'sent'",
    );
    assert_eq!(sent, [[whole.to_string()]]);

    // A folder in its place cannot be written.
    fs::remove_file(&journal).unwrap();
    fs::create_dir(&journal).unwrap();
    farm.nightly("2022-04-18");
    farm.nightly("2022-04-19");
    let digest = server.taken().pop().unwrap();
    let text = String::from_utf8(digest.bytes)
        .unwrap()
        .replace("=\r\n", "");
    assert!(text.contains("duskflight.sqlite.told.jsonl"), "{text}");
}

#[test]
fn nights_done_again_and_a_changed_configuration_tell_nobody_again() {
    let server = Scripted::start(&[]);
    let farm = farm_with(&server, "2022-04-30");
    farm.nightly("2022-04-16");
    farm.nightly("2022-04-17");
    let ledger = rows(&farm.database(), LEDGER);
    let told = "SELECT count(*) FROM told WHERE person = 'gil'";
    let told_to_gil = rows(&farm.database(), told);
    let again = ["nightly", "--again", "--config", farm.config(), "--as-of"];
    printed(&[&again[..], &["2022-04-17"]].concat());
    for (piece, by) in [
        ("name = \"Gil Marrow\"", "name = \"Gilbert Marrow\""),
        ("gil@test.example", "gil.marrow@test.example"),
        ("name = \"Test orchards\"", "name = \"Renamed orchards\""),
        ("[mail]\n", "[telling]\nhold_hours = 1\n\n[mail]\n"),
    ] {
        farm.change(piece, by);
    }
    printed(&[&again[..], &["2022-04-17"]].concat());
    farm.nightly("2022-04-18");
    farm.nightly("2022-04-19");
    assert_eq!(rows(&farm.database(), LEDGER), ledger);
    assert_eq!(rows(&farm.database(), told), told_to_gil);
    let mut ids = alerts(&server);
    assert_eq!(ids.len(), 2, "the start, and first hatch passed: {ids:?}");
    ids.dedup();
    assert_eq!(ids.len(), 2);
}

#[test]
fn a_time_change_tells_every_morning_once_and_nothing_twice() {
    // Daylight time began on 13 March and ended on 6 November 2022 (tz database).
    let server = Scripted::start(&[]);
    let farm = farm_with(&server, "2022-12-31");
    farm.nightly("2022-04-16");
    for day in ["2022-11-05", "2022-11-06", "2022-11-06", "2022-11-07"] {
        farm.nightly(day);
    }
    let told = "SELECT season, block, event, person, value, count(*) FROM told
                WHERE change != 'corrected' GROUP BY 1, 2, 3, 4, 5 HAVING count(*) > 1";
    assert_eq!(rows(&farm.database(), told), Vec::<Vec<String>>::new());
    let mut digests = ids_for(&server, "ada");
    let all = digests.len();
    digests.dedup();
    assert_eq!((digests.len(), all), (4, 4));
}

#[test]
fn the_next_season_is_told_anew() {
    let server = Scripted::start(&[]);
    let farm = farm_with(&server, "2023-04-30");
    farm.nightly("2022-04-16");
    farm.nightly("2022-04-17");
    // Last year's traps were taken in; this year's are other ones.
    let traps = fs::read_to_string(farm.path("traps.csv")).unwrap();
    let (header, rows_of_2022) = traps.split_once('\n').unwrap();
    let mut both = format!("{header},removed\n");
    for row in rows_of_2022.lines() {
        let next = row.replace("2022", "2023");
        both += &format!("{row},2022-10-31\nn{next},\n");
    }
    farm.write("traps.csv", &both);
    let visits = VISITS
        .replace("2022", "2023")
        .replace(",e", ",ne")
        .replace(",neggs", ",eggs");
    farm.import("round-2023.csv", &visits);
    farm.nightly("2023-04-16");
    farm.nightly("2023-04-17");
    let starts = "SELECT season, value FROM told
                  WHERE person = 'gil' AND event = 'egg-laying-start' ORDER BY season";
    assert_eq!(
        rows(&farm.database(), starts),
        [["2022", "2022-04-12"], ["2023", "2023-04-12"]]
    );
    let alerts = alerts(&server);
    assert!(
        alerts.iter().any(|id| id.contains("alert.2023-04-16")),
        "{alerts:?}"
    );
}

#[test]
fn a_correction_never_overtakes_what_it_corrects() {
    let server = Scripted::start(&[(At::Rcpt("gil"), Act::Say("450 4.2.1 mailbox busy"))]);
    let farm = farm_with(&server, "2022-04-30");
    // The start of 12 April is news only if a night was told before it.
    farm.nightly("2022-04-10");
    farm.nightly("2022-04-16");
    farm.nightly("2022-04-17");
    // The start turns out to be another one while its alert still waits.
    let moved =
        "date,block,kind,value,note\n2022-04-17,home,egg-laying-start,2022-04-08,own book\n";
    farm.write("notes.csv", moved);
    let notes = farm.path("notes.csv");
    let import = [
        "notes",
        "import",
        notes.to_str().unwrap(),
        "--config",
        farm.config(),
    ];
    printed(&import);
    farm.nightly("2022-04-18");
    server.now_does(&[]);
    for day in 19..=21 {
        farm.nightly(&format!("2022-04-{day}"));
    }
    let alerts = alerts(&server);
    let mut in_order = alerts.clone();
    in_order.sort();
    assert_eq!(alerts, in_order);
    // Whatever he got, the last word is the date that holds.
    let last = "SELECT value FROM told JOIN outbox ON mail = message_id
                WHERE told.person = 'gil' AND event = 'egg-laying-start' AND state = 'sent'
                ORDER BY revision DESC LIMIT 1";
    assert_eq!(rows(&farm.database(), last), [["2022-04-08"]]);
}

#[test]
fn a_day_told_again_after_the_senders_domain_changed_makes_no_mail_again() {
    let farm = told_farm();
    let made = "SELECT message_id, state FROM outbox ORDER BY place";
    let before = (
        rows(&farm.database(), made),
        rows(&farm.database(), LEDGER),
        farm.mails(),
    );
    farm.change("duskflight@test.example", "duskflight@other.example");
    let said = printed(&[
        "nightly",
        "--config",
        farm.config(),
        "--as-of",
        "2022-04-16",
        "--again",
    ]);
    assert!(said.contains("0 notices, 0 mails queued"), "{said}");
    let after = (
        rows(&farm.database(), made),
        rows(&farm.database(), LEDGER),
        farm.mails(),
    );
    assert_eq!(after, before);
    farm.nightly("2022-04-17");
    let ids = rows(
        &farm.database(),
        "SELECT message_id FROM outbox WHERE day = '2022-04-17'",
    );
    assert!(ids[0][0].ends_with("@other.example>"), "{ids:?}");
}

#[test]
fn mails_that_a_crash_left_without_their_bytes_get_the_same_ones_at_the_next_delivery() {
    const BYTES: &str = "SELECT hex(body) FROM mail_content WHERE message_id IN
      (SELECT message_id FROM outbox WHERE state = 'queued') ORDER BY message_id";
    let farm = told_farm();
    let before = rows(&farm.database(), BYTES);
    assert!(!before.is_empty() && before[0][0].len() > 1000);
    farm.database()
        .execute_batch(
            "UPDATE mail_content SET body = NULL WHERE message_id IN
               (SELECT message_id FROM outbox WHERE state = 'queued');
             UPDATE outbox SET composed = 0 WHERE state = 'queued'",
        )
        .unwrap();
    // The day is told already, so this only delivers; the alert waits for its hold.
    farm.nightly("2022-04-16");
    assert_eq!(rows(&farm.database(), BYTES), before);
}
