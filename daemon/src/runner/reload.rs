//! The configuration folder while the daemon runs: looked at between jobs, taken over when it changed.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::SystemTime;

use chrono::{DateTime, Utc};

use super::jobs::Workshop;
use crate::config::{Config, ConfigError, Problem};
use crate::feed::{Client, Limits};

/// What the files of a configuration look like from outside: bytes, and when each was changed. A file that
/// is not there has no look.
type Look = BTreeMap<PathBuf, Option<(u64, SystemTime)>>;

/// The files of the configuration in force, as they looked when it was read.
#[derive(Debug)]
pub(super) struct Watch {
    seen: Look,
}

impl Watch {
    pub(super) fn new(config: &Config) -> Self {
        Self { seen: look(config) }
    }

    /// The workshop with what is declared now, where any file changed. A configuration that cannot be used
    /// never stops the daemon: the one in force goes on, and says in every digest that it does.
    pub(super) fn taken_over(
        &mut self,
        workshop: &Workshop,
        now: DateTime<Utc>,
    ) -> Option<Workshop> {
        let in_force = &workshop.config;
        let seen = look(in_force);
        if seen == self.seen {
            return None;
        }
        self.seen = seen;
        let taken_over = match declared(in_force) {
            Ok((config, client)) => {
                tracing::info!(farm = config.farm, "changed configuration taken over");
                self.seen = look(&config);
                Workshop {
                    store: workshop.store.clone(),
                    config: Arc::new(config),
                    client: Arc::new(client),
                }
            }
            Err(why) => {
                tracing::warn!(why, "the changed configuration is not taken over");
                let mut kept = Config::clone(in_force);
                kept.trouble = Some(trouble(in_force, &why, now));
                Workshop {
                    config: Arc::new(kept),
                    ..workshop.clone()
                }
            }
        };
        Some(taken_over)
    }
}

fn look(config: &Config) -> Look {
    let files = config.files.iter();
    files
        .map(|file| {
            let data = std::fs::metadata(file).ok();
            let look = data.and_then(|data| Some((data.len(), data.modified().ok()?)));
            (file.clone(), look)
        })
        .collect()
}

/// What the folder declares now, or why it cannot be used.
fn declared(in_force: &Config) -> Result<(Config, Client), String> {
    let config = Config::read(&in_force.dir).map_err(|error| first(&error))?;
    if let Some(problem) = config.unsendable() {
        return Err(brief(problem));
    }
    if config.database != in_force.database {
        return Err("it names another database; restart the daemon to use that".to_owned());
    }
    let client = Client::new(Limits::default(), config.operator.as_deref());
    Ok((config, client.map_err(|error| error.to_string())?))
}

/// The first of the problems, and how many there are.
fn first(error: &ConfigError) -> String {
    let first = error.problems.first().map(brief).unwrap_or_default();
    match error.problems.len() {
        0 | 1 => first,
        all => format!("{first} (and {} more)", all - 1),
    }
}

/// A problem with its file's name alone: a mail needs no folders.
fn brief(problem: &Problem) -> String {
    let file = problem.file.file_name().unwrap_or_default();
    let line = problem.line.map(|line| format!(", line {line}"));
    let line = line.unwrap_or_default();
    format!("{}{line}: {}", file.to_string_lossy(), problem.what)
}

/// In one line for people: why the changed configuration is not in force.
fn trouble(in_force: &Config, why: &str, now: DateTime<Utc>) -> String {
    let since = in_force.moment_words(now);
    format!(
        "the configuration was changed and cannot be used, seen {since}; the one before goes on: {why}"
    )
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::Path;

    use super::*;
    use crate::clock::Clock;
    use crate::store::Store;

    const NOW: &str = "2022-06-20T13:00:00Z";

    /// A workshop over a copy of the minimal sample.
    fn workshop(dir: &Path) -> Workshop {
        let samples = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config");
        for folder in ["minimal", "insects"] {
            fs::create_dir_all(dir.join(folder)).unwrap();
            for file in fs::read_dir(samples.join(folder)).unwrap() {
                let file = file.unwrap();
                fs::copy(file.path(), dir.join(folder).join(file.file_name())).unwrap();
            }
        }
        let config = Config::read(&dir.join("minimal")).unwrap();
        Workshop {
            store: Store::open(&dir.join("records.sqlite")).unwrap(),
            client: Arc::new(Client::new(Limits::default(), None).unwrap()),
            config: Arc::new(config),
        }
    }

    fn change(file: &Path, from: &str, to: &str) {
        let text = fs::read_to_string(file).unwrap();
        assert!(text.contains(from), "{from} is not in {}", file.display());
        fs::write(file, text.replace(from, to)).unwrap();
    }

    #[test]
    fn a_change_is_taken_over_and_a_fault_leaves_the_one_in_force_and_says_so() {
        let dir = tempfile::tempdir().unwrap();
        let start = workshop(dir.path());
        let main = dir.path().join("minimal/duskflight.toml");
        let now = crate::clock::SystemClock.now();
        let mut watch = Watch::new(&start.config);
        assert!(watch.taken_over(&start, now).is_none());

        let name = format!("name = {:?}", start.config.farm);
        change(&main, &name, "name = \"Renamed orchards\"");
        let renamed = watch.taken_over(&start, now).unwrap();
        assert_eq!(renamed.config.farm, "Renamed orchards");
        assert_eq!(renamed.config.trouble, None);
        assert!(watch.taken_over(&renamed, now).is_none());

        change(
            &main,
            "timezone = \"America/Los_Angeles\"",
            "timezone = \"America/Los_Angles\"",
        );
        let at = DateTime::parse_from_rfc3339(NOW).unwrap().to_utc();
        let kept = watch.taken_over(&renamed, at).unwrap();
        assert_eq!(kept.config.zone, start.config.zone);
        let trouble = kept.config.trouble.clone().unwrap();
        assert!(trouble.contains("June 20, 2022, 06:00 PDT"), "{trouble}");
        let where_and_what = "duskflight.toml, line 7: farm.timezone = \"America/Los_Angles\"";
        assert!(trouble.contains(where_and_what), "{trouble}");
        // It is said once, not at every look.
        assert!(watch.taken_over(&kept, at).is_none());

        change(
            &main,
            "timezone = \"America/Los_Angles\"",
            "timezone = \"America/Phoenix\"",
        );
        let mended = watch.taken_over(&kept, at).unwrap();
        assert_eq!(mended.config.zone, chrono_tz::America::Phoenix);
        assert_eq!(mended.config.trouble, None);
    }

    #[test]
    fn an_insect_file_is_watched_too() {
        let dir = tempfile::tempdir().unwrap();
        let start = workshop(dir.path());
        let mut watch = Watch::new(&start.config);
        let model = dir.path().join("insects/navel-orangeworm.toml");
        fs::write(&model, "nothing of use").unwrap();
        let kept = watch.taken_over(&start, crate::clock::SystemClock.now());
        assert!(kept.unwrap().config.trouble.is_some());
    }
}
