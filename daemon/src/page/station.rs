//! A station: what served each day, what of it is not used and what was decided about that, and how another one differs.

use std::sync::Arc;

use askama::Template;
use axum::Extension;
use axum::extract::{Path, Query, State};
use axum::response::{Html, Redirect};
use chrono::NaiveDate;
use duskflight_core::id::StationId;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{Element, Offset, Suspect};
use duskflight_core::wording::{DayQuality, Words};
use serde::Deserialize;

use super::asked::{form, no_form};
use super::day_rows::{Day, dated, line, weather};
use super::door::FormProof;
use super::frame::{Frame, Link};
use super::framed::framed;
use super::guest::Guest;
use super::opened::Opened;
use super::page_error::PageError;
use super::site::Site;
use super::visitor::Looks;
use crate::config::Station;
use crate::records::{BY_PAGE, JudgeError, Judged, Judgement};
use crate::store::StoreError;
use crate::store::decisions::{self, Decided};
use crate::telling::Stations;

/// So many of the newest days are listed.
const DAYS_LISTED: usize = 120;

#[derive(Template)]
#[template(path = "page/station.html")]
struct Page {
    frame: Frame,
    id: String,
    proof: String,
    may_decide: bool,
    /// Whether who decides has to be written down: nobody signed in.
    asks_who: bool,
    unit: &'static str,
    suspects: Vec<NotUsed>,
    decided: Vec<InForce>,
    days: Vec<Day>,
    others: Vec<Link>,
    beside: Option<Beside>,
}

/// A value that was received and is not used.
struct NotUsed {
    date: NaiveDate,
    day: String,
    element: &'static str,
    which: &'static str,
    value: String,
    why: String,
}

/// A decision.
struct InForce {
    date: NaiveDate,
    day: String,
    element: &'static str,
    which: &'static str,
    value: String,
    how: String,
}

/// How far another station lies above this one.
struct Beside {
    name: String,
    months: Vec<(String, [String; 2])>,
}

/// Another station to set beside it.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(super) struct Asked {
    beside: String,
}

/// What is to be decided.
#[derive(Debug, Deserialize)]
pub(super) struct ToDecide {
    date: String,
    element: String,
    act: String,
    #[serde(default)]
    value: String,
    #[serde(default)]
    why: String,
    #[serde(default)]
    by: String,
}

/// `GET /station/{id}`
pub(super) async fn station(
    guest: Guest,
    Extension(FormProof(proof)): Extension<FormProof>,
    Path(id): Path<String>,
    Query(asked): Query<Asked>,
) -> Result<Html<String>, PageError> {
    let station = declared(&guest, &id)?;
    let config = &guest.view.config;
    let (words, today) = (config.words, guest.view.day());
    let weather = weather(&guest, &station.id, today).await?;
    let unit = unit(&guest);
    let quality = DayQuality {
        unit,
        modelled: station.facts.modelled,
        suspects: weather.suspects(),
    };
    let of = station.id.to_string();
    let decided = guest
        .view
        .read(move |c| decisions::before(c, today))
        .await?;
    let decided = decided.iter().filter(|decided| decided.station == of);
    let dated = dated(&weather);
    let newest = dated.iter().rev().take(DAYS_LISTED);
    let of_year = weather.suspects().iter().rev();
    let of_year = of_year.filter(|suspect| (today - suspect.date).num_days() <= 366);
    let beside = match asked.beside.is_empty() {
        true => None,
        false => Some(beside(&guest, station, declared(&guest, &asked.beside)?).await?),
    };
    let others = config
        .stations
        .iter()
        .filter(|other| other.id != station.id);
    let page = Page {
        frame: framed(&guest, &station.name, ""),
        id: station.id.to_string(),
        proof,
        may_decide: guest.looks().decides(),
        asks_who: matches!(guest.looks(), Looks::AtAll),
        unit: unit.symbol(),
        suspects: of_year
            .map(|suspect| not_used(words, unit, suspect))
            .collect(),
        decided: decided.map(|decided| in_force(words, decided)).collect(),
        days: newest
            .map(|(date, day)| line(words, &quality, *date, *day))
            .collect(),
        others: others
            .filter(|other| guest.sees_station(&other.id))
            .map(|other| Link {
                to: format!("/station/{}?beside={}", station.id, other.id),
                words: other.name.clone(),
                is_here: other.id.as_str() == asked.beside,
            })
            .collect(),
        beside,
    };
    Ok(Html(page.render()?))
}

/// `POST /station/{id}`: confirms a temperature, corrects it, or takes back what was decided.
pub(super) async fn decide(
    State(site): State<Arc<Site>>,
    guest: Guest,
    Extension(opened): Extension<Opened>,
    Path(id): Path<String>,
    body: String,
) -> Result<Redirect, PageError> {
    let station = declared(&guest, &id)?.clone();
    if !guest.looks().decides() {
        return Err(PageError::NotThere);
    }
    let to_do: ToDecide = form(&body)?;
    let date: NaiveDate = to_do.date.parse().map_err(|_| no_form())?;
    let element = Element::from_name(&to_do.element).ok_or_else(no_form)?;
    let judgement = judgement(&to_do, unit(&guest))?;
    let by = match guest.looks() {
        Looks::As(person) => person.id.to_string(),
        Looks::AtAll | Looks::Nobody => to_do.by.trim().to_owned(),
    };
    let config = Arc::clone(&opened.config);
    let done = opened.store.write_at(&site.clock, move |t, now| {
        let judged = Judged {
            station: &station,
            date,
            element,
            by,
            via: BY_PAGE,
        };
        match judgement {
            Some(judgement) => judged
                .decide(t, &config, &judgement, &to_do.why, now)
                .map(drop),
            None => judged.take_back(t, now),
        }
    });
    done.await.map_err(|error| match error {
        JudgeError::Refused(why) => PageError::Asked(format!("Nothing was decided: {why}.")),
        JudgeError::Store(error) => PageError::Store(error),
    })?;
    Ok(Redirect::to(&format!("/station/{id}")))
}

/// What is decided; nothing where a decision is taken back.
fn judgement(to_do: &ToDecide, unit: Unit) -> Result<Option<Judgement>, PageError> {
    let no_number = || {
        PageError::Asked(format!(
            "{:?} is no temperature; write a number.",
            to_do.value
        ))
    };
    match to_do.act.as_str() {
        "confirm" => Ok(Some(Judgement::Confirmed)),
        "take-back" => Ok(None),
        _ => {
            let value = to_do.value.trim().replace(',', ".");
            let value = value.parse().map_err(|_| no_number())?;
            Ok(Some(Judgement::Corrected(value, unit)))
        }
    }
}

fn declared<'a>(guest: &'a Guest, id: &str) -> Result<&'a Station, PageError> {
    let id = StationId::new(id).map_err(|_| PageError::NotThere)?;
    let station = guest.view.station(&id).filter(|_| guest.sees_station(&id));
    station.ok_or(PageError::NotThere)
}

fn unit(guest: &Guest) -> Unit {
    guest.view.config.unit.unwrap_or(Unit::Fahrenheit)
}

fn not_used(words: Words, unit: Unit, suspect: &Suspect) -> NotUsed {
    NotUsed {
        date: suspect.date,
        day: words.long_day(suspect.date),
        element: suspect.element.name(),
        which: suspect.element.words(),
        value: format!("{:.1} {}", suspect.value.in_unit(unit), unit.symbol()),
        why: suspect.why.words().to_owned(),
    }
}

fn in_force(words: Words, decided: &Decided) -> InForce {
    let how = if decided.corrected {
        "corrected"
    } else {
        "confirmed"
    };
    InForce {
        date: decided.date,
        day: words.long_day(decided.date),
        element: decided.element.name(),
        which: decided.element.words(),
        value: format!("{:.1} {}", decided.value, decided.unit.symbol()),
        how: format!("{how} by {}: {}", decided.by, decided.why),
    }
}

/// How far another station lies above one, month by month, in the mean of the days that both have.
async fn beside(guest: &Guest, one: &Station, other: &Station) -> Result<Beside, PageError> {
    let (day, stations) = (guest.view.day(), [one.clone(), other.clone()]);
    let records = guest
        .view
        .work_out(move |c, config| {
            let all = Stations::read(c, config, day)?;
            let [one, other] = &stations;
            Ok::<_, StoreError>((all.own_record(one)?, all.own_record(other)?))
        })
        .await?;
    let unit = unit(guest);
    let cell = |offset: Option<Offset>| {
        offset.map_or("–".to_owned(), |offset| {
            format!(
                "{:+.1} ({} days)",
                unit.difference(offset.mean_f),
                offset.days
            )
        })
    };
    let months = match records {
        (Some(one), Some(other)) => {
            let offsets = one.offsets_of(&other);
            let of_month = |month| {
                let first = NaiveDate::from_ymd_opt(2001, month, 1).unwrap_or(day);
                let cells = Element::ALL.map(|element| cell(offsets.of(element, month)));
                (first.format("%B").to_string(), cells)
            };
            let all = Element::ALL.map(|element| cell(offsets.of_year(element)));
            (1..=12)
                .map(of_month)
                .chain([("all days".to_owned(), all)])
                .collect()
        }
        _ => Vec::new(),
    };
    Ok(Beside {
        name: other.name.clone(),
        months,
    })
}
