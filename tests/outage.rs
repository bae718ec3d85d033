//! Ten days without a box or without a way out, on a farm with much to tell.

use std::collections::BTreeMap;

use crate::harness::{Farm, VISITS, duskflight, rows};
use crate::scripted::{Act, At, Scripted};

const BLOCKS: usize = 40;

/// Forty blocks that borrow their start, each with a trap whose lure is past its life from 22 April on.
fn farm_with(server: &Scripted) -> Farm {
    let farm = Farm::new("2022-05-31");
    farm.route(&format!(
        "host = \"127.0.0.1\"\nport = {}\nsecurity = \"none\"\ntimeout_s = 5\nafter_dot_s = 5\n",
        server.port()
    ));
    let names = || (1..=BLOCKS).map(|n| format!("b{n:02}"));
    let blocks = names()
        .map(|id| format!("{id},Block {id},gil,ada,almond,conventional,yard,Nonpareil,home\n"));
    let header = "id,name,grower,adviser,crop,regime,station,varieties,start_group\n";
    let lender = "home,Home block,gil,ada,almond,conventional,yard,Nonpareil,home\n";
    farm.write(
        "blocks.csv",
        &format!("{header}{lender}{}", blocks.collect::<String>()),
    );
    let traps = std::fs::read_to_string(farm.path("traps.csv")).unwrap();
    let traps = traps.split("p1,").next().unwrap();
    let lures = names().map(|id| format!("{id}-p,{id},pheromone,2022-03-10,,,lure\n"));
    farm.write(
        "traps.csv",
        &format!("{traps}{}", lures.collect::<String>()),
    );
    farm.import("round.csv", VISITS);
    farm
}

/// A night's work, whatever becomes of the mails.
fn night(farm: &Farm, day: u32) {
    let arguments = ["nightly", "--config", farm.config(), "--as-of"];
    let output = duskflight()
        .args(arguments)
        .arg(format!("2022-04-{day:02}"))
        .output();
    let code = output.unwrap().status.code();
    assert!(matches!(code, Some(0 | 75)), "{code:?}");
}

/// Subjects of what the server took for a person from a mail on, in order.
fn taken(server: &Scripted, person: &str, from: usize) -> Vec<String> {
    use mail_parser::MessageParser;
    let mails = server.taken().split_off(from).into_iter();
    let of_person = mails.filter(|mail| mail.recipient.starts_with(person));
    let subject = |bytes: &[u8]| {
        let message = MessageParser::default().parse(bytes).unwrap();
        message.subject().unwrap().to_owned()
    };
    of_person.map(|mail| subject(&mail.bytes)).collect()
}

/// The events told to a person in mails that were sent, with how often.
fn arrived(farm: &Farm, person: &str) -> BTreeMap<(String, String), u32> {
    let sql = format!(
        "SELECT block, event, count(*) FROM told JOIN outbox ON mail = message_id
         WHERE told.person = '{person}' AND state = 'sent' AND change NOT IN ('nearer') GROUP BY 1, 2"
    );
    let rows = rows(&farm.database(), &sql).into_iter();
    rows.map(|row| ((row[0].clone(), row[1].clone()), row[2].parse().unwrap()))
        .collect()
}

/// Each of three events of each block arrived once, and nothing twice.
fn all_arrived_once(farm: &Farm) {
    let (grower, adviser) = (arrived(farm, "gil"), arrived(farm, "ada"));
    for n in 1..=BLOCKS {
        let block = format!("b{n:02}");
        let lure = format!("past-service-life:{block}-p:lure:2022-03-10");
        for (heard, event) in [
            (&grower, "egg-laying-start"),
            (&grower, "mark-passed:first-hatch"),
            (&adviser, &*lure),
        ] {
            let times = heard.get(&(block.clone(), event.to_owned()));
            assert_eq!(times, Some(&1), "{block} {event}");
        }
    }
    for person in ["gil", "ada"] {
        let twice: Vec<_> = arrived(farm, person)
            .into_iter()
            .filter(|(_, count)| *count > 1)
            .collect();
        assert!(twice.is_empty(), "{person}: {twice:?}");
    }
    // What was told and not sent was folded, or stands in no mail since it was history.
    let open =
        "SELECT state, count(*) FROM outbox WHERE state NOT IN ('sent', 'folded') GROUP BY 1";
    assert_eq!(rows(&farm.database(), open), Vec::<Vec<String>>::new());
}

/// Three mornings after eleven days: the first digest says so, the grower gets one mail, and every event
/// has arrived once.
fn one_catch_up_each(farm: &Farm, server: &Scripted, before: usize) {
    let adviser = taken(server, "ada", before);
    let says = adviser[0].starts_with("Catch-up of 11 days: ");
    assert!(says, "{adviser:?}");
    let catch_ups = adviser.iter().filter(|s| s.starts_with("Catch-up"));
    assert_eq!(catch_ups.count(), 1, "{adviser:?}");
    assert_eq!(adviser.len(), 3, "one a morning: {adviser:?}");
    let grower = taken(server, "gil", before);
    assert_eq!(grower.len(), 1, "{grower:?}");
    assert!(grower[0].starts_with("Catch-up of "), "{grower:?}");
    all_arrived_once(farm);
}

#[test]
fn after_ten_days_without_the_box_everyone_gets_one_mail_that_says_so() {
    let server = Scripted::start(&[]);
    let farm = farm_with(&server);
    for day in [13, 14] {
        night(&farm, day);
    }
    let before = server.taken().len();
    for day in [25, 26, 27] {
        night(&farm, day);
    }
    one_catch_up_each(&farm, &server, before);
}

#[test]
fn after_ten_days_without_a_way_out_everyone_gets_one_mail_that_says_so() {
    let server = Scripted::start(&[]);
    let farm = farm_with(&server);
    for day in [13, 14] {
        night(&farm, day);
    }
    let before = server.taken().len();
    server.now_does(&[(At::Greeting, Act::Drop)]);
    for day in 15..=24 {
        night(&farm, day);
    }
    assert_eq!(server.taken().len(), before);
    server.now_does(&[]);
    for day in [25, 26, 27] {
        night(&farm, day);
    }
    one_catch_up_each(&farm, &server, before);
}

#[test]
fn what_may_have_been_taken_is_not_told_in_another_mail() {
    let server = Scripted::start(&[]);
    let farm = farm_with(&server);
    for day in [13, 14] {
        night(&farm, day);
    }
    let before = server.taken().len();
    // Silence after the dot: nobody knows whether it was taken.
    server.now_does(&[(At::Dot("ada"), Act::Drop)]);
    for day in 15..=17 {
        night(&farm, day);
    }
    // Each is tried three times, and none waits for another.
    let doubtful = "SELECT day, state, attempts FROM outbox WHERE person = 'ada' AND doubtful = 1";
    assert_eq!(
        rows(&farm.database(), doubtful),
        [
            ["2022-04-15", "unknown", "3"],
            ["2022-04-16", "queued", "2"],
            ["2022-04-17", "queued", "1"]
        ]
    );
    server.now_does(&[]);
    night(&farm, 18);
    let folded =
        "SELECT count(*) FROM outbox WHERE person = 'ada' AND state = 'folded' AND doubtful = 1";
    assert_eq!(rows(&farm.database(), folded), [["0"]]);
    // The newest arrives last, so that what it tells instead is not told again behind it.
    assert_eq!(taken(&server, "ada", before).len(), 3);
    let waits = "SELECT count(*) FROM outbox WHERE person = 'ada' AND state = 'queued'";
    assert_eq!(rows(&farm.database(), waits), [["0"]]);
}
