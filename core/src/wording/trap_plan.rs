//! Traps wanted and the year's work in words.

use chrono::NaiveDate;

use crate::orchard::{Block, Crop, Regime};
use crate::season::{BlockSeason, OpenTask, Purpose, TrapPlan, Wanted};

use super::handbook::{Whose, YEAR};
use super::words::Words;

/// Samples are taken before sweeping, which follows the shake by so many days at most; from memory.
const SWEPT_AFTER_DAYS: i64 = 14;

impl Purpose {
    /// The traps in words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Eggs => "egg",
            Self::Males => "pheromone",
            Self::BothSexes => "pheromone + PPO",
            Self::Sentinel => "sentinel (pheromone alone)",
            Self::Females => "bait bag",
        }
    }
}

/// Where hull split is looked for.
pub(crate) const WHERE_TO_LOOK: &str =
    "looked for in sound nuts, top southwest shoots of 5 or 6 trees";

impl Words {
    /// How many traps a source wants, and which source that is.
    #[must_use]
    pub fn wanted(self, wanted: &Wanted) -> String {
        let density = &wanted.density;
        let least = density.at_least;
        match (wanted.traps, density.acres_a_trap) {
            (Some(traps), Some(acres)) => format!(
                "{traps}: 1 in {acres} acres, at least {least} ({})",
                density.source
            ),
            (Some(traps), None) => format!("{traps} ({})", density.source),
            (None, _) => format!(
                "can't tell: acres are not declared; at least {least} ({})",
                density.source
            ),
        }
    }

    /// Everything that is wanted for one purpose, sources that disagree side by side.
    #[must_use]
    pub fn trap_plan(self, block: &Block, plan: &TrapPlan) -> Vec<String> {
        let mut lines: Vec<String> = plan.wanted.iter().map(|w| self.wanted(w)).collect();
        if !plan.asked_for {
            lines.push(match plan.purpose {
                Purpose::Females => "no published density was seen".to_owned(),
                _ => format!(
                    "not asked for in {} blocks (common practice, no source)",
                    regime_words(block.regime)
                ),
            });
        }
        if plan.purpose == Purpose::Eggs {
            lines.extend(egg_remarks(block, plan));
        }
        lines
    }

    /// The varieties of a block whose hull split is looked for, as far as the records show.
    pub(crate) fn split_looked_for(season: &BlockSeason) -> Option<String> {
        season.work.open_tasks.iter().find_map(|task| match task {
            OpenTask::LookForSplit(varieties) => Some(Self::listed(varieties)),
            _ => None,
        })
    }

    /// Open work of a block but for hull split, which a digest tells of all blocks at once.
    pub(crate) fn other_open_lines(self, season: &BlockSeason) -> Vec<String> {
        let tasks = season.work.open_tasks.iter();
        tasks
            .filter(|task| !matches!(task, OpenTask::LookForSplit(_)))
            .map(|task| self.task(&season.block, task, season.as_of))
            .collect()
    }

    /// Open work of a block, as far as the records show.
    #[must_use]
    pub fn calendar_lines(self, season: &BlockSeason) -> Vec<String> {
        let tasks = season.work.open_tasks.iter();
        tasks
            .map(|task| self.task(&season.block, task, season.as_of))
            .collect()
    }

    /// Handbook dates of the district and the adviser's own that are near, the same for all blocks.
    #[must_use]
    pub fn year_lines(self, day: NaiveDate) -> Vec<String> {
        let near = YEAR.iter().filter(|entry| entry.is_named_on(day));
        near.map(|entry| {
            let head = match entry.whose {
                Whose::District => "handbook date of the district, no block's deadline: ",
                Whose::Block | Whose::Adviser => "",
            };
            format!("{head}{}: {} ({})", entry.when, entry.what, entry.source)
        })
        .collect()
    }

    /// By when traps hang, and where one that hangs late does harm.
    fn hanging_dates(self, crop: Crop, moths_by: NaiveDate, eggs_by: NaiveDate) -> String {
        let (moths, eggs) = (self.day(moths_by), self.day(eggs_by));
        match crop {
            Crop::Pistachio => {
                format!("{} is {moths}, earlier in warm years", hanging_source(crop))
            }
            Crop::Almond | Crop::Walnut => format!(
                "{} is {moths} for moth traps and {eggs} for egg traps, and a late trap can miss the start",
                hanging_source(crop)
            ),
        }
    }

    fn task(self, block: &Block, task: &OpenTask, day: NaiveDate) -> String {
        match task {
            OpenTask::CountMummies => {
                "no mummy count is entered; the handbook's date is Jan 15, in 20 trees (relayed; pointer only)".to_owned()
            }
            OpenTask::HangTraps { moths_by, eggs_by } => {
                format!("no trap hangs; {}", self.hanging_dates(block.crop, *moths_by, *eggs_by))
            }
            OpenTask::LookForSplit(varieties) => format!(
                "hull split of {} is not seen yet: {WHERE_TO_LOOK}",
                Self::listed(varieties)
            ),
            OpenTask::SampleHarvest { variety, shaken } => {
                let what = variety.as_deref().unwrap_or("the block");
                let when = self.day(*shaken);
                let open = format!("no harvest sample of {what} is entered, shaken {when}");
                match (day - *shaken).num_days() {
                    ..=SWEPT_AFTER_DAYS => format!("{open}: {}", sample_words(block.crop)),
                    _ => format!("{open}: it may wait to be cracked out"),
                }
            }
        }
    }
}

const fn regime_words(regime: Regime) -> &'static str {
    match regime {
        Regime::Conventional => "conventional",
        Regime::MatingDisruption => "disrupted",
    }
}

/// What else is published about the number of egg traps.
fn egg_remarks(block: &Block, plan: &TrapPlan) -> Vec<String> {
    let mut remarks = Vec::new();
    if plan.wanted.len() > 1 {
        remarks.push(
            "2 to 4 traps in 158 acres were too few for that block (Burks et al. 2011)".to_owned(),
        );
    }
    if block.crop != Crop::Almond {
        remarks.push(format!(
            "the density is published for almond, not {}",
            block.crop
        ));
    }
    if block.borrows_start() {
        remarks.push(format!("the start is borrowed from {}", block.start_group));
    }
    remarks
}

/// Whose the dates are by which traps hang.
pub(crate) const fn hanging_source(crop: Crop) -> &'static str {
    match crop {
        Crop::Pistachio => "the handbook's date",
        Crop::Almond | Crop::Walnut => "the extension's date",
    }
}

/// What is sampled, by crop.
const fn sample_words(crop: Crop) -> &'static str {
    match crop {
        Crop::Almond => "500 nuts a block, after shaking and before sweeping (UC IPM)",
        Crop::Walnut => "1000 nuts a block (relayed from UC IPM; pointer only)",
        Crop::Pistachio => "no published number of nuts was seen",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::orchard::Orchard;
    use crate::sample;
    use crate::season::trap_plan;
    use crate::trapping::{Note, NoteKind};

    fn date(month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, month, day).unwrap()
    }

    #[test]
    fn sources_that_disagree_stand_side_by_side() {
        let block = Block {
            acres: Some(120.0),
            ..sample::block()
        };
        let plans = trap_plan(&Orchard::default(), &block, date(4, 1));
        let lines = Words::default().trap_plan(&block, &plans[0]);
        assert_eq!(lines.len(), 3, "{lines:?}");
        assert_eq!(
            lines[0],
            "12: 1 in 10 acres, at least 4 (UC IPM almond guideline)"
        );
        assert!(lines[1].starts_with("6: 1 in 20 acres, at least 3 (a field scouts' page"));
        assert!(lines[1].contains("pointer only"));
        assert!(lines[2].contains("Burks et al. 2011"));
    }

    #[test]
    fn without_acres_the_plan_cannot_tell() {
        let block = sample::block();
        let plans = trap_plan(&Orchard::default(), &block, date(4, 1));
        let lines = Words::default().trap_plan(&block, &plans[0]);
        let expected = "can't tell: acres are not declared; at least 4 (UC IPM almond guideline)";
        assert_eq!(lines, [expected]);
    }

    fn lines(notes: &[Note], day: NaiveDate) -> Vec<String> {
        let orchard = Orchard::new(vec![sample::block()], Vec::new(), Vec::new());
        Words::default().calendar_lines(&sample::season(&orchard, vec![], notes, day))
    }

    #[test]
    fn a_sample_is_taken_before_sweeping_and_cracked_out_later() {
        let shaken = [sample::note(
            date(10, 3),
            Some("Monterey"),
            NoteKind::Shaken,
        )];
        let open = "no harvest sample of Monterey is entered, shaken Oct 3";
        let early = format!("{open}: 500 nuts a block, after shaking and before sweeping (UC IPM)");
        assert_eq!(lines(&shaken, date(10, 17)), [early]);
        let late = format!("{open}: it may wait to be cracked out");
        assert_eq!(lines(&shaken, date(10, 18)), [late]);
    }

    #[test]
    fn split_that_is_not_seen_is_looked_for_without_a_word_on_the_insect() {
        let found = lines(&[], date(7, 2));
        assert_eq!(found.len(), 1);
        assert!(found[0].starts_with("hull split of Nonpareil and Monterey is not seen yet"));
        assert!(!found[0].contains("egg") && !found[0].contains("generation"));
    }

    #[test]
    fn sanitation_is_a_date_of_the_district_and_never_of_a_block() {
        let year = Words::default().year_lines(date(3, 10));
        let head =
            "handbook date of the district, no block's deadline: by Mar 15: mummies on the ground";
        assert!(year[0].starts_with(head), "{year:?}");
        let of_block = lines(&[], date(3, 10)).join("; ");
        assert!(of_block.contains("no mummy count is entered"));
        assert!(!of_block.contains("destroyed"));
    }
}
