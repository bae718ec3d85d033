//! Natural logarithms from a table, for the hundreds of thousands that one estimate takes.

use std::sync::LazyLock;

/// Bits of a number's fraction that choose its place in the table.
const BITS: u32 = 9;
const PLACES: usize = 1 << BITS;
const FRACTION_BITS: u32 = f64::MANTISSA_DIGITS - 1;

/// In the middle of each place between 1 and 2: one over the number, and its logarithm.
static TABLE: LazyLock<[(f64, f64); PLACES]> = LazyLock::new(|| {
    std::array::from_fn(|place| {
        let middle = 1.0 + (place as f64 + 0.5) / PLACES as f64;
        (middle.recip(), middle.ln())
    })
});

/// Gives logarithms of positive numbers, exact to 1e-12.
#[derive(Clone, Copy)]
pub(super) struct Logarithm(&'static [(f64, f64); PLACES]);

impl Logarithm {
    /// Makes the table at the first call.
    pub(super) fn table() -> Self {
        Self(&TABLE)
    }

    /// Of a positive number that is not as small as to have lost digits.
    pub(super) fn of(self, number: f64) -> f64 {
        let bits = number.to_bits();
        let power = (bits >> FRACTION_BITS) as i64 - 1023;
        let one_to_two = f64::from_bits(bits & ((1 << FRACTION_BITS) - 1) | 1.0_f64.to_bits());
        let place = (bits >> (FRACTION_BITS - BITS)) as usize % PLACES;
        let (over, logarithm) = self.0[place];
        // At most 2^-10, so that the series after its third term is below 1e-12.
        let rest = one_to_two * over - 1.0;
        let series = rest * (1.0 - rest * (0.5 - rest / 3.0));
        power as f64 * std::f64::consts::LN_2 + logarithm + series
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_is_the_logarithm_to_twelve_digits_from_a_millionth_to_a_million() {
        let table = Logarithm::table();
        for step in 0..200_000 {
            let number = 1e-6 * 1.000_138_2_f64.powi(step);
            let off = (table.of(number) - number.ln()).abs();
            assert!(off < 1e-12, "{number}: {off}");
        }
        for number in [1.0, 2.0, 0.5, 0.4, 1.4, 3.0] {
            assert!((table.of(number) - f64::ln(number)).abs() < 1e-12);
        }
    }
}
