//! Where in a TOML text something stands.

use toml::de::{DeTable, DeValue};

/// The line, counted from 1, of a key. A path goes through tables by name and through arrays of
/// tables by the `id` of the entry, or by its number where entries have none: `["person", "gil", "email"]`,
/// `["rule", "2", "tell"]`.
pub(super) fn line_of(text: &str, path: &[&str]) -> Option<usize> {
    let document = DeTable::parse(text).ok()?;
    let mut place = document.span().start;
    let mut here = Here::Table(document.get_ref());
    for step in path {
        let (key, value) = match here {
            Here::Table(table) => table
                .iter()
                .find(|(key, _)| key.get_ref() == step)
                .map(|(key, value)| (key.span().start, value))?,
            Here::Entries(entries) => entries
                .iter()
                .zip(1..)
                .find(|(entry, number)| is_entry(entry.get_ref(), *number, step))
                .map(|(entry, _)| (entry.span().start, entry))?,
            Here::Value => return None,
        };
        place = key;
        here = match value.get_ref() {
            DeValue::Table(table) => Here::Table(table),
            DeValue::Array(entries) => Here::Entries(entries),
            _ => Here::Value,
        };
    }
    Some(1 + text[..place].matches('\n').count())
}

enum Here<'a> {
    Table(&'a DeTable<'a>),
    Entries(&'a [toml::Spanned<DeValue<'a>>]),
    Value,
}

fn is_entry(entry: &DeValue<'_>, number: usize, step: &str) -> bool {
    match id(entry) {
        Some(id) => id == step,
        None => step.parse() == Ok(number),
    }
}

fn id<'a>(entry: &'a DeValue<'_>) -> Option<&'a str> {
    match entry {
        DeValue::Table(table) => table.get("id")?.get_ref().as_str(),
        _ => None,
    }
}

/// Tables of which there are several.
const ENTRIES: [&str; 4] = ["person", "rule", "station", "product"];

/// A path as people say it: `farm.timezone`, `person gil: email`.
pub(super) fn said(path: &[&str]) -> String {
    match path {
        [table, id, key] if ENTRIES.contains(table) => format!("{table} {id}: {key}"),
        [table, id] if ENTRIES.contains(table) => format!("{table} {id}"),
        _ => path.join("."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "\
# a farm
[farm]
timezone = \"x\"

[[person]]
id = \"ada\"
email = \"a\"

[[person]]
id = \"gil\"
email = \"g\"

[station.ncei]
station = \"s\"

[[rule]]
tell = []

[[rule]]
people = []
tell = []
";

    #[test]
    fn keys_are_found_in_tables_and_in_the_entry_of_an_id() {
        assert_eq!(line_of(TEXT, &["farm", "timezone"]), Some(3));
        assert_eq!(line_of(TEXT, &["person", "gil", "email"]), Some(11));
        assert_eq!(line_of(TEXT, &["person", "gil"]), Some(9));
        assert_eq!(line_of(TEXT, &["station", "ncei", "station"]), Some(14));
        assert_eq!(line_of(TEXT, &["rule", "2", "tell"]), Some(21));
        assert_eq!(line_of(TEXT, &["rule", "3"]), None);
        assert_eq!(line_of(TEXT, &["person", "bo", "email"]), None);
        assert_eq!(line_of(TEXT, &["farm", "timezone", "deeper"]), None);
        assert_eq!(line_of("not toml =", &["farm"]), None);
    }

    #[test]
    fn a_path_is_said_in_words() {
        assert_eq!(said(&["farm", "timezone"]), "farm.timezone");
        assert_eq!(said(&["person", "gil", "email"]), "person gil: email");
    }
}
