//! What is written behind a trap: counts, why it could not be read, what was changed.

use std::collections::BTreeSet;

use chrono::NaiveDate;

use super::FormTrap;
use super::atoms::{Atom, Kind};
use super::counts::{as_digits, count};
use super::fault::Fault;
use super::lexicon::{Lexicon, Word};
use crate::orchard::{Part, TrapKind};
use crate::trapping::Visit;

/// A remark is kept so far.
const LONGEST_REMARK: usize = 300;

/// What was read of a trap on a day; nothing where only a dash stands there, or nothing.
///
/// # Errors
/// The first place that is not understood.
pub(super) fn reading(
    trap: &FormTrap,
    values: &[Atom],
    lexicon: &Lexicon,
) -> Result<Option<Reading>, Fault> {
    let mut reader = Reader {
        values,
        lexicon,
        at: behind_sign(values),
        reading: Reading::default(),
        words_first: None,
    };
    while reader.at < values.len() {
        reader.next()?;
    }
    if let Some(fault) = doubted_part(values, lexicon) {
        return Err(fault);
    }
    let reading = reader.reading;
    if reading == Reading::default() {
        return Ok(None);
    }
    reading.check(trap.kind, values)?;
    Ok(Some(reading))
}

/// Counts and words behind a trap.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Reading {
    counts: Vec<(Option<Word>, u32, Place)>,
    unreadable: Option<String>,
    left: bool,
    parts: BTreeSet<Part>,
}

/// The atoms of a count.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Place {
    from: usize,
    to: usize,
}

impl Reading {
    /// A count that stands alone.
    pub(super) fn of_count(count: u32) -> Self {
        let place = Place { from: 0, to: 0 };
        Self {
            counts: vec![(None, count, place)],
            ..Self::default()
        }
    }

    /// A trap that could not be read.
    pub(super) fn of_unreadable(why: &str) -> Self {
        Self {
            unreadable: Some(why.to_owned()),
            ..Self::default()
        }
    }

    /// As it is stored.
    pub(super) fn visit(self, trap: &FormTrap, date: NaiveDate, remark: &str) -> Visit {
        let mut visit = Visit::new(trap.id.clone(), date);
        for (word, count, _) in self.counts {
            *counted(&mut visit, word, trap.kind) = Some(count);
        }
        visit.eggs_left = self.left;
        visit.serviced = self.parts;
        visit.readable = self.unreadable.is_none();
        let why = self.unreadable.unwrap_or_default();
        let remark: String = remark.trim().chars().take(LONGEST_REMARK).collect();
        let both = [why, remark].into_iter().filter(|said| !said.is_empty());
        visit.note = both.collect::<Vec<_>>().join(", ");
        visit
    }

    fn check(&self, kind: TrapKind, values: &[Atom]) -> Result<(), Fault> {
        if self.left && (kind != TrapKind::Egg || self.counts.is_empty()) {
            return Err(Fault::not_understood());
        }
        if self.parts.iter().any(|part| !kind.parts().contains(part)) {
            return Err(Fault::not_understood());
        }
        if self.unreadable.is_some() && !self.counts.is_empty() {
            return Err(Fault::not_understood());
        }
        let of_eggs = kind == TrapKind::Egg;
        for (word, count, place) in &self.counts {
            let fits = word.is_none_or(|word| (word == Word::Eggs) == of_eggs);
            if !fits {
                let fault = Fault::at(&values[place.from..place.to]);
                return Err(fault.instead(count.to_string()));
            }
        }
        let words: Vec<Option<Word>> = self.counts.iter().map(|(word, ..)| *word).collect();
        let sexed = |word: &Option<Word>| matches!(word, Some(Word::Males | Word::Females));
        match words.as_slice() {
            [] | [_] => Ok(()),
            [one, other] if one != other && sexed(one) && sexed(other) => Ok(()),
            _ => Err(Fault::not_understood()),
        }
    }
}

/// Where a count goes: by its word, else by what the trap catches.
const fn counted(visit: &mut Visit, word: Option<Word>, kind: TrapKind) -> &mut Option<u32> {
    match (word, kind) {
        (Some(Word::Males), _) | (None, TrapKind::Pheromone) => &mut visit.males,
        (Some(Word::Females), _) => &mut visit.females,
        (Some(Word::Eggs), _) | (None, TrapKind::Egg) => &mut visit.eggs,
        _ => &mut visit.moths,
    }
}

/// Behind the sign between a trap and what is said of it.
fn behind_sign(values: &[Atom]) -> usize {
    let mut at = 0;
    while values
        .get(at)
        .is_some_and(|sign| sign.is(':') || sign.is('='))
    {
        at += 1;
    }
    // A dash in place of a colon.
    let dash = values.get(at).is_some_and(|dash| dash.is('-'));
    let apart = values.get(at + 1).is_some_and(|behind| !behind.glued);
    at + usize::from(dash && apart)
}

struct Reader<'a> {
    values: &'a [Atom],
    lexicon: &'a Lexicon,
    at: usize,
    reading: Reading,
    /// Whether words of sex stand before their counts, once it is known.
    words_first: Option<bool>,
}

impl Reader<'_> {
    fn next(&mut self) -> Result<(), Fault> {
        let atom = &self.values[self.at];
        match atom.kind {
            Kind::Number => self.number(),
            Kind::Word => self.word(),
            Kind::Mark if is_between(atom) => {
                self.at += 1;
                Ok(())
            }
            // Not read.
            Kind::Mark if atom.is('-') && self.values.len() == self.at + 1 => {
                self.at += 1;
                Ok(())
            }
            // Signs of quoting, where quoted lines were joined. Before a number it would mean more than that.
            Kind::Mark if self.values[self.at..].iter().all(|sign| sign.is('>')) => {
                self.at = self.values.len();
                Ok(())
            }
            Kind::Mark => Err(Fault::at(&self.values[self.at..=self.at])),
        }
    }

    fn number(&mut self) -> Result<(), Fault> {
        let from = self.at;
        let (count, end) = count(self.values, from)?;
        self.at = end;
        let words_first = *self.words_first.get_or_insert(false);
        let word = self.unit(end).filter(|_| !words_first);
        if word.is_some() {
            self.at += 1;
        }
        let to = self.at;
        self.reading.counts.push((word, count, Place { from, to }));
        Ok(())
    }

    fn unit(&self, at: usize) -> Option<Word> {
        let word = self.lexicon.word(self.values.get(at)?)?;
        let unit = matches!(word, Word::Eggs | Word::Moths | Word::Males | Word::Females);
        unit.then_some(word)
    }

    fn word(&mut self) -> Result<(), Fault> {
        let from = self.at;
        if let Some(word) = self.unit(from) {
            let of_next = self.words_first.unwrap_or(true);
            let number = self
                .values
                .get(from + 1)
                .is_some_and(|next| next.kind == Kind::Number);
            if !of_next || !number {
                return Err(self.unknown(from, from + 1));
            }
            self.words_first = Some(true);
            let (count, to) = count(self.values, from + 1)?;
            self.at = to;
            self.reading
                .counts
                .push((Some(word), count, Place { from, to }));
            return Ok(());
        }
        let Some((word, to)) = self.lexicon.at(self.values, from) else {
            return Err(self.unknown(from, from + 1));
        };
        self.at = to;
        match word {
            word if word.is_filler() => {}
            Word::Left => self.reading.left = true,
            Word::Part(part) => drop(self.reading.parts.insert(part)),
            Word::Unreadable => {
                let words: Vec<&str> = self.values[from..to]
                    .iter()
                    .map(|atom| atom.text.as_str())
                    .collect();
                let before = self.reading.unreadable.replace(words.join(" "));
                if before.is_some() {
                    return Err(Fault::at(&self.values[from..to]));
                }
            }
            _ => return Err(self.unknown(from, to)),
        }
        Ok(())
    }

    fn unknown(&self, from: usize, to: usize) -> Fault {
        let atom = &self.values[from];
        let fault = Fault::at(&self.values[from..to]);
        if let Some(digits) = as_digits(&atom.text) {
            let next = self.values.get(from + 1);
            let more = next.filter(|next| next.glued && next.kind == Kind::Number);
            let number = more.map_or(digits.clone(), |more| digits + &more.text);
            let to = if more.is_some() { from + 2 } else { to };
            return Fault::at(&self.values[from..to]).instead(number);
        }
        fault
    }
}

/// Words between two marks that name a part and how it was found: "bait gone", "full liner", "lure is ok". Whether it was
/// changed is not said, unless one of them says so.
fn doubted_part(values: &[Atom], lexicon: &Lexicon) -> Option<Fault> {
    let mut stretches = values.split(|atom| atom.kind == Kind::Mark);
    let doubted = |stretch: &&[Atom]| {
        let words = words(stretch, lexicon);
        let names = |wanted: fn(&Word) -> bool| words.iter().any(wanted);
        names(|word| matches!(word, Word::Part(_)))
            && names(|word| matches!(word, Word::Unreadable | Word::Found))
            && !names(|word| *word == Word::Changed)
    };
    stretches.find(doubted).map(Fault::at)
}

fn words(atoms: &[Atom], lexicon: &Lexicon) -> Vec<Word> {
    let (mut words, mut at) = (Vec::new(), 0);
    while at < atoms.len() {
        at = match lexicon.at(atoms, at) {
            Some((word, end)) => {
                words.push(word);
                end
            }
            None => at + 1,
        };
    }
    words
}

/// What stands between values and says nothing; a plus stuck to a number would mean more than that.
fn is_between(atom: &Atom) -> bool {
    let mut between = [',', ';', '.', '!', '/', '&', '(', ')', '"', '\'', '*'].into_iter();
    between.any(|mark| atom.is(mark)) || atom.is('+') && !atom.glued
}
