//! What the signs of a glance mean: those alone that occur.

use std::collections::BTreeSet;

use crate::wording::Words;

use super::row::Letters;
use super::{GlanceRow, KeyEntry, KeySample, Sign, SignKind};

/// The key of some rows.
pub(super) fn key(rows: &[GlanceRow], letters: &Letters) -> Vec<KeyEntry> {
    let signs: Vec<&Sign> = rows.iter().flat_map(|row| &row.signs).collect();
    let mut key = Vec::new();
    for (kind, known) in [
        (SignKind::Start, true),
        (SignKind::Start, false),
        (SignKind::Mark, true),
        (SignKind::Mark, false),
        (SignKind::Split, true),
        (SignKind::Split, false),
        (SignKind::Shake, true),
        (SignKind::Shake, false),
    ] {
        let mut alike = signs.iter().filter(|s| (s.kind, s.known) == (kind, known));
        if let Some(first) = alike.clone().next() {
            let labels = alike.by_ref().filter_map(|sign| sign.label.as_deref());
            let label = words(kind, known, &labels.collect());
            let sample = KeySample::Sign(kind, known, first.label.clone());
            key.push(KeyEntry { sample, label });
        }
    }
    let used = |letter: &str| signs.iter().any(|s| s.label.as_deref() == Some(letter));
    let letters = letters.named().filter(|(letter, _)| used(letter));
    key.extend(letters.map(|(letter, name)| KeyEntry {
        sample: KeySample::Letter(letter),
        label: name.to_owned(),
    }));
    key.extend(others(rows, &signs));
    key
}

fn words(kind: SignKind, known: bool, labels: &BTreeSet<&str>) -> String {
    let text = match (kind, known) {
        (SignKind::Start, true) => "egg-laying start",
        (SignKind::Start, false) => "provisional start",
        (SignKind::Split, true) => "first hull split, seen",
        (SignKind::Split, false) => "first hull split, expected",
        (SignKind::Shake, true) => "shaken",
        (SignKind::Shake, false) => "shake, expected",
        (SignKind::Mark, true) => return format!("{}: passed, computed", marks(labels)),
        (SignKind::Mark, false) => return format!("{}: projected", marks(labels)),
    };
    text.to_owned()
}

/// Generations have their numbers, other marks a letter.
fn marks(labels: &BTreeSet<&str>) -> String {
    let numbers = labels.iter().filter(|label| label.parse::<u8>().is_ok());
    let numbers: Vec<String> = numbers.map(ToString::to_string).collect();
    match numbers.len() {
        0 => "date by heat".to_owned(),
        1 => format!("egg laying of generation {}", numbers[0]),
        _ => format!("egg laying of generations {}", Words::listed(&numbers)),
    }
}

/// Thin lines and flights.
fn others(rows: &[GlanceRow], signs: &[&Sign]) -> Vec<KeyEntry> {
    let flights = || rows.iter().flat_map(|row| &row.flights);
    let spans = signs
        .iter()
        .any(|sign| sign.early < sign.late && (sign.kind, sign.known) != (SignKind::Mark, false));
    let days = spans.then_some((KeySample::Days, "days within which it falls"));
    let flight = match (flights().next(), flights().any(|flight| flight.peaked)) {
        (None, _) => None,
        (_, true) => Some((KeySample::Flight, "flight seen in traps, with its peak")),
        (_, false) => Some((KeySample::Flight, "flight seen in traps")),
    };
    let entry = |(sample, label): (KeySample, &str)| KeyEntry {
        sample,
        label: label.to_owned(),
    };
    days.into_iter().chain(flight).map(entry).collect()
}
