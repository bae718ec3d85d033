//! `duskflight init`: a configuration to begin with.

use std::fs;
use std::path::PathBuf;

use anyhow::Context;
use chrono::Datelike;
use clap::Args;

use super::Failure;
use super::common::print;
use crate::clock::{Clock, SystemClock};
use crate::config::{
    MAIN_FILE, NAVEL_ORANGEWORM, NAVEL_ORANGEWORM_PISTACHIO, NAVEL_ORANGEWORM_WALNUT,
};

/// The starting files, by their names in the folder.
const FILES: [(&str, &str); 9] = [
    (
        MAIN_FILE,
        include_str!("../../../config/starter/duskflight.toml"),
    ),
    (
        "blocks.csv",
        include_str!("../../../config/starter/blocks.csv"),
    ),
    (
        "traps.csv",
        include_str!("../../../config/starter/traps.csv"),
    ),
    (
        "visits.csv",
        include_str!("../../../config/starter/visits.csv"),
    ),
    (
        "last-year.csv",
        include_str!("../../../config/starter/visits.csv"),
    ),
    (
        "notes.csv",
        include_str!("../../../config/starter/notes.csv"),
    ),
    ("insects/navel-orangeworm.toml", NAVEL_ORANGEWORM),
    (
        "insects/navel-orangeworm-pistachio.toml",
        NAVEL_ORANGEWORM_PISTACHIO,
    ),
    (
        "insects/navel-orangeworm-walnut.toml",
        NAVEL_ORANGEWORM_WALNUT,
    ),
];
/// Stands for this year in the starting files.
const THIS_YEAR: &str = "YEAR";

/// Write a commented configuration to begin with
///
/// Nothing that is there already is overwritten. Two lines are to be changed: your address and
/// where the temperatures come from.
#[derive(Debug, Args)]
pub(super) struct Init {
    /// Folder to write into; it is made when it is not there
    dir: PathBuf,
}

impl Init {
    pub(super) fn run(self) -> Result<(), Failure> {
        if let Some((name, _)) = FILES.iter().find(|(name, _)| self.dir.join(name).exists()) {
            let file = self.dir.join(name);
            return Err(Failure::usage(anyhow::anyhow!(
                "{} is there already; nothing was written",
                file.display()
            )));
        }
        let year = SystemClock.now().year().to_string();
        for (name, text) in FILES {
            let file = self.dir.join(name);
            let folder = file.parent().unwrap_or(&self.dir);
            fs::create_dir_all(folder)
                .with_context(|| format!("make the folder {}", folder.display()))?;
            fs::write(&file, text.replace(THIS_YEAR, &year))
                .with_context(|| format!("write {}", file.display()))?;
        }
        let dir = self.dir.display();
        print(&format!(
            "A farm to begin with is in {dir}. Now\n\
             \x20 change the lines marked with <-- in {dir}/{MAIN_FILE}: your address, your station\n\
             \x20 look at {dir}/blocks.csv and {dir}/traps.csv\n\
             \x20 duskflight check --config {dir} --online\n\
             \x20 duskflight nightly --config {dir}      one night by hand\n\
             \x20 duskflight run --config {dir}          every night\n"
        ))
    }
}
