//! Why a told date changed: what was revised or entered since it was told.

use chrono::NaiveDate;
use duskflight_core::notice::{Change, Event, Notice, Words};
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
    let about =
        |season: &&BlockSeason| season.block.id == notice.block && season.insect == notice.insect;
    let Some(season) = night.seasons.iter().find(about) else {
        return Ok(None);
    };
    let told_at = config.digest_instant(*told_on);
    let entered = told_at..config.digest_instant(night.as_of);
    let words = config.words;
    let mut causes = Vec::new();
    if !matches!(notice.event, Event::StartProvisional | Event::Start) {
        let revised = days::revised(connection, &season.block.station, entered.clone())?;
        if let (Some(first), Some(last)) = (revised.first(), revised.last()) {
            let stretch = words.stretch(*first, *last);
            causes.push(match revised.len() {
                1 => format!("the station's {stretch} was revised"),
                n => format!("{n} station days between {stretch} were revised"),
            });
        }
    }
    let group = &season.block.start_group;
    let traps: Vec<&str> = night
        .orchard
        .egg_traps(group)
        .map(|trap| trap.id.as_str())
        .collect();
    let mut read_on: Vec<NaiveDate> = visits::entered_late(connection, entered, *told_on)?
        .into_iter()
        .filter(|(trap, _)| traps.contains(&trap.as_str()))
        .map(|(_, day)| day)
        .collect();
    read_on.dedup();
    if !read_on.is_empty() {
        let days: Vec<String> = read_on.into_iter().map(|day| words.day(day)).collect();
        causes.push(format!(
            "egg-trap readings of {} were entered late",
            Words::listed(&days)
        ));
    }
    Ok((!causes.is_empty()).then(|| format!("since then {}", Words::listed(&causes))))
}
