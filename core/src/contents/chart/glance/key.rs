//! What the signs of a glance mean: those alone that occur.

use super::row::Letters;
use super::{GlanceRow, KeyEntry, KeySample, Sign, SignKind};

/// The key of some rows.
pub(super) fn key(rows: &[GlanceRow], letters: &Letters) -> Vec<Vec<KeyEntry>> {
    let signs: Vec<&Sign> = rows.iter().flat_map(|row| &row.signs).collect();
    let kinds = [
        SignKind::Start,
        SignKind::Mark,
        SignKind::Split,
        SignKind::Shake,
    ];
    let mut key: Vec<Vec<KeyEntry>> = kinds.map(|kind| pair(&signs, kind)).into();
    let used = |letter: &str| signs.iter().any(|s| s.label.as_deref() == Some(letter));
    let used = letters.named().filter(|(letter, _)| used(letter));
    key.extend(used.map(|(letter, name)| vec![entry(KeySample::Letter(letter), name)]));
    key.extend(has_span(&signs).then(|| vec![entry(KeySample::Days, "range of days")]));
    let flies = rows.iter().any(|row| !row.flights.is_empty());
    key.extend(flies.then(|| vec![entry(KeySample::Flight, "flight seen in traps")]));
    key.retain(|group| !group.is_empty());
    key
}

fn entry(sample: KeySample, label: &str) -> KeyEntry {
    KeyEntry {
        sample,
        label: label.to_owned(),
    }
}

/// A kind of sign, what is known of it before what is not. Behind the first the second needs few words.
fn pair(signs: &[&Sign], kind: SignKind) -> Vec<KeyEntry> {
    let of_kind = || signs.iter().filter(|sign| sign.kind == kind);
    let first = |known: bool| of_kind().find(|sign| sign.known == known);
    let sample = |sign: &Sign| KeySample::Sign(kind, sign.known, sign.label.clone());
    let generations = of_kind().any(|sign| is_number(sign.label.as_deref()));
    let [name, known, open] = words(kind, generations);
    let mut pair = Vec::new();
    if let Some(sign) = first(true) {
        pair.push(entry(sample(sign), &format!("{name}{known}")));
    }
    if let Some(sign) = first(false) {
        let label = match pair.is_empty() {
            true => format!("{name}, {open}"),
            false => open.to_owned(),
        };
        pair.push(entry(sample(sign), &label));
    }
    pair
}

/// Generations have their numbers, other marks a letter.
fn is_number(label: Option<&str>) -> bool {
    label.is_some_and(|label| label.parse::<u8>().is_ok())
}

/// What a kind is called, what is added where it is known, and what it is else.
const fn words(kind: SignKind, generations: bool) -> [&'static str; 3] {
    match (kind, generations) {
        (SignKind::Start, _) => ["egg-laying start", "", "provisional"],
        (SignKind::Mark, true) => [
            "generation's egg laying",
            ", passed (computed)",
            "projected",
        ],
        (SignKind::Mark, false) => ["date by heat", ", passed (computed)", "projected"],
        (SignKind::Split, _) => ["first hull split", ", seen", "expected"],
        (SignKind::Shake, _) => ["shake", ", done", "expected"],
    }
}

/// Whether a thin line is drawn.
fn has_span(signs: &[&Sign]) -> bool {
    let is_bar = |sign: &Sign| sign.kind == SignKind::Mark && !sign.known;
    signs
        .iter()
        .any(|sign| sign.early < sign.late && !is_bar(sign))
}
