//! Blocks, traps and products, checked against each other and against what else is declared.

use std::collections::{BTreeMap, BTreeSet};

use chrono::NaiveDate;
use duskflight_core::id::BlockId;
use duskflight_core::orchard::{Product, TrapKind};

use super::declared::Declared;
use super::reader::Reader;
use crate::config::MAIN_FILE;
use crate::config::file::ProductPart;
use crate::config::tables::{BLOCKS_FILE, BlockRow, TRAPS_FILE, TrapRow};
use crate::nearest::suggestion;

pub(super) fn products(reader: &mut Reader<'_>, parts: Vec<ProductPart>) -> Vec<Product> {
    let mut seen = BTreeSet::new();
    let mut products = Vec::new();
    for part in parts {
        if !seen.insert(part.id.clone()) {
            reader.at(&["product", part.id.as_str()], ": the id stands twice");
        }
        if part.life_days == 0 {
            let path = ["product", part.id.as_str(), "life_days"];
            reader.at(&path, " = 0: write a number above zero");
        }
        products.push(Product {
            id: part.id,
            part: part.part,
            life_days: part.life_days,
            source: part.source,
            area_cm2: part.area_cm2,
        });
    }
    products
}

pub(super) fn blocks(reader: &mut Reader<'_>, blocks: &[BlockRow], declared: &Declared<'_>) {
    let mut seen = BTreeSet::new();
    let mut namesakes = namesakes(blocks);
    let mut public = public_namesakes(blocks);
    for row in blocks {
        let block = &row.block;
        let mut wrong = declared.faults_of(block);
        wrong.extend(namesakes.remove(&row.line));
        wrong.extend(public.remove(&row.line));
        if !seen.insert((&block.id, row.from)) {
            wrong
                .push("stands twice from the same day; give the later row another from".to_owned());
        }
        for what in wrong {
            let what = format!("block {}: {what}", block.id);
            reader.problem(BLOCKS_FILE, Some(row.line), what);
        }
    }
}

/// What is wrong with rows, by their lines, whose block has the name of another on the same days: people
/// could not tell which of them a mail is about. Capitals make no other name.
fn namesakes(blocks: &[BlockRow]) -> BTreeMap<usize, String> {
    let mut begins: BTreeMap<&BlockId, Vec<NaiveDate>> = BTreeMap::new();
    for row in blocks {
        begins.entry(&row.block.id).or_default().push(row.from);
    }
    // A row is in force until the next one of its block.
    let end = |row: &BlockRow| {
        let later = begins[&row.block.id]
            .iter()
            .filter(|from| **from > row.from);
        later.min().copied().unwrap_or(NaiveDate::MAX)
    };
    let meet = |one: &BlockRow, other: &BlockRow| {
        one.block.id != other.block.id && one.from < end(other) && other.from < end(one)
    };
    let mut named: BTreeMap<String, Vec<&BlockRow>> = BTreeMap::new();
    let mut wrong = BTreeMap::new();
    for row in blocks {
        let name = &row.block.name;
        let others = named.entry(name.to_lowercase()).or_default();
        if let Some(other) = others.iter().find(|other| meet(row, other)) {
            let (id, line) = (&other.block.id, other.line);
            let what = format!(
                "name {name:?}: block {id} in line {line} has it on the same days, and mails tell blocks \
                 apart by name; give each a name of its own"
            );
            wrong.insert(row.line, what);
        }
        others.push(row);
    }
    wrong
}

/// What is wrong with rows, by their lines, that are to be shown under the name of another block: its sites would be
/// one.
fn public_namesakes(blocks: &[BlockRow]) -> BTreeMap<usize, String> {
    let mut named: BTreeMap<String, &BlockRow> = BTreeMap::new();
    let mut wrong = BTreeMap::new();
    for row in blocks {
        let Some(name) = &row.public else { continue };
        let first = named.entry(name.to_lowercase()).or_insert(row);
        if first.block.id != row.block.id {
            let (id, line) = (&first.block.id, first.line);
            let what = format!(
                "public {name:?}: block {id} in line {line} has it, too; give each site a name of its own"
            );
            wrong.insert(row.line, what);
        }
    }
    wrong
}

/// `named`: the ids of all rows of `blocks.csv`, right or not.
pub(super) fn traps(
    reader: &mut Reader<'_>,
    traps: &[TrapRow],
    blocks: &[BlockRow],
    named: &[String],
    products: &[Product],
) {
    let mut seen = BTreeSet::new();
    let known: BTreeSet<&str> = named.iter().map(String::as_str).collect();
    let borrowed = blocks.iter().map(|row| row.block.start_group.as_str());
    let groups: BTreeSet<&str> = known.iter().copied().chain(borrowed).collect();
    for TrapRow { line, trap } in traps {
        let mut wrong = Vec::new();
        if !seen.insert(&trap.id) {
            wrong.push("the id stands twice; a moved trap is a new id".to_owned());
        }
        if !known.contains(trap.block.as_str()) {
            let near = suggestion(trap.block.as_str(), known.iter().copied());
            wrong.push(format!(
                "block {}: no such block in blocks.csv{near}",
                trap.block
            ));
        } else if trap.kind == TrapKind::Egg && !groups.contains(trap.group.as_str()) {
            let near = suggestion(trap.group.as_str(), groups.iter().copied());
            let group = &trap.group;
            wrong.push(format!(
                "group {group}: no block uses it for its start{near}"
            ));
        }
        for (part, id) in &trap.products {
            match products.iter().find(|product| &product.id == id) {
                None => {
                    let near = suggestion(id.as_str(), products.iter().map(|p| p.id.as_str()));
                    let part = part.name();
                    wrong.push(format!("{part} {id}: no such product in {MAIN_FILE}{near}"));
                }
                Some(product) if product.part != *part => {
                    wrong.push(format!(
                        "{} {id}: that product is a {}",
                        part.name(),
                        product.part.name()
                    ));
                }
                Some(_) => {}
            }
        }
        for what in wrong {
            reader.problem(TRAPS_FILE, Some(*line), format!("trap {}: {what}", trap.id));
        }
    }
}

#[cfg(test)]
mod tests {
    use duskflight_core::wording::DateOrder;

    use super::*;
    use crate::config::tables;

    /// Which lines of a table with these rows of id, first day and name are refused, and why.
    fn refused(rows: &[[&str; 3]]) -> Vec<(usize, String)> {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join(BLOCKS_FILE);
        let rest = "gil,ada,almond,conventional,merced,Nonpareil";
        let lines = rows
            .iter()
            .map(|[id, from, name]| format!("{id},{from},{name},{rest}\n"));
        let header = "id,from,name,grower,adviser,crop,regime,station,varieties\n";
        std::fs::write(&file, format!("{header}{}", lines.collect::<String>())).unwrap();
        let (blocks, _) = tables::blocks(&file, DateOrder::MonthDay);
        assert_eq!(
            (blocks.rows.len(), blocks.problems),
            (rows.len(), Vec::new())
        );
        namesakes(&blocks.rows).into_iter().collect()
    }

    #[test]
    fn two_blocks_of_one_name_are_refused_with_what_to_do() {
        let refused = refused(&[
            ["n-1", "", "North"],
            ["s", "", "South"],
            ["n-2", "", "north"],
        ]);
        let why = "name \"north\": block n-1 in line 2 has it on the same days, and mails tell blocks apart \
                   by name; give each a name of its own";
        assert_eq!(refused, [(4, why.to_owned())]);
    }

    #[test]
    fn a_name_may_pass_from_one_block_to_another_and_stay_with_its_own() {
        let renamed = ["a", "2026-01-01", "Old north"];
        let taken_over = |from| ["b", from, "North"];
        let block = [["a", "", "North"], ["a", "2025-03-01", "North"], renamed];
        let lines = |from| -> Vec<usize> {
            let rows = [&block[..], &[taken_over(from)]].concat();
            refused(&rows).into_iter().map(|(line, _)| line).collect()
        };
        assert_eq!(lines("2026-01-01"), [0; 0]);
        assert_eq!(lines("2025-12-31"), [5]);
        assert_eq!(lines(""), [5]);
    }
}
