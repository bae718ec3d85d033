//! Egg laying beside hull split and shake in words: dates and the days between them, never what to do.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::season::{
    Between, BlockSeason, Chance, HullSplit, LayingBeside, Likelihood, Margin, Outcome, Shake,
    VarietyExposure,
};
use crate::trapping::Expected;

use super::words::Words;

/// A generation whose egg laying began longer ago is not listed any more.
const LISTED_DAYS: i64 = 60;
/// A variety that was shaken longer ago is not listed any more.
const AFTER_SHAKE_DAYS: i64 = 30;

/// A variety's first split and shake beside each generation's egg laying, cell by cell.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExposureTable {
    /// The variety.
    pub variety: String,
    /// Its first hull split of sound nuts.
    pub split: String,
    /// Its shake; empty where nothing is entered.
    pub shake: String,
    /// Each generation that is near.
    pub rows: Vec<ExposureRow>,
}

/// One generation's egg laying beside a variety's first split and its shake.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExposureRow {
    /// What begins.
    pub generation: String,
    /// When it begins.
    pub laying: String,
    /// When its first eggs hatch; empty where that is not known.
    pub hatch: String,
    /// Days from first split to it; empty where one of both is not known.
    pub after_split: String,
    /// Days from the shake to it; empty without a shake that matters.
    pub after_shake: String,
    /// Which comes first at harvest and how likely, for an adviser; empty where nothing is to be said.
    pub first: String,
}

impl ExposureTable {
    /// The variety's own days in one line.
    #[must_use]
    pub fn heading(&self) -> String {
        let Self {
            variety,
            split,
            shake,
            ..
        } = self;
        match shake.is_empty() {
            true => format!("{variety}: first split {split}"),
            false => format!("{variety}: first split {split}; {shake}"),
        }
    }
}

impl ExposureRow {
    /// The row in one line.
    #[must_use]
    pub fn line(&self) -> String {
        let mut line = format!("{} {}", self.generation, self.laying);
        for (label, cell) in [
            (", first hatch ", &self.hatch),
            ("; after split ", &self.after_split),
            ("; after shake ", &self.after_shake),
            ("; ", &self.first),
        ] {
            if !cell.is_empty() {
                line.push_str(label);
                line.push_str(cell);
            }
        }
        line
    }
}

impl Words {
    /// Each variety beside the generations that are near; none without such a generation, and none of which
    /// neither split nor shake is known. With `first` also
    /// which comes first at harvest, which stands before advisers alone.
    #[must_use]
    pub fn exposure(self, season: &BlockSeason, first: bool) -> Vec<ExposureTable> {
        let tables = season.exposure.iter().map(|exposure| {
            let layings = exposure.layings.iter();
            let near = layings.filter(|laying| is_listed(season.as_of, exposure, laying));
            ExposureTable {
                variety: exposure.variety.clone(),
                split: self.split(exposure.split),
                shake: exposure
                    .shake
                    .map_or_else(String::new, |shake| self.shake(shake)),
                rows: near
                    .map(|laying| self.exposure_row(laying, first))
                    .collect(),
            }
        });
        let beside_any =
            |row: &ExposureRow| !(row.after_split.is_empty() && row.after_shake.is_empty());
        tables
            .filter(|table| table.rows.iter().any(beside_any))
            .collect()
    }

    /// Each variety beside every generation of the year, as it turned out; none of which neither split nor shake is
    /// known.
    #[must_use]
    pub fn exposure_of_year(self, season: &BlockSeason) -> Vec<ExposureTable> {
        let known = season
            .exposure
            .iter()
            .filter(|exposure| exposure.shake.is_some() || exposure.split != HullSplit::NotKnown);
        let tables = known.map(|exposure| ExposureTable {
            variety: exposure.variety.clone(),
            split: self.split(exposure.split),
            shake: exposure
                .shake
                .map_or_else(String::new, |shake| self.shake(shake)),
            rows: exposure
                .layings
                .iter()
                .filter(|laying| laying.laying.days().is_some())
                .map(|laying| ExposureRow {
                    laying: self.computed(&laying.laying),
                    ..self.exposure_row(laying, false)
                })
                .collect(),
        });
        tables.collect()
    }

    fn exposure_row(self, laying: &LayingBeside, first: bool) -> ExposureRow {
        let margin = laying.at_harvest.as_ref();
        let days = |between: Option<Between>| between.map_or_else(String::new, days_between);
        let hatch = laying.hatch.as_ref();
        ExposureRow {
            generation: laying.name.clone(),
            laying: self.begins(&laying.laying),
            hatch: hatch.map_or_else(String::new, |hatch| self.begins(hatch)),
            after_split: days(laying.after_split),
            after_shake: days(margin.and_then(|margin| margin.between)),
            first: match margin.filter(|_| first) {
                Some(margin) => self.first_and_chance(margin),
                None => String::new(),
            },
        }
    }

    /// The same under a head that says that it is computed.
    pub(crate) fn computed(self, outcome: &Outcome) -> String {
        match outcome {
            Outcome::Passed { date, .. } => self.day(*date),
            other => self.begins(other),
        }
    }

    /// When something begins, without a word more than a cell has room for.
    fn begins(self, outcome: &Outcome) -> String {
        match outcome {
            Outcome::Passed { date, .. } => format!("{} (computed)", self.day(*date)),
            Outcome::Projected(range) => self.range(range.early, range.late),
            Outcome::CannotTell { why } => format!("can't tell: {}", self.why_not(why)),
        }
    }

    /// What is known of a variety's first hull split.
    #[must_use]
    pub fn split(self, split: HullSplit) -> String {
        let range = |days: Expected| self.stretch(days.earliest, days.latest);
        match split {
            HullSplit::Seen(day) => format!("seen {}", self.day(day)),
            HullSplit::Expected(days) => format!("expected {}", range(days)),
            HullSplit::EarlierYears { days, years: 1 } => {
                format!("{} by the one earlier year here", range(days))
            }
            HullSplit::EarlierYears { days, years } => {
                format!("{} by {years} earlier years here", range(days))
            }
            HullSplit::AfterBloom { days, bloom } => {
                format!("{} by bloom of {} (relayed)", range(days), self.day(bloom))
            }
            HullSplit::NotKnown => "not known".to_owned(),
        }
    }

    /// Which comes first at harvest, and how likely.
    fn first_and_chance(self, margin: &Margin) -> String {
        let first = margin.between.map(|between| who_first(between.likely));
        let chance = margin.chance.as_ref().map(|chance| match chance {
            Ok(chance) => {
                format!("chance of the shake first: {}", chance.likelihood().words())
            }
            Err(why) => format!("no chance given: {}", self.why_no_chance(why)),
        });
        let both: Vec<String> = first.into_iter().chain(chance).collect();
        both.join("; ")
    }

    /// A variety's shake beside one generation's egg laying, in one sentence.
    pub(crate) fn margin_briefly(
        self,
        exposure: &VarietyExposure,
        laying: &LayingBeside,
    ) -> Option<String> {
        let (shake, margin) = (exposure.shake?, laying.at_harvest.as_ref()?);
        let first = self.first_and_chance(margin);
        Some(format!(
            "{}; {} {}: {first}",
            self.shake(shake),
            laying.name,
            self.outcome(&laying.laying)
        ))
    }

    /// The numbers behind the chances, and what they are made of.
    #[must_use]
    pub fn exposure_evidence(self, season: &BlockSeason) -> Vec<String> {
        let layings = season.exposure.iter().flat_map(|exposure| {
            let layings = exposure.layings.iter();
            layings.map(move |laying| (exposure, laying))
        });
        let numbers = layings.filter_map(|(exposure, laying)| {
            let Chance {
                shake_first,
                past_years,
            } = chance_of(laying)?;
            Some(format!(
                "{} and {}: the shake comes first in {}, by {past_years} past years",
                exposure.variety,
                laying.name,
                of_hundred(shake_first)
            ))
        });
        let mut lines: Vec<String> = numbers.collect();
        if !lines.is_empty() {
            lines.push(
                "chances at harvest: each past year's date with the insect's spread, and the days of the \
                 shake as a triangle; unlikely is below a third, likely above two thirds"
                    .to_owned(),
            );
        }
        lines
    }

    fn shake(self, shake: Shake) -> String {
        let [earliest, likely, latest] = shake.days();
        match shake {
            Shake::Done(day) => format!("shaken {}", self.day(day)),
            Shake::Expected(_) if earliest == latest => {
                format!("shake expected {}", self.day(likely))
            }
            Shake::Expected(_) => {
                let range = self.stretch(earliest, latest);
                format!("shake expected {range} (likely {})", self.day(likely))
            }
        }
    }
}

fn chance_of(laying: &LayingBeside) -> Option<Chance> {
    let margin = laying.at_harvest.as_ref()?;
    margin.chance.as_ref()?.as_ref().ok().copied()
}

/// Whether a row is worth its room: its egg laying is near or not long ago, and its variety not long shaken.
fn is_listed(as_of: NaiveDate, exposure: &VarietyExposure, laying: &LayingBeside) -> bool {
    let since = |day: NaiveDate| (as_of - day).num_days();
    let shaken = exposure.shaken();
    let begins = match &laying.laying {
        Outcome::Passed { date, .. } if since(*date) <= LISTED_DAYS => *date,
        Outcome::Projected(range) if laying.near => range.middle,
        Outcome::Passed { .. } | Outcome::Projected(_) | Outcome::CannotTell { .. } => {
            return false;
        }
    };
    // Egg laying that begins after the shake is none on the variety's trees.
    shaken.is_none_or(|shaken| since(shaken) <= AFTER_SHAKE_DAYS && begins <= shaken)
}

/// Days with their sign: the likely ones, and those between the ends of the ranges where they differ.
fn days_between(between: Between) -> String {
    let Between {
        likely,
        least,
        most,
    } = between;
    let days = match likely {
        1 | -1 => "day",
        _ => "days",
    };
    match least == most {
        true => format!("{} {days}", signed(likely)),
        false => format!(
            "{} {days} ({} to {})",
            signed(likely),
            signed(least),
            signed(most)
        ),
    }
}

/// With the sign that print has for below zero.
fn signed(days: i64) -> String {
    format!("{days:+}").replace('-', "−")
}

/// A chance as a count; what is never certain is not told as such.
fn of_hundred(chance: f64) -> String {
    match chance * 100.0 {
        few if few < 1.0 => "fewer than 1 of 100".to_owned(),
        many if many > 99.0 => "more than 99 of 100".to_owned(),
        count => format!("{count:.0} of 100"),
    }
}

fn who_first(days: i64) -> String {
    let plural = if days.abs() == 1 { "day" } else { "days" };
    match days {
        0 => "0 days".to_owned(),
        1.. => format!("{days} {plural} (shake first)"),
        _ => format!("{} {plural} (egg laying first)", -days),
    }
}

impl Likelihood {
    /// The step in mails.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Unlikely => "unlikely",
            Self::AboutEven => "about even",
            Self::Likely => "likely",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::id::MarkId;
    use crate::orchard::Crop;
    use crate::season::WhyNoChance;
    use crate::season::tests::{new_year::season_of_crop, received};

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2021, 8, day).unwrap()
    }

    fn days(earliest: u32, likely: u32, latest: u32) -> Expected {
        Expected {
            earliest: day(earliest),
            likely: day(likely),
            latest: day(latest),
        }
    }

    fn almonds() -> BlockSeason {
        season_of_crop(Crop::Almond, &received(day(1)), day(1))
    }

    /// A projection of 5 to 25 August, middle 16 August.
    fn projected() -> Outcome {
        let almonds = almonds();
        let mut readings = almonds.marks.iter();
        let mut projection = *readings.find_map(|r| r.outcome.projection()).unwrap();
        (projection.early, projection.middle, projection.late) = (day(5), day(16), day(25));
        Outcome::Projected(projection)
    }

    fn between(likely: i64, least: i64, most: i64) -> Between {
        Between {
            likely,
            least,
            most,
        }
    }

    /// The early variety with its third generation beside split and shake.
    fn exposed(shake: Option<Shake>, chance: Option<Result<f64, WhyNoChance>>) -> BlockSeason {
        let chance = chance.map(|chance| {
            chance.map(|shake_first| Chance {
                shake_first,
                past_years: 30,
            })
        });
        let third = LayingBeside {
            mark: MarkId::new("third-generation").unwrap(),
            name: "third-generation egg laying".to_owned(),
            laying: projected(),
            near: true,
            hatch: Some(projected()),
            after_split: Some(between(40, 29, 49)),
            at_harvest: shake.map(|_| Margin {
                between: Some(between(2, -15, 15)),
                chance,
            }),
        };
        let exposure = vec![VarietyExposure {
            variety: "Nonpareil".to_owned(),
            split: HullSplit::Seen(NaiveDate::from_ymd_opt(2021, 7, 7).unwrap()),
            shake,
            layings: vec![third],
        }];
        BlockSeason {
            exposure,
            ..almonds()
        }
    }

    fn lines(season: &BlockSeason, first: bool) -> Vec<String> {
        let tables = Words::default().exposure(season, first);
        let lines = tables.iter().flat_map(|table| {
            let rows = table.rows.iter().map(ExposureRow::line);
            std::iter::once(table.heading()).chain(rows)
        });
        lines.collect()
    }

    #[test]
    fn both_days_between_stand_with_their_ends_and_what_comes_first_before_advisers_alone() {
        let season = exposed(Some(Shake::Expected(days(10, 14, 20))), Some(Ok(0.52)));
        let heading = "Nonpareil: first split seen Jul 7; shake expected Aug 10–20 (likely Aug 14)";
        let row = "third-generation egg laying Aug 5–25, first hatch Aug 5–25; after split +40 days \
                   (+29 to +49); after shake +2 days (−15 to +15)";
        assert_eq!(lines(&season, false), [heading, row]);
        let first = "2 days (shake first); chance of the shake first: about even";
        assert_eq!(lines(&season, true)[1], format!("{row}; {first}"));
        let evidence = Words::default().exposure_evidence(&season);
        let numbers = "Nonpareil and third-generation egg laying: the shake comes first in 52 of 100, \
                       by 30 past years";
        assert_eq!((evidence[0].as_str(), evidence.len()), (numbers, 2));
    }

    #[test]
    fn without_a_chance_its_reason_stands_and_a_shake_that_is_done_has_none() {
        let few = Some(Err(WhyNoChance::FewPastYears(2)));
        let expected = exposed(Some(Shake::Expected(days(4, 4, 4))), few);
        let line = &lines(&expected, true)[1];
        assert!(
            line.ends_with("; no chance given: only 2 past years"),
            "{line}"
        );
        let done = exposed(Some(Shake::Done(day(20))), None);
        let shown = lines(&done, true);
        assert!(shown[0].ends_with("; shaken Aug 20"), "{shown:?}");
        assert!(!shown[1].contains("chance"), "{shown:?}");
        assert!(Words::default().exposure_evidence(&done).is_empty());
    }

    #[test]
    fn egg_laying_after_the_shake_is_none_on_a_varietys_trees() {
        // The middle of the range is 16 August.
        assert_eq!(
            lines(&exposed(Some(Shake::Done(day(15))), None), true),
            [""; 0]
        );
    }

    #[test]
    fn what_is_known_of_a_split_is_said_with_where_it_comes_from() {
        let said = |split| Words::default().split(split);
        let around = days(1, 6, 11);
        assert_eq!(said(HullSplit::Expected(around)), "expected Aug 1–11");
        let years = |years| HullSplit::EarlierYears {
            days: around,
            years,
        };
        assert_eq!(said(years(1)), "Aug 1–11 by the one earlier year here");
        assert_eq!(said(years(4)), "Aug 1–11 by 4 earlier years here");
        let bloom = NaiveDate::from_ymd_opt(2021, 2, 18).unwrap();
        let bloom = HullSplit::AfterBloom {
            days: around,
            bloom,
        };
        assert_eq!(said(bloom), "Aug 1–11 by bloom of Feb 18 (relayed)");
        assert_eq!(said(HullSplit::NotKnown), "not known");
    }

    #[test]
    fn a_chance_is_never_told_as_certain() {
        let told = [0.0, 0.004, 0.01, 0.5, 0.99, 0.996, 1.0].map(of_hundred);
        let few = "fewer than 1 of 100";
        let many = "more than 99 of 100";
        let expected = [few, few, "1 of 100", "50 of 100", "99 of 100", many, many];
        assert_eq!(told, expected);
    }

    #[test]
    fn the_steps_begin_and_end_at_the_thirds() {
        let words = |shake_first| {
            let chance = Chance {
                shake_first,
                past_years: 30,
            };
            chance.likelihood().words()
        };
        let told = [0.0, 0.33, 0.34, 0.66, 0.67, 1.0].map(words);
        let expected = [
            "unlikely",
            "unlikely",
            "about even",
            "about even",
            "likely",
            "likely",
        ];
        assert_eq!(told, expected);
    }
}
