//! Words for records that are missing.

use super::words::Words;
use super::work::plural;
use crate::ledger::{Entered, MissingRecords};

impl Words {
    /// What is missing, in one or two sentences.
    #[must_use]
    pub fn missing_records(self, missing: &MissingRecords) -> String {
        let newest = self.day(missing.newest);
        let of = missing.was.unwrap_or(missing.now);
        let now = entered(missing.now, of);
        match missing.was {
            Some(was) => format!(
                "Mails that left up to {newest} rested on {}. The database has {now}.",
                entered(was, of)
            ),
            None => format!(
                "Mails left up to {newest}, and the database is older or new: it has {now}."
            ),
        }
    }

    /// What can be done about it. `taken_back`: dates that would be taken back, and from how many people.
    pub(crate) fn ways_to_settle(self, (dates, people): (usize, usize)) -> Vec<String> {
        let would = match (dates, people) {
            (0, _) => String::new(),
            (_, 1) => format!("; by today {} told to one person", plural(dates, "date")),
            _ => format!(
                "; by today {} told to {people} people",
                plural(dates, "date")
            ),
        };
        vec![
            "If there is a newer copy: stop the service, put it back (duskflight restore latest), and start it again."
                .to_owned(),
            "If the sheets are still there: import them again. It is noticed within the hour."
                .to_owned(),
            format!(
                "If the records are lost for good: duskflight accept-records lists what would be taken back{would}."
            ),
        ]
    }
}

/// What was entered, without the kinds of which there is none in `of`.
fn entered(entered: Entered, of: Entered) -> String {
    let mut parts = vec![plural(entered.readings, "reading")];
    if of.notes > 0 {
        parts.push(plural(entered.notes, "field note"));
    }
    if of.temperatures > 0 {
        let temperatures = plural(entered.temperatures, "temperature");
        parts.push(format!("{temperatures} judged by hand"));
    }
    Words::listed(&parts)
}
