//! What is found at which address.

use std::sync::Arc;

use axum::Router;
use axum::http::header::{CACHE_CONTROL, CONTENT_TYPE};
use axum::response::IntoResponse;
use axum::routing::{get, post};

use super::page_error::PageError;
use super::site::Site;
use super::{block, days, farm, health, mails, reports, round, station, stations};
use crate::chart;

const SHEET: &str = include_str!("../../templates/page/page.css");
const SCRIPT: &str = include_str!("../../templates/page/keep.js");
const MOTH: &str = include_str!("../../templates/page/moth.svg");

/// All pages. Who looks stands in each request, put there by the door.
pub(super) fn pages(site: Arc<Site>) -> Router {
    Router::new()
        .route("/", get(farm::farm))
        .route("/block/{id}", get(block::block))
        .route("/block/{id}/days", get(days::of_block))
        .route("/stations", get(stations::stations))
        .route("/station/{id}", get(station::station).post(station::decide))
        .route("/mails", get(mails::mails).post(mails::act))
        .route("/mails/tomorrow", get(mails::tomorrow))
        .route("/mail/{id}", get(mails::mail))
        .route("/mail/{id}/body", get(mails::body))
        .route("/reports", get(reports::reports))
        .route("/report/{grower}/{year}", get(reports::report))
        .route("/health", get(health::health))
        .route("/round", get(round::round).post(round::enter))
        .route("/round/take-back", post(round::take_back))
        .fallback(|| async { PageError::NotThere })
        .with_state(site)
}

/// What surrounds pages and holds nothing of the farm: anybody may have it.
pub(super) fn trimmings() -> Router {
    Router::new()
        .route("/page.css", get(sheet))
        .route("/moth.svg", get(moth))
        .route("/keep.js", get(script))
}

async fn sheet() -> impl IntoResponse {
    let kept = [
        (CONTENT_TYPE, "text/css; charset=utf-8"),
        (CACHE_CONTROL, "max-age=300"),
    ];
    (kept, format!("{SHEET}{}", chart::CSS))
}

async fn script() -> impl IntoResponse {
    let kept = [
        (CONTENT_TYPE, "text/javascript; charset=utf-8"),
        (CACHE_CONTROL, "max-age=300"),
    ];
    (kept, SCRIPT)
}

async fn moth() -> impl IntoResponse {
    let kept = [
        (CONTENT_TYPE, "image/svg+xml"),
        (CACHE_CONTROL, "max-age=86400"),
    ];
    (kept, MOTH)
}
