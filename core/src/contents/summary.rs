//! The contents of the one mail that stands for all that would have been too many, without markup.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::PersonId;

use super::alert::AlertItem;
use super::key_date::{KeyDate, note};
use super::letter::Letter;
use super::single::Single;
use crate::ledger::CatchUp;

/// What one person is told on one day of several advisers' blocks, in one mail.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Summary {
    /// The civil day it is for.
    pub day: NaiveDate,
    /// The one most important line.
    pub headline: String,
    /// Mails that were folded into it, most urgent first.
    pub parts: Vec<SummaryPart>,
    /// The days it makes up for, where mails were left out.
    pub catch_up: Option<CatchUp>,
}

/// A mail that would have been one of its own.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SummaryPart {
    /// The adviser whose blocks it is about.
    pub adviser: PersonId,
    /// Its key dates, most important first.
    pub items: Vec<AlertItem>,
    /// What they rest on, in one line.
    pub rests_on: String,
    /// Its letter.
    pub letter: Option<Letter>,
    /// What goes into the person's calendar.
    pub calendar: Vec<KeyDate>,
}

impl Summary {
    /// Folds mails into one, each by its adviser, the most urgent first; `None` without any.
    #[must_use]
    pub fn of(day: NaiveDate, mails: Vec<(PersonId, Single)>) -> Option<Self> {
        let headline = mails.first()?.1.headline().to_owned();
        let catch_up = mails.iter().filter_map(|(_, mail)| mail.catch_up());
        let catch_up = catch_up.reduce(|one, other| one.or_longer(Some(other)));
        let parts: Vec<SummaryPart> = mails.into_iter().map(SummaryPart::of).collect();
        Some(Self {
            day,
            headline,
            parts,
            catch_up,
        })
    }
}

impl SummaryPart {
    fn of((adviser, mail): (PersonId, Single)) -> Self {
        let mut part = Self {
            adviser,
            items: Vec::new(),
            rests_on: String::new(),
            letter: None,
            calendar: Vec::new(),
        };
        match mail {
            Single::Alert(alert) => {
                part.items = alert.items;
                part.rests_on = alert.rests_on;
                part.calendar = alert.calendar;
            }
            Single::Letter(letter) => part.letter = Some(letter),
            // A round is a mail of its own.
            Single::Round(_) => {}
        }
        part
    }

    /// What the calendar file does, in one sentence; `None` without any.
    #[must_use]
    pub fn calendar_note(&self) -> Option<String> {
        note(&self.calendar)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contents::{Alert, AlertLine};

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, d).unwrap()
    }

    fn alert(name: &str, items: usize, catch_up: Option<CatchUp>) -> Single {
        let item = AlertItem {
            title: "First egg hatch".to_owned(),
            lines: vec![AlertLine {
                name: name.to_owned(),
                when: None,
                says: "mark passed".to_owned(),
            }],
        };
        Single::Alert(Alert {
            day: day(20),
            headline: format!("{name}: first egg hatch"),
            items: vec![item; items],
            rests_on: String::new(),
            calendar: Vec::new(),
            catch_up,
        })
    }

    #[test]
    fn a_summary_leads_with_its_most_urgent_mail() {
        let [ada, bo] = ["ada", "bo"].map(|id| PersonId::new(id).unwrap());
        let ten = CatchUp::of(day(10), day(19), day(20));
        let mails = vec![
            (ada.clone(), alert("North", 2, None)),
            (bo.clone(), alert("South", 1, ten)),
        ];
        let summary = Summary::of(day(20), mails).unwrap();
        assert_eq!(summary.headline, "North: first egg hatch");
        assert_eq!(summary.catch_up, ten);
        let advisers: Vec<&PersonId> = summary.parts.iter().map(|part| &part.adviser).collect();
        assert_eq!(advisers, [&ada, &bo]);
        assert_eq!(Summary::of(day(20), Vec::new()), None);
    }
}
