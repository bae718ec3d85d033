//! One station's weather as known on one day: screened, completed, and what was not used.

use chrono::{Datelike, NaiveDate};

use crate::id::StationId;
use crate::temperature::{Temperature, Unit};

use super::fill::differences;
use super::{
    Borrowed, ByHand, Cell, Climate, CompletedSeries, Departures, Drift, Element, Estimate,
    ReceivedDay, Record, StationFacts, Suspicion, compare, fill, screen,
};

/// A value that was received but is not used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Suspect {
    /// The civil day it is for.
    pub date: NaiveDate,
    /// Which of the day's values.
    pub element: Element,
    /// The value.
    pub value: Temperature,
    /// Why it is not used.
    pub why: Suspicion,
}

/// A day on which at least one temperature was estimated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EstimatedDay {
    /// The civil day.
    pub date: NaiveDate,
    /// How the minimum was estimated; `None` when it was read.
    pub min: Option<Estimate>,
    /// How the maximum was estimated; `None` when it was read.
    pub max: Option<Estimate>,
}

/// A station's own record as known before a day, judged without any other station.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnRecord {
    pub(super) record: Record,
    pub(super) climate: Climate,
    /// How far both elements are from what is usual, day by day; nothing where a value is suspect.
    pub(super) departures: [Departures; 2],
    pub(super) modelled: bool,
    /// Whose past years stand before its own, where they are to.
    pub(super) borrowed: Option<Borrowed>,
}

impl OwnRecord {
    /// Whether it has a value of that day that is used.
    #[must_use]
    pub fn serves(&self, date: NaiveDate) -> bool {
        self.record.position(date).is_some_and(|at| {
            let cell = |element| self.record.cells(element)[at];
            Element::ALL
                .into_iter()
                .any(|element| cell(element).usable().is_some())
        })
    }

    /// Lays out and screens what was received before `as_of`. The climate knows only years before the
    /// season. `None` when nothing was received.
    #[must_use]
    pub fn new(
        received: &[ReceivedDay],
        by_hand: &[ByHand],
        facts: &StationFacts,
        as_of: NaiveDate,
    ) -> Option<Self> {
        let mut record = Record::lay(received, by_hand, facts, as_of)?;
        let climate = Climate::before(&record, as_of.year());
        let departures = screen(&mut record, &climate);
        Some(Self {
            record,
            climate,
            departures,
            modelled: facts.modelled,
            borrowed: None,
        })
    }

    /// Its values on a calendar.
    pub(super) const fn record(&self) -> &Record {
        &self.record
    }

    /// What is usual there, as far as the record tells.
    pub(super) const fn climate(&self) -> &Climate {
        &self.climate
    }

    /// Whether the record is long enough to tell what is usual there: about five years.
    #[must_use]
    pub fn knows_its_climate(&self) -> bool {
        self.climate.is_known()
    }

    /// The same, judged by its fall-backs too.
    fn compared(&self, fall_backs: &[&[Departures; 2]]) -> Self {
        let mut own = self.clone();
        compare(&mut own.record, &mut own.departures, fall_backs);
        own
    }
}

/// A station's weather as known on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct StationWeather {
    station: StationId,
    as_of: NaiveDate,
    series: Option<CompletedSeries>,
    suspects: Vec<Suspect>,
    newest_read: Option<NaiveDate>,
    drifts: Vec<Drift>,
    modelled: bool,
    borrowed: Option<Borrowed>,
}

impl StationWeather {
    /// Screens a record against those of its fall-backs and completes it from them. Nothing received
    /// on or after `as_of` may be in any of them.
    #[must_use]
    pub fn new(
        station: StationId,
        own: Option<&OwnRecord>,
        fall_backs: &[&OwnRecord],
        as_of: NaiveDate,
    ) -> Self {
        let Some(own) = own else {
            return Self::unknown(station, as_of);
        };
        let fall_backs: Vec<&[Departures; 2]> =
            fall_backs.iter().map(|other| &other.departures).collect();
        let compared;
        let own = if fall_backs.is_empty() {
            own
        } else {
            compared = own.compared(&fall_backs);
            &compared
        };
        Self {
            station,
            as_of,
            series: fill(
                &own.record,
                &own.climate,
                &own.departures,
                &fall_backs,
                as_of,
            ),
            suspects: suspects(&own.record),
            newest_read: newest_read(&own.record),
            drifts: drifts(own, &fall_backs),
            modelled: own.modelled,
            borrowed: own.borrowed.clone(),
        }
    }

    /// Of a station without fall-backs whose days end at midnight and that never moved.
    #[must_use]
    pub fn alone(station: StationId, received: &[ReceivedDay], as_of: NaiveDate) -> Self {
        let own = OwnRecord::new(received, &[], &StationFacts::default(), as_of);
        Self::new(station, own.as_ref(), &[], as_of)
    }

    /// Of a station that nothing is known of.
    fn unknown(station: StationId, as_of: NaiveDate) -> Self {
        Self {
            station,
            as_of,
            series: None,
            suspects: Vec::new(),
            newest_read: None,
            drifts: Vec::new(),
            modelled: false,
            borrowed: None,
        }
    }

    /// The station.
    #[must_use]
    pub const fn station(&self) -> &StationId {
        &self.station
    }

    /// The civil day before which everything here was known.
    #[must_use]
    pub const fn as_of(&self) -> NaiveDate {
        self.as_of
    }

    /// Whether its days are a model's.
    #[must_use]
    pub const fn is_modelled(&self) -> bool {
        self.modelled
    }

    /// The completed series, unless no day is usable.
    #[must_use]
    pub const fn series(&self) -> Option<&CompletedSeries> {
        self.series.as_ref()
    }

    /// What was received but is not used, oldest first.
    #[must_use]
    pub fn suspects(&self) -> &[Suspect] {
        &self.suspects
    }

    /// Which of its temperatures seem to drift away from the fall-backs.
    #[must_use]
    pub fn drifts(&self) -> &[Drift] {
        &self.drifts
    }

    /// Whose past years continue it into the past, where they are to.
    #[must_use]
    pub const fn borrowed(&self) -> Option<&Borrowed> {
        self.borrowed.as_ref()
    }

    /// The season's days that were estimated, oldest first.
    #[must_use]
    pub fn estimated(&self) -> Vec<EstimatedDay> {
        let Some(series) = &self.series else {
            return Vec::new();
        };
        let year = self.as_of.year();
        let dated = series.first().iter_days().zip(series.days());
        dated
            .filter(|(date, _)| date.year() == year)
            .filter_map(|(date, day)| Some((date, day.as_ref()?)))
            .filter(|(_, day)| day.is_estimated())
            .map(|(date, day)| EstimatedDay {
                date,
                min: day.min.estimate(),
                max: day.max.estimate(),
            })
            .collect()
    }

    /// The newest day on which the station itself gave both values.
    #[must_use]
    pub const fn newest_read(&self) -> Option<NaiveDate> {
        self.newest_read
    }
}

fn suspects(record: &Record) -> Vec<Suspect> {
    let suspect = |(date, element, value, why)| {
        Some(Suspect {
            date,
            element,
            // Every value in a cell was a temperature before.
            value: Temperature::new(value, Unit::Fahrenheit)?,
            why,
        })
    };
    record.suspects().filter_map(suspect).collect()
}

fn drifts(station: &OwnRecord, fall_backs: &[&[Departures; 2]]) -> Vec<Drift> {
    if fall_backs.is_empty() || !station.climate.is_known() {
        return Vec::new();
    }
    let drift = |own: &Departures| {
        let of_element = Departures::of_element(fall_backs, own.element);
        let differences = differences(own, &of_element);
        let dated = differences.iter().zip(station.record.first().iter_days());
        let degrees: Vec<Option<f64>> = dated
            .map(|(difference, date)| Some((*difference)? * own.scale(&station.climate, date).1))
            .collect();
        Drift::of(own.element, &degrees)
    };
    station.departures.iter().filter_map(drift).collect()
}

fn newest_read(record: &Record) -> Option<NaiveDate> {
    let usable = |cell: &Cell| cell.usable().is_some();
    let both = record
        .cells(Element::Min)
        .iter()
        .zip(record.cells(Element::Max));
    let newest = both
        .rev()
        .position(|(min, max)| usable(min) && usable(max))?;
    Some(record.date(record.len() - 1 - newest))
}
