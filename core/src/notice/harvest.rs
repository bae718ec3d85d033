//! Harvest beside the generations in sentences: two dates and the days between them, never what to do.

use crate::season::{
    Between, BlockSeason, Chance, Likelihood, Margin, Outcome, Shake, VarietyHarvest,
};

use super::words::Words;

impl Words {
    /// Each variety's shake beside the egg laying that matters at its harvest; nothing while no shake
    /// of the block is entered.
    #[must_use]
    pub fn harvest_lines(self, season: &BlockSeason) -> Vec<String> {
        let lines = season
            .harvest
            .iter()
            .flat_map(|harvest| match harvest.shake {
                None => vec![format!("{}: shake date not entered", harvest.variety)],
                Some(shake) => self.margin_lines(harvest, shake),
            });
        lines.collect()
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
                "{} and {}: the shake comes first in {:.0} of 100, by {past_years} past years",
                harvest.variety,
                margin.name,
                shake_first * 100.0
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
            let laying = match &margin.laying {
                Outcome::Passed { .. } => format!(
                    "{}: degree-day mark {} (computed, not observed)",
                    margin.name,
                    self.outcome(&margin.laying)
                ),
                laying => format!("{} {}", margin.name, self.outcome(laying)),
            };
            let beside = margin.between.map(|between| {
                let chance = chance(&margin.chance);
                format!(
                    ": {}; {chance}",
                    days_between(shake, &margin.laying, between)
                )
            });
            format!(
                "{}: {shaken}; {laying}{}",
                harvest.variety,
                beside.unwrap_or_default()
            )
        };
        harvest.margins.iter().map(line).collect()
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

/// The days between both dates, and between the ends of their ranges where either has one.
fn days_between(shake: Shake, laying: &Outcome, between: Between) -> String {
    let [earliest, _, latest] = shake.days();
    let from = match earliest == latest {
        true => "the shake",
        false => "the likely day",
    };
    let to = match laying {
        Outcome::Projected(_) => "the middle",
        Outcome::Passed { .. } | Outcome::CannotTell { .. } => "that day",
    };
    let middle = format!("{} between {from} and {to}", who_first(between.likely));
    if between.least == between.most {
        return middle;
    }
    format!(
        "{middle}, {} to {} between the ends of the ranges",
        who_first(between.least),
        who_first(between.most)
    )
}

fn who_first(days: i64) -> String {
    let plural = if days.abs() == 1 { "day" } else { "days" };
    match days {
        0 => "0 days".to_owned(),
        1.. => format!("{days} {plural} (shake first)"),
        _ => format!("{} {plural} (egg laying first)", -days),
    }
}

fn chance(chance: &Result<Chance, String>) -> String {
    match chance {
        Ok(chance) => {
            let words = chance.likelihood().words();
            format!("chance that the shake comes before egg laying begins: {words}")
        }
        Err(reason) => format!("no chance given: {reason}"),
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
