//! Where the temperatures of a day come from, in words.

use chrono::NaiveDate;

use crate::temperature::Unit;
use crate::weather::{CompletedDay, Element, Origin, Suspect};

/// What is known of a station beside its days.
#[derive(Debug, Clone, Copy)]
pub struct DayQuality<'a> {
    /// The unit that errors are printed in.
    pub unit: Unit,
    /// Whether its days are a model's.
    pub modelled: bool,
    /// Values that were received and are not used.
    pub suspects: &'a [Suspect],
}

impl DayQuality<'_> {
    /// Of both temperatures, said once where it is the same.
    #[must_use]
    pub fn of_both(&self, date: NaiveDate, day: Option<CompletedDay>) -> String {
        match Element::ALL.map(|element| self.of(date, day, element)) {
            [min, max] if min == max => min,
            [min, max] => format!("min {min}, max {max}"),
        }
    }

    /// Where a temperature comes from, and why the received one is not used.
    #[must_use]
    pub fn of(&self, date: NaiveDate, day: Option<CompletedDay>, element: Element) -> String {
        let of_value = |s: &&Suspect| (s.date, s.element) == (date, element);
        let refused = self.suspects.iter().find(of_value);
        let origin = match day.map(|day| day.origin(element)) {
            None => "missing".to_owned(),
            Some(Origin::Measured) if self.modelled => "modelled".to_owned(),
            Some(Origin::Measured) => "measured".to_owned(),
            Some(Origin::ByHand) => "by hand".to_owned(),
            Some(Origin::Estimated(estimate)) => {
                let error = self.unit.difference(estimate.error_f);
                format!("{} ±{error:.1}", estimate.method.name())
            }
        };
        match refused {
            Some(suspect) => format!("{origin} ({})", suspect.why.name()),
            None => origin,
        }
    }
}
