//! How the daemon stands, in one line for whoever looks after the service.

use std::fmt::Write as _;

use rusqlite::Connection;

use crate::config::Config;
use crate::one_line::{one_line, shortened};
use crate::store::jobs::{self, Job, RunState};
use crate::store::{StoreError, outbox_report};

/// A server's answer may be long; the first words say what it is about.
const LONGEST: usize = 300;

/// The last day that was told, then what is wrong.
pub(super) fn standing(connection: &Connection, config: &Config) -> Result<String, StoreError> {
    let mut line = match jobs::newest(connection, Job::Tell, true)? {
        Some(told) => format!("told last for {}", told.day),
        None => "nothing told yet".to_owned(),
    };
    // Writing to a string cannot fail.
    if let Some(trouble) = outbox_report::trouble(connection)? {
        let _ = write!(line, "; no mail goes out: {}", trouble.error);
    }
    for job in Job::ALL {
        let newest = jobs::newest(connection, job, false)?;
        if let Some(failed) = newest.filter(|run| run.state == RunState::Failed) {
            let error = failed.error.unwrap_or_default();
            let _ = write!(line, "; {} failed: {error}", job.name());
        }
    }
    if let Some(trouble) = &config.trouble {
        let _ = write!(line, "; {trouble}");
    }
    Ok(shortened(&one_line(&line), LONGEST))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::runner::test_farm::{TestFarm, instant, june};

    #[tokio::test]
    async fn it_names_the_last_day_told_and_what_is_wrong_on_one_line() {
        const NOW: &str = "2022-06-20T13:00:00Z";
        let farm = TestFarm::new(NOW);
        let workshop = farm.workshop();
        let mut config = Config::clone(&workshop.config);
        let (store, now) = (&workshop.store, instant(NOW));
        let fresh = config.clone();
        let line = store.read(move |c| standing(c, &fresh)).await.unwrap();
        assert_eq!(line, "nothing told yet");

        config.trouble = Some("the configuration\nis wrong".to_owned());
        let noted: Result<(), StoreError> = store
            .write(move |t| {
                for (day, error) in [(june(19), None), (june(20), Some("no room"))] {
                    jobs::begin(t, Job::Tell, day, now)?;
                    jobs::finish(t, Job::Tell, day, now, error)?;
                }
                Ok(())
            })
            .await;
        noted.unwrap();
        let line = store.read(move |c| standing(c, &config)).await.unwrap();
        assert_eq!(
            line,
            "told last for 2022-06-19; tell failed: no room; the configuration is wrong"
        );
    }
}
