//! What is wrong in a sheet, with its row and column.

use std::fmt;

use crate::one_line::shortened;

/// A longer value is shown by its beginning: its fault would be lost behind it.
const LONGEST_SHOWN: usize = 40;

/// One thing wrong in a sheet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Row as a spreadsheet numbers it: 1 is the header as a rule, 0 the sheet as a whole.
    pub row: usize,
    /// The column, where one is at fault.
    pub column: Option<&'static str>,
    /// What stands there.
    pub value: String,
    /// What is wrong and what to do.
    pub reason: String,
    /// Whether it may be right after all, and is taken from whoever is sure.
    pub doubted: bool,
}

impl Fault {
    /// A fault of the sheet as a whole.
    pub(crate) fn of_sheet(reason: String) -> Self {
        Self::of_row(0, reason)
    }

    /// A fault of a whole row.
    pub(crate) fn of_row(row: usize, reason: String) -> Self {
        Self {
            row,
            column: None,
            value: String::new(),
            reason,
            doubted: false,
        }
    }

    /// The fault without its row.
    #[must_use]
    pub fn what(&self) -> String {
        let sure = match self.doubted {
            true => "; if it is right, --sure takes it",
            false => "",
        };
        match self.column {
            Some(column) => {
                let value = shortened(&self.value, LONGEST_SHOWN);
                format!("column {column}, {value:?}: {}{sure}", self.reason)
            }
            None => format!("{}{sure}", self.reason),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.row, self.column) {
            (0, _) => f.write_str(&self.what()),
            (1, _) => write!(f, "row 1 (the header): {}", self.what()),
            (row, Some(_)) => write!(f, "row {row}, {}", self.what()),
            (row, None) => write!(f, "row {row}: {}", self.what()),
        }
    }
}

/// Keeps what is right of a result and notes what is wrong.
pub(crate) fn keep<T>(faults: &mut Vec<Fault>, result: Result<T, Fault>) -> Option<T> {
    result.map_err(|fault| faults.push(fault)).ok()
}
