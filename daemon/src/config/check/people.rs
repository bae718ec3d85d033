//! People as declared, checked.

use std::collections::BTreeSet;

use duskflight_core::ledger::Role;
use duskflight_core::wording::language::Language;

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
        for address in &part.addresses {
            reader.address(&["person", id, "addresses"], address);
        }
        reader.named(&["person", id, "name"], &part.name);
        let language = language(reader, id, part.language.as_deref());
        let phone = part.phone.as_deref().unwrap_or_default();
        if part.role.is_empty() {
            reader.at(&["person", id, "role"], " = []: name at least one role");
        }
        if part.role.has(Role::Adviser) && !phone.contains(|c: char| c.is_ascii_digit()) {
            reader.at(
                &["person", id],
                ": give an adviser's phone; growers' alerts name it",
            );
        }
        if let Some(licence) = &part.licence {
            let path = ["person", id, "licence"];
            reader.named(&path, licence);
            if !part.role.has(Role::Adviser) {
                reader.at(&path, ": only an adviser's is printed; take it out here");
            }
        }
        let path = ["person", id, "letter"];
        let hears = part.role.has(Role::Grower) || part.role.has(Role::Manager);
        if part.letter.is_some() && !hears {
            reader.at(&path, ": only a grower or a manager gets the weekly letter");
        }
        let letter = part.letter.as_deref();
        let letter = letter.and_then(|day| reader.weekday(&path, day));
        let path = ["person", id, "key_dates"];
        let gathered = part.key_dates.as_deref().filter(|day| *day != "daily");
        let key_dates = gathered.and_then(|day| reader.weekday(&path, day));
        people.push(Person {
            letter,
            key_dates,
            id: part.id,
            name: part.name,
            roles: part.role,
            email: part.email,
            addresses: part.addresses,
            language,
            rounds: part.rounds,
            enters: part.enters,
            phone: part.phone,
            licence: part.licence,
        });
    }
    people
}

fn language(reader: &mut Reader<'_>, person: &str, code: Option<&str>) -> Language {
    let Some(code) = code else {
        return Language::default();
    };
    Language::from_code(code).unwrap_or_else(|| {
        let codes = Language::ALL.map(Language::code).join(" or ");
        reader.at(
            &["person", person, "language"],
            format!(" = {code:?}: write {codes}"),
        );
        Language::default()
    })
}
