//! What is asked about a note or count that no real year has shown.

use crate::orchard::Crop;
use crate::trapping::{Counted, Implausible, Seasonal};

use super::words::Words;

/// That the bounds have no source.
const OURS: &str = "common practice, no source";

impl Words {
    /// What was given, between what it is not asked about, what is usual, and what to look at.
    #[must_use]
    pub fn implausible(self, found: Implausible) -> String {
        match found {
            Implausible::Day {
                what,
                crop,
                between: [first, last],
                ..
            } => format!(
                "a slip of the keys? {} is asked about outside of {} ({OURS}); usual: {}; check {}",
                of_crop(what, crop),
                self.stretch(first, last),
                usual(what, crop),
                to_check(what)
            ),
            Implausible::Count {
                counted,
                count,
                most,
            } => format!(
                "a slip of the keys? {count} {} in one trap at one reading: more than {most} are asked \
                 about ({OURS}); usual: {}; check the digits, and that it is one trap's count",
                if counted == Counted::Eggs {
                    "eggs"
                } else {
                    "moths"
                },
                usual_count(counted)
            ),
        }
    }
}

const fn of_crop(what: Seasonal, crop: Crop) -> &'static str {
    match (what, crop) {
        (Seasonal::Bloom, Crop::Almond) => "bloom of almonds",
        (Seasonal::Bloom, Crop::Pistachio) => "bloom of pistachios",
        (Seasonal::Bloom, Crop::Walnut) => "bloom of walnuts",
        (Seasonal::HullSplit, Crop::Almond) => "hull split of almonds",
        (Seasonal::HullSplit, Crop::Pistachio) => "hull split of pistachios",
        (Seasonal::HullSplit, Crop::Walnut) => "husk split of walnuts",
        (Seasonal::Shake, Crop::Almond) => "a shake of almonds",
        (Seasonal::Shake, Crop::Pistachio) => "a shake of pistachios",
        (Seasonal::Shake, Crop::Walnut) => "a shake of walnuts",
        (Seasonal::EggLayingStart, _) => "a start of egg laying",
        (Seasonal::DispensersUntil, _) => "the last day that dispensers serve",
    }
}

const fn usual(what: Seasonal, crop: Crop) -> &'static str {
    match (what, crop) {
        (Seasonal::Bloom, Crop::Almond) => "February (common practice, no source)",
        (Seasonal::Bloom, Crop::Pistachio) => "late March and April (common practice, no source)",
        (Seasonal::Bloom, Crop::Walnut) => "April (common practice, no source)",
        (Seasonal::HullSplit, Crop::Almond) => {
            "end of June to the first week of July in the early variety (UC Cooperative Extension, 2017), \
             weeks later in pollinizers"
        }
        (Seasonal::HullSplit, Crop::Pistachio) => "July to September (common practice, no source)",
        (Seasonal::HullSplit, Crop::Walnut) => "September (common practice, no source)",
        (Seasonal::Shake, Crop::Almond) => "August to October (common practice, no source)",
        (Seasonal::Shake, Crop::Pistachio) => "late August to October (common practice, no source)",
        (Seasonal::Shake, Crop::Walnut) => "September to November (common practice, no source)",
        (Seasonal::EggLayingStart, _) => {
            "April and May: the first flight peaks Apr 21 – May 15 (Bentley, Siegel, Holtz & Daane 2008)"
        }
        (Seasonal::DispensersUntil, _) => "through harvest of the same year",
    }
}

const fn to_check(what: Seasonal) -> &'static str {
    match what {
        Seasonal::HullSplit => "day and month, and that sound nuts had split and not blanks alone",
        Seasonal::EggLayingStart => "day and month, and that eggs of this year were seen",
        Seasonal::DispensersUntil => "the year",
        Seasonal::Bloom | Seasonal::Shake => "day and month",
    }
}

const fn usual_count(counted: Counted) -> &'static str {
    match counted {
        Counted::Eggs => "up to some hundred (common practice, no source)",
        _ => {
            "138 was the most of 1,296 weekly readings of 2017 in the southern San Joaquin Valley (data of \
             Burks, Higbee & Beck 2020)"
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;

    #[test]
    fn what_was_given_what_is_usual_and_what_to_check_stand_in_one_line() {
        let date = |month, day| NaiveDate::from_ymd_opt(2022, month, day).unwrap();
        let found = Implausible::Day {
            what: Seasonal::HullSplit,
            crop: Crop::Almond,
            day: date(4, 1),
            between: [date(6, 1), date(9, 30)],
        };
        assert_eq!(
            Words::default().implausible(found),
            "a slip of the keys? hull split of almonds is asked about outside of Jun 1 – Sep 30 (common \
             practice, no source); usual: end of June to the first week of July in the early variety (UC \
             Cooperative Extension, 2017), weeks later in pollinizers; check day and month, and that sound \
             nuts had split and not blanks alone"
        );
        let found = Implausible::Count {
            counted: Counted::Moths,
            count: 3_000,
            most: 1_000,
        };
        assert_eq!(
            Words::default().implausible(found),
            "a slip of the keys? 3000 moths in one trap at one reading: more than 1000 are asked about \
             (common practice, no source); usual: 138 was the most of 1,296 weekly readings of 2017 in the \
             southern San Joaquin Valley (data of Burks, Higbee & Beck 2020); check the digits, and that it \
             is one trap's count"
        );
    }
}
