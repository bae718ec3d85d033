//! The part of our mails that cannot be guessed, by which an answer is known.

use chrono::{Days, NaiveDate};
use duskflight_core::id::PersonId;
use duskflight_core::ledger::{MailIdentity, MailKind};
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

use crate::hash::hash;

/// Answers to older mails do not count.
pub const ANSWERED_FOR: Days = Days::new(45);
/// Characters of a mark: kind, day, which mail of that day, proof of 80 bits.
const LENGTH: usize = 1 + DAY + WHICH + PROOF;
const DAY: usize = 4;
const WHICH: usize = 8;
const PROOF: usize = 16;
/// Small letters and digits that mail servers leave as they are, without those that look alike.
const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";

/// What marks are made with, from the database.
#[derive(Clone, PartialEq, Eq)]
pub struct MarkKey(Vec<u8>);

impl std::fmt::Debug for MarkKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("MarkKey(***)")
    }
}

/// Which of our mails to a person an answer refers to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Marked {
    /// What it was.
    pub kind: MailKind,
    /// Its day.
    pub day: NaiveDate,
    /// Which one of that kind and day, as [`which`] names it.
    pub which: String,
}

/// The kinds of mail that are answered, each with its letter.
const ANSWERED: [(MailKind, char); 3] = [
    (MailKind::Round, 'r'),
    (MailKind::Digest, 'd'),
    (MailKind::Receipt, 'q'),
];

impl MarkKey {
    /// Of the bytes in the database.
    #[must_use]
    pub const fn new(key: Vec<u8>) -> Self {
        Self(key)
    }

    /// The mark of a mail; `None` for a kind that nobody answers.
    #[must_use]
    pub fn mark(&self, mail: &MailIdentity) -> Option<String> {
        let (_, letter) = ANSWERED.iter().find(|(kind, _)| *kind == mail.kind)?;
        let since = mail
            .day
            .signed_duration_since(NaiveDate::default())
            .num_days();
        let day = in_letters(u64::try_from(since).ok()?, DAY);
        let said = format!("{letter}{day}{}", which(mail));
        Some(format!("{said}{}", self.proof(&mail.person, &said)))
    }

    /// Which mail to a person some text names, of those of the last 45 days.
    #[must_use]
    pub fn find(&self, person: &PersonId, text: &str, today: NaiveDate) -> Option<Marked> {
        let text = text.to_ascii_lowercase();
        let words = text.split(|c: char| !c.is_ascii_alphanumeric());
        let mut marks = words.filter(|word| word.len() == LENGTH).take(20);
        marks.find_map(|mark| self.check(person, mark, today))
    }

    fn check(&self, person: &PersonId, mark: &str, today: NaiveDate) -> Option<Marked> {
        let (said, proof) = mark.split_at(LENGTH - PROOF);
        // Compared as hashes are: in a time that says nothing of where they differ.
        let expected = self.proof(person, said);
        let differ = expected
            .bytes()
            .zip(proof.bytes())
            .fold(0, |all, (a, b)| all | (a ^ b));
        let letter = said.chars().next()?;
        let (kind, _) = ANSWERED.iter().find(|(_, known)| *known == letter)?;
        let since = from_letters(&said[1..=DAY])?;
        let day = NaiveDate::default().checked_add_days(Days::new(since))?;
        let is_recent = today <= day.checked_add_days(ANSWERED_FOR)?;
        (differ == 0 && is_recent).then(|| Marked {
            kind: *kind,
            day,
            which: said[1 + DAY..].to_owned(),
        })
    }

    fn proof(&self, person: &PersonId, said: &str) -> String {
        let mut mac =
            <Hmac<Sha256> as KeyInit>::new_from_slice(&self.0).expect("a key of any length");
        mac.update(person.as_str().as_bytes());
        mac.update(b"\0");
        mac.update(said.as_bytes());
        let bytes = mac.finalize().into_bytes();
        bytes[..PROOF]
            .iter()
            .map(|byte| char::from(LETTERS[usize::from(byte % 32)]))
            .collect()
    }
}

/// Which mail of one kind, person and day it is.
#[must_use]
pub fn which(mail: &MailIdentity) -> String {
    let adviser = mail.adviser.as_ref().map_or("", PersonId::as_str);
    let hash = hash(&[adviser.as_bytes(), mail.about.as_bytes()]);
    in_letters(u64::from_str_radix(&hash[..10], 16).unwrap_or(0), WHICH)
}

fn in_letters(number: u64, length: usize) -> String {
    let mut rest = number;
    let mut letters: Vec<char> = Vec::with_capacity(length);
    for _ in 0..length {
        let place = usize::try_from(rest % 32).unwrap_or(0);
        letters.push(char::from(LETTERS[place]));
        rest /= 32;
    }
    letters.iter().rev().collect()
}

fn from_letters(letters: &str) -> Option<u64> {
    letters.bytes().try_fold(0, |number, letter| {
        let place = LETTERS.iter().position(|known| *known == letter)?;
        Some(number * 32 + u64::try_from(place).ok()?)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn id(text: &str) -> PersonId {
        PersonId::new(text).unwrap()
    }

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
    }

    fn mail(kind: MailKind) -> MailIdentity {
        MailIdentity {
            kind,
            person: id("pete"),
            adviser: Some(id("ada")),
            day: day(14),
            about: "north".to_owned(),
        }
    }

    #[test]
    fn a_mark_is_known_to_its_person_alone_for_45_days_in_any_capitals() {
        let key = MarkKey::new(vec![7; 32]);
        let mark = key.mark(&mail(MailKind::Round)).unwrap();
        assert_eq!(mark.len(), LENGTH);
        let address = format!("Office+{}@farm.example", mark.to_uppercase());
        let found = key.find(&id("pete"), &address, day(15)).unwrap();
        assert_eq!((found.kind, found.day), (MailKind::Round, day(14)));
        assert_eq!(found.which, which(&mail(MailKind::Round)));
        assert_eq!(key.find(&id("gil"), &mark, day(15)), None);
        let last = day(14).checked_add_days(ANSWERED_FOR).unwrap();
        assert!(key.find(&id("pete"), &mark, last).is_some());
        assert_eq!(key.find(&id("pete"), &mark, last.succ_opt().unwrap()), None);
        assert_eq!(
            MarkKey::new(vec![8; 32]).find(&id("pete"), &mark, day(15)),
            None
        );
        assert_eq!(key.mark(&mail(MailKind::Alert)), None);
    }

    #[test]
    fn no_letter_of_a_mark_can_be_another() {
        let key = MarkKey::new(vec![7; 32]);
        let mark = key.mark(&mail(MailKind::Digest)).unwrap();
        for place in 0..mark.len() {
            let mut changed = mark.clone().into_bytes();
            changed[place] = if changed[place] == b'a' { b'b' } else { b'a' };
            let changed = String::from_utf8(changed).unwrap();
            assert_eq!(key.find(&id("pete"), &changed, day(15)), None, "{place}");
        }
    }
}
