//! The roles people have: one person may have several.

use std::fmt;

use serde::de::value::SeqAccessDeserializer;
use serde::de::{Error, IntoDeserializer, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize};

/// The roles people have.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Role {
    /// Gets the morning digest of all blocks they watch.
    Adviser,
    /// Gets key-date alerts for their own blocks.
    Grower,
    /// Gets the day's round of the blocks they walk.
    Scout,
    /// Gets the weekly letter of all growers.
    Manager,
    /// Gets what rules name.
    Other,
}

impl Role {
    /// The word used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Adviser => "adviser",
            Self::Grower => "grower",
            Self::Scout => "scout",
            Self::Manager => "manager",
            Self::Other => "other",
        }
    }
}

/// The roles of one person, as they are declared: one, or a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Roles(Vec<Role>);

/// Reads one role or a list; what is wrong is said of the word itself.
struct OneOrSeveral;

impl<'de> Visitor<'de> for OneOrSeveral {
    type Value = Roles;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a role, or a list of roles")
    }

    fn visit_str<E: Error>(self, word: &str) -> Result<Roles, E> {
        Role::deserialize(word.into_deserializer()).map(Roles::from)
    }

    fn visit_seq<A: SeqAccess<'de>>(self, roles: A) -> Result<Roles, A::Error> {
        Vec::deserialize(SeqAccessDeserializer::new(roles)).map(Roles)
    }
}

impl<'de> Deserialize<'de> for Roles {
    fn deserialize<D: Deserializer<'de>>(reader: D) -> Result<Self, D::Error> {
        reader.deserialize_any(OneOrSeveral)
    }
}

impl From<Role> for Roles {
    fn from(role: Role) -> Self {
        Self(vec![role])
    }
}

impl Roles {
    /// Whether a role is one of them.
    #[must_use]
    pub fn has(&self, role: Role) -> bool {
        self.0.contains(&role)
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl fmt::Display for Roles {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let names: Vec<&str> = self.0.iter().map(|role| role.name()).collect();
        f.write_str(&names.join(" and "))
    }
}
