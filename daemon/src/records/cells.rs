//! Texts in cells of a sheet, so that a spreadsheet that opens it does not run them.

use std::borrow::Cow;

use crate::sheet::Row;

/// What makes a spreadsheet take a cell for a formula when it stands first.
const RUNS: [char; 6] = ['=', '+', '-', '@', '\t', '\r'];

/// Whether a spreadsheet would run a text, or would but for apostrophes before it.
fn would_run(text: &str) -> bool {
    text.trim_start_matches('\'').starts_with(RUNS)
}

/// A text for a cell of a text column: one that would run gets an apostrophe before it.
pub(crate) fn guarded(text: &str) -> Cow<'_, str> {
    if would_run(text) {
        format!("'{text}").into()
    } else {
        text.into()
    }
}

/// The text of a cell of a text column, as it was before [`guarded`].
pub(crate) fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(text) if would_run(text) => text,
        _ => cell,
    }
}

/// Who entered a row: whom it names, else who imports it.
pub(super) fn entered_by(row: &Row<'_>, by: &str) -> String {
    match unguarded(row.text("by")) {
        "" => by.to_owned(),
        named => named.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_a_spreadsheet_would_run_gets_an_apostrophe_and_loses_it() {
        let check = |text: &str, cell: &str| {
            assert_eq!(guarded(text), cell);
            assert_eq!(unguarded(cell), text);
        };
        check("=1+1", "'=1+1");
        check("-", "'-");
        check("@home", "'@home");
        check("+5 in row 3", "'+5 in row 3");
        check("'=1", "''=1");
        check("'tis wet", "'tis wet");
        check("2 = 1+1", "2 = 1+1");
        check("", "");
    }

    proptest! {
        #[test]
        fn any_text_comes_back_and_none_would_run(text in "['=+@\t\r a-]{0,6}") {
            let cell = guarded(&text);
            prop_assert!(!cell.starts_with(RUNS));
            prop_assert_eq!(unguarded(&cell), text.as_str());
        }
    }
}
