//! `duskflight stations compare`: two stations, or a station and a logger, side by side.

use std::fmt::Write as _;
use std::path::PathBuf;
use std::sync::Arc;

use anyhow::{Context, anyhow};
use chrono::{Datelike, NaiveDate};
use clap::Args;
use duskflight_core::id::{InsectId, StationId};
use duskflight_core::insect::Insect;
use duskflight_core::season::{
    MarkBeside, StationHeat, TrueCrossing, WhyNoCrossing, marks_beside, shared_heat,
};
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{Element, Offset, OwnRecord, StationWeather};
use duskflight_core::wording::plural;

use crate::cli::Failure;
use crate::cli::common::{ConfigDir, plain_table, print, station_of, store_to_read};
use crate::cli::station_file::{Reading, StationFile};
use crate::clock::{Clock, SystemClock};
use crate::config::Config;
use crate::store::{Store, StoreError};
use crate::telling::Stations;

#[derive(Debug, Args)]
pub(in crate::cli) struct Compare {
    /// Id of a station
    one: StationId,
    /// Id of another station
    #[arg(conflicts_with = "file")]
    other: Option<StationId>,
    /// Instead of another station a CSV file, such as a logger's in the orchard, with the columns date and
    /// tmin_c,tmax_c or tmin_f,tmax_f, or tmin,tmax with --unit
    #[arg(long, value_name = "FILE")]
    file: Option<PathBuf>,
    #[command(flatten)]
    reading: Reading,
    /// Day to count degree-days from, as if egg laying had begun on it [default: the season's first day in the newest
    /// year that both have]
    #[arg(long, value_name = "DATE")]
    from: Option<NaiveDate>,
    /// Insect whose thresholds, method and marks are used [default: the first of the configuration]
    #[arg(long, value_name = "INSECT")]
    insect: Option<InsectId>,
    #[command(flatten)]
    config: ConfigDir,
}

/// One of the two, as known before a day.
struct Side {
    id: StationId,
    own: OwnRecord,
    weather: StationWeather,
}

/// Where the days of the other one stand.
enum Other {
    Station(StationId),
    File(StationFile),
}

impl Compare {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let insect = self.insect(&config)?;
        let other = match (&self.other, &self.file) {
            (Some(id), _) => Other::Station(station_of(&config, id)?.id.clone()),
            (None, Some(file)) => Other::File(self.reading.read(file)?),
            (None, None) => return Err(Failure::usage(anyhow!("name another station or --file"))),
        };
        let store = store_to_read(&config)?;
        // Each as it was known on the day after the newest that both have, so that neither is ahead.
        let today = config.day_of(SystemClock.now());
        let newest = newest_of_both(&self.sides(&store, &config, &other, today).await?);
        let newest = newest.ok_or_else(|| self.strangers(&other))?;
        let after = newest.succ_opt().unwrap_or(newest);
        let [one, other] = self.sides(&store, &config, &other, after).await?;
        let from = self.from.unwrap_or_else(|| season_of(&config, newest));
        if from > newest {
            return Err(Failure::usage(anyhow!(
                "--from {from}: the newest day that both have is {newest}"
            )));
        }
        let unit = config.unit.unwrap_or(insect.unit);
        print(&months(&one, &other, unit))?;
        let new_years_eve = NaiveDate::from_ymd_opt(from.year(), 12, 31).unwrap_or(newest);
        let span = (from, newest.min(new_years_eve));
        print(&heat(&one, &other, insect, unit, span))?;
        print(&marks(&one, &other, insect, unit, from))
    }

    fn insect<'a>(&self, config: &'a Config) -> Result<&'a Insect, Failure> {
        let mut insects = config.insects.iter();
        let found = insects.find(|insect| self.insect.as_ref().is_none_or(|id| insect.id == *id));
        found.ok_or_else(|| {
            let ids: Vec<&str> = config.insects.iter().map(|one| one.id.as_str()).collect();
            Failure::usage(anyhow!(
                "--insect: no such insect; there are {}",
                ids.join(", ")
            ))
        })
    }

    async fn sides(
        &self,
        store: &Store,
        config: &Arc<Config>,
        other: &Other,
        as_of: NaiveDate,
    ) -> Result<[Side; 2], Failure> {
        let one = stored(store, config, &self.one, as_of).await?;
        let other = match other {
            Other::Station(id) => stored(store, config, id, as_of).await?,
            Other::File(file) => of_file(file, as_of)?,
        };
        Ok([one, other])
    }

    fn strangers(&self, other: &Other) -> Failure {
        let other = match other {
            Other::Station(id) => id,
            Other::File(file) => &file.station,
        };
        Failure::usage(anyhow!("{} and {other} have no day in common", self.one))
    }
}

async fn stored(
    store: &Store,
    config: &Arc<Config>,
    id: &StationId,
    as_of: NaiveDate,
) -> Result<Side, Failure> {
    let station = station_of(config, id)?.clone();
    let config = Arc::clone(config);
    let read = store.read(move |c| {
        let stations = Stations::read(c, &config, as_of)?;
        let own = stations.own_record(&station)?;
        Ok::<_, StoreError>((own, stations.weather(&station)?))
    });
    let (own, weather) = read.await.context("read the station's days")?;
    let own = own.ok_or_else(|| no_days(id))?;
    Ok(Side {
        id: id.clone(),
        own,
        weather,
    })
}

fn of_file(file: &StationFile, as_of: NaiveDate) -> Result<Side, Failure> {
    let id = file.station.clone();
    let own = file.own_record(as_of).ok_or_else(|| no_days(&id))?;
    Ok(Side {
        weather: StationWeather::new(id.clone(), Some(&own), &[], as_of),
        id,
        own,
    })
}

fn no_days(id: &StationId) -> Failure {
    Failure::usage(anyhow!(
        "{id} has no days; fetch some first, as with `duskflight feed backfill`"
    ))
}

fn newest_of_both([one, other]: &[Side; 2]) -> Option<NaiveDate> {
    let both =
        |day: &NaiveDate| one.own.extremes(*day).is_some() && other.own.extremes(*day).is_some();
    one.own.days().filter(both).last()
}

/// The season's first day up to a day.
fn season_of(config: &Config, newest: NaiveDate) -> NaiveDate {
    let (month, day) = (config.season_from.month, config.season_from.day);
    let first = |year| NaiveDate::from_ymd_opt(year, month, day);
    let this_year = first(newest.year()).filter(|first| *first <= newest);
    this_year.or(first(newest.year() - 1)).unwrap_or(newest)
}

fn months(one: &Side, other: &Side, unit: Unit) -> String {
    let offsets = one.own.offsets_of(&other.own);
    let mut table = plain_table(["month", "minima", "days", "maxima", "days"]);
    let row = |name: String, [min, max]: [Option<Offset>; 2]| {
        let degrees = |offset: Option<Offset>| {
            let degrees = offset.map(|offset| unit.difference(offset.mean_f));
            degrees.map_or("–".to_owned(), |degrees| {
                format!("{degrees:+.1} {}", unit.symbol())
            })
        };
        let days = |offset: Option<Offset>| offset.map_or(0, |offset| offset.days).to_string();
        [name, degrees(min), days(min), degrees(max), days(max)]
    };
    for month in 1..=12 {
        let name = NaiveDate::from_ymd_opt(2001, month, 1).unwrap_or_default();
        let name = name.format("%B").to_string();
        table.add_row(row(
            name,
            Element::ALL.map(|element| offsets.of(element, month)),
        ));
    }
    table.add_row(row(
        "all days".to_owned(),
        Element::ALL.map(|element| offsets.of_year(element)),
    ));
    format!(
        "how far {} lies above {}, in the mean of days that both have:\n{table}\n",
        other.id, one.id
    )
}

fn heat(
    one: &Side,
    other: &Side,
    insect: &Insect,
    unit: Unit,
    (from, to): (NaiveDate, NaiveDate),
) -> String {
    let shared = shared_heat(&one.own, &other.own, insect.heat, from, to);
    let [of_one, of_other] = [shared.one, shared.other].map(|heat| heat.in_unit(unit));
    let ahead = of_other - of_one;
    let way = if ahead < 0.0 { "behind" } else { "ahead" };
    let symbol = unit.symbol();
    format!(
        "degree-days of the {} from {from} to {to}, {} of {} that both have:\n\
         \x20 {} {of_one:.0}, {} {of_other:.0} {symbol}-days: {} is {:.0} {way}\n",
        insect.name,
        plural(shared.days as usize, "day"),
        (to - from).num_days() + 1,
        one.id,
        other.id,
        other.id,
        ahead.abs()
    )
}

fn marks(one: &Side, other: &Side, insect: &Insect, unit: Unit, from: NaiveDate) -> String {
    if insect.marks.is_empty() {
        return String::new();
    }
    let heat = |side: &Side| StationHeat::new(&side.weather, insect.heat);
    let marks = marks_beside(insect, &heat(one), &heat(other), from);
    let mut table = plain_table(["mark", "after", one.id.as_str(), other.id.as_str(), "days"]);
    for beside in &marks {
        table.add_row([
            beside.mark.name.clone(),
            format!("{:.0} {}-days", beside.after.in_unit(unit), unit.symbol()),
            day(&beside.one),
            day(&beside.other),
            apart(beside, &other.id),
        ]);
    }
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write!(
        text,
        "marks, had egg laying begun on {from} and hull split held nothing up:\n{table}\n"
    );
    text
}

fn day(reached: &Result<TrueCrossing, WhyNoCrossing>) -> String {
    match reached {
        Ok(reached) => reached.printed.to_string(),
        Err(WhyNoCrossing::NoHeat(_)) => "days are missing".to_owned(),
        Err(_) => "not reached".to_owned(),
    }
}

fn apart(beside: &MarkBeside<'_>, other: &StationId) -> String {
    beside.days_later().map_or("–".to_owned(), |days| {
        let way = if days < 0.0 { "earlier" } else { "later" };
        format!("{other} {:.1} {way}", days.abs())
    })
}
