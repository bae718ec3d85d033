//! The adviser of a grower, as mails name them.

/// Whom a grower can ask, and what they add to an alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Adviser<'a> {
    /// Their name.
    pub name: &'a str,
    /// Their licence as they write it, where it is declared.
    pub licence: Option<&'a str>,
    /// Their telephone number, as people dial it.
    pub phone: &'a str,
    /// Lines of theirs.
    pub adds: &'a [AdviserLine],
}

/// A line that an adviser adds to an alert.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AdviserLine {
    /// That it is the adviser's, with their name.
    pub from: String,
    /// What it says.
    pub text: String,
}

impl Adviser<'_> {
    /// Their name, and their licence where it is declared.
    pub(super) fn with_licence(&self) -> String {
        match self.licence {
            Some(licence) => format!("{}, {licence}", self.name),
            None => self.name.to_owned(),
        }
    }

    /// What a telephone dials: the number without spaces and brackets (RFC 3966).
    pub(super) fn dialled(&self) -> String {
        let dialled = |c: &char| c.is_ascii_digit() || *c == '+';
        self.phone.chars().filter(dialled).collect()
    }
}
