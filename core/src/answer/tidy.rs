//! What phones and mail programs do to text, undone: odd blanks, dashes, quotes and digits; what stands in
//! square brackets is ours and left out.

/// An answer is read so far.
const MOST_CHARACTERS: usize = 200_000;
/// What stands in brackets is no longer than this.
const LONGEST_ASIDE: usize = 2_000;

/// The text in plain characters, without what stands in brackets.
pub(super) fn tidy(text: &str) -> String {
    with_signs(&without_asides(&plain(text)))
}

/// A sign to fill in behind that slipped to the next line goes back to its trap.
fn with_signs(text: &str) -> String {
    let mut joined = String::with_capacity(text.len());
    for line in text.split('\n') {
        let behind = line.trim_start_matches([' ', '>']);
        if behind.starts_with('=') && !behind.starts_with("==") {
            joined.truncate(joined.trim_end_matches(['\n', ' ', '>']).len());
            joined.push(' ');
            joined.push_str(behind);
        } else {
            joined.push('\n');
            joined.push_str(line);
        }
    }
    // Where quoted lines were joined, a sign of quoting may stand between.
    joined.replace(" > =", " =")
}

fn plain(text: &str) -> String {
    let mut plain = String::with_capacity(text.len().min(MOST_CHARACTERS));
    let mut last = ' ';
    for letter in whole_lines(text).chars() {
        let after = std::mem::replace(&mut last, letter);
        match letter {
            '\n' if after == '\r' => {}
            '\r' | '\n' | '\u{b}' | '\u{c}' | '\u{85}' | '\u{2028}' | '\u{2029}' => {
                plain.push('\n');
            }
            // Marks of direction and joints of no width.
            '\u{200b}'..='\u{200f}'
            | '\u{202a}'..='\u{202e}'
            | '\u{2060}'..='\u{2069}'
            | '\u{ad}'
            | '\u{feff}' => {}
            '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{fe58}' | '\u{fe63}' => plain.push('-'),
            '\u{2018}'..='\u{201b}' | '\u{2032}' | '\u{b4}' | '`' => plain.push('\''),
            '\u{201c}'..='\u{201f}' | '\u{2033}' | '\u{ab}' | '\u{bb}' => plain.push('"'),
            '\u{3001}' | '\u{60c}' => plain.push(','),
            // Full-width forms lie in the order of ASCII.
            '\u{ff01}'..='\u{ff5e}' => {
                plain.extend(char::from_u32(u32::from(letter) - 0xff01 + u32::from('!')));
            }
            letter if letter.is_whitespace() || letter.is_control() => plain.push(' '),
            letter => plain.push(letter),
        }
    }
    plain
}

/// As much as is read, to the end of a line: half a number is another number.
fn whole_lines(text: &str) -> &str {
    match text.char_indices().nth(MOST_CHARACTERS) {
        None => text,
        Some((end, _)) => &text[..text[..end].rfind(['\n', '\r']).unwrap_or(0)],
    }
}

/// Asides are left out wherever lines break in them. One that does not close, or in which another opens, was not
/// ours, and ends with its line.
fn without_asides(text: &str) -> String {
    let mut rest = text;
    let mut kept = String::with_capacity(text.len());
    while let Some(open) = rest.find('[') {
        kept.push_str(&rest[..open]);
        kept.push(' ');
        let inside = &rest[open + 1..];
        let near = near(inside);
        rest = match near.find(['[', ']']) {
            Some(close) if near[close..].starts_with(']') => &inside[close + 1..],
            _ => &inside[near.find('\n').unwrap_or(near.len())..],
        };
    }
    kept.push_str(rest);
    kept
}

fn near(text: &str) -> &str {
    let mut end = text.len().min(LONGEST_ASIDE);
    while !text.is_char_boundary(end) {
        end -= 1;
    }
    &text[..end]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_phones_do_to_text_is_undone() {
        assert_eq!(
            tidy("N1–E1\u{a0}１２：\u{200b}“wet”\r\n’s"),
            "\nN1-E1 12:\"wet\"\n's"
        );
    }

    #[test]
    fn a_text_without_end_is_read_to_the_end_of_a_line() {
        let line = "N1-E1 123\n";
        let text = line.repeat(MOST_CHARACTERS / line.len() + 5);
        assert!(text.chars().count() > MOST_CHARACTERS);
        for cut in 0..line.len() {
            let text = format!("{}{text}", "x".repeat(cut));
            assert!(whole_lines(&text).ends_with("N1-E1 123"), "{cut}");
        }
        assert_eq!(whole_lines(line), line);
        assert_eq!(whole_lines(&"1".repeat(MOST_CHARACTERS + 1)), "");
    }

    #[test]
    fn a_sign_on_the_next_line_goes_back_to_its_trap() {
        assert_eq!(tidy("> N1-E1\n> = 12\n==v=="), "\n> N1-E1 = 12\n==v==");
    }

    #[test]
    fn what_stands_in_brackets_is_left_out_and_one_that_stays_open_ends_with_its_line() {
        assert_eq!(without_asides("a [12 on\n> Jun 14] b"), "a   b");
        assert_eq!(without_asides("a [12\nN1-E1 3\n[x] c"), "a  \nN1-E1 3\n  c");
        assert_eq!(without_asides("a 3] b [c"), "a 3] b  ");
    }
}
