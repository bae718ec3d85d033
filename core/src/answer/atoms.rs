//! A line as words, numbers and marks, each with what it is stuck to.

/// What an atom is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Letters.
    Word,
    /// Digits.
    Number,
    /// Any other sign.
    Mark,
}

/// A word, a number or a mark.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Atom {
    /// What it is.
    pub(super) kind: Kind,
    /// Without case and accents.
    pub(super) text: String,
    /// Where it begins in the line, in bytes.
    pub(super) from: usize,
    /// Where it ends.
    pub(super) to: usize,
    /// Whether it follows the one before without a blank.
    pub(super) glued: bool,
}

impl Atom {
    /// Whether it is this mark.
    pub(super) fn is(&self, mark: char) -> bool {
        self.kind == Kind::Mark && self.text.starts_with(mark)
    }

    /// Whether it is a word or a number.
    pub(super) fn is_name(&self) -> bool {
        self.kind != Kind::Mark
    }
}

/// The atoms of a line.
pub(super) fn atoms(line: &str) -> Vec<Atom> {
    let mut atoms: Vec<Atom> = Vec::new();
    for (from, letter) in line.char_indices() {
        if letter.is_whitespace() {
            continue;
        }
        let to = from + letter.len_utf8();
        let kind = kind(letter);
        match atoms.last_mut() {
            Some(last) if last.to == from && last.kind == kind && kind != Kind::Mark => {
                last.to = to;
                fold_into(&mut last.text, letter);
            }
            last => {
                let glued = last.is_some_and(|last| last.to == from);
                let mut text = String::new();
                fold_into(&mut text, letter);
                atoms.push(Atom {
                    kind,
                    text,
                    from,
                    to,
                    glued,
                });
            }
        }
    }
    atoms
}

/// A text without case and accents.
pub(super) fn fold(text: &str) -> String {
    let mut folded = String::with_capacity(text.len());
    text.chars()
        .for_each(|letter| fold_into(&mut folded, letter));
    folded
}

fn kind(letter: char) -> Kind {
    match letter {
        '0'..='9' => Kind::Number,
        // A stroke that combines with the letter before.
        '\u{300}'..='\u{36f}' => Kind::Word,
        letter if letter.is_alphabetic() => Kind::Word,
        _ => Kind::Mark,
    }
}

fn fold_into(text: &mut String, letter: char) {
    for letter in letter.to_lowercase() {
        match letter {
            'á' | 'à' | 'â' | 'ã' | 'ä' => text.push('a'),
            'é' | 'è' | 'ê' | 'ë' => text.push('e'),
            'í' | 'ì' | 'î' | 'ï' => text.push('i'),
            'ó' | 'ò' | 'ô' | 'õ' | 'ö' => text.push('o'),
            'ú' | 'ù' | 'û' | 'ü' => text.push('u'),
            'ñ' => text.push('n'),
            '\u{300}'..='\u{36f}' => {}
            letter => text.push(letter),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_falls_into_words_numbers_and_marks() {
        let of = |line| -> Vec<String> {
            let atoms = atoms(line).into_iter();
            atoms
                .map(|atom| format!("{}{}", if atom.glued { "~" } else { "" }, atom.text))
                .collect()
        };
        assert_eq!(
            of("N1-E1: 4m Lámina"),
            ["n", "~1", "~-", "~e", "~1", "~:", "4", "~m", "lamina"]
        );
        assert_eq!(of(" 12.  "), ["12", "~."]);
        assert!(of("").is_empty());
    }
}
