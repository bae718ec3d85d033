//! Fetching all stations: a few hosts at once, each asked in turn.

mod fetched;
mod host;
mod means;
mod plan;
mod trial;

use std::collections::BTreeMap;
use std::panic;
use std::sync::Arc;

use tokio::sync::Semaphore;
use tokio::task::JoinSet;

use self::host::Host;
use self::means::Question;
use crate::config::Station;
use crate::store::StoreError;

pub use self::fetched::Fetched;
pub use self::means::Fetching;
pub(crate) use self::trial::try_station;

/// So many hosts are asked at once.
const HOSTS_AT_ONCE: usize = 4;

impl Fetching {
    /// Fetches stations up to the day before. A failure of one never holds up another and leaves the stored
    /// days as they are.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub async fn fetch_all(&self, stations: &[&Station]) -> Result<Fetched, StoreError> {
        let at_once = Arc::new(Semaphore::new(HOSTS_AT_ONCE));
        let mut hosts = JoinSet::new();
        for questions in by_host(stations) {
            let (fetching, at_once) = (self.clone(), Arc::clone(&at_once));
            hosts.spawn(async move {
                let _turn = at_once.acquire_owned().await;
                fetching.ask_in_turn(questions).await
            });
        }
        let mut parts = Vec::new();
        while let Some(ended) = hosts.join_next().await {
            match ended {
                Ok(part) => parts.extend(part?),
                Err(error) => panic::resume_unwind(error.into_panic()),
            }
        }
        parts.sort_by_key(|(place, _)| *place);
        let mut fetched = Fetched::default();
        for (_, part) in parts {
            fetched.take(part);
        }
        Ok(fetched)
    }

    /// Asks one host for one thing after another; gives what came of each, with its place among all.
    async fn ask_in_turn(
        &self,
        questions: Vec<(usize, Question)>,
    ) -> Result<Vec<(usize, Fetched)>, StoreError> {
        let mut host = Host::new(self);
        let mut parts = Vec::new();
        for (place, question) in questions {
            parts.push((place, host.ask(&question).await?));
        }
        Ok(parts)
    }
}

/// What stations want of each host, and of files, in the order of the stations.
fn by_host(stations: &[&Station]) -> Vec<Vec<(usize, Question)>> {
    let questions = stations.iter().copied().flat_map(|station| {
        let forecast = station.forecast.clone();
        let forecast = forecast.map(|source| Question::Forecast(station.clone(), source));
        [Some(Question::Days(station.clone())), forecast]
    });
    let mut hosts: BTreeMap<Option<String>, Vec<(usize, Question)>> = BTreeMap::new();
    for (place, question) in questions.flatten().enumerate() {
        let host = match &question {
            Question::Days(station) => station.source.host(),
            Question::Forecast(_, source) => source.host(),
        };
        hosts.entry(host).or_default().push((place, question));
    }
    hosts.into_values().collect()
}

#[cfg(test)]
mod bad_line;
#[cfg(test)]
mod tests;
