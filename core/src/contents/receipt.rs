//! What was made of an answer, without markup.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::headline::capital;
use crate::trapping::Visit;
use crate::wording::DateOrder;
use crate::wording::language::Language;

/// What was made of some answers of one person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Receipt {
    /// The language of its words.
    pub language: Language,
    /// What the subject says.
    pub headline: String,
    /// The day in words.
    pub on: String,
    /// Each answer, oldest first.
    pub answers: Vec<AnswerReceipt>,
}

/// What was made of one answer.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct AnswerReceipt {
    /// Which answer it was.
    pub title: String,
    /// Readings that stand now.
    pub rows: Vec<ReceiptRow>,
    /// Their sums by block.
    pub sums: Vec<String>,
    /// Notes that stand now, and what else was done.
    pub done: Vec<String>,
    /// Lines that were not understood or may not be taken.
    pub unclear: Vec<ReceiptLine>,
    /// Lines that wait for the word that they are right.
    pub asked: Vec<ReceiptLine>,
    /// What the readings would confirm.
    pub would: Vec<String>,
}

/// A reading as it stands now.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceiptRow {
    /// The trap.
    pub trap: String,
    /// The day; empty where it is that of the answer.
    pub day: String,
    /// What was found and changed.
    pub found: String,
    /// The reading before.
    pub was: String,
    /// What it replaced, or that it is unusual; empty as a rule.
    pub remark: String,
}

/// A line of an answer, and what is to be said of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceiptLine {
    /// As it was written.
    pub text: String,
    /// Why it was not taken.
    pub why: String,
    /// What was probably meant.
    pub probably: Option<String>,
}

/// What there is to say of a reading that stands now.
#[derive(Debug, Clone, Copy)]
pub struct Stood<'a> {
    /// The day of its answer.
    pub answer_of: NaiveDate,
    /// The reading.
    pub visit: &'a Visit,
    /// The newest reading of the trap before it.
    pub before: Option<&'a Visit>,
    /// What stood on its day until now.
    pub replaced: Option<&'a Visit>,
    /// The most that was counted there before, where this is far more.
    pub usual: Option<u32>,
}

impl Receipt {
    /// Of some answers; `day`: on which it is written.
    #[must_use]
    pub fn new(
        language: Language,
        order: DateOrder,
        day: NaiveDate,
        answers: Vec<AnswerReceipt>,
    ) -> Self {
        let words = &language.words().receipt;
        let open: usize = answers
            .iter()
            .map(|one| one.unclear.len() + one.asked.len())
            .sum();
        let mut headline = format!("{}: {}", language.day(order, day), words.subject);
        if open > 0 {
            headline.push_str(&format!(" ({open} ?)"));
        }
        Self {
            language,
            headline,
            on: capital(&(language.words().round.long_day)(day, order)),
            answers,
        }
    }

    /// Whether something in it waits for the word that it is right.
    #[must_use]
    pub fn asks(&self) -> bool {
        self.answers.iter().any(|answer| !answer.asked.is_empty())
    }
}

impl AnswerReceipt {
    /// Of an answer that was sent on a day, nothing of which was looked at yet.
    #[must_use]
    pub fn of(language: Language, order: DateOrder, sent_on: NaiveDate) -> Self {
        let words = &language.words().receipt;
        Self {
            title: format!("{} {}", words.answer_of, language.day(order, sent_on)),
            ..Self::default()
        }
    }

    /// Whether nothing came of it at all.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.rows.is_empty()
            && self.done.is_empty()
            && self.unclear.is_empty()
            && self.asked.is_empty()
    }

    /// Notes the sum of a block where it has several readings.
    pub fn add_sum(&mut self, language: Language, block: &str, visits: &[&Visit]) {
        let words = &language.words().receipt;
        let sums = counts(visits);
        let sums: Vec<String> = sums
            .iter()
            .zip(words.counts)
            .filter_map(|(sum, nouns)| Some(counted((*sum)?, nouns)))
            .collect();
        if visits.len() > 1 && !sums.is_empty() {
            self.sums.push(format!(
                "{block}: {} {}, {} {}",
                visits.len(),
                words.traps,
                words.sum,
                sums.join(", ")
            ));
        }
    }
}

fn counted(count: u32, [one, more]: [&str; 2]) -> String {
    match count {
        1 => format!("1 {one}"),
        _ => format!("{count} {more}"),
    }
}

/// Eggs, moths, males and females of some visits, each where any has it.
fn counts(visits: &[&Visit]) -> [Option<u32>; 4] {
    let all = visits.iter().map(|v| [v.eggs, v.moths, v.males, v.females]);
    all.fold([None; 4], |mut sums, counts| {
        for (sum, count) in sums.iter_mut().zip(counts) {
            if let Some(count) = count {
                *sum = Some(sum.unwrap_or(0).saturating_add(count));
            }
        }
        sums
    })
}

impl ReceiptRow {
    /// Of a reading that stands now.
    #[must_use]
    pub fn new(language: Language, order: DateOrder, stood: Stood<'_>) -> Self {
        let words = &language.words().receipt;
        let visit = stood.visit;
        let mut remarks = Vec::new();
        match stood.replaced {
            Some(same) if same == visit => remarks.push(words.stood.to_owned()),
            Some(other) => remarks.push(format!("{} {}", words.corrected, found(language, other))),
            None => {}
        }
        remarks.extend(stood.usual.map(|most| format!("{} {most}", words.unusual)));
        Self {
            trap: visit.trap.to_string(),
            day: match visit.date == stood.answer_of {
                true => String::new(),
                false => language.day(order, visit.date),
            },
            found: found(language, visit),
            was: match stood.before {
                Some(before) => {
                    let day = language.day(order, before.date);
                    format!("{} {}, {day}", words.was, caught(language, before))
                }
                None => words.first_reading.to_owned(),
            },
            remark: remarks.join("; "),
        }
    }
}

/// What was found at a trap.
fn caught(language: Language, visit: &Visit) -> String {
    let words = &language.words().receipt;
    let counts = counts(&[visit]);
    let mut found: Vec<String> = counts
        .iter()
        .zip(words.counts)
        .filter_map(|(count, nouns)| Some(counted((*count)?, nouns)))
        .collect();
    if !visit.readable {
        found.push(words.unreadable.to_owned());
    }
    if visit.eggs_left {
        found.push(words.eggs_left.to_owned());
    }
    found.join(", ")
}

/// What was found and changed at a trap.
#[must_use]
pub fn found(language: Language, visit: &Visit) -> String {
    let words = &language.words().receipt;
    let mut found: Vec<String> = Some(caught(language, visit))
        .into_iter()
        .filter(|said| !said.is_empty())
        .collect();
    if !visit.serviced.is_empty() {
        let parts: Vec<&str> = visit
            .serviced
            .iter()
            .map(|part| language.part(*part))
            .collect();
        found.push(format!("{} {}", words.changed, parts.join(", ")));
    }
    if !visit.note.is_empty() {
        found.push(visit.note.clone());
    }
    found.join(", ")
}

/// The most that was counted at a trap before, where a count is far more than that: five times as much and at least
/// 20 more (common practice, no source). `before`: its readings of the season, at least three of them counted.
#[must_use]
pub fn usual(visit: &Visit, before: &[Visit]) -> Option<u32> {
    let count = |visit: &Visit| match visit.eggs {
        Some(eggs) => Some(eggs),
        None => visit.all_moths(),
    };
    let counted: Vec<u32> = before.iter().filter_map(count).collect();
    let most = *counted.iter().max().filter(|_| counted.len() >= 3)?;
    let now = count(visit)?;
    (now >= most.saturating_mul(5) && now >= most.saturating_add(20)).then_some(most)
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use super::*;
    use crate::orchard::Part;
    use crate::sample;

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
    }

    fn eggs(on: u32, eggs: u32) -> Visit {
        Visit {
            eggs: Some(eggs),
            ..sample::visit("N1-E1", day(on))
        }
    }

    #[test]
    fn a_reading_is_told_with_the_one_before_and_what_it_replaced() {
        let now = Visit {
            serviced: BTreeSet::from([Part::Bait]),
            ..eggs(21, 14)
        };
        let stood = Stood {
            answer_of: day(21),
            visit: &now,
            before: Some(&eggs(14, 3)),
            replaced: Some(&eggs(21, 12)),
            usual: None,
        };
        let row = ReceiptRow::new(Language::English, DateOrder::MonthDay, stood);
        assert_eq!(row.found, "14 eggs, changed bait");
        assert_eq!(row.was, "was 3 eggs, Jun 14");
        assert_eq!(row.remark, "corrected, stood as 12 eggs");
        let row = ReceiptRow::new(Language::Spanish, DateOrder::DayMonth, stood);
        assert_eq!(row.was, "antes 3 huevos, 14 jun");
    }

    #[test]
    fn what_is_far_more_than_ever_is_pointed_out_once_three_readings_are_known() {
        let before: Vec<Visit> = [10, 30, 20]
            .iter()
            .zip(1..)
            .map(|(n, on)| eggs(on, *n))
            .collect();
        assert_eq!(usual(&eggs(21, 300), &before), Some(30));
        assert_eq!(usual(&eggs(21, 149), &before), None);
        assert_eq!(usual(&eggs(21, 300), &before[..2]), None);
        let none: Vec<Visit> = (1..6).map(|on| eggs(on, 0)).collect();
        assert_eq!(usual(&eggs(21, 19), &none), None);
        assert_eq!(usual(&eggs(21, 20), &none), Some(0));
    }
}
