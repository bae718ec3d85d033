//! This year's catches beside those of earlier years in sentences.

use crate::orchard::{Part, TrapKind};
use crate::season::{
    Aligned, BlockSeason, ByHeat, Comparison, Difference, FEWEST_SEASONS, SeasonCatch,
};

use super::words::{Words, degree_days, rate_words};

/// What stands beside every comparison.
pub(crate) const NO_PREDICTION: &str = "catches have not predicted damage reliably";

impl Words {
    /// This season's catches to date beside those of earlier ones; empty where nothing was read in any.
    #[must_use]
    pub fn years_lines(self, season: &BlockSeason) -> Vec<String> {
        let lines = season.beside.years.iter().flat_map(|compared| {
            let title = title(season, compared);
            let by_date = format!("{title}, to {}", self.day(season.as_of));
            let mut lines = self.aligned(&by_date, &compared.by_date, compared.kind, false);
            match &compared.by_heat {
                Ok(by_heat) => lines.extend(self.by_heat(&title, season, compared, by_heat)),
                Err(why) => {
                    let why = self.why_not_by_heat(why);
                    lines.push(format!("{title}, by degree-days: can't tell: {why}"));
                }
            }
            lines
        });
        lines.collect()
    }

    fn by_heat(
        self,
        title: &str,
        season: &BlockSeason,
        compared: &Comparison,
        by_heat: &ByHeat,
    ) -> Vec<String> {
        let sum = degree_days(by_heat.degree_days, season.unit);
        let title = format!("{title}, to {sum} since the first of January");
        let mut lines = self.aligned(&title, &by_heat.seasons, compared.kind, true);
        if !by_heat.unknown.is_empty() {
            let years: Vec<String> = by_heat.unknown.iter().map(i32::to_string).collect();
            lines.push(format!(
                "{title}: can't tell for {}, temperatures are missing or the sum was not reached",
                years.join(", ")
            ));
        }
        lines
    }

    /// The seasons that can be compared, with this one's place among them, and those that cannot.
    fn aligned(self, title: &str, aligned: &Aligned, kind: TrapKind, dated: bool) -> Vec<String> {
        let this = match &aligned.this {
            Some(season) => self.season_catch(season, dated),
            None => "this season not read yet".to_owned(),
        };
        let earlier = aligned.comparable();
        let earlier = earlier.map(|season| self.season_catch(season, dated));
        let seasons: Vec<String> = std::iter::once(this).chain(earlier).collect();
        let mut lines = vec![format!(
            "{title}: {}; {}",
            seasons.join(", "),
            standing(aligned)
        )];
        let others: Vec<String> = aligned
            .earlier
            .iter()
            .filter(|(_, differ)| !differ.is_empty())
            .map(|(season, differ)| {
                let catch = self.season_catch(season, dated);
                let differ = differ.iter().map(|differ| self.difference(*differ, kind));
                format!("{catch}: {}", differ.collect::<Vec<_>>().join(", "))
            })
            .collect();
        if !others.is_empty() {
            lines.push(format!("{title}, not compared: {}", others.join("; ")));
        }
        lines
    }

    fn season_catch(self, season: &SeasonCatch, dated: bool) -> String {
        let haul = &season.haul;
        let to = match dated {
            true => format!(" to {}", self.day(season.to)),
            false => String::new(),
        };
        format!(
            "{}{to} {} ({} in {} trap-nights)",
            season.year,
            rate_words(haul.per_trap_night()),
            haul.count,
            haul.trap_nights
        )
    }

    pub(crate) fn difference(self, difference: Difference, kind: TrapKind) -> String {
        let lure = match kind.parts().contains(&Part::Bait) {
            true => "bait",
            false => "lure",
        };
        match difference {
            Difference::Kind(kind) => format!("{} traps then", kind.name()),
            Difference::Lure => format!("other {lure}"),
            Difference::LureNotDeclared => format!("{lure} not declared"),
            Difference::Regime(regime) => format!("{regime} then"),
            Difference::RegimeNotDeclared => "regime not declared".to_owned(),
            Difference::Place => "other places".to_owned(),
            Difference::PlaceNotDeclared => "places not written down".to_owned(),
            Difference::Service(share) => {
                format!("{lure} in life in {:.0} % of the nights", 100.0 * share)
            }
            Difference::Stretch(day) => format!("first night {}", self.day(day)),
        }
    }
}

/// Which traps, and what is given of them.
fn title(season: &BlockSeason, compared: &Comparison) -> String {
    let block = &season.block;
    let whose = match compared.of_farm {
        true => format!(
            "no earlier season of this block; the farm's other {} {} blocks together: ",
            block.regime, block.crop
        ),
        false => String::new(),
    };
    format!("{whose}{} per trap per night", traps_and_counted(compared))
}

/// Which traps, and what is counted on them.
pub(crate) fn traps_and_counted(compared: &Comparison) -> String {
    let this = compared.by_date.this.as_ref();
    let counted = this.map(|season| season.haul.counted);
    let what = counted.map_or("catch", |counted| counted.words(2));
    format!("{} traps, {what}", compared.kind.name())
}

/// Where this season stands among the comparable ones.
fn standing(aligned: &Aligned) -> String {
    match aligned.standing() {
        Some((lower, all)) => format!(
            "higher than in {lower} of {all} earlier seasons alike in traps, lure, place, regime and \
             service; {NO_PREDICTION}"
        ),
        None => format!(
            "fewer than {FEWEST_SEASONS} earlier seasons to compare with, so numbers only; \
             {NO_PREDICTION}"
        ),
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::orchard::{Orchard, Trap};
    use crate::sample;
    use crate::trapping::Visit;

    fn date(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).unwrap()
    }

    /// A trap a year, hung on 1 March and read on 20 May, 80 nights later.
    fn lines(moths: &[(i32, u32)], moved_in: i32) -> Vec<String> {
        let trap = |year| {
            let hung = date(year, 3, 1);
            let mut trap: Trap =
                sample::served_trap(&format!("P{year}"), "B", TrapKind::Pheromone, hung);
            trap.removed = Some(date(year, 11, 1));
            trap.place.row = if year == moved_in { "9" } else { "12" }.into();
            trap
        };
        let traps = moths.iter().map(|(year, _)| trap(*year)).collect();
        let read = |(year, moths): &(i32, u32)| Visit {
            moths: Some(*moths),
            ..sample::visit(&format!("P{year}"), date(*year, 5, 20))
        };
        let orchard = Orchard::new(vec![sample::block()], traps, sample::products(200));
        let visits = moths.iter().map(read).collect();
        let season = sample::season(&orchard, visits, &[], date(2021, 6, 1));
        Words::default().years_lines(&season)
    }

    #[test]
    fn seasons_stand_beside_each_other_and_this_one_is_given_its_place() {
        let moths = [(2021, 160), (2020, 240), (2019, 40), (2018, 80), (2017, 8)];
        let expected = [
            "pheromone traps, males per trap per night, to Jun 1: 2021 2.0 (160 in 80 trap-nights), \
             2020 3.0 (240 in 80 trap-nights), 2019 0.5 (40 in 80 trap-nights), 2018 1.0 (80 in 80 \
             trap-nights); higher than in 2 of 3 earlier seasons alike in traps, lure, place, regime \
             and service; catches have not predicted damage reliably",
            "pheromone traps, males per trap per night, to Jun 1, not compared: 2017 0.1 (8 in 80 \
             trap-nights): other places",
            "pheromone traps, males per trap per night, by degree-days: can't tell: no temperatures \
             from station S yet",
        ];
        assert_eq!(lines(&moths, 2017), expected);
    }

    #[test]
    fn fewer_than_three_seasons_are_numbers_only() {
        let lines = lines(&[(2021, 160), (2020, 240)], 2017);
        let end = "; fewer than 3 earlier seasons to compare with, so numbers only; catches have not \
                   predicted damage reliably";
        assert!(lines[0].ends_with(end), "{}", lines[0]);
    }
}
