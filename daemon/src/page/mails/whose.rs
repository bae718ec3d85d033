//! Which mails somebody looks at, and how each stands in a list.

use duskflight_core::ledger::Role;

use crate::page::guest::Guest;
use crate::page::page_error::PageError;
use crate::page::visitor::Looks;
use crate::store::mails_shown::{Of, ShownMail};
use crate::telling::waiting::name;

/// A mail in the list.
pub(super) struct Listed {
    pub(super) id: String,
    pub(super) day: String,
    pub(super) kind: &'static str,
    pub(super) to: String,
    pub(super) subject: String,
    pub(super) state: &'static str,
    pub(super) sent: String,
    pub(super) server: String,
}

/// Whose mails somebody looks at.
pub(super) fn of(guest: &Guest) -> Result<Of, PageError> {
    Ok(match guest.looks() {
        Looks::AtAll => Of::All,
        Looks::As(person) if person.roles.has(Role::Manager) => Of::All,
        Looks::As(person) if person.roles.has(Role::Adviser) => Of::Adviser(person.id.clone()),
        Looks::As(person) => Of::Reader(person.id.clone()),
        Looks::Nobody => return Err(PageError::NotThere),
    })
}

/// How it stands in a list.
pub(super) fn listed(guest: &Guest, mail: &ShownMail) -> Listed {
    let config = &guest.view.config;
    let sent = mail.sent_at.map(|at| at.with_timezone(&config.zone));
    Listed {
        id: mail.id.clone(),
        day: config.words.day(mail.day),
        kind: mail.kind.name(),
        to: name(config, &mail.person).to_owned(),
        subject: mail.subject.clone(),
        state: mail.state.name(),
        sent: sent.map_or_else(String::new, |at| at.format("%H:%M").to_string()),
        // A server's words say things of other people's mailboxes.
        server: mail
            .server
            .clone()
            .filter(|_| guest.looks().minds_the_work())
            .unwrap_or_default(),
    }
}
