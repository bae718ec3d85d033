//! The languages of round mails, round sheets, answers and receipts: all words of one stand in one file.

mod answer_words;
mod english;
mod receipt_words;
mod round_words;
mod spanish;
mod speech;

pub use answer_words::AnswerWords;
pub use receipt_words::ReceiptWords;
pub use round_words::{MailWords, RoundWords, SheetWords, TodoWords};
pub use speech::Speech;

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

use super::DateOrder;
use crate::orchard::Part;

/// A language that people may have their rounds in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default, Serialize, Deserialize)]
pub enum Language {
    /// English.
    #[default]
    #[serde(rename = "en")]
    English,
    /// Spanish.
    #[serde(rename = "es")]
    Spanish,
}

/// The words of one language.
#[derive(Debug)]
pub struct Vocabulary {
    /// The months, as short as they are printed.
    pub months: [&'static str; 12],
    /// The parts of a trap, in the order of [`Part::ALL`].
    pub parts: [&'static str; 4],
    /// What people may write in an answer.
    pub answer: AnswerWords,
    /// What stands in round mails and on round sheets.
    pub round: RoundWords,
    /// What stands in receipts.
    pub receipt: ReceiptWords,
}

impl Language {
    /// All languages.
    pub const ALL: [Self; 2] = [Self::English, Self::Spanish];

    /// Its code (ISO 639-1), as files and the HTML of mails name it.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::English => "en",
            Self::Spanish => "es",
        }
    }

    /// Reads what [`Language::code`] writes.
    #[must_use]
    pub fn from_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.code() == code)
    }

    /// Its words.
    #[must_use]
    pub const fn words(self) -> &'static Vocabulary {
        match self {
            Self::English => &english::WORDS,
            Self::Spanish => &spanish::WORDS,
        }
    }

    /// A day of the season, without its year; Spanish has one order of day and month.
    #[must_use]
    pub fn day(self, order: DateOrder, day: NaiveDate) -> String {
        let month = self
            .words()
            .months
            .get(day.month0() as usize)
            .copied()
            .unwrap_or_default();
        match (order, self) {
            (DateOrder::MonthDay, Self::English) => format!("{month} {}", day.day()),
            (DateOrder::MonthDay | DateOrder::DayMonth, _) => format!("{} {month}", day.day()),
            (DateOrder::Iso, _) => day.to_string(),
        }
    }

    /// A part of a trap.
    #[must_use]
    pub const fn part(self, part: Part) -> &'static str {
        let [lure, ppo, bait, liner] = self.words().parts;
        match part {
            Part::Lure => lure,
            Part::Ppo => ppo,
            Part::Bait => bait,
            Part::Liner => liner,
        }
    }
}
