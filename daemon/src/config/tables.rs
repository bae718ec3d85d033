//! `blocks.csv` and `traps.csv` as written, row by row.

use std::collections::BTreeMap;
use std::path::Path;

use chrono::NaiveDate;
use duskflight_core::id::{BlockId, GroupId, PersonId, ProductId, StationId, TrapId};
use duskflight_core::orchard::{Block, Crop, Part, Regime, StartRule, Trap, TrapKind, own_group};
use serde::Deserialize;
use serde::de::DeserializeOwned;

use super::nearest::{nearest, suggestion};
use super::problem::Problem;

/// A block from one day on.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockRow {
    /// Its line in the file, counted from 1.
    pub line: u64,
    /// The first day it is in force.
    pub from: NaiveDate,
    /// The block.
    pub block: Block,
}

/// A trap and its line in the file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TrapRow {
    pub(super) line: u64,
    pub(super) trap: Trap,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct BlockFields {
    id: BlockId,
    #[serde(default)]
    from: Option<NaiveDate>,
    name: String,
    grower: PersonId,
    adviser: PersonId,
    crop: Crop,
    #[serde(default)]
    acres: Option<f64>,
    regime: Regime,
    // When the dispensers went on and run out: checked, and not used yet.
    #[serde(default)]
    dispensers_on: Option<NaiveDate>,
    #[serde(default)]
    dispensers_until: Option<NaiveDate>,
    station: StationId,
    varieties: String,
    #[serde(default)]
    start_group: Option<GroupId>,
    #[serde(default)]
    start_rule: Option<StartRule>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct TrapFields {
    id: TrapId,
    block: BlockId,
    kind: TrapKind,
    hung: NaiveDate,
    #[serde(default)]
    removed: Option<NaiveDate>,
    #[serde(default)]
    group: Option<GroupId>,
    #[serde(default)]
    place: String,
    #[serde(default)]
    lure: Option<ProductId>,
    #[serde(default)]
    ppo: Option<ProductId>,
    #[serde(default)]
    bait: Option<ProductId>,
    #[serde(default)]
    liner: Option<ProductId>,
}

const BLOCKS: Columns = Columns {
    all: &[
        "id",
        "from",
        "name",
        "grower",
        "adviser",
        "crop",
        "acres",
        "regime",
        "dispensers_on",
        "dispensers_until",
        "station",
        "varieties",
        "start_group",
        "start_rule",
    ],
    needed: &[
        "id",
        "name",
        "grower",
        "adviser",
        "crop",
        "regime",
        "station",
        "varieties",
    ],
};

const TRAPS: Columns = Columns {
    all: &[
        "id", "block", "kind", "hung", "removed", "group", "place", "lure", "ppo", "bait", "liner",
    ],
    needed: &["id", "block", "kind", "hung"],
};

/// Reads `blocks.csv`; rows that cannot be read become problems.
pub(super) fn blocks(path: &Path, problems: &mut Vec<Problem>) -> Vec<BlockRow> {
    rows(path, &BLOCKS, problems, |line, fields: BlockFields| {
        let varieties: Vec<String> = fields
            .varieties
            .split(';')
            .map(|variety| variety.trim().to_owned())
            .filter(|variety| !variety.is_empty())
            .collect();
        if varieties.is_empty() {
            return Err(
                "varieties: name at least one, the early one first, like \"Nonpareil; Monterey\""
                    .to_owned(),
            );
        }
        let twice = varieties
            .iter()
            .enumerate()
            .find(|(place, variety)| varieties[..*place].contains(variety));
        if let Some((_, variety)) = twice {
            return Err(format!("varieties: {variety:?} stands twice"));
        }
        if fields.name.is_empty() {
            return Err("name: give the block a name; mails use it".to_owned());
        }
        if fields
            .acres
            .is_some_and(|acres| !(acres > 0.0 && acres.is_finite()))
        {
            return Err("acres: write a number above zero, or leave it empty".to_owned());
        }
        if let (Some(on), Some(until)) = (fields.dispensers_on, fields.dispensers_until)
            && until < on
        {
            return Err(format!(
                "dispensers_until {until} lies before dispensers_on {on}"
            ));
        }
        Ok(BlockRow {
            line,
            from: fields.from.unwrap_or(NaiveDate::MIN),
            block: Block {
                start_group: fields.start_group.unwrap_or_else(|| own_group(&fields.id)),
                id: fields.id,
                name: fields.name,
                grower: fields.grower,
                adviser: fields.adviser,
                crop: fields.crop,
                acres: fields.acres,
                regime: fields.regime,
                station: fields.station,
                varieties,
                start_rule: fields.start_rule,
            },
        })
    })
}

/// Reads `traps.csv`; rows that cannot be read become problems.
pub(super) fn traps(path: &Path, problems: &mut Vec<Problem>) -> Vec<TrapRow> {
    rows(path, &TRAPS, problems, |line, fields: TrapFields| {
        let declared = [
            (Part::Lure, fields.lure),
            (Part::Ppo, fields.ppo),
            (Part::Bait, fields.bait),
            (Part::Liner, fields.liner),
        ];
        let mut products = BTreeMap::new();
        for (part, product) in declared {
            let Some(product) = product else { continue };
            if !fields.kind.parts().contains(&part) {
                return Err(format!(
                    "{} {product:?}: a trap of kind {} has no {}; leave it empty",
                    part.name(),
                    fields.kind.name(),
                    part.name()
                ));
            }
            products.insert(part, product);
        }
        if fields.removed.is_some_and(|removed| removed < fields.hung) {
            return Err("removed lies before hung".to_owned());
        }
        Ok(TrapRow {
            line,
            trap: Trap {
                group: fields.group.unwrap_or_else(|| own_group(&fields.block)),
                id: fields.id,
                block: fields.block,
                kind: fields.kind,
                hung: fields.hung,
                removed: fields.removed,
                place: fields.place,
                products,
            },
        })
    })
}

/// The columns of a file: all of them, and those that must be there.
struct Columns {
    all: &'static [&'static str],
    needed: &'static [&'static str],
}

/// Reads every row of a CSV file with named columns.
fn rows<F: DeserializeOwned, T>(
    path: &Path,
    columns: &Columns,
    problems: &mut Vec<Problem>,
    build: impl Fn(u64, F) -> Result<T, String>,
) -> Vec<T> {
    let mut problem = |line, what: String| {
        problems.push(Problem {
            file: path.to_owned(),
            line,
            what,
        });
    };
    let reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_path(path);
    let read = reader.and_then(|mut reader| Ok((reader.headers()?.clone(), reader)));
    let (headers, mut reader) = match read {
        Ok(read) => read,
        Err(error) => {
            problem(None, format!("cannot be read: {error}"));
            return Vec::new();
        }
    };
    let (headers, faults) = columns.check(&headers);
    for fault in faults {
        problem(Some(1), fault);
    }
    let Some(headers) = headers else {
        return Vec::new();
    };
    let mut built = Vec::new();
    for record in reader.records() {
        let row = record
            .map_err(|error| (None, error.to_string()))
            .and_then(|record| {
                let line = record.position().map(csv::Position::line);
                let fields: F = record
                    .deserialize(Some(&headers))
                    .map_err(|error| (line, field_error(&error, &headers)))?;
                build(line.unwrap_or(0), fields).map_err(|what| (line, what))
            });
        match row {
            Ok(row) => built.push(row),
            Err((line, what)) => problem(line, what),
        }
    }
    built
}

impl Columns {
    /// The header as it was probably meant, with everything that is wrong in it; `None` when rows
    /// cannot be read by it.
    fn check(&self, found: &csv::StringRecord) -> (Option<csv::StringRecord>, Vec<String>) {
        let mut faults = Vec::new();
        let mut meant = csv::StringRecord::new();
        let mut readable = true;
        for name in found {
            let known = self.all.contains(&name);
            let near = nearest(name, self.all.iter().copied())
                .filter(|near| !known && !found.iter().any(|other| other == *near));
            match near {
                _ if known => meant.push_field(name),
                Some(near) => {
                    faults.push(format!("unknown column {name:?}; did you mean {near:?}?"));
                    meant.push_field(near);
                }
                None => {
                    readable = false;
                    let all = self.all.join(", ");
                    faults.push(format!("unknown column {name:?}; the columns are {all}"));
                }
            }
        }
        for column in self.needed {
            if !meant.iter().any(|name| name == *column) {
                readable = false;
                faults.push(format!("the column {column} is missing"));
            }
        }
        (readable.then_some(meant), faults)
    }
}

/// The words for a field that does not fit, with the name of its column.
fn field_error(error: &csv::Error, headers: &csv::StringRecord) -> String {
    match error.kind() {
        csv::ErrorKind::Deserialize { err, .. } => {
            let column = err
                .field()
                .and_then(|place| headers.get(usize::try_from(place).ok()?));
            match column {
                Some(column) => format!(
                    "column {column}: {}",
                    with_suggestion(&err.kind().to_string())
                ),
                None => err.kind().to_string(),
            }
        }
        _ => error.to_string(),
    }
}

/// The words of the reader, with the expected word that was probably meant.
fn with_suggestion(message: &str) -> String {
    let mut quoted = message.split('`').skip(1).step_by(2);
    let near = quoted.next().map(|word| suggestion(word, quoted));
    format!("{message}{}", near.unwrap_or_default())
}
