//! Seasons to look back on: for each grower and year a page to print.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use axum::extract::Path;
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::response::{Html, IntoResponse};
use chrono::{Datelike, NaiveDate};
use duskflight_core::id::{BlockId, PersonId};
use duskflight_core::orchard::Orchard;

use super::frame::{Frame, Link};
use super::framed::framed;
use super::guest::Guest;
use super::page_error::PageError;
use super::view::with_beside;
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
pub(super) async fn reports(guest: Guest) -> Result<Html<String>, PageError> {
    let years = guest.view.years.iter().rev();
    let of_years = years.filter_map(|year| {
        let orchard = guest.view.config.orchard_on(last_day(&guest, *year)?);
        Some((*year, orchard))
    });
    let mut links: BTreeMap<&PersonId, Vec<Link>> = BTreeMap::new();
    for (year, orchard) in of_years {
        let growers: BTreeSet<&PersonId> = guest
            .view
            .config
            .people
            .iter()
            .map(|person| &person.id)
            .filter(|grower| own_blocks(&guest, grower, &orchard).is_some())
            .collect();
        for grower in growers {
            links.entry(grower).or_default().push(Link {
                to: format!("/report/{grower}/{year}"),
                words: year.to_string(),
                is_here: false,
            });
        }
    }
    let of_grower = |(grower, years): (&PersonId, Vec<Link>)| OfGrower {
        grower: name(&guest.view.config, grower).to_owned(),
        years,
    };
    let page = Page {
        growers: links.into_iter().map(of_grower).collect(),
        frame: framed(&guest, "Reports", "/reports"),
    };
    Ok(Html(page.render()?))
}

/// `GET /report/{grower}/{year}`
pub(super) async fn report(
    guest: Guest,
    Path((grower, year)): Path<(String, i32)>,
) -> Result<impl IntoResponse, PageError> {
    let grower = PersonId::new(&grower).map_err(|_| PageError::NotThere)?;
    let day = last_day(&guest, year).ok_or(PageError::NotThere)?;
    let orchard = guest.view.config.orchard_on(day);
    let own = own_blocks(&guest, &grower, &orchard).ok_or(PageError::NotThere)?;
    let page = guest
        .view
        .work_out(move |c, config| {
            let about = config.about(&with_beside(&orchard, &own));
            season(c, &about, &grower, year, day)
        })
        .await?;
    let page = page.ok_or(PageError::NotThere)?;
    Ok(([(CONTENT_SECURITY_POLICY, BY_ITSELF)], Html(page)))
}

/// The blocks of a grower in an orchard; `None` where there is none, or one that is hidden: half of a grower's blocks would be
/// half a report.
fn own_blocks(guest: &Guest, grower: &PersonId, orchard: &Orchard) -> Option<BTreeSet<BlockId>> {
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
    (year <= today.year() && (is_over || guest.looks().minds_the_work())).then_some(last)
}

fn is_after_season(guest: &Guest, day: NaiveDate) -> bool {
    let config = &guest.view.config;
    !config.in_season(day) && day.month() > config.season_to.month
}
