//! `duskflight days`: single temperatures, vouched for or put right by hand.

use anyhow::{Context, anyhow};
use chrono::{Datelike, NaiveDate};
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Subcommand};
use duskflight_core::id::StationId;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{Element, Suspect};
use rusqlite::Connection;

use super::Failure;
use super::common::{AsOf, ConfigDir, few_words, open_store, plain_table, print, store_to_read};
use super::station_file::UnitArg;
use crate::clock::{self, Clock, SystemClock};
use crate::config::{Config, Station};
use crate::store::decisions::{self, Decided};
use crate::store::{Store, StoreError, days};
use crate::telling::Stations;

/// Single temperatures of stations: list what is not used, confirm it or put it right
#[derive(Debug, Subcommand)]
pub(super) enum Days {
    /// List this year's temperatures that are not used, and what was decided by hand
    List(List),
    /// Say that a received temperature is true; it is used from then on
    Confirm(Confirm),
    /// Say what a temperature really was; it stands whatever the feed sends
    Correct(Correct),
    /// Take back what was confirmed or corrected; it stays in the history
    Withdraw(Withdraw),
}

#[derive(Debug, Args)]
pub(super) struct List {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
}

/// One temperature and who judges it.
#[derive(Debug, Args)]
struct Which {
    #[command(flatten)]
    config: ConfigDir,
    /// Id of the station
    #[arg(long, value_name = "STATION")]
    station: StationId,
    /// Civil day the temperature is of, YYYY-MM-DD
    #[arg(long, value_name = "DATE")]
    date: NaiveDate,
    /// Which of the day's temperatures
    #[arg(long, value_parser = element_parser())]
    element: Element,
    /// Who decides, as the history keeps it
    #[arg(long, value_parser = few_words)]
    by: String,
}

#[derive(Debug, Args)]
pub(super) struct Confirm {
    #[command(flatten)]
    which: Which,
    /// Why, in a few words
    #[arg(long, value_parser = few_words)]
    why: String,
}

#[derive(Debug, Args)]
pub(super) struct Correct {
    #[command(flatten)]
    which: Which,
    /// The true temperature
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    value: f64,
    /// Its unit
    #[arg(long, value_enum)]
    unit: UnitArg,
    /// Why, in a few words
    #[arg(long, value_parser = few_words)]
    why: String,
}

#[derive(Debug, Args)]
pub(super) struct Withdraw {
    #[command(flatten)]
    which: Which,
}

fn element_parser() -> impl TypedValueParser<Value = Element> {
    PossibleValuesParser::new(Element::ALL.map(Element::name))
        .map(|name| Element::from_name(&name).expect("clap refuses every other name"))
}

impl Days {
    pub(super) async fn run(self) -> Result<(), Failure> {
        match self {
            Self::List(list) => list.run().await,
            Self::Confirm(confirm) => confirm.run().await,
            Self::Correct(correct) => correct.run().await,
            Self::Withdraw(withdraw) => withdraw.run().await,
        }
    }
}

impl List {
    async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let unit = config.unit.unwrap_or(Unit::Fahrenheit);
        let store = store_to_read(&config)?;
        let (suspects, decided) = store
            .read(move |c| {
                let suspects = suspects(c, &config, day)?;
                Ok::<_, StoreError>((suspects, decisions::before(c, day)?))
            })
            .await
            .context("look through the stations")?;
        let mut table = plain_table(["date", "station", "which", "value", "how it stands"]);
        for (station, suspect) in &suspects {
            table.add_row(suspect_row(station, suspect, unit));
        }
        for one in &decided {
            table.add_row(decided_row(one));
        }
        let (count, decided) = (suspects.len(), decided.len());
        print(&format!(
            "{table}\n{count} not used, {decided} decided by hand\n"
        ))
    }
}

/// This year's values that are not used, with their station.
fn suspects(
    connection: &Connection,
    config: &Config,
    day: NaiveDate,
) -> Result<Vec<(String, Suspect)>, StoreError> {
    let stations = Stations::read(connection, config, day)?;
    let mut suspects = Vec::new();
    for station in &config.stations {
        let weather = stations.weather(station)?;
        let of_year = weather.suspects().iter();
        let of_year = of_year.filter(|suspect| suspect.date.year() == day.year());
        suspects.extend(of_year.map(|suspect| (station.id.to_string(), *suspect)));
    }
    Ok(suspects)
}

fn suspect_row(station: &str, suspect: &Suspect, unit: Unit) -> [String; 5] {
    [
        suspect.date.to_string(),
        station.to_owned(),
        suspect.element.words().to_owned(),
        format!("{:.1} {}", suspect.value.in_unit(unit), unit.symbol()),
        format!("not used: {}", suspect.why.words()),
    ]
}

fn decided_row(one: &Decided) -> [String; 5] {
    let how = if one.corrected {
        "corrected"
    } else {
        "confirmed"
    };
    [
        one.date.to_string(),
        one.station.clone(),
        one.element.words().to_owned(),
        format!("{:.1} {}", one.value, one.unit.symbol()),
        format!("{how} by {}: {}", one.by, one.why),
    ]
}

impl Confirm {
    async fn run(self) -> Result<(), Failure> {
        let config = self.which.config.read()?;
        let station = self.which.station(&config)?;
        let store = open_store(&config)?;
        let (id, element) = (station.id.clone(), self.which.element);
        let label = station
            .facts
            .day_boundary
            .label_of(element, self.which.date);
        let received = store
            .read(move |c| days::one(c, &id, label))
            .await
            .context("look up the day")?;
        let value = received.and_then(|day| {
            let value = match element {
                Element::Min => day.min,
                Element::Max => day.max,
            };
            Some((value?, day.unit))
        });
        let Some((value, unit)) = value else {
            return Err(Failure::usage(anyhow!(
                "{} has sent no {} for {}; there is nothing to confirm, see `duskflight days correct`",
                station.id,
                element.words(),
                self.which.date
            )));
        };
        self.which
            .enter(&store, false, (value, unit), self.why)
            .await
    }
}

impl Correct {
    async fn run(self) -> Result<(), Failure> {
        let config = self.which.config.read()?;
        self.which.station(&config)?;
        let store = open_store(&config)?;
        let value = (self.value, self.unit.into());
        self.which.enter(&store, true, value, self.why).await
    }
}

impl Withdraw {
    async fn run(self) -> Result<(), Failure> {
        let config = self.which.config.read()?;
        let station = self.which.station(&config)?.id.to_string();
        let store = open_store(&config)?;
        let Which {
            date, element, by, ..
        } = self.which;
        let (of, who) = (station.clone(), by);
        let gone = store
            .write_at(&clock::system(), move |t, now| {
                decisions::withdraw(t, &of, date, element, &who, now)
            })
            .await
            .context("store the withdrawal")?;
        if !gone {
            return Err(Failure::usage(anyhow!(
                "nothing was decided about the {} of {date} at {station}",
                element.words()
            )));
        }
        print(&format!(
            "{station}, {} of {date}: taken back\n",
            element.words()
        ))
    }
}

impl Which {
    /// The station named, with the day and the words checked.
    fn station<'a>(&self, config: &'a Config) -> Result<&'a Station, Failure> {
        let today = config.day_of(SystemClock.now());
        if self.date >= today {
            return Err(Failure::usage(anyhow!(
                "--date {}: the day is not over yet; today is {today} in {}",
                self.date,
                config.zone
            )));
        }
        let found = config
            .stations
            .iter()
            .find(|station| station.id == self.station);
        found.ok_or_else(|| {
            let ids: Vec<&str> = config.stations.iter().map(|s| s.id.as_str()).collect();
            Failure::usage(anyhow!(
                "--station {}: no such station; there are {}",
                self.station,
                ids.join(", ")
            ))
        })
    }

    async fn enter(
        self,
        store: &Store,
        corrected: bool,
        (value, unit): (f64, Unit),
        why: String,
    ) -> Result<(), Failure> {
        let decided = Decided {
            station: self.station.to_string(),
            date: self.date,
            element: self.element,
            corrected,
            value,
            unit,
            why,
            by: self.by,
        };
        if decided.why.trim().is_empty() || decided.by.trim().is_empty() {
            return Err(Failure::usage(anyhow!(
                "--why and --by: say who decides, and why"
            )));
        }
        if !decided.is_plausible() {
            return Err(Failure::usage(anyhow!(
                "{value} {}: no thermometer in the region has shown that",
                unit.symbol()
            )));
        }
        let row = decided_row(&decided);
        store
            .write_at(&clock::system(), move |t, now| {
                decisions::enter(t, &decided, "command line", now)
            })
            .await
            .context("store the decision")?;
        print(&format!(
            "{}, {} of {}: {}, {}\n",
            row[1], row[2], row[0], row[3], row[4]
        ))
    }
}
