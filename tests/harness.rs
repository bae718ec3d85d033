//! A farm in a temporary folder, the program started in it, and what it left behind.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::OnceLock;

use duskflight::store::Store;
use mail_parser::MessageParser;
use rusqlite::Connection;
use tempfile::TempDir;

/// The program, ready to be given arguments: the one whose path is in `DUSKFLIGHT`, else the one that
/// was built beside these tests.
pub(crate) fn duskflight() -> Command {
    let beside = env!("CARGO_BIN_EXE_duskflight");
    let mut command = Command::new(std::env::var_os("DUSKFLIGHT").unwrap_or(beside.into()));
    for name in [
        "DUSKFLIGHT_CONFIG",
        "DUSKFLIGHT_LOG",
        "DUSKFLIGHT_SMTP_PASSWORD",
        "CREDENTIALS_DIRECTORY",
        "NOTIFY_SOCKET",
    ] {
        command.env_remove(name);
    }
    command
}

/// Runs the program to its end.
pub(crate) fn run(arguments: &[&str]) -> Output {
    duskflight()
        .args(arguments)
        .output()
        .expect("the program starts")
}

/// Runs the program, which must succeed, and gives what it printed.
pub(crate) fn printed(arguments: &[&str]) -> String {
    let output = run(arguments);
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{arguments:?}: {errors}");
    String::from_utf8(output.stdout).expect("text")
}

/// Runs the program, which must fail with `code`, and gives what it said.
pub(crate) fn refused(code: i32, arguments: &[&str]) -> String {
    let output = run(arguments);
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(code), "{arguments:?}: {errors}");
    errors
}

/// A farm with one block, four egg traps and a pheromone trap, on a station table of its own.
pub(crate) struct Farm {
    dir: TempDir,
}

/// Every day from 2010: 20 °F-days from April to September, else about 2. The extremes change from
/// day to day, as those of a thermometer that is alive.
pub(crate) fn table(up_to: &str) -> String {
    use chrono::Datelike;
    let first = chrono::NaiveDate::from_ymd_opt(2010, 1, 1).expect("a day");
    let last: chrono::NaiveDate = up_to.parse().expect("a day");
    let rows = first.iter_days().take_while(|day| *day <= last).map(|day| {
        let warm = (4..=9).contains(&day.month());
        let (low, high) = if warm { (65, 85) } else { (50, 60) };
        let unrest = day.ordinal() % 3;
        format!("{day},{},{}\n", low - unrest, high + unrest)
    });
    std::iter::once("date,low,high\n".to_owned())
        .chain(rows)
        .collect()
}

const MAIN: &str = r#"
insects = ["navel-orangeworm.toml"]

[farm]
name = "Test orchards"
timezone = "America/Los_Angeles"

[season]
from = "01-01"
to = "12-31"

[mail]
from = "duskflight@test.example"
folder = "mail"

[[person]]
id = "ada"
name = "Ada Vance"
role = "adviser"
email = "ada@test.example"
phone = "559-555-0101"

[[person]]
id = "gil"
name = "Gil Marrow"
role = "grower"
email = "gil@test.example"

[[station]]
id = "yard"
name = "Yard logger"
history_years = 12

[station.table]
source = "yard.csv"
date_column = "date"
min_column = "low"
max_column = "high"
unit = "f"

[[product]]
id = "meal"
part = "bait"
life_days = 28
source = "UC IPM almond guideline"

[[product]]
id = "lure"
part = "lure"
life_days = 42
source = "the maker's sheet"
"#;

const BLOCKS: &str = "\
id,name,grower,adviser,crop,regime,station,varieties,from,acres
home,Home block,gil,ada,almond,conventional,yard,Nonpareil,,
";

const TRAPS: &str = "\
id,block,kind,hung,place,bait,lure
e1,home,egg,2022-03-15,,meal,
e2,home,egg,2022-03-15,,meal,
e3,home,egg,2022-03-15,,meal,
e4,home,egg,2022-03-15,,meal,
p1,home,pheromone,2022-03-15,,,lure
";

/// Clean until 8 April; eggs on 12 and 15 April: the start is confirmed for 12 April.
pub(crate) const VISITS: &str = "\
date,trap,eggs,readable,serviced,note
2022-03-18,e1,0,,,
2022-03-18,e2,0,,,
2022-03-18,e3,0,,,
2022-03-18,e4,0,,,
2022-04-05,e1,0,,,
2022-04-05,e2,0,,,
2022-04-05,e3,0,,,
2022-04-05,e4,0,,,
2022-04-08,e1,0,,bait,
2022-04-08,e2,0,,bait,
2022-04-08,e3,0,,bait,
2022-04-08,e4,0,,bait,
2022-04-12,e1,3,,,
2022-04-12,e2,5,,,
2022-04-12,e3,2,,,
2022-04-12,e4,,no,bait,bait wet
2022-04-15,e1,4,,,
2022-04-15,e2,6,,,
2022-04-15,e3,9,,,
2022-04-15,e4,2,,,
";

/// [`VISITS`], and the same at the traps of growers who were added.
pub(crate) fn visits_also_of(growers: &[&str]) -> String {
    let theirs = growers
        .iter()
        .flat_map(|id| rows_of(VISITS).map(move |row| row.replace(",e", &format!(",{id}-e"))));
    VISITS.to_owned() + &theirs.collect::<String>()
}

/// The rows of a table below its heading, with their line ends.
fn rows_of(table: &str) -> impl Iterator<Item = &str> {
    table.split_inclusive('\n').skip(1)
}

impl Farm {
    /// Writes the farm; its station table ends on `newest`.
    pub(crate) fn new(newest: &str) -> Self {
        let farm = Self {
            dir: tempfile::tempdir().expect("a temporary folder"),
        };
        let insect =
            Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/insects/navel-orangeworm.toml");
        let insect = fs::read_to_string(insect).expect("the shipped insect model");
        // Growers hear of first hatch as well: a farm of one April has several things to tell them.
        let by_checks = insect
            .replace("rule = \"estimate\"", "rule = \"share-rising\"")
            .replace("\nhatch = true ", "\ngrowers = true\nhatch = true ");
        farm.write("navel-orangeworm.toml", &by_checks);
        farm.write("duskflight.toml", MAIN);
        farm.write("blocks.csv", BLOCKS);
        farm.write("traps.csv", TRAPS);
        farm.write("yard.csv", &table(newest));
        drop(Store::create(&farm.path("duskflight.sqlite")).expect("the records"));
        farm
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }

    pub(crate) fn config(&self) -> &str {
        self.dir.path().to_str().expect("a plain path")
    }

    pub(crate) fn write(&self, name: &str, text: &str) {
        fs::write(self.path(name), text).expect("a file can be written");
    }

    /// Replaces a piece of `duskflight.toml` that must be there.
    pub(crate) fn change(&self, piece: &str, by: &str) {
        let text = fs::read_to_string(self.path("duskflight.toml")).expect("the configuration");
        assert!(text.contains(piece), "{piece} is not in the configuration");
        self.write("duskflight.toml", &text.replace(piece, by));
    }

    /// Adds a grower with a block under the same adviser, and with traps as at `home`.
    pub(crate) fn add_grower(&self, id: &str) {
        let person = format!(
            "[[person]]\nid = \"{id}\"\nname = \"{id}\"\nrole = \"grower\"\n\
             email = \"{id}@test.example\"\n\n[[station]]"
        );
        self.change("[[station]]", &person);
        let block = rows_of(BLOCKS)
            .map(|row| row.replace("home,Home block,gil", &format!("{id}s,Block of {id},{id}")));
        self.append("blocks.csv", block);
        let traps =
            rows_of(TRAPS).map(|row| format!("{id}-{row}").replace(",home,", &format!(",{id}s,")));
        self.append("traps.csv", traps);
    }

    /// Adds a scout, who answers mails; what they walk the tables say.
    pub(crate) fn add_scout(&self) {
        self.change(
            "[[station]]",
            "[[person]]\nid = \"sam\"\nname = \"Sam Rowe\"\nrole = \"scout\"\nemail = \"sam@test.example\"\n\
             addresses = [\"sam.rowe@phone.example\"]\n\n[[station]]",
        );
        self.change("[season]", "[inbox]\n\n[season]");
    }

    fn append(&self, name: &str, rows: impl Iterator<Item = String>) {
        let table = fs::read_to_string(self.path(name)).expect("the table");
        self.write(name, &(table + &rows.collect::<String>()));
    }

    /// Sends the mails by SMTP, as this table says, instead of into the folder.
    pub(crate) fn route(&self, table: &str) {
        let (before, rest) = MAIN.split_once("folder = \"mail\"\n").expect("a folder");
        self.write(
            "duskflight.toml",
            &format!("{before}\n[mail.smtp]\n{table}{rest}"),
        );
    }

    /// Has its station ask a feed in place of the table.
    pub(crate) fn has_feed(&self, feed: &str) {
        let table = "[station.table]\nsource = \"yard.csv\"\ndate_column = \"date\"\nmin_column = \"low\"\n\
                     max_column = \"high\"\nunit = \"f\"\n";
        self.change(table, feed);
    }

    /// Imports visits, which must succeed, and gives what was printed.
    pub(crate) fn import(&self, name: &str, visits: &str) -> String {
        self.write(name, visits);
        let file = self.path(name);
        printed(&[
            "visits",
            "import",
            file.to_str().expect("a path"),
            "--config",
            self.config(),
        ])
    }

    /// Does one night's work.
    pub(crate) fn nightly(&self, day: &str) -> String {
        printed(&["nightly", "--config", self.config(), "--as-of", day])
    }

    /// Does one night's work, which must fail for now, and gives what it said.
    pub(crate) fn nightly_fails(&self, day: &str) -> String {
        refused(75, &["nightly", "--config", self.config(), "--as-of", day])
    }

    /// What the adviser's digest of a day says, in one line.
    pub(crate) fn digest(&self, day: &str) -> String {
        let mail = fs::read(self.path(&format!("mail/{day}-digest-ada.eml"))).expect("a digest");
        let mail = MessageParser::default().parse(&mail).expect("a mail");
        let text = mail.body_text(0).expect("a text part");
        text.split_whitespace().collect::<Vec<_>>().join(" ")
    }

    pub(crate) fn database(&self) -> Connection {
        Connection::open(self.path("duskflight.sqlite")).expect("the database")
    }

    /// The database as it stands, to be put back.
    pub(crate) fn saved_database(&self) -> Vec<u8> {
        let checkpoint = "PRAGMA wal_checkpoint(TRUNCATE)";
        assert_eq!(
            rows(&self.database(), checkpoint)[0][0],
            "0",
            "it is in use"
        );
        fs::read(self.path("duskflight.sqlite")).expect("the database")
    }

    /// Puts a database back to where it was, and the journal beside it, which learns of what was sent
    /// before from the database.
    pub(crate) fn restore_database(&self, saved: &[u8]) {
        for since in ["-wal", "-shm", ".told.jsonl"] {
            // Not all of them are always there.
            let _ = fs::remove_file(self.path(&format!("duskflight.sqlite{since}")));
        }
        // It would know what left the house since.
        let _ = fs::remove_file(self.path("duskflight.sqlite.told.jsonl"));
        fs::write(self.path("duskflight.sqlite"), saved).expect("the database");
    }

    /// Names of the mails delivered, sorted. A mail has its name once it is written whole.
    pub(crate) fn mails(&self) -> Vec<String> {
        let Ok(entries) = fs::read_dir(self.path("mail")) else {
            return Vec::new();
        };
        let mut names: Vec<String> = entries
            .map(|entry| entry.expect("an entry").file_name().into_string())
            .map(|name| name.expect("a plain name"))
            .filter(|name| name.ends_with(".eml"))
            .collect();
        names.sort();
        names
    }
}

/// The demo's season of 2022, played once by the real program for all tests that look at it.
pub(crate) fn played_demo() -> &'static Path {
    static DEMO: OnceLock<PathBuf> = OnceLock::new();
    DEMO.get_or_init(|| {
        let dir = Path::new(env!("CARGO_TARGET_TMPDIR")).join("demo-2022");
        // What an earlier run of the tests left behind.
        let _ = fs::remove_dir_all(&dir);
        printed(&["demo", "--dir", dir.to_str().expect("a path")]);
        dir
    })
}

/// Rows of a query, each column as text.
pub(crate) fn rows(database: &Connection, sql: &str) -> Vec<Vec<String>> {
    let mut statement = database.prepare(sql).expect("a query");
    let columns = statement.column_count();
    let rows = statement.query_map([], |row| {
        (0..columns)
            .map(|column| {
                let value: rusqlite::types::Value = row.get(column)?;
                Ok(match value {
                    rusqlite::types::Value::Null => String::new(),
                    rusqlite::types::Value::Integer(n) => n.to_string(),
                    rusqlite::types::Value::Real(n) => n.to_string(),
                    rusqlite::types::Value::Text(text) => text,
                    rusqlite::types::Value::Blob(bytes) => format!("{bytes:02x?}"),
                })
            })
            .collect()
    });
    rows.expect("rows").map(|row| row.expect("a row")).collect()
}

/// A farm whose start of 12 April was told on the 16th.
pub(crate) fn told_farm() -> Farm {
    let farm = Farm::new("2022-04-30");
    farm.import("round.csv", VISITS);
    farm.nightly("2022-04-16");
    farm
}
