//! Reading TOML so that all wrong keys and words are told at once, not only the first.
//!
//! The parser stops at its first error. Where that is an unknown key or word, it is noted, put right
//! in a copy of the text as it was probably meant, and the copy is read again.

use std::ops::Range;

use serde::de::DeserializeOwned;

use crate::nearest::nearest;

/// More wrong words than this in one file, and the rest waits for the next look.
const MOST_SLIPS: usize = 50;

/// Something wrong at a line, counted from 1.
pub(super) struct Fault {
    pub(super) line: Option<usize>,
    pub(super) what: String,
}

/// Reads a text. The value is there when everything else is right; a text with faults must not be
/// used all the same.
pub(super) fn read<T: DeserializeOwned>(text: &str) -> (Option<T>, Vec<Fault>) {
    let (mut text, mut faults) = with_tables_put_right::<T>(text);
    loop {
        let error = match toml::from_str(&text) {
            Ok(value) => return (Some(value), faults),
            Err(error) => error,
        };
        let slip = Slip::of(error.message());
        let near = slip.as_ref().and_then(Slip::nearest);
        faults.push(Fault {
            line: error.span().map(|span| line_of(&text, span.start)),
            what: match (&slip, near) {
                (Some(slip), Some(near)) => format!(
                    "unknown {} {:?}; did you mean {near:?}?",
                    slip.kind, slip.word
                ),
                _ => error.message().to_owned(),
            },
        });
        let (Some(slip), Some(span)) = (&slip, error.span()) else {
            return (None, faults);
        };
        if faults.len() >= MOST_SLIPS || !slip.put_right(&mut text, span, near) {
            return (None, faults);
        }
    }
}

/// Puts right the names of tables first: a slip in `[[station]]` makes its `[station.table]` below a
/// table of its own, and the parser then stumbles over the next `[[station]]` instead.
fn with_tables_put_right<T: DeserializeOwned>(text: &str) -> (String, Vec<Fault>) {
    // The type itself says which names it knows, when it is asked for one that nobody has.
    let probe = toml::from_str::<T>("no-such-key = 0").err();
    let message = probe.map_or_else(String::new, |error| error.message().to_owned());
    let known = Slip::of(&message).map_or_else(Vec::new, |slip| slip.expected);
    let mut faults = Vec::new();
    let lines = text.split_inclusive('\n').zip(1..).map(|(line, number)| {
        let brackets = line.len() - line.trim_start().trim_start_matches('[').len();
        let name = line[brackets..]
            .split(['.', ']'])
            .next()
            .unwrap_or_default();
        let near = nearest(name, known.iter().copied()).filter(|near| *near != name);
        match near {
            Some(near) if line.trim_start().starts_with('[') => {
                faults.push(Fault {
                    line: Some(number),
                    what: format!("unknown key {name:?}; did you mean {near:?}?"),
                });
                line.replacen(name, near, 1)
            }
            _ => line.to_owned(),
        }
    });
    (lines.collect(), faults)
}

fn line_of(text: &str, place: usize) -> usize {
    1 + text[..place].matches('\n').count()
}

/// An unknown key or word, as the parser names it with what it expected.
struct Slip<'a> {
    kind: &'static str,
    word: &'a str,
    expected: Vec<&'a str>,
}

impl<'a> Slip<'a> {
    fn of(message: &'a str) -> Option<Self> {
        let kind = if message.starts_with("unknown field") {
            "key"
        } else if message.starts_with("unknown variant") {
            "word"
        } else {
            return None;
        };
        let mut quoted = message.split('`').skip(1).step_by(2);
        Some(Self {
            kind,
            word: quoted.next()?,
            expected: quoted.collect(),
        })
    }

    fn nearest(&self) -> Option<&'a str> {
        nearest(self.word, self.expected.iter().copied())
    }

    /// Writes what was meant in place of the slip. A key that means nothing, or one that is there
    /// already, is left out with its line; a word cannot be.
    fn put_right(&self, text: &mut String, span: Range<usize>, near: Option<&str>) -> bool {
        match (self.kind, near) {
            ("key", Some(near)) if !stands_beside(text, span.start, near) => {
                text.replace_range(span, near);
            }
            ("key", _) => {
                let start = text[..span.start].rfind('\n').map_or(0, |end| end + 1);
                text.insert(start, '#');
                return !text[start + 1..].trim_start().starts_with('[');
            }
            (_, Some(near)) => text.replace_range(span, &format!("{near:?}")),
            (_, None) => return false,
        }
        true
    }
}

/// Whether a key stands in the same table as a place: then the slip at that place is not it.
fn stands_beside(text: &str, place: usize, key: &str) -> bool {
    let is_header = |line: &&str| line.trim_start().starts_with('[');
    let of_key = |line: &str| {
        line.split('=')
            .next()
            .is_some_and(|left| left.trim() == key)
    };
    let before = text[..place]
        .lines()
        .rev()
        .take_while(|line| !is_header(line));
    let after = text[place..]
        .lines()
        .skip(1)
        .take_while(|line| !is_header(line));
    let in_header = text[..place]
        .lines()
        .last()
        .is_some_and(|line| is_header(&line));
    !in_header && before.chain(after).any(of_key)
}

#[cfg(test)]
mod tests {
    use serde::Deserialize;

    use super::*;

    #[derive(Debug, PartialEq, Deserialize)]
    #[serde(rename_all = "kebab-case")]
    enum Role {
        Adviser,
        Grower,
    }

    #[derive(Debug, PartialEq, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Person {
        id: String,
        role: Role,
    }

    #[derive(Debug, PartialEq, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Main {
        name: String,
        #[serde(rename = "person")]
        people: Vec<Person>,
    }

    fn faults(text: &str) -> (bool, Vec<String>) {
        let (value, faults) = read::<Main>(text);
        let told = |fault: Fault| format!("{}: {}", fault.line.unwrap_or(0), fault.what);
        (value.is_some(), faults.into_iter().map(told).collect())
    }

    #[test]
    fn all_slips_of_a_file_are_told_with_what_was_meant() {
        let text = "nome = \"x\"\nnonsense = 1\n[[persom]]\nix = \"a\"\nrole = \"advisor\"\n";
        let (read, faults) = faults(text);
        assert!(read);
        let expected = [
            "1: unknown key \"nome\"; did you mean \"name\"?",
            "2: unknown field `nonsense`, expected `name` or `person`",
            "3: unknown key \"persom\"; did you mean \"person\"?",
            "4: unknown key \"ix\"; did you mean \"id\"?",
            "5: unknown word \"advisor\"; did you mean \"adviser\"?",
        ];
        assert_eq!(faults.len(), expected.len(), "{faults:?}");
        for line in expected {
            assert!(
                faults.iter().any(|fault| fault == line),
                "{line} is not in {faults:?}"
            );
        }
    }

    #[test]
    fn a_slip_beside_the_right_key_does_not_make_it_stand_twice() {
        let (read, faults) = faults("name = \"x\"\nnane = \"y\"\nperson = []\n");
        assert!(read);
        assert_eq!(faults, ["2: unknown key \"nane\"; did you mean \"name\"?"]);
    }

    #[test]
    fn what_is_not_a_slip_ends_the_reading() {
        let (read, faults) = faults("name = 3\nperson = []\n");
        assert!(!read);
        assert_eq!(faults, ["1: invalid type: integer `3`, expected a string"]);
    }
}
