//! A station over a bad line: whatever comes in the place of an answer leaves the stored days as they are, byte for byte.

use std::io::Write;
use std::sync::Arc;
use std::time::Duration;

use chrono::{Days, TimeDelta};
use flate2::Compression;
use flate2::write::GzEncoder;
use rusqlite::Connection;
use rusqlite::types::Value;

use crate::feed::test_server::{Reply, TestServer, head};
use crate::feed::{Caller, Client, Limits};
use crate::runner::jobs::Workshop;
use crate::runner::test_farm::{TestFarm, june};
use crate::store::jobs::Job;
use crate::store::{Store, StoreError};

use super::Fetched;

/// What a station gives on a good morning: the days before 20 June.
fn good() -> String {
    table(|low, high| format!("{low},{high}"))
}

/// The same days, with other cells for a day's minimum and maximum.
fn table(cells: impl Fn(u32, u32) -> String) -> String {
    let first = june(20) - Days::new(45);
    let days = first.iter_days().take(45);
    let rows = days.zip(0..).map(|(day, number): (_, u32)| {
        let (low, high) = (52 + number % 7, 84 + number % 11);
        format!("{day},{}\n", cells(low, high))
    });
    std::iter::once("date,low,high\n".to_owned())
        .chain(rows)
        .collect()
}

/// The last three rows of a good answer changed.
fn newest(change: impl Fn(&str) -> String) -> String {
    let good = good();
    let rows: Vec<&str> = good.lines().collect();
    let (before, last) = rows.split_at(rows.len() - 3);
    let before = before.iter().map(|row| format!("{row}\n"));
    before
        .chain(last.iter().map(|row| change(row) + "\n"))
        .collect()
}

/// A row with other cells behind its date.
fn with_cells(row: &str, cells: &str) -> String {
    let (date, _) = row.split_once(',').unwrap();
    format!("{date},{cells}")
}

fn bomb() -> Vec<u8> {
    let mut packed = GzEncoder::new(Vec::new(), Compression::best());
    for _ in 0..64 {
        packed.write_all(&[b' '; 1024 * 1024]).unwrap();
    }
    packed.finish().unwrap()
}

fn refused(status: &str, header: &str) -> Reply {
    let headers: &[&str] = if header.is_empty() { &[] } else { &[header] };
    Reply::answer(status, headers, "<h1>not now</h1>")
}

/// What may come, and the words for it; an answer that can be read has none.
fn answers(elsewhere: &TestServer) -> Vec<(&'static str, Reply, Option<&'static str>)> {
    let ok = |name, body: String| (name, Reply::ok(body), None);
    let odd = |name, body: &str, words| (name, Reply::ok(body), Some(words));
    let login = elsewhere.url("/login").whole().to_string();
    let with_key = elsewhere
        .url("/days?key=hunter-2-hunter")
        .whole()
        .to_string();
    let with_key = with_key.replace("127.0.0.1", "localhost");
    let future = "last-modified: Tue, 01 Jan 2047 00:00:00 GMT";
    vec![
        // Cells that hold no number take nothing away.
        ok("null", newest(|row| with_cells(row, "null,null"))),
        ok(
            "M, T and S",
            newest(|row| with_cells(row, "M,S").replace("06-18,M", "06-18,T")),
        ),
        ok("-9999", newest(|row| with_cells(row, "-9999,-999"))),
        ok("empty cells", newest(|row| with_cells(row, ","))),
        ok(
            "one value alone",
            newest(|row| row.rsplit_once(',').unwrap().0.to_owned() + ","),
        ),
        // Rows in any order, and twice.
        ok("from the newest to the oldest", {
            let good = good();
            let (header, rows) = good.split_once('\n').unwrap();
            let rows: Vec<&str> = rows.lines().rev().collect();
            format!("{header}\n{}\n", rows.join("\n"))
        }),
        ok(
            "days twice",
            newest(|row| format!("{row}\n{}", with_cells(row, "1,120"))),
        ),
        ok("a field more in a row", newest(|row| format!("{row},7"))),
        // Answers that are none.
        odd("nothing", "", "empty"),
        odd(
            "a web page",
            "<!DOCTYPE html><html>Please log in</html>",
            "a web page",
        ),
        odd(
            "another service's words",
            "{\"error\":\"quota\"}",
            "no column",
        ),
        odd(
            "no rows",
            "date,low,high\n",
            "no day of the last two months",
        ),
        odd(
            "a renamed field",
            &good().replace("high", "maximum"),
            "no column \"high\"",
        ),
        odd(
            "another year's days",
            &good().replace("2022-", "2019-"),
            "newest day is 2019",
        ),
        odd(
            "another unit",
            &table(|low, high| {
                let celsius = |f: u32| (f64::from(f) - 32.0) / 1.8;
                format!("{:.1},{:.1}", celsius(low), celsius(high))
            }),
            "what looks like °C",
        ),
        odd(
            "swapped",
            &table(|low, high| format!("{high},{low}")),
            "swapped",
        ),
        odd(
            "one value for all days",
            &table(|_, _| "60,90".to_owned()),
            "the same temperatures",
        ),
        odd(
            "another place",
            &table(|low, high| format!("{},{}", low - 25, high - 25)),
            "other temperatures",
        ),
        // A server that is not well.
        (
            "429 in seconds",
            refused("429 Too Many Requests", "retry-after: 3600"),
            Some("429"),
        ),
        (
            "429 until a date",
            refused(
                "429 Too Many Requests",
                "retry-after: Tue, 01 Jan 2047 00:00:00 GMT",
            ),
            Some("429"),
        ),
        ("500", refused("500 Internal Server Error", ""), Some("500")),
        ("503", refused("503 Service Unavailable", ""), Some("503")),
        (
            "404",
            refused("404 Not Found", ""),
            Some("check the address"),
        ),
        (
            "gone for good",
            refused("301 Moved Permanently", ""),
            Some("301"),
        ),
        // A line that is not well.
        (
            "a slow drip",
            Reply::Drip(vec![b'H'; 100], Duration::from_millis(50)),
            Some("fetch http"),
        ),
        ("silence", Reply::Silence, Some("fetch http")),
        (
            "an endless body",
            Reply::Endless(head("200 OK", &[], None)),
            Some("more than"),
        ),
        (
            "a body cut short",
            Reply::Bytes({
                let mut bytes = head("200 OK", &[], Some(good().len()));
                bytes.extend_from_slice(&good().as_bytes()[..400]);
                bytes
            }),
            Some("fetch http"),
        ),
        (
            "a packed body without end",
            Reply::answer("200 OK", &["content-encoding: gzip"], bomb()),
            Some("more than"),
        ),
        // Somebody between.
        (
            "a captive portal",
            Reply::redirect(&login),
            Some("a web page"),
        ),
        (
            "to another host with a key",
            Reply::redirect(&with_key),
            Some("redirected to another host"),
        ),
        (
            "a version of the future",
            Reply::answer("200 OK", &[future], good()),
            None,
        ),
    ]
}

/// Every stored day and what came before it, as the store has it.
async fn stored(store: &Store) -> Vec<Vec<Value>> {
    let read = |connection: &Connection| {
        let mut all = Vec::new();
        for table in ["station_day", "station_day_history"] {
            let mut statement = connection.prepare(&format!("SELECT * FROM {table}"))?;
            let columns = statement.column_count();
            let rows = statement.query_map([], |row| {
                (0..columns)
                    .map(|column| row.get(column))
                    .collect::<Result<Vec<Value>, _>>()
            })?;
            all.extend(rows.collect::<Result<Vec<_>, _>>()?);
        }
        Ok::<_, StoreError>(all)
    };
    store.read(read).await.unwrap()
}

/// For an answer that comes, however busy the machine is.
const PATIENT: Duration = Duration::from_secs(60);
/// For one that never does.
const SHORT: Duration = Duration::from_millis(400);

/// A client that asks once and waits for so long.
fn client(waits: Duration) -> Arc<Client> {
    let limits = Limits {
        connect: waits,
        read: waits,
        total: waits,
        body_bytes: 1024 * 1024,
        tries: 1,
        ..Limits::default()
    };
    Arc::new(Client::new(limits, Caller::default()).unwrap())
}

fn workshop(farm: &TestFarm) -> Workshop {
    Workshop {
        client: client(PATIENT),
        ..farm.workshop()
    }
}

#[tokio::test]
async fn whatever_comes_in_the_place_of_an_answer_leaves_the_stored_days_as_they_are() {
    let elsewhere = TestServer::start(vec![Reply::ok("<html>Welcome to the network</html>")]);
    for (name, reply, words) in answers(&elsewhere) {
        let hangs = matches!(reply, Reply::Drip(..) | Reply::Silence);
        let server = TestServer::start(vec![Reply::ok(good()), reply]);
        let farm = TestFarm::asking("2022-06-20T12:00:00Z", &server);
        let mut workshop = workshop(&farm);
        let fetched = workshop.fetch(Job::Fetch, june(20), None).await.unwrap();
        assert_eq!((fetched.days, &fetched.failed), (45, &vec![]), "{name}");
        let before = stored(&workshop.store).await;
        if hangs {
            workshop.client = client(SHORT);
        }
        farm.clock.set(workshop.clock.now() + TimeDelta::days(1));
        let Fetched {
            changed, failed, ..
        } = workshop.fetch(Job::Fetch, june(21), None).await.unwrap();
        let error = failed.first().map(|(_, error)| error.as_str());
        match words {
            Some(words) => assert!(
                error.is_some_and(|error| error.contains(words)),
                "{name}: {error:?}"
            ),
            None => assert_eq!(error, None, "{name}"),
        }
        assert_eq!(changed, 0, "{name}");
        assert_eq!(stored(&workshop.store).await, before, "{name}");
        assert!(
            !format!("{error:?}").contains("hunter"),
            "{name}: {error:?}"
        );
    }
}

#[tokio::test]
async fn after_five_nights_of_errors_the_sixth_picks_up_by_itself_and_fills_the_gap() {
    let down = Reply::answer("500 Internal Server Error", &[], "");
    let mut script = vec![Reply::ok(good())];
    script.extend(vec![down; 5]);
    let first = june(20) - Days::new(45);
    let rows = first.iter_days().take(51);
    let rows = rows
        .zip(0..)
        .map(|(day, number): (_, u32)| format!("{day},{},{}\n", 52 + number % 7, 84 + number % 11));
    let whole: String = std::iter::once("date,low,high\n".to_owned())
        .chain(rows)
        .collect();
    script.push(Reply::ok(whole));
    let server = TestServer::start(script);
    let farm = TestFarm::asking("2022-06-20T12:00:00Z", &server);
    let workshop = workshop(&farm);
    let mut came = Vec::new();
    for day in 20..=26 {
        let fetched = workshop.fetch(Job::Fetch, june(day), None).await.unwrap();
        came.push((fetched.failed.len(), fetched.changed));
        farm.clock.set(workshop.clock.now() + TimeDelta::days(1));
    }
    let expected = [(0, 45), (1, 0), (1, 0), (1, 0), (1, 0), (1, 0), (0, 6)];
    assert_eq!(came, expected);
}

#[tokio::test]
async fn late_in_the_morning_a_whole_record_is_asked_for_only_when_it_is_newer() {
    let headers = ["date: Mon, 20 Jun 2022 12:00:00 GMT", "etag: \"a1\""];
    let sent = Reply::answer("200 OK", &headers, good());
    let same = Reply::answer("304 Not Modified", &[], "");
    let server = TestServer::start(vec![sent.clone(), same, refused("500 Oh", ""), sent]);
    let farm = TestFarm::asking("2022-06-20T12:00:00Z", &server);
    let workshop = workshop(&farm);
    let mut conditional = Vec::new();
    for (job, day) in [
        (Job::Fetch, 20),
        (Job::FetchLate, 20),
        (Job::Fetch, 21),
        (Job::FetchLate, 21),
    ] {
        let fetched = workshop.fetch(job, june(day), None).await.unwrap();
        let asked = server.requests().pop().unwrap().to_lowercase();
        conditional.push((asked.contains("if-none-match"), fetched.failed.is_empty()));
        farm.clock.set(workshop.clock.now() + TimeDelta::hours(12));
    }
    // The night asks for all; after a failure nothing is known any more.
    assert_eq!(
        conditional,
        [(false, true), (true, true), (false, false), (false, true)]
    );
}
