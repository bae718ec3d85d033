//! Lines of a mail that comes back in its answer: none of them says anything until somebody fills it in.
//!
//! Mail programs quote, wrap, join and cut what they send back. So nothing stands behind the sign of a line to
//! fill in, all else stands in square brackets, which the reader of answers leaves out wherever they open and
//! close, and one word that no wrapping breaks says where the mail begins.

use std::fmt::Display;

/// The word with which a mail begins that may be answered, as an answer brings it back.
pub const BEGINS: &str = "==v==";

/// The word with which it ends: what stands behind it is the answer's again.
pub const ENDS: &str = "==^==";

/// A line to be filled in: `N1-E1 = `.
#[must_use]
pub fn fill_in(trap: impl Display) -> String {
    format!("{trap} = ")
}

/// A line that says nothing, whatever it says: `# [gate 3, row 12]`.
#[must_use]
pub fn remark(text: &str) -> String {
    format!("# [{}]", unbracketed(text))
}

/// A text within a line that says nothing: `[12 on Jun 14]`.
#[must_use]
pub fn aside(text: &str) -> String {
    format!("[{}]", unbracketed(text))
}

/// In a text of our own, round brackets for square ones; no sign to fill in behind.
fn unbracketed(text: &str) -> String {
    text.chars()
        .map(|letter| match letter {
            '[' => '(',
            ']' => ')',
            '=' => ':',
            other => other,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_named_their_things_cannot_close_a_remark() {
        assert_eq!(remark("row 3] N1-E1 = 12 ["), "# [row 3) N1-E1 : 12 (]");
        assert_eq!(aside("12 on Jun 14"), "[12 on Jun 14]");
        assert_eq!(fill_in("N1-E1"), "N1-E1 = ");
    }
}
