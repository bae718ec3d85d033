//! What an adviser has done by an answer: alerts held, let go or given a line, a start set by hand.

use chrono::{DateTime, Utc};
use duskflight_core::answer::{FieldNote, Order};
use duskflight_core::ledger::Role;
use duskflight_core::trapping::{NoteKind, StartByHand};
use duskflight_core::wording::language::ReceiptWords;
use rusqlite::Connection;

use super::verdict::Verdict;
use crate::config::{Config, Person};
use crate::mail::contents::What;
use crate::nearest::suggestion;
use crate::records::{Entered, Writer};
use crate::store::StoreError;
use crate::telling::in_hand::{Deed, InHandError, checked_line};

/// Whoever gives an order, and how far they are proved to be whom they say.
#[derive(Debug, Clone, Copy)]
pub(super) struct Giver<'a> {
    pub(super) config: &'a Config,
    pub(super) person: &'a Person,
    pub(super) verdict: Verdict,
    pub(super) words: &'static ReceiptWords,
    pub(super) now: DateTime<Utc>,
}

impl Giver<'_> {
    /// Carries an order out, or gives why it was not.
    ///
    /// # Errors
    /// When the records cannot be read or written.
    pub(super) fn carry_out(
        &self,
        connection: &Connection,
        order: &Order,
        writer: &Writer<'_>,
        place: usize,
    ) -> Result<Option<String>, StoreError> {
        if let Some(why) = self.may_not() {
            return Ok(Some(why.to_owned()));
        }
        match order {
            Order::Hold(who) => self.change_alert(connection, who, What::Held),
            Order::Release(who) => self.change_alert(connection, who, What::Released),
            Order::AddLine { to, line } => match checked_line(line) {
                Ok(line) => self.change_alert(connection, to, What::Line(line)),
                Err(error) => Ok(Some(error.to_string())),
            },
            Order::Start {
                block,
                day,
                because,
            } => {
                let note = FieldNote {
                    block: block.clone(),
                    variety: None,
                    date: self.config.day_of(self.now),
                    kind: NoteKind::EggLayingStart(StartByHand::from(*day)),
                    text: because.clone(),
                };
                self.start(connection, note, writer, place)
            }
            // What the answer itself is about.
            Order::Sure | Order::Undo => Ok(None),
        }
    }

    /// Why the person may give no orders by mail.
    fn may_not(&self) -> Option<&'static str> {
        let proved_by = self
            .config
            .inbox
            .as_ref()
            .and_then(|inbox| inbox.verified_by.as_ref());
        match self.verdict {
            _ if !self.person.roles.has(Role::Adviser) => Some(self.words.not_yours),
            _ if proved_by.is_none() => Some(self.words.no_proof_set),
            Verdict::Passed => None,
            Verdict::Nothing | Verdict::Failed => Some(self.words.not_proved),
        }
    }

    /// Does something to the alert about this adviser's blocks that waits for whom some words name.
    fn change_alert(
        &self,
        connection: &Connection,
        words: &str,
        what: What,
    ) -> Result<Option<String>, StoreError> {
        let who = match self.person_of(words) {
            Ok(person) => person,
            Err(why) => return Ok(Some(why)),
        };
        let deed = Deed {
            who: who.id.to_string(),
            of: Some(self.person.id.clone()),
            by: Some(self.person.name.clone()),
            what,
        };
        match deed.carry_out(connection, self.config, self.now) {
            Ok(_) => Ok(None),
            Err(InHandError::Store(error)) => Err(error),
            Err(other) => Ok(Some(other.to_string())),
        }
    }

    /// The one person whose id, name, or part of the name that is.
    fn person_of(&self, words: &str) -> Result<&Person, String> {
        let wanted = words.trim().to_lowercase();
        let people = self.config.people.iter();
        let found = |is: &dyn Fn(&Person) -> bool| -> Vec<&Person> {
            people.clone().filter(|p| is(p)).collect()
        };
        let whole = found(&|p| {
            p.id.as_str().eq_ignore_ascii_case(&wanted) || p.name.to_lowercase() == wanted
        });
        let part = found(&|p| {
            p.name
                .to_lowercase()
                .split_whitespace()
                .any(|word| word == wanted)
        });
        match (&whole[..], &part[..]) {
            ([one], _) | ([], [one]) => Ok(one),
            _ => {
                let names = people.map(|person| person.name.as_str());
                Err(format!(
                    "{}{}",
                    self.words.no_such_name,
                    suggestion(words, names)
                ))
            }
        }
    }

    fn start(
        &self,
        connection: &Connection,
        note: FieldNote,
        writer: &Writer<'_>,
        place: usize,
    ) -> Result<Option<String>, StoreError> {
        let orchard = self.config.orchard_on(note.date);
        let block = orchard.block(&note.block);
        if !block.is_some_and(|block| block.is_advised_by(&self.person.id)) {
            return Ok(Some(self.words.not_yours.to_owned()));
        }
        let entered = writer.notes(connection, &[note], place)?;
        Ok(entered.into_iter().find_map(|outcome| match outcome {
            Entered::Refused(why) | Entered::Asked(why) => Some(why),
            Entered::Stands { .. } | Entered::Differs { .. } => None,
        }))
    }
}
