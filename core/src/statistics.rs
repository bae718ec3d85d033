//! The few statistics that several parts of the trade share.

/// The mean; `None` of nothing.
pub(crate) fn mean(values: impl IntoIterator<Item = f64>) -> Option<f64> {
    let (sum, count) = values
        .into_iter()
        .fold((0.0, 0.0), |(sum, count), value| (sum + value, count + 1.0));
    (count > 0.0).then(|| sum / count)
}

/// The middle value, or the mean of the two in the middle; `None` of nothing. Sorts the values.
pub(crate) fn median(values: &mut [f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// The value below which a share of the values lies, between two of them by straight line (Hyndman &
/// Fan 1996, *The American Statistician* 50:361-365, definition 7); `None` of nothing. Sorts the values.
pub(crate) fn quantile(values: &mut [f64], share: f64) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let at = share * values.len().checked_sub(1)? as f64;
    let (lower, upper) = (values[at.floor() as usize], values[at.ceil() as usize]);
    Some(lower + (upper - lower) * at.fract())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_has_no_mean_and_no_median() {
        assert_eq!(mean([]), None);
        assert_eq!(median(&mut []), None);
    }

    #[test]
    fn the_mean_is_the_sum_by_the_count() {
        assert_eq!(mean([1.0, 2.0, 6.0]), Some(3.0));
    }

    #[test]
    fn the_median_is_the_middle_or_between_the_two_in_the_middle() {
        assert_eq!(median(&mut [9.0, 1.0, 4.0]), Some(4.0));
        assert_eq!(median(&mut [9.0, 1.0, 4.0, 5.0]), Some(4.5));
    }

    #[test]
    fn a_quantile_lies_between_its_neighbours() {
        // Five values: a tenth is 0.4 of the way from the first to the second.
        let mut values = [9.0, 1.0, 4.0, 5.0, 6.0];
        assert_eq!(quantile(&mut values, 0.1), Some(1.0 + 0.4 * 3.0));
        assert_eq!(quantile(&mut values, 0.5), Some(5.0));
        assert_eq!(quantile(&mut values, 1.0), Some(9.0));
        assert_eq!(quantile(&mut [], 0.5), None);
    }
}
