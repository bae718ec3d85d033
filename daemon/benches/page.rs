//! The page of a farm of `tests/bench/farm.py`, asked as a browser asks, and a night told while nobody looks, while fifty
//! people do, and while fifty ask again and again without a look. The folder is named by DUSKFLIGHT_BENCH_FARM; `tests/bench/run` has this
//! done for farms of 100, 800 and 10,000 blocks.

use std::hint::black_box;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use chrono::{DateTime, NaiveDate};
use criterion::{Criterion, criterion_group, criterion_main};
use duskflight::clock::SetClock;
use duskflight::config::{Config, Listen, Page, Place};
use duskflight::page::{self, Opened};
use duskflight::store::Store;
use duskflight::telling::tell;
use tempfile::TempDir;
use tokio::runtime::{Builder, Runtime};
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

/// The morning that is shown and told, as an instant and a day.
const MORNING: i64 = 1_655_730_000;
const DAY: NaiveDate = NaiveDate::from_ymd_opt(2022, 6, 20).expect("a day of the calendar");
/// So many people look at once.
const PEOPLE: usize = 50;
/// How a night is told: who looks, and for how long at each page.
const WAYS: [(&str, Option<Duration>); 3] = [
    ("nobody looks", None),
    ("fifty look", Some(Duration::from_secs(5))),
    ("fifty ask without end", Some(Duration::ZERO)),
];
/// So many nights are told in each way.
const ROUNDS: usize = 9;
/// Who waits looks so often whether it is over.
const STEP: Duration = Duration::from_millis(20);
/// What they look at: the farm in several orders, and blocks.
const LOOKED_AT: [&str; 5] = ["/", "/block/b7", "/?sort=next", "/block/b42", "/?find=9"];

fn now() -> DateTime<chrono::Utc> {
    DateTime::from_timestamp(MORNING, 0).expect("an instant")
}

fn runtime() -> Runtime {
    let mut builder = Builder::new_current_thread();
    builder.enable_all().build().expect("a runtime")
}

/// A copy of the farm's records and its page, which is there.
struct Shown {
    store: Store,
    at: SocketAddr,
    ended: CancellationToken,
    serving: Option<JoinHandle<()>>,
    _dir: TempDir,
}

impl Shown {
    fn of(farm: &Path, config: &Config) -> Self {
        let dir = tempfile::tempdir().expect("a folder");
        let path = dir.path().join("duskflight.sqlite");
        std::fs::copy(farm.join("duskflight.sqlite"), &path).expect("the records are copied");
        let store = Store::create(&path).expect("the records open");
        let mut config = config.clone();
        config.database = path;
        let free = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).expect("a port");
        let at = free.local_addr().expect("its address");
        drop(free);
        let ended = CancellationToken::new();
        let serving = serve(store.clone(), Arc::new(config), at, ended.clone());
        let shown = Self {
            store,
            at,
            ended,
            serving: Some(serving),
            _dir: dir,
        };
        shown.wait();
        shown
    }

    /// Waits until there is something to see.
    fn wait(&self) {
        let mut tries = 0..6000;
        let is_there = || TcpStream::connect(self.at).is_ok() && Browser::at(self.at).look("/") > 0;
        while !is_there() {
            tries.next().expect("the page is there within a minute");
            thread::sleep(Duration::from_millis(10));
        }
    }
}

impl Drop for Shown {
    fn drop(&mut self) {
        self.ended.cancel();
        let serving = self.serving.take().expect("it serves until here");
        serving.join().expect("the page ends well");
    }
}

fn serve(
    store: Store,
    config: Arc<Config>,
    at: SocketAddr,
    ended: CancellationToken,
) -> JoinHandle<()> {
    let page = Page {
        listen: Listen {
            place: Place::Address(IpAddr::V4(Ipv4Addr::LOCALHOST)),
            port: at.port(),
        },
        names: Vec::new(),
        sign_in: false,
        certificate: None,
        trusted_proxies: Vec::new(),
    };
    thread::spawn(move || {
        let opened = Opened::new(store, config).expect("the records can be read");
        let (_open, farm) = watch::channel(Some(opened));
        let clock = Arc::new(SetClock::at(now()));
        runtime().block_on(page::serve(page, farm, clock, ended));
    })
}

/// A connection that is kept.
struct Browser(BufReader<TcpStream>);

impl Browser {
    fn at(at: SocketAddr) -> Self {
        let stream = TcpStream::connect(at).expect("somebody listens");
        stream.set_nodelay(true).expect("a connection");
        Self(BufReader::new(stream))
    }

    /// The bytes of a page; none where there is no such page now.
    fn look(&mut self, address: &str) -> usize {
        let stream = self.0.get_mut();
        let port = stream.peer_addr().expect("a connection").port();
        write!(
            stream,
            "GET {address} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n\r\n"
        )
        .expect("it is sent");
        let (mut is_there, mut length, mut line) = (false, 0, String::new());
        while line != "\r\n" {
            line.clear();
            self.0.read_line(&mut line).expect("a head");
            is_there |= line.starts_with("HTTP/1.1 200");
            if let Some(said) = line.strip_prefix("content-length: ") {
                length = said.trim_end().parse().expect("a length");
            }
        }
        let mut page = vec![0; length];
        self.0.read_exact(&mut page).expect("a page");
        if is_there { length } else { 0 }
    }
}

/// Waits for a while, in steps, as long as somebody looks.
fn wait(pause: Duration, looking: &AtomicBool) {
    let until = Instant::now() + pause;
    while looking.load(Ordering::Relaxed) && Instant::now() < until {
        thread::sleep(STEP.min(until - Instant::now()));
    }
}

/// People who look, each at the next page after a while.
struct People {
    looking: Arc<AtomicBool>,
    each: Vec<JoinHandle<()>>,
}

impl People {
    fn look(at: SocketAddr, pause: Duration) -> Self {
        let looking = Arc::new(AtomicBool::new(true));
        let one = |number: usize| {
            let looking = Arc::clone(&looking);
            thread::spawn(move || {
                let mut browser = Browser::at(at);
                // Not all at one moment.
                let begins = pause.mul_f64(number as f64 / PEOPLE as f64);
                wait(begins, &looking);
                for address in LOOKED_AT.iter().cycle().skip(number) {
                    if !looking.load(Ordering::Relaxed) {
                        return;
                    }
                    black_box(browser.look(address));
                    wait(pause, &looking);
                }
            })
        };
        Self {
            each: (0..PEOPLE).map(one).collect(),
            looking,
        }
    }
}

impl Drop for People {
    fn drop(&mut self) {
        self.looking.store(false, Ordering::Relaxed);
        for one in self.each.drain(..) {
            one.join().expect("each saw all pages");
        }
    }
}

fn pages(criterion: &mut Criterion) {
    let Some(farm) = std::env::var_os("DUSKFLIGHT_BENCH_FARM").map(PathBuf::from) else {
        eprintln!("DUSKFLIGHT_BENCH_FARM names no farm; see tests/bench/run");
        return;
    };
    let config = Config::read(&farm).expect("the farm's configuration");
    looked_at(criterion, &farm, &config);
    told(&farm, &config);
}

fn looked_at(criterion: &mut Criterion, farm: &Path, config: &Config) {
    let shown = Shown::of(farm, config);
    let mut group = criterion.benchmark_group("page");
    for (name, address) in [
        ("the farm", "/"),
        ("the farm, sorted", "/?sort=next"),
        ("a block", "/block/b42"),
        ("a block a week ago", "/block/b42?as-of=2022-06-13"),
        ("a block day by day", "/block/b42/days"),
        ("stations", "/stations"),
        ("rounds", "/round"),
        ("mails", "/mails"),
        ("reports", "/reports"),
        ("health", "/health"),
    ] {
        let mut browser = Browser::at(shown.at);
        eprintln!("{name}: {} bytes", browser.look(address));
        group.bench_function(name, |bench| bench.iter(|| browser.look(address)));
    }
    group.finish();
}

/// Nights told one after another each way, so that what else the machine does befalls all.
fn told(farm: &Path, config: &Config) {
    let of_round = |_| WAYS.map(|(_, pause)| night(farm, config, pause));
    let rounds: Vec<[f64; 3]> = (0..ROUNDS).map(of_round).collect();
    for (way, (who, _)) in WAYS.into_iter().enumerate() {
        let [_, took, _] = spread(rounds.iter().map(|round| round[way]));
        let [least, times, most] = spread(rounds.iter().map(|round| round[way] / round[0]));
        eprintln!(
            "a night told while {who}: {took:.2} s, {times:.2} times as long ({least:.2} to {most:.2})"
        );
    }
}

/// The least, the middle one and the most.
fn spread(of: impl Iterator<Item = f64>) -> [f64; 3] {
    let mut of: Vec<f64> = of.collect();
    of.sort_by(f64::total_cmp);
    [of[0], of[of.len() / 2], of[of.len() - 1]]
}

/// The seconds that a night takes while people look so, or nobody does.
fn night(farm: &Path, config: &Config, pause: Option<Duration>) -> f64 {
    let shown = Shown::of(farm, config);
    let _people = pause.map(|pause| People::look(shown.at, pause));
    let config = Arc::new(config.clone());
    let begun = Instant::now();
    let told = runtime().block_on(tell(&shown.store, &config, DAY, false, now()));
    told.expect("the night is told");
    begun.elapsed().as_secs_f64()
}

criterion_group!(benches, pages);
criterion_main!(benches);
