//! `duskflight heat`: the degree-days of each day in a file, by any method and cutoff.

mod input;
mod report;

use std::io::{self, BufWriter, Write};
use std::path::PathBuf;

use anyhow::Context;
use chrono::NaiveDate;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use clap::{Args, ValueEnum};
use duskflight_core::heat::{Cutoff, HeatModel, HeatModelError, Method, Thresholds};
use duskflight_core::temperature::{Temperature, Unit};
use duskflight_core::weather::is_plausible;

use self::input::InputDay;
use self::report::HeatDay;
use super::Failure;
use super::common::note;
use super::station_file::UnitArg;

/// The navel orangeworm's temperature thresholds, °F.
const LOWER_F: f64 = 55.0;
const UPPER_F: f64 = 94.0;

/// Degree-days of each day in a file of daily minimum and maximum temperatures
///
/// Reads a CSV file with the columns date,tmin,tmax and writes one line per day with its
/// degree-days and the total so far. Temperatures, thresholds and degree-days are all in the unit
/// given by --unit.
#[derive(Debug, Args)]
pub(super) struct Heat {
    /// CSV file with the columns date,tmin,tmax, oldest day first; - reads standard input
    file: PathBuf,

    /// Unit of the temperatures, thresholds and degree-days
    #[arg(long, value_enum, default_value_t = UnitArg::F)]
    unit: UnitArg,

    /// Lower temperature threshold [default: 55 °F, exactly converted]
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    lower: Option<f64>,

    /// Upper temperature threshold [default: 94 °F, exactly converted]
    #[arg(long, value_name = "DEGREES", allow_negative_numbers = true)]
    upper: Option<f64>,

    /// How the temperature runs between minimum and maximum
    #[arg(long, value_parser = method_parser(), default_value = Method::SingleSine.name())]
    method: Method,

    /// What happens above the upper threshold [default: horizontal; none for the averages]
    #[arg(long, value_parser = cutoff_parser())]
    cutoff: Option<Cutoff>,

    /// A table to read, or CSV or JSON in full precision
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Format {
    Table,
    Csv,
    Json,
}

fn method_parser() -> impl TypedValueParser<Value = Method> {
    PossibleValuesParser::new(Method::ALL.map(Method::name))
        .map(|name| named(Method::ALL, Method::name, &name))
}

fn cutoff_parser() -> impl TypedValueParser<Value = Cutoff> {
    PossibleValuesParser::new(Cutoff::ALL.map(Cutoff::name))
        .map(|name| named(Cutoff::ALL, Cutoff::name, &name))
}

fn named<T: Copy, const N: usize>(all: [T; N], name_of: fn(T) -> &'static str, name: &str) -> T {
    all.into_iter()
        .find(|item| name_of(*item) == name)
        .expect("clap refuses every name that is not listed")
}

/// Arguments that make no heat model.
#[derive(Debug, thiserror::Error)]
enum ModelError {
    #[error(
        "{argument} {value} {unit} is no temperature that a thermometer in the region has shown; \
         give one such as 55 °F, or --cutoff none where nothing is cut off"
    )]
    NotPlausible {
        argument: &'static str,
        value: f64,
        unit: &'static str,
    },
    #[error(
        "the lower threshold ({lower} {unit}) must be below the upper one ({upper} {unit}); \
         see --lower and --upper"
    )]
    ThresholdsOutOfOrder {
        lower: f64,
        upper: f64,
        unit: &'static str,
    },
    #[error(transparent)]
    NotDefined(#[from] HeatModelError),
}

impl Heat {
    /// Reads the file, says on standard error which days are left out, writes the result.
    pub(super) fn run(&self) -> Result<(), Failure> {
        let model = self.model().map_err(Failure::usage)?;
        let days = input::read(&self.file, self.unit.into()).map_err(Failure::usage)?;
        for gap in input::gaps(&days) {
            note(gap);
        }
        let (heat, left_out) = accumulate(&days, model, self.unit.into());
        for date in left_out {
            let method = model.method();
            note(format_args!(
                "{date} is left out: {method} needs the minimum of the day after it"
            ));
        }
        self.write(&heat, model)
            .context("cannot write the result")?;
        Ok(())
    }

    /// A reader that closes its end early, such as `head`, has what it wanted.
    fn write(&self, heat: &[HeatDay], model: HeatModel) -> io::Result<()> {
        let mut out = BufWriter::new(io::stdout().lock());
        let written = match self.format {
            Format::Table => report::table(&mut out, heat, model, self.unit.into()),
            Format::Csv => report::csv(&mut out, heat),
            Format::Json => report::json(&mut out, heat),
        };
        match written.and_then(|()| out.flush()) {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            other => other,
        }
    }

    fn model(&self) -> Result<HeatModel, ModelError> {
        let unit = Unit::from(self.unit);
        let lower = self.lower.unwrap_or_else(|| published(LOWER_F, unit));
        let upper = self.upper.unwrap_or_else(|| published(UPPER_F, unit));
        let thresholds = Thresholds::new(
            temperature("--lower", lower, unit)?,
            temperature("--upper", upper, unit)?,
        )
        .map_err(|_| ModelError::ThresholdsOutOfOrder {
            lower,
            upper,
            unit: unit.symbol(),
        })?;
        let usual = match self.method.curve() {
            Some(_) => Cutoff::Horizontal,
            None => Cutoff::None,
        };
        let cutoff = self.cutoff.unwrap_or(usual);
        Ok(HeatModel::new(thresholds, self.method, cutoff)?)
    }
}

/// A published threshold as the number that somebody working in `unit` would write, so that it
/// equals the same number in the file.
fn published(fahrenheit: f64, unit: Unit) -> f64 {
    Temperature::new(fahrenheit, Unit::Fahrenheit)
        .expect("published thresholds are finite")
        .in_unit(unit)
}

fn temperature(argument: &'static str, value: f64, unit: Unit) -> Result<Temperature, ModelError> {
    let temperature = Temperature::new(value, unit).filter(|read| is_plausible(*read));
    temperature.ok_or(ModelError::NotPlausible {
        argument,
        value,
        unit: unit.symbol(),
    })
}

/// Degree-days and running total of each day, and the days that a double method cannot give
/// because the minimum of the next calendar day is not known.
fn accumulate(days: &[InputDay], model: HeatModel, unit: Unit) -> (Vec<HeatDay>, Vec<NaiveDate>) {
    let (mut heat, mut left_out, mut total) = (Vec::with_capacity(days.len()), Vec::new(), 0.0);
    for (position, day) in days.iter().enumerate() {
        let next = days.get(position + 1);
        let next_min = next
            .filter(|next| day.date.succ_opt() == Some(next.date))
            .map(|next| next.extremes.min());
        let Some(degree_days) = model.daily(day.extremes, next_min) else {
            left_out.push(day.date);
            continue;
        };
        let degree_days = degree_days.in_unit(unit);
        total += degree_days;
        heat.push(HeatDay {
            date: day.date,
            tmin: day.tmin,
            tmax: day.tmax,
            degree_days,
            total,
        });
    }
    (heat, left_out)
}

#[cfg(test)]
mod tests;
