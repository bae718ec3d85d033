//! Seasons to look back on: for each grower and year a page to print.

use std::collections::BTreeSet;
use std::sync::Arc;

use askama::Template;
use axum::Extension;
use axum::extract::{Path, State};
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::response::{Html, IntoResponse};
use chrono::{Datelike, NaiveDate};
use duskflight_core::id::{BlockId, PersonId};

use super::frame::{Frame, Link};
use super::framed::framed;
use super::guest::Guest;
use super::page_error::PageError;
use super::site::Site;
use super::view::with_beside;
use super::visitor::{Looks, Visitor};
use crate::report::season;
use crate::telling::waiting::name;

/// It has its styles in it, so that it can be kept as a file; it runs nothing and asks nobody.
const BY_ITSELF: &str =
    "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'; base-uri 'none'";

#[derive(Template)]
#[template(path = "page/reports.html")]
struct Page {
    frame: Frame,
    growers: Vec<OfGrower>,
}

/// The seasons of one grower, newest first.
struct OfGrower {
    grower: String,
    years: Vec<Link>,
}

/// `GET /reports`
pub(super) async fn reports(
    State(site): State<Arc<Site>>,
    Extension(visitor): Extension<Visitor>,
) -> Result<Html<String>, PageError> {
    let guest = Guest::of(&site, visitor).await?;
    let seasons = guest.seasons();
    let growers: BTreeSet<&PersonId> = seasons.iter().map(|season| &season.block.grower).collect();
    let whole = growers
        .into_iter()
        .filter(|grower| own_blocks(&guest, grower, guest.view.day()).is_some());
    let of_grower = |grower: &PersonId| OfGrower {
        grower: name(&guest.view.config, grower).to_owned(),
        years: guest
            .view
            .years
            .iter()
            .rev()
            .filter(|year| last_day(&guest, **year).is_some())
            .map(|year| Link {
                to: format!("/report/{grower}/{year}"),
                words: year.to_string(),
                is_here: false,
            })
            .collect(),
    };
    let page = Page {
        growers: whole.map(of_grower).collect(),
        frame: framed(&guest, "Reports", "/reports"),
    };
    Ok(Html(page.render()?))
}

/// `GET /report/{grower}/{year}`
pub(super) async fn report(
    State(site): State<Arc<Site>>,
    Extension(visitor): Extension<Visitor>,
    Path((grower, year)): Path<(String, i32)>,
) -> Result<impl IntoResponse, PageError> {
    let guest = Guest::of(&site, visitor).await?;
    let grower = PersonId::new(&grower).map_err(|_| PageError::NotThere)?;
    let day = last_day(&guest, year).ok_or(PageError::NotThere)?;
    let own = own_blocks(&guest, &grower, day).ok_or(PageError::NotThere)?;
    let page = guest
        .view
        .work_out(move |c, config| {
            let about = config.about(&with_beside(&config.orchard_on(day), &own));
            season(c, &about, &grower, year, day)
        })
        .await?;
    let page = page.ok_or(PageError::NotThere)?;
    Ok(([(CONTENT_SECURITY_POLICY, BY_ITSELF)], Html(page)))
}

/// The blocks of a grower on a day; `None` where there is none, or one that is hidden: half of a grower's blocks would be
/// half a report.
fn own_blocks(guest: &Guest, grower: &PersonId, day: NaiveDate) -> Option<BTreeSet<BlockId>> {
    let orchard = guest.view.config.orchard_on(day);
    let looks = guest.looks();
    let mut blocks = orchard.blocks_of(grower).peekable();
    blocks.peek()?;
    blocks
        .map(|block| looks.sees(block).then(|| block.id.clone()))
        .collect()
}

/// The day as of which somebody sees the report of a year; `None` where the year is none they see: growers look back on
/// seasons that are over.
fn last_day(guest: &Guest, year: i32) -> Option<NaiveDate> {
    let today = guest.view.day();
    let last = NaiveDate::from_ymd_opt(year, 12, 31)?.min(today);
    let is_over = year < today.year() || (year == today.year() && is_after_season(guest, today));
    let minds = guest.looks().minds_the_work() || matches!(guest.looks(), Looks::AtAll);
    (year <= today.year() && (is_over || minds)).then_some(last)
}

fn is_after_season(guest: &Guest, day: NaiveDate) -> bool {
    let config = &guest.view.config;
    !config.in_season(day) && day.month() > config.season_to.month
}
