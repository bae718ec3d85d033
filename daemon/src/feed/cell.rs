//! One value as text: a temperature that is a number, missing, or something else; a day.

use chrono::NaiveDate;

use super::excerpt::Excerpt;
use super::row_problem::RowFault;

/// The texts that mean "no value", compared without blanks around them and without regard to
/// case; a marker that is a number also covers that number written otherwise (`-9999.0`).
#[derive(Debug)]
pub(super) struct MissingMarkers {
    texts: Vec<String>,
    numbers: Vec<f64>,
}

impl MissingMarkers {
    pub(super) fn new<S: AsRef<str>>(markers: &[S]) -> Self {
        let texts: Vec<String> = markers
            .iter()
            .map(|marker| marker.as_ref().trim().to_ascii_lowercase())
            .collect();
        let numbers = texts.iter().filter_map(|text| text.parse().ok()).collect();
        Self { texts, numbers }
    }

    fn covers_text(&self, text: &str) -> bool {
        self.texts
            .iter()
            .any(|marker| marker.eq_ignore_ascii_case(text))
    }

    fn covers_number(&self, number: f64) -> bool {
        self.numbers.contains(&number)
    }
}

/// How services write a day.
const ISO_DATE: &str = "%Y-%m-%d";

/// Reads the day of a row.
///
/// # Errors
/// [`RowFault::BadDate`].
pub(super) fn iso_date(column: &str, cell: &str) -> Result<NaiveDate, RowFault> {
    NaiveDate::parse_from_str(cell.trim(), ISO_DATE).map_err(|_| RowFault::BadDate {
        column: column.to_owned(),
        value: Excerpt::of_cell(cell),
        format: ISO_DATE.to_owned(),
    })
}

/// How the feed writes a temperature.
#[derive(Debug)]
pub(super) struct CellFormat {
    pub(super) missing: MissingMarkers,
    pub(super) decimal_comma: bool,
}

impl CellFormat {
    /// Reads one cell of `column`: `None` when it is missing.
    ///
    /// # Errors
    /// [`RowFault::NotATemperature`] for other text and for what is not finite.
    pub(super) fn read(&self, column: &str, cell: &str) -> Result<Option<f64>, RowFault> {
        let text = cell.trim();
        if self.missing.covers_text(text) {
            return Ok(None);
        }
        match self.number(text) {
            Some(number) if self.missing.covers_number(number) => Ok(None),
            Some(number) => Ok(Some(number)),
            None => Err(RowFault::NotATemperature {
                column: column.to_owned(),
                value: Excerpt::of_cell(text),
            }),
        }
    }

    /// With a decimal comma a point is refused: "1.234" could be meant either way.
    fn number(&self, text: &str) -> Option<f64> {
        let number: f64 = match self.decimal_comma {
            false => text.parse().ok()?,
            true if text.contains('.') => return None,
            true => text.replace(',', ".").parse().ok()?,
        };
        number.is_finite().then_some(number)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn format(decimal_comma: bool) -> CellFormat {
        CellFormat {
            missing: MissingMarkers::new(&["", "M", "null", "-9999"]),
            decimal_comma,
        }
    }

    #[test]
    fn a_marker_for_missing_never_becomes_a_number() {
        for cell in ["", "  ", "m", " NULL ", "-9999", "-9999.0", " -9.999e3"] {
            assert_eq!(format(false).read("tmin", cell), Ok(None), "{cell:?}");
        }
        assert_eq!(format(true).read("tmin", "-9999,0"), Ok(None));
    }

    #[test]
    fn a_number_is_read_as_written() {
        let point =
            |cell, expected| assert_eq!(format(false).read("tmin", cell), Ok(Some(expected)));
        point("0", 0.0);
        point(" 56.3 ", 56.3);
        point("-0.5", -0.5);
        point("+12", 12.0);
        assert_eq!(format(true).read("tmin", "12,5"), Ok(Some(12.5)));
    }

    #[test]
    fn what_is_not_a_finite_number_is_a_fault_that_names_it() {
        for cell in [
            "warm",
            "56.3F",
            "12,5",
            "NaN",
            "inf",
            "-Infinity",
            "1e999",
            "5 6",
        ] {
            let fault = format(false).read("tmin", cell).unwrap_err().to_string();
            assert!(fault.contains("tmin") && fault.contains(cell), "{fault}");
        }
        assert!(format(true).read("tmin", "1.234").is_err());
        assert!(format(true).read("tmin", "1.234,5").is_err());
    }
}
