//! Days of silence in words.

use chrono::NaiveDate;

use crate::ledger::CatchUp;

use super::words::Words;

impl Words {
    /// How the subject of a mail that makes up for days begins.
    #[must_use]
    pub fn catch_up_subject(self, catch_up: CatchUp) -> String {
        format!("Catch-up of {} days: ", catch_up.days)
    }

    /// The same at the head of the mail.
    #[must_use]
    pub fn catch_up_remark(self, catch_up: CatchUp, day: NaiveDate) -> String {
        format!(
            "Catch-up of {} days: no mail went out for {}. What happened since stands here once, as it \
             is known on {}.",
            catch_up.days,
            self.silent(catch_up, day),
            self.day(day)
        )
    }

    fn silent(self, catch_up: CatchUp, day: NaiveDate) -> String {
        let last = day.pred_opt().unwrap_or(day).max(catch_up.from());
        self.stretch(catch_up.from(), last)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mail_that_makes_up_for_days_names_them() {
        let day = |d| NaiveDate::from_ymd_opt(2022, 6, d).unwrap();
        let ten = CatchUp::of(day(10), day(19), day(20)).unwrap();
        let words = Words::default();
        assert_eq!(words.catch_up_subject(ten), "Catch-up of 10 days: ");
        let remark = words.catch_up_remark(ten, day(20));
        assert!(
            remark.contains("no mail went out for Jun 11–19."),
            "{remark}"
        );
    }
}
