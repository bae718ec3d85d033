//! One mail as it went: about it, and its page in a frame that nothing can get out of.

use askama::Template;
use axum::extract::Path;
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::response::{Html, IntoResponse};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use mail_parser::{Message, MessageParser, MimeHeaders};

use super::whose::{Listed, listed, of};
use crate::page::frame::Frame;
use crate::page::framed::framed;
use crate::page::guest::Guest;
use crate::page::page_error::PageError;
use crate::store::mails_shown::{self, ShownMail};

/// Of a mail's page: it runs nothing, asks nobody, and stands in a page of ours alone.
const CONFINED: &str =
    "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:; frame-ancestors 'self'";

#[derive(Template)]
#[template(path = "page/mail.html")]
struct Page {
    frame: Frame,
    mail: Listed,
    /// Its text, where what it said is still kept.
    text: Option<String>,
}

/// `GET /mail/{id}`
pub(in crate::page) async fn mail(
    guest: Guest,
    Path(id): Path<String>,
) -> Result<Html<String>, PageError> {
    let (mail, bytes) = read(&guest, id).await?;
    let message = bytes
        .as_ref()
        .and_then(|bytes| MessageParser::default().parse(bytes));
    let text = message.and_then(|message| message.body_text(0).map(|text| text.into_owned()));
    let page = Page {
        frame: framed(&guest, &mail.subject, ""),
        mail: listed(&guest, &mail),
        text,
    };
    Ok(Html(page.render()?))
}

/// `GET /mail/{id}/body`: the mail's own page, with its pictures in it.
pub(in crate::page) async fn body(
    guest: Guest,
    Path(id): Path<String>,
) -> Result<impl IntoResponse, PageError> {
    let (_, bytes) = read(&guest, id).await?;
    let bytes = bytes.ok_or(PageError::NotThere)?;
    let message = MessageParser::default()
        .parse(&bytes)
        .ok_or(PageError::NotThere)?;
    let html = with_pictures(&message).ok_or(PageError::NotThere)?;
    Ok(([(CONTENT_SECURITY_POLICY, CONFINED)], Html(html)))
}

async fn read(guest: &Guest, id: String) -> Result<(ShownMail, Option<Vec<u8>>), PageError> {
    let of = of(guest)?;
    let found = guest
        .view
        .read(move |c| mails_shown::one(c, &of, &id))
        .await?;
    found.ok_or(PageError::NotThere)
}

/// The HTML part, with the pictures that lie beside it written into it.
fn with_pictures(message: &Message<'_>) -> Option<String> {
    let html = message.html_part(0)?.text_contents()?.to_owned();
    let pictures = message
        .parts
        .iter()
        .filter_map(|part| Some((part.content_id()?, part.contents())));
    Some(pictures.fold(html, |html, (id, png)| {
        let inside = format!("data:image/png;base64,{}", STANDARD.encode(png));
        html.replace(&format!("cid:{id}"), &inside)
    }))
}
