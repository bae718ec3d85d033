//! Where in a TOML text something stands.

use toml::de::{DeTable, DeValue};

/// The line, counted from 1, of a key. A path goes through tables by name and through arrays of
/// tables by the `id` of the entry: `["person", "gil", "email"]`.
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
                .find(|entry| id(entry.get_ref()) == Some(*step))
                .map(|entry| (entry.span().start, entry))?,
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

fn id<'a>(entry: &'a DeValue<'_>) -> Option<&'a str> {
    match entry {
        DeValue::Table(table) => table.get("id")?.get_ref().as_str(),
        _ => None,
    }
}

/// A path as people say it: `farm.timezone`, `person gil: email`.
pub(super) fn said(path: &[&str]) -> String {
    match path {
        [table, id, key] if ["person", "station", "product"].contains(table) => {
            format!("{table} {id}: {key}")
        }
        [table, id] if ["person", "station", "product"].contains(table) => format!("{table} {id}"),
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
";

    #[test]
    fn keys_are_found_in_tables_and_in_the_entry_of_an_id() {
        assert_eq!(line_of(TEXT, &["farm", "timezone"]), Some(3));
        assert_eq!(line_of(TEXT, &["person", "gil", "email"]), Some(11));
        assert_eq!(line_of(TEXT, &["person", "gil"]), Some(9));
        assert_eq!(line_of(TEXT, &["station", "ncei", "station"]), Some(14));
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
