//! Starts that somebody has to decide, with what speaks for it.

use crate::season::Lagging;

use super::words::{Words, degree_days};

/// So many neighbours are named.
const NAMED: usize = 4;

impl Words {
    /// That a block's start is waited for, with the evidence, its neighbours' dates and the command.
    pub(crate) fn undecided(self, lagging: &Lagging<'_>) -> Vec<String> {
        let season = lagging.season;
        let why = self.why_start(&season.start.evidence.why);
        let heat = degree_days(lagging.heat, season.unit);
        vec![
            format!(
                "no egg-laying start with {heat} since the first of January: {why}; {}",
                self.neighbours(lagging)
            ),
            format!(
                "to decide it: duskflight notes add --block {} --kind egg-laying-start --value DAY --note WHY",
                season.block.id
            ),
        ]
    }

    fn neighbours(self, lagging: &Lagging<'_>) -> String {
        let all = &lagging.neighbours;
        let named = all.iter().take(NAMED).map(|(other, date)| {
            let day = self.day(*date);
            format!(
                "{} {day} ({})",
                other.block.name,
                other.start.status.words()
            )
        });
        let named: Vec<String> = named.collect();
        match (all.is_empty(), all.len().saturating_sub(NAMED)) {
            (true, _) => "no other block has a start either".to_owned(),
            (false, 0) => format!("starts beside it: {}", named.join(", ")),
            (false, more) => format!("starts beside it: {} and {more} more", named.join(", ")),
        }
    }
}
