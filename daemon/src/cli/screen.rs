//! `duskflight screen`: which values of a record are not to be trusted, and why.

use clap::Args;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::Suspect;
use duskflight_core::wording::Words;

use super::Failure;
use super::common::{note, plain_table, print};
use super::station_file::{Format, Records};
use crate::sheet::csv_text;

/// List the temperatures of a station's record that are not to be trusted, and why
///
/// A suspect value is kept and shown but never used. A year's days are judged by the station's
/// climate in the years of the file; nothing is changed.
#[derive(Debug, Args)]
pub(super) struct Screen {
    #[command(flatten)]
    records: Records,
    /// A table to read, or CSV: date,element,value,reason
    #[arg(long, value_enum, default_value_t = Format::Table)]
    format: Format,
}

impl Screen {
    pub(super) fn run(&self) -> Result<(), Failure> {
        let (weather, unit) = self.records.weather()?;
        let suspects = weather.suspects();
        for drift in weather.drifts() {
            note(Words::default().drift(drift, unit));
        }
        match self.format {
            Format::Table => print(&table(suspects, unit)),
            Format::Csv => print(&csv(suspects, unit)),
        }
    }
}

/// The value in the file's unit, without the dust of the conversion.
fn value(suspect: &Suspect, unit: Unit) -> f64 {
    (suspect.value.in_unit(unit) * 1e6).round() / 1e6
}

fn csv(suspects: &[Suspect], unit: Unit) -> String {
    let rows = suspects.iter().map(|suspect| {
        [
            suspect.date.to_string(),
            suspect.element.name().to_owned(),
            value(suspect, unit).to_string(),
            suspect.why.name().to_owned(),
        ]
    });
    csv_text(["date", "element", "value", "reason"], rows)
}

fn table(suspects: &[Suspect], unit: Unit) -> String {
    let mut table = plain_table(["date", "", unit.symbol(), "why it is not used"]);
    for suspect in suspects {
        table.add_row([
            suspect.date.to_string(),
            suspect.element.words().to_owned(),
            format!("{:.1}", value(suspect, unit)),
            suspect.why.words().to_owned(),
        ]);
    }
    format!("{table}\n{} values are not used\n", suspects.len())
}
