//! How near a mark must come before people hear of it.

use serde::Deserialize;

use crate::temperature::{DegreeDays, Unit};

use super::degree_days;

/// The distance of an insect file that names none, days. Common practice, no source.
const DAYS: [u16; 1] = [14];
/// More distances than this would be a countdown.
const MOST: usize = 4;

/// The distances at which people hear of a mark ahead, farthest first: once at each.
#[derive(Debug, Clone, PartialEq)]
pub enum Near {
    /// Days to the first day of its range.
    Days(Vec<u16>),
    /// Degree-days still missing at the newest station day.
    DegreeDays(Vec<DegreeDays>),
}

impl Default for Near {
    fn default() -> Self {
        Self::Days(DAYS.to_vec())
    }
}

impl Near {
    /// How many days before the first day of its range a mark is told by itself for the first time; `None`
    /// where heat decides.
    #[must_use]
    pub fn first_days(&self) -> Option<u16> {
        match self {
            Self::Days(distances) => distances.first().copied(),
            Self::DegreeDays(_) => None,
        }
    }

    /// How many of the distances a mark has reached. Where what it counts from is still ahead, its
    /// missing heat is not known and none is reached by heat.
    #[must_use]
    pub fn reached(&self, days_ahead: i64, missing: Option<DegreeDays>) -> u8 {
        let reached = match self {
            Self::Days(distances) => {
                let within = |distance: &&u16| days_ahead <= i64::from(**distance);
                distances.iter().filter(within).count()
            }
            Self::DegreeDays(distances) => {
                let missing = missing.map_or(f64::INFINITY, DegreeDays::fahrenheit_days);
                let within = |distance: &&DegreeDays| missing <= distance.fahrenheit_days();
                distances.iter().filter(within).count()
            }
        };
        // There are at most MOST distances.
        reached as u8
    }
}

/// The distances as written: of one kind.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct NearFile {
    days: Option<Vec<u16>>,
    degree_days: Option<Vec<f64>>,
}

impl NearFile {
    /// The distances; `None` where they are not one to four of one kind, above zero and descending.
    pub(super) fn check(&self, unit: Unit) -> Option<Near> {
        match (&self.days, &self.degree_days) {
            (Some(days), None) => {
                let numbers: Vec<f64> = days.iter().map(|days| f64::from(*days)).collect();
                descend(&numbers).then(|| Near::Days(days.clone()))
            }
            (None, Some(heat)) => descend(heat).then(|| {
                Near::DegreeDays(heat.iter().map(|heat| degree_days(*heat, unit)).collect())
            }),
            _ => None,
        }
    }
}

fn descend(distances: &[f64]) -> bool {
    (1..=MOST).contains(&distances.len())
        && distances.iter().all(|d| d.is_finite() && *d > 0.0)
        && distances.windows(2).all(|pair| pair[0] > pair[1])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Option<Near> {
        toml::from_str::<NearFile>(text)
            .unwrap()
            .check(Unit::Celsius)
    }

    #[test]
    fn each_distance_is_reached_once_a_mark_is_as_near_as_that() {
        let by_default = |days| Near::default().reached(days, None);
        assert_eq!([15, 14, 6, 5, -2].map(by_default), [0, 1, 1, 1, 1]);
        // 100 and 20 °C-days are 180 and 36 °F-days.
        let near = read("degree_days = [100, 20]").unwrap();
        let by_heat = |missing: f64| {
            let missing = DegreeDays::from_fahrenheit_days(missing);
            near.reached(1, Some(missing))
        };
        assert_eq!([181.0, 180.0, 37.0, 36.0].map(by_heat), [0, 1, 1, 2]);
        assert_eq!(near.reached(1, None), 0);
    }

    #[test]
    fn distances_are_of_one_kind_and_descend() {
        assert_eq!(read("days = [21]"), Some(Near::Days(vec![21])));
        let wrong = [
            "",
            "days = []",
            "days = [5, 14]",
            "days = [14, 14]",
            "days = [0]",
            "days = [5, 4, 3, 2, 1]",
            "degree_days = [-1.0]",
            "degree_days = [nan]",
            "days = [14]\ndegree_days = [100]",
        ];
        for text in wrong {
            assert_eq!(read(text), None, "{text}");
        }
    }
}
