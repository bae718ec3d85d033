//! Harvest beside the generations in sentences: two dates and the days between them, never what to do.

use crate::season::{
    Between, BlockSeason, Chance, Likelihood, Margin, Outcome, Shake, VarietyHarvest, WhyNoChance,
};

use super::words::Words;

impl Words {
    /// Each variety's shake beside the egg laying that matters at its harvest; nothing while no shake
    /// of the block is entered.
    #[must_use]
    pub fn harvest_lines(self, season: &BlockSeason) -> Vec<String> {
        let varieties = season.harvest.iter();
        varieties
            .flat_map(|harvest| self.variety_lines(harvest))
            .collect()
    }

    pub(crate) fn variety_lines(self, harvest: &VarietyHarvest) -> Vec<String> {
        match harvest.shake {
            None => vec![format!("{}: shake date not entered", harvest.variety)],
            Some(shake) => self.margin_lines(harvest, shake),
        }
    }

    /// The same for a digest: the shake in a line of its own, then the egg laying of each generation with
    /// the days between the likely day and the middle alone; nothing without a shake.
    pub(crate) fn variety_briefly(self, harvest: &VarietyHarvest) -> Vec<String> {
        let Some(shake) = harvest.shake else {
            return Vec::new();
        };
        let margins = harvest.margins.iter().map(|margin| {
            let laying = self.laying(margin);
            match margin.between {
                None => laying,
                Some(between) => {
                    let days = who_first(between.likely);
                    let chance = margin.chance.as_ref().ok();
                    let chance = chance.filter(|_| !both_past(shake, margin));
                    let chance = chance.map(|chance| {
                        let words = chance.likelihood().words();
                        format!("; chance of the shake first: {words}")
                    });
                    format!("{laying}: {days}{}", chance.unwrap_or_default())
                }
            }
        });
        std::iter::once(self.shake(shake)).chain(margins).collect()
    }

    /// The numbers behind the chances in those lines, and what they are made of.
    #[must_use]
    pub fn harvest_evidence(self, season: &BlockSeason) -> Vec<String> {
        let margins = season
            .harvest
            .iter()
            .flat_map(|harvest| harvest.margins.iter().map(move |margin| (harvest, margin)));
        let numbers = margins.filter_map(|(harvest, margin)| {
            let Chance {
                shake_first,
                past_years,
            } = margin.chance.as_ref().ok()?;
            Some(format!(
                "{} and {}: the shake comes first in {}, by {past_years} past years",
                harvest.variety,
                margin.name,
                of_hundred(*shake_first)
            ))
        });
        let mut lines: Vec<String> = numbers.collect();
        if !lines.is_empty() {
            lines.push(
                "chances at harvest: each past year's date with the insect's published spread, and the \
                 days of the shake, both spread as triangles; unlikely is below a third, likely above \
                 two thirds"
                    .to_owned(),
            );
        }
        lines
    }

    fn margin_lines(self, harvest: &VarietyHarvest, shake: Shake) -> Vec<String> {
        let shaken = self.shake(shake);
        let line = |margin: &Margin| {
            let beside = margin.between.map(|between| {
                let days = days_between(shake, &margin.laying, between);
                match both_past(shake, margin) {
                    true => format!(": {days}"),
                    false => format!(": {days}; {}", self.chance(&margin.chance)),
                }
            });
            format!(
                "{}: {shaken}; {}{}",
                harvest.variety,
                self.laying(margin),
                beside.unwrap_or_default()
            )
        };
        harvest.margins.iter().map(line).collect()
    }

    fn laying(self, margin: &Margin) -> String {
        let (name, outcome) = (&margin.name, self.outcome(&margin.laying));
        match &margin.laying {
            Outcome::Passed { .. } => {
                format!("{name}: degree-day mark {outcome} (computed, not observed)")
            }
            Outcome::CannotTell { why } => format!("can't tell {name}: {}", self.why_not(why)),
            Outcome::Projected(_) => format!("{name} {outcome}"),
        }
    }

    fn chance(self, chance: &Result<Chance, WhyNoChance>) -> String {
        match chance {
            Ok(chance) => {
                let words = chance.likelihood().words();
                format!("chance that the shake comes before egg laying begins: {words}")
            }
            Err(why) => format!("no chance given: {}", self.why_no_chance(why)),
        }
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

/// Two days that are past have no chance left.
const fn both_past(shake: Shake, margin: &Margin) -> bool {
    matches!(
        (shake, &margin.laying),
        (Shake::Done(_), Outcome::Passed { .. })
    )
}

/// The days between both dates.
fn middle_between(shake: Shake, laying: &Outcome, between: Between) -> String {
    let [earliest, _, latest] = shake.days();
    let from = match earliest == latest {
        true => "the shake",
        false => "the likely day",
    };
    let to = match laying {
        Outcome::Projected(_) => "the middle",
        Outcome::Passed { .. } | Outcome::CannotTell { .. } => "that day",
    };
    format!("{} between {from} and {to}", who_first(between.likely))
}

/// The days between both dates, and between the ends of their ranges where either has one.
fn days_between(shake: Shake, laying: &Outcome, between: Between) -> String {
    let middle = middle_between(shake, laying, between);
    let ends = match (between.least, between.most) {
        (least, most) if least == most => return middle,
        (least @ 0.., most) => format!("{least} to {}", who_first(most)),
        (least, most @ ..=0) => format!("{} to {}", -most, who_first(least)),
        (least, most) => format!("{} to {}", who_first(least), who_first(most)),
    };
    format!("{middle}, {ends} between the ends of the ranges")
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
    use chrono::NaiveDate;

    use super::*;
    use crate::id::MarkId;
    use crate::orchard::Crop;
    use crate::season::WhyNot;
    use crate::season::tests::{new_year::season_of_crop, received};
    use crate::trapping::Expected;

    fn day(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2021, 8, day).unwrap()
    }

    fn expected(earliest: u32, likely: u32, latest: u32) -> Shake {
        Shake::Expected(Expected {
            earliest: day(earliest),
            likely: day(likely),
            latest: day(latest),
        })
    }

    fn lines(shake: Option<Shake>, margins: Vec<Margin>) -> (Vec<String>, Vec<String>) {
        let almonds = season_of_crop(Crop::Almond, &received(day(1)), day(1));
        let harvest = vec![VarietyHarvest {
            variety: "Nonpareil".to_owned(),
            shake,
            margins,
        }];
        let season = BlockSeason { harvest, ..almonds };
        let words = Words::default();
        (
            words.harvest_lines(&season),
            words.harvest_evidence(&season),
        )
    }

    fn margin(
        laying: Outcome,
        days: Option<(i64, i64, i64)>,
        chance: Result<f64, WhyNoChance>,
    ) -> Margin {
        Margin {
            mark: MarkId::new("third-generation").unwrap(),
            name: "third-generation egg laying".to_owned(),
            laying,
            between: days.map(|(likely, least, most)| Between {
                likely,
                least,
                most,
            }),
            chance: chance.map(|shake_first| Chance {
                shake_first,
                past_years: 30,
            }),
        }
    }

    /// A projection of 5 to 25 August, middle 16 August.
    fn projected() -> Outcome {
        let almonds = season_of_crop(Crop::Almond, &received(day(1)), day(1));
        let mut readings = almonds.marks.iter();
        let mut projection = *readings.find_map(|r| r.outcome.projection()).unwrap();
        (projection.early, projection.middle, projection.late) = (day(5), day(16), day(25));
        Outcome::Projected(projection)
    }

    #[test]
    fn both_ranges_the_days_between_and_the_chance_stand_in_one_line() {
        // 14 to 16 August; 20 to 5 August; 10 to 25 August.
        let margin = margin(projected(), Some((2, -15, 15)), Ok(0.52));
        let (lines, evidence) = lines(Some(expected(10, 14, 20)), vec![margin]);
        let line = "Nonpareil: shake expected Aug 10–20 (likely Aug 14); third-generation egg laying \
                    projected Aug 5–25 (middle Aug 16): 2 days (shake first) between the likely day \
                    and the middle, 15 days (egg laying first) to 15 days (shake first) between the \
                    ends of the ranges; chance that the shake comes before egg laying begins: about \
                    even";
        assert_eq!(lines, [line]);
        let numbers = "Nonpareil and third-generation egg laying: the shake comes first in 52 of 100, \
                       by 30 past years";
        assert_eq!(evidence[0], numbers);
        assert_eq!(evidence.len(), 2);
    }

    #[test]
    fn ends_on_one_side_name_that_side_once() {
        let told = |days: (i64, i64, i64)| {
            let (likely, least, most) = days;
            let between = Between {
                likely,
                least,
                most,
            };
            days_between(expected(10, 14, 20), &projected(), between)
        };
        let ends = |text: String| text.split_once(", ").map(|(_, ends)| ends.to_owned());
        let expected = [
            (
                (9, 3, 15),
                "3 to 15 days (shake first) between the ends of the ranges",
            ),
            (
                (9, 0, 15),
                "0 to 15 days (shake first) between the ends of the ranges",
            ),
            (
                (-9, -20, -8),
                "8 to 20 days (egg laying first) between the ends of the ranges",
            ),
            (
                (-9, -20, 0),
                "0 to 20 days (egg laying first) between the ends of the ranges",
            ),
        ];
        for (days, text) in expected {
            assert_eq!(ends(told(days)).unwrap(), text);
        }
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
    fn without_a_chance_the_line_says_why() {
        let passed = Outcome::Passed {
            date: day(3),
            by_estimate: false,
            firm: true,
        };
        let margin = || {
            margin(
                passed.clone(),
                Some((-1, -1, -1)),
                Err(WhyNoChance::FewPastYears(2)),
            )
        };
        let (shown, evidence) = lines(Some(expected(4, 4, 4)), vec![margin()]);
        let days = "third-generation egg laying: degree-day mark passed Aug 3 (computed, not observed): \
                    1 day (egg laying first) between the shake and that day";
        let line =
            format!("Nonpareil: shake expected Aug 4; {days}; no chance given: only 2 past years");
        assert_eq!(shown, [line]);
        assert!(evidence.is_empty());
        // With both days past none is left to give.
        let (done, _) = lines(Some(Shake::Done(day(4))), vec![margin()]);
        assert_eq!(done, [format!("Nonpareil: shaken Aug 4; {days}")]);
    }

    #[test]
    fn what_cannot_be_told_and_what_is_not_entered_is_said() {
        let why = WhyNot::HullSplitNotEntered(vec!["Nonpareil".to_owned()]);
        let no_chance = Err(why.clone().into());
        let untold = margin(Outcome::CannotTell { why }, None, no_chance);
        let (untold, _) = lines(Some(expected(14, 14, 14)), vec![untold]);
        let line = "Nonpareil: shake expected Aug 14; can't tell third-generation egg laying: hull split \
                    of Nonpareil not entered";
        assert_eq!(untold, [line]);
        let (not_entered, _) = lines(None, Vec::new());
        assert_eq!(not_entered, ["Nonpareil: shake date not entered"]);
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
