//! The list of mails: alerts that wait and what an adviser does to them, what went out, who hears what.

use std::sync::Arc;

use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::response::{Html, Redirect};
use duskflight_core::ledger::Role;
use serde::Deserialize;

use super::whose::{Listed, listed, of};

use crate::mail::contents::What;
use crate::page::asked::form;
use crate::page::door::{FormProof, Protected};
use crate::page::frame::Frame;
use crate::page::framed::framed;
use crate::page::guest::Guest;
use crate::page::opened::Opened;
use crate::page::page_error::PageError;
use crate::page::site::Site;
use crate::page::visitor::Looks;
use crate::store::alerts::WaitingAlert;
use crate::store::mails_shown;
use crate::telling::in_hand::{Deed, checked_line, is_about, tried};
use crate::telling::people;
use crate::telling::waiting::{WaitingAlerts, added_lines, name};

/// So many of the newest mails are listed.
const MAILS_LISTED: u32 = 80;

#[derive(Template)]
#[template(path = "page/mails.html")]
struct Page {
    frame: Frame,
    proof: String,
    /// Whether alerts can be held and released by whoever looks, and why not.
    may_act: bool,
    why_not: &'static str,
    waiting: Vec<Waiting>,
    minds: bool,
    mails: Vec<Listed>,
    people: Vec<(String, String)>,
}

/// An alert that waits.
struct Waiting {
    id: String,
    to: String,
    subject: String,
    leaves: String,
    /// Lines that were added.
    lines: Vec<String>,
    is_held: bool,
    is_tried: bool,
}

/// What is to be done to an alert.
#[derive(Debug, Deserialize)]
pub(in crate::page) struct ToDo {
    mail: String,
    act: String,
    #[serde(default)]
    line: String,
}

/// `GET /mails`
pub(in crate::page) async fn mails(
    State(site): State<Arc<Site>>,
    guest: Guest,
    Extension(FormProof(proof)): Extension<FormProof>,
    Extension(Protected(is_protected)): Extension<Protected>,
) -> Result<Html<String>, PageError> {
    let config = &guest.view.config;
    let of = of(&guest)?;
    let (waiting, newest) = guest
        .view
        .read(move |c| {
            let newest = mails_shown::newest(c, &of, MAILS_LISTED)?;
            Ok((WaitingAlerts::read(c)?, newest))
        })
        .await?;
    let minds = guest.looks().minds_the_work();
    let own = |alert: &WaitingAlert| is_shown(guest.looks(), alert);
    let shown = waiting.iter().filter(|(_, alert)| own(alert));
    let now = site.clock.now();
    let page = Page {
        proof,
        may_act: guest.looks().decides() && is_protected,
        why_not: match is_protected {
            true => "",
            false => "Alerts are held and released over https, or on the machine itself.",
        },
        waiting: shown
            .map(|(_, alert)| Waiting {
                id: bare(&alert.mail.message_id).to_owned(),
                to: name(config, &alert.mail.person).to_owned(),
                subject: alert.subject.clone(),
                leaves: waiting.leaves(config, alert, now),
                lines: added_lines(alert),
                is_held: alert.mail.is_held(),
                is_tried: tried(alert).is_some(),
            })
            .collect(),
        minds,
        mails: newest.iter().map(|mail| listed(&guest, mail)).collect(),
        people: who_hears(&guest),
        frame: framed(&guest, "Mails", "/mails"),
    };
    Ok(Html(page.render()?))
}

/// `POST /mails`: holds an alert, lets it go, or adds a line to it.
pub(in crate::page) async fn act(
    State(site): State<Arc<Site>>,
    guest: Guest,
    Extension(opened): Extension<Opened>,
    Extension(Protected(is_protected)): Extension<Protected>,
    body: String,
) -> Result<Redirect, PageError> {
    let looks = guest.looks();
    if !looks.decides() || !is_protected {
        return Err(PageError::NotThere);
    }
    let to_do: ToDo = form(&body)?;
    let (of, by) = match looks {
        Looks::As(person) => (Some(person.id.clone()), Some(person.name.clone())),
        Looks::AtAll | Looks::Nobody => (None, None),
    };
    let deed = Deed {
        who: to_do.mail.clone(),
        of,
        by,
        what: what(&to_do)?,
    };
    let config = Arc::clone(&opened.config);
    let done = opened
        .store
        .write_at(&site.clock, move |t, now| deed.carry_out(t, &config, now));
    done.await?;
    Ok(Redirect::to("/mails"))
}

fn what(to_do: &ToDo) -> Result<What, PageError> {
    match to_do.act.as_str() {
        "hold" => Ok(What::Held),
        "release" => Ok(What::Released),
        "line" => Ok(What::Line(checked_line(&to_do.line)?)),
        other => Err(PageError::Asked(format!(
            "{other:?} is nothing that can be done to an alert."
        ))),
    }
}

/// Advisers see alerts about their blocks, managers all; those who get them see them once they have left.
fn is_shown(looks: Looks<'_>, alert: &WaitingAlert) -> bool {
    match looks {
        Looks::AtAll => true,
        Looks::As(person) if person.roles.has(Role::Manager) => true,
        Looks::As(person) => is_about(alert, &person.id),
        Looks::Nobody => false,
    }
}

/// What each person gets whom they have to do with.
fn who_hears(guest: &Guest) -> Vec<(String, String)> {
    let config = &guest.view.config;
    if !guest.looks().minds_the_work() {
        return Vec::new();
    }
    let lines = people(config, &guest.view.night.orchard);
    let all = config.people.iter().zip(lines);
    all.filter(|(person, _)| guest.knows(person))
        .map(|(_, line)| line)
        .collect()
}

fn bare(message_id: &str) -> &str {
    message_id.trim_matches(['<', '>'])
}
