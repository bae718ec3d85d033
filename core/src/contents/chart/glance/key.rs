//! What the signs of a glance mean: those alone that occur.

use super::row::Letters;
use super::{GlanceRow, KeyEntry, KeySample, Sign, SignKind, SignState};

/// The key of some rows.
pub(super) fn key(rows: &[GlanceRow], letters: &Letters) -> Vec<Vec<KeyEntry>> {
    let signs: Vec<&Sign> = rows.iter().flat_map(|row| &row.signs).collect();
    let kinds = [
        SignKind::Start,
        SignKind::Mark,
        SignKind::Split,
        SignKind::Shake,
    ];
    let mut key: Vec<Vec<KeyEntry>> = kinds.map(|kind| states(&signs, kind)).into();
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

/// A kind of sign in its states. Behind the first the others need few words.
fn states(signs: &[&Sign], kind: SignKind) -> Vec<KeyEntry> {
    let of_kind = || signs.iter().filter(|sign| sign.kind == kind);
    let generations = of_kind().any(|sign| is_number(sign.label.as_deref()));
    let name = name(kind, generations);
    let mut entries = Vec::new();
    for state in [SignState::Known, SignState::Ahead, SignState::Provisional] {
        let Some(sign) = of_kind().find(|sign| sign.state == state) else {
            continue;
        };
        let sample = KeySample::Sign(kind, state, sign.label.clone());
        let label = match (entries.is_empty(), words(kind, state)) {
            (true, "") => name.to_owned(),
            (true, state) => format!("{name}, {state}"),
            (false, state) => state.to_owned(),
        };
        entries.push(entry(sample, &label));
    }
    entries
}

/// Generations have their numbers, other marks a letter.
fn is_number(label: Option<&str>) -> bool {
    label.is_some_and(|label| label.parse::<u8>().is_ok())
}

const fn name(kind: SignKind, generations: bool) -> &'static str {
    match (kind, generations) {
        (SignKind::Start, _) => "egg-laying start",
        (SignKind::Mark, true) => "generation's egg laying",
        (SignKind::Mark, false) => "date by heat",
        (SignKind::Split, _) => "first hull split",
        (SignKind::Shake, _) => "shake",
    }
}

const fn words(kind: SignKind, state: SignState) -> &'static str {
    match (kind, state) {
        (SignKind::Start, SignState::Known) => "",
        (SignKind::Start, _) => "provisional",
        (SignKind::Mark, SignState::Known) => "passed (computed)",
        (SignKind::Mark, SignState::Ahead) => "projected",
        (SignKind::Mark, SignState::Provisional) => "if a provisional start holds",
        (SignKind::Split, SignState::Known) => "seen",
        (SignKind::Shake, SignState::Known) => "done",
        (SignKind::Split | SignKind::Shake, _) => "expected",
    }
}

/// Whether a thin line is drawn.
fn has_span(signs: &[&Sign]) -> bool {
    let mut others = signs.iter().filter(|sign| !sign.is_bar());
    others.any(|sign| sign.early < sign.late)
}
