//! `duskflight hindcast`: what the projection would have said in each past season, and what came.

mod report;

use std::path::PathBuf;

use anyhow::anyhow;
use chrono::{Datelike, Days, NaiveDate};
use clap::Args;
use duskflight_core::heat::HeatModel;
use duskflight_core::season::{StationHeat, projected_crossing, true_crossing};
use duskflight_core::temperature::DegreeDays;
use duskflight_core::weather::StationWeather;

use report::Hindsight;

use super::Failure;
use super::common::print;
use super::station_file::{Format, Reading, StationFile};
use crate::config::navel_orangeworm;

/// A season is projected from so many earlier years at least.
const EARLIER_YEARS: usize = 10;
/// A season whose days are estimated beyond this share is no truth to compare with.
const MOST_ESTIMATED: f64 = 0.03;

/// Project every past season of a record from earlier years only, and compare with what came
///
/// Each season that is still open on the day made is projected with the days known by then: screening,
/// filling, climate and trend see nothing later either. The heat is the navel orangeworm's: single
/// sine, 55 and 94 °F, horizontal cutoff. The range is meant to hold four of five years.
#[derive(Debug, Args)]
pub(super) struct Hindcast {
    /// CSV file with the columns date and tmin_c,tmax_c or tmin_f,tmax_f, or tmin,tmax with --unit
    file: PathBuf,

    #[command(flatten)]
    reading: Reading,

    /// Month and day that degree-days are counted from, itself counted
    #[arg(long, value_name = "MM-DD", default_value = "04-20", value_parser = month_day)]
    start: (u32, u32),

    /// Count from the first day by which so many °F-days have come since 1 January, instead
    #[arg(long, value_name = "DEGREE-DAYS", conflicts_with = "start")]
    start_after_heat: Option<f64>,

    /// Degree-days to reach, °F-days
    #[arg(long, value_delimiter = ',', default_value = "1056,1779")]
    targets: Vec<f64>,

    /// Days after the start on which the projection is made; it knows the days before
    #[arg(long, value_delimiter = ',', default_value = "0,20,40,60")]
    made_on: Vec<u16>,

    /// Days that the feed lags behind: the newest so many days are not known yet
    #[arg(long, value_name = "DAYS", default_value_t = 0)]
    latency: u16,

    /// A summary to read, or CSV with a row a season and day made; early, middle, late and truth are
    /// days of the year with their share gone: 160.25 is a quarter into the 160th day
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

fn month_day(text: &str) -> Result<(u32, u32), String> {
    let day = NaiveDate::parse_from_str(&format!("2001-{text}"), "%Y-%m-%d");
    let day = day.map_err(|_| "write a month and day of every year, such as 04-20".to_owned())?;
    Ok((day.month(), day.day()))
}

impl Hindcast {
    pub(super) fn run(&self) -> Result<(), Failure> {
        let positive = |target: &f64| target.is_finite() && *target > 0.0;
        if let Some(bad) = self.targets.iter().find(|target| !positive(target)) {
            return Err(Failure::usage(anyhow!(
                "--targets {bad}: write degree-days above zero"
            )));
        }
        let file = self.reading.read(&self.file)?;
        let (Some(first), Some(last)) = (file.days.first(), file.days.last()) else {
            return Ok(());
        };
        let years = first.date.year()..=last.date.year();
        let rows: Vec<Hindsight> = years.flat_map(|year| self.season(&file, year)).collect();
        match self.format {
            Format::Csv => print(&report::csv(file.station.as_str(), &rows)),
            Format::Table => print(&report::table(file.station.as_str(), &rows)),
        }
    }

    /// Every projection of one season that can be compared.
    fn season(&self, file: &StationFile, year: i32) -> Vec<Hindsight> {
        let Some(after) = NaiveDate::from_ymd_opt(year + 1, 1, 1) else {
            return Vec::new();
        };
        let model = navel_orangeworm().heat;
        let whole = heat(file, model, after, 0);
        let Some(start) = self.start_in(year, &whole) else {
            return Vec::new();
        };
        let mut rows = Vec::new();
        for &made_on in &self.made_on {
            let Some(made) = start.checked_add_days(Days::new(made_on.into())) else {
                continue;
            };
            let known = heat(file, model, made, self.latency);
            rows.extend(self.targets.iter().filter_map(|&target| {
                let degree_days = DegreeDays::from_fahrenheit_days(target);
                let truth = true_crossing(&whole, start, degree_days).ok()?;
                let projected = projected_crossing(&known, start, degree_days).ok()?;
                let fair = truth.estimated_share <= MOST_ESTIMATED
                    && projected.past_years >= EARLIER_YEARS;
                fair.then_some(Hindsight {
                    year,
                    target,
                    made_on,
                    projected,
                    truth,
                })
            }));
        }
        rows
    }

    fn start_in(&self, year: i32, whole: &StationHeat) -> Option<NaiveDate> {
        let new_year = NaiveDate::from_ymd_opt(year, 1, 1)?;
        match self.start_after_heat {
            Some(heat) => {
                let reached = DegreeDays::from_fahrenheit_days(heat);
                Some(true_crossing(whole, new_year, reached).ok()?.printed)
            }
            None => NaiveDate::from_ymd_opt(year, self.start.0, self.start.1),
        }
    }
}

/// The station's heat as known on a day, with a feed that lags.
fn heat(file: &StationFile, model: HeatModel, as_of: NaiveDate, latency: u16) -> StationHeat {
    let known_to = as_of
        .checked_sub_days(Days::new(latency.into()))
        .unwrap_or(as_of);
    let own = file.own_record(known_to);
    let weather = StationWeather::new(file.station.clone(), own.as_ref(), &[], as_of);
    StationHeat::new(&weather, model)
}
