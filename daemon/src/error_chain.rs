//! An error with all that caused it.

use std::error::Error;

/// An error with its causes, the outermost first, in one line.
pub(crate) fn error_chain(error: &dyn Error) -> String {
    let mut words = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        words = format!("{words}: {cause}");
        source = cause.source();
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, thiserror::Error)]
    #[error("{0}")]
    struct Layer(&'static str, #[source] Option<Box<Layer>>);

    #[test]
    fn every_cause_stands_behind_what_it_caused() {
        let root = Layer("no such file", None);
        let middle = Layer("read the table", Some(Box::new(root)));
        assert_eq!(
            error_chain(&Layer("fetch", Some(Box::new(middle)))),
            "fetch: read the table: no such file"
        );
    }
}
