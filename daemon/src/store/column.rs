//! Stored values read back.

use std::str::FromStr;

use chrono::{DateTime, NaiveDate, Utc};
use rusqlite::{Row, RowIndex};

use super::StoreError;

/// A stored civil day, `YYYY-MM-DD` as the schema checks. A night reads millions of them, and a parser
/// that knows the form is several times faster than one that takes many.
pub(crate) fn day(text: &str) -> Result<NaiveDate, StoreError> {
    let number = |digits: &[u8]| {
        digits.iter().try_fold(0, |number, digit| {
            digit
                .is_ascii_digit()
                .then(|| 10 * number + u32::from(digit - b'0'))
        })
    };
    let date = |text: &[u8]| match text {
        [year @ .., b'-', month_1, month_2, b'-', day_1, day_2] if year.len() == 4 => {
            let year = i32::try_from(number(year)?).ok()?;
            NaiveDate::from_ymd_opt(
                year,
                number(&[*month_1, *month_2])?,
                number(&[*day_1, *day_2])?,
            )
        }
        _ => None,
    };
    date(text.as_bytes()).ok_or_else(|| StoreError::Value {
        column: "day",
        value: text.to_owned(),
    })
}

/// A text of a row, as it lies there.
pub(crate) fn text<'row>(
    row: &'row Row<'_>,
    column: impl RowIndex,
) -> Result<&'row str, StoreError> {
    let value = row.get_ref(column)?;
    Ok(value.as_str().map_err(rusqlite::Error::from)?)
}

/// A stored word or id.
pub(crate) fn parsed<T: FromStr>(column: &'static str, text: &str) -> Result<T, StoreError> {
    text.parse().map_err(|_| StoreError::Value {
        column,
        value: text.to_owned(),
    })
}

/// A stored instant.
pub(crate) fn instant(seconds: i64) -> Result<DateTime<Utc>, StoreError> {
    DateTime::from_timestamp(seconds, 0).ok_or_else(|| StoreError::Value {
        column: "instant",
        value: seconds.to_string(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_civil_day_is_read_in_its_one_form_only() {
        let leap = NaiveDate::from_ymd_opt(2020, 2, 29).unwrap();
        assert_eq!(day("2020-02-29").unwrap(), leap);
        for wrong in [
            "2021-02-29",
            "2020-2-29",
            "20-02-29",
            "2020-02-2x",
            "2020/02/29",
            "",
            "-020-02-29",
        ] {
            assert!(day(wrong).is_err(), "{wrong}");
        }
    }
}
