//! What is written behind a block: a run through its traps, or a field note.

use chrono::{Datelike, NaiveDate};

use super::atoms::{Atom, Kind};
use super::counts::{as_digits, count, listed};
use super::days::{self, Day, day_at};
use super::fault::Fault;
use super::lexicon::{Lexicon, Word};
use super::readings::Reading;
use super::{FieldNote, FormBlock, FormTrap, Sent, WhyUnclear};
use crate::trapping::{Expected, NoteKind};

/// A variety may be misspelt by one letter in so many.
const LETTERS_A_SLIP: usize = 3;

/// Readings in the order of the mail, `None` where a dash stands; `None` in all where it is no run.
///
/// # Errors
/// Where it is a run and one of its values is not understood, or they are not as many as the traps.
pub(super) fn run(
    asked: &[&FormTrap],
    values: &[Atom],
    lexicon: &Lexicon,
) -> Option<Result<Vec<Option<Reading>>, Fault>> {
    let begins = values
        .iter()
        .take_while(|value| value.is(':') || value.is('='))
        .count();
    let values = &values[begins..];
    is_run(values, lexicon).then(|| {
        let run = entries(values, lexicon)?;
        let fits = run.len() == asked.len();
        fits.then_some(run).ok_or(Fault::not_understood())
    })
}

/// Whether nothing but numbers, dashes and words for what could not be read stands there.
fn is_run(values: &[Atom], lexicon: &Lexicon) -> bool {
    let of_run = |atom: &Atom| match atom.kind {
        Kind::Number => true,
        Kind::Word => {
            as_digits(&atom.text).is_some() || lexicon.word(atom) == Some(Word::Unreadable)
        }
        Kind::Mark => [',', ';', '.', '/', '-']
            .into_iter()
            .any(|mark| atom.is(mark)),
    };
    let says = |atom: &Atom| atom.is_name() || atom.is('-');
    values.iter().all(of_run) && values.iter().any(says)
}

fn entries(values: &[Atom], lexicon: &Lexicon) -> Result<Vec<Option<Reading>>, Fault> {
    let mut entries = Vec::new();
    let mut at = 0;
    while let Some(atom) = values.get(at) {
        let stuck = values
            .get(at + 1)
            .is_some_and(|next| next.glued && next.is_name());
        if atom.is('-') {
            // The first one is stuck to the block's name.
            if stuck || atom.glued && (at == 0 || values[at - 1].is_name()) {
                return Err(Fault::at(&values[at..=at]));
            }
            entries.push(None);
            at += 1;
        } else if atom.is('/') && atom.glued && stuck {
            // A day, or two counts?
            return Err(Fault::at(&values[at..=at]));
        } else if atom.kind == Kind::Number {
            let (number, end) = match listed(values, at) {
                Some(number) => (number, at + 1),
                None => count(values, at)?,
            };
            entries.push(Some(Reading::of_count(number)));
            at = end;
        } else if atom.kind == Kind::Word && lexicon.word(atom) == Some(Word::Unreadable) {
            entries.push(Some(Reading::of_unreadable(&atom.text)));
            at += 1;
        } else if atom.kind == Kind::Word {
            let digits = as_digits(&atom.text).unwrap_or_default();
            return Err(Fault::at(&values[at..=at]).instead(digits));
        } else {
            at += 1;
        }
    }
    Ok(entries)
}

/// A field note of a block; `None` where no word of one stands there.
///
/// # Errors
/// Where its variety or its day is not understood.
pub(super) fn note(
    block: &FormBlock,
    values: &[Atom],
    holds: Day,
    sent: &Sent,
    lexicon: &Lexicon,
) -> Option<Result<FieldNote, Fault>> {
    let of_block = |at: usize| {
        let (word, end) = lexicon.at(values, at)?;
        word.is_of_a_block().then_some((word, at, end))
    };
    let (word, from, to) = (0..values.len()).find_map(of_block)?;
    let note = holds.or(Some(sent.on)).and_then(|day| {
        let writer = Writer {
            block,
            values,
            holds,
            day,
            sent,
            lexicon,
        };
        writer.note(word, from, to)
    });
    Some(note)
}

struct Writer<'a> {
    block: &'a FormBlock,
    values: &'a [Atom],
    /// The day that holds.
    holds: Day,
    /// The day on which it is said.
    day: NaiveDate,
    sent: &'a Sent,
    lexicon: &'a Lexicon,
}

impl Writer<'_> {
    fn note(&self, word: Word, from: usize, to: usize) -> Result<FieldNote, Fault> {
        let dated = (to..self.values.len()).find_map(|at| {
            let (written, end) = day_at(self.values, at, self.sent, self.lexicon)?;
            Some((written, at, end))
        });
        let (variety_end, written) = match dated {
            Some((written, at, end)) if self.is_nothing(&self.values[end..]) => (at, Some(written)),
            _ => (self.values.len(), None),
        };
        let odd = Fault::of(WhyUnclear::OddDay);
        let seen = || match written {
            Some(written) => days::of_readings(written, self.sent.on).ok_or(odd.clone()),
            None => self.holds.or(self.sent.unwritten()),
        };
        let to_come = || {
            let written = written.ok_or(Fault::not_understood())?;
            days::to_come(written, self.day).ok_or(odd.clone())
        };
        let named = [&self.values[..from], &self.values[to..variety_end]].concat();
        if word == Word::ClosedUntil {
            let until = to_come()?;
            if !self.is_nothing(&named) {
                return Err(Fault::at(&named));
            }
            return Ok(self.said(None, self.day, NoteKind::NoEntryUntil(until)));
        }
        let variety = Some(self.variety(&named)?);
        Ok(match word {
            Word::Split => self.said(variety, seen()?, NoteKind::HullSplit),
            Word::Shaken => self.said(variety, seen()?, NoteKind::Shaken),
            _ => {
                let likely = to_come()?;
                if likely.year() != self.day.year() {
                    return Err(odd);
                }
                let expected = Expected {
                    earliest: likely,
                    likely,
                    latest: likely,
                };
                self.said(variety, self.day, NoteKind::ShakeExpected(expected))
            }
        })
    }

    fn said(&self, variety: Option<String>, date: NaiveDate, kind: NoteKind) -> FieldNote {
        FieldNote {
            block: self.block.id.clone(),
            variety,
            date,
            kind,
            text: String::new(),
        }
    }

    /// Whether only marks and words that say nothing stand there.
    fn is_nothing(&self, atoms: &[Atom]) -> bool {
        let mut at = 0;
        while at < atoms.len() {
            at = match self.lexicon.at(atoms, at) {
                Some((word, end)) if word.is_filler() || word == Word::BesideDay => end,
                _ if atoms[at].kind == Kind::Mark => at + 1,
                _ => return false,
            };
        }
        true
    }

    /// The variety that is named, if need be by a slip; the only one where none is.
    fn variety(&self, named: &[Atom]) -> Result<String, Fault> {
        let varieties = &self.block.varieties;
        if self.is_nothing(named) {
            return match varieties.as_slice() {
                [only] => Ok(only.clone()),
                _ => Err(Fault::not_understood()),
            };
        }
        let words: Vec<&str> = named
            .iter()
            .filter(|atom| atom.is_name())
            .map(|atom| atom.text.as_str())
            .collect();
        let written = words.concat();
        let slips = |variety: &String| {
            let letters = super::atoms::fold(variety);
            let letters: String = letters.chars().filter(|c| c.is_alphanumeric()).collect();
            strsim::osa_distance(&written, &letters)
        };
        let nearest = varieties
            .iter()
            .map(|variety| (slips(variety), variety))
            .min();
        let count = |so_many| {
            varieties
                .iter()
                .filter(|variety| slips(variety) == so_many)
                .count()
        };
        match nearest {
            Some((slipped, variety))
                if slipped <= written.chars().count() / LETTERS_A_SLIP && count(slipped) == 1 =>
            {
                Ok(variety.clone())
            }
            _ => Err(Fault::at(named)),
        }
    }
}
