//! A digest with less in it, for when the whole one would be cut off by mail programs.

use super::digest::Digest;

/// Entries of each list that are kept at the first cut; each further cut keeps half as many.
const FIRST_CUT: usize = 64;

impl Digest {
    /// The same digest with less in it: at the first step without what the news rests on, then with ever shorter
    /// lists. What is gone is said. `None` when there is nothing left to shorten.
    #[must_use]
    pub fn shortened(&self, step: u32) -> Option<Self> {
        let mut short = self.clone();
        if step >= 1 {
            short.drop_evidence();
        }
        if step >= 2 {
            short.cut_lists(kept(step - 2)?);
        }
        Some(short)
    }

    fn drop_evidence(&mut self) {
        let mut gone = false;
        for item in &mut self.news {
            gone |= item.rests_on.take().is_some();
        }
        if gone {
            self.left_out.push("what the news rests on".to_owned());
        }
    }

    fn cut_lists(&mut self, most: usize) {
        let mut left_out = Vec::new();
        let mut cut = |length: usize, what: &str| {
            if length > most {
                left_out.push(format!("{} {what}", length - most));
            }
        };
        cut(self.news.len(), "lines of news");
        self.news.truncate(most);
        cut(self.blocks.rows.len(), "rows of blocks");
        self.blocks.rows.truncate(most);
        cut(self.decide.len(), "starts to decide");
        self.decide.truncate(most);
        cut(self.work.len(), "routes");
        self.work.truncate(most);
        let lines = self.work.iter().map(|route| route.lines.len()).max();
        cut(lines.unwrap_or(0), "lines of trap work on a route");
        for route in &mut self.work {
            route.lines.truncate(most);
        }
        cut(self.week.len(), "lines of the week");
        self.week.truncate(most);
        cut(self.trouble.len(), "lines of trouble");
        self.trouble.truncate(most);
        self.left_out.extend(left_out);
    }
}

/// How many entries the cut of that number keeps.
fn kept(cut: u32) -> Option<usize> {
    let kept = FIRST_CUT.checked_shr(cut)?;
    (kept > 0).then_some(kept)
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;
    use crate::contents::{BlockRows, NewsItem};

    #[test]
    fn each_step_leaves_more_out_and_says_so() {
        let item = NewsItem {
            blocks: "North".to_owned(),
            says: "second-generation egg laying: projected Jun 13–24".to_owned(),
            rests_on: Some("1056 °F-days".to_owned()),
        };
        let whole = Digest {
            day: NaiveDate::from_ymd_opt(2022, 6, 1).unwrap(),
            headline: String::new(),
            quiet: None,
            news: vec![item; 70],
            work: Vec::new(),
            decide: Vec::new(),
            week: Vec::new(),
            trouble: vec!["a gap".to_owned(); 40],
            forecasts: Vec::new(),
            blocks: BlockRows::default(),
            left_out: Vec::new(),
            weekly: false,
            catch_up: None,
        };
        assert_eq!(whole.shortened(0), Some(whole.clone()));
        let left_out = |step| whole.shortened(step).unwrap().left_out;
        assert_eq!(left_out(1), ["what the news rests on"]);
        assert_eq!(left_out(2)[1..], ["6 lines of news"]);
        assert_eq!(left_out(3)[1..], ["38 lines of news", "8 lines of trouble"]);
        let last = (0..)
            .map_while(|step| whole.shortened(step))
            .last()
            .unwrap();
        assert_eq!((last.news.len(), last.trouble.len()), (1, 1));
    }
}
