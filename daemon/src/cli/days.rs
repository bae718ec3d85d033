//! `duskflight days`: single temperatures, vouched for or put right by hand.

use anyhow::{Context, anyhow};
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, Subcommand};
use duskflight_core::id::StationId;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{Element, Suspect};
use rusqlite::Connection;

use super::Failure;
use super::common::{
    AsOf, ConfigDir, few_words, open_store, plain_table, print, station_of, store_to_read,
};
use super::station_file::UnitArg;
use crate::clock;
use crate::config::Config;
use crate::records::{JudgeError, Judged, Judgement};
use crate::store::StoreError;
use crate::store::decisions::{self, Decided};
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
#[derive(Debug, Clone, Args)]
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
        self.which.decide(Judgement::Confirmed, self.why).await
    }
}

impl Correct {
    async fn run(self) -> Result<(), Failure> {
        let corrected = Judgement::Corrected(self.value, self.unit.into());
        self.which.decide(corrected, self.why).await
    }
}

impl Withdraw {
    async fn run(self) -> Result<(), Failure> {
        let Which {
            date,
            element,
            station,
            ..
        } = self.which.clone();
        self.which
            .act(|judged, connection, _, now| judged.take_back(connection, now))
            .await?;
        print(&format!(
            "{station}, {} of {date}: taken back\n",
            element.words()
        ))
    }
}

impl Which {
    async fn decide(self, judgement: Judgement, why: String) -> Result<(), Failure> {
        let decided = self
            .act(move |judged, c, config, now| judged.decide(c, config, &judgement, &why, now))
            .await?;
        let row = decided_row(&decided);
        print(&format!(
            "{}, {} of {}: {}, {}\n",
            row[1], row[2], row[0], row[3], row[4]
        ))
    }

    /// Does something about the temperature, in one transaction.
    async fn act<T: Send + 'static>(
        self,
        act: impl FnOnce(&Judged<'_>, &Connection, &Config, DateTime<Utc>) -> Result<T, JudgeError>
        + Send
        + 'static,
    ) -> Result<T, Failure> {
        let config = self.config.read()?;
        let station = station_of(&config, &self.station)?.clone();
        let store = open_store(&config)?;
        let clock = clock::system();
        let done = store.write_at(&clock, move |t, now| {
            let judged = Judged {
                station: &station,
                date: self.date,
                element: self.element,
                by: self.by,
                via: "command line",
            };
            act(&judged, t, &config, now)
        });
        done.await.map_err(|error| match error {
            JudgeError::Refused(why) => Failure::usage(anyhow!("{why}")),
            error => Failure::from(anyhow::Error::from(error)),
        })
    }
}
