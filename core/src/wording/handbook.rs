//! The work of a year with its handbook dates, each beside its source.

use chrono::{Datelike, NaiveDate};

/// Whose date it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// The work of each block.
    Block,
    /// A date that a handbook gives for the district; never a block's deadline.
    District,
    /// The adviser's own.
    Adviser,
}

/// A piece of the year's work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct YearEntry {
    /// When, in words.
    pub when: &'static str,
    /// What.
    pub what: &'static str,
    /// Whose date it is.
    pub whose: Whose,
    /// First and last month and day between which a digest names it; `None` where each block has work
    /// of its own or the date is not one for digests.
    pub named: Option<[(u32, u32); 2]>,
    /// Where it comes from.
    pub source: &'static str,
}

const RELAYED_MUMMIES: &str = "relayed from Bentley et al. by the farm press; pointer only";
const UC_IPM_EGG_TRAPS: &str = "UC IPM almond guideline";
const UC_IPM_BLOOM: &str = "UC IPM almond, bloom to postbloom";

/// The year from January to the report.
pub const YEAR: [YearEntry; 13] = [
    entry(
        "on or before Jan 15",
        "mummies are counted in 20 trees a block (almond)",
        Whose::Block,
        RELAYED_MUMMIES,
    ),
    YearEntry {
        // Almonds begin to bloom about the middle of February; from memory.
        named: Some([(1, 1), (2, 15)]),
        ..entry(
            "by the initiation of bloom",
            "mummies are off where there are more than 2 a tree (almond); an older page has Feb 1",
            Whose::District,
            "UC IPM almond",
        )
    },
    entry(
        "by Feb 15, in the north by the first week of Mar",
        "pheromone traps are hung in almond, and other moth traps with them (common practice)",
        Whose::Block,
        UC_IPM_BLOOM,
    ),
    YearEntry {
        named: Some([(1, 1), (3, 15)]),
        ..entry(
            "by Mar 15",
            "mummies on the ground are destroyed (almond)",
            Whose::District,
            RELAYED_MUMMIES,
        )
    },
    entry(
        "early Mar in the south to late Mar in the north",
        "traps are hung in pistachio, earlier in warm years",
        Whose::Block,
        "Bentley, Siegel, Holtz & Daane 2008, Pistachio Production Manual",
    ),
    entry(
        "by Mar 15",
        "egg traps are hung in almond, in the south and in the north",
        Whose::Block,
        UC_IPM_BLOOM,
    ),
    entry(
        "until the start is confirmed",
        "egg traps are read twice a week, after that like all traps at least weekly",
        Whose::Block,
        UC_IPM_EGG_TRAPS,
    ),
    entry(
        "all season",
        "lures, PPO, bait and liners are changed, each by the life of its product",
        Whose::Block,
        "the products of the configuration, each with its own source",
    ),
    entry(
        "from early Jul",
        "hull split of sound nuts is looked for, top southwest shoots of 5 or 6 trees (almond)",
        Whose::Block,
        "UC IPM, how to identify hull split",
    ),
    entry(
        "once sound nuts have split",
        "egg traps may go unread",
        Whose::Block,
        "common practice, no source",
    ),
    entry(
        "after each shake, before sweeping",
        "500 nuts a block are sampled (almond)",
        Whose::Block,
        "UC IPM, almond harvest sample",
    ),
    entry(
        "after harvest",
        "samples, frozen until then, are cracked out by cause of damage",
        Whose::Block,
        "UC IPM, almond harvest sample",
    ),
    YearEntry {
        named: Some([(10, 15), (10, 31)]),
        ..entry(
            "end of Oct",
            "the season is reported: starts, marks, catches, samples, rejects",
            Whose::Adviser,
            "common practice, no source",
        )
    },
];

const fn entry(
    when: &'static str,
    what: &'static str,
    whose: Whose,
    source: &'static str,
) -> YearEntry {
    YearEntry {
        when,
        what,
        whose,
        named: None,
        source,
    }
}

impl YearEntry {
    /// Whether a digest of that day names it.
    #[must_use]
    pub fn is_named_on(&self, day: NaiveDate) -> bool {
        let day = (day.month(), day.day());
        self.named
            .is_some_and(|[first, last]| (first..=last).contains(&day))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    #[test]
    fn a_handbook_date_is_named_until_it_is_past() {
        let named = |month, day| {
            YEAR.iter()
                .filter(|e| e.is_named_on(date(month, day)))
                .count()
        };
        assert_eq!(
            [(2, 15), (2, 16), (3, 15), (3, 16)].map(|(m, d)| named(m, d)),
            [2, 1, 1, 0]
        );
        assert!(YEAR.iter().all(|entry| !entry.source.is_empty()));
    }
}
