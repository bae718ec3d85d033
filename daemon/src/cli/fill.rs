//! `duskflight fill`: what stands in for the missing values of a record.

use chrono::NaiveDate;
use clap::Args;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{CompletedSeries, Element, Estimate};

use super::Failure;
use super::common::{plain_table, print};
use super::station_file::{Format, Records};
use crate::sheet::csv_text;

/// List the estimates that stand in for the missing and suspect temperatures of a record
///
/// Each estimate comes with its method and its expected error, a standard deviation. Gaps too long
/// to fill stay open and are not listed.
#[derive(Debug, Args)]
pub(super) struct Fill {
    #[command(flatten)]
    records: Records,
    /// A table to read, or CSV: date,element,value,method,expected_error
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

/// One estimated value in the file's unit.
struct Estimated {
    date: NaiveDate,
    element: Element,
    value: f64,
    error: f64,
    estimate: Estimate,
}

impl Fill {
    pub(super) fn run(&self) -> Result<(), Failure> {
        let (weather, unit) = self.records.weather()?;
        let estimated = weather
            .series()
            .map_or_else(Vec::new, |series| estimated(series, unit));
        match self.format {
            Format::Table => print(&table(&estimated, unit)),
            Format::Csv => print(&csv(&estimated)),
        }
    }
}

fn estimated(series: &CompletedSeries, unit: Unit) -> Vec<Estimated> {
    let dated = series.first().iter_days().zip(series.days());
    let mut values = Vec::new();
    for (date, day) in dated {
        let Some(day) = day else { continue };
        for element in Element::ALL {
            let Some(estimate) = day.origin(element).estimate() else {
                continue;
            };
            values.push(Estimated {
                date,
                element,
                value: day.temperature(element).in_unit(unit),
                error: unit.difference(estimate.error_f),
                estimate,
            });
        }
    }
    values
}

fn csv(estimated: &[Estimated]) -> String {
    let rows = estimated.iter().map(|one| {
        [
            one.date.to_string(),
            one.element.name().to_owned(),
            one.value.to_string(),
            one.estimate.method.name().to_owned(),
            one.error.to_string(),
        ]
    });
    csv_text(
        ["date", "element", "value", "method", "expected_error"],
        rows,
    )
}

fn table(estimated: &[Estimated], unit: Unit) -> String {
    let mut table = plain_table(["date", "", unit.symbol(), "expected error", "estimated"]);
    for one in estimated {
        table.add_row([
            one.date.to_string(),
            one.element.words().to_owned(),
            format!("{:.1}", one.value),
            format!("{:.1}", one.error),
            one.estimate.method.words().to_owned(),
        ]);
    }
    format!("{table}\n{} values are estimated\n", estimated.len())
}
