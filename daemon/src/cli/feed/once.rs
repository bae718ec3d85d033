//! `duskflight feed try`: a station's feed asked once, and what was understood of its answer.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::Arc;

use anyhow::{Context, anyhow};
use chrono::{Days, NaiveDate};
use clap::Args;
use duskflight_core::id::StationId;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{DayBoundary, OwnRecord, ReceivedDay, StationWeather};
use duskflight_core::wording::plural;

use crate::cli::Failure;
use crate::cli::common::{AsOf, ConfigDir, feed_client, plain_table, print, station_of};
use crate::clock::day_before;
use crate::config::{Config, Station};
use crate::error_chain::error_chain;
use crate::feed::{self, Client, FeedSource, FetchedDays};
use crate::runner::keeping::{Asked, judge_only};

/// So many rows that cannot be used are listed; the rest are counted.
const LISTED_PROBLEMS: usize = 20;

#[derive(Debug, Args)]
pub(in crate::cli) struct Try {
    /// Id of the station
    #[arg(long, value_name = "STATION")]
    station: StationId,
    /// How many days to ask for, up to yesterday
    #[arg(long, value_name = "DAYS", default_value_t = 14, value_parser = clap::value_parser!(u16).range(1..=366))]
    days: u16,
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
}

impl Try {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let station = station_of(&config, &self.station)?;
        let (day, _) = self.as_of.moment(&config);
        let to = day_before(day);
        let from = to
            .checked_sub_days(Days::new(u64::from(self.days) - 1))
            .unwrap_or(to);
        let asked = Asked {
            station,
            from,
            to,
            day,
        };
        let client = feed_client(&config)?.with_tries(1);
        print(&heading(asked))?;
        let fetched = feed::fetch(&client, &station.source, from, to).await;
        let fetched = fetched.map_err(|error| {
            Failure::try_later(anyhow!("station {}: {}", station.id, error_chain(&error)))
        })?;
        print(&understood(asked, &fetched))?;
        print(&beside_the_stored(&config, asked, fetched).await?)?;
        print(&forecast(&client, station, day).await)?;
        print("nothing was stored\n")
    }
}

fn heading(
    Asked {
        station, from, to, ..
    }: Asked<'_>,
) -> String {
    let boundary = match station.facts.day_boundary {
        DayBoundary::Midnight => "both temperatures are of the day they are labelled with",
        DayBoundary::Morning => "read in the morning: a maximum is of the day before its label",
    };
    let place = station.source.url(to);
    let place = place.map_or_else(|| "a file".to_owned(), |url| url.to_string());
    let kind = station.source.declares();
    let unit = match &station.source {
        FeedSource::Table(table) => table.unit.words(),
        _ => kind.unit,
    };
    format!(
        "{} ({}): {}, {place}\nasked for {from} to {to}; {} values, {unit}; {boundary}\n",
        station.name, station.id, kind.name, kind.values
    )
}

/// The days as they came, what of them is not used, and what is not there.
fn understood(asked: Asked<'_>, fetched: &FetchedDays) -> String {
    let not_used = not_used(asked, &fetched.days);
    let mut table = plain_table(["day", "min", "max", "look at"]);
    for day in &fetched.days {
        let remarks = not_used.get(&day.date);
        table.add_row([
            day.date.to_string(),
            value(day.min, day.unit),
            value(day.max, day.unit),
            remarks
                .map(|remarks| remarks.join("; "))
                .unwrap_or_default(),
        ]);
    }
    let mut text = if fetched.days.is_empty() {
        String::new()
    } else {
        format!("{table}\n")
    };
    let whole = fetched
        .days
        .iter()
        .filter(|day| day.min.is_some() && day.max.is_some());
    // Writing to a string cannot fail.
    let _ = writeln!(
        text,
        "{} came, {} with both temperatures{}",
        plural(fetched.days.len(), "day"),
        whole.count(),
        missing(asked, &fetched.days)
    );
    for problem in fetched.problems.iter().take(LISTED_PROBLEMS) {
        let _ = writeln!(text, "dropped: {problem}");
    }
    if fetched.problems.len() > LISTED_PROBLEMS {
        let more = fetched.problems.len() - LISTED_PROBLEMS;
        let _ = writeln!(text, "and {} more", plural(more, "row"));
    }
    text
}

/// What of each label is not used by itself, and the provider's flags.
fn not_used(asked: Asked<'_>, days: &[ReceivedDay]) -> BTreeMap<NaiveDate, Vec<String>> {
    let mut remarks: BTreeMap<NaiveDate, Vec<String>> = BTreeMap::new();
    for day in days {
        for (flag, which) in [(&day.min_flag, "minimum"), (&day.max_flag, "maximum")] {
            if let Some(flag) = flag {
                let remark = format!("{which} flagged {flag:?}");
                remarks.entry(day.date).or_default().push(remark);
            }
        }
    }
    let facts = &asked.station.facts;
    let own = OwnRecord::new(days, &[], facts, asked.day);
    let weather = StationWeather::new(asked.station.id.clone(), own.as_ref(), &[], asked.day);
    for suspect in weather.suspects() {
        let label = facts.day_boundary.label_of(suspect.element, suspect.date);
        let (which, why) = (suspect.element.words(), suspect.why.words());
        let remark = format!("{which} not used: {why}");
        remarks.entry(label).or_default().push(remark);
    }
    remarks
}

fn missing(asked: Asked<'_>, days: &[ReceivedDay]) -> String {
    let has = |date: &NaiveDate| days.iter().any(|day| day.date == *date);
    let all = asked.from.iter_days().take_while(|date| *date <= asked.to);
    let missing: Vec<String> = all
        .filter(|date| !has(date))
        .map(|date| date.to_string())
        .collect();
    match missing.as_slice() {
        [] => String::new(),
        [one] => format!("; not there: {one}"),
        [first, .., last] => format!(
            "; not there: {}, from {first} to {last}",
            plural(missing.len(), "day")
        ),
    }
}

/// Whether a night would store the answer.
async fn beside_the_stored(
    config: &Arc<Config>,
    asked: Asked<'_>,
    fetched: FetchedDays,
) -> Result<String, Failure> {
    let judged = judge_only(config, asked.station, asked.day, fetched).await;
    Ok(match judged.context("look through the station's record")? {
        Ok(()) => "nothing is odd about it as a whole\n".to_owned(),
        Err(oddity) => {
            let odd = oddity.words(config.unit.unwrap_or(Unit::Fahrenheit));
            format!("it would be kept aside: {odd}\n")
        }
    })
}

async fn forecast(client: &Client, station: &Station, day: NaiveDate) -> String {
    let Some(source) = &station.forecast else {
        return "no forecast is declared for it\n".to_owned();
    };
    let name = source.name();
    let days = match feed::fetch_forecast(client, source).await {
        Ok(days) => days,
        Err(error) => return format!("no forecast of {name}: {}\n", error_chain(&error)),
    };
    let mut text = format!("forecast of {name}:\n");
    for one in days.iter().filter(|one| one.date >= day) {
        let _ = writeln!(
            text,
            "  {}  {} to {}",
            one.date,
            value(one.min, one.unit),
            value(one.max, one.unit)
        );
    }
    text
}

/// A temperature as it came.
pub(super) fn value(value: Option<f64>, unit: Unit) -> String {
    value.map_or("–".to_owned(), |value| {
        format!("{value} {}", unit.symbol())
    })
}
