//! The words that an answer may hold, of English and of the writer's language.

use std::collections::HashMap;

use super::atoms::{Atom, Kind, atoms, fold};
use crate::orchard::Part;
use crate::wording::language::{AnswerWords, Language};

/// What a word means.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Word {
    Eggs,
    Moths,
    Males,
    Females,
    Left,
    Unreadable,
    Part(Part),
    Filler,
    Changed,
    Found,
    Yesterday,
    Today,
    BesideDay,
    Split,
    Shake,
    Shaken,
    ClosedUntil,
    Undo,
    Sure,
    Hold,
    Release,
    Note,
    Start,
    Because,
    Courtesy,
}

impl Word {
    /// Whether it says something of a trap.
    pub(super) const fn is_of_a_reading(self) -> bool {
        matches!(
            self,
            Self::Eggs
                | Self::Moths
                | Self::Males
                | Self::Females
                | Self::Left
                | Self::Unreadable
                | Self::Part(_)
        )
    }

    /// Whether it says something of a block.
    pub(super) const fn is_of_a_block(self) -> bool {
        matches!(
            self,
            Self::Split | Self::Shake | Self::Shaken | Self::ClosedUntil
        )
    }

    /// Whether it says nothing by itself.
    pub(super) const fn is_filler(self) -> bool {
        matches!(
            self,
            Self::Filler | Self::Changed | Self::Found | Self::Courtesy
        )
    }

    /// Whether a line that begins with it is an order.
    pub(super) const fn is_order(self) -> bool {
        matches!(
            self,
            Self::Undo | Self::Sure | Self::Hold | Self::Release | Self::Note | Self::Start
        )
    }
}

/// Words of one phrase.
const LONGEST_PHRASE: usize = 3;
/// So many letters of a month or weekday are enough.
const LEAST_LETTERS: usize = 3;

/// All words that are understood.
pub(super) struct Lexicon {
    phrases: HashMap<String, Word>,
    months: Vec<[String; 12]>,
    weekdays: Vec<[String; 7]>,
}

impl Lexicon {
    /// English words and those of a language, which come first.
    pub(super) fn of(language: Language) -> Self {
        let mut lexicon = Self {
            phrases: HashMap::new(),
            months: Vec::new(),
            weekdays: Vec::new(),
        };
        let mut languages = vec![language, Language::English];
        languages.dedup();
        for language in languages {
            let words = &language.words().answer;
            lexicon.months.push(words.months.map(fold));
            lexicon.weekdays.push(words.weekdays.map(fold));
            for (phrase, word) in meanings(words) {
                lexicon.phrases.entry(key(phrase)).or_insert(word);
            }
        }
        lexicon
    }

    /// The longest phrase that begins at an atom, and behind which atom it ends.
    pub(super) fn at(&self, line: &[Atom], from: usize) -> Option<(Word, usize)> {
        let mut phrase = String::new();
        let mut found = None;
        let words = line.iter().enumerate().skip(from).take(LONGEST_PHRASE);
        for (place, atom) in words.take_while(|(_, atom)| atom.kind == Kind::Word) {
            if place > from {
                phrase.push(' ');
            }
            phrase.push_str(&atom.text);
            if let Some(word) = self.phrases.get(&phrase) {
                found = Some((*word, place + 1));
            }
        }
        found
    }

    /// The word that one atom is.
    pub(super) fn word(&self, atom: &Atom) -> Option<Word> {
        (atom.kind == Kind::Word)
            .then(|| self.phrases.get(&atom.text).copied())
            .flatten()
    }

    /// The month that a word begins, from 1.
    pub(super) fn month(&self, word: &str) -> Option<u32> {
        self.months.iter().find_map(|months| begun(months, word))
    }

    /// The weekday that a word begins, from Monday as 1.
    pub(super) fn weekday(&self, word: &str) -> Option<u32> {
        self.weekdays.iter().find_map(|days| begun(days, word))
    }

    /// The phrases whose words are wanted.
    pub(super) fn phrases(&self, wanted: impl Fn(Word) -> bool) -> Vec<&str> {
        let all = self.phrases.iter();
        let mut phrases: Vec<&str> = all
            .filter(|(_, word)| wanted(**word))
            .map(|(phrase, _)| phrase.as_str())
            .collect();
        phrases.sort_unstable();
        phrases
    }
}

fn begun(names: &[String], word: &str) -> Option<u32> {
    let begins = |name: &String| word.len() >= LEAST_LETTERS && name.starts_with(word);
    let place = names.iter().position(begins)?;
    u32::try_from(place + 1).ok()
}

/// A phrase as its atoms are compared.
fn key(phrase: &str) -> String {
    let words: Vec<String> = atoms(phrase).into_iter().map(|atom| atom.text).collect();
    words.join(" ")
}

fn meanings(words: &AnswerWords) -> impl Iterator<Item = (&'static str, Word)> {
    let parts = Part::ALL.into_iter().map(Word::Part);
    let rows = [
        (words.eggs, Word::Eggs),
        (words.moths, Word::Moths),
        (words.males, Word::Males),
        (words.females, Word::Females),
        (words.left, Word::Left),
        (words.unreadable, Word::Unreadable),
        (words.filler, Word::Filler),
        (words.changed, Word::Changed),
        (words.found, Word::Found),
        (words.yesterday, Word::Yesterday),
        (words.today, Word::Today),
        (words.beside_day, Word::BesideDay),
        (words.split, Word::Split),
        (words.shake, Word::Shake),
        (words.shaken, Word::Shaken),
        (words.closed_until, Word::ClosedUntil),
        (words.undo, Word::Undo),
        (words.sure, Word::Sure),
        (words.hold, Word::Hold),
        (words.release, Word::Release),
        (words.note, Word::Note),
        (words.start, Word::Start),
        (words.because, Word::Because),
        (words.courtesy, Word::Courtesy),
    ];
    let rows = rows.into_iter().chain(words.parts.into_iter().zip(parts));
    rows.flat_map(|(phrases, word)| phrases.iter().map(move |phrase| (*phrase, word)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_word_of_a_language_means_two_things() {
        for language in Language::ALL {
            let mut known = HashMap::new();
            for (phrase, word) in meanings(&language.words().answer) {
                let before = known.insert(key(phrase), word);
                assert_eq!(before, None, "{phrase} in {language:?}");
            }
        }
    }

    #[test]
    fn the_longest_phrase_is_taken_in_any_case_and_with_or_without_accents() {
        let spanish = Lexicon::of(Language::Spanish);
        let at = |line: &str| spanish.at(&atoms(line), 0);
        assert_eq!(at("Lámina pegajosa"), Some((Word::Part(Part::Liner), 2)));
        assert_eq!(at("lamina"), Some((Word::Part(Part::Liner), 1)));
        assert_eq!(at("closed until"), Some((Word::ClosedUntil, 2)));
        assert_eq!(at("closed"), None);
        assert_eq!(spanish.month("ago"), Some(8));
        assert_eq!(spanish.month("june"), Some(6));
        assert_eq!(Lexicon::of(Language::English).month("ago"), None);
        assert_eq!(spanish.month("ju"), None);
        assert_eq!(spanish.weekday("mie"), Some(3));
    }
}
