//! The ledger's decisions: told once, each change corrected once.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;

use crate::id::{BlockId, InsectId};

use super::event::{Event, Fact, State, Value};

/// A correction of the same event follows the one before after so many days at the earliest,
/// unless what was told no longer holds at all. The first one does not wait.
const DAYS_BETWEEN_CORRECTIONS: i64 = 7;

/// The last thing one person was told of one event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Told {
    /// The year of the season.
    pub year: i32,
    /// The block.
    pub block: BlockId,
    /// The insect.
    pub insect: InsectId,
    /// The key of the event.
    pub event: String,
    /// Counts up from 1.
    pub revision: u32,
    /// What was told; `None` when it was withdrawn.
    pub value: Option<Value>,
    /// The civil day of telling.
    pub on: NaiveDate,
}

/// Something to tell one person.
#[derive(Debug, Clone, PartialEq)]
pub struct Notice {
    /// The year of the season.
    pub year: i32,
    /// The block.
    pub block: BlockId,
    /// The insect.
    pub insect: InsectId,
    /// The event.
    pub event: Event,
    /// Counts up from 1.
    pub revision: u32,
    /// What there is to tell.
    pub change: Change,
}

/// What a notice tells.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// The event, for the first time, or again after it was withdrawn.
    New(Value),
    /// It happened before the first night that anything was told: listed once, never alerted.
    History(Value),
    /// What was told has changed.
    Corrected {
        /// What was last told.
        was: Value,
        /// When.
        told_on: NaiveDate,
        /// What holds now.
        now: Value,
    },
    /// What was told no longer holds.
    Withdrawn {
        /// What was last told.
        was: Value,
        /// When.
        told_on: NaiveDate,
        /// Why it no longer holds.
        reason: String,
    },
}

impl Change {
    /// When what is changed here was last told; `None` for news.
    #[must_use]
    pub const fn told_on(&self) -> Option<NaiveDate> {
        match self {
            Self::New(_) | Self::History(_) => None,
            Self::Corrected { told_on, .. } | Self::Withdrawn { told_on, .. } => Some(*told_on),
        }
    }

    /// The value to write into the ledger; `None` for a withdrawal.
    #[must_use]
    pub const fn value(&self) -> Option<Value> {
        match self {
            Self::New(value) | Self::History(value) => Some(*value),
            Self::Corrected { now, .. } => Some(*now),
            Self::Withdrawn { .. } => None,
        }
    }
}

/// Compares tonight's facts with what one person was last told, and gives what they should hear
/// today. With `first_telling` nobody has been told anything by this store before.
#[must_use]
pub fn decide(facts: &[Fact], told: &[Told], first_telling: bool, today: NaiveDate) -> Vec<Notice> {
    let keys: Vec<String> = facts.iter().map(|fact| fact.event.to_string()).collect();
    let ledger: BTreeMap<_, &Told> = told
        .iter()
        .map(|t| ((t.year, &t.block, &t.insect, t.event.as_str()), t))
        .collect();
    let mut untouched = ledger.clone();
    let mut notices: Vec<Notice> = Vec::new();
    for (fact, key) in facts.iter().zip(&keys) {
        let key = (fact.year, &fact.block, &fact.insect, key.as_str());
        let last = ledger.get(&key).copied();
        untouched.remove(&key);
        if let Some(change) = change(&fact.state, last, first_telling, today) {
            notices.push(Notice {
                year: fact.year,
                block: fact.block.clone(),
                insect: fact.insect.clone(),
                event: fact.event.clone(),
                revision: last.map_or(0, |told| told.revision) + 1,
                change,
            });
        }
    }
    let watched: BTreeSet<_> = facts
        .iter()
        .map(|fact| (fact.year, &fact.block, &fact.insect))
        .collect();
    let still_watched = |told: &&&Told| watched.contains(&(told.year, &told.block, &told.insect));
    notices.extend(
        untouched
            .values()
            .filter(still_watched)
            .filter_map(|told| vanished(told)),
    );
    notices
}

/// A told event that the records show no more, such as a lapse when its service turns out to have
/// been in time.
fn vanished(told: &Told) -> Option<Notice> {
    Some(Notice {
        year: told.year,
        block: told.block.clone(),
        insect: told.insect.clone(),
        event: told.event.parse().ok()?,
        revision: told.revision + 1,
        change: Change::Withdrawn {
            was: told.value?,
            told_on: told.on,
            reason: "what has been entered or declared since shows it no more".to_owned(),
        },
    })
}

fn change(
    state: &State,
    last: Option<&Told>,
    first_telling: bool,
    today: NaiveDate,
) -> Option<Change> {
    let corrected_before = last.is_some_and(|told| told.revision > 1);
    let last = last.and_then(|told| Some((told.value?, told.on)));
    match (state, last) {
        (State::Now { value, ripe: true }, None) => Some(match value {
            Value::Day(day) | Value::Caught { date: day, .. } if first_telling && *day < today => {
                Change::History(*value)
            }
            _ => Change::New(*value),
        }),
        (State::Now { value, .. }, Some((was, told_on))) => {
            let soon_after =
                corrected_before && (today - told_on).num_days() < DAYS_BETWEEN_CORRECTIONS;
            (was.is_left_by(*value) && !soon_after).then_some(Change::Corrected {
                was,
                told_on,
                now: *value,
            })
        }
        (State::Gone { reason }, Some((was, told_on))) => Some(Change::Withdrawn {
            was,
            told_on,
            reason: reason.clone(),
        }),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::MarkId;

    fn day(d: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, d).unwrap()
    }

    fn range(early: u32, middle: u32, late: u32) -> Value {
        Value::Range {
            early: day(early),
            middle: day(middle),
            late: day(late),
        }
    }

    fn event() -> Event {
        Event::MarkNear(MarkId::new("second-generation").unwrap(), None)
    }

    fn fact(state: State) -> Fact {
        Fact {
            year: 2022,
            block: BlockId::new("B").unwrap(),
            insect: InsectId::new("navel-orangeworm").unwrap(),
            event: event(),
            state,
        }
    }

    fn told(revision: u32, value: Option<Value>, on: u32) -> Told {
        Told {
            year: 2022,
            block: BlockId::new("B").unwrap(),
            insect: InsectId::new("navel-orangeworm").unwrap(),
            event: event().to_string(),
            revision,
            value,
            on: day(on),
        }
    }

    fn now(value: Value, ripe: bool) -> Fact {
        fact(State::Now { value, ripe })
    }

    fn gone() -> Fact {
        fact(State::Gone {
            reason: "the start was taken back".into(),
        })
    }

    fn changes(fact: Fact, told: &[Told], today: u32) -> Vec<(u32, Change)> {
        decide(&[fact], told, false, day(today))
            .into_iter()
            .map(|notice| (notice.revision, notice.change))
            .collect()
    }

    #[test]
    fn a_ripe_event_is_told_once() {
        let fact = now(range(20, 24, 29), true);
        assert_eq!(
            changes(fact.clone(), &[], 10),
            [(1, Change::New(range(20, 24, 29)))]
        );
        assert_eq!(
            changes(fact, &[told(1, Some(range(20, 24, 29)), 10)], 11),
            []
        );
    }

    #[test]
    fn an_unripe_event_waits_but_one_already_told_is_still_corrected() {
        let fact = now(range(25, 30, 30), false);
        assert_eq!(changes(fact.clone(), &[], 10), []);
        let corrected = Change::Corrected {
            was: range(20, 24, 29),
            told_on: day(2),
            now: range(25, 30, 30),
        };
        let before = told(1, Some(range(20, 24, 29)), 2);
        assert_eq!(changes(fact, &[before], 3), [(2, corrected)]);
    }

    #[test]
    fn a_smaller_move_is_not_told() {
        let before = told(1, Some(range(20, 24, 29)), 2);
        assert_eq!(changes(now(range(22, 28, 30), true), &[before], 10), []);
    }

    #[test]
    fn a_second_correction_waits_a_week_but_a_withdrawal_does_not() {
        let before = [told(2, Some(range(20, 24, 29)), 5)];
        let moved = now(range(1, 10, 15), true);
        assert_eq!(changes(moved.clone(), &before, 11), []);
        assert_eq!(changes(moved, &before, 12).len(), 1);
        let taken_back = changes(gone(), &before, 6);
        assert!(matches!(taken_back[..], [(3, Change::Withdrawn { .. })]));
    }

    #[test]
    fn nothing_is_taken_back_that_was_never_told_or_already_taken_back() {
        assert_eq!(changes(gone(), &[], 6), []);
        assert_eq!(changes(gone(), &[told(2, None, 5)], 6), []);
    }

    #[test]
    fn after_a_withdrawal_it_can_be_told_again() {
        let again = changes(now(range(20, 24, 29), true), &[told(2, None, 5)], 6);
        assert_eq!(again, [(3, Change::New(range(20, 24, 29)))]);
    }

    #[test]
    fn a_pending_event_says_nothing() {
        let before = told(1, Some(range(20, 24, 29)), 2);
        assert_eq!(changes(fact(State::Pending), &[before], 20), []);
    }

    #[test]
    fn what_the_records_show_no_more_is_taken_back_for_blocks_still_watched() {
        let lapse = |block: &str| Told {
            block: BlockId::new(block).unwrap(),
            event: "past-service-life:P1:lure:2022-05-01".into(),
            ..told(1, Some(Value::Day(day(3))), 5)
        };
        let of_another_block = lapse("C");
        let notices = decide(
            &[fact(State::Pending)],
            &[lapse("B"), of_another_block],
            false,
            day(10),
        );
        assert_eq!(notices.len(), 1);
        assert_eq!(notices[0].block.as_str(), "B");
        assert_eq!(notices[0].revision, 2);
        assert!(matches!(notices[0].change, Change::Withdrawn { .. }));
    }

    #[test]
    fn next_season_is_another_event() {
        let mut next_year = now(range(20, 24, 29), true);
        next_year.year = 2023;
        let before = told(1, Some(range(20, 24, 29)), 2);
        assert_eq!(changes(next_year, &[before], 10).len(), 1);
    }

    #[test]
    fn what_happened_before_the_first_telling_is_history() {
        let fact = now(Value::Day(day(3)), true);
        let first = decide(&[fact], &[], true, day(10));
        assert_eq!(first[0].change, Change::History(Value::Day(day(3))));
    }
}
