//! The mails of tomorrow, if nothing more came in.

use std::collections::BTreeSet;
use std::sync::Arc;

use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::response::Html;
use duskflight_core::ledger::Role;

use crate::page::frame::Frame;
use crate::page::framed::framed;
use crate::page::guest::Guest;
use crate::page::page_error::PageError;
use crate::page::site::Site;
use crate::page::visitor::{Looks, Visitor};
use crate::store::outbox::NewMail;
use crate::telling::waiting::name;
use crate::telling::{Purpose, TellError, night, prepare};

#[derive(Template)]
#[template(path = "page/tomorrow.html")]
struct Page {
    frame: Frame,
    day: String,
    mails: Vec<Preview>,
    /// Growers who get nothing.
    others: String,
}

struct Preview {
    to: String,
    kind: &'static str,
    subject: String,
    text: String,
}

/// `GET /mails/tomorrow`
pub(in crate::page) async fn tomorrow(
    State(site): State<Arc<Site>>,
    Extension(visitor): Extension<Visitor>,
) -> Result<Html<String>, PageError> {
    let guest = Guest::of(&site, visitor).await?;
    if !guest.looks().minds_the_work() {
        return Err(PageError::NotThere);
    }
    let day = guest.view.day().succ_opt().ok_or(PageError::NotThere)?;
    let drafts = guest
        .view
        .work_out(move |c, config| {
            let night = night(c, config, day)?;
            let tellings = prepare(
                c,
                config,
                &night,
                Purpose::Preview,
                config.digest_instant(day),
            )?;
            let drafts = tellings.into_iter().filter_map(|telling| telling.draft);
            Ok::<_, TellError>(drafts.collect::<Vec<_>>())
        })
        .await?;
    let config = &guest.view.config;
    let mut mails = Vec::new();
    for draft in drafts
        .iter()
        .filter(|draft| is_shown(guest.looks(), &draft.mail))
    {
        let composed = draft.contents.compose(&draft.mail.message_id)?;
        mails.push(Preview {
            to: name(config, &draft.mail.person).to_owned(),
            kind: draft.mail.kind.name(),
            subject: draft.mail.subject.clone(),
            text: composed.parts.text,
        });
    }
    let page = Page {
        day: config.words.long_day(day),
        others: others(&guest, &mails),
        mails,
        frame: framed(&guest, "Tomorrow's mails", "/mails"),
    };
    Ok(Html(page.render()?))
}

/// The growers of blocks that are seen to whom nothing goes out.
fn others(guest: &Guest, mails: &[Preview]) -> String {
    let seasons = guest.seasons().into_iter();
    let growers: BTreeSet<&str> = seasons
        .map(|season| name(&guest.view.config, &season.block.grower))
        .filter(|grower| mails.iter().all(|mail| mail.to != *grower))
        .collect();
    growers.into_iter().collect::<Vec<_>>().join(", ")
}

fn is_shown(looks: Looks<'_>, mail: &NewMail) -> bool {
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
