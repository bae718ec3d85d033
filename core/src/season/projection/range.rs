//! The middle of the past years' instants, and the range that is to hold the coming one.

use crate::statistics::median;

use super::trajectory::Instant;

/// The range people see is meant to hold four of five years, one in ten to each side: the normal
/// quantile of 0.9.
pub(in crate::season) const NORMAL_QUANTILE: f64 = 1.281_551_565_545;

/// What the dates of a station's past years usually differ by: so many days for each square root of
/// a day ahead. Chosen on years up to 2004, so that ranges as printed, reaching outward to whole
/// days, held four of five.
const USUAL_SPREAD_DAYS: f64 = 0.4;
/// How many years' worth of evidence that usual spread counts for. Chosen on years up to 2004.
const USUAL_SPREAD_YEARS: f64 = 10.0;

/// Instants between which the coming one is expected.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::season) struct WeatherRange {
    /// One in ten comes before.
    pub(in crate::season) early: Instant,
    /// The median of the past years.
    pub(in crate::season) middle: Instant,
    /// One in ten comes after.
    pub(in crate::season) late: Instant,
}

/// The range by weather alone, from one instant for each past year (at least one), seen from the
/// end of the days known; it begins there at the earliest and ends with the season.
///
/// To each side it is the prediction interval for one more value, Student's quantile times
/// s·√(1 + 1/n) (Hahn & Meeker 1991, *Statistical Intervals*, 4.7). The past years' spread about
/// their median is taken for each side by itself, since late dates scatter more than early ones,
/// and is drawn towards the usual spread, so that few years widen and do not mislead.
pub(super) fn weather_range(instants: &[Instant], known: Instant, end: Instant) -> WeatherRange {
    let middle = middle(instants.to_vec());
    let usual = USUAL_SPREAD_DAYS * (middle - known).max(1.0).sqrt();
    let years = instants.len() as f64;
    let half_width = |side: f64| {
        let beyond = |instant: &Instant| (side * (instant - middle)).max(0.0);
        let squares: f64 = instants.iter().map(|i| beyond(i).powi(2)).sum();
        // One side holds half of the squares.
        let own_variance = 2.0 * squares / years;
        let degrees = USUAL_SPREAD_YEARS + years - 1.0;
        let variance =
            (USUAL_SPREAD_YEARS * usual.powi(2) + (years - 1.0) * own_variance) / degrees;
        student_quantile(degrees) * (variance * (1.0 + 1.0 / years)).sqrt()
    };
    WeatherRange {
        early: (middle - half_width(-1.0)).max(known),
        middle,
        late: (middle + half_width(1.0)).min(end),
    }
}

/// Student's 0.9 quantile for ten degrees of freedom or more, to 0.0003 (Abramowitz & Stegun 1964,
/// *Handbook of Mathematical Functions*, 26.7.5).
fn student_quantile(degrees: f64) -> f64 {
    let z = NORMAL_QUANTILE;
    let first = (z.powi(3) + z) / 4.0;
    let second = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    z + first / degrees + second / degrees.powi(2)
}

/// The median of at least one instant.
pub(super) fn middle(mut instants: Vec<Instant>) -> Instant {
    median(&mut instants).expect("a projection rests on one past year at least")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(got: f64, expected: f64) {
        assert!((got - expected).abs() < 1e-3, "{got} {expected}");
    }

    #[test]
    fn student_quantiles_are_those_of_the_tables() {
        // Abramowitz & Stegun, table 26.10, 0.9 one-sided.
        for (degrees, expected) in [(10.0, 1.3722), (20.0, 1.3253), (30.0, 1.3104)] {
            let got = student_quantile(degrees);
            assert!((got - expected).abs() < 3.5e-4, "{got} {expected}");
        }
    }

    #[test]
    fn one_past_year_has_the_usual_spread_and_counts_twice() {
        // 36 days ahead: usual spread 0.4 · 6 = 2.4 days; ten degrees of freedom; √2 for one year.
        let range = weather_range(&[136.0], 100.0, 365.0);
        check(range.middle, 136.0);
        check(range.late - 136.0, 1.3722 * 2.4 * 2.0_f64.sqrt());
        check(136.0 - range.early, range.late - 136.0);
    }

    #[test]
    fn each_side_has_the_spread_of_its_own_years() {
        // Median 136, one year 6 days early, one 12 days late; s² = (10·5.76 + 2·(2·36/3)) / 12
        // and (10·5.76 + 2·(2·144/3)) / 12; Student's quantile of 12 degrees is 1.3562.
        let range = weather_range(&[130.0, 136.0, 148.0], 100.0, 365.0);
        let half =
            |squares: f64| 1.3562 * ((57.6 + 4.0 * squares / 3.0) / 12.0 * (4.0 / 3.0)).sqrt();
        check(136.0 - range.early, half(36.0));
        check(range.late - 136.0, half(144.0));
    }

    #[test]
    fn the_range_stays_between_the_days_known_and_the_end_of_the_season() {
        // One day ahead: 1.3722 · 0.4 · √2 = 0.776 to each side.
        let range = weather_range(&[100.5], 100.0, 101.0);
        check(range.early, 100.0);
        check(range.late, 101.0);
    }
}
