//! The stations: how fresh each is, what stood in for it, what of it is not used.

use std::collections::BTreeMap;

use askama::Template;
use axum::response::Html;
use duskflight_core::id::StationId;
use duskflight_core::wording::StationView;

use super::frame::Frame;
use super::framed::framed;
use super::guest::Guest;
use super::page_error::PageError;
use crate::store::days;

#[derive(Template)]
#[template(path = "page/stations.html")]
struct Page {
    frame: Frame,
    stations: Vec<Station>,
}

struct Station {
    id: String,
    name: String,
    feed: &'static str,
    newest: String,
    blocks: usize,
    /// What is to be known of it.
    lines: Vec<String>,
    /// Why it could not be fetched last.
    failing: Option<String>,
}

/// `GET /stations`
pub(super) async fn stations(guest: Guest) -> Result<Html<String>, PageError> {
    let failing = guest.view.read(days::failing).await?;
    let mut blocks: BTreeMap<&StationId, usize> = BTreeMap::new();
    for season in guest.seasons() {
        *blocks.entry(&season.block.station).or_default() += 1;
    }
    let minds = guest.looks().minds_the_work();
    let all = guest.view.night.stations.iter();
    let stations = all.filter_map(|view| {
        let blocks = blocks.get(&view.station).copied();
        let blocks = blocks.or(minds.then_some(0))?;
        let failing = failing.get(view.station.as_str()).filter(|_| minds);
        Some(station(&guest, view, blocks, failing.cloned()))
    });
    let page = Page {
        stations: stations.collect(),
        frame: framed(&guest, "Stations", "/stations"),
    };
    Ok(Html(page.render()?))
}

fn station(guest: &Guest, view: &StationView, blocks: usize, failing: Option<String>) -> Station {
    let words = guest.view.config.words;
    let declared = guest.view.station(&view.station);
    Station {
        id: view.station.to_string(),
        name: view.name.clone(),
        feed: declared.map_or("", |station| station.source.name()),
        newest: match view.newest {
            None => "no complete day yet".to_owned(),
            Some(newest) => {
                let age = (guest.view.day() - newest).num_days();
                let age = if age <= 1 {
                    "yesterday".to_owned()
                } else {
                    format!("{age} days ago")
                };
                format!("{}, {age}", words.day(newest))
            }
        },
        blocks,
        lines: words.station_lines(view, guest.view.day()),
        failing,
    }
}
