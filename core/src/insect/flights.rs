//! Which flight of the year a rise of moth catches belongs to, by degree-days.

use serde::Deserialize;

use crate::temperature::{DegreeDays, Unit};

use super::degree_days;

/// More flights than this are not told apart: three to four generations a year, more in warm years
/// (UC IPM almond guideline).
const MOST: usize = 8;

/// Where one flight ends and the next begins, by the heat at which catches rise. Flight n is the one that
/// lays the eggs of generation n; it rises below the n-th boundary and at the one before or above it.
#[derive(Debug, Clone, PartialEq)]
pub struct FlightBounds {
    /// Degree-days from the egg-laying start; empty where the model has none.
    pub from_start: Vec<DegreeDays>,
    /// Degree-days from 1 January, which counts.
    pub from_new_year: Vec<DegreeDays>,
    /// What the flights are called, first to last; empty where they are called by their number.
    pub names: Vec<String>,
    /// Where the numbers come from.
    pub source: String,
}

/// The boundaries as written.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FlightsFile {
    #[serde(default)]
    from_start: Vec<f64>,
    from_new_year: Vec<f64>,
    #[serde(default)]
    names: Vec<String>,
    source: String,
}

impl FlightsFile {
    /// The boundaries; `None` where they do not rise, or their numbers do not fit together.
    pub(super) fn check(&self, unit: Unit, has_start: bool) -> Option<FlightBounds> {
        let (of_start, of_year) = (&self.from_start, &self.from_new_year);
        let start_fits = match has_start {
            true => of_start.is_empty() || (rises(of_start) && of_start.len() == of_year.len()),
            false => of_start.is_empty(),
        };
        let names_fit = self.names.is_empty() || self.names.len() == of_year.len() + 1;
        let in_degree_days = |values: &[f64]| {
            let values = values.iter().map(|value| degree_days(*value, unit));
            values.collect()
        };
        (rises(of_year) && start_fits && names_fit).then(|| FlightBounds {
            from_start: in_degree_days(of_start),
            from_new_year: in_degree_days(of_year),
            names: self.names.clone(),
            source: self.source.clone(),
        })
    }
}

fn rises(bounds: &[f64]) -> bool {
    (1..MOST).contains(&bounds.len())
        && bounds.iter().all(|bound| bound.is_finite() && *bound > 0.0)
        && bounds.windows(2).all(|pair| pair[0] < pair[1])
}

/// The number of the flight whose catches rise at some degree-days.
#[must_use]
pub fn flight_at(bounds: &[DegreeDays], heat: DegreeDays) -> u8 {
    let reached = |bound: &&DegreeDays| bound.fahrenheit_days() <= heat.fahrenheit_days();
    // There are fewer than MOST boundaries.
    1 + bounds.iter().filter(reached).count() as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, has_start: bool) -> Option<FlightBounds> {
        let text = format!("{text}\nsource = \"test\"");
        let file = toml::from_str::<FlightsFile>(&text).unwrap();
        file.check(Unit::Celsius, has_start)
    }

    #[test]
    fn a_rise_belongs_to_the_flight_between_two_boundaries() {
        // 100 and 200 °C-days are 180 and 360 °F-days.
        let bounds = read("from_new_year = [100, 200]", false)
            .unwrap()
            .from_new_year;
        let at = |heat| flight_at(&bounds, DegreeDays::from_fahrenheit_days(heat));
        assert_eq!([0.0, 179.9, 180.0, 359.9, 360.0].map(at), [1, 1, 2, 2, 3]);
    }

    #[test]
    fn boundaries_rise_and_fit_the_start_and_the_names() {
        let fits = [
            ("from_new_year = [500]", false),
            ("from_new_year = [500]", true),
            ("from_new_year = [500, 900]\nfrom_start = [300, 700]", true),
            (
                "from_new_year = [500]\nnames = [\"spring\", \"summer\"]",
                false,
            ),
        ];
        for (text, has_start) in fits {
            assert!(read(text, has_start).is_some(), "{text}");
        }
        let wrong = [
            ("from_new_year = []", true),
            ("from_new_year = [500, 400]", true),
            ("from_new_year = [0, 400]", true),
            ("from_new_year = [1, 2, 3, 4, 5, 6, 7, 8]", true),
            ("from_new_year = [500]\nfrom_start = [300]", false),
            ("from_new_year = [500, 900]\nfrom_start = [300]", true),
            ("from_new_year = [500]\nnames = [\"spring\"]", true),
        ];
        for (text, has_start) in wrong {
            assert_eq!(read(text, has_start), None, "{text}");
        }
    }
}
