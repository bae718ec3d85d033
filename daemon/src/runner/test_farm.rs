//! A small farm in a temporary folder for the tests of the runner, with a clock that they set.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use tempfile::TempDir;

use super::jobs::{Tools, Workshop};
use crate::clock::{Clock, SetClock};
use crate::config::Config;
use crate::feed::test_server::TestServer;
use crate::feed::{Caller, Client, Limits};
use crate::store::Store;

/// The minimal sample, with a table of its own in place of the feed.
pub(super) struct TestFarm {
    dir: TempDir,
    pub(super) clock: Arc<SetClock>,
}

/// The feed of the sample, and what stands in its place.
const NCEI: &str = "[station.ncei]\nstation = \"USW00023257\"";
const TABLE: &str = "[station.table]\nsource = \"yard.csv\"\ndate_column = \"date\"\n\
                     min_column = \"low\"\nmax_column = \"high\"\nunit = \"f\"";

/// An instant as RFC 3339 writes it.
pub(super) fn instant(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// A day of June 2022.
pub(super) fn june(day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
}

impl TestFarm {
    /// The farm with its clock set. Its digest is told at 6 in the morning, at 13 in UTC.
    pub(super) fn new(now: &str) -> Self {
        let dir = tempfile::tempdir().unwrap();
        let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config");
        for folder in ["minimal", "insects"] {
            fs::create_dir_all(dir.path().join(folder)).unwrap();
            for file in fs::read_dir(samples.join(folder)).unwrap() {
                let file = file.unwrap();
                fs::copy(file.path(), dir.path().join(folder).join(file.file_name())).unwrap();
            }
        }
        let clock = Arc::new(SetClock::at(instant(now)));
        let farm = Self { dir, clock };
        farm.change("duskflight.toml", NCEI, TABLE);
        let days = june(1).iter_days().take(29);
        let rows = days.map(|day| format!("{day},60,{}\n", 85 + day.day() % 3));
        let table = std::iter::once("date,low,high\n".to_owned()).chain(rows);
        fs::write(farm.file("yard.csv"), table.collect::<String>()).unwrap();
        farm
    }

    /// The farm whose station's table is at a server.
    pub(super) fn asking(now: &str, server: &TestServer) -> Self {
        let farm = Self::new(now);
        let url = format!("source = \"{}\"", server.url("/yard.csv").whole());
        farm.change("duskflight.toml", "source = \"yard.csv\"", &url);
        farm
    }

    /// A file of its configuration.
    pub(super) fn file(&self, name: &str) -> PathBuf {
        self.dir.path().join("minimal").join(name)
    }

    /// Replaces a text in a file of its configuration.
    pub(super) fn change(&self, name: &str, from: &str, to: &str) {
        let file = self.file(name);
        let text = fs::read_to_string(&file).unwrap();
        assert!(text.contains(from), "{from} is not in {name}");
        fs::write(file, text.replace(from, to)).unwrap();
    }

    pub(super) fn workshop(&self) -> Workshop {
        self.tools().open().unwrap()
    }

    /// What jobs work with, with records that are made where there are none.
    pub(super) fn tools(&self) -> Tools {
        let config = Config::read(&self.dir.path().join("minimal")).unwrap();
        drop(Store::create(&config.database).unwrap());
        Tools {
            client: Arc::new(Client::new(Limits::default(), Caller::default()).unwrap()),
            config: Arc::new(config),
            clock: Arc::clone(&self.clock) as Arc<dyn Clock>,
        }
    }
}
