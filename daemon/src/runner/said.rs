//! What was said of trouble that lasts: it is said once, not at every tick.

use std::collections::BTreeMap;

/// The last words said of each matter that is wrong.
#[derive(Debug, Default)]
pub(super) struct Said(BTreeMap<&'static str, String>);

impl Said {
    /// Whether this is news of a matter: it was well before, or something else was wrong.
    pub(super) fn is_news(&mut self, of: &'static str, words: &str) -> bool {
        let before = self.0.insert(of, words.to_owned());
        before.as_deref() != Some(words)
    }

    /// A matter is well again.
    pub(super) fn is_well(&mut self, of: &str) {
        self.0.remove(of);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trouble_is_said_once_until_it_is_another_or_comes_again() {
        let mut said = Said::default();
        assert!(said.is_news("deliver", "no route"));
        assert!(!said.is_news("deliver", "no route"));
        assert!(said.is_news("clock", "no route"));
        assert!(said.is_news("deliver", "no login"));
        said.is_well("deliver");
        assert!(said.is_news("deliver", "no login"));
        assert!(!said.is_news("clock", "no route"));
    }
}
