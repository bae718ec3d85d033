//! A digest with less in it, for when the whole one would be cut off by mail programs.

use super::digest::Digest;
use crate::wording::gather::Lines;

/// Entries of each list that are kept at the first cut; each further cut keeps half as many.
const FIRST_CUT: usize = 64;

impl Digest {
    /// The same digest with less in it: at the first step without egg laying beside hull split and shake, then
    /// without evidence, then without the trap work trap by trap, then with ever shorter lists, the table
    /// first. What is gone is said. `None` when there is nothing left to shorten.
    #[must_use]
    pub fn shortened(&self, step: u32) -> Option<Self> {
        let mut short = self.clone();
        if step >= 1 && !short.exposure.is_empty() {
            short.exposure.clear();
            let what = "egg laying beside hull split and shake";
            short.left_out.push(what.to_owned());
        }
        if step >= 2 {
            short.drop_evidence();
        }
        if step >= 3 && !short.by_trap.is_empty() {
            short.by_trap.clear();
            short.left_out.push("trap work trap by trap".to_owned());
        }
        if step >= 4 {
            short.cut_table(kept(step - 4)?);
        }
        if step >= 6 {
            short.cut_lists(kept(step - 6)?);
        }
        Some(short)
    }

    fn drop_evidence(&mut self) {
        if !self.evidence.is_empty() {
            self.evidence.clear();
            self.left_out.push("what the news rests on".to_owned());
        }
    }

    fn cut_table(&mut self, most: usize) {
        let gone = self.table.len().saturating_sub(most);
        self.table.truncate(most);
        self.leave_out(gone, "rows of the table of blocks");
    }

    fn cut_lists(&mut self, most: usize) {
        let lists: [(&mut Vec<Lines>, &str); 4] = [
            (&mut self.not_known, "lines of what is not known"),
            (&mut self.traps, "lines of what moth traps show"),
            (&mut self.work, "lines of trap work"),
            (&mut self.changed, "lines of what changed"),
        ];
        let mut gone: Vec<(usize, &str)> = Vec::new();
        for (list, what) in lists {
            gone.push((list.len().saturating_sub(most), what));
            list.truncate(most);
        }
        for topic in &mut self.ahead {
            gone.push((
                topic.rows.len().saturating_sub(most),
                "lines of the next days",
            ));
            topic.rows.truncate(most);
        }
        gone.push((
            self.trouble.len().saturating_sub(most),
            "lines of data trouble",
        ));
        self.trouble.truncate(most);
        for (count, what) in gone {
            self.leave_out(count, what);
        }
    }

    fn leave_out(&mut self, count: usize, what: &str) {
        if count > 0 {
            self.left_out.push(format!("{count} {what}"));
        }
    }
}

/// How many entries the cut of that number keeps.
fn kept(cut: u32) -> Option<usize> {
    let kept = FIRST_CUT.checked_shr(cut)?;
    (kept > 0).then_some(kept)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::contents::digest;
    use crate::contents::trap_side::BlockExposure;
    use crate::orchard::Orchard;
    use crate::sample;
    use crate::wording::Words;

    #[test]
    fn each_step_leaves_more_out_and_says_so() {
        let orchard = Orchard::new(vec![sample::block()], Vec::new(), Vec::new());
        let day = chrono::NaiveDate::from_ymd_opt(2022, 6, 1).unwrap();
        let season = sample::season(&orchard, Vec::new(), &[], day);
        let seasons = vec![&season; 70];
        let lines = |count: usize| {
            let lines = Lines {
                title: "B".to_owned(),
                lines: vec!["line".to_owned()],
            };
            vec![lines; count]
        };
        let whole = Digest {
            evidence: lines(70),
            by_trap: lines(70),
            work: lines(70),
            exposure: vec![BlockExposure {
                block: "B".to_owned(),
                varieties: Vec::new(),
            }],
            ..digest(
                Words::default(),
                day,
                &seasons,
                &[],
                &[],
                Vec::new(),
                |_| None,
            )
        };
        assert_eq!(whole.shortened(0), Some(whole.clone()));
        let left_out = |step| whole.shortened(step).unwrap().left_out;
        assert_eq!(left_out(1), ["egg laying beside hull split and shake"]);
        assert_eq!(left_out(2)[1], "what the news rests on");
        assert_eq!(left_out(3)[2], "trap work trap by trap");
        assert_eq!(left_out(4)[3], "6 rows of the table of blocks");
        assert_eq!(left_out(5)[3], "38 rows of the table of blocks");
        assert!(left_out(6).contains(&"6 lines of trap work".to_owned()));
        let last = (0..)
            .map_while(|step| whole.shortened(step))
            .last()
            .unwrap();
        assert_eq!((last.table.len(), last.work.len()), (1, 4));
    }
}
