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
        let known = match missing.unknown_mails {
            0 => String::new(),
            mails => format!(" It knows nothing of {} that left.", plural(mails, "mail")),
        };
        match missing.was {
            Some(was) => format!(
                "Mails that left up to {newest} rested on {}. The database has {now}.{known}",
                entered(was, of)
            ),
            None => format!(
                "Mails left up to {newest}, and the database is older or new: it has {now}.{known}"
            ),
        }
    }

    /// What can be done about it. `taken_back`: dates that would be taken back, and from how many people.
    pub(crate) fn ways_to_settle(self, (dates, people): (usize, usize)) -> Vec<String> {
        let would = match dates {
            0 => "nothing that was told would be taken back".to_owned(),
            _ => {
                let dates = plural(dates, "date");
                let people = match people {
                    1 => "one person".to_owned(),
                    people => format!("{people} people"),
                };
                format!("{dates} told to {people} would be taken back")
            }
        };
        vec![
            "If there is a newer copy: stop the service, put it back with `duskflight restore`, and start it again."
                .to_owned(),
            "If the sheets are still there: import them again. It is noticed within the hour.".to_owned(),
            format!("If the records are lost for good: `duskflight accept-records` lists what follows; now {would}."),
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
