//! Why a line was not taken, and what would mend it.

use super::WhyUnclear;
use super::atoms::Atom;

/// What is wrong in a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fault {
    /// Why the line is not taken.
    pub(super) why: WhyUnclear,
    /// From and to which byte of the line, where it is one place.
    pub(super) at: Option<(usize, usize)>,
    /// What was probably meant there.
    pub(super) instead: Option<String>,
}

impl Fault {
    /// Something that is not understood.
    pub(super) const fn not_understood() -> Self {
        Self::of(WhyUnclear::NotUnderstood)
    }

    /// A fault of the whole line.
    pub(super) const fn of(why: WhyUnclear) -> Self {
        Self {
            why,
            at: None,
            instead: None,
        }
    }

    /// Atoms that are not understood.
    pub(super) fn at(atoms: &[Atom]) -> Self {
        let ends = atoms.first().zip(atoms.last());
        Self {
            at: ends.map(|(first, last)| (first.from, last.to)),
            ..Self::not_understood()
        }
    }

    /// What was probably meant in their place.
    pub(super) fn instead(self, text: impl Into<String>) -> Self {
        Self {
            instead: Some(text.into()),
            ..self
        }
    }
}
