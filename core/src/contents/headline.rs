//! The line that a subject has room for.

use crate::wording::gather::name_list;

/// Longer subjects are cut off on a phone, characters.
pub const LONGEST_SUBJECT: usize = 60;

/// The most important thing of a mail: when, what, where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Headline<'a> {
    /// A day or days; may be empty.
    pub(crate) begins: String,
    /// What it is, in few words.
    pub(crate) brief: &'a str,
    /// The names of the blocks it is about.
    pub(crate) blocks: Vec<&'a str>,
}

impl Headline<'_> {
    /// In at most [`LONGEST_SUBJECT`] characters where the words allow it, with how much `more` the mail tells.
    pub(crate) fn words(&self, more: usize) -> String {
        let begins = match self.begins.is_empty() {
            true => capital(self.brief),
            false => format!("{}: {}", self.begins, self.brief),
        };
        let ends = match more {
            0 => String::new(),
            more => format!(" (+{more} more)"),
        };
        let room = LONGEST_SUBJECT.saturating_sub((begins.chars().count() + ends.len()) + 2);
        let blocks = some_blocks(&self.blocks, room);
        let blocks = blocks.map_or_else(String::new, |blocks| format!(", {blocks}"));
        format!("{begins}{blocks}{ends}")
    }
}

/// The same with its first letter a capital.
pub(crate) fn capital(text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) => first.to_uppercase().chain(letters).collect(),
        None => String::new(),
    }
}

/// As many names of a list of blocks as fit into so many characters, and how many more there are, else how many
/// they all are; `None` where not even that fits.
fn some_blocks(names: &[&str], room: usize) -> Option<String> {
    let named = |count: usize| match names.len() - count {
        0 => name_list(names),
        more => format!("{} +{more}", name_list(&names[..count])),
    };
    let fitting = (1..=names.len()).rev().map(named);
    let mut fitting = fitting.filter(|text| text.chars().count() <= room);
    let counted = || {
        let counted = format!("{} blocks", names.len());
        (names.len() > 1 && counted.len() <= room).then_some(counted)
    };
    fitting.next().or_else(counted)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headline(begins: &str, brief: &str, blocks: &[&str], more: usize) -> String {
        let headline = Headline {
            begins: begins.to_owned(),
            brief,
            blocks: blocks.to_vec(),
        };
        headline.words(more)
    }

    #[test]
    fn the_days_come_first_and_as_many_blocks_are_named_as_a_phone_shows() {
        let brief = "second-generation egg laying";
        let check = |blocks: &[&str], more, expected: &str| {
            let words = headline("Jun 13–24", brief, blocks, more);
            assert_eq!(words, expected);
            assert!(words.chars().count() <= LONGEST_SUBJECT);
        };
        check(
            &["North"],
            0,
            "Jun 13–24: second-generation egg laying, North",
        );
        check(
            &["North", "South", "West"],
            0,
            "Jun 13–24: second-generation egg laying, North, South, West",
        );
        check(
            &["North Slough", "South", "West"],
            1,
            "Jun 13–24: second-generation egg laying, 3 blocks (+1 more)",
        );
        check(
            &["North", "South", "West", "East"],
            0,
            "Jun 13–24: second-generation egg laying, North, South +2",
        );
    }

    #[test]
    fn what_happened_stays_whole_where_no_block_fits_beside_it() {
        let brief = "corrected: second-generation mark passed";
        let words = |blocks: &[&str]| headline("Jun 24", brief, blocks, 0);
        assert_eq!(words(&["Home"]), format!("Jun 24: {brief}, Home"));
        assert_eq!(words(&["Home Back Forty"]), format!("Jun 24: {brief}"));
        assert_eq!(
            words(&["Home Back Forty", "Home"]),
            format!("Jun 24: {brief}, 2 blocks")
        );
    }

    #[test]
    fn without_days_or_blocks_the_words_stand_alone() {
        assert_eq!(headline("", "nothing due", &[], 0), "Nothing due");
        assert_eq!(
            headline("Jun 20", "trap work", &[], 2),
            "Jun 20: trap work (+2 more)"
        );
    }
}
