//! The beginning of a text from outside, made safe to print in an error or a log line.

use std::fmt;

/// How much of a wrong answer is kept for the operator.
const ANSWER_BYTES: usize = 200;
/// How much of one cell is kept: enough to find it in the table.
const CELL_BYTES: usize = 40;

/// The beginning of a foreign text in one line: control characters and runs of blanks are one
/// blank, what is not UTF-8 is `�`, and a text that was cut ends in `…`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Excerpt(String);

impl Excerpt {
    /// The first 200 bytes of an answer.
    #[must_use]
    pub fn of_answer(bytes: &[u8]) -> Self {
        Self::of(bytes, ANSWER_BYTES)
    }

    /// The first 40 bytes of one cell.
    #[must_use]
    pub fn of_cell(text: &str) -> Self {
        Self::of(text.as_bytes(), CELL_BYTES)
    }

    fn of(bytes: &[u8], most: usize) -> Self {
        let kept = String::from_utf8_lossy(&bytes[..bytes.len().min(most)]);
        let printable = kept.replace(char::is_control, " ");
        let mut line = printable.split_whitespace().collect::<Vec<_>>().join(" ");
        if bytes.len() > most {
            line.push('…');
        }
        Self(line)
    }
}

impl fmt::Display for Excerpt {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "\"{}\"", self.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_excerpt_is_one_short_line_of_text() {
        let check = |bytes: &[u8], expected| {
            assert_eq!(Excerpt::of_answer(bytes).to_string(), expected);
        };
        check(b"", "\"\"");
        check(
            b"<html>\r\n\t<b>down</b>\x1b[31m\0",
            "\"<html> <b>down</b> [31m\"",
        );
        check(b"25 \xb0C", "\"25 \u{fffd}C\"");
        let long = Excerpt::of_answer(&[b'x'; 5000]).to_string();
        assert_eq!(long, format!("\"{}…\"", "x".repeat(200)));
    }
}
