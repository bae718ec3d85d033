//! People as declared, checked.

use std::collections::BTreeSet;

use duskflight_core::ledger::Role;

use super::reader::Reader;
use crate::config::Person;
use crate::config::file::PersonPart;

pub(super) fn people(reader: &mut Reader<'_>, parts: Vec<PersonPart>) -> Vec<Person> {
    let mut seen = BTreeSet::new();
    let mut people = Vec::new();
    for part in parts {
        if !seen.insert(part.id.clone()) {
            reader.at(&["person", part.id.as_str()], ": the id stands twice");
        }
        let id = part.id.as_str();
        reader.address(&["person", id, "email"], &part.email);
        reader.named(&["person", id, "name"], &part.name);
        let phone = part.phone.as_deref().unwrap_or_default();
        if part.role == Role::Adviser && !phone.contains(|c: char| c.is_ascii_digit()) {
            reader.at(
                &["person", id],
                ": give an adviser's phone; growers' alerts name it",
            );
        }
        if let Some(licence) = &part.licence {
            let path = ["person", id, "licence"];
            reader.named(&path, licence);
            if part.role != Role::Adviser {
                reader.at(&path, ": only an adviser's is printed; take it out here");
            }
        }
        let path = ["person", id, "letter"];
        if part.letter.is_some() && part.role != Role::Grower {
            reader.at(&path, ": only a grower gets the weekly letter");
        }
        let letter = part.letter.as_deref();
        let letter = letter.and_then(|day| reader.weekday(&path, day));
        people.push(Person {
            letter,
            id: part.id,
            name: part.name,
            role: part.role,
            email: part.email,
            phone: part.phone,
            licence: part.licence,
        });
    }
    people
}
