//! `blocks.csv` and `traps.csv` as written, row by row.

use std::collections::BTreeMap;
use std::path::Path;

use chrono::NaiveDate;
use duskflight_core::id::PersonId;
use duskflight_core::orchard::{Block, Dispensers, Part, Place, Pull, Trap, TrapKind, own_group};
use duskflight_core::wording::DateOrder;

use super::problem::Problem;
use crate::plain_file;
use crate::sheet::{self, Columns, Dates, Fault, Row, keep};

/// The table of blocks, beside the main file.
pub const BLOCKS_FILE: &str = "blocks.csv";
/// The table of traps.
pub const TRAPS_FILE: &str = "traps.csv";

/// A block from one day on.
#[derive(Debug, Clone, PartialEq)]
pub struct BlockRow {
    /// Its line in the file, counted from 1.
    pub line: usize,
    /// The first day it is in force.
    pub from: NaiveDate,
    /// The block.
    pub block: Block,
    /// The name under which anybody may be shown its catches and starts; `None` where nobody may.
    pub public: Option<String>,
}

/// A trap and its line in the file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct TrapRow {
    pub(super) line: usize,
    pub(super) trap: Trap,
}

/// Longest name, in characters: mails, tables and sheets print it many times over.
const LONGEST_NAME: usize = 100;

/// What is wrong with a name that mails use.
pub(super) fn name_fault(name: &str) -> Option<String> {
    match name.chars().count() {
        _ if name.trim().is_empty() => Some("it is empty; mails use it".to_owned()),
        long if long > LONGEST_NAME => Some(format!(
            "it has {long} characters; mails have room for {LONGEST_NAME}"
        )),
        _ => None,
    }
}

const BLOCKS: Columns = Columns {
    all: &[
        "id",
        "from",
        "name",
        "grower",
        "adviser",
        "scout",
        "crop",
        "acres",
        "regime",
        "dispensers_on",
        "dispensers_until",
        "near",
        "station",
        "varieties",
        "start_group",
        "start_rule",
        "public",
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
        "id", "block", "kind", "hung", "pulled", "back", "removed", "group", "route", "gate",
        "row", "tree", "place", "lure", "ppo", "bait", "liner",
    ],
    needed: &["id", "block", "kind", "hung"],
};

/// A table as it was read.
pub(super) struct Table<T> {
    /// The rows that are right.
    pub(super) rows: Vec<T>,
    /// All that is wrong.
    pub(super) problems: Vec<Problem>,
    /// What is to be said of how it was read.
    pub(super) remark: Option<Problem>,
}

/// Reads `blocks.csv`, and the ids of all its rows, also of those that cannot be used: a trap in such
/// a block is not at fault for it.
pub(super) fn blocks(path: &Path, order: DateOrder) -> (Table<BlockRow>, Vec<String>) {
    let mut named = Vec::new();
    let table = table(path, &BLOCKS, order, |row| {
        named.push(row.text("id").to_owned());
        block(row)
    });
    (table, named)
}

/// Reads `traps.csv`.
pub(super) fn traps(path: &Path, order: DateOrder) -> Table<TrapRow> {
    table(path, &TRAPS, order, trap)
}

fn table<T>(
    path: &Path,
    columns: &Columns,
    order: DateOrder,
    build: impl FnMut(&Row<'_>) -> Result<T, Vec<Fault>>,
) -> Table<T> {
    let problem = |line, what| Problem {
        file: path.to_owned(),
        line,
        what,
    };
    let bytes = match plain_file::read(path, plain_file::BY_HAND) {
        Ok(bytes) => bytes,
        Err(error) => {
            return Table {
                rows: Vec::new(),
                problems: vec![problem(None, format!("cannot be read: {error}"))],
                remark: None,
            };
        }
    };
    let sheet = sheet::read(&bytes, columns, &Dates::new(order), build);
    let faults = sheet.faults.iter();
    let remark = |what| {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        problem(None, format!("{name}: {what}"))
    };
    Table {
        rows: sheet.rows,
        problems: faults
            .map(|fault| problem(Some(fault.row.max(1)), fault.what()))
            .collect(),
        remark: sheet.remark.map(remark),
    }
}

fn block(row: &Row<'_>) -> Result<BlockRow, Vec<Fault>> {
    let mut faults = Vec::new();
    let id = keep(&mut faults, row.word("id"));
    let from = keep(&mut faults, row.given("from", |_| row.day("from")));
    let name = keep(&mut faults, named(row));
    let grower = keep(&mut faults, row.word("grower"));
    let advisers = keep(&mut faults, advisers(row));
    let scouts = keep(&mut faults, row.words("scout"));
    let crop = keep(&mut faults, row.word("crop"));
    let acres = keep(&mut faults, acres(row));
    let regime = keep(&mut faults, row.word("regime"));
    let station = keep(&mut faults, row.word("station"));
    let varieties = keep(&mut faults, varieties(row));
    let group = keep(
        &mut faults,
        row.given("start_group", |_| row.word("start_group")),
    );
    let rule = keep(
        &mut faults,
        row.given("start_rule", |_| row.word("start_rule")),
    );
    let public = keep(&mut faults, public(row));
    let dispensers = dispensers(row).map_err(|wrong| faults.extend(wrong)).ok();
    let near = keep(&mut faults, row.words("near"));
    let block = || {
        let id = id?;
        let advisers = advisers?;
        let (adviser, beside) = advisers.split_first()?;
        Some(BlockRow {
            line: row.number(),
            from: from?.unwrap_or(NaiveDate::MIN),
            public: public?,
            block: Block {
                start_group: group?.unwrap_or_else(|| own_group(&id)),
                id,
                name: name?,
                grower: grower?,
                adviser: adviser.clone(),
                advised_beside: beside.to_vec(),
                scouts: scouts?,
                crop: crop?,
                acres: acres?,
                regime: regime?,
                dispensers: dispensers?,
                near: near?.into_iter().collect(),
                station: station?,
                varieties: varieties?,
                start_rule: rule?,
            },
        })
    };
    match block() {
        Some(block) if faults.is_empty() => Ok(block),
        _ => Err(faults),
    }
}

fn named(row: &Row<'_>) -> Result<String, Fault> {
    let name = row.text("name");
    match name_fault(name) {
        Some(fault) => Err(row.wrong("name", fault)),
        None => Ok(name.to_owned()),
    }
}

/// The name under which a block is shown to anybody.
fn public(row: &Row<'_>) -> Result<Option<String>, Fault> {
    match row.text("public") {
        "" => Ok(None),
        name => match name_fault(name) {
            Some(fault) => Err(row.wrong("public", fault)),
            None => Ok(Some(name.to_owned())),
        },
    }
}

/// The advisers of a block, the one who signs and is telephoned first.
fn advisers(row: &Row<'_>) -> Result<Vec<PersonId>, Fault> {
    match row.text("adviser") {
        "" => row.word("adviser").map(|adviser| vec![adviser]),
        _ => row.words("adviser"),
    }
}

fn acres(row: &Row<'_>) -> Result<Option<f64>, Fault> {
    let wanted = "write a number above zero, or leave it empty";
    match row.number_up_to("acres", f64::MAX, wanted)? {
        Some(0.0) => Err(row.wrong("acres", wanted)),
        acres => Ok(acres),
    }
}

/// Varieties, the early one first.
fn varieties(row: &Row<'_>) -> Result<Vec<String>, Fault> {
    let mut varieties: Vec<String> = Vec::new();
    for variety in row.text("varieties").split(';').map(str::trim) {
        if varieties.iter().any(|other| other == variety) {
            return Err(row.wrong("varieties", format!("{variety:?} stands twice")));
        }
        if !variety.is_empty() {
            if let Some(fault) = name_fault(variety) {
                return Err(row.wrong("varieties", fault));
            }
            varieties.push(variety.to_owned());
        }
    }
    if varieties.is_empty() {
        let what = "name at least one, the early one first, like \"Nonpareil; Monterey\"";
        return Err(row.wrong("varieties", what));
    }
    Ok(varieties)
}

/// When the dispensers go on and run out.
fn dispensers(row: &Row<'_>) -> Result<Dispensers, Vec<Fault>> {
    let mut faults = Vec::new();
    let [on, until] = ["dispensers_on", "dispensers_until"]
        .map(|column| keep(&mut faults, row.given(column, |_| row.day(column))).flatten());
    if let (Some(on), Some(until)) = (on, until)
        && until < on
    {
        let what = format!("lies before dispensers_on, {on}");
        faults.push(row.wrong("dispensers_until", what));
    }
    match faults.as_slice() {
        [] => Ok(Dispensers { on, until }),
        _ => Err(faults),
    }
}

/// The times a trap was taken down: the days in `pulled`, each with its day in `back`, but for the
/// last one while it is still down.
fn pulls(row: &Row<'_>) -> Result<Vec<Pull>, Vec<Fault>> {
    let mut faults = Vec::new();
    let [down, back] = ["pulled", "back"].map(|column| keep(&mut faults, row.days(column)));
    let (Some(down), Some(back)) = (down, back) else {
        return Err(faults);
    };
    if back.len() > down.len() || back.len() + 1 < down.len() {
        let what = "give a day for each in pulled, in order; only the last may be missing";
        return Err(vec![row.wrong("back", what)]);
    }
    let backs = back.iter().copied().map(Some).chain([None]);
    let pulls = down
        .iter()
        .zip(backs)
        .map(|(&down, back)| Pull { down, back });
    let pulls: Vec<Pull> = pulls.collect();
    let days = pulls
        .iter()
        .flat_map(|pull| [Some(pull.down), pull.back])
        .flatten();
    if days.is_sorted_by(|one, next| one < next) {
        Ok(pulls)
    } else {
        let what = "write the days from the first to the last, each before its day in back";
        Err(vec![row.wrong("pulled", what)])
    }
}

fn place(row: &Row<'_>) -> Place {
    let text = |column| row.text(column).to_owned();
    Place {
        route: text("route"),
        gate: text("gate"),
        row: text("row"),
        tree: text("tree"),
        remark: text("place"),
    }
}

fn trap(row: &Row<'_>) -> Result<TrapRow, Vec<Fault>> {
    let mut faults = Vec::new();
    let id = keep(&mut faults, row.word("id"));
    let block = keep(&mut faults, row.word("block"));
    let kind = keep(&mut faults, row.word::<TrapKind>("kind"));
    let hung = keep(&mut faults, row.day("hung"));
    let removed = keep(&mut faults, row.given("removed", |_| row.day("removed")));
    let group = keep(&mut faults, row.given("group", |_| row.word("group")));
    let pulls = pulls(row).map_err(|wrong| faults.extend(wrong)).ok();
    let mut products = BTreeMap::new();
    for part in Part::ALL {
        let column = part.name();
        let product = keep(&mut faults, row.given(column, |_| row.word(column))).flatten();
        match (product, kind) {
            (Some(_), Some(kind)) if !kind.parts().contains(&part) => {
                let kind = kind.name();
                let what = format!("a trap of kind {kind} has no {column}; leave it empty");
                faults.push(row.wrong(column, what));
            }
            (Some(product), _) => {
                products.insert(part, product);
            }
            (None, _) => {}
        }
    }
    if let (Some(hung), Some(Some(removed))) = (hung, removed)
        && removed < hung
    {
        faults.push(row.wrong("removed", format!("lies before hung, {hung}")));
    }
    let trap = || {
        let block = block?;
        Some(TrapRow {
            line: row.number(),
            trap: Trap {
                group: group?.unwrap_or_else(|| own_group(&block)),
                id: id?,
                block,
                kind: kind?,
                hung: hung?,
                removed: removed?,
                pulls: pulls?,
                place: place(row),
                products,
            },
        })
    };
    match trap() {
        Some(trap) if faults.is_empty() => Ok(trap),
        _ => Err(faults),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The columns that are named at fault in a table with one row.
    fn at_fault(problems: &[Problem]) -> Vec<String> {
        let columns = problems.iter().map(|problem| {
            assert_eq!(problem.line, Some(2), "{problem}");
            let column = problem.what.strip_prefix("column ").unwrap();
            column.split(',').next().unwrap().to_owned()
        });
        columns.collect()
    }

    #[test]
    fn no_fault_of_a_row_hides_another() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("table.csv");
        let row = "id,block,kind,hung,pulled,back,removed,lure\nt,b,eggs,soon,never,again,2022-02-30,lure\n";
        std::fs::write(&file, row).unwrap();
        let found = at_fault(&traps(&file, DateOrder::MonthDay).problems);
        assert_eq!(found, ["kind", "hung", "removed", "pulled", "back"]);
        let row = "id,name,grower,adviser,crop,regime,station,varieties,acres,dispensers_on,dispensers_until,from\n\
                   b,B,g,a,nuts,none,s,,-1,soon,later,13/1/2022\n";
        std::fs::write(&file, row).unwrap();
        let found = at_fault(&blocks(&file, DateOrder::MonthDay).0.problems);
        let expected = [
            "from",
            "crop",
            "acres",
            "regime",
            "varieties",
            "dispensers_on",
            "dispensers_until",
        ];
        assert_eq!(found, expected);
    }

    #[test]
    fn a_table_is_read_as_a_spreadsheet_saves_it_and_its_encoding_is_said() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("traps.csv");
        let row = b"ID;Block;Kind;Hung;Place;;\r\nt;b;egg;15.3.2022;Pe\xf1a;;\r\n";
        std::fs::write(&file, row).unwrap();
        let read = traps(&file, DateOrder::DayMonth);
        assert_eq!(read.problems, []);
        assert_eq!(read.rows[0].trap.place.remark, "Peña");
        assert_eq!(read.rows[0].trap.hung.to_string(), "2022-03-15");
        let remark = read.remark.unwrap();
        assert!(
            remark.what.starts_with("traps.csv: read as Windows-1252"),
            "{remark}"
        );
    }
}
