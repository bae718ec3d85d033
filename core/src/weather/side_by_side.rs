//! Two records side by side: how far one differs from the other, month by month.

use chrono::{Datelike, NaiveDate};

use super::{Element, OwnRecord};
use crate::temperature::{Extremes, Temperature, Unit};

/// How far one record lies above another, in the mean of days that both have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offset {
    /// The mean, °F.
    pub mean_f: f64,
    /// The days it is of.
    pub days: u32,
}

/// How far one record lies above another in each month of the year, over all years.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MonthlyOffsets {
    /// By month from January on, minimum and maximum.
    months: [[Option<Offset>; 2]; 12],
}

impl MonthlyOffsets {
    /// Of a month, counted from 1; `None` where no day of it is in both records.
    #[must_use]
    pub fn of(&self, element: Element, month: u32) -> Option<Offset> {
        let month = usize::try_from(month).ok()?.checked_sub(1)?;
        self.months.get(month)?[element as usize]
    }

    /// Over all months, each day counted once.
    #[must_use]
    pub fn of_year(&self, element: Element) -> Option<Offset> {
        let offsets = self.months.iter();
        let offsets = offsets.filter_map(|month| month[element as usize]);
        let (sum, days) = offsets.fold((0.0, 0), |(sum, days), offset| {
            (
                sum + offset.mean_f * f64::from(offset.days),
                days + offset.days,
            )
        });
        mean(sum, days)
    }
}

impl OwnRecord {
    /// How far `other` lies above this record, by what is trusted in both.
    #[must_use]
    pub fn offsets_of(&self, other: &Self) -> MonthlyOffsets {
        let mut sums = [[(0.0, 0_u32); 2]; 12];
        for date in self.days() {
            for element in Element::ALL {
                let pair = self
                    .trusted(element, date)
                    .zip(other.trusted(element, date));
                if let Some((one, other)) = pair {
                    let (sum, days) = &mut sums[date.month0() as usize][element as usize];
                    *sum += other - one;
                    *days += 1;
                }
            }
        }
        MonthlyOffsets {
            months: sums.map(|month| month.map(|(sum, days)| mean(sum, days))),
        }
    }

    /// Both temperatures of a day, where both are trusted.
    #[must_use]
    pub fn extremes(&self, date: NaiveDate) -> Option<Extremes> {
        let of = |element| Temperature::new(self.trusted(element, date)?, Unit::Fahrenheit);
        Extremes::new(of(Element::Min)?, of(Element::Max)?)
    }

    /// The days from its first to its newest.
    pub fn days(&self) -> impl Iterator<Item = NaiveDate> {
        let record = self.record();
        record.first().iter_days().take(record.len())
    }

    /// A value that is trusted, °F.
    fn trusted(&self, element: Element, date: NaiveDate) -> Option<f64> {
        let record = self.record();
        let position = record.position(date)?;
        record.cells(element)[position].usable()
    }
}

fn mean(sum: f64, days: u32) -> Option<Offset> {
    (days > 0).then(|| Offset {
        mean_f: sum / f64::from(days),
        days,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::{ReceivedDay, StationFacts};

    fn record(days: &[(&str, Option<f64>, Option<f64>)], unit: Unit) -> OwnRecord {
        let received: Vec<ReceivedDay> = days
            .iter()
            .map(|(date, min, max)| ReceivedDay {
                date: date.parse().unwrap(),
                min: *min,
                max: *max,
                unit,
                min_flag: None,
                max_flag: None,
            })
            .collect();
        let as_of = "2023-01-01".parse().unwrap();
        OwnRecord::new(&received, &[], &StationFacts::default(), as_of).unwrap()
    }

    /// By hand: minima of May differ by 2 and 4, of June by -1; maxima of May by 1; a crossed pair is not trusted.
    #[test]
    fn months_differ_by_the_mean_of_days_that_both_have() {
        let one = record(
            &[
                ("2022-05-30", Some(50.0), Some(80.0)),
                ("2022-05-31", Some(51.0), None),
                ("2022-06-01", Some(52.0), Some(83.0)),
                ("2022-06-02", Some(90.0), Some(60.0)),
            ],
            Unit::Fahrenheit,
        );
        let other = record(
            &[
                ("2022-05-30", Some(52.0), Some(81.0)),
                ("2022-05-31", Some(55.0), Some(82.0)),
                ("2022-06-01", Some(51.0), None),
                ("2022-06-02", Some(55.0), Some(85.0)),
                ("2022-07-01", Some(55.0), Some(85.0)),
            ],
            Unit::Fahrenheit,
        );
        let offsets = one.offsets_of(&other);
        let offset = |mean_f, days| Some(Offset { mean_f, days });
        assert_eq!(offsets.of(Element::Min, 5), offset(3.0, 2));
        assert_eq!(offsets.of(Element::Max, 5), offset(1.0, 1));
        assert_eq!(offsets.of(Element::Min, 6), offset(-1.0, 1));
        assert_eq!(offsets.of(Element::Max, 6), None);
        assert_eq!(offsets.of(Element::Min, 7), None);
        assert_eq!(offsets.of_year(Element::Min), offset(5.0 / 3.0, 3));
        assert_eq!(offsets.of(Element::Min, 0), None);
        let back = other.offsets_of(&one);
        assert_eq!(back.of(Element::Min, 5), offset(-3.0, 2));
    }

    #[test]
    fn units_do_not_matter_and_a_day_has_extremes_where_both_are_trusted() {
        let one = record(&[("2022-05-30", Some(50.0), Some(80.6))], Unit::Fahrenheit);
        let other = record(&[("2022-05-30", Some(10.0), Some(27.0))], Unit::Celsius);
        let same = one.offsets_of(&other).of(Element::Max, 5).unwrap();
        assert!(same.mean_f.abs() < 1e-9);
        let day = "2022-05-30".parse().unwrap();
        assert_eq!(other.extremes(day).unwrap().min().fahrenheit(), 50.0);
        assert_eq!(one.extremes("2022-05-29".parse().unwrap()), None);
    }
}
