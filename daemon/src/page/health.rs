//! How the work stands: stations, runs, outbox, clock, disk, configuration, and what comes next.

use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::Html;

use super::frame::Frame;
use super::framed::framed;
use super::guest::Guest;
use super::page_error::PageError;
use super::site::Site;
use crate::health::{Found, Line, WARNING, lines, local, next_digests, stale};
use crate::store::journal::JournalError;

#[derive(Template)]
#[template(path = "page/health.html")]
struct Page {
    frame: Frame,
    stale: Vec<String>,
    lines: Vec<Line>,
    next: Vec<String>,
}

/// `GET /health`
pub(super) async fn health(
    State(site): State<Arc<Site>>,
    guest: Guest,
) -> Result<Html<String>, PageError> {
    if !guest.looks().minds_the_work() {
        return Err(PageError::NotThere);
    }
    let (config, now) = (Arc::clone(&guest.view.config), site.clock.now());
    let for_reading = Arc::clone(&config);
    let found = guest
        .view
        .read(move |c| Ok(Found::read(c, &for_reading, now)))
        .await?;
    let found = found.map_err(|error| match error {
        JournalError::Store(error) => PageError::Store(error),
        error @ JournalError::File { .. } => PageError::Asked(error.to_string()),
    })?;
    let mut found = found;
    let sees_all = guest.sees_all();
    if !sees_all {
        found.leave_out_mails();
    }
    let next = next_digests(&config, now).map(|at| local(config.zone, at));
    let page = Page {
        stale: stale(&config, &found, now),
        lines: lines(&config, &found, now)
            .into_iter()
            .filter(|line| sees_all || line.what != WARNING)
            .collect(),
        next: next.collect(),
        frame: framed(&guest, "How the work stands", "/health"),
    };
    Ok(Html(page.render()?))
}
