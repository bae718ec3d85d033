//! Keeps what people entered on one line: no name can open a header, a line of text or a tag.

use std::fmt;

use askama::filters::{Escaper, Html};

/// Replaces control characters by spaces and drops marks that reverse the order of letters.
#[must_use]
pub(crate) fn one_line(text: &str) -> String {
    text.chars().filter_map(kept).collect()
}

fn kept(c: char) -> Option<char> {
    match c {
        // Bidirectional embeddings, overrides and isolates: a name could show other text than it has.
        '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' => None,
        '\u{2028}' | '\u{2029}' => Some(' '),
        c if c.is_control() => Some(' '),
        c => Some(c),
    }
}

/// A line of at most `room` characters, cut between words where it is too long.
#[must_use]
pub(crate) fn shortened(text: &str, room: usize) -> String {
    let Some((end, _)) = text.char_indices().nth(room) else {
        return text.to_owned();
    };
    let last = text[..end].char_indices().next_back();
    let cut = &text[..last.map_or(0, |(place, _)| place)];
    let between_words = cut.rfind(' ').filter(|space| *space > cut.len() / 2);
    let kept = &cut[..between_words.unwrap_or(cut.len())];
    let trailing = |c: char| c.is_whitespace() || matches!(c, ',' | ':' | ';' | '(');
    format!("{}…", kept.trim_end_matches(trailing))
}

/// Escaper of text templates.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Text;

impl Escaper for Text {
    fn write_escaped_str<W: fmt::Write>(&self, mut dest: W, string: &str) -> fmt::Result {
        dest.write_str(&one_line(string))
    }
}

/// Escaper of HTML templates.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Markup;

impl Escaper for Markup {
    fn write_escaped_str<W: fmt::Write>(&self, dest: W, string: &str) -> fmt::Result {
        Html.write_escaped_str(dest, &one_line(string))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn line_breaks_become_spaces_and_letters_stay() {
        let check = |text, expected: &str| assert_eq!(one_line(text), expected, "{text:?}");
        check("Finca Peñón 🌰", "Finca Peñón 🌰");
        check("North\r\nBcc: x@y.example", "North  Bcc: x@y.example");
        check("a\u{0}b\u{85}c\u{2028}d\te", "a b c d e");
        check("a\u{202E}b\u{2066}c", "abc");
    }
}
