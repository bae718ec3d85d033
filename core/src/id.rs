//! Names that people give to things, checked once so that they are safe everywhere: in a file
//! name, a mail header, a database key.

use std::fmt;
use std::sync::Arc;

/// An id that cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the id {0:?} must be 1 to 40 ASCII letters, digits, '-', '_' or '.'")]
pub struct BadId(pub String);

/// An id is copied into all that is said of its thing, so its text is shared.
fn checked(text: &str) -> Result<Arc<str>, BadId> {
    let allowed = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.');
    if (1..=40).contains(&text.len()) && text.bytes().all(allowed) {
        Ok(text.into())
    } else {
        Err(BadId(text.to_owned()))
    }
}

macro_rules! id {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Deserialize, serde::Serialize)]
        #[serde(try_from = "String", into = "String")]
        pub struct $name(Arc<str>);

        impl $name {
            /// Checks the text: 1 to 40 ASCII letters, digits, `-`, `_` or `.`.
            ///
            /// # Errors
            /// [`BadId`] when it is empty, longer or has another character.
            pub fn new(text: &str) -> Result<Self, BadId> {
                checked(text.trim()).map(Self)
            }

            /// The id as text.
            #[must_use]
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl std::borrow::Borrow<str> for $name {
            fn borrow(&self) -> &str {
                self.as_str()
            }
        }

        impl TryFrom<String> for $name {
            type Error = BadId;
            fn try_from(text: String) -> Result<Self, BadId> {
                Self::new(&text)
            }
        }

        impl std::str::FromStr for $name {
            type Err = BadId;
            fn from_str(text: &str) -> Result<Self, BadId> {
                Self::new(text)
            }
        }

        impl From<$name> for String {
            fn from(id: $name) -> String {
                id.as_str().to_owned()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }
    )+};
}

id! {
    /// A block of orchard.
    BlockId,
    /// A trap; a trap that is moved gets a new one.
    TrapId,
    /// The egg traps whose share decides one start; a block's own group has the block's id.
    GroupId,
    /// A weather station.
    StationId,
    /// A person who gets mail.
    PersonId,
    /// An insect model file.
    InsectId,
    /// A degree-day mark of an insect.
    MarkId,
    /// A lure, PPO, bait or liner.
    ProductId,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_id_cannot_carry_a_line_break_or_markup() {
        for bad in ["", "a b", "a\r\nBcc: x", "<b>", "é", &"x".repeat(41)] {
            assert!(BlockId::new(bad).is_err(), "{bad:?} was accepted");
        }
        assert_eq!(BlockId::new(" N-12.a_b ").unwrap().as_str(), "N-12.a_b");
    }
}
