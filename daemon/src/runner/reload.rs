//! The configuration folder while the daemon runs: looked at between jobs, taken over when it changed.

use std::path::Path;
use std::sync::Arc;

use chrono::{DateTime, Utc};

use super::jobs::Workshop;
use crate::config::{Config, ConfigError, Looks, Problem, look};
use crate::error_chain::error_chain;
use crate::feed::{Client, Limits};

/// The files of the configuration that was read last, as they looked before they were read: one that was
/// saved meanwhile shows at the next look.
#[derive(Debug)]
pub(super) struct Watch {
    seen: Looks,
}

impl Watch {
    pub(super) fn new(config: &Config) -> Self {
        Self {
            seen: config.files.clone(),
        }
    }

    /// The workshop with what is declared now, where any file changed. A configuration that cannot be used
    /// never stops the daemon: the one in force goes on, and says in every digest that it does.
    pub(super) fn taken_over(
        &mut self,
        workshop: &Workshop,
        now: DateTime<Utc>,
    ) -> Option<Workshop> {
        self.taken_over_by(workshop, now, Config::read_watched)
    }

    fn taken_over_by(
        &mut self,
        workshop: &Workshop,
        now: DateTime<Utc>,
        read: impl FnOnce(&Path) -> (Result<Config, ConfigError>, Looks),
    ) -> Option<Workshop> {
        let in_force = &workshop.config;
        if self.seen.iter().all(|(file, seen)| look(file) == *seen) {
            return None;
        }
        let (config, files) = read(&in_force.dir);
        self.seen = files;
        let taken_over = match usable(config, in_force) {
            Ok((config, client)) => {
                tracing::info!(farm = config.farm, "changed configuration taken over");
                if config.page != in_force.page {
                    tracing::warn!("[page] was changed: what it says counts from the next start");
                }
                Workshop {
                    config: Arc::new(config),
                    client: Arc::new(client.hearing(Arc::clone(workshop.client.heard()))),
                    ..workshop.clone()
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

/// A configuration that may follow the one in force, or why it may not.
fn usable(
    read: Result<Config, ConfigError>,
    in_force: &Config,
) -> Result<(Config, Client), String> {
    let config = read.map_err(|error| first(&error))?;
    if let Some(problem) = config.unsendable() {
        return Err(brief(problem));
    }
    if config.database != in_force.database {
        return Err("it names another database; restart the daemon to use that".to_owned());
    }
    let client = Client::new(Limits::default(), config.caller());
    Ok((config, client.map_err(|error| error_chain(&error))?))
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

    use super::*;
    use crate::runner::test_farm::{TestFarm, instant};

    const NOW: &str = "2022-06-20T13:00:00Z";
    const MAIN: &str = "duskflight.toml";

    #[test]
    fn a_change_is_taken_over_and_a_fault_leaves_the_one_in_force_and_says_so() {
        let farm = TestFarm::new(NOW);
        let (start, now) = (farm.workshop(), instant(NOW));
        let mut watch = Watch::new(&start.config);
        assert!(watch.taken_over(&start, now).is_none());

        let name = format!("name = {:?}", start.config.farm);
        farm.change(MAIN, &name, "name = \"Renamed orchards\"");
        let renamed = watch.taken_over(&start, now).unwrap();
        assert_eq!(renamed.config.farm, "Renamed orchards");
        assert_eq!(renamed.config.trouble, None);
        assert!(watch.taken_over(&renamed, now).is_none());

        farm.change(MAIN, "America/Los_Angeles", "America/Los_Angles");
        let kept = watch.taken_over(&renamed, now).unwrap();
        assert_eq!(kept.config.zone, start.config.zone);
        let trouble = kept.config.trouble.clone().unwrap();
        assert!(trouble.contains("June 20, 2022, 06:00 PDT"), "{trouble}");
        let where_and_what = "duskflight.toml, line 7: farm.timezone = \"America/Los_Angles\"";
        assert!(trouble.contains(where_and_what), "{trouble}");
        // It is said once, not at every look.
        assert!(watch.taken_over(&kept, now).is_none());

        farm.change(MAIN, "America/Los_Angles", "America/Phoenix");
        let mended = watch.taken_over(&kept, now).unwrap();
        assert_eq!(mended.config.zone, chrono_tz::America::Phoenix);
        assert_eq!(mended.config.trouble, None);
    }

    #[test]
    fn an_insect_file_is_watched_too() {
        let farm = TestFarm::new(NOW);
        let start = farm.workshop();
        let mut watch = Watch::new(&start.config);
        let model = farm.file("../insects/navel-orangeworm.toml");
        fs::write(&model, "nothing of use").unwrap();
        let kept = watch.taken_over(&start, instant(NOW));
        assert!(kept.unwrap().config.trouble.is_some());
    }

    #[test]
    fn what_is_saved_while_the_configuration_is_read_is_seen_at_the_next_look() {
        let farm = TestFarm::new(NOW);
        let (start, now) = (farm.workshop(), instant(NOW));
        // Also between the reading at the start and the first look.
        farm.change(MAIN, "Example orchards", "First orchards");
        let mut watch = Watch::new(&start.config);
        let save_meanwhile = |dir: &Path| {
            let read = Config::read_watched(dir);
            farm.change(MAIN, "First orchards", "Second orchards");
            read
        };
        let first = watch.taken_over_by(&start, now, save_meanwhile).unwrap();
        assert_eq!(first.config.farm, "First orchards");
        let second = watch.taken_over(&first, now).unwrap();
        assert_eq!(second.config.farm, "Second orchards");
        assert!(watch.taken_over(&second, now).is_none());
    }

    #[test]
    fn a_file_that_only_a_faulty_configuration_names_is_watched_until_it_is_mended() {
        let farm = TestFarm::new(NOW);
        let (start, now) = (farm.workshop(), instant(NOW));
        let mut watch = Watch::new(&start.config);
        let model = farm.file("other.toml");
        fs::write(&model, "nothing of use").unwrap();
        farm.change(MAIN, "../insects/navel-orangeworm.toml", "other.toml");
        let kept = watch.taken_over(&start, now).unwrap();
        assert!(kept.config.trouble.is_some());
        fs::write(&model, crate::config::NAVEL_ORANGEWORM).unwrap();
        let mended = watch.taken_over(&kept, now).unwrap();
        assert_eq!(mended.config.trouble, None);
    }
}
