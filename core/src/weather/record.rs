//! One station's record on a calendar: one cell for every day and element.

use chrono::{Days, NaiveDate};

use crate::temperature::{Temperature, Unit};

use super::{ByHand, Decision, Element, Location, ReceivedDay, Suspicion};

/// The lowest air temperature recorded in California: Boca, 20 January 1937 (NOAA State Climate
/// Extremes Committee).
const LOWEST_PLAUSIBLE_F: f64 = -45.0;
/// The highest air temperature recorded in California: Greenland Ranch, 10 July 1913 (same).
const HIGHEST_PLAUSIBLE_F: f64 = 134.0;
/// A confirmed value and a received one are the same when they differ by less than feeds round.
const SAME_VALUE_F: f64 = 0.05;

/// One value of a station day, °F.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) enum Cell {
    /// Nothing was received.
    #[default]
    Missing,
    /// Received and trusted so far.
    Usable(f64),
    /// Confirmed or corrected by hand: stands whatever screening says.
    ByHand(f64),
    /// Received but not used. The value is kept as received, as far as it is a temperature at all.
    Suspect(f64, Suspicion),
}

impl Cell {
    /// The temperature to compute with, °F.
    pub(super) const fn usable(self) -> Option<f64> {
        match self {
            Self::Usable(value) | Self::ByHand(value) => Some(value),
            Self::Missing | Self::Suspect(..) => None,
        }
    }
}

/// When a station's day ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DayBoundary {
    /// At midnight: both values belong to the day they are labelled with.
    #[default]
    Midnight,
    /// Read in the morning: the maximum labelled with a day is of the afternoon before
    /// (DeGaetano & Knapp 1993).
    Morning,
}

/// What is declared of a station's record.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct StationFacts {
    /// When its day ends.
    pub day_boundary: DayBoundary,
    /// First days at another place. What was read before a move says nothing about the place after.
    pub moves: Vec<NaiveDate>,
    /// Where it stands, as far as that is declared.
    pub location: Option<Location>,
    /// Whether its values are a model's, which are never called measured.
    pub modelled: bool,
}

/// Every civil day from the first received one to the newest, in order.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Record {
    first: NaiveDate,
    min: Vec<Cell>,
    max: Vec<Cell>,
}

impl Record {
    /// Lays what was received before `as_of` on a calendar, since the station's last move before that
    /// day, and judges each value by itself: provider's flag, physical bounds, minimum above maximum.
    /// What was decided by hand then stands. `None` when nothing is there.
    pub(super) fn lay(
        received: &[ReceivedDay],
        by_hand: &[ByHand],
        facts: &StationFacts,
        as_of: NaiveDate,
    ) -> Option<Self> {
        let moved = facts.moves.iter().filter(|day| **day < as_of).max();
        let counts = |date: NaiveDate| date < as_of && moved.is_none_or(|moved| date >= *moved);
        let counted = || received.iter().filter(|day| counts(day.date));
        let first = counted().map(|day| day.date).min()?;
        let first = facts.day_boundary.day_of_max(first);
        let last = counted().map(|day| day.date).max()?;
        let days = days_between(first, last)? + 1;
        let mut record = Self {
            first,
            min: vec![Cell::Missing; days],
            max: vec![Cell::Missing; days],
        };
        for day in counted() {
            record.put(day, facts.day_boundary);
        }
        record.mark_crossed();
        for decision in by_hand.iter().filter(|decision| counts(decision.date)) {
            record.decide(decision);
        }
        Some(record)
    }

    /// The same calendar begun on an earlier day, with values of the days before its own first, °F.
    pub(super) fn begun_on(
        &self,
        first: NaiveDate,
        past: impl Fn(Element, NaiveDate) -> Option<f64>,
    ) -> Self {
        let before = || first.iter_days().take_while(|date| *date < self.first);
        let cells = |element| {
            let past = before().map(|date| past(element, date).map_or(Cell::Missing, Cell::Usable));
            past.chain(self.cells(element).iter().copied()).collect()
        };
        let mut record = Self {
            first: first.min(self.first),
            min: cells(Element::Min),
            max: cells(Element::Max),
        };
        record.mark_crossed();
        record
    }

    fn put(&mut self, day: &ReceivedDay, boundary: DayBoundary) {
        for (element, value, flag) in [
            (Element::Min, day.min, &day.min_flag),
            (Element::Max, day.max, &day.max_flag),
        ] {
            let Some(position) = self.position(boundary.day_of(element, day.date)) else {
                continue;
            };
            self.cells_mut(element)[position] = by_itself(value, day.unit, flag.is_some());
        }
    }

    /// Of a crossed pair it is not known which one is wrong, so neither is used.
    fn mark_crossed(&mut self) {
        for (min, max) in self.min.iter_mut().zip(&mut self.max) {
            if let (Cell::Usable(low), Cell::Usable(high)) = (*min, *max)
                && low > high
            {
                *min = Cell::Suspect(low, Suspicion::MinAboveMax);
                *max = Cell::Suspect(high, Suspicion::MinAboveMax);
            }
        }
    }

    fn decide(&mut self, by_hand: &ByHand) {
        let element = by_hand.element;
        let Some(position) = self.position(by_hand.date) else {
            return;
        };
        let cell = &mut self.cells_mut(element)[position];
        match (by_hand.decision, *cell) {
            (Decision::Corrected { value_f }, _) => *cell = Cell::ByHand(value_f),
            (Decision::Confirmed { value_f }, Cell::Usable(value) | Cell::Suspect(value, _))
                if (value - value_f).abs() < SAME_VALUE_F =>
            {
                *cell = Cell::ByHand(value);
            }
            (Decision::Confirmed { .. }, _) => {}
        }
    }

    /// The first day of the calendar.
    pub(super) const fn first(&self) -> NaiveDate {
        self.first
    }

    /// How many days there are, missing ones included.
    pub(super) fn len(&self) -> usize {
        self.min.len()
    }

    /// The date of a position.
    pub(super) fn date(&self, position: usize) -> NaiveDate {
        self.first
            .checked_add_days(Days::new(position as u64))
            .unwrap_or(NaiveDate::MAX)
    }

    /// The position of a date on the calendar.
    pub(super) fn position(&self, date: NaiveDate) -> Option<usize> {
        days_between(self.first, date).filter(|position| *position < self.len())
    }

    /// One element's cells, the first one being of [`Record::first`].
    pub(super) fn cells(&self, element: Element) -> &[Cell] {
        match element {
            Element::Min => &self.min,
            Element::Max => &self.max,
        }
    }

    pub(super) fn cells_mut(&mut self, element: Element) -> &mut [Cell] {
        match element {
            Element::Min => &mut self.min,
            Element::Max => &mut self.max,
        }
    }

    /// What was received but is not used, by date and element.
    pub(super) fn suspects(
        &self,
    ) -> impl Iterator<Item = (NaiveDate, Element, f64, Suspicion)> + '_ {
        (0..self.len()).flat_map(move |position| {
            Element::ALL.into_iter().filter_map(move |element| {
                match self.cells(element)[position] {
                    Cell::Suspect(value, why) => Some((self.date(position), element, value, why)),
                    _ => None,
                }
            })
        })
    }
}

impl DayBoundary {
    /// The civil day on which a value labelled with a day was reached.
    fn day_of(self, element: Element, label: NaiveDate) -> NaiveDate {
        match element {
            Element::Min => label,
            Element::Max => self.day_of_max(label),
        }
    }

    /// The day with which a station labels a value reached on a civil day.
    #[must_use]
    pub fn label_of(self, element: Element, day: NaiveDate) -> NaiveDate {
        match (self, element) {
            (Self::Morning, Element::Max) => day.succ_opt().unwrap_or(day),
            _ => day,
        }
    }

    fn day_of_max(self, label: NaiveDate) -> NaiveDate {
        match self {
            Self::Midnight => label,
            Self::Morning => label.pred_opt().unwrap_or(label),
        }
    }
}

/// A value judged by nothing but itself and its provider's flag. What is no temperature at all, such
/// as an infinity, has no value to keep here; the records keep it.
fn by_itself(value: Option<f64>, unit: Unit, flagged: bool) -> Cell {
    let Some(value) = value else {
        return Cell::Missing;
    };
    let Some(temperature) = Temperature::new(value, unit) else {
        return Cell::Suspect(0.0, Suspicion::OutOfBounds);
    };
    let value = temperature.fahrenheit();
    if !is_plausible(temperature) {
        Cell::Suspect(value, Suspicion::OutOfBounds)
    } else if flagged {
        Cell::Suspect(value, Suspicion::FlaggedByProvider)
    } else {
        Cell::Usable(value)
    }
}

/// Whether a temperature lies between the lowest and the highest recorded in California.
#[must_use]
pub fn is_plausible(temperature: Temperature) -> bool {
    (LOWEST_PLAUSIBLE_F..=HIGHEST_PLAUSIBLE_F).contains(&temperature.fahrenheit())
}

fn days_between(first: NaiveDate, later: NaiveDate) -> Option<usize> {
    usize::try_from((later - first).num_days()).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2022, 6, day).unwrap()
    }

    fn received(day: u32, min: Option<f64>, max: Option<f64>, unit: Unit) -> ReceivedDay {
        ReceivedDay {
            date: date(day),
            min,
            max,
            unit,
            min_flag: None,
            max_flag: None,
        }
    }

    fn lay(received: &[ReceivedDay], by_hand: &[ByHand]) -> Record {
        Record::lay(received, by_hand, &StationFacts::default(), date(20)).unwrap()
    }

    /// The temperature to compute with.
    fn usable_on(record: &Record, element: Element, date: NaiveDate) -> Option<f64> {
        record.cells(element)[record.position(date)?].usable()
    }

    #[test]
    fn each_value_is_judged_by_itself() {
        use Cell::{Missing, Suspect, Usable};
        let c = Unit::Celsius;
        let out = |value| Suspect(value, Suspicion::OutOfBounds);
        let cases = [
            (received(1, None, Some(30.0), c), Missing, Usable(86.0)),
            (received(1, Some(10.0), None, c), Usable(50.0), Missing),
            (
                received(1, Some(10.0), Some(2306.0), c),
                Usable(50.0),
                out(2306.0 * 1.8 + 32.0),
            ),
            (
                received(1, Some(-6999.0), Some(30.0), c),
                out(-6999.0 * 1.8 + 32.0),
                Usable(86.0),
            ),
            (
                received(1, Some(f64::NAN), Some(30.0), c),
                out(0.0),
                Usable(86.0),
            ),
            // The highest and the lowest air temperature recorded in California are plausible.
            (
                received(1, Some(-45.0), Some(134.0), Unit::Fahrenheit),
                Usable(-45.0),
                Usable(134.0),
            ),
            (
                received(1, Some(90.0), Some(60.0), Unit::Fahrenheit),
                Suspect(90.0, Suspicion::MinAboveMax),
                Suspect(60.0, Suspicion::MinAboveMax),
            ),
        ];
        for (day, min, max) in cases {
            let record = lay(std::slice::from_ref(&day), &[]);
            let cells = (record.cells(Element::Min)[0], record.cells(Element::Max)[0]);
            assert_eq!(cells, (min, max), "{day:?}");
        }
    }

    #[test]
    fn the_providers_flag_is_honoured_for_its_own_value_only() {
        let mut day = received(1, Some(50.0), Some(80.0), Unit::Fahrenheit);
        day.max_flag = Some("D".into());
        let record = lay(&[day], &[]);
        assert_eq!(usable_on(&record, Element::Min, date(1)), Some(50.0));
        let suspects: Vec<_> = record.suspects().collect();
        let expected = (date(1), Element::Max, 80.0, Suspicion::FlaggedByProvider);
        assert_eq!(suspects, [expected]);
    }

    #[test]
    fn a_morning_reader_reports_the_maximum_of_the_day_before() {
        let days = [
            received(2, Some(50.0), Some(91.0), Unit::Fahrenheit),
            received(3, Some(52.0), Some(95.0), Unit::Fahrenheit),
        ];
        let facts = StationFacts {
            day_boundary: DayBoundary::Morning,
            ..StationFacts::default()
        };
        let record = Record::lay(&days, &[], &facts, date(20)).unwrap();
        assert_eq!(usable_on(&record, Element::Max, date(1)), Some(91.0));
        assert_eq!(usable_on(&record, Element::Max, date(2)), Some(95.0));
        assert_eq!(usable_on(&record, Element::Min, date(2)), Some(50.0));
        assert_eq!(usable_on(&record, Element::Max, date(3)), None);
    }

    #[test]
    fn the_record_begins_anew_where_the_station_moved() {
        let days: Vec<_> = (1..=6)
            .map(|day| received(day, Some(50.0), Some(80.0), Unit::Fahrenheit))
            .collect();
        let facts = StationFacts {
            moves: vec![date(3), date(6)],
            ..StationFacts::default()
        };
        let first = |as_of| Record::lay(&days, &[], &facts, as_of).unwrap().first();
        assert_eq!(first(date(3)), date(1));
        assert_eq!(first(date(4)), date(3));
        assert_eq!(first(date(20)), date(6));
    }

    #[test]
    fn what_is_decided_by_hand_stands() {
        let mut flagged = received(1, Some(50.0), Some(80.0), Unit::Fahrenheit);
        flagged.max_flag = Some("D".into());
        let on = |element, decision| ByHand {
            date: date(1),
            element,
            decision,
        };
        let confirmed = on(Element::Max, Decision::Confirmed { value_f: 80.0 });
        let record = lay(std::slice::from_ref(&flagged), &[confirmed]);
        assert_eq!(record.cells(Element::Max)[0], Cell::ByHand(80.0));
        // The feed has since sent another value: what was confirmed is not there any more.
        let outdated = on(Element::Max, Decision::Confirmed { value_f: 79.0 });
        let record = lay(std::slice::from_ref(&flagged), &[outdated]);
        assert_eq!(usable_on(&record, Element::Max, date(1)), None);
        let corrected = on(Element::Min, Decision::Corrected { value_f: 48.0 });
        let record = lay(&[flagged], &[corrected]);
        assert_eq!(record.cells(Element::Min)[0], Cell::ByHand(48.0));
    }
}
