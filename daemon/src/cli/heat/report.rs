//! The result of `duskflight heat` as a table to read, or as CSV and JSON in full precision.

use std::io::{self, Write};

use chrono::NaiveDate;
use comfy_table::{CellAlignment, LineStyle, Table, TableStyle, presets};
use duskflight_core::heat::HeatModel;
use duskflight_core::temperature::Unit;
use serde::{Serialize, Serializer};

/// The columns, in the order of [`HeatDay`]'s fields.
const COLUMNS: [&str; 5] = ["date", "tmin", "tmax", "degree_days", "total"];

/// One day's result; temperatures and degree-days in the unit of the file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct HeatDay {
    #[serde(serialize_with = "iso")]
    pub(super) date: NaiveDate,
    pub(super) tmin: f64,
    pub(super) tmax: f64,
    pub(super) degree_days: f64,
    /// Sum of the degree-days up to this day.
    pub(super) total: f64,
}

/// Lines above, below the header and at the end, none between the days.
const STYLE: TableStyle = presets::UTF8_HORIZONTAL_ONLY.row_separator(LineStyle::none());

fn iso<S: Serializer>(date: &NaiveDate, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_str(date)
}

/// One row per day, rounded, and a last line that says how the numbers came about.
pub(super) fn table(
    out: &mut impl Write,
    heat: &[HeatDay],
    model: HeatModel,
    unit: Unit,
) -> io::Result<()> {
    let symbol = unit.symbol();
    let mut table = Table::new();
    table.load_style(STYLE).set_header([
        "Date".to_owned(),
        format!("Min {symbol}"),
        format!("Max {symbol}"),
        "Degree-days".to_owned(),
        "Total".to_owned(),
    ]);
    for day in heat {
        table.add_row([
            day.date.to_string(),
            format!("{:.1}", day.tmin),
            format!("{:.1}", day.tmax),
            format!("{:.2}", day.degree_days),
            format!("{:.2}", day.total),
        ]);
    }
    for column in table.column_iter_mut().skip(1) {
        column.set_cell_alignment(CellAlignment::Right);
    }
    writeln!(out, "{}", table.trim_fmt())?;
    writeln!(out, "{}", summary(heat, model, unit))
}

fn summary(heat: &[HeatDay], model: HeatModel, unit: Unit) -> String {
    let total = heat.last().map_or(0.0, |day| day.total);
    let hundredths = |value: f64| (value * 100.0).round() / 100.0;
    format!(
        "method {}, cutoff {}, thresholds {} and {} {unit}, {} {}, {total:.2} {unit}-days",
        model.method(),
        model.cutoff(),
        hundredths(model.thresholds().lower().in_unit(unit)),
        hundredths(model.thresholds().upper().in_unit(unit)),
        heat.len(),
        if heat.len() == 1 { "day" } else { "days" },
        unit = unit.symbol(),
    )
}

/// The days as CSV, numbers in the shortest form that reads back the same.
pub(super) fn csv(out: &mut impl Write, heat: &[HeatDay]) -> io::Result<()> {
    // The header is written by hand so that it is there even without a day.
    let mut writer = csv::WriterBuilder::new()
        .has_headers(false)
        .from_writer(out);
    writer.write_record(COLUMNS)?;
    for day in heat {
        writer.serialize(day)?;
    }
    writer.flush()
}

/// The days as a JSON list, numbers in the shortest form that reads back the same.
pub(super) fn json(out: &mut impl Write, heat: &[HeatDay]) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, heat)?;
    writeln!(out)
}
