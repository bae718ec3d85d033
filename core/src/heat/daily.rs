//! Degree-days of one day from its lowest and highest temperature.
//!
//! Sources: Baskerville & Emin 1969, *Ecology* 50:514-517 (single sine above one threshold);
//! Allen 1976, *Environ. Entomol.* 5:388-396 (two thresholds, half days); Zalom et al. 1983, UC
//! Leaflet 21373 (sine and triangle, single and double, the cutoffs); McMaster & Wilhelm 1997,
//! *Agric. For. Meteorol.* 87:291-300 (the two averages). All are areas under one temperature
//! curve, so the tests integrate that curve numerically.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use crate::temperature::{DegreeDays, Extremes, Temperature};

/// How the temperature runs between the day's extremes, and over how much of the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// One sine from minimum to maximum and back.
    SingleSine,
    /// A half sine up from this day's minimum, a half down to the next day's.
    DoubleSine,
    /// One triangle from minimum to maximum and back.
    SingleTriangle,
    /// A half triangle up from this day's minimum, a half down to the next day's.
    DoubleTriangle,
    /// Mean of the extremes less the lower threshold, not below zero.
    Average,
    /// Both extremes clipped to the thresholds, then their mean less the lower threshold.
    ClippedAverage,
}

/// What happens above the upper temperature threshold.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Cutoff {
    /// Nothing: development goes on rising.
    None,
    /// Development stays at the rate of the upper threshold.
    Horizontal,
    /// Development falls as fast as it rose.
    Intermediate,
    /// Development stops.
    Vertical,
}

/// The shape of a curve method.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Curve {
    /// A sine wave.
    Sine,
    /// Straight lines.
    Triangle,
}

/// The lower and upper temperature thresholds, in that order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Thresholds {
    lower: Temperature,
    upper: Temperature,
}

impl Thresholds {
    /// Both thresholds.
    ///
    /// # Errors
    /// When the lower is not below the upper.
    pub fn new(lower: Temperature, upper: Temperature) -> Result<Self, HeatModelError> {
        if lower < upper {
            Ok(Self { lower, upper })
        } else {
            Err(HeatModelError::ThresholdsOutOfOrder {
                lower_f: lower.fahrenheit(),
                upper_f: upper.fahrenheit(),
            })
        }
    }

    /// Below it nothing develops.
    #[must_use]
    pub const fn lower(self) -> Temperature {
        self.lower
    }

    /// Above it the cutoff applies.
    #[must_use]
    pub const fn upper(self) -> Temperature {
        self.upper
    }
}

/// A heat model that is not defined.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum HeatModelError {
    /// The lower threshold is not below the upper one.
    #[error("the lower threshold ({lower_f} °F) must be below the upper one ({upper_f} °F)")]
    ThresholdsOutOfOrder {
        /// Lower threshold, °F.
        lower_f: f64,
        /// Upper threshold, °F.
        upper_f: f64,
    },
    /// The averages have no curve that a cutoff could cut.
    #[error("the method {method} has no cutoff; use the cutoff none, or a sine or triangle method")]
    NoCutoffForAverages {
        /// The method asked for.
        method: Method,
    },
}

/// Thresholds, method and cutoff together: degree-days mean nothing without all three.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatModel {
    thresholds: Thresholds,
    method: Method,
    cutoff: Cutoff,
}

impl HeatModel {
    /// A model that is defined.
    ///
    /// # Errors
    /// [`HeatModelError::NoCutoffForAverages`] for an average with a cutoff.
    pub fn new(
        thresholds: Thresholds,
        method: Method,
        cutoff: Cutoff,
    ) -> Result<Self, HeatModelError> {
        if method.curve().is_none() && cutoff != Cutoff::None {
            return Err(HeatModelError::NoCutoffForAverages { method });
        }
        Ok(Self {
            thresholds,
            method,
            cutoff,
        })
    }

    /// The thresholds.
    #[must_use]
    pub const fn thresholds(self) -> Thresholds {
        self.thresholds
    }

    /// The method.
    #[must_use]
    pub const fn method(self) -> Method {
        self.method
    }

    /// The cutoff.
    #[must_use]
    pub const fn cutoff(self) -> Cutoff {
        self.cutoff
    }

    /// Degree-days of one day. The double methods need the next day's minimum and give `None`
    /// without it; the others ignore it.
    #[must_use]
    #[inline]
    pub fn daily(self, day: Extremes, next_min: Option<Temperature>) -> Option<DegreeDays> {
        let min = day.min().fahrenheit();
        let max = day.max().fahrenheit();
        let value = match self.method {
            Method::SingleSine => self.under(Curve::Sine, min, max),
            Method::SingleTriangle => self.under(Curve::Triangle, min, max),
            Method::DoubleSine => self.two_halves(Curve::Sine, min, max, next_min?),
            Method::DoubleTriangle => self.two_halves(Curve::Triangle, min, max, next_min?),
            Method::Average => ((min + max) / 2.0 - self.lower()).max(0.0),
            Method::ClippedAverage => {
                let clip = |t: f64| t.clamp(self.lower(), self.upper());
                (clip(min) + clip(max)) / 2.0 - self.lower()
            }
        };
        Some(DegreeDays::from_fahrenheit_days(value))
    }

    fn lower(self) -> f64 {
        self.thresholds.lower.fahrenheit()
    }

    fn upper(self) -> f64 {
        self.thresholds.upper.fahrenheit()
    }

    /// The falling half runs from the maximum to the next minimum, which may lie above it on a
    /// day that a front ended: the half's own lower end is then the maximum.
    fn two_halves(self, curve: Curve, min: f64, max: f64, next_min: Temperature) -> f64 {
        let next = next_min.fahrenheit();
        let falling = self.under(curve, next.min(max), next.max(max));
        (self.under(curve, min, max) + falling) / 2.0
    }

    /// Area between the thresholds under one whole curve: what is above the lower one, less what the
    /// cutoff takes from a day that gets hotter than the upper one. Falling development never takes away
    /// what the rest of the day gave, so the intermediate cutoff stops at zero.
    #[inline]
    fn under(self, curve: Curve, min: f64, max: f64) -> f64 {
        let above_lower = curve.area_above(min, max, self.lower());
        if max <= self.upper() {
            return above_lower;
        }
        let above_upper = curve.area_above(min, max, self.upper());
        let lost = match self.cutoff {
            Cutoff::None => 0.0,
            Cutoff::Horizontal => above_upper,
            Cutoff::Intermediate => 2.0 * above_upper,
            Cutoff::Vertical => {
                let share = curve.share_above(min, max, self.upper());
                above_upper + (self.upper() - self.lower()) * share
            }
        };
        (above_lower - lost).max(0.0)
    }
}

impl Curve {
    /// Degree-days between a day's curve and a threshold below it.
    ///
    /// Of a day wholly on one side of the threshold that is its mean less the threshold, or nothing. What
    /// a day that crosses it has beyond is the smaller part cut off, be it the crest or the trough.
    #[inline]
    fn area_above(self, min: f64, max: f64, threshold: f64) -> f64 {
        let (above, below) = (max - threshold, threshold - min);
        let whole = ((above - below) / 2.0).max(0.0);
        let cut = above.min(below);
        if cut <= 0.0 {
            return whole;
        }
        whole
            + match self {
                Self::Triangle => cut * cut / (2.0 * (max - min)),
                Self::Sine => sine_cap(cut, max - min),
            }
    }

    /// Share of the day, 0 to 1, that its curve is above a threshold.
    fn share_above(self, min: f64, max: f64, threshold: f64) -> f64 {
        let (above, below) = (max - threshold, threshold - min);
        if above <= 0.0 {
            return 0.0;
        }
        if below <= 0.0 {
            return 1.0;
        }
        match self {
            Self::Triangle => above / (max - min),
            // Half the angle above the threshold. The usual arccosine loses half its digits where the
            // threshold nears an extreme; this form does not.
            Self::Sine => 2.0 * above.sqrt().atan2(below.sqrt()) / PI,
        }
    }
}

/// Area of the cap of a sine of which `height` lies beyond a threshold, at most half the `range` from
/// trough to crest.
///
/// With `u` for the height in half ranges the area is half the range times
/// `(√(2u − u²) − (1 − u) · arccos(1 − u)) / π`. Without that arccosine, which takes most of a night's
/// time, and without its loss of digits near the crest: the same is `u^1.5` times a function so smooth
/// that a polynomial is within 2e-13 of it (fitted at Chebyshev nodes to its power series).
#[inline]
fn sine_cap(height: f64, range: f64) -> f64 {
    const FACTORS: [[f64; 2]; 6] = [
        [0.300_105_438_718_875_85, 0.015_005_271_980_969_544],
        [0.002_411_559_468_008_905, 0.000_558_269_788_175_283_5],
        [0.000_155_063_479_288_867_2, 5.034_475_298_558_257e-5],
        [9.685_888_019_788_203e-6, 2.038_347_338_294_809_7e-5],
        [-1.895_845_964_135_061_6e-5, 2.015_776_363_793_048_8e-5],
        [-1.007_823_176_729_727_6e-5, 2.747_561_642_692_623e-6],
    ];
    let half = range / 2.0;
    let u = height / half;
    let square = u * u;
    let fourth = square * square;
    // In pairs, and pairs of pairs: one after the other each term would wait for the one before.
    let [a, b, c, d, e, f] = FACTORS.map(|[even, odd]| even + u * odd);
    let sum = (a + b * square) + fourth * ((c + d * square) + fourth * (e + f * square));
    half * u * u.sqrt() * sum
}

impl Method {
    /// Every method.
    pub const ALL: [Self; 6] = [
        Self::SingleSine,
        Self::DoubleSine,
        Self::SingleTriangle,
        Self::DoubleTriangle,
        Self::Average,
        Self::ClippedAverage,
    ];

    /// The curve of the sine and triangle methods; the averages have none.
    #[must_use]
    pub const fn curve(self) -> Option<Curve> {
        match self {
            Self::SingleSine | Self::DoubleSine => Some(Curve::Sine),
            Self::SingleTriangle | Self::DoubleTriangle => Some(Curve::Triangle),
            Self::Average | Self::ClippedAverage => None,
        }
    }

    /// Whether a day needs the next day's minimum.
    #[must_use]
    pub const fn needs_next_min(self) -> bool {
        matches!(self, Self::DoubleSine | Self::DoubleTriangle)
    }

    /// The name used on the command line, in insect files and in mails.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::SingleSine => "single-sine",
            Self::DoubleSine => "double-sine",
            Self::SingleTriangle => "single-triangle",
            Self::DoubleTriangle => "double-triangle",
            Self::Average => "average",
            Self::ClippedAverage => "clipped-average",
        }
    }
}

impl Cutoff {
    /// Every cutoff.
    pub const ALL: [Self; 4] = [
        Self::None,
        Self::Horizontal,
        Self::Intermediate,
        Self::Vertical,
    ];

    /// The name used on the command line, in insect files and in mails.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Horizontal => "horizontal",
            Self::Intermediate => "intermediate",
            Self::Vertical => "vertical",
        }
    }
}

impl std::fmt::Display for Method {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

impl std::fmt::Display for Cutoff {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.name())
    }
}

#[cfg(test)]
mod tests;
