//! The code with which somebody sets a password: printed once, typed once.

use std::fmt;

use sha2::{Digest, Sha256};

use crate::store::doors::Hash;

/// Small letters and digits without those that look alike: 32 of them, 5 bits each.
const LETTERS: &[u8; 32] = b"abcdefghijkmnpqrstuvwxyz23456789";
/// How many of them: 60 bits, for a day, behind the slow-down of guesses.
const LENGTH: usize = 12;

/// A code, without the marks between its groups.
#[derive(Clone, PartialEq, Eq)]
pub struct Code(String);

impl Code {
    /// A new one.
    ///
    /// # Errors
    /// The system gives no random numbers.
    pub fn random() -> Result<Self, getrandom::Error> {
        let mut bytes = [0; LENGTH];
        getrandom::fill(&mut bytes)?;
        let letter = |byte: &u8| char::from(LETTERS[usize::from(byte % 32)]);
        Ok(Self(bytes.iter().map(letter).collect()))
    }

    /// One that was typed, however it is spaced and in whatever letters.
    #[must_use]
    pub fn typed(text: &str) -> Self {
        let letters = text.chars().filter(char::is_ascii_alphanumeric);
        Self(letters.map(|c| c.to_ascii_lowercase()).collect())
    }

    /// What is kept of it.
    #[must_use]
    pub fn hash(&self) -> Hash {
        Sha256::digest(self.0.as_bytes()).into()
    }
}

impl fmt::Display for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (place, letter) in self.0.chars().enumerate() {
            if place > 0 && place % 4 == 0 {
                f.write_str("-")?;
            }
            write!(f, "{letter}")?;
        }
        Ok(())
    }
}

impl fmt::Debug for Code {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Code(***)")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_code_is_known_again_however_it_is_typed() {
        let code = Code::random().unwrap();
        let shown = code.to_string();
        assert_eq!(shown.len(), 14, "{shown}");
        for typed in [
            shown.clone(),
            shown.to_uppercase(),
            shown.replace('-', " "),
            format!("  {} ", shown.replace('-', "")),
        ] {
            assert_eq!(Code::typed(&typed).hash(), code.hash(), "{typed}");
        }
        assert_ne!(Code::random().unwrap().hash(), code.hash());
        assert_eq!(format!("{code:?}"), "Code(***)");
    }
}
