//! Files of daily station temperatures, as the commands that look at a record by itself read them.

use std::fs::File;
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow};
use chrono::{Days, NaiveDate};
use clap::{Args, ValueEnum};
use csv::StringRecord;
use duskflight_core::id::StationId;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::{
    DayBoundary, Element, OwnRecord, ReceivedDay, StationFacts, StationWeather,
};
use duskflight_core::wording::DateOrder;

use super::Failure;
use crate::feed::{DateFormat, Delimiter, TableFeed, TableSource, table};
use crate::plain_file;

/// What stands for a value that is not there.
const MISSING: [&str; 6] = ["", "NA", "M", "NaN", "null", "-9999"];
/// So many faults of a file are listed; the rest are counted.
const LISTED_FAULTS: usize = 20;

/// A unit on the command line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum UnitArg {
    /// Degrees Fahrenheit
    F,
    /// Degrees Celsius
    C,
}

impl From<UnitArg> for Unit {
    fn from(unit: UnitArg) -> Self {
        match unit {
            UnitArg::F => Self::Fahrenheit,
            UnitArg::C => Self::Celsius,
        }
    }
}

/// A table to read, or CSV.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(super) enum Format {
    /// For people
    Table,
    /// For programs
    Csv,
}

/// A station's record and those of its fall-backs.
#[derive(Debug, Args)]
pub(super) struct Records {
    /// CSV file with the columns date and tmin_c,tmax_c or tmin_f,tmax_f, or tmin,tmax with --unit;
    /// a column station names it, others are not read
    file: PathBuf,

    /// Files of other stations nearby, in the same form
    #[arg(long, value_name = "FILE", num_args = 1..)]
    others: Vec<PathBuf>,

    #[command(flatten)]
    reading: Reading,

    /// Civil day to look from: only days before it count [default: the day after the newest one]
    #[arg(long, value_name = "DATE")]
    as_of: Option<NaiveDate>,
}

/// How a file is to be read.
#[derive(Debug, Args)]
pub(super) struct Reading {
    /// Unit of columns that do not name theirs
    #[arg(long, value_enum)]
    unit: Option<UnitArg>,

    /// First day at another place; days before the last move do not count
    #[arg(long, value_name = "DATE")]
    moved: Vec<NaiveDate>,

    /// The station is read in the morning: its maximum is of the day before its label
    #[arg(long)]
    morning: bool,
}

/// What one file says.
#[derive(Debug)]
pub(super) struct StationFile {
    /// The name in its column `station`, or that of the file.
    pub(super) station: StationId,
    /// The unit of its temperatures.
    pub(super) unit: Unit,
    /// Its days, oldest first.
    pub(super) days: Vec<ReceivedDay>,
    /// What the command line says of the station.
    pub(super) facts: StationFacts,
}

impl Records {
    /// The station's weather as known on the day asked for.
    pub(super) fn weather(&self) -> Result<(StationWeather, Unit), Failure> {
        let file = self.reading.read(&self.file)?;
        let newest = file.days.last().map(|day| day.date).unwrap_or_default();
        let as_of = self.as_of.or(newest.checked_add_days(Days::new(1)));
        let as_of = as_of.unwrap_or(newest);
        let own = file.own_record(as_of);
        let mut others = Vec::new();
        for path in &self.others {
            let other = Reading::plain(self.reading.unit).read(path)?;
            others.extend(other.own_record(as_of));
        }
        let others: Vec<&OwnRecord> = others.iter().collect();
        let weather = StationWeather::new(file.station, own.as_ref(), &others, as_of);
        Ok((weather, file.unit))
    }
}

impl Reading {
    /// Of a station that never moved and is not read in the morning.
    const fn plain(unit: Option<UnitArg>) -> Self {
        Self {
            unit,
            moved: Vec::new(),
            morning: false,
        }
    }

    /// Reads a file whole.
    pub(super) fn read(&self, path: &Path) -> Result<StationFile, Failure> {
        let name = path.display();
        let text = File::open(path)
            .and_then(|file| plain_file::read_given(file, plain_file::GIVEN))
            .with_context(|| format!("read {name}"))
            .map_err(Failure::usage)?;
        let mut parsed = parse(&text, path, self.unit.map(Unit::from))
            .map_err(|faults| Failure::usage(anyhow!("{name}:{}", listed(&faults))))?;
        parsed.days.sort_by_key(|day| day.date);
        let stem = path.file_stem().map(|stem| stem.to_string_lossy());
        let station = parsed.station.or(stem.map(|stem| stem.into_owned()));
        let station = station.unwrap_or_default();
        Ok(StationFile {
            station: StationId::new(&station)
                .with_context(|| format!("{name}: the name of the station"))
                .map_err(Failure::usage)?,
            unit: parsed.unit,
            days: parsed.days,
            facts: self.facts(),
        })
    }

    fn facts(&self) -> StationFacts {
        StationFacts {
            day_boundary: if self.morning {
                DayBoundary::Morning
            } else {
                DayBoundary::Midnight
            },
            moves: self.moved.clone(),
            ..StationFacts::default()
        }
    }
}

impl StationFile {
    /// The record as known before a day.
    pub(super) fn own_record(&self, as_of: NaiveDate) -> Option<OwnRecord> {
        OwnRecord::new(&self.days, &[], &self.facts, as_of)
    }
}

fn listed(faults: &[String]) -> String {
    let mut text: String = faults
        .iter()
        .take(LISTED_FAULTS)
        .map(|fault| format!("\n  {fault}"))
        .collect();
    if faults.len() > LISTED_FAULTS {
        text.push_str(&format!("\n  and {} more", faults.len() - LISTED_FAULTS));
    }
    text
}

#[derive(Debug)]
struct Parsed {
    station: Option<String>,
    unit: Unit,
    days: Vec<ReceivedDay>,
}

/// A line of a file and what is wrong with it.
type Fault = (u64, String);

/// Reads the text of a file; gives everything that is wrong with it, with its row.
fn parse(text: &str, path: &Path, unit: Option<Unit>) -> Result<Parsed, Vec<String>> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let header = reader.headers().map_err(|error| vec![error.to_string()])?;
    let (suffix, unit) = columns(header, unit).map_err(|fault| vec![fault.to_owned()])?;
    let column = header.iter().position(|column| column == "station");
    let fetched = table::parse(text.as_bytes(), &table_feed(path, suffix, unit))
        .map_err(|error| vec![format!("{:#}", anyhow::Error::from(error))])?;
    let (station, mut faults) = station_of(&mut reader, column);
    let unreadable = fetched.problems.iter();
    faults.extend(unreadable.map(|problem| (problem.row, problem.fault.to_string())));
    faults.sort_by_key(|(row, _)| *row);
    match (faults.is_empty(), fetched.days.is_empty()) {
        (true, false) => Ok(Parsed {
            station,
            unit,
            days: fetched.days,
        }),
        (true, true) => Err(vec!["there are no days in it".to_owned()]),
        (false, _) => Err(faults
            .iter()
            .map(|(row, fault)| format!("row {row}: {fault}"))
            .collect()),
    }
}

/// What stands behind `tmin` and `tmax` in the names of the columns to read, and their unit.
fn columns(
    header: &StringRecord,
    unit: Option<Unit>,
) -> Result<(&'static str, Unit), &'static str> {
    let has = |name: &str| header.iter().any(|column| column == name);
    let has_pair = |suffix: &str| {
        let mut names = Element::ALL.iter().map(|element| element.name());
        names.all(|name| has(&format!("{name}{suffix}")))
    };
    match unit {
        _ if !has("date") => Err("row 1: there is no column date"),
        _ if has_pair("_c") => Ok(("_c", Unit::Celsius)),
        _ if has_pair("_f") => Ok(("_f", Unit::Fahrenheit)),
        Some(unit) if has_pair("") => Ok(("", unit)),
        None if has_pair("") => Err("say with --unit whether tmin and tmax are in f or c"),
        _ => Err("row 1: there are no columns tmin_c,tmax_c, tmin_f,tmax_f or tmin,tmax"),
    }
}

fn table_feed(path: &Path, suffix: &str, unit: Unit) -> TableFeed {
    let column = |element: Element| format!("{}{suffix}", element.name());
    TableFeed {
        source: TableSource::File(path.to_owned()),
        date_column: "date".to_owned(),
        min_column: column(Element::Min),
        max_column: column(Element::Max),
        unit: unit.into(),
        date_format: Some(DateFormat::default()),
        date_order: DateOrder::default(),
        delimiter: Delimiter::default(),
        missing: MISSING.map(str::to_owned).to_vec(),
        decimal_comma: false,
    }
}

/// The station that the column `station` names, and the rows that are of another one: a file holds one.
/// Rows that cannot be taken apart into fields are faults of the table.
fn station_of(
    reader: &mut csv::Reader<&[u8]>,
    column: Option<usize>,
) -> (Option<String>, Vec<Fault>) {
    let (mut station, mut faults) = (None::<String>, Vec::new());
    for record in reader.records().flatten() {
        let named = column.and_then(|column| record.get(column));
        let row = record.position().map_or(0, csv::Position::line);
        match (&station, named.filter(|name| !name.is_empty())) {
            (Some(first), Some(name)) if first != name => faults.push((row, format!(
                "station {name}, but the rows above are of {first}; give each station a file of its own"
            ))),
            (None, Some(name)) => station = Some(name.to_owned()),
            _ => {}
        }
    }
    (station, faults)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_come_from_the_columns_or_the_command_line() {
        let check = |header: &str, unit: Option<Unit>, expected: Result<Unit, &str>| {
            let text = format!("{header}\n2022-06-01,10,20\n");
            match (parse(&text, Path::new("yard.csv"), unit), expected) {
                (Ok(parsed), Ok(unit)) => assert_eq!(parsed.unit, unit),
                (Err(faults), Err(words)) => assert!(faults[0].contains(words), "{faults:?}"),
                (got, _) => panic!("{header}: {got:?}"),
            }
        };
        check("date,tmin_c,tmax_c", None, Ok(Unit::Celsius));
        check(
            "date,tmin_f,tmax_f",
            Some(Unit::Celsius),
            Ok(Unit::Fahrenheit),
        );
        check(
            "date,tmin,tmax",
            Some(Unit::Fahrenheit),
            Ok(Unit::Fahrenheit),
        );
        check("date,tmin,tmax", None, Err("--unit"));
        check("date,low,high", None, Err("no columns"));
        check("day,tmin_c,tmax_c", None, Err("no column date"));
    }

    #[test]
    fn missing_values_never_become_numbers() {
        let text = "date,tmin_c,tmax_c\n2022-06-01,,20\n2022-06-02,NA,-9999\n";
        let parsed = parse(text, Path::new("yard.csv"), None).unwrap();
        let values: Vec<_> = parsed.days.iter().map(|day| (day.min, day.max)).collect();
        assert_eq!(values, [(None, Some(20.0)), (None, None)]);
    }

    #[test]
    fn every_fault_is_named_with_its_row() {
        let text = "station,date,tmin_c,tmax_c\n\
            A,2022-06-01,1,2\nA,2022-06-01,1,2\nA,yesterday,1,2\nA,2022-06-03,x,2\nB,2022-06-04,1,2\n\
            A,2022-06-05,1,inf\nA,2022-06-06,1\n";
        let faults = parse(text, Path::new("yard.csv"), None).unwrap_err();
        insta::assert_snapshot!(faults.join("\n"), @r#"
        row 3: the date was already in row 2
        row 4: "yesterday" in column "date" is not a date of the form "%Y-%m-%d"
        row 5: "x" in column "tmin_c" is not a temperature
        row 6: station B, but the rows above are of A; give each station a file of its own
        row 7: "inf" in column "tmax_c" is not a temperature
        row 8: the row has 3 fields and the header has 4
        "#);
    }
}
