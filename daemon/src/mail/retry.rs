//! How long to wait after a failed try, and when to give up: pure, from counts and instants.

use chrono::{DateTime, TimeDelta, Utc};

use super::reply_class::ReplyClass;
use super::send_error::SendError;
use crate::store::outbox::{End, Waiting};
use crate::store::outbox_report::Trouble;

/// Pauses after the first, second, … failed try; the last one repeats.
const PAUSES_MIN: [i64; 5] = [1, 5, 15, 60, 240];
/// While something on our side must be mended, and the longest pause while a server is down.
const HOURLY: TimeDelta = TimeDelta::hours(1);
/// Pause after a refusal without a clear reason: three tries lie within a day.
const SLOW: TimeDelta = TimeDelta::hours(12);
/// Refusals without a clear reason after which a mail has failed.
const MOST_REFUSALS: u32 = 3;
/// Pause after a try whose outcome is unknown.
const UNKNOWN_PAUSE: TimeDelta = TimeDelta::days(1);
/// A try whose outcome is unknown is the last so long after the first such one: with the pause, the third.
const UNKNOWN_FOR: TimeDelta = TimeDelta::days(2);
/// A mail is given up after so long a time of trying.
pub(super) const LONGEST: TimeDelta = TimeDelta::hours(72);

/// What comes after a failed try.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Next {
    /// Another try, at this instant at the earliest.
    At(DateTime<Utc>),
    /// Nothing.
    Never(End),
}

/// What comes after a try of one mail that failed at `now`.
pub(super) fn next(error: &SendError, mail: &Waiting, now: DateTime<Utc>) -> Next {
    match error.class {
        _ if error.may_be_taken => after_unknown(mail, now),
        ReplyClass::OurFault { .. } => Next::At(now + HOURLY),
        ReplyClass::Refused => Next::Never(End::Failed),
        ReplyClass::Unclear if mail.refusals + 1 >= MOST_REFUSALS => Next::Never(End::Failed),
        ReplyClass::Unclear => Next::At(now + SLOW),
        ReplyClass::TryAgain if tried_for_too_long(mail.first_try, now) => {
            Next::Never(End::Expired)
        }
        ReplyClass::TryAgain => Next::At(now + pause(mail.attempts)),
    }
}

/// After a try whose outcome is unknown, which is no failure: each further one may put another copy into the same
/// mailbox.
fn after_unknown(mail: &Waiting, now: DateTime<Utc>) -> Next {
    let since = mail.unknown_since.unwrap_or(now);
    match now - since >= UNKNOWN_FOR {
        true => Next::Never(End::Expired),
        false => Next::At(now + UNKNOWN_PAUSE),
    }
}

/// The trouble after one more failure on the way to all recipients.
pub(super) fn trouble(
    before: Option<&Trouble>,
    error: &str,
    advice: Option<&str>,
    now: DateTime<Utc>,
) -> Trouble {
    let failures = before.map_or(0, |trouble| trouble.failures);
    let pause = if advice.is_some() {
        HOURLY
    } else {
        pause(failures).min(HOURLY)
    };
    Trouble {
        since: before.map_or(now, |trouble| trouble.since),
        failures: failures.saturating_add(1),
        next_try: now + pause,
        error: error.to_owned(),
        advice: advice.map(str::to_owned),
    }
}

/// Whether trying that began at `since` has lasted too long.
pub(super) fn tried_for_too_long(since: Option<DateTime<Utc>>, now: DateTime<Utc>) -> bool {
    since.is_some_and(|since| now - since >= LONGEST)
}

fn pause(failures_before: u32) -> TimeDelta {
    let place = usize::try_from(failures_before).unwrap_or(usize::MAX);
    TimeDelta::minutes(PAUSES_MIN[place.min(PAUSES_MIN.len() - 1)])
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;
    use duskflight_core::id::PersonId;
    use duskflight_core::ledger::MailKind;

    use super::*;

    fn at(minutes: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_655_730_000 + minutes * 60, 0).unwrap()
    }

    fn mail(attempts: u32, refusals: u32, first_try: Option<i64>) -> Waiting {
        Waiting {
            message_id: "<a@b.example>".to_owned(),
            kind: MailKind::Alert,
            person: PersonId::new("gil").unwrap(),
            adviser: PersonId::new("ada").ok(),
            day: NaiveDate::from_ymd_opt(2022, 6, 20).unwrap(),
            about: String::new(),
            doubtful: false,
            unknown_since: None,
            error: None,
            address: "gil@farm.example".to_owned(),
            body: Vec::new(),
            attempts,
            refusals,
            first_try: first_try.map(at),
        }
    }

    fn failed(class: ReplyClass) -> SendError {
        SendError {
            class,
            of_all: false,
            reason: String::new(),
            may_be_taken: false,
        }
    }

    #[test]
    fn a_try_whose_outcome_is_unknown_is_made_again_a_day_later_and_twice_at_the_most() {
        let day = 24 * 60;
        let unknown = SendError {
            may_be_taken: true,
            ..failed(ReplyClass::TryAgain)
        };
        let after = |since: Option<i64>, now| {
            let mail = Waiting {
                unknown_since: since.map(at),
                ..mail(1, 0, Some(0))
            };
            next(&unknown, &mail, at(now))
        };
        assert_eq!(after(None, 10), Next::At(at(day + 10)));
        assert_eq!(after(Some(10), day + 20), Next::At(at(2 * day + 20)));
        assert_eq!(after(Some(10), 2 * day + 30), Next::Never(End::Expired));
    }

    #[test]
    fn pauses_grow_and_then_repeat() {
        let minutes = [0, 1, 2, 3, 4, 5, 99].map(|attempts| pause(attempts).num_minutes());
        assert_eq!(minutes, [1, 5, 15, 60, 240, 240, 240]);
    }

    #[test]
    fn a_passing_failure_is_tried_for_three_days_from_the_first_try() {
        let again = |attempts, first, now| {
            next(
                &failed(ReplyClass::TryAgain),
                &mail(attempts, 0, first),
                at(now),
            )
        };
        assert_eq!(again(0, None, 0), Next::At(at(1)));
        assert_eq!(again(2, Some(0), 6), Next::At(at(21)));
        assert_eq!(again(20, Some(0), 72 * 60 - 1), Next::At(at(76 * 60 - 1)));
        assert_eq!(again(20, Some(0), 72 * 60), Next::Never(End::Expired));
    }

    #[test]
    fn an_unclear_refusal_is_tried_three_times_within_a_day() {
        let unclear = |refusals, now| {
            next(
                &failed(ReplyClass::Unclear),
                &mail(1, refusals, Some(0)),
                at(now),
            )
        };
        assert_eq!(unclear(0, 0), Next::At(at(12 * 60)));
        assert_eq!(unclear(1, 12 * 60), Next::At(at(24 * 60)));
        assert_eq!(unclear(2, 24 * 60), Next::Never(End::Failed));
    }

    #[test]
    fn our_own_fault_never_gives_a_mail_up() {
        let ours = &failed(ReplyClass::OurFault { advice: "mend it" });
        let week = 7 * 24 * 60;
        assert_eq!(
            next(ours, &mail(99, 2, Some(0)), at(week)),
            Next::At(at(week + 60))
        );
        assert_eq!(
            next(&failed(ReplyClass::Refused), &mail(0, 0, None), at(0)),
            Next::Never(End::Failed)
        );
    }

    #[test]
    fn trouble_on_the_way_counts_up_and_is_tried_hourly_at_the_least() {
        let mut pauses = Vec::new();
        let mut before = None;
        for _ in 0..6 {
            let now = before.as_ref().map_or(at(0), |t: &Trouble| t.next_try);
            let after = trouble(before.as_ref(), "no route", None, now);
            pauses.push((after.next_try - now).num_minutes());
            before = Some(after);
        }
        assert_eq!(pauses, [1, 5, 15, 60, 60, 60]);
        let after = before.unwrap();
        assert_eq!((after.since, after.failures), (at(0), 6));
        let ours = trouble(None, "wrong password", Some("mend it"), at(0));
        assert_eq!(ours.next_try, at(60));
    }
}
