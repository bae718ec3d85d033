//! How the degree-days of a block add up, day by day.

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Html;
use chrono::NaiveDate;
use duskflight_core::id::BlockId;
use duskflight_core::season::{TallyDay, tally};
use duskflight_core::temperature::DegreeDays;
use duskflight_core::wording::{DayQuality, Words};
use serde::Deserialize;

use super::asked::day;
use super::day_rows::{Day, line, weather};
use super::frame::Frame;
use super::framed::framed;
use super::guest::Guest;
use super::page_error::PageError;

#[derive(Template)]
#[template(path = "page/days.html")]
struct Page {
    frame: Frame,
    /// Where one came from.
    back: String,
    back_words: String,
    /// What is added up, or listed.
    says: String,
    unit: &'static str,
    days: Vec<Day>,
}

/// Of which insect, the first where none is named, and as of which day.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Asked {
    insect: String,
    #[serde(rename = "as-of")]
    as_of: String,
}

impl Asked {
    fn as_of(&self) -> Result<Option<NaiveDate>, PageError> {
        day(&self.as_of)
    }
}

/// `GET /block/{id}/days`: newest day first.
pub(super) async fn of_block(
    guest: Guest,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Html<String>, PageError> {
    let id = BlockId::new(&id).map_err(|_| PageError::NotThere)?;
    let view = guest.block(&id, asked.as_of()?).await?;
    let mut seasons = view.seasons_of(&id);
    let season =
        seasons.find(|season| asked.insect.is_empty() || season.insect.as_str() == asked.insect);
    let season = season.ok_or(PageError::NotThere)?;
    let is_shown = season.start.status.is_shown_to_growers();
    if !guest.looks().advises_or_minds(&season.block) && !is_shown {
        return Err(PageError::NotThere);
    }
    let weather = weather(&guest, &season.block.station, view.day()).await?;
    let words = view.config.words;
    let quality = DayQuality {
        unit: season.unit,
        modelled: season.modelled,
        suspects: weather.suspects(),
    };
    let days = tally(season, &weather);
    let days = days.iter().rev();
    let page = Page {
        frame: framed(&guest, &format!("{}: degree-days", season.block.name), ""),
        back: format!("/block/{id}?as-of={}", view.day()),
        back_words: season.block.name.clone(),
        says: words.heat_evidence(season),
        unit: season.unit.symbol(),
        days: days.map(|day| of_tally(words, &quality, day)).collect(),
    };
    Ok(Html(page.render()?))
}

fn of_tally(words: Words, quality: &DayQuality<'_>, day: &TallyDay) -> Day {
    let sum = |sum: Option<DegreeDays>| {
        sum.map_or_else(
            || "–".to_owned(),
            |sum| format!("{:.2}", sum.in_unit(quality.unit)),
        )
    };
    Day {
        degree_days: sum(day.degree_days),
        total: sum(day.total),
        passed: day.passed.join(", "),
        ..line(words, quality, day.date, day.weather)
    }
}
