use std::io::{Read, Write};
use std::net::TcpListener;
use std::sync::{Arc, Barrier};
use std::thread;
use std::time::Duration;

use chrono::TimeDelta;

use super::*;
use crate::feed::test_server::{Reply, TestServer};
use crate::feed::{Caller, Client, Limits};
use crate::runner::jobs::Workshop;
use crate::runner::test_farm::{TestFarm, june};
use crate::store::jobs::Job;

const TABLE: &str = "date,low,high\n2022-06-18,60,92\n2022-06-19,61,93\n";

/// A farm that has these addresses' stations beside its own, whose table is a file.
fn farm(addresses: &[String]) -> TestFarm {
    let farm = TestFarm::new("2022-06-20T12:00:00Z");
    let station = |(number, address): (usize, &String)| {
        format!(
            "[[station]]\nid = \"s{number}\"\nname = \"Station {number}\"\nhistory_years = 1\n\n[station.table]\n\
             source = \"{address}\"\ndate_column = \"date\"\nmin_column = \"low\"\nmax_column = \"high\"\nunit = \"f\"\n\n"
        )
    };
    let stations: String = addresses.iter().enumerate().map(station).collect();
    farm.change(
        "duskflight.toml",
        "[[station]]",
        &format!("{stations}[[station]]"),
    );
    farm
}

/// A workshop whose client has little patience.
fn workshop(farm: &TestFarm) -> Workshop {
    let limits = Limits {
        read: Duration::from_millis(200),
        first_wait: Duration::from_millis(1),
        ..Limits::default()
    };
    Workshop {
        client: Arc::new(Client::new(limits, Caller::default()).unwrap()),
        ..farm.workshop()
    }
}

#[tokio::test]
async fn twenty_stations_of_a_host_that_hangs_cost_as_much_as_two() {
    let server = TestServer::start(vec![Reply::Silence]);
    let address = server.url("/yard.csv").whole().to_string();
    let farm = farm(&vec![address; 20]);
    let fetched = workshop(&farm)
        .fetch(Job::Fetch, june(20), None)
        .await
        .unwrap();
    // Five tries of the first, one of the second.
    assert!(server.requests().len() <= 6, "{:?}", server.requests());
    assert_eq!(fetched.failed.len(), 20);
    let not_asked = |(_, error): &&(String, String)| error.contains("no answer to 2 others");
    assert_eq!(fetched.failed.iter().filter(not_asked).count(), 18);
    assert!(fetched.days > 0, "the farm's own station, a file, came in");
}

/// A server that answers once as many requests stand at its servers as the barrier waits for.
fn waiting_server(barrier: &Arc<Barrier>) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = listener.local_addr().unwrap();
    let barrier = Arc::clone(barrier);
    thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        let mut head = [0; 64];
        let _ = stream.read(&mut head);
        barrier.wait();
        let length = TABLE.len();
        let _ = write!(
            stream,
            "HTTP/1.1 200 OK\r\nconnection: close\r\ncontent-length: {length}\r\n\r\n{TABLE}"
        );
    });
    format!("http://{address}/yard.csv")
}

#[tokio::test]
async fn hosts_are_asked_at_once() {
    let barrier = Arc::new(Barrier::new(3));
    let addresses = [0; 3].map(|_| waiting_server(&barrier));
    let farm = farm(&addresses);
    let patient = Workshop {
        client: Arc::new(Client::new(Limits::default(), Caller::default()).unwrap()),
        ..farm.workshop()
    };
    let fetched = patient.fetch(Job::Fetch, june(20), None).await.unwrap();
    assert_eq!(fetched.failed, []);
}

#[test]
fn what_stations_want_of_one_host_is_asked_in_turn() {
    let farm = farm(
        &[
            "http://a.example/1",
            "http://b.example/2",
            "http://a.example/3",
        ]
        .map(str::to_owned),
    );
    let config = farm.tools().config;
    let stations: Vec<&Station> = config.stations.iter().collect();
    let hosts = by_host(&stations);
    let places = hosts
        .iter()
        .map(|questions| questions.iter().map(|(place, _)| *place).collect());
    let places: Vec<Vec<usize>> = places.collect();
    assert_eq!(places, [vec![3], vec![0, 2], vec![1]]);
}

#[tokio::test]
async fn near_the_digest_nothing_more_is_asked_and_what_is_late_comes_once_it_is_told() {
    let server = TestServer::start(vec![Reply::ok(TABLE)]);
    let farm = farm(&[server.url("/yard.csv").whole().to_string()]);
    let workshop = workshop(&farm);
    let now = workshop.clock.now();
    let fetched = workshop
        .fetch(Job::Fetch, june(20), Some(now))
        .await
        .unwrap();
    assert_eq!(server.requests().len(), 0);
    assert_eq!(fetched.failed.len(), 2);
    assert!(
        fetched.failed[0].1.contains("the digest is due"),
        "{fetched:?}"
    );
    let later = Some(now + TimeDelta::minutes(1));
    let fetched = workshop.fetch(Job::Fetch, june(20), later).await.unwrap();
    assert_eq!(fetched.failed, []);
}
