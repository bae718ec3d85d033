//! Who wrote a message, and to which of our mails: by an address of theirs, and by the mark that only they were sent.

use chrono::NaiveDate;

use super::letter::Letter;
use super::verdict::Verdict;
use crate::config::{Config, Person};
use crate::mail::left::Left;
use crate::mail::mark::{MarkKey, Marked};

/// Who wrote it and which of our mails to that person it answers.
pub(super) fn writer<'a>(
    config: &'a Config,
    key: &MarkKey,
    letter: &Letter,
    today: NaiveDate,
) -> Result<(&'a Person, Marked), Left> {
    let people = config
        .people
        .iter()
        .filter(|person| has_address(person, &letter.from));
    let found = people.flat_map(|person| {
        let marks = letter.marks.iter().take(100);
        marks.filter_map(move |text| Some((person, key.find(&person.id, text, today)?)))
    });
    let (person, marked) = found.into_iter().next().ok_or(Left::NotAnAnswer)?;
    match letter.verdict {
        Verdict::Failed => Err(Left::Forged),
        Verdict::Nothing | Verdict::Passed => Ok((person, marked)),
    }
}

fn has_address(person: &Person, address: &str) -> bool {
    let all = std::iter::once(&person.email).chain(&person.addresses);
    all.into_iter().any(|own| own.eq_ignore_ascii_case(address))
}
