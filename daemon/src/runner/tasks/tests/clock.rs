//! Days by a clock that is made wrong for a while and right again.

use chrono::Days;

use super::driven::Driven;
use super::*;

/// When the loop looks at a day, in minutes from the hour of its digest.
const LOOKS: [i64; 5] = [-180, -90, -30, 5, 60];

struct ThreeDays {
    driven: Driven,
    first: NaiveDate,
}

impl ThreeDays {
    fn from(first: NaiveDate) -> Self {
        Self {
            driven: Driven::new(first, "America/Los_Angeles"),
            first,
        }
    }

    /// Drives three days; on the second the clock is wrong for ten minutes after a look, and a quarter of an hour
    /// later two hosts are heard.
    async fn drive(&mut self, error: TimeDelta, after_look: i64) {
        for day in self.first.iter_days().take(3) {
            let digest = self.driven.config().digest_instant(day);
            for minutes in LOOKS {
                let at = digest + TimeDelta::minutes(minutes);
                self.driven.pass_to(at).await;
                if minutes != after_look || day != self.first + Days::new(1) {
                    continue;
                }
                self.driven.farm.clock.make_wrong_by(error);
                self.driven.pass_to(at + TimeDelta::minutes(1)).await;
                self.driven.pass_to(at + TimeDelta::minutes(10)).await;
                self.driven.farm.clock.make_wrong_by(TimeDelta::zero());
                self.driven.pass_to(at + TimeDelta::minutes(11)).await;
                self.driven.farm.clock.pass_to(at + TimeDelta::minutes(25));
                self.driven.hear();
                self.driven.pass_to(at + TimeDelta::minutes(25)).await;
            }
        }
    }

    /// Each day is told once and has one digest at the most, and none is of a day to come.
    async fn is_told_once(&self, what: &str) {
        let owed: Vec<NaiveDate> = self.first.iter_days().take(3).collect();
        let told = "SELECT day FROM job_run WHERE job = 'tell' AND state = 'done' ORDER BY day";
        assert_eq!(self.driven.days_of(told).await, owed, "told, {what}");
        let mailed = "SELECT day FROM outbox WHERE kind = 'digest' ORDER BY day";
        let mailed = self.driven.days_of(mailed).await;
        assert_eq!(mailed, owed, "mailed, {what}");
    }
}

/// How wrong a clock is made.
fn errors() -> [TimeDelta; 7] {
    [
        TimeDelta::hours(1),
        TimeDelta::hours(-1),
        TimeDelta::days(-400),
        TimeDelta::days(10),
        TimeDelta::days(10) + TimeDelta::hours(2),
        TimeDelta::days(365),
        TimeDelta::days(3652),
    ]
}

#[tokio::test]
async fn by_a_clock_that_was_wrong_before_the_telling_each_day_is_told_once() {
    for error in errors() {
        let mut days = ThreeDays::from(june(18));
        days.drive(error, -30).await;
        days.is_told_once(&format!("{error} before the telling"))
            .await;
    }
}

#[tokio::test]
#[ignore = "takes minutes"]
async fn by_a_clock_that_was_wrong_at_any_stage_each_day_is_told_once() {
    for error in errors() {
        for after_look in LOOKS {
            let mut days = ThreeDays::from(june(18));
            days.drive(error, after_look).await;
            days.is_told_once(&format!("{error} after {after_look}"))
                .await;
        }
    }
}

#[tokio::test]
async fn a_clock_far_ahead_has_a_day_told_neither_for_the_future_nor_twice() {
    let mut days = ThreeDays::from(june(18));
    days.drive(TimeDelta::days(365), 60).await;
    days.is_told_once("a year ahead after the telling").await;
    let mails = fs::read_dir(days.driven.farm.file("mail")).unwrap();
    assert_eq!(mails.count(), 3, "nothing left by the clock that was wrong");
}

#[tokio::test]
async fn days_on_which_the_clocks_change_are_told_once() {
    for (month, day) in [(3, 12), (11, 5)] {
        let first = NaiveDate::from_ymd_opt(2022, month, day).unwrap();
        let mut days = ThreeDays::from(first);
        days.drive(TimeDelta::zero(), 0).await;
        let told = "SELECT day FROM job_run WHERE job = 'tell' AND state = 'done' ORDER BY day";
        let owed: Vec<NaiveDate> = first.iter_days().take(3).collect();
        assert_eq!(days.driven.days_of(told).await, owed);
    }
}

#[tokio::test]
async fn what_a_clock_ten_days_ahead_told_is_set_aside_and_today_is_told_the_same_day() {
    let mut days = ThreeDays::from(june(18));
    days.drive(TimeDelta::days(10) + TimeDelta::hours(2), -30)
        .await;
    days.is_told_once("ten days ahead").await;
    let aside = "SELECT content ->> 'day' FROM set_aside WHERE record = 'outbox'";
    assert_eq!(days.driven.days_of(aside).await, [june(29)]);
}

#[tokio::test]
async fn a_clock_that_is_wrong_for_a_day_is_told_whoever_looks_after_the_box_once_and_holds_all_else()
 {
    let mut driven = Driven::new(june(18), "UTC");
    let mails = |driven: &Driven| {
        let files = fs::read_dir(driven.farm.file("mail")).unwrap();
        let names = files.map(|file| file.unwrap().file_name().into_string().unwrap());
        let names: Vec<String> = names.collect();
        let operators = names
            .iter()
            .filter(|name| name.contains("operator"))
            .count();
        (operators, names.len() - operators)
    };
    let mut at = driven.farm.clock.truth() + TimeDelta::hours(7);
    driven.hear();
    driven.pass_to(at).await;
    assert_eq!(mails(&driven), (0, 1), "today's digest");
    driven.farm.clock.make_wrong_by(TimeDelta::days(365));
    let mut told = Vec::new();
    for _ in 0..5 {
        at += TimeDelta::hours(12);
        driven.hear();
        driven.pass_to(at).await;
        told.push(mails(&driven));
    }
    assert_eq!(told, [(0, 1), (0, 1), (1, 1), (1, 1), (1, 1)]);
    let dated = driven
        .days_of("SELECT day FROM outbox WHERE kind = 'operator'")
        .await;
    assert_eq!(dated, [june(19)], "by the right time");

    driven.farm.clock.make_wrong_by(TimeDelta::zero());
    at += TimeDelta::hours(1);
    driven.hear();
    driven.pass_to(at).await;
    assert_eq!(mails(&driven), (2, 2), "it is right, and the day is told");
    let subjects = "SELECT subject FROM outbox WHERE kind = 'operator' ORDER BY place";
    assert_eq!(
        driven.texts_of(subjects).await,
        [
            "The clock of the box is in doubt: nothing is told",
            "Again well: the clock of the box"
        ]
    );
}
