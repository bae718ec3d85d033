//! Whether the machine's clock is believed: one pure rule over what witnesses it.

use std::fmt;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};

use crate::clock::SLACK;

/// So long after the machine came up, or its clock was set, it is believed without a witness.
const GRACE: TimeDelta = TimeDelta::minutes(5);
/// A time service of the network sets the clock at least so often.
const SET_ANEW_WITHIN: TimeDelta = TimeDelta::hours(3);
/// After a longer silence people are told anew only by a clock that two witnesses agree with.
const LONG_SILENCE_DAYS: i64 = 40;
/// The newest day of a station is so many days old at the most where its data agree with the clock.
const RECENT_DAYS: i64 = 7;

/// What another clock says that it is now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Witness {
    /// Whose clock, such as the host that answered.
    pub who: String,
    /// What it says.
    pub says: DateTime<Utc>,
}

/// What is known of the clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evidence {
    /// What it says.
    pub now: DateTime<Utc>,
    /// It cannot be earlier than when the program was built.
    pub earliest: DateTime<Utc>,
    /// For how long the clock has gone on evenly.
    pub even_for: TimeDelta,
    /// When a time service of the network last set it.
    pub set_by_network: Option<DateTime<Utc>>,
    /// The newest fetch whose own data agree with its instant.
    pub newest_fetch: Option<DateTime<Utc>>,
    /// What other clocks say.
    pub witnesses: Vec<Witness>,
}

/// Why a clock is not believed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Doubt {
    /// It says a time before the program was built.
    BeforeBuilt(DateTime<Utc>),
    /// It is behind a fetch that was made by it.
    BehindFetch(DateTime<Utc>),
    /// More other clocks say something else than say the same.
    Contradicted {
        /// Whose clock.
        who: String,
        /// It says so much later; less than nothing: earlier.
        by: TimeDelta,
    },
    /// It was set or started only just now, and nothing says that it is right.
    NotYet,
}

/// What is thought of the clock.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// It may be right; so many witnesses agree with it.
    Believed(usize),
    /// Nothing is stored or told by it.
    Doubted(Doubt),
}

/// Judges the clock.
#[must_use]
pub fn judge(evidence: &Evidence) -> Verdict {
    let now = evidence.now;
    let (agree, differ): (Vec<&Witness>, Vec<&Witness>) = evidence
        .witnesses
        .iter()
        .partition(|witness| (witness.says - now).abs() <= SLACK);
    let set = evidence.set_by_network;
    let by_network = set.is_some_and(|set| now > set - SLACK && now < set + SET_ANEW_WITHIN);
    let agree = agree.len() + usize::from(by_network);
    let newer_fetch = evidence.newest_fetch.filter(|newest| now + SLACK < *newest);
    Verdict::Doubted(match (newer_fetch, differ.first()) {
        _ if now < evidence.earliest => Doubt::BeforeBuilt(evidence.earliest),
        (_, Some(witness)) if differ.len() > agree => Doubt::Contradicted {
            who: witness.who.clone(),
            by: witness.says - now,
        },
        (Some(newest), _) if agree < 2 => Doubt::BehindFetch(newest),
        _ if agree == 0 && evidence.even_for < GRACE => Doubt::NotYet,
        _ => return Verdict::Believed(agree),
    })
}

/// Whether a day may be told so long after the newest one before it. A long silence is more often a clock that is
/// wrong than a farm that slept: then two must agree with the clock, and a station's newest day is one of them.
#[must_use]
pub fn may_tell(
    agree: usize,
    day: NaiveDate,
    told_before: Option<NaiveDate>,
    newest_day: Option<NaiveDate>,
) -> bool {
    let silence = told_before.map_or(0, |told| (day - told).num_days());
    let recent = newest_day.map(|newest| (day - newest).num_days());
    let data_agree = recent.is_some_and(|days| (1..=RECENT_DAYS).contains(&days));
    silence <= LONG_SILENCE_DAYS || agree + usize::from(data_agree) >= 2
}

impl fmt::Display for Doubt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BeforeBuilt(earliest) => {
                write!(f, "it is behind {earliest}, when this program was built")
            }
            Self::BehindFetch(newest) => {
                write!(f, "it is behind a fetch that was made at {newest}")
            }
            Self::Contradicted { who, by } => {
                let side = if *by > TimeDelta::zero() {
                    "later"
                } else {
                    "earlier"
                };
                write!(
                    f,
                    "by the clock of {who} it is {} {side}",
                    roughly(by.abs())
                )
            }
            Self::NotYet => {
                f.write_str("it was set just now, and nothing says yet that it is right")
            }
        }
    }
}

/// A time in its largest unit, which does not change with every look.
fn roughly(time: TimeDelta) -> String {
    let (count, unit) = match (time.num_days(), time.num_hours()) {
        (2.., _) => (time.num_days(), "days"),
        (_, 2..) => (time.num_hours(), "hours"),
        _ => (time.num_minutes(), "minutes"),
    };
    format!("{count} {unit}")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_655_730_000 + hours * 3600, 0).unwrap()
    }

    fn witness(hours: i64) -> Witness {
        let who = format!("feed-{hours}.example");
        let says = at(hours);
        Witness { who, says }
    }

    /// A clock of hour 0 that has long been going, without a witness.
    fn alone() -> Evidence {
        Evidence {
            now: at(0),
            earliest: at(-9000),
            even_for: TimeDelta::hours(1),
            set_by_network: None,
            newest_fetch: Some(at(-24)),
            witnesses: Vec::new(),
        }
    }

    #[test]
    fn a_clock_is_believed_by_its_witnesses_and_without_any_after_a_grace() {
        let believed = |change: fn(&mut Evidence)| {
            let mut evidence = alone();
            change(&mut evidence);
            judge(&evidence)
        };
        assert_eq!(believed(|_| {}), Verdict::Believed(0));
        let doubted = Verdict::Doubted;
        let set_now = |e: &mut Evidence| e.even_for = TimeDelta::minutes(1);
        assert_eq!(believed(set_now), doubted(Doubt::NotYet));
        let set_and_witnessed = |e: &mut Evidence| {
            e.even_for = TimeDelta::zero();
            e.witnesses = vec![witness(0)];
        };
        assert_eq!(believed(set_and_witnessed), Verdict::Believed(1));
        let set_by_network = |e: &mut Evidence| {
            e.even_for = TimeDelta::zero();
            e.set_by_network = Some(at(-1));
        };
        assert_eq!(believed(set_by_network), Verdict::Believed(1));
        let before = believed(|e| e.earliest = at(1));
        assert_eq!(before, doubted(Doubt::BeforeBuilt(at(1))));
    }

    #[test]
    fn more_clocks_against_it_than_with_it_make_it_doubted_and_a_time_service_long_ago_is_none() {
        let judged = |says: &[i64], set: Option<i64>| {
            let witnesses = says.iter().map(|hours| witness(*hours)).collect();
            let set_by_network = set.map(at);
            judge(&Evidence {
                witnesses,
                set_by_network,
                ..alone()
            })
        };
        let against = |hours| {
            let who = witness(hours).who;
            let by = TimeDelta::hours(hours);
            Verdict::Doubted(Doubt::Contradicted { who, by })
        };
        assert_eq!(judged(&[1], None), against(1));
        assert_eq!(judged(&[-90_000], None), against(-90_000));
        assert_eq!(judged(&[1, 0], None), Verdict::Believed(1));
        assert_eq!(judged(&[1, 0, 1], None), against(1));
        assert_eq!(judged(&[1], Some(-2)), Verdict::Believed(1));
        // A time service that set it, as it says, in a month or a month ago did not set it to this time.
        assert_eq!(judged(&[1], Some(700)), against(1));
        assert_eq!(judged(&[1], Some(-700)), against(1));
    }

    #[test]
    fn a_doubt_is_said_in_words_that_stay_the_same_for_a_while() {
        let by = |by| {
            let who = "feed.example".to_owned();
            Doubt::Contradicted { who, by }.to_string()
        };
        let earlier = "by the clock of feed.example it is 365 days earlier";
        assert_eq!(by(-TimeDelta::days(365)), earlier);
        assert_eq!(by(-TimeDelta::days(365) - TimeDelta::minutes(1)), earlier);
        assert!(by(TimeDelta::minutes(61)).ends_with("61 minutes later"));
    }

    #[test]
    fn a_clock_behind_a_fetch_of_its_own_is_believed_only_by_two() {
        let judged = |witnesses: Vec<Witness>| {
            judge(&Evidence {
                newest_fetch: Some(at(24)),
                witnesses,
                ..alone()
            })
        };
        let behind = Verdict::Doubted(Doubt::BehindFetch(at(24)));
        assert_eq!(judged(vec![]), behind);
        assert_eq!(judged(vec![witness(0)]), behind);
        assert_eq!(judged(vec![witness(0), witness(0)]), Verdict::Believed(2));
    }

    #[test]
    fn after_a_long_silence_a_day_is_told_only_where_two_agree_with_the_clock() {
        let day = |ago: i64| at(-24 * ago).date_naive();
        let told =
            |agree, silent, data| may_tell(agree, day(0), Some(day(silent)), Some(day(data)));
        assert!(told(0, 40, 40));
        assert!(!told(0, 41, 1) && !told(1, 41, 41) && !told(1, 41, -3));
        assert!(told(1, 41, 1) && told(2, 400, 400));
        assert!(may_tell(0, day(0), None, None));
    }
}
