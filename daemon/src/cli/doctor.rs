//! `duskflight doctor`: one page for a report of a fault, without a secret.

use std::env::consts::{ARCH, OS};
use std::fmt::Write as _;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use clap::Args;

use super::Failure;
use super::common::{ConfigDir, print};
use crate::clock::{Clock, SystemClock};
use crate::config::{BLOCKS_FILE, Config, MAIN_FILE, TRAPS_FILE};
use crate::error_chain::error_chain;
use crate::health::{outbox_words, run_words, trouble_words};
use crate::one_line::one_line;
use crate::store::inspect::inspect;
use crate::store::jobs::{self, Job};
use crate::store::{Store, StoreError, days, disk_space, outbox_report, place};
use duskflight_core::wording::plural;

/// Print one page to paste into a report of a fault: version, files, checks, last runs, queue
///
/// It changes nothing and shows no password, no key and no mail address.
#[derive(Debug, Args)]
pub(super) struct Doctor {
    #[command(flatten)]
    config: ConfigDir,
}

impl Doctor {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let now = SystemClock.now();
        let mut page = format!("duskflight {} on {OS} {ARCH}\n", env!("CARGO_PKG_VERSION"));
        line(&mut page, "clock", &now.format("%Y-%m-%d %H:%M:%S UTC"));
        for name in [MAIN_FILE, BLOCKS_FILE, TRAPS_FILE] {
            line(
                &mut page,
                "file",
                &file_words(&self.config.path().join(name)),
            );
        }
        match self.config.read() {
            Ok(config) => of_farm(&mut page, &config).await,
            Err(Failure { cause, .. }) => line(&mut page, "configuration", &format!("{cause:#}")),
        }
        print(&page)
    }
}

fn line(page: &mut String, what: &str, words: &impl std::fmt::Display) {
    // Writing to a string cannot fail.
    let _ = writeln!(page, "{what}: {words}");
}

async fn of_farm(page: &mut String, config: &Config) {
    line(page, "zone", &config.zone);
    line(page, "configuration", &"no errors");
    for warning in &config.warnings {
        line(page, "configuration: warning", &warning.what);
    }
    let orchard = config.orchard_on(config.day_of(SystemClock.now()));
    let (blocks, stations) = (orchard.blocks().len(), config.stations.len());
    let people = config.people.len();
    let (stations, blocks) = (plural(stations, "station"), plural(blocks, "block"));
    let declared = format!("{stations}, {blocks}, {people} people");
    line(page, "declared", &declared);
    for file in beside(&config.database) {
        line(page, "database", &file_words(&file));
    }
    for threat in place::threats(&config.database) {
        line(page, "database: warning", &threat);
    }
    match inspect(&config.database) {
        Ok(facts) => {
            let damage = facts.damage.as_deref().unwrap_or("none");
            let words = format!("schema {}, damage: {}", facts.schema, one_line(damage));
            line(page, "database", &words);
        }
        Err(error) => return line(page, "database", &error_chain(&error)),
    }
    if let Some(mb) = disk_space::free_mb(&config.database) {
        line(page, "disk", &format!("{mb} MB free"));
    }
    match records(config).await {
        Ok(lines) => lines
            .iter()
            .for_each(|(what, words)| line(page, what, words)),
        Err(error) => line(page, "records", &error_chain(&error)),
    }
}

/// What the records say.
async fn records(config: &Config) -> Result<Vec<(String, String)>, StoreError> {
    let stations = config.stations.iter().map(|station| station.id.clone());
    let stations: Vec<_> = stations.collect();
    let store = Store::open_to_read(&config.database)?;
    let (runs, of_stations, outbox) = store
        .read(move |c| {
            let mut runs = Vec::new();
            for job in Job::ALL {
                runs.extend(jobs::newest(c, job, false)?.map(|run| (job, run)));
            }
            let failing = days::failing(c)?;
            let mut of_stations = Vec::new();
            for id in stations {
                let newest = days::newest_complete(c, &id)?;
                let failing = failing.get(id.as_str()).cloned();
                of_stations.push((id, newest, failing));
            }
            Ok::<_, StoreError>((runs, of_stations, outbox_report::standing(c)?))
        })
        .await?;
    let mut lines = Vec::new();
    for (job, run) in runs {
        lines.push((job.name().to_owned(), run_words(config, &run)));
    }
    for (id, newest, failing) in of_stations {
        let newest = newest.map_or_else(|| "none".to_owned(), |day| day.to_string());
        let failing =
            failing.map_or_else(String::new, |error| format!("; last fetch failed: {error}"));
        lines.push((
            format!("station {id}"),
            format!("newest complete day {newest}{failing}"),
        ));
    }
    let now = SystemClock.now();
    lines.push(("outbox".to_owned(), outbox_words(config.zone, &outbox, now)));
    let trouble = trouble_words(config.zone, &outbox).into_iter();
    lines.extend(trouble.map(|words| ("outbox".to_owned(), words)));
    Ok(lines)
}

/// The database and what lies beside it under its name.
fn beside(database: &Path) -> Vec<PathBuf> {
    let name = database
        .file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    let folder = fs::read_dir(database.parent().unwrap_or(Path::new(".")))
        .into_iter()
        .flatten();
    let files = folder.flatten().map(|entry| entry.path());
    let is_ours = |file: &PathBuf| {
        let found = file.file_name().unwrap_or_default().to_string_lossy();
        found.starts_with(&name)
    };
    let mut files: Vec<PathBuf> = files.filter(is_ours).collect();
    files.sort();
    files
}

/// A file's path, mode and size.
fn file_words(path: &Path) -> String {
    let shown = path.display();
    match fs::metadata(path) {
        Ok(found) => format!(
            "{shown}, mode {:04o}, {} bytes",
            found.permissions().mode() & 0o7777,
            found.len()
        ),
        Err(error) => format!("{shown}, {error}"),
    }
}
