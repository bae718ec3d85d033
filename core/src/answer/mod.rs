//! What a person may write back to a mail: from text to visits, notes and orders, and to the lines that were not
//! understood.

mod atoms;
mod blocks;
mod context;
mod counts;
mod days;
mod fault;
mod gather;
mod headers;
mod lexicon;
mod lines;
mod names;
mod orders;
mod readings;
mod repair;
mod tidy;
mod written;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::{BlockId, TrapId};
use crate::orchard::TrapKind;
use crate::trapping::{NoteKind, Visit};
use crate::wording::DateOrder;
use crate::wording::language::Language;

/// What an answer may speak of.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Form {
    /// The traps of the mail that is answered, in its order; none where it is no round mail.
    pub asked: Vec<TrapId>,
    /// Every trap that the writer may enter readings of.
    pub traps: Vec<FormTrap>,
    /// Every block that the writer may enter notes of.
    pub blocks: Vec<FormBlock>,
}

/// A trap that an answer may name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormTrap {
    /// Its id.
    pub id: TrapId,
    /// Its block.
    pub block: BlockId,
    /// What it catches.
    pub kind: TrapKind,
    /// The one day of which the mail that is answered told a reading of it: also that of a reading which names none.
    pub told: Option<NaiveDate>,
}

/// A block that an answer may name, by its id or its name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FormBlock {
    /// Its id.
    pub id: BlockId,
    /// Its name.
    pub name: String,
    /// Its varieties.
    pub varieties: Vec<String>,
}

/// How an answer is to be taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sent {
    /// The civil day on which it was sent, in the farm's zone: `today`.
    pub on: NaiveDate,
    /// Whether it is that of readings and notes which name none; else theirs has to be written.
    pub day_is_clear: bool,
    /// The farm's order of month and day.
    pub order: DateOrder,
    /// The writer's language; English words are always understood as well.
    pub language: Language,
}

impl Sent {
    /// The day of what names none, where it is clear.
    fn unwritten(&self) -> Option<NaiveDate> {
        self.day_is_clear.then_some(self.on)
    }
}

/// What an answer says.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Answer {
    /// What was understood, in the order in which it was written.
    pub said: Vec<Line>,
    /// Lines that were not, or that are asked about.
    pub unclear: Vec<Unclear>,
    /// What else was written, where nothing that could mean a reading was: it is meant for a person.
    pub talk: Vec<String>,
}

/// Something that was understood. A line that runs through several traps gives one for each.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Line {
    /// The line as it was written.
    pub text: String,
    /// What it says.
    pub says: Says,
}

/// What a line says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Says {
    /// A reading or a service of a trap.
    Visit(Visit),
    /// A field note.
    Note(FieldNote),
    /// Something that is to be done.
    Order(Order),
}

/// A field note as it was written.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct FieldNote {
    /// The block.
    pub block: BlockId,
    /// The variety, where it is about one.
    pub variety: Option<String>,
    /// The day on which it was seen or decided.
    pub date: NaiveDate,
    /// What it says.
    pub kind: NoteKind,
    /// A remark.
    pub text: String,
}

/// Something that is to be done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Order {
    /// What was asked about is right as it was written.
    Sure,
    /// The whole answer before is taken back.
    Undo,
    /// Alerts to a person are kept back; the words that name them.
    Hold(String),
    /// They may leave.
    Release(String),
    /// A line of the adviser's is added to a person's alerts that wait.
    AddLine {
        /// The words that name the person.
        to: String,
        /// The line.
        line: String,
    },
    /// The egg-laying start of a block is set by hand.
    Start {
        /// The block.
        block: BlockId,
        /// The day.
        day: NaiveDate,
        /// The reason given.
        because: String,
    },
}

/// A line that was not understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unclear {
    /// The line as it was written.
    pub text: String,
    /// Why it was not taken.
    pub why: WhyUnclear,
    /// What was probably meant, as it would be understood.
    pub probably: Option<String>,
}

/// Why a line was not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum WhyUnclear {
    /// It names no trap or block that the writer may enter.
    NoSuchName,
    /// A word or number in it is not understood.
    NotUnderstood,
    /// Its day lies ahead, too far back, or is in no calendar; also of a reading below such a day.
    OddDay,
    /// It names no day, and that of the answer is not known to be meant.
    NoDay,
    /// Another line of the same answer says something else of the same trap and day.
    Twice,
}

/// Reads the text of an answer; what was quoted of other mails is left out, but for lines of ours that were filled
/// in.
#[must_use]
pub fn read(text: &str, form: &Form, sent: &Sent) -> Answer {
    let lexicon = lexicon::Lexicon::of(sent.language);
    let names = names::Names::of(form, &lexicon);
    let context = context::Context {
        names: &names,
        lexicon: &lexicon,
        sent,
    };
    let text = tidy::tidy(text);
    let written = written::written(&text, &|line| context.tells_of_a_trap(line));
    gather::gather(&context, &written)
}

#[cfg(test)]
mod tests;
