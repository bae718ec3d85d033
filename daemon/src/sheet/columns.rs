//! The columns that a sheet may have, and the header in which somebody wrote them.

use super::fault::Fault;
use crate::nearest::nearest;

/// The columns of a sheet: all of them, and those that must be there.
pub(crate) struct Columns {
    pub(crate) all: &'static [&'static str],
    pub(crate) needed: &'static [&'static str],
}

impl Columns {
    /// The column of a name; capitals do not matter.
    pub(super) fn column(&self, name: &str) -> Option<&'static str> {
        let mut all = self.all.iter().copied();
        all.find(|column| column.eq_ignore_ascii_case(name))
    }

    /// Whether a row names all that is needed.
    pub(super) fn are_in(&self, header: &csv::StringRecord) -> bool {
        let named = |column: &&str| header.iter().any(|name| name.eq_ignore_ascii_case(column));
        self.needed.iter().all(named)
    }

    /// The header as it was probably meant, columns without a name as `None`, with everything that is wrong
    /// in it; no header when rows cannot be read by it.
    pub(super) fn check(
        &self,
        row: usize,
        found: &csv::StringRecord,
    ) -> (Option<Vec<Option<&'static str>>>, Vec<Fault>) {
        let fault = |what: String| Fault::of_row(row, what);
        let present: Vec<&str> = found.iter().filter_map(|name| self.column(name)).collect();
        let near = |name: &str| {
            let absent = self.all.iter().copied().filter(|c| !present.contains(c));
            nearest(name, absent)
        };
        if present.is_empty() && found.iter().all(|name| near(name).is_none()) {
            let what = format!("it names none of the columns {}", self.all.join(", "));
            return (None, vec![fault(what)]);
        }
        let mut faults = Vec::new();
        let mut header: Vec<Option<&'static str>> = Vec::new();
        let mut readable = true;
        for name in found {
            let meant = match self.column(name) {
                // What a spreadsheet writes for columns that were cleared.
                None if name.is_empty() => {
                    header.push(None);
                    continue;
                }
                None => {
                    let near = near(name);
                    let did = near.map_or_else(
                        || format!("the columns are {}", self.all.join(", ")),
                        |near| format!("did you mean {near:?}?"),
                    );
                    faults.push(fault(format!("unknown column {name:?}; {did}")));
                    self.all.iter().copied().find(|c| Some(*c) == near)
                }
                known => known,
            };
            match meant {
                Some(column) if !header.contains(&meant) => header.push(Some(column)),
                Some(column) => {
                    readable = false;
                    faults.push(fault(format!("the column {column} stands twice")));
                }
                None => readable = false,
            }
        }
        for column in self.needed {
            if !header.contains(&Some(*column)) {
                readable = false;
                faults.push(fault(format!("the column {column} is missing")));
            }
        }
        (readable.then_some(header), faults)
    }
}

/// The letters that a spreadsheet gives a column, counted from 0.
pub(super) fn letters(place: usize) -> String {
    let letter = char::from(b'A' + u8::try_from(place % 26).unwrap_or(0));
    match place / 26 {
        0 => letter.to_string(),
        before => letters(before - 1) + &letter.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_have_the_letters_of_a_spreadsheet() {
        let of = |place| letters(place);
        assert_eq!(
            [of(0), of(25), of(26), of(701), of(702)],
            ["A", "Z", "AA", "ZZ", "AAA"]
        );
    }
}
