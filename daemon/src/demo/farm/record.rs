//! The station record that ships with the program; see PROVENANCE.md beside the file.

use chrono::NaiveDate;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::ReceivedDay;

const MERCED: &str = include_str!("../merced.csv");
const AS_SHIPPED: &str = "the shipped record is read whole by a test";

/// Merced airport from August 1998 to April 2023, °C, as received.
#[must_use]
pub fn station_record() -> Vec<ReceivedDay> {
    let mut reader = csv::Reader::from_reader(MERCED.as_bytes());
    reader
        .deserialize::<(String, Option<f64>, Option<f64>)>()
        .map(|row| {
            let (date, min, max) = row.expect(AS_SHIPPED);
            received(date.parse().expect(AS_SHIPPED), min, max)
        })
        .collect()
}

fn received(date: NaiveDate, min: Option<f64>, max: Option<f64>) -> ReceivedDay {
    ReceivedDay {
        date,
        min,
        max,
        unit: Unit::Celsius,
        min_flag: None,
        max_flag: None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_record_is_whole_and_in_order() {
        let record = station_record();
        assert_eq!(record.len(), 8985);
        assert!(record.is_sorted_by(|a, b| a.date < b.date));
        let date = |y, m, d| NaiveDate::from_ymd_opt(y, m, d).unwrap();
        assert_eq!(
            record[0],
            received(date(1998, 8, 1), Some(15.6), Some(33.9))
        );
        assert_eq!(
            record[8984],
            received(date(2023, 4, 22), Some(9.4), Some(27.8))
        );
        let half = record
            .iter()
            .find(|day| day.date == date(2014, 2, 20))
            .unwrap();
        assert_eq!((half.min, half.max), (None, Some(18.3)));
    }
}
