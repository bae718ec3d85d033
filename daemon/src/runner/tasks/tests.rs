mod clock;
mod driven;
mod years;

use std::fs;

use chrono::TimeDelta;
use rusqlite::ffi;

use super::*;
use crate::runner::gate::Doubt;
use crate::runner::test_farm::{TestFarm, instant, june};
use crate::store::jobs::{self, Run, RunState};

/// Two hours and a half before the digest, when the fetch is due.
const FETCHING: &str = "2022-06-20T11:30:00Z";
/// Shortly after its hour.
const TELLING: &str = "2022-06-20T13:05:00Z";

impl Tasks {
    fn under_way(&self) -> Vec<&'static str> {
        let tasks = [&self.fetch, &self.tell, &self.deliver, &self.take_in];
        let under_way = tasks.into_iter().flatten();
        under_way.map(|task| task.name).collect()
    }

    /// Waits until all work under way has ended; a step then reaps it.
    async fn settle(&self) {
        let tasks = [
            &self.fetch,
            &self.tell,
            &self.deliver,
            &self.take_in,
            &self.ask_time,
        ];
        let ended = async {
            for task in tasks.into_iter().flatten() {
                while !task.work.is_finished() {
                    tokio::task::yield_now().await;
                }
            }
        };
        let bound = Duration::from_secs(120);
        tokio::time::timeout(bound, ended)
            .await
            .expect("work that ends");
    }

    /// Steps and settles at a time until nothing more is due then.
    async fn work_off(&mut self, farm: &TestFarm, now: &str) {
        farm.clock.set(instant(now));
        for _ in 0..3 {
            self.step().await.unwrap();
            self.settle().await;
        }
        self.reap(instant(now)).await.unwrap();
        assert_eq!(self.under_way(), [""; 0]);
    }

    async fn run_of(&self, job: Job) -> Option<Run> {
        let run = move |c: &rusqlite::Connection| jobs::run(c, job, june(20));
        self.workshop.store.read(run).await.unwrap()
    }
}

#[tokio::test]
async fn a_day_that_was_told_before_a_crash_gets_its_copy_when_the_daemon_is_back() {
    let farm = TestFarm::new(FETCHING);
    let mut tasks = Tasks::new(farm.workshop());
    tasks.work_off(&farm, FETCHING).await;
    tasks.work_off(&farm, TELLING).await;
    let database = tasks.workshop.config.database.clone();
    assert!(!backup::is_owed(&database, june(20)));
    fs::remove_dir_all(backup::folder(&database)).unwrap();
    tasks.work_off(&farm, "2022-06-20T13:07:00Z").await;
    assert!(
        backup::is_owed(&database, june(20)),
        "looked for at each step"
    );
    let mut again = Tasks::new(farm.workshop());
    again.work_off(&farm, "2022-06-20T13:09:00Z").await;
    assert!(!backup::is_owed(&database, june(20)));
}

async fn never() -> anyhow::Result<()> {
    std::future::pending().await
}

#[tokio::test]
async fn a_day_is_fetched_told_and_delivered_and_nothing_of_it_is_begun_twice() {
    let farm = TestFarm::new(FETCHING);
    let mut tasks = Tasks::new(farm.workshop());
    tasks.step().await.unwrap();
    // While it is under way, and after it, it is not begun again.
    tasks.step().await.unwrap();
    assert_eq!(tasks.under_way(), ["fetch", "deliver"]);
    tasks.work_off(&farm, FETCHING).await;
    assert_eq!(tasks.run_of(Job::Tell).await, None);
    tasks.work_off(&farm, TELLING).await;
    tasks.work_off(&farm, "2022-06-20T13:06:00Z").await;
    for job in [Job::Fetch, Job::Tell] {
        let run = tasks.run_of(job).await.unwrap();
        assert_eq!((run.state, run.attempts), (RunState::Done, 1), "{job:?}");
    }
    let mails = fs::read_dir(farm.file("mail")).unwrap();
    assert_eq!(mails.count(), 1);
}

#[tokio::test]
async fn what_is_due_waits_for_a_task_that_is_busy() {
    let farm = TestFarm::new(FETCHING);
    let mut tasks = Tasks::new(farm.workshop());
    tasks.fetch = Some(Task::of(Job::FetchLate, never()));
    tasks.deliver = Some(Task::new("deliver", never()));
    for _ in 0..3 {
        tasks.step().await.unwrap();
    }
    assert_eq!(tasks.under_way(), ["fetch-late", "deliver"]);
    assert_eq!(tasks.run_of(Job::Fetch).await, None);
    tasks.finish(Duration::ZERO).await;
}

#[tokio::test]
async fn by_a_clock_behind_the_newest_fetch_nothing_is_begun_and_that_is_said_once() {
    let farm = TestFarm::new(FETCHING);
    let mut tasks = Tasks::new(farm.workshop());
    tasks.work_off(&farm, FETCHING).await;
    // A day slow, the fetch of the 19th would be due.
    farm.clock.make_wrong_by(TimeDelta::hours(-22));
    tasks.step().await.unwrap();
    assert_eq!(tasks.under_way(), [""; 0]);
    let behind = Doubt::BehindFetch(instant(FETCHING)).to_string();
    assert!(!tasks.said.is_news("clock", &behind), "it was not said");
    // Minutes are no matter, and right again it goes on.
    tasks.work_off(&farm, "2022-06-20T11:25:00Z").await;
    assert!(tasks.said.is_news("clock", &behind), "it is still wrong");
    tasks.work_off(&farm, TELLING).await;
    let told = tasks.run_of(Job::Tell).await.unwrap();
    assert_eq!(told.state, RunState::Done);
}

#[tokio::test]
async fn a_changed_configuration_is_taken_over_between_jobs_and_one_under_way_keeps_its_own() {
    let farm = TestFarm::new(FETCHING);
    let mut tasks = Tasks::new(farm.workshop());
    let (ask, asked) = tokio::sync::oneshot::channel();
    let (answer, answered) = tokio::sync::oneshot::channel();
    let workshop = tasks.workshop.clone();
    tasks.tell = Some(Task::of(Job::Tell, async move {
        asked.await?;
        let farm = workshop.config.farm.clone();
        answer.send(farm).map_err(anyhow::Error::msg)
    }));
    tasks.step().await.unwrap();
    farm.change("duskflight.toml", "Example orchards", "Renamed orchards");
    tasks.step().await.unwrap();
    assert_eq!(tasks.workshop.config.farm, "Renamed orchards");
    ask.send(()).unwrap();
    assert_eq!(answered.await.unwrap(), "Example orchards");

    // A wrong one changes nothing but what is said of it, and the work goes on.
    farm.change("duskflight.toml", "role = \"grower\"", "role = \"growr\"");
    tasks.step().await.unwrap();
    let config = &tasks.workshop.config;
    assert_eq!(config.farm, "Renamed orchards");
    assert!(config.trouble.as_ref().unwrap().contains("growr"));
    tasks.settle().await;
    tasks.work_off(&farm, TELLING).await;
    let told = tasks.run_of(Job::Tell).await.unwrap();
    assert_eq!(told.state, RunState::Done);
}

#[tokio::test]
async fn a_panic_in_a_task_is_noted_and_tried_again_and_the_other_tasks_go_on() {
    let farm = TestFarm::new(FETCHING);
    let mut tasks = Tasks::new(farm.workshop());
    tasks.work_off(&farm, FETCHING).await;
    tasks.tell = Some(Task::of(Job::Tell, async { panic!("on purpose") }));
    tasks.deliver = Some(Task::new("deliver", async { panic!("on purpose") }));
    tasks.settle().await;
    farm.clock.set(instant(TELLING));
    tasks.step().await.unwrap();
    assert_eq!(tasks.under_way(), ["deliver"]);
    let run = tasks.run_of(Job::Tell).await.unwrap();
    assert_eq!((run.state, run.attempts), (RunState::Failed, 1));
    let error = run.error.unwrap();
    assert!(error.contains("on purpose"), "{error}");

    tasks.work_off(&farm, "2022-06-20T13:10:00Z").await;
    let run = tasks.run_of(Job::Tell).await.unwrap();
    assert_eq!((run.state, run.attempts), (RunState::Done, 2));
}

#[tokio::test]
async fn a_panic_that_cannot_be_noted_does_not_end_the_daemon() {
    let farm = TestFarm::new(FETCHING);
    let mut tasks = Tasks::new(farm.workshop());
    tasks.work_off(&farm, FETCHING).await;
    let refuse =
        "CREATE TRIGGER full BEFORE INSERT ON job_run BEGIN SELECT raise(FAIL, 'full'); END";
    let store = tasks.workshop.store.clone();
    let refused: Result<usize, StoreError> = store.write(|t| Ok(t.execute(refuse, [])?)).await;
    refused.unwrap();
    tasks.tell = Some(Task::of(Job::Tell, async { panic!("on purpose") }));
    tasks.settle().await;
    tasks.step().await.unwrap();
    assert_eq!(tasks.under_way(), ["deliver"]);
}

/// What SQLite answers with a result code.
fn answered(code: i32) -> StoreError {
    rusqlite::Error::SqliteFailure(ffi::Error::new(code), None).into()
}

#[tokio::test]
async fn records_in_use_are_asked_again_and_lost_ones_end_the_step() {
    let farm = TestFarm::new(FETCHING);
    let mut tasks = Tasks::new(farm.workshop());
    let now = instant(FETCHING);
    for code in [ffi::SQLITE_BUSY, ffi::SQLITE_LOCKED] {
        tasks.go_on(Err(answered(code)), now).await.unwrap();
        let said = error_chain(&answered(code));
        assert!(!tasks.said.is_news("records", &said), "it was not said");
    }
    for error in [
        answered(ffi::SQLITE_CORRUPT),
        answered(ffi::SQLITE_IOERR),
        StoreError::Ended,
    ] {
        let said = error.to_string();
        assert!(tasks.go_on(Err(error), now).await.is_err(), "{said}");
    }
    assert_eq!(tasks.under_way(), [""; 0]);
    // The next step that can read them goes on.
    tasks.work_off(&farm, FETCHING).await;
    let fetched = tasks.run_of(Job::Fetch).await.unwrap();
    assert_eq!(fetched.state, RunState::Done);
}

/// A writer that counts the lines of a log.
#[derive(Clone, Default)]
struct Lines(std::sync::Arc<std::sync::Mutex<Vec<u8>>>);

impl std::io::Write for Lines {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.lock().unwrap().extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Lines {
    fn text(&self) -> String {
        String::from_utf8(self.0.lock().unwrap().clone()).unwrap()
    }
}

#[tokio::test]
async fn three_days_without_a_way_out_are_some_lines_of_the_log_and_each_trouble_one() {
    let farm = TestFarm::new(FETCHING);
    let nobody = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = nobody.local_addr().unwrap().port();
    drop(nobody);
    let server = format!("[mail.smtp]\nhost = \"127.0.0.1\"\nport = {port}\nsecurity = \"none\"");
    farm.change("duskflight.toml", "folder = \"mail\"", &server);
    fs::remove_file(farm.file("yard.csv")).unwrap();
    let lines = Lines::default();
    let sink = lines.clone();
    let log = tracing_subscriber::fmt()
        .with_writer(move || sink.clone())
        .with_ansi(false)
        .with_max_level(tracing::Level::INFO)
        .finish();
    // As long as there is one log alone, what another test says first elsewhere is taken for what nobody listens to.
    let _another = tracing::Dispatch::new(tracing_subscriber::registry());
    let _logging = tracing::subscriber::set_default(log);
    let mut tasks = Tasks::new(farm.workshop());
    for minutes in 0..3 * 24 * 60 / 5 {
        farm.clock
            .set(instant(FETCHING) + TimeDelta::minutes(5 * minutes));
        tasks.step().await.unwrap();
        tasks.settle().await;
    }
    tasks.reap(tasks.workshop.clock.now()).await.unwrap();
    let text = lines.text();
    assert!(text.lines().count() < 60, "{text}");
    assert_eq!(text.matches("fetch failed").count(), 1, "{text}");
    assert_eq!(text.matches("mail kept").count(), 1, "{text}");
    assert_eq!(text.matches("day told").count(), 3, "{text}");
}

#[tokio::test]
async fn the_watcher_hears_once_a_day_and_only_when_all_of_it_worked() {
    let asked = std::sync::Arc::new(std::sync::atomic::AtomicUsize::new(0));
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let count = std::sync::Arc::clone(&asked);
    std::thread::spawn(move || {
        use std::io::{BufRead, BufReader, Write};
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            let mut line = String::new();
            BufReader::new(&stream).read_line(&mut line).unwrap();
            assert!(line.starts_with("GET /9f86d081 "), "{line}");
            count.fetch_add(1, std::sync::atomic::Ordering::SeqCst);
            let _ = stream
                .write_all(b"HTTP/1.1 200 OK\r\ncontent-length: 0\r\nconnection: close\r\n\r\n");
        }
    });
    let asked = || asked.load(std::sync::atomic::Ordering::SeqCst);
    let farm = TestFarm::new(FETCHING);
    let beat = format!("[telling]\nheartbeat = \"http://127.0.0.1:{port}/9f86d081\"\n\n[mail]");
    farm.change("duskflight.toml", "[mail]", &beat);
    // A folder that cannot be written: the digest is told and not accepted.
    fs::write(farm.file("mail"), "in the way").unwrap();
    let mut tasks = Tasks::new(farm.workshop());
    tasks.work_off(&farm, FETCHING).await;
    assert_eq!(asked(), 0, "not told yet");
    tasks.work_off(&farm, TELLING).await;
    assert_eq!(asked(), 0, "told and not accepted");
    fs::remove_file(farm.file("mail")).unwrap();
    for now in [
        "2022-06-20T14:30:00Z",
        "2022-06-20T18:30:00Z",
        "2022-06-21T11:30:00Z",
    ] {
        tasks.work_off(&farm, now).await;
    }
    assert_eq!(asked(), 1, "once");
    tasks.work_off(&farm, "2022-06-21T13:05:00Z").await;
    assert_eq!(asked(), 2, "once a day");
    let config = format!("{:?}", tasks.workshop.config.heartbeat);
    assert!(!config.contains("9f86d081"), "{config}");
    // The feed falls silent: the day is told, and the watcher hears nothing.
    let table = fs::read_to_string(farm.file("yard.csv")).unwrap();
    let short: Vec<&str> = table.lines().take(21).collect();
    fs::write(farm.file("yard.csv"), short.join("\n")).unwrap();
    for day in 22..=28 {
        tasks
            .work_off(&farm, &format!("2022-06-{day}T11:30:00Z"))
            .await;
        tasks
            .work_off(&farm, &format!("2022-06-{day}T13:05:00Z"))
            .await;
    }
    assert!(asked() < 2 + 7, "{}", asked());
    let told = tasks
        .workshop
        .store
        .read(|c| jobs::run(c, Job::Tell, june(28)))
        .await;
    assert_eq!(told.unwrap().unwrap().state, RunState::Done);
}

#[tokio::test]
async fn a_station_that_fails_for_three_days_is_told_the_operator_once_and_so_is_that_it_works() {
    let farm = TestFarm::new(FETCHING);
    let beside = farm.file("elsewhere.csv");
    let mut tasks = Tasks::new(farm.workshop());
    let mut told = Vec::new();
    for day in 20..=27 {
        match day {
            21 => fs::rename(farm.file("yard.csv"), &beside).unwrap(),
            26 => fs::rename(&beside, farm.file("yard.csv")).unwrap(),
            _ => {}
        }
        for hour in ["11:30", "11:40", "13:30"] {
            tasks
                .work_off(&farm, &format!("2022-06-{day}T{hour}:00Z"))
                .await;
        }
        let mails = fs::read_dir(farm.file("mail")).unwrap();
        let names = mails.map(|mail| mail.unwrap().file_name().into_string().unwrap());
        let operators = names.filter(|name| name.contains("operator"));
        told.push(operators.count());
    }
    // The third day is the 23rd, and it works on the 26th.
    assert_eq!(told, [0, 0, 0, 1, 1, 1, 2, 2]);
    let subjects = tasks.workshop.store.read(|c| {
        let mut found =
            c.prepare("SELECT subject FROM outbox WHERE kind = 'operator' ORDER BY place")?;
        let found = found.query_map([], |row| row.get(0))?;
        Ok::<_, StoreError>(found.collect::<Result<Vec<String>, _>>()?)
    });
    assert_eq!(
        subjects.await.unwrap(),
        [
            "Three times in a row: fetching Merced airport failed",
            "Again well: fetching Merced airport"
        ]
    );
}
