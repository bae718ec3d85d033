//! What was found in nuts: samples at harvest and before, rejects, mummies.

use crate::season::{BlockSeason, SampleShare};
use crate::trapping::{Note, NoteKind};
use crate::wording::Words;

/// What was found in a block's nuts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Samples {
    /// Samples at harvest, oldest first.
    pub harvest: Vec<SampleRow>,
    /// Everything else as lines, oldest first.
    pub others: Vec<String>,
}

/// A sample at harvest, cell by cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SampleRow {
    /// The day.
    pub day: String,
    /// The variety; empty for the whole block.
    pub variety: String,
    /// Nuts cracked out.
    pub nuts: u32,
    /// Of those, damaged by navel orangeworm.
    pub orangeworm: u32,
    /// That share with its interval, in percent.
    pub share: String,
    /// Damaged by peach twig borer.
    pub twig_borer: u32,
    /// By ants.
    pub ants: u32,
    /// By anything else.
    pub other: u32,
}

impl Samples {
    /// Of a season, from the block's own notes.
    pub(super) fn of(words: Words, season: &BlockSeason, notes: &[Note]) -> Self {
        let of_year = notes.iter().filter(|note| note.is_of_year_to(season.as_of));
        let mut notes: Vec<&Note> = of_year.collect();
        notes.sort_by_key(|note| note.date);
        let harvest = notes.iter().filter_map(|note| sample(words, note));
        let others = notes.iter().filter(|note| is_told(&note.kind));
        let mummies = season.beside.risk.mummies.iter();
        Self {
            harvest: harvest.collect(),
            others: mummies
                .chain(others.copied())
                .map(|note| words.seen(note))
                .collect(),
        }
    }

    /// Whether nothing was found or looked for.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.harvest.is_empty() && self.others.is_empty()
    }
}

/// What a client asks for besides samples at harvest.
const fn is_told(kind: &NoteKind) -> bool {
    matches!(
        kind,
        NoteKind::NutSample(_)
            | NoteKind::FieldDamage(_)
            | NoteKind::Rejects(_)
            | NoteKind::Insecticide
    )
}

fn sample(words: Words, note: &Note) -> Option<SampleRow> {
    let NoteKind::HarvestSample(sample) = &note.kind else {
        return None;
    };
    let share = SampleShare::of_orangeworm(sample).map(|found| {
        let (low, high) = found.interval;
        format!("{:.1} ({low:.1}–{high:.1})", found.percent)
    });
    Some(SampleRow {
        day: words.day(note.date),
        variety: note.variety.clone().unwrap_or_default(),
        nuts: sample.nuts,
        orangeworm: sample.orangeworm,
        share: share.unwrap_or_default(),
        twig_borer: sample.twig_borer,
        ants: sample.ants,
        other: sample.other,
    })
}
