//! What twenty years leave behind: a farm of 50 blocks after its first season and after its twentieth, made through
//! the store as nights make it, with all that is pruned pruned. Prints the size of the records, then times a night,
//! the copy after it and what the commands read, for `tests/bench/run` to set beside each other.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, Utc};
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use duskflight::clock::{Clock, SetClock};
use duskflight::config::Config;
use duskflight::feed::{Caller, Client, Limits};
use duskflight::records::{Kind, Origin, import};
use duskflight::runner::jobs::Workshop;
use duskflight::store::days::{Fetch, log, merge};
use duskflight::store::jobs::Job;
use duskflight::store::outbox::{self, NewMail};
use duskflight::store::{Store, StoreError, backup, jobs, journal, told};
use duskflight_core::id::{BlockId, InsectId, MarkId, PersonId, StationId};
use duskflight_core::ledger::{Change, Event, MailKind, Notice, Value};
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;
use rusqlite::Connection;
use tempfile::TempDir;

const BLOCKS: usize = 50;
const STATIONS: usize = 5;
const GROWERS: usize = 4;
const LAST_YEAR: i32 = 2022;
/// The morning of the night that is timed; all before it is there.
const DAY: NaiveDate = NaiveDate::from_ymd_opt(LAST_YEAR, 9, 1).expect("a day of the calendar");
/// Past years that a station is asked for once.
const PAST_YEARS: i32 = 30;
/// Days of which each night's fetch brings some anew.
const REREAD_DAYS: u64 = 60;
/// What a mail is composed from, in bytes.
const CONTENTS: usize = 12_000;
/// The same as the message it becomes, in bytes.
const BYTES: usize = 40_000;

fn main_file(models: &str) -> String {
    let mut text = format!(
        "insects = [\"{models}/navel-orangeworm.toml\"]\n[farm]\nname = \"Fifty blocks\"\n\
         timezone = \"America/Los_Angeles\"\n[mail]\nfrom = \"duskflight@orchards.example\"\nfolder = \"mail\"\n\
         [[person]]\nid = \"ada\"\nname = \"Ada Vance\"\nrole = \"adviser\"\nemail = \"ada@orchards.example\"\n\
         phone = \"559-555-0101\"\n"
    );
    for n in 0..GROWERS {
        write!(
            text,
            "[[person]]\nid = \"gil{n}\"\nname = \"Grower {n}\"\nrole = \"grower\"\nemail = \"gil{n}@orchards.example\"\n"
        )
        .expect("memory");
    }
    for n in 0..STATIONS {
        write!(
            text,
            "[[station]]\nid = \"s{n}\"\nname = \"Station {n}\"\n[station.table]\nsource = \"none.csv\"\n\
             date_column = \"date\"\nmin_column = \"low\"\nmax_column = \"high\"\nunit = \"c\"\n"
        )
        .expect("memory");
    }
    text
}

/// A farm without records: in each block four egg traps and two for moths.
fn declare(dir: &Path, first_year: i32) {
    let models = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/insects");
    let mut blocks = "id,name,grower,adviser,crop,acres,regime,station,varieties\n".to_owned();
    let mut traps = "id,block,kind,hung\n".to_owned();
    for n in 0..BLOCKS {
        let (grower, station) = (n % GROWERS, n % STATIONS);
        writeln!(
            blocks,
            "b{n},Block {n},gil{grower},ada,almond,40,conventional,s{station},Nonpareil"
        )
        .expect("memory");
        for (trap, kind) in TRAPS {
            writeln!(traps, "b{n}{trap},b{n},{kind},{first_year}-03-08").expect("memory");
        }
    }
    let main = main_file(&models.display().to_string());
    for (name, text) in [
        ("duskflight.toml", main),
        ("blocks.csv", blocks),
        ("traps.csv", traps),
    ] {
        std::fs::write(dir.join(name), text).expect("the farm is written");
    }
}

const TRAPS: [(&str, &str); 6] = [
    ("e1", "egg"),
    ("e2", "egg"),
    ("e3", "egg"),
    ("e4", "egg"),
    ("p1", "pheromone"),
    ("p2", "pheromone"),
];

/// A number below `most` that looks like chance and is the same each time.
fn chance(of: (u64, u64), most: u64) -> u64 {
    let mixed =
        (of.0.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ of.1).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    ((mixed ^ (mixed >> 29)).wrapping_mul(0x94d0_49bb_1331_11eb) >> 32) % most
}

/// A valley's temperature of a day, in tenths of a degree Celsius as a thermometer gives them.
fn weather(station: usize, day: NaiveDate, answer: u64) -> ReceivedDay {
    let season = -(f64::from(day.ordinal()) * std::f64::consts::TAU / 365.25 - 0.3).cos();
    let noise = |salt: u64| {
        let seed = (
            station as u64 * 8 + salt,
            day.num_days_from_ce().unsigned_abs().into(),
        );
        chance(seed, 80) as f64 / 10.0 - 4.0
    };
    let tenths = |celsius: f64| (celsius * 10.0).round() / 10.0;
    ReceivedDay {
        date: day,
        min: Some(tenths(9.0 + 7.0 * season + noise(1) + answer as f64 / 10.0)),
        max: Some(tenths(24.0 + 11.0 * season + noise(2))),
        unit: Unit::Celsius,
        min_flag: None,
        max_flag: None,
    }
}

fn morning(day: NaiveDate) -> DateTime<Utc> {
    day.and_hms_opt(13, 0, 0).expect("an hour").and_utc()
}

fn days_of(year: i32) -> impl Iterator<Item = NaiveDate> {
    let first = NaiveDate::from_ymd_opt(year, 1, 1).expect("a day");
    first
        .iter_days()
        .take_while(move |day| day.year() == year && *day < DAY)
}

/// A past year of every station, as a first night asks for it.
fn past_year(connection: &Connection, year: i32, at: DateTime<Utc>) -> Result<(), StoreError> {
    for station in 0..STATIONS {
        let days: Vec<_> = days_of(year).map(|day| weather(station, day, 0)).collect();
        fetched(connection, station, &days, at)?;
    }
    Ok(())
}

fn fetched(
    connection: &Connection,
    station: usize,
    days: &[ReceivedDay],
    at: DateTime<Utc>,
) -> Result<(), StoreError> {
    let id = StationId::new(&format!("s{station}")).expect("an id");
    let changed = merge(connection, &id, "station-table", days, at)?;
    let fetch = Fetch {
        station: id,
        from: days.first().expect("days").date,
        to: days.last().expect("days").date,
        at,
        outcome: Ok((days.len(), changed)),
        remarks: None,
    };
    log(connection, &fetch)
}

/// A night's jobs and fetches: yesterday's values are new, and one of the days before is revised.
fn night_before(connection: &Connection, day: NaiveDate) -> Result<(), StoreError> {
    for job in [Job::Fetch, Job::FetchLate, Job::Tell, Job::Heartbeat] {
        jobs::begin(connection, job, day, morning(day))?;
        jobs::finish(connection, job, day, morning(day), None)?;
    }
    let seed = u64::from(day.ordinal());
    for station in 0..STATIONS {
        let revised = day - Days::new(2 + chance((seed, station as u64), REREAD_DAYS - 2));
        let newest = weather(station, day - Days::new(1), 0);
        let days = [weather(station, revised, 1 + seed % 3), newest];
        fetched(connection, station, &days, morning(day))?;
    }
    Ok(())
}

/// A week's readings of every trap.
fn sheet(day: NaiveDate) -> String {
    let mut text = "date,trap,eggs,moths,serviced,note\n".to_owned();
    let week = day.ordinal() / 7;
    for block in 0..BLOCKS {
        for (place, (trap, kind)) in TRAPS.into_iter().enumerate() {
            let seed = (
                day.num_days_from_ce().unsigned_abs().into(),
                (block * 6 + place) as u64,
            );
            let count = if week < 15 { 0 } else { chance(seed, 12) };
            let (eggs, moths) = match kind {
                "egg" => (count.to_string(), String::new()),
                _ => (String::new(), count.to_string()),
            };
            let note = match chance(seed, 20) {
                0 => "canopy closed and wind from the north",
                _ => "",
            };
            writeln!(text, "{day},b{block}{trap},{eggs},{moths},,{note}").expect("memory");
        }
    }
    text
}

/// Brings in a year's readings: each trap once a week from March to the end of October.
async fn read_traps(store: &Store, config: &Config, year: i32) {
    let first = NaiveDate::from_ymd_opt(year, 3, 15).expect("a day");
    let weeks = (0..33).map(|week| first + Days::new(week * 7));
    for day in weeks.filter(|day| *day < DAY) {
        let clock: Arc<dyn Clock> = Arc::new(SetClock::at(morning(day) + TimeDelta::hours(6)));
        let origin = Origin {
            file: format!("{day}.csv"),
            by: "ada".to_owned(),
            sure: true,
        };
        let imported = import(store, config, Kind::Visits, &sheet(day), &origin, &clock).await;
        imported.expect("the sheet is right");
    }
}

/// Mails of a day: a digest, on Mondays a letter to each grower, every ninth day an alert to one with what it tells.
fn mails(connection: &Connection, day: NaiveDate) -> Result<(), StoreError> {
    send(connection, day, MailKind::Digest, "ada", |_| Vec::new())?;
    for n in 0..GROWERS {
        let grower = format!("gil{n}");
        if day.weekday() == chrono::Weekday::Mon {
            send(connection, day, MailKind::Letter, &grower, |_| Vec::new())?;
        }
        if day.ordinal() as usize % 9 == n {
            send(connection, day, MailKind::Alert, &grower, |day| {
                news(day, n)
            })?;
        }
    }
    Ok(())
}

/// Of each of the grower's blocks one event.
fn news(day: NaiveDate, grower: usize) -> Vec<Notice> {
    let mark = MarkId::new(&format!("mark-{}", day.ordinal() % 5)).expect("an id");
    let blocks = (0..BLOCKS).filter(|block| block % GROWERS == grower);
    let notice = |block: usize| Notice {
        year: day.year(),
        block: BlockId::new(&format!("b{block}")).expect("an id"),
        insect: InsectId::new("navel-orangeworm").expect("an id"),
        event: Event::MarkPassed(mark.clone()),
        revision: 1,
        step: 1,
        late: None,
        to_release: false,
        change: Change::New(Value::Day(day)),
    };
    blocks.map(notice).collect()
}

fn send(
    connection: &Connection,
    day: NaiveDate,
    kind: MailKind,
    person: &str,
    news: impl Fn(NaiveDate) -> Vec<Notice>,
) -> Result<(), StoreError> {
    let who = PersonId::new(person).expect("an id");
    let message_id = format!(
        "<{}.{person}.{day}.4a7d1ed414474e40@orchards.example>",
        kind.name()
    );
    let mail = NewMail {
        message_id: message_id.clone(),
        kind,
        person: who.clone(),
        adviser: PersonId::new("ada").ok(),
        day,
        about: String::new(),
        address: format!("{person}@orchards.example"),
        subject: "Mon 20 Jun: second generation near in 12 blocks, 6 traps due".to_owned(),
        body: Some(vec![b'x'; BYTES]),
        queued_at: morning(day),
        contents: Some(format!("\"{}\"", "y".repeat(CONTENTS))),
        waits_for: Vec::new(),
        hold_s: 0,
    };
    outbox::queue(connection, &mail)?;
    outbox::mark_sent(
        connection,
        &message_id,
        "250 2.0.0 Ok: queued as 4XyZ",
        morning(day),
    )?;
    for notice in news(day) {
        for told_to in [&who, &PersonId::new("ada").expect("an id")] {
            told::record(connection, told_to, &notice, day, Some(&message_id))?;
        }
    }
    Ok(())
}

/// A farm with the records of so many seasons.
struct Farm {
    dir: TempDir,
    config: Arc<Config>,
}

impl Farm {
    async fn of_seasons(seasons: i32) -> Self {
        let dir = tempfile::tempdir().expect("a folder");
        let first = LAST_YEAR - seasons + 1;
        declare(dir.path(), first);
        let config = Arc::new(Config::read(dir.path()).expect("the farm is right"));
        let store = Store::create(&config.database).expect("records");
        let begin = NaiveDate::from_ymd_opt(first, 1, 1).expect("a day");
        let past = store.write(move |t| {
            let mut years = first - PAST_YEARS..first;
            years.try_for_each(|year| past_year(t, year, morning(begin)))
        });
        past.await.expect("the records can be written");
        for year in first..=LAST_YEAR {
            one_year(&store, &config, year).await;
        }
        Self { dir, config }
    }

    /// A copy of the records, so that a night finds them as they were.
    fn workshop(&self) -> (TempDir, Workshop) {
        let dir = tempfile::tempdir().expect("a folder");
        let database = dir.path().join("duskflight.sqlite");
        for (from, to) in [
            (self.config.database.clone(), database.clone()),
            (
                journal::path_beside(&self.config.database),
                journal::path_beside(&database),
            ),
        ] {
            std::fs::copy(from, to).expect("the records are copied");
        }
        let mut config = (*self.config).clone();
        config.database.clone_from(&database);
        let store = Store::open(&database).expect("the records open");
        let workshop = workshop(store, &Arc::new(config), DAY);
        (dir, workshop)
    }

    fn bytes(&self) -> u64 {
        let file = |path: PathBuf| std::fs::metadata(path).map_or(0, |found| found.len());
        file(self.config.database.clone()) + file(journal::path_beside(&self.config.database))
    }

    /// Runs the program on the farm.
    fn run(&self, command: &[&str]) {
        let program =
            std::env::var_os("DUSKFLIGHT").unwrap_or(env!("CARGO_BIN_EXE_duskflight").into());
        let ended = Command::new(program)
            .args(command)
            .args([
                std::ffi::OsStr::new("--config"),
                self.dir.path().as_os_str(),
            ])
            .stdout(Stdio::null())
            .status()
            .expect("the program starts");
        assert!(ended.success(), "{command:?}");
    }
}

/// A season as its nights leave it; the last of them is a real one, which prunes.
async fn one_year(store: &Store, config: &Arc<Config>, year: i32) {
    read_traps(store, config, year).await;
    let last = days_of(year).last().expect("a day");
    let written = store.write(move |t| {
        for day in days_of(year).take_while(|day| *day < last) {
            night_before(t, day)?;
            mails(t, day)?;
        }
        Ok::<_, StoreError>(())
    });
    written.await.expect("the records can be written");
    let workshop = workshop(store.clone(), config, last);
    let told = workshop.tell(last, false, morning(last)).await;
    told.expect("the night is told");
    let delivered = workshop.deliver().await;
    delivered.expect("its mails are delivered");
}

fn workshop(store: Store, config: &Arc<Config>, day: NaiveDate) -> Workshop {
    Workshop {
        store,
        config: Arc::clone(config),
        client: Arc::new(Client::new(Limits::default(), Caller::default()).expect("a client")),
        clock: Arc::new(SetClock::at(morning(day))),
    }
}

fn twenty_years(criterion: &mut Criterion) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    let mut group = criterion.benchmark_group("years");
    group
        .sample_size(10)
        .measurement_time(Duration::from_secs(10));
    for seasons in [1, 20] {
        let farm = runtime.block_on(Farm::of_seasons(seasons));
        eprintln!("megabytes of {seasons} {:.1}", farm.bytes() as f64 / 1e6);
        group.bench_function(format!("night of {seasons}"), |bench| {
            bench.iter_batched(
                || farm.workshop(),
                |(dir, workshop)| {
                    let told = runtime.block_on(workshop.tell(DAY, false, morning(DAY)));
                    (dir, told.expect("the night is told"))
                },
                BatchSize::PerIteration,
            );
        });
        group.bench_function(format!("copy of {seasons}"), |bench| {
            bench.iter(|| backup::of_day(&farm.config.database, DAY).expect("a copy"));
        });
        group.bench_function(format!("status of {seasons}"), |bench| {
            bench.iter(|| farm.run(&["status"]));
        });
        group.bench_function(format!("season of {seasons}"), |bench| {
            bench.iter(|| farm.run(&["season", "--as-of", "2022-09-01"]));
        });
    }
    group.finish();
}

criterion_group!(benches, twenty_years);
criterion_main!(benches);
