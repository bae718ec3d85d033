//! Calendar files (RFC 5545, RFC 5546): one key date each, all-day over its range, tentative, free time, no
//! alarm. Equal input gives equal bytes.

use std::collections::BTreeSet;

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

/// File names are cut there: longer ones are hard to read in a mail.
const LONGEST_STEM: usize = 60;

/// A file for each key date, with the adviser whose block it is of; their names are unique.
pub(super) fn files<'a>(
    envelope: &Envelope<'_>,
    dates: impl Iterator<Item = (Adviser<'a>, &'a KeyDate)>,
) -> Vec<File> {
    let mut taken = BTreeSet::new();
    dates
        .map(|(adviser, date)| {
            let stem = stem(&date.entry);
            let numbered = |n: usize| match n {
                1 => format!("{stem}.ics"),
                n => format!("{stem}-{n}.ics"),
            };
            let name = (1..).map(numbered).find(|name| taken.insert(name.clone()));
            File {
                name: name.expect("one of all numbers is free"),
                media_type: format!("text/calendar; method={}; charset=utf-8", method(date)),
                text: folded(&calendar(envelope, adviser, date).to_string()),
            }
        })
        .collect()
}

/// `north-80-third-generation-nonpareil`, from ids and the variety.
fn stem(entry: &CalendarEntry) -> String {
    let variety = entry.variety.as_deref().unwrap_or_default();
    let words = format!("{} {} {variety}", entry.block, entry.mark).to_ascii_lowercase();
    let words = words.split(|c: char| !c.is_ascii_alphanumeric());
    let words: Vec<&str> = words.filter(|word| !word.is_empty()).collect();
    let mut stem = words.join("-");
    stem.truncate(LONGEST_STEM);
    stem
}

/// An entry that is taken out is cancelled, any other is published (RFC 5546, 3.2.1 and 3.2.5).
const fn method(date: &KeyDate) -> &'static str {
    match date.standing {
        DateState::Projected | DateState::Passed => "PUBLISH",
        DateState::Withdrawn => "CANCEL",
    }
}

fn calendar(envelope: &Envelope<'_>, adviser: Adviser<'_>, date: &KeyDate) -> Calendar {
    let mut calendar = Calendar::empty();
    for (name, value) in [
        ("VERSION", "2.0"),
        ("PRODID", PRODUCT),
        ("METHOD", method(date)),
    ] {
        calendar.append_property(Property::new(name, value));
    }
    calendar.push(event(envelope, adviser, date));
    calendar
}

/// The library makes up a UID and a time stamp where there are none, so both are always given. A
/// published or cancelled event needs an organizer; whoever reads it is not named in it.
fn event(envelope: &Envelope<'_>, adviser: Adviser<'_>, date: &KeyDate) -> Event {
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
