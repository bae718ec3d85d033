//! The page of the real program under those who mean it ill: guesses, half requests, floods. The figures are printed.

use std::io::{Read, Write};
use std::net::TcpStream;
use std::thread;
use std::time::{Duration, Instant};

use crate::daemon::in_the_small_hours;
use crate::harness::Farm;
use crate::page_client::{Browser, PASSWORD, Shown, read_answer};

/// A farm whose digest is due, and its adviser's browser.
fn shown() -> (Shown, Browser) {
    let farm = Farm::new("2022-12-31");
    in_the_small_hours(&farm);
    let shown = Shown::of(farm, "");
    let mut ada = shown.browser();
    let answer = ada.set_password("ada", &shown.code("ada"));
    assert_eq!(answer.status, 303, "{}", answer.text);
    (shown, ada)
}

/// Whoever has to wait until half a request is given up, which has ten seconds, waits longer.
const HELD_UP: Duration = Duration::from_secs(8);

/// The longest that a page of somebody who signed in took.
fn slowest(browser: &mut Browser, looks: usize) -> Duration {
    let took = (0..looks).map(|_| {
        let begun = Instant::now();
        assert_eq!(browser.get("/account").status, 200);
        begun.elapsed()
    });
    took.max().unwrap()
}

fn digest_is_delivered(shown: &Shown) {
    let is_there = || !shown.farm.mails().is_empty();
    shown
        .daemon
        .looks_until("the digest is delivered", is_there);
}

fn stops_in_time(shown: Shown) -> Duration {
    let begun = Instant::now();
    shown.daemon.stop("-TERM");
    let took = begun.elapsed();
    assert!(took < Duration::from_secs(20), "{took:?}");
    took
}

#[test]
fn a_thousand_guesses_from_addresses_that_are_made_up_are_held_and_who_is_in_stays_in() {
    let (shown, mut ada) = shown();
    let mut guesser = shown.browser();
    let proof = guesser.get("/sign-in").proof();
    let begun = Instant::now();
    let (mut looked_at, mut held) = (0, 0);
    let mut stream = guesser.connect();
    for number in 0..1000 {
        let made_up = format!("10.{}.{}.7", number / 250, number % 250);
        let fields = format!("proof={proof}&person=ada&password=guess+number+{number}");
        let forwarded = [("X-Forwarded-For", &*made_up)];
        let request = guesser.request("POST", "/sign-in", &forwarded, &fields);
        stream.write_all(request.as_bytes()).unwrap();
        match read_answer(&mut stream).status {
            403 => looked_at += 1,
            429 => held += 1,
            other => panic!("{other}"),
        }
    }
    let took = begun.elapsed();
    assert!(looked_at < 12, "{looked_at}");
    let slowest = slowest(&mut ada, 20);
    assert!(slowest < HELD_UP, "{slowest:?}");
    // The right password waits as well, for seconds: the guesses came from its address.
    assert_eq!(shown.browser().sign_in("ada", PASSWORD).status, 429);
    digest_is_delivered(&shown);
    stops_in_time(shown);
    println!(
        "1,000 guesses in {took:?}: {looked_at} looked at, {held} held; slowest page of who is in {slowest:?}"
    );
}

/// Connections with half a head, or a body that comes byte by byte.
fn half_requests(browser: &Browser, count: usize) -> Vec<TcpStream> {
    let halves = (0..count).map(|number| {
        let mut stream = browser.connect();
        let half: &[u8] = match number % 2 {
            0 => b"GET / HTTP/1.1\r\nHost: loc",
            _ => b"POST /sign-in HTTP/1.1\r\nHost: localhost\r\nContent-Length: 1000\r\n\r\nperson",
        };
        // It may have been shown the door already.
        let _ = stream.write_all(half);
        stream
    });
    halves.collect()
}

#[test]
fn two_hundred_half_requests_hold_nobody_up_and_end() {
    let (shown, mut ada) = shown();
    let mut halves = half_requests(&shown.browser(), 200);
    let slowest = slowest(&mut ada, 20);
    assert!(slowest < HELD_UP, "{slowest:?}");
    digest_is_delivered(&shown);
    // Bodies that come byte by byte, and then a stop.
    for stream in &mut halves {
        let _ = stream.write_all(b"x");
    }
    let stopped = stops_in_time(shown);
    let ended = halves.iter_mut().map(|stream| {
        let mut rest = Vec::new();
        stream.read_to_end(&mut rest).is_ok() || !rest.is_empty()
    });
    let ended = ended.filter(|ended| *ended).count();
    println!(
        "200 half requests: slowest page of who is in {slowest:?}, stopped in {stopped:?}, {ended} were told"
    );
}

#[test]
fn a_connection_that_says_nothing_or_half_of_it_ends_within_its_time() {
    let (shown, _) = shown();
    let took = [
        &b""[..],
        b"GET / HT",
        b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 9\r\n\r\nx",
    ]
    .map(|half| {
        let mut stream = shown.browser().connect();
        thread::spawn({
            let half = half.to_vec();
            move || {
                let begun = Instant::now();
                stream.write_all(&half).unwrap();
                let mut said = Vec::new();
                let _ = stream.read_to_end(&mut said);
                (begun.elapsed(), String::from_utf8_lossy(&said).into_owned())
            }
        })
    });
    let [nothing, head, body] = took.map(|one| one.join().unwrap());
    for (took, said) in [&nothing, &head] {
        assert!((8..15).contains(&took.as_secs()), "{took:?} {said}");
    }
    assert!((28..40).contains(&body.0.as_secs()), "{:?}", body.0);
    assert!(body.1.starts_with("HTTP/1.1 408 "), "{}", body.1);
    println!(
        "nothing: ended in {:?}, half a head: {:?}, half a body: {:?}",
        nothing.0, head.0, body.0
    );
    // What is too large is refused before it is there.
    let mut browser = shown.browser();
    let large = browser.request("POST", "/sign-in", &[], &"x".repeat((1 << 20) + 1));
    assert_eq!(browser.ask(&large).status, 413);
    stops_in_time(shown);
}

/// Requests over some connections that are kept, of who is in and who is not.
fn flood(shown: &Shown, ada: &Browser, requests: usize) -> Duration {
    let begun = Instant::now();
    let threads = (0..20).map(|number| {
        let browser = if number % 2 == 0 {
            ada.clone()
        } else {
            shown.browser()
        };
        let expected = if number % 2 == 0 { 200 } else { 303 };
        thread::spawn(move || {
            let request = browser.request("GET", "/account", &[], "");
            let mut stream = browser.connect();
            for _ in 0..requests / 20 {
                stream.write_all(request.as_bytes()).unwrap();
                assert_eq!(read_answer(&mut stream).status, expected);
            }
        })
    });
    threads
        .collect::<Vec<_>>()
        .into_iter()
        .for_each(|thread| thread.join().unwrap());
    begun.elapsed()
}

#[test]
fn many_requests_at_once_are_answered_and_the_digest_leaves() {
    let (shown, ada) = shown();
    let took = flood(&shown, &ada, 400);
    digest_is_delivered(&shown);
    let stopped = stops_in_time(shown);
    println!("400 requests over 20 connections in {took:?}, stopped in {stopped:?}");
}

#[test]
#[ignore = "takes minutes; tests/long runs it"]
fn ten_thousand_requests_within_a_minute_are_answered_and_the_digest_leaves() {
    let (shown, mut ada) = shown();
    let took = flood(&shown, &ada, 10_000);
    assert!(took < Duration::from_secs(60), "{took:?}");
    digest_is_delivered(&shown);
    let slowest = slowest(&mut ada, 20);
    let stopped = stops_in_time(shown);
    println!(
        "10,000 requests over 20 connections in {took:?}; then {slowest:?} a page; stopped in {stopped:?}"
    );
}

#[test]
#[ignore = "takes minutes; tests/long runs it"]
fn a_minute_of_half_requests_guesses_and_looks_at_once_holds_nobody_up() {
    let (shown, mut ada) = shown();
    let guessing = (0..8).map(|number| {
        let mut browser = shown.browser();
        let proof = browser.get("/sign-in").proof();
        let fields = format!("proof={proof}&person=ada&password=guess");
        let guess = browser.request("POST", "/sign-in", &[], &fields);
        (number, browser, guess)
    });
    // Each has its form before the flood begins.
    let guessing: Vec<_> = guessing.collect();
    let until = Instant::now() + Duration::from_secs(60);
    let badly = guessing.into_iter().map(|(number, browser, guess)| {
        thread::spawn(move || {
            let mut requests = 0;
            while Instant::now() < until {
                requests += 1;
                if number % 2 == 0 {
                    drop(half_requests(&browser, 1));
                    continue;
                }
                // It may have to give way to who comes after it.
                let mut stream = browser.connect();
                let _ = stream.write_all(guess.as_bytes());
                let _ = stream.read(&mut [0; 512]);
            }
            requests
        })
    });
    let badly: Vec<_> = badly.collect();
    let (mut looks, mut asked) = (Vec::new(), 0);
    while Instant::now() < until {
        let begun = Instant::now();
        let (answer, tries) = ada.get_at_last("/account");
        assert_eq!(answer.status, 200);
        looks.push(begun.elapsed());
        asked += tries;
        thread::sleep(Duration::from_millis(100));
    }
    digest_is_delivered(&shown);
    // Some guesses may have been cut off by half requests that came after them.
    let requests: usize = badly
        .into_iter()
        .filter_map(|thread| thread.join().ok())
        .sum();
    let stopped = stops_in_time(shown);
    looks.sort_unstable();
    let (usual, longest) = (looks[looks.len() / 2], looks[looks.len() - 1]);
    // One look may meet a busy moment of the machine; who is held up is so at most of them.
    assert!(usual < HELD_UP, "{usual:?}");
    println!(
        "a minute of {requests} half requests and guesses: {} looks in {asked} tries, {usual:?} and at the most {longest:?}; stopped in {stopped:?}",
        looks.len()
    );
}
