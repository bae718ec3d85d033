//! A block: each answer with what it rests on, charts, and the tables behind them, on any day of the season.

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, Query};
use axum::response::Html;
use chrono::{Datelike, NaiveDate};
use duskflight_core::contents::{BlockPage, Chart, block_page, catch_chart, heat_chart};
use duskflight_core::id::{BlockId, TrapId};
use duskflight_core::ledger::MailState;
use duskflight_core::season::BlockSeason;
use duskflight_core::trapping::Visits;
use duskflight_core::wording::Words;

use super::asked::{AsOf, as_of_query};
use super::frame::{Frame, Link};
use super::framed::framed;
use super::guest::Guest;
use super::page_error::PageError;
use super::round;
use super::view::FarmView;
use super::visitor::Looks;
use crate::chart;
use crate::store::{told, visits};
use crate::telling::waiting::name;

#[derive(Template)]
#[template(path = "page/block.html")]
struct Page<'a> {
    frame: Frame,
    block: &'a BlockId,
    /// The newest day that can be looked at, and the one that is.
    newest: NaiveDate,
    day: NaiveDate,
    day_words: String,
    /// What keeps looking from that day.
    as_of: String,
    words: Words,
    seasons: Vec<OfInsect<'a>>,
    told: Vec<Telling>,
    /// The rounds on which its traps are, for who enters them.
    rounds: Vec<Link>,
}

/// The season of one insect.
struct OfInsect<'a> {
    season: &'a BlockSeason,
    station: &'a str,
    grower: &'a str,
    adviser: &'a str,
    page: BlockPage,
    heat: Option<String>,
    catches: Option<String>,
}

struct Telling {
    day: String,
    person: String,
    what: String,
    value: String,
    how: String,
}

/// `GET /block/{id}`
pub(super) async fn block(
    guest: Guest,
    Path(id): Path<String>,
    Query(as_of): Query<AsOf>,
) -> Result<Html<String>, PageError> {
    let id = BlockId::new(&id).map_err(|_| PageError::NotThere)?;
    let asked = as_of.day()?;
    let view = guest.block(&id, asked).await?;
    let visits = visits_of(&view, &id).await?;
    let seasons: Vec<OfInsect<'_>> = view
        .seasons_of(&id)
        .map(|season| of_insect(&guest, &view, season, &visits))
        .collect();
    let first = seasons.first().ok_or(PageError::NotThere)?.season;
    let told = told_of(&guest, &view, first).await?;
    let rounds = match guest.looks().enters(&first.block) {
        true => rounds(first),
        false => Vec::new(),
    };
    let page = Page {
        frame: framed(&guest, &first.block.name, ""),
        block: &first.block.id,
        newest: guest.view.day(),
        day: view.day(),
        day_words: view.config.words.long_day(view.day()),
        as_of: as_of_query(asked),
        words: view.config.words,
        told,
        rounds,
        seasons,
    };
    Ok(Html(page.render()?))
}

fn rounds(season: &BlockSeason) -> Vec<Link> {
    let readings = season.work.readings.iter();
    let routes: BTreeSet<&str> = readings.map(|reading| reading.route.as_str()).collect();
    let link = |route: &str| Link {
        to: round::address_of(route),
        words: match route {
            "" => "the traps without a route".to_owned(),
            route => route.to_owned(),
        },
        is_here: false,
    };
    routes.into_iter().map(link).collect()
}

/// The visits of the block's traps, and of those that its start rests on.
async fn visits_of(view: &FarmView, block: &BlockId) -> Result<Visits, PageError> {
    let orchard = &view.night.orchard;
    let own = orchard.traps_of(block);
    let groups = view
        .seasons_of(block)
        .map(|season| &season.block.start_group);
    let lent = groups.flat_map(|group| orchard.egg_traps(group));
    let mut traps: Vec<TrapId> = own.chain(lent).map(|trap| trap.id.clone()).collect();
    traps.sort();
    traps.dedup();
    let day = view.day();
    let visits = view
        .read(move |c| {
            let traps: Vec<&TrapId> = traps.iter().collect();
            visits::of_traps_up_to(c, &traps, day)
        })
        .await?;
    Ok(Visits::new(visits))
}

fn of_insect<'a>(
    guest: &Guest,
    view: &'a FarmView,
    season: &'a BlockSeason,
    visits: &Visits,
) -> OfInsect<'a> {
    let (config, orchard) = (&view.config, &view.night.orchard);
    let words = config.words;
    let all = guest.looks().advises_or_minds(&season.block);
    let heat = view
        .night
        .heat_of(season)
        .filter(|_| all || season.start.status.is_shown_to_growers());
    let heat = heat.and_then(|heat| heat_chart(words, season, heat));
    let catches = catch_chart(words, season, orchard, visits);
    let station = view.station(&season.block.station);
    OfInsect {
        season,
        station: station.map_or(season.block.station.as_str(), |station| &station.name),
        grower: name(config, &season.block.grower),
        adviser: name(config, &season.block.adviser),
        page: block_page(words, season, orchard, visits, all),
        heat: heat.map(|heat| chart::svg(&Chart::Heat(heat))),
        catches: catches.map(|catches| chart::svg(&Chart::Catch(catches))),
    }
}

/// What people were told; growers see what they were told themselves, once it has left.
async fn told_of(
    guest: &Guest,
    view: &FarmView,
    season: &BlockSeason,
) -> Result<Vec<Telling>, PageError> {
    let (block, year, day) = (season.block.id.clone(), season.year, view.day());
    let told = view
        .read(move |c| told::of_block(c, year, &block, day))
        .await?;
    let config = &view.config;
    let looks = guest.looks();
    let all = looks.advises_or_minds(&season.block);
    let is_shown = |telling: &told::OfBlock| {
        let own = matches!(looks, Looks::As(person) if person.id == telling.person);
        all || (own && telling.has_left())
    };
    let what = |telling: &told::OfBlock| {
        let mut of_block = view.seasons_of(&season.block.id);
        let of = of_block.find(|of| of.insect == telling.insect);
        config.words.event(&telling.event, of.unwrap_or(season))
    };
    let shown = told.iter().filter(|telling| is_shown(telling));
    let shown = shown.map(|telling| Telling {
        day: config.words.day(telling.day),
        person: name(config, &telling.person).to_owned(),
        what: what(telling),
        value: telling
            .value
            .map_or_else(String::new, |value| config.words.value(value)),
        how: match telling.mail {
            None | Some(MailState::Sent) => telling.change.clone(),
            Some(state) => format!("{}, {}", telling.change, fate(state)),
        },
    });
    Ok(shown.collect())
}

/// What became of the mail of a telling.
const fn fate(state: MailState) -> &'static str {
    match state {
        MailState::Queued => "not sent yet",
        MailState::Sent => "sent",
        MailState::Failed | MailState::Expired => "not delivered",
        MailState::Folded => "told by a later mail",
        MailState::Unknown => "sent, and nobody knows whether it arrived",
    }
}
