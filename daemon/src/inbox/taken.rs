//! One answer taken: read, entered, kept with what its receipt says, all in one transaction.

use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::Connection;

use super::desk::Desk;
use super::letter::{Letter, NoLetter};
use super::take::Message;
use super::who::writer;
use crate::config::{Config, Person};
use crate::hash::hash;
use crate::mail::left::Left;
use crate::mail::mark::{MarkKey, Marked};
use crate::store::StoreError;
use crate::store::answers::{self, KeptAnswer};

/// Takes one message, or gives why it is left alone. `place`: where it lies, which names one that is too large to be read. `with_receipt`: whether
/// anybody is to hear of it.
///
/// # Errors
/// When the records cannot be read or written.
pub(super) fn take(
    connection: &Connection,
    config: &Config,
    message: &Message,
    place: &str,
    with_receipt: bool,
    now: DateTime<Utc>,
) -> Result<Option<Left>, StoreError> {
    let today = config.day_of(now);
    let (letter, person, marked) = match answer_in(connection, config, (message, place), today)? {
        Ok(found) => found,
        Err((id, left)) => {
            // What was done before was no news then either: a mark does not count for ever.
            if with_receipt {
                answers::leave(connection, &id, today, left.name())?;
            }
            return Ok(Some(left));
        }
    };
    if answers::is_taken(connection, &letter.id)? {
        return Ok(None);
    }
    let desk = Desk::open(connection, config, person, &marked, &letter, now)?;
    let (said, asked) = desk.carry_out(with_receipt)?;
    let kept = KeptAnswer {
        id: letter.id.clone(),
        message_id: letter.message_id.clone(),
        person: person.id.clone(),
        kind: marked.kind,
        day: marked.day,
        which: marked.which.clone(),
        sent_on: desk.sent_on(),
        asked: (!asked.is_empty()).then(|| json(&asked)),
        said: (with_receipt && !said.is_empty()).then(|| json(&said)),
    };
    answers::keep(connection, &kept, now)?;
    Ok(None)
}

fn json(value: &impl serde::Serialize) -> String {
    serde_json::to_string(value).expect("texts and lists can be written as JSON")
}

/// The answer in a message, or the message's short name and why it is left alone.
type Found<'a> = Result<(Letter, &'a Person, Marked), (String, Left)>;

fn answer_in<'a>(
    connection: &Connection,
    config: &'a Config,
    (message, place): (&Message, &str),
    today: NaiveDate,
) -> Result<Found<'a>, StoreError> {
    let bytes = match message {
        Message::Whole(bytes) => bytes,
        Message::TooLarge(_) => return Ok(Err((hash(&[place.as_bytes()]), Left::TooLarge))),
    };
    let left = |why| Ok(Err((hash(&[bytes]), why)));
    let verified_by = config
        .inbox
        .as_ref()
        .and_then(|inbox| inbox.verified_by.as_deref());
    let letter = match Letter::read(bytes, verified_by) {
        Ok(letter) => letter,
        Err(NoLetter::TooLarge) => return left(Left::TooLarge),
        Err(NoLetter::NotAMessage) => return left(Left::NotAMessage),
        Err(NoLetter::Automatic) => return left(Left::Automatic),
    };
    let key = MarkKey::new(answers::mark_key(connection)?);
    match writer(config, &key, &letter, today) {
        Ok((person, marked)) => Ok(Ok((letter, person, marked))),
        Err(why) => left(why),
    }
}
