//! What traps caught when they were last read, beside a week and a year before.

use crate::trapping::{Catch, LastRead};

use super::words::{Words, rate_words};

/// Readings whose nights differ by more than so many are compared by the night.
const ALIKE_NIGHTS: f64 = 1.5;

impl Words {
    /// A reading in one phrase: `Jun 20: males up from 3 to 9 per trap (a year before 2)`.
    pub(crate) fn last_read(self, read: &LastRead) -> String {
        let catch = &read.catch;
        let by_night = [&read.week_before, &read.year_before]
            .into_iter()
            .flatten()
            .any(|other| (nights(other) - nights(catch)).abs() > ALIKE_NIGHTS);
        let rate = |catch: &Catch| match by_night {
            true => catch.per_trap_night().unwrap_or(0.0),
            false => f64::from(catch.count) / catch.traps_read as f64,
        };
        let per = match by_night {
            true => "per trap per night",
            false => "per trap",
        };
        let number = |catch: &Catch| plain(rate(catch));
        let now = number(catch);
        let week = read.week_before.as_ref().map(number);
        let moved = match week {
            Some(week) if week == now => format!("still {now} {per}"),
            Some(week) => {
                let rose = read
                    .week_before
                    .as_ref()
                    .is_some_and(|of| rate(catch) > rate(of));
                let way = if rose { "up" } else { "down" };
                format!("{way} from {week} to {now} {per}")
            }
            None => format!("{now} {per}"),
        };
        let what = catch.counted.words(2);
        let part = match catch.traps_read < catch.traps_hung {
            true => format!(", {} of {} traps read", catch.traps_read, catch.traps_hung),
            false => String::new(),
        };
        let year = read.year_before.as_ref().map(number);
        let year = year.map_or_else(String::new, |year| format!(" (a year before {year})"));
        format!("{}: {what} {moved}{year}{part}", self.day(read.on))
    }
}

/// Nights a trap hung for a reading, on the mean.
fn nights(catch: &Catch) -> f64 {
    f64::from(catch.trap_nights) / catch.traps_read as f64
}

/// A number with one place, where it needs one; small ones with two.
fn plain(rate: f64) -> String {
    let words = rate_words(rate);
    words
        .strip_suffix(".0")
        .map_or(words.clone(), str::to_owned)
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::orchard::TrapKind;
    use crate::trapping::Counted;

    fn catch(count: u32, traps_read: usize, trap_nights: u32) -> Catch {
        Catch {
            kind: TrapKind::Pheromone,
            counted: Counted::Males,
            count,
            traps_read,
            traps_with_some: 1,
            traps_hung: 2,
            trap_nights,
        }
    }

    #[test]
    fn a_reading_says_whether_more_or_less_was_caught_than_before() {
        let check = |week: Option<Catch>, year: Option<Catch>, expected: &str| {
            let read = LastRead {
                on: NaiveDate::from_ymd_opt(2022, 6, 20).unwrap(),
                catch: catch(18, 2, 14),
                week_before: week,
                year_before: year,
            };
            assert_eq!(Words::default().last_read(&read), expected);
        };
        let year = Some(catch(4, 2, 14));
        check(
            Some(catch(6, 2, 14)),
            year.clone(),
            "Jun 20: males up from 3 to 9 per trap (a year before 2)",
        );
        check(
            Some(catch(21, 2, 14)),
            None,
            "Jun 20: males down from 10.5 to 9 per trap",
        );
        check(
            Some(catch(18, 2, 14)),
            None,
            "Jun 20: males still 9 per trap",
        );
        check(None, None, "Jun 20: males 9 per trap");
        // Three nights and seven.
        check(
            Some(catch(6, 2, 6)),
            year,
            "Jun 20: males up from 1 to 1.3 per trap per night (a year before 0.3)",
        );
    }
}
