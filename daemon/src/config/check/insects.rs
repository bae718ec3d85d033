//! Insect models, read and checked.

use std::collections::BTreeSet;
use std::path::PathBuf;

use duskflight_core::insect::{Insect, InsectFile};
use duskflight_core::orchard::Crop;

use super::reader::Reader;

/// The insect models, and the crops that their files name; `None` where a file cannot be read.
pub(super) fn insects(
    reader: &mut Reader<'_>,
    files: &[PathBuf],
) -> (Vec<Insect>, Option<BTreeSet<Crop>>) {
    let mut insects: Vec<Insect> = Vec::new();
    let mut crops = Some(BTreeSet::new()).filter(|_| !files.is_empty());
    if files.is_empty() {
        reader.at(&["insects"], ": name at least one insect model file");
    }
    for file in files {
        let Some(read) = reader.toml::<InsectFile>(file) else {
            crops = None;
            continue;
        };
        for crop in read.crops() {
            let is_new = crops.as_mut().is_none_or(|crops| crops.insert(*crop));
            if !is_new {
                let what = format!("crops: another model is valid for {crop} already");
                reader.problem(file, None, what);
            }
        }
        match read.check() {
            Ok(insect) if insects.iter().any(|other| other.id == insect.id) => {
                let what = format!("the insect id {} stands twice", insect.id);
                reader.problem(file, None, what);
            }
            Ok(insect) => insects.push(insect),
            Err(errors) => {
                for error in errors {
                    reader.problem(file, None, error);
                }
            }
        }
    }
    (insects, crops)
}
