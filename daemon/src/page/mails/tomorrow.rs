//! The mails of the next morning, if nothing more came in.

use std::collections::BTreeSet;
use std::sync::Arc;

use askama::Template;
use axum::extract::State;
use axum::response::Html;
use chrono::{DateTime, Days, NaiveDate, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::Role;

use crate::config::Config;
use crate::page::frame::Frame;
use crate::page::framed::framed;
use crate::page::guest::Guest;
use crate::page::page_error::PageError;
use crate::page::site::Site;
use crate::page::view::Upcoming;
use crate::page::visitor::Looks;
use crate::telling::waiting::name;

#[derive(Template)]
#[template(path = "page/tomorrow.html")]
struct Page<'a> {
    frame: Frame,
    day: String,
    mails: Vec<Preview<'a>>,
    /// Growers who get nothing.
    others: String,
}

struct Preview<'a> {
    to: &'a str,
    kind: &'static str,
    subject: &'a str,
    text: &'a str,
}

/// `GET /mails/tomorrow`
pub(in crate::page) async fn tomorrow(
    State(site): State<Arc<Site>>,
    guest: Guest,
) -> Result<Html<String>, PageError> {
    if !guest.looks().minds_the_work() {
        return Err(PageError::NotThere);
    }
    let config = &guest.view.config;
    let day = next_morning(config, site.clock.now());
    let upcoming = guest.view.upcoming(day).await?;
    let shown = upcoming.iter().filter(|mail| is_shown(guest.looks(), mail));
    let mails: Vec<Preview<'_>> = shown
        .map(|mail| Preview {
            to: name(config, &mail.person),
            kind: mail.kind.name(),
            subject: &mail.subject,
            text: &mail.text,
        })
        .collect();
    let page = Page {
        day: config.words.long_day(day),
        others: others(&guest, &upcoming),
        mails,
        frame: framed(&guest, "The next mails", "/mails"),
    };
    Ok(Html(page.render()?))
}

/// The day of the digest that goes out next: today's, as long as it is not its hour.
fn next_morning(config: &Config, now: DateTime<Utc>) -> NaiveDate {
    let today = config.day_of(now);
    match now < config.digest_instant(today) {
        true => today,
        false => today + Days::new(1),
    }
}

/// The growers of blocks that are seen to whom nothing goes out.
fn others(guest: &Guest, upcoming: &[Upcoming]) -> String {
    let seasons = guest.seasons().into_iter();
    let growers: BTreeSet<&PersonId> = seasons
        .map(|season| &season.block.grower)
        .filter(|grower| upcoming.iter().all(|mail| mail.person != **grower))
        .collect();
    let names = growers.into_iter().map(|id| name(&guest.view.config, id));
    names.collect::<Vec<_>>().join(", ")
}

fn is_shown(looks: Looks<'_>, mail: &Upcoming) -> bool {
    match looks {
        Looks::AtAll => true,
        Looks::As(person) => {
            person.roles.has(Role::Manager)
                || mail.person == person.id
                || mail.adviser.as_ref() == Some(&person.id)
        }
        Looks::Nobody => false,
    }
}
