//! Sentences for people, the same in mail, page and command line. No markup.

use chrono::{Datelike, NaiveDate};
use serde::{Deserialize, Serialize};

use crate::id::MarkId;
use crate::season::{BlockSeason, First, Outcome, Projection};
use crate::temperature::{DegreeDays, Unit};
use crate::trapping::{Catch, Counted, EggLayingStart, StartStatus};

use crate::ledger::Value;

/// The order in which days are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DateOrder {
    /// `Jun 20`.
    #[default]
    MonthDay,
    /// `20 Jun`.
    DayMonth,
    /// `2022-06-20`, for programs that read what is printed; no farm's choice.
    #[serde(skip)]
    Iso,
}

/// Longer ranges are told by the part of the month in which they begin.
const LONGEST_RANGE_DAYS: i64 = 40;

/// Writes sentences in the farm's date order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Words {
    /// The order of month and day.
    pub order: DateOrder,
}

impl Words {
    /// Words for programs: days as `2022-06-20`.
    pub const ISO: Self = Self {
        order: DateOrder::Iso,
    };

    /// A day of the season, without its year.
    #[must_use]
    pub fn day(self, day: NaiveDate) -> String {
        match self.order {
            DateOrder::MonthDay => day.format("%b %-d").to_string(),
            DateOrder::DayMonth => day.format("%-d %b").to_string(),
            DateOrder::Iso => day.to_string(),
        }
    }

    /// A day with its weekday and year, for headings.
    #[must_use]
    pub fn long_day(self, day: NaiveDate) -> String {
        match self.order {
            DateOrder::MonthDay => day.format("%A, %B %-d, %Y").to_string(),
            DateOrder::DayMonth => day.format("%A, %-d %B %Y").to_string(),
            DateOrder::Iso => day.to_string(),
        }
    }

    /// A stretch of days.
    #[must_use]
    pub fn stretch(self, first: NaiveDate, last: NaiveDate) -> String {
        if first == last {
            return self.day(first);
        }
        let same_month = (first.year(), first.month()) == (last.year(), last.month());
        match self.order {
            DateOrder::MonthDay if same_month => format!("{}–{}", self.day(first), last.day()),
            DateOrder::DayMonth if same_month => format!("{}–{}", first.day(), self.day(last)),
            _ => format!("{} – {}", self.day(first), self.day(last)),
        }
    }

    /// A projected range. One that reaches the end of the year is open, since in some years the
    /// mark is not reached at all; of a long one nobody plans by its last day.
    #[must_use]
    pub fn range(self, early: NaiveDate, late: NaiveDate) -> String {
        if (late.month(), late.day()) == (12, 31) {
            format!("{} or later", self.day(early))
        } else if self.is_vague(early, late) {
            let third = match early.day() {
                ..=10 => "beginning",
                11..=20 => "middle",
                // Not "the end", which the range does not wait for.
                _ => "last third",
            };
            format!("after the {third} of {}", early.format("%B"))
        } else {
            self.stretch(early, late)
        }
    }

    /// Whether a range is too long to be told by both its ends.
    fn is_vague(self, early: NaiveDate, late: NaiveDate) -> bool {
        self.order != DateOrder::Iso && (late - early).num_days() > LONGEST_RANGE_DAYS
    }

    /// A told value.
    #[must_use]
    pub fn value(self, value: Value) -> String {
        match value {
            Value::Day(day) => self.day(day),
            Value::Within { early, day, late } if early == late => self.day(day),
            Value::Within { early, day, late } => {
                format!("{} (within {})", self.day(day), self.stretch(early, late))
            }
            Value::Range {
                early,
                middle,
                late,
            } => {
                let range = self.range(early, late);
                // A single day is its own middle.
                if early == late || self.is_vague(early, late) {
                    range
                } else {
                    format!("{range} (middle {})", self.day(middle))
                }
            }
            Value::Caught { date, count } => {
                let moths = if count == 1 { "moth" } else { "moths" };
                format!("{count} {moths}, read {}", self.day(date))
            }
            Value::First(First::Shake) => "the shake first".to_owned(),
            Value::First(First::EggLaying) => "egg laying first".to_owned(),
        }
    }

    /// The start in one phrase.
    #[must_use]
    pub fn start(self, season: &BlockSeason) -> String {
        self.start_of(&season.start)
    }

    /// The same of any start.
    pub(crate) fn start_of(self, start: &EggLayingStart) -> String {
        let status = start.status.words();
        match start.date {
            Some(date) if start.is_estimated() => {
                format!("{status} {} (estimate)", self.day(date))
            }
            Some(date) => format!("{status} {}", self.day(date)),
            None => status.to_owned(),
        }
    }

    /// The same in the fewest words: the day alone where it is confirmed.
    pub(crate) fn start_briefly(self, season: &BlockSeason) -> String {
        let start = &season.start;
        match (start.status, start.date) {
            (StartStatus::NotAsked, _) => String::new(),
            (StartStatus::Confirmed, Some(date)) => self.day(date),
            (status, Some(date)) => format!("{} {}", self.day(date), status.words()),
            (status, None) => status.words().to_owned(),
        }
    }

    /// A mark's answer in one phrase.
    #[must_use]
    pub fn outcome(self, outcome: &Outcome) -> String {
        match outcome {
            Outcome::Passed {
                date, by_estimate, ..
            } => {
                let estimate = if *by_estimate {
                    ", on an estimated day"
                } else {
                    ""
                };
                format!("passed {}{estimate}", self.day(*date))
            }
            Outcome::Projected(projection) => {
                let begun = may_have_begun(projection);
                format!("projected {}{begun}", self.value(projection.into()))
            }
            Outcome::CannotTell { why } => format!("can't tell: {}", self.why_not(why)),
        }
    }

    /// Catches of one kind in one phrase.
    #[must_use]
    pub fn catch(self, catch: &Catch) -> String {
        match catch.per_trap_night() {
            Some(rate) => format!(
                "{} {} ({} of {} traps read, {} per trap per night)",
                catch.count,
                catch.counted.words(catch.count),
                catch.traps_read,
                catch.traps_hung,
                rate_words(rate)
            ),
            None => format!("{} traps not read", catch.kind.name()),
        }
    }

    /// On how many of the egg traps there were eggs: where few traps hold most of the eggs, that is steadier than
    /// the mean (Burks et al. 2011, Environ. Entomol. 40:706-713). `None` for moths and where none was read.
    pub(crate) fn share_with_eggs(self, catch: &Catch) -> Option<String> {
        let eggs = catch.counted == Counted::Eggs && catch.traps_read > 0;
        eggs.then(|| {
            format!(
                "eggs on {} of {} traps read",
                catch.traps_with_some, catch.traps_read
            )
        })
    }

    /// Phrases joined to a list: `a, b and c`.
    #[must_use]
    pub fn listed(phrases: &[String]) -> String {
        match phrases {
            [] => String::new(),
            [one] => one.clone(),
            [first @ .., last] => format!("{} and {last}", first.join(", ")),
        }
    }
}

impl StartStatus {
    /// The status in mails.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::None => "none yet",
            Self::Provisional => "provisional",
            Self::Confirmed => "confirmed",
            Self::ByHand => "set by hand",
            Self::Borrowed => "borrowed",
            Self::CannotTell => "can't tell",
            Self::NotAsked => "not used",
        }
    }
}

/// Degree-days as people read them, whole and with their unit.
#[must_use]
pub(crate) fn degree_days(sum: DegreeDays, unit: Unit) -> String {
    format!("{:.0} {}-days", sum.in_unit(unit), unit.symbol())
}

/// That what a projection is of may have begun; nothing while its whole range lies ahead.
pub(crate) const fn may_have_begun(projection: &Projection) -> &'static str {
    match projection.may_have_begun {
        true => ", may have begun",
        false => "",
    }
}

/// A mark's name without what the days beside it say anyway: `second generation`.
pub(crate) fn short_mark(name: &str) -> String {
    match name.strip_suffix("-generation egg laying") {
        Some(generation) => format!("{generation} generation"),
        None => name.to_owned(),
    }
}

pub(crate) fn mark_name(season: &BlockSeason, mark: &MarkId) -> String {
    let named = season.marks.iter().find(|reading| &reading.mark == mark);
    named.map_or_else(|| mark.to_string(), |reading| reading.name.clone())
}

/// A catch per trap and night.
pub(crate) fn rate_words(rate: f64) -> String {
    if rate < 0.095 && rate > 0.0 {
        format!("{rate:.2}")
    } else {
        format!("{rate:.1}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::TrapKind;

    fn day(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    #[test]
    fn eggs_are_told_by_their_traps_and_moths_are_not() {
        let share = |counted, traps_read| {
            Words::default().share_with_eggs(&Catch {
                kind: TrapKind::Egg,
                counted,
                count: 40,
                traps_read,
                traps_with_some: 1,
                traps_hung: 4,
                trap_nights: 28,
            })
        };
        assert_eq!(
            share(Counted::Eggs, 4).as_deref(),
            Some("eggs on 1 of 4 traps read")
        );
        assert_eq!(share(Counted::Eggs, 0), None);
        assert_eq!(share(Counted::Males, 4), None);
    }

    #[test]
    fn days_are_printed_in_the_farms_order() {
        let us = Words::default();
        let other = Words {
            order: DateOrder::DayMonth,
        };
        let range = Value::Range {
            early: day(6, 20),
            middle: day(6, 24),
            late: day(6, 29),
        };
        assert_eq!(us.value(range), "Jun 20–29 (middle Jun 24)");
        assert_eq!(other.value(range), "20–29 Jun (middle 24 Jun)");
        let single = Value::Range {
            early: day(6, 24),
            middle: day(6, 24),
            late: day(6, 24),
        };
        assert_eq!(us.value(single), "Jun 24");
        assert_eq!(us.stretch(day(6, 28), day(7, 3)), "Jun 28 – Jul 3");
        assert_eq!(us.stretch(day(6, 28), day(6, 28)), "Jun 28");
    }

    #[test]
    fn of_a_range_of_more_than_forty_days_only_its_beginning_is_told() {
        let words = Words::default();
        let range = |early, late| Value::Range {
            early,
            middle: early,
            late,
        };
        assert_eq!(words.range(day(9, 14), day(10, 24)), "Sep 14 – Oct 24");
        let from_mid = "after the middle of September";
        assert_eq!(words.range(day(9, 14), day(10, 25)), from_mid);
        assert_eq!(words.value(range(day(9, 14), day(10, 25))), from_mid);
        assert_eq!(
            words.range(day(9, 3), day(11, 1)),
            "after the beginning of September"
        );
        assert_eq!(
            words.range(day(8, 25), day(11, 1)),
            "after the last third of August"
        );
        // Programs read both ends.
        let iso = Words::ISO.range(day(9, 14), day(10, 25));
        assert_eq!(iso, "2022-09-14 – 2022-10-25");
    }

    #[test]
    fn no_farm_chooses_days_for_programs() {
        use serde::de::IntoDeserializer;
        use serde::de::value::{Error, StrDeserializer};
        let read = |text: &'static str| {
            let text: StrDeserializer<'_, Error> = text.into_deserializer();
            DateOrder::deserialize(text).ok()
        };
        assert_eq!(read("day-month"), Some(DateOrder::DayMonth));
        assert_eq!(read("iso"), None);
    }
}
