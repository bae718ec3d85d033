//! A morning of three mails and a mail server with one fault: what becomes of each mail, who waits, what
//! counts as told, and that the morning after goes on and says what was wrong.

use crate::harness::{Farm, printed, rows, run, visits_also_of};
use crate::scripted::{Act, At, Scripted};

/// What becomes of a mail on the morning of the fault.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Mail {
    Sent,
    /// Not tried yet.
    Untried,
    /// Tried once, again after so many minutes.
    Kept(i64),
    Failed,
}
use Mail::{Failed, Kept, Sent, Untried};

/// What holds up every mail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Trouble {
    None,
    /// It may pass by itself; the next try is a minute away.
    Passing,
    /// Ours to mend; the next try is an hour away.
    Ours,
}
use Trouble::{Ours, Passing};

/// The fault, what it makes of the adviser's digest and of two growers' alerts, and what the next digest
/// says of it.
type Case = (At, Act, [Mail; 3], Trouble, &'static str);

/// What befalls every mail: the first one shows it, the others are spared.
const OF_ALL: [Mail; 3] = [Kept(0), Untried, Untried];
/// The digest is kept; alerts leave after it.
const OF_THE_DIGEST: [Mail; 3] = [Kept(1), Untried, Untried];
/// Gil's alert is kept, everybody else has their mail.
const OF_ONE: [Mail; 3] = [Sent, Kept(1), Sent];

/// Gil's alert may have been taken and is tried a day later, everybody else has their mail.
const UNKNOWN: [Mail; 3] = [Sent, Kept(24 * 60), Sent];

const PERHAPS: &str = "the alert of Apr 16 to Gil Marrow may have arrived or not";
const SILENT: &str = "the server did not answer within 2 s";
const HUNG_UP: &str = "the server hung up";

const CASES: [Case; 28] = [
    (At::Greeting, Act::Silence, OF_ALL, Passing, SILENT),
    (At::Ehlo, Act::Silence, OF_ALL, Passing, SILENT),
    (At::Auth, Act::Silence, OF_ALL, Passing, SILENT),
    (At::Mail, Act::Silence, OF_THE_DIGEST, Trouble::None, SILENT),
    (At::Rcpt("gil"), Act::Silence, OF_ONE, Trouble::None, SILENT),
    (At::Data("gil"), Act::Silence, OF_ONE, Trouble::None, SILENT),
    (
        At::Dot("gil"),
        Act::Silence,
        UNKNOWN,
        Trouble::None,
        PERHAPS,
    ),
    (At::Greeting, Act::Drop, OF_ALL, Passing, HUNG_UP),
    (At::Ehlo, Act::Drop, OF_ALL, Passing, HUNG_UP),
    (At::Auth, Act::Drop, OF_ALL, Passing, HUNG_UP),
    (At::Mail, Act::Drop, OF_THE_DIGEST, Trouble::None, HUNG_UP),
    (At::Rcpt("gil"), Act::Drop, OF_ONE, Trouble::None, HUNG_UP),
    (At::Data("gil"), Act::Drop, OF_ONE, Trouble::None, HUNG_UP),
    (At::Dot("gil"), Act::Drop, UNKNOWN, Trouble::None, PERHAPS),
    (
        At::Greeting,
        Act::Say("421 4.3.2 shutting down"),
        OF_ALL,
        Passing,
        "421 4.3.2 shutting down",
    ),
    (
        At::Greeting,
        Act::Say("554 5.7.1 no service for dynamic addresses"),
        OF_ALL,
        Ours,
        "554 5.7.1 no service",
    ),
    (
        At::Auth,
        Act::Say("535 5.7.8 authentication failed"),
        OF_ALL,
        Ours,
        "535 5.7.8 authentication failed",
    ),
    (
        At::Auth,
        Act::Say("454 4.7.0 cannot reach the user database"),
        OF_ALL,
        Passing,
        "454 4.7.0 cannot reach",
    ),
    (
        At::Mail,
        Act::Say("553 5.7.1 sender not owned by user"),
        OF_ALL,
        Ours,
        "553 5.7.1 sender not owned",
    ),
    (
        At::Mail,
        Act::Say("450 4.1.8 cannot check the sender now"),
        OF_THE_DIGEST,
        Trouble::None,
        "450 4.1.8 cannot check",
    ),
    (
        At::Rcpt("gil"),
        Act::Say("450 4.2.0 greylisted"),
        OF_ONE,
        Trouble::None,
        "450 4.2.0 greylisted",
    ),
    (
        At::Rcpt("gil"),
        Act::Say("421 4.7.0 too many errors, closing"),
        [Sent, Kept(0), Untried],
        Passing,
        "421 4.7.0 too many errors",
    ),
    (
        At::Rcpt("gil"),
        Act::Say("550 5.1.1 no such user"),
        [Sent, Failed, Sent],
        Trouble::None,
        "to Gil Marrow was refused and is given up",
    ),
    (
        At::Rcpt("gil"),
        Act::Say("550 5.7.1 refused by policy"),
        [Sent, Kept(12 * 60), Sent],
        Trouble::None,
        "550 5.7.1 refused by policy",
    ),
    (
        At::Rcpt("gil"),
        Act::Say("553 5.7.1 sender address rejected: not owned by user"),
        [Sent, Kept(60), Sent],
        Trouble::None,
        "not owned by user; the server does not let this login send",
    ),
    (
        At::Data("gil"),
        Act::Say("451 4.5.0 scanner is busy"),
        OF_ONE,
        Trouble::None,
        "451 4.5.0 scanner is busy",
    ),
    (
        At::Dot("gil"),
        Act::Say("554 5.2.2 quota exceeded"),
        OF_ONE,
        Trouble::None,
        "554 5.2.2 quota exceeded",
    ),
    (
        At::Dot("gil"),
        Act::Say("554 5.7.1 content rejected"),
        [Sent, Kept(12 * 60), Sent],
        Trouble::None,
        "554 5.7.1 content rejected",
    ),
];

/// A farm of two growers whose alerts leave right after the digest.
fn farm_with(server: &Scripted) -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.write("password", "orchard-at-dusk-81\n");
    farm.route(&format!(
        "host = \"127.0.0.1\"\nport = {}\nsecurity = \"none\"\nusername = \"office\"\n\
         password_file = \"password\"\ntimeout_s = 2\nafter_dot_s = 2\n",
        server.port()
    ));
    farm.change("[mail]", "[telling]\nhold_hours = 0\n\n[mail]");
    farm.add_grower("hal");
    farm.import("round.csv", &visits_also_of(&["hal"]));
    farm
}

fn nightly(farm: &Farm, day: &str) -> Option<i32> {
    run(&["nightly", "--config", farm.config(), "--as-of", day])
        .status
        .code()
}

fn mails(farm: &Farm) -> Vec<Mail> {
    let sql = "SELECT state, attempts, (next_try_at - queued_at) / 60 FROM outbox
               WHERE day = '2022-04-16' ORDER BY rowid";
    let mail = |row: &Vec<String>| match (row[0].as_str(), row[1].as_str()) {
        ("sent", "1") => Sent,
        ("queued", "0") => Untried,
        ("queued", "1") => Kept(row[2].parse().unwrap()),
        ("failed", "1") => Failed,
        other => panic!("{other:?}"),
    };
    rows(&farm.database(), sql).iter().map(mail).collect()
}

fn trouble(farm: &Farm) -> Trouble {
    let sql = "SELECT (next_try_at - since) / 60, advice IS NOT NULL FROM mail_trouble";
    match rows(&farm.database(), sql)
        .first()
        .map(|row| (&*row[0], &*row[1]))
    {
        None => Trouble::None,
        Some(("1", "0")) => Passing,
        Some(("60", "1")) => Ours,
        other => panic!("{other:?}"),
    }
}

/// The morning after, with a server that is well: everybody has what was kept, once, and the digest
/// names what was wrong. Gives the days on which Gil's start stands in the ledger.
fn morning_after(farm: &Farm, server: &Scripted, before: usize, says: &str) -> Vec<String> {
    server.now_does(&[]);
    assert_eq!(nightly(farm, "2022-04-17"), Some(0));
    assert_eq!(trouble(farm), Trouble::None);
    let left = "SELECT count(*) FROM outbox WHERE state NOT IN ('sent', 'failed')";
    assert_eq!(rows(&farm.database(), left), [["0"]]);
    let mut ids = Vec::new();
    let mut digest = String::new();
    for mail in &server.taken()[before..] {
        let text = String::from_utf8(mail.bytes.clone()).unwrap();
        let id = text.lines().find(|line| line.starts_with("Message-ID: "));
        ids.push(id.unwrap().to_owned());
        if text.contains("<digest.2022-04-17.") {
            digest = text.replace("=\r\n", "").replace("\r\n", " ");
        }
    }
    assert!(digest.contains(says), "{says}: {digest}");
    ids.sort();
    let sent = rows(
        &farm.database(),
        "SELECT 'Message-ID: ' || message_id FROM outbox
         WHERE state = 'sent' AND day >= '2022-04-16' ORDER BY 1",
    );
    assert_eq!(ids, sent.concat());
    let told =
        "SELECT day FROM told WHERE person = 'gil' AND event = 'egg-laying-start' ORDER BY 1";
    rows(&farm.database(), told).concat()
}

#[test]
fn each_fault_of_a_server_leaves_the_right_state_and_the_next_morning_goes_on_and_names_it() {
    let server = Scripted::start(&[]);
    let farm = farm_with(&server);
    // So that what follows is news and no history.
    farm.nightly("2022-04-10");
    let fresh = farm.saved_database();
    for (at, act, expected, held_up, says) in CASES {
        farm.restore_database(&fresh);
        let before = server.taken().len();
        server.now_does(&[(at, act)]);
        let code = nightly(&farm, "2022-04-16");
        let case = format!("{at:?} {act:?}");
        let state = (mails(&farm), trouble(&farm));
        assert_eq!(state, (expected.to_vec(), held_up), "{case}");
        assert_eq!(code == Some(0), held_up == Trouble::None, "{case}");
        let told = morning_after(&farm, &server, before, says);
        // What was refused counts as untold and is told anew; what is kept is told.
        let days: &[&str] = match expected[1] {
            Failed => &["2022-04-16", "2022-04-17"],
            _ => &["2022-04-16"],
        };
        assert_eq!(told, days, "{case}");
        println!("{case:<75} {expected:?} {held_up:?}, told {told:?}");
    }
    let status = printed(&["status", "--config", farm.config()]);
    assert!(!status.contains("no mail goes out"), "{status}");
}
