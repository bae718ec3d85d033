//! `blocks.csv` and `traps.csv` as written, row by row.

use std::collections::BTreeMap;
use std::path::Path;

use chrono::NaiveDate;
use duskflight_core::id::PersonId;
use duskflight_core::orchard::{Block, Dispensers, Part, Place, Pull, Trap, TrapKind, own_group};

use super::problem::Problem;
use crate::plain_file;
use crate::sheet::{self, Columns, Fault, Row, keep};

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

/// Reads `blocks.csv`, and the ids of all its rows, also of those that cannot be used: a trap in such
/// a block is not at fault for it.
pub(super) fn blocks(path: &Path, problems: &mut Vec<Problem>) -> (Vec<BlockRow>, Vec<String>) {
    let mut named = Vec::new();
    let rows = rows(path, &BLOCKS, problems, |row| {
        named.push(row.text("id").to_owned());
        block(row)
    });
    (rows, named)
}

/// Reads `traps.csv`.
pub(super) fn traps(path: &Path, problems: &mut Vec<Problem>) -> Vec<TrapRow> {
    rows(path, &TRAPS, problems, trap)
}

fn rows<T>(
    path: &Path,
    columns: &Columns,
    problems: &mut Vec<Problem>,
    build: impl FnMut(&Row<'_>) -> Result<T, Vec<Fault>>,
) -> Vec<T> {
    let mut problem = |line, what| {
        problems.push(Problem {
            file: path.to_owned(),
            line,
            what,
        });
    };
    match plain_file::read_text(path, plain_file::BY_HAND) {
        Ok(text) => {
            let sheet = sheet::read(&text, columns, build);
            for fault in sheet.faults {
                problem(Some(fault.row), fault.what());
            }
            sheet.rows
        }
        Err(error) => {
            problem(None, format!("cannot be read: {error}"));
            Vec::new()
        }
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
    let acres = keep(&mut faults, row.given("acres", |text| acres(row, text)));
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
    let dispensers = keep(&mut faults, dispensers(row));
    let near = keep(&mut faults, row.words("near"));
    let block = || {
        let id = id?;
        let advisers = advisers?;
        let (adviser, beside) = advisers.split_first()?;
        Some(BlockRow {
            line: row.number(),
            from: from?.unwrap_or(NaiveDate::MIN),
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

/// The advisers of a block, the one who signs and is telephoned first.
fn advisers(row: &Row<'_>) -> Result<Vec<PersonId>, Fault> {
    match row.text("adviser") {
        "" => row.word("adviser").map(|adviser| vec![adviser]),
        _ => row.words("adviser"),
    }
}

fn acres(row: &Row<'_>, text: &str) -> Result<f64, Fault> {
    let acres = text
        .parse()
        .ok()
        .filter(|acres: &f64| *acres > 0.0 && acres.is_finite());
    acres.ok_or_else(|| row.wrong("acres", "write a number above zero, or leave it empty"))
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
fn dispensers(row: &Row<'_>) -> Result<Dispensers, Fault> {
    let on = row.given("dispensers_on", |_| row.day("dispensers_on"))?;
    let until = row.given("dispensers_until", |_| row.day("dispensers_until"))?;
    match (on, until) {
        (Some(on), Some(until)) if until < on => Err(row.wrong(
            "dispensers_until",
            format!("lies before dispensers_on, {on}"),
        )),
        _ => Ok(Dispensers { on, until }),
    }
}

/// The times a trap was taken down: the days in `pulled`, each with its day in `back`, but for the
/// last one while it is still down.
fn pulls(row: &Row<'_>) -> Result<Vec<Pull>, Fault> {
    let (down, back) = (row.days("pulled")?, row.days("back")?);
    if back.len() > down.len() || back.len() + 1 < down.len() {
        let what = "give a day for each in pulled, in order; only the last may be missing";
        return Err(row.wrong("back", what));
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
        Err(row.wrong(
            "pulled",
            "write the days from the first to the last, each before its day in back",
        ))
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
    let pulls = keep(&mut faults, pulls(row));
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
