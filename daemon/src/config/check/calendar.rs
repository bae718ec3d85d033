//! Everything of days and hours in `duskflight.toml`.

use chrono::{Datelike, NaiveDate, NaiveTime, Timelike, Weekday};
use chrono_tz::{TZ_VARIANTS, Tz};

use super::reader::Reader;
use crate::config::MonthDay;
use crate::config::file::MainFile;
use crate::nearest::suggestion;

pub(super) struct Calendar {
    pub(super) zone: Tz,
    pub(super) digest_time: NaiveTime,
    pub(super) season_from: MonthDay,
    pub(super) season_to: MonthDay,
    pub(super) off_season_day: Weekday,
}

/// Everything of days and hours.
pub(super) fn calendar(reader: &mut Reader<'_>, main: &MainFile) -> Option<Calendar> {
    let zone = main.farm.timezone.parse::<Tz>().ok();
    if zone.is_none() {
        let name = &main.farm.timezone;
        let near = suggestion(name, TZ_VARIANTS.iter().map(|zone| zone.name()));
        let what = format!(" = {name:?}: write a name such as America/Los_Angeles{near}");
        reader.at(&["farm", "timezone"], what);
    }
    let digest_time = reader.parsed(
        "telling.digest_time",
        &main.telling.digest_time,
        "HH:MM in the morning, such as 06:00",
        |text| {
            let time = NaiveTime::parse_from_str(text, "%H:%M").ok()?;
            (time.hour() < 12).then_some(time)
        },
    );
    let season_from = reader.parsed(
        "season.from",
        &main.season.from,
        "MM-DD, such as 03-01",
        month_day,
    );
    let season_to = reader.parsed(
        "season.to",
        &main.season.to,
        "MM-DD, such as 10-31",
        month_day,
    );
    let off_season_day = reader.weekday(&["season", "off_season_day"], &main.season.off_season_day);
    let calendar = Calendar {
        zone: zone?,
        digest_time: digest_time?,
        season_from: season_from?,
        season_to: season_to?,
        off_season_day: off_season_day?,
    };
    if calendar.season_to <= calendar.season_from {
        reader.at(
            &["season", "from"],
            ": it must lie before season.to in the same year",
        );
    }
    Some(calendar)
}

/// A month and day; 29 February is one.
fn month_day(text: &str) -> Option<MonthDay> {
    let day = NaiveDate::parse_from_str(&format!("2000-{text}"), "%Y-%m-%d").ok()?;
    Some(MonthDay {
        month: day.month(),
        day: day.day(),
    })
}
