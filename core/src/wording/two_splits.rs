//! That several first hull splits of one variety are noted, in a line for the digest.

use chrono::NaiveDate;

use crate::orchard::Block;

use super::words::Words;

impl Words {
    /// Which of the days counts, and how to take back the others.
    #[must_use]
    pub fn two_splits(
        self,
        block: &Block,
        variety: &str,
        counts: NaiveDate,
        others: &[NaiveDate],
    ) -> String {
        let mut days: Vec<NaiveDate> = others.iter().copied().chain([counts]).collect();
        days.sort_unstable();
        let days: Vec<String> = days.into_iter().map(|day| self.day(day)).collect();
        let (last, before) = days
            .split_last()
            .expect("the day that counts is among them");
        let (number, other) = match others.len() {
            1 => ("two".to_owned(), "the other"),
            more => ((more + 1).to_string(), "another"),
        };
        format!(
            "{}, {variety}: {number} first hull splits are noted, {} and {last}; the one entered last counts, \
             {}; to take {other} back: duskflight notes withdraw --block {} --variety \"{variety}\" \
             --kind hull-split --date {} --why …",
            block.name,
            before.join(", "),
            self.day(counts),
            block.id,
            others.first().copied().unwrap_or(counts),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    #[test]
    fn the_day_that_counts_is_named_and_how_to_take_the_other_back() {
        let date = |month, day| NaiveDate::from_ymd_opt(2022, month, day).unwrap();
        let line = |others: &[NaiveDate]| {
            Words::default().two_splits(&sample::block(), "Nonpareil", date(7, 1), others)
        };
        assert_eq!(
            line(&[date(4, 1)]),
            "Bench, Nonpareil: two first hull splits are noted, Apr 1 and Jul 1; the one entered last \
             counts, Jul 1; to take the other back: duskflight notes withdraw --block B \
             --variety \"Nonpareil\" --kind hull-split --date 2022-04-01 --why …"
        );
        let three = line(&[date(6, 30), date(7, 4)]);
        let said = "3 first hull splits are noted, Jun 30, Jul 1 and Jul 4; the one entered last counts, Jul 1";
        assert!(three.contains(said), "{three}");
    }
}
