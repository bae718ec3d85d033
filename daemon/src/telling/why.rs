//! Why a told date changed: what was revised or entered since it was told.

use duskflight_core::notice::{Change, Notice, Words};
use duskflight_core::season::BlockSeason;
use rusqlite::Connection;

use super::Night;
use crate::config::Config;
use crate::store::{StoreError, days, visits};

/// The cause of a correction or withdrawal, as far as the records show one; `None` for other news.
pub(super) fn why(
    connection: &Connection,
    config: &Config,
    night: &Night,
    notice: &Notice,
) -> Result<Option<String>, StoreError> {
    let (Change::Corrected { told_on, .. } | Change::Withdrawn { told_on, .. }) = &notice.change
    else {
        return Ok(None);
    };
    let about = |season: &&BlockSeason| {
        season.block.id == notice.block && season.insect == notice.insect
    };
    let Some(season) = night.seasons.iter().find(about) else {
        return Ok(None);
    };
    let since = config.digest_instant(*told_on);
    let words = config.words;
    let mut causes = Vec::new();
    let revised = days::revised_since(connection, &season.block.station, since)?;
    if let (Some(first), Some(last)) = (revised.first(), revised.last()) {
        let stretch = words.stretch(*first, *last);
        causes.push(match revised.len() {
            1 => format!("the station's {stretch} was revised"),
            n => format!("{n} station days between {stretch} were revised"),
        });
    }
    let traps: Vec<&str> = night
        .orchard
        .egg_traps(&season.block.start_group)
        .map(|trap| trap.id.as_str())
        .collect();
    let late = visits::entered_late(connection, since, *told_on)?;
    let mut read_on: Vec<_> = late
        .into_iter()
        .filter(|(trap, ..)| traps.contains(&trap.as_str()))
        .map(|(_, day, _)| day)
        .collect();
    read_on.dedup();
    if !read_on.is_empty() {
        let days: Vec<String> = read_on.into_iter().map(|day| words.day(day)).collect();
        causes.push(format!("egg-trap readings of {} were entered late", days.join(", ")));
    }
    Ok((!causes.is_empty()).then(|| format!("since then {}", Words::and(&causes))))
}
