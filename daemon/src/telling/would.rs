//! What tomorrow's digest would say of the egg-laying starts of some blocks, if nothing more came in.

use std::collections::BTreeSet;

use chrono::{DateTime, NaiveDate, Utc};
use duskflight_core::contents::foretold;
use duskflight_core::id::BlockId;
use duskflight_core::ledger::plan::Pace;
use duskflight_core::ledger::{Event, MailKind, Notice};
use duskflight_core::season::BlockSeason;
use rusqlite::Connection;

use super::{Purpose, TellError, night, prepare};
use crate::config::Config;

/// In a sentence each; nothing off the season. The seasons of these blocks and of their start groups alone are
/// worked out.
///
/// # Errors
/// When the records cannot be read.
pub fn would_tell_of_starts(
    connection: &Connection,
    config: &Config,
    blocks: &BTreeSet<BlockId>,
    today: NaiveDate,
    now: DateTime<Utc>,
) -> Result<Vec<String>, TellError> {
    let Some(tomorrow) = today
        .succ_opt()
        .filter(|day| config.pace_on(*day) == Some(Pace::Daily))
    else {
        return Ok(Vec::new());
    };
    let about = config.about(blocks);
    let night = night(connection, &about, tomorrow)?;
    let tellings = prepare(connection, &about, &night, Purpose::Tell, now)?;
    let digests = tellings.iter().filter(|telling| {
        telling
            .draft
            .as_ref()
            .is_some_and(|draft| draft.mail.kind == MailKind::Digest)
    });
    let of_starts = |notice: &&Notice| {
        blocks.contains(&notice.block)
            && matches!(
                notice.event,
                Event::Start | Event::StartProvisional | Event::SecondCandidate
            )
    };
    let notices: Vec<Notice> = digests
        .flat_map(|telling| &telling.notices)
        .filter(of_starts)
        .cloned()
        .collect();
    let seasons: Vec<&BlockSeason> = night.seasons.iter().collect();
    let mut says = foretold(config.words, &seasons, &notices);
    says.dedup();
    Ok(says)
}
