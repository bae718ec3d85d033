//! What a server said, fit to be shown: no address, no secret, one line, not too long.

use crate::one_line::{one_line, shortened};

/// Longest text of a server that is kept, in characters.
const LONGEST: usize = 300;

/// Hides `secrets` and the local parts of addresses. A server may repeat what it was sent.
pub(crate) fn redact(text: &str, secrets: &[String]) -> String {
    let mut text = text.to_owned();
    for secret in secrets.iter().filter(|secret| !secret.is_empty()) {
        text = text.replace(secret.as_str(), "***");
    }
    shortened(&masked(one_line(&text).trim()), LONGEST)
}

/// Shortens the local part of every address to its first letter: `g…@farm.example`.
fn masked(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find('@') {
        let (before, after) = rest.split_at(at);
        let local_len: usize = before
            .chars()
            .rev()
            .take_while(|c| is_local(*c))
            .map(char::len_utf8)
            .sum();
        let (kept, local) = before.split_at(before.len() - local_len);
        shown.push_str(kept);
        if let Some(first) = local.chars().next() {
            shown.push(first);
            shown.push('…');
        }
        shown.push('@');
        rest = &after[1..];
    }
    shown.push_str(rest);
    shown
}

/// What may stand in a local part (RFC 5322 atoms and dots).
fn is_local(c: char) -> bool {
    c.is_alphanumeric() || "!#$%&'*+-/=?^_`{|}~.…".contains(c)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_masked_and_secrets_are_gone() {
        let check = |text, expected: &str| {
            let secrets = ["hunter2".to_owned(), String::new()];
            assert_eq!(redact(text, &secrets), expected, "{text:?}");
        };
        check("<gil.marrow+x@farm.example>: no", "<g…@farm.example>: no");
        check(
            "a@b.example and Ünal@c.example",
            "a…@b.example and Ü…@c.example",
        );
        check("bad password hunter2\r\nhunter2!", "bad password ***  ***!");
        check("@ alone", "@ alone");
        check("", "");
    }

    #[test]
    fn a_long_text_is_cut() {
        assert!(redact(&"word ".repeat(500), &[]).chars().count() <= LONGEST + 1);
    }
}
