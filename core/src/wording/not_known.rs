//! What a digest says it cannot know, because nobody entered it.

use crate::season::BlockSeason;
use crate::trapping::{Missing, Unknown, Unread};

use super::gather::trap_list;
use super::words::Words;

impl Words {
    /// What is not known of a block because it was not entered, a line for each stretch of catches and one
    /// for all field notes.
    #[must_use]
    pub fn not_known_lines(self, season: &BlockSeason) -> Vec<String> {
        self.not_known(&season.unknown)
    }

    fn not_known(self, unknown: &Unknown) -> Vec<String> {
        let unread = unknown.unread.iter();
        let mut lines: Vec<String> = unread.map(|unread| self.unread(unread)).collect();
        let missing: Vec<String> = unknown.missing.iter().map(missing_words).collect();
        if !missing.is_empty() {
            lines.push(format!("not entered: {}", missing.join("; ")));
        }
        lines
    }

    fn unread(self, unread: &Unread) -> String {
        let traps: Vec<_> = unread.traps.iter().collect();
        let traps = trap_list(&traps);
        let from = self.day(unread.from);
        let when = match unread.to {
            Some(to) => format!("from {from} to {}", self.day(to)),
            None => format!("since {from}"),
        };
        format!("no reading of {traps} entered {when}: catches of that time are not known")
    }
}

fn missing_words(missing: &Missing) -> String {
    match missing {
        Missing::Damage => "last year's damage in the field".to_owned(),
        Missing::Mummies => "mummies".to_owned(),
        Missing::Bloom => "bloom".to_owned(),
        Missing::HullSplit(varieties) => format!("hull split of {}", varieties.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::id::TrapId;

    #[test]
    fn each_stretch_has_its_line_and_all_notes_share_one() {
        let day = |month, day| NaiveDate::from_ymd_opt(2022, month, day).unwrap();
        let traps = |ids: &[&str]| ids.iter().map(|id| TrapId::new(id).unwrap()).collect();
        let unknown = Unknown {
            unread: vec![
                Unread {
                    traps: traps(&["N1-E1", "N1-E2", "N1-E3"]),
                    from: day(3, 15),
                    to: Some(day(6, 2)),
                },
                Unread {
                    traps: traps(&["N1-P1"]),
                    from: day(5, 1),
                    to: None,
                },
            ],
            missing: vec![
                Missing::Damage,
                Missing::HullSplit(vec!["Nonpareil".into(), "Monterey".into()]),
            ],
        };
        assert_eq!(
            Words::default().not_known(&unknown),
            [
                "no reading of N1-E1 to N1-E3 entered from Mar 15 to Jun 2: catches of that time are not known",
                "no reading of N1-P1 entered since May 1: catches of that time are not known",
                "not entered: last year's damage in the field; hull split of Nonpareil, Monterey",
            ]
        );
        assert!(Words::default().not_known(&Unknown::default()).is_empty());
    }
}
