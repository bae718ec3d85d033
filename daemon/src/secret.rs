//! A value that no log, error or table may show.

use std::fmt;

use serde::de::{Deserialize, Deserializer, Error};

/// A password. It prints as `***`.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Keeps a text to itself.
    #[must_use]
    pub const fn new(text: String) -> Self {
        Self(text)
    }

    /// The text, for the one who must send it.
    #[must_use]
    pub fn expose(&self) -> &str {
        &self.0
    }
}

/// Reads a string. The usual message for another type would quote the value.
impl<'de> Deserialize<'de> for Secret {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match toml::Value::deserialize(deserializer) {
            Ok(toml::Value::String(text)) => Ok(Self(text)),
            _ => Err(D::Error::custom("a password must be a text between quotes")),
        }
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("***")
    }
}

impl fmt::Display for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("***")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_printed_as_stars_only() {
        let secret = Secret::new("hunter2".to_owned());
        assert_eq!(
            format!("{secret} {secret:?} {:#?}", Some(&secret)),
            "*** *** Some(\n    ***,\n)"
        );
    }

    #[test]
    fn a_password_of_another_type_is_refused_without_being_quoted() {
        #[derive(Debug, serde::Deserialize)]
        struct Part {
            #[expect(dead_code, reason = "only its reading is of interest")]
            password: Secret,
        }
        for text in ["password = 8472001", "password = [\"8472001\"]"] {
            let error = toml::from_str::<Part>(text).unwrap_err();
            assert!(error.message().contains("between quotes"), "{error}");
            assert!(!error.message().contains("8472001"), "{error}");
        }
    }
}
