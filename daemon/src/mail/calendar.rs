//! Calendar files (RFC 5545, RFC 5546): a mail's key dates, all-day over their ranges, tentative, free time, no
//! alarm. Equal input gives equal bytes.

use chrono::Utc;
use duskflight_core::contents::{CalendarEntry, DateState, KeyDate};
use icalendar::{Calendar, Class, Component, Event, EventLike, EventStatus, Property};

use super::adviser::Adviser;
use super::message::{Envelope, File};
use crate::hash::hash;
use crate::one_line::one_line;

/// A line has at most so many octets (RFC 5545, 3.1).
const LINE_OCTETS: usize = 75;

const PRODUCT: &str = "-//Duskflight//Key dates//EN";

/// The file of a mail.
const FILE: &str = "key-dates.ics";

/// One file with the entries of some key dates, each with the adviser whose block it is of; `None` without any.
pub(super) fn file<'a>(
    envelope: &Envelope<'_>,
    dates: impl Iterator<Item = (Adviser<'a>, &'a KeyDate)>,
) -> Option<File> {
    let dates: Vec<(Adviser<'_>, &KeyDate)> = dates.collect();
    if dates.is_empty() {
        return None;
    }
    let method = method(&dates);
    let events = dates
        .iter()
        .map(|(adviser, date)| event(envelope, *adviser, date));
    Some(File {
        name: FILE.to_owned(),
        media_type: format!("text/calendar; method={method}; charset=utf-8"),
        text: folded(&calendar(method, events).to_string()),
    })
}

/// Entries are published, those taken out as cancelled; where all are taken out the file cancels (RFC 5546, 3.2.1 and
/// 3.2.5).
fn method(dates: &[(Adviser<'_>, &KeyDate)]) -> &'static str {
    match dates
        .iter()
        .all(|(_, date)| date.standing == DateState::Withdrawn)
    {
        true => "CANCEL",
        false => "PUBLISH",
    }
}

/// A calendar to subscribe to, with its name (RFC 7986, 5.1).
pub(super) fn whole(farm: &str, events: impl Iterator<Item = Event>) -> String {
    let mut calendar = calendar("PUBLISH", events);
    let name = one_line(&format!("{farm}: key dates"));
    calendar.append_property(Property::new("NAME", name));
    folded(&calendar.to_string())
}

fn calendar(method: &str, events: impl Iterator<Item = Event>) -> Calendar {
    let mut calendar = Calendar::empty();
    for (name, value) in [("VERSION", "2.0"), ("PRODID", PRODUCT), ("METHOD", method)] {
        calendar.append_property(Property::new(name, value));
    }
    for event in events {
        calendar.push(event);
    }
    calendar
}

/// The library makes up a UID and a time stamp where there are none, so both are always given. A
/// published or cancelled event needs an organizer; whoever reads it is not named in it.
pub(super) fn event(envelope: &Envelope<'_>, adviser: Adviser<'_>, date: &KeyDate) -> Event {
    // The end is the day after the last one.
    let end = date.last.succ_opt().unwrap_or(date.last);
    let status = match date.standing {
        DateState::Projected | DateState::Passed => EventStatus::Tentative,
        DateState::Withdrawn => EventStatus::Cancelled,
    };
    Event::with_uid(&uid(envelope, &date.entry))
        .timestamp(envelope.date.with_timezone(&Utc))
        .sequence(date.sequence)
        .starts(date.first)
        .ends(end)
        .summary(&one_line(&date.title))
        .description(&description(envelope, adviser, date))
        .status(status)
        .class(Class::Private)
        .add_property("TRANSP", "TRANSPARENT")
        .add_property("ORGANIZER", mailto(envelope.from.address))
        .done()
}

/// The same for a key date all its life, another one for each person, whose name it does not show.
fn uid(envelope: &Envelope<'_>, entry: &CalendarEntry) -> String {
    let domain = envelope.from.address.rsplit_once('@');
    let domain = domain.map_or("localhost", |(_, domain)| domain);
    let year = entry.year.to_string();
    let parts = [
        entry.person.as_str(),
        &year,
        entry.block.as_str(),
        entry.insect.as_str(),
        entry.mark.as_str(),
        entry.variety.as_deref().unwrap_or_default(),
    ];
    format!("key-date.{}@{domain}", hash(&parts.map(str::as_bytes)))
}

/// All that the mail says of it, since an entry outlives its mail.
fn description(envelope: &Envelope<'_>, adviser: Adviser<'_>, date: &KeyDate) -> String {
    let note = envelope.farm_note.map(|note| format!("*** {note} ***"));
    let from_mail = [
        format!("{}, as of {}", envelope.farm, envelope.as_of),
        format!(
            "Ask your adviser: {}, telephone {}",
            adviser.with_licence(),
            adviser.phone
        ),
        envelope.caution(),
    ];
    let lines = note
        .iter()
        .chain(&date.lines)
        .chain(&from_mail)
        .map(|line| one_line(line));
    lines.collect::<Vec<_>>().join("\n")
}

/// Folds a calendar's lines anew: the library lets the last piece of a line be an octet too long.
fn folded(calendar: &str) -> String {
    let whole = calendar.replace("\r\n ", "");
    let mut folded = String::with_capacity(calendar.len());
    for line in whole.split_terminator("\r\n") {
        let mut room = LINE_OCTETS;
        for c in line.chars() {
            if c.len_utf8() > room {
                folded.push_str("\r\n ");
                room = LINE_OCTETS - 1;
            }
            folded.push(c);
            room -= c.len_utf8();
        }
        folded.push_str("\r\n");
    }
    folded
}

/// An address as a URI (RFC 6068): what has a meaning there or in a calendar line is written as a number.
fn mailto(address: &str) -> String {
    let plain = |byte: u8| byte.is_ascii_alphanumeric() || b"@.-_~+".contains(&byte);
    let written = |byte| match byte {
        byte if plain(byte) => char::from(byte).to_string(),
        byte => format!("%{byte:02X}"),
    };
    format!(
        "mailto:{}",
        address.bytes().map(written).collect::<String>()
    )
}

#[cfg(test)]
mod tests;
