//! Rounds: a route's traps in walking order as a form, and what became of what was typed there.

mod enter;
mod sheet;
mod typed;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use askama::Template;
use axum::Extension;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use chrono::NaiveDate;
use duskflight_core::contents::{RoundSheet, round_sheets};
use duskflight_core::id::{PersonId, TrapId};
use duskflight_core::orchard::{Block, Trap};
use duskflight_core::season::BlockSeason;
use duskflight_core::trapping::DueState;
use duskflight_core::wording::language::{Language, Speech};
use duskflight_core::wording::plural;
use serde::{Deserialize, Serialize};

use super::door::FormProof;
use super::frame::{Choice, Frame, Link};
use super::guest::{AtWork, Guest};
use super::opened::Opened;
use super::page_error::PageError;
use super::site::Site;
use super::visitor::Looks;
use crate::config::Person;
use crate::page::framed::framed;
use crate::store::{answers, page_forms};
use enter::{Became, Outcome};
use sheet::{FormStop, beside_the_sheet, stops};
use typed::Typed;

/// What falls due within so many days more is on a round, too.
const AHEAD_DAYS: u64 = 2;

/// Which round, and what was stored before.
#[derive(Debug, Default, Clone, Deserialize, Serialize)]
#[serde(default)]
pub(super) struct Asked {
    /// The route; empty for the traps without one.
    #[serde(skip_serializing_if = "Option::is_none")]
    route: Option<String>,
    /// The form whose entries were stored.
    #[serde(skip_serializing_if = "Option::is_none")]
    stored: Option<String>,
    /// How many were taken back.
    #[serde(skip_serializing_if = "Option::is_none")]
    taken_back: Option<usize>,
}

#[derive(Template)]
#[template(path = "page/rounds.html")]
struct List {
    frame: Frame,
    rounds: Vec<Link>,
}

#[derive(Template)]
#[template(path = "page/round.html")]
struct Page<'a> {
    frame: Frame,
    /// Where it is sent, and where what was entered is taken back.
    action: String,
    take_back: String,
    title: String,
    proof: String,
    /// Marks what is sent with this form, so that it is stored once however often it arrives.
    form: String,
    /// Under which a phone keeps what is typed: whose it is, and of which route.
    kept_as: String,
    day: NaiveDate,
    newest: NaiveDate,
    by: Vec<Choice>,
    sheet: &'a RoundSheet,
    bring: Vec<String>,
    stops: Vec<FormStop>,
    became: Option<Said>,
}

/// What became of what was sent.
struct Said {
    stored: String,
    wrong: usize,
    /// The form whose entries can be taken back.
    can_be_taken_back: Option<String>,
}

/// `GET /round`: all rounds, or one with its form.
pub(super) async fn round(
    AtWork(guest): AtWork,
    Extension(FormProof(proof)): Extension<FormProof>,
    Query(asked): Query<Asked>,
) -> Result<Html<String>, PageError> {
    let sheets = sheets(&guest)?;
    let Some(route) = &asked.route else {
        return list(&guest, &sheets);
    };
    let sheet = of_route(&sheets, route)?;
    let stored = match &asked.stored {
        Some(form) => Some(stored(&guest, form).await?),
        None => None,
    };
    let taken_back = asked.taken_back.map(|count| Said {
        stored: format!("{} taken back.", plural(count, "reading")),
        wrong: 0,
        can_be_taken_back: None,
    });
    let typed = Typed::fresh(guest.view.day());
    page(&guest, sheet, &proof, &typed, &[], stored.or(taken_back))
}

/// `POST /round`: enters what was typed.
pub(super) async fn enter(
    State(site): State<Arc<Site>>,
    AtWork(guest): AtWork,
    Extension(FormProof(proof)): Extension<FormProof>,
    Extension(opened): Extension<Opened>,
    Query(asked): Query<Asked>,
    body: String,
) -> Result<Response, PageError> {
    let sheets = sheets(&guest)?;
    let route = asked.route.clone().unwrap_or_default();
    let sheet = of_route(&sheets, &route)?;
    let typed = Typed::read(&body, guest.view.day())?;
    let person = who_enters(&guest, &typed)?;
    let own = own_traps(&guest).into_keys().cloned().collect();
    let outcome = enter::enter(&site, &opened, person, own, typed.clone()).await?;
    if outcome.is_all_stored() {
        let stored = Asked {
            route: Some(route),
            stored: Some(outcome.form),
            taken_back: None,
        };
        return Ok(Redirect::to(&address(&stored)).into_response());
    }
    let said = said(&outcome);
    let page = page(&guest, sheet, &proof, &typed, &outcome.rows, Some(said))?;
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// `POST /round/take-back`: takes back all that one form entered.
pub(super) async fn take_back(
    State(site): State<Arc<Site>>,
    AtWork(guest): AtWork,
    Extension(opened): Extension<Opened>,
    Query(asked): Query<Asked>,
    body: String,
) -> Result<Redirect, PageError> {
    let typed = Typed::read(&body, guest.view.day())?;
    let count = enter::take_back(&site, &opened, guest.person(), typed.form).await?;
    let back = Asked {
        route: asked.route,
        stored: None,
        taken_back: Some(count),
    };
    Ok(Redirect::to(&address(&back)))
}

/// Where the round of a route is entered.
pub(super) fn address_of(route: &str) -> String {
    address(&Asked {
        route: Some(route.to_owned()),
        ..Asked::default()
    })
}

fn address(asked: &Asked) -> String {
    format!("/round?{}", query(asked))
}

/// What stands behind an address.
fn query(asked: &Asked) -> String {
    serde_urlencoded::to_string(asked).expect("texts and numbers can be written there")
}

/// The traps of all blocks that somebody may enter readings of: whether one is due says nothing of whether it was read.
fn own_traps(guest: &Guest) -> BTreeMap<&TrapId, (&Trap, &Block)> {
    let (looks, orchard) = (guest.looks(), &guest.view.night.orchard);
    let blocks = orchard.blocks().iter();
    let own = blocks.filter(|block| looks.enters(block));
    own.flat_map(|block| orchard.traps_of(&block.id).map(move |trap| (trap, block)))
        .map(|(trap, block)| (&trap.id, (trap, block)))
        .collect()
}

/// The rounds of all blocks that somebody may enter readings of.
fn sheets(guest: &Guest) -> Result<Vec<RoundSheet>, PageError> {
    let looks = guest.looks();
    let seasons = guest.seasons();
    let own: Vec<&BlockSeason> = seasons
        .into_iter()
        .filter(|season| looks.enters(&season.block))
        .collect();
    if own.is_empty() {
        return Err(PageError::NotThere);
    }
    let speech = Speech::of(Language::English, guest.view.config.words);
    Ok(round_sheets(
        speech,
        &guest.view.night.orchard,
        &own,
        AHEAD_DAYS,
    ))
}

fn of_route<'a>(sheets: &'a [RoundSheet], route: &str) -> Result<&'a RoundSheet, PageError> {
    let mut sheets = sheets.iter();
    let found = sheets.find(|sheet| sheet.route.as_deref().unwrap_or_default() == route);
    found.ok_or(PageError::NotThere)
}

fn list(guest: &Guest, sheets: &[RoundSheet]) -> Result<Html<String>, PageError> {
    let overdue = overdue(guest);
    let link = |sheet: &RoundSheet| {
        let stops = plural(sheet.stops.len(), "trap");
        Link {
            to: address_of(sheet.route.as_deref().unwrap_or_default()),
            words: format!(
                "{}: {stops} due by {}{}",
                title(sheet),
                due_by(guest),
                late(&overdue, sheet)
            ),
            is_here: false,
        }
    };
    let page = List {
        rounds: sheets.iter().map(link).collect(),
        frame: framed(guest, "Rounds", "/round"),
    };
    Ok(Html(page.render()?))
}

/// The traps whose reading is late.
fn overdue(guest: &Guest) -> BTreeSet<&TrapId> {
    let seasons = guest.seasons().into_iter();
    seasons
        .flat_map(|season| {
            let readings = season.work.readings.iter();
            readings.filter(|reading| season.reading_state(reading) == DueState::Overdue)
        })
        .map(|reading| &reading.trap)
        .collect()
}

/// How many of a round's traps are late.
fn late(overdue: &BTreeSet<&TrapId>, sheet: &RoundSheet) -> String {
    let late = sheet
        .stops
        .iter()
        .filter(|stop| overdue.contains(&stop.trap));
    match late.count() {
        0 => String::new(),
        late => format!(", {late} late"),
    }
}

fn due_by(guest: &Guest) -> String {
    let last = guest.view.day() + chrono::Days::new(AHEAD_DAYS);
    guest.view.config.words.day(last)
}

fn title(sheet: &RoundSheet) -> String {
    sheet.speech.route(sheet.route.as_deref())
}

fn page(
    guest: &Guest,
    sheet: &RoundSheet,
    proof: &str,
    typed: &Typed,
    rows: &[Became],
    became: Option<Said>,
) -> Result<Html<String>, PageError> {
    let bring = sheet.bring.iter();
    let route = sheet.route.clone().unwrap_or_default();
    let query = query(&Asked {
        route: Some(route.clone()),
        ..Asked::default()
    });
    let who = guest.person().map_or_else(String::new, |id| id.to_string());
    let page = Page {
        frame: framed(guest, &title(sheet), "/round"),
        kept_as: format!("{who} {route}"),
        action: format!("/round?{query}"),
        take_back: format!("/round/take-back?{query}"),
        title: title(sheet),
        proof: proof.to_owned(),
        form: typed::new_form()?,
        day: typed.day,
        newest: guest.view.day(),
        by: by(guest, typed),
        sheet,
        bring: bring
            .map(|supply| {
                format!(
                    "{} × {} ({})",
                    supply.count,
                    supply.product,
                    supply.part.words()
                )
            })
            .collect(),
        stops: stops(sheet, typed, rows)
            .into_iter()
            .chain(beside(guest, sheet, typed, rows))
            .collect(),
        became,
    };
    Ok(Html(page.render()?))
}

/// What was not stored of traps that are not on the sheet.
fn beside(guest: &Guest, sheet: &RoundSheet, typed: &Typed, rows: &[Became]) -> Vec<FormStop> {
    let own = own_traps(guest);
    let is_on_it = |trap: &TrapId| sheet.stops.iter().any(|stop| stop.trap == *trap);
    let open = rows.iter().filter(|row| !row.is_stored());
    let beside = open.filter(|row| !is_on_it(&row.trap));
    beside
        .filter_map(|row| {
            let typed = typed.traps.get(&row.trap)?;
            Some(beside_the_sheet(row, typed, own.get(&row.trap).copied()))
        })
        .collect()
}

/// The people of whom one enters where nobody signs in; nobody has to be chosen else.
fn by(guest: &Guest, typed: &Typed) -> Vec<Choice> {
    match guest.looks() {
        Looks::AtAll => {
            let people = guest.view.config.people.iter();
            let who_reads = people.filter(|person| may_enter(guest, person));
            let choice = |person: &Person| Choice {
                value: person.id.to_string(),
                words: person.name.clone(),
                is_chosen: person.id.as_str() == typed.by,
            };
            who_reads.map(choice).collect()
        }
        Looks::As(_) | Looks::Nobody => Vec::new(),
    }
}

fn may_enter(guest: &Guest, person: &Person) -> bool {
    Looks::As(person).may_enter(&guest.view.night.orchard)
}

/// Who enters: whoever signed in, or who was chosen.
fn who_enters(guest: &Guest, typed: &Typed) -> Result<PersonId, PageError> {
    match guest.looks() {
        Looks::As(person) => Ok(person.id.clone()),
        Looks::AtAll => {
            let person = PersonId::new(&typed.by).ok();
            let person = person.and_then(|id| guest.view.config.person(&id));
            let person = person.filter(|person| may_enter(guest, person));
            person.map(|person| person.id.clone()).ok_or_else(|| {
                PageError::Asked(
                    "Choose who read the traps, so that the records keep it.".to_owned(),
                )
            })
        }
        Looks::Nobody => Err(PageError::NotThere),
    }
}

/// What a form stored that stands now.
async fn stored(guest: &Guest, form: &str) -> Result<Said, PageError> {
    let id = form.to_owned();
    let (by, visits) = guest
        .view
        .read(move |c| Ok((page_forms::person_of(c, &id)?, answers::visits_of(c, &id)?)))
        .await?;
    let is_own = by.is_some() && guest.person().is_none_or(|person| by == Some(person));
    Ok(Said {
        stored: format!("{} stored.", plural(visits.len(), "reading")),
        wrong: 0,
        can_be_taken_back: (is_own && !visits.is_empty()).then(|| form.to_owned()),
    })
}

fn said(outcome: &Outcome) -> Said {
    let stored = outcome.rows.iter().filter(|row| row.is_stored()).count();
    Said {
        stored: format!("{} stored.", plural(stored, "reading")),
        wrong: outcome.rows.len() - stored,
        can_be_taken_back: (stored > 0).then(|| outcome.form.clone()),
    }
}
