//! `duskflight init`: a configuration to begin with.

use std::fs;
use std::path::{Path, PathBuf};

use anyhow::Context;
use chrono::Datelike;
use clap::Args;

use super::Failure;
use super::common::{DIR_VARIABLE, print};
use crate::clock::{Clock, SystemClock};
use crate::config::{
    Config, DEFAULT_DIR, MAIN_FILE, NAVEL_ORANGEWORM, NAVEL_ORANGEWORM_PISTACHIO,
    NAVEL_ORANGEWORM_WALNUT, option_for,
};
use crate::plain_file;
use crate::store::Store;

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
/// Where the installed program keeps its records and mails.
const STATE_DIR: &str = "/var/lib/duskflight";
/// The records' name there.
const DATABASE: &str = "duskflight.sqlite";
/// Where the people begin in the starting main file.
const PEOPLE: &str = "# You: the adviser";
/// Stands for this year in the starting files.
const THIS_YEAR: &str = "YEAR";

/// Write a commented configuration to begin with
///
/// Nothing that is there already is overwritten. Two lines are to be changed: your address and
/// where the temperatures come from. Records and mails go below the farm's folder, those of the installed
/// program's own folder below /var/lib/duskflight.
#[derive(Debug, Args)]
pub(super) struct Init {
    /// Folder to write into; it is made when it is not there
    #[arg(env = DIR_VARIABLE, hide_env_values = true, default_value = DEFAULT_DIR)]
    dir: PathBuf,
    /// Write no configuration, only make the empty database of the one that is in the folder
    #[arg(long)]
    records: bool,
}

impl Init {
    pub(super) fn run(self) -> Result<(), Failure> {
        if self.records {
            let database = make_records(&self.dir)?;
            return print(&format!("{} is there now, and empty\n", database.display()));
        }
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
            let text = text.replace(THIS_YEAR, &year);
            plain_file::write(&file, with_state_apart(&self.dir, text))
                .with_context(|| format!("write {}", file.display()))?;
        }
        make_records(&self.dir)?;
        let (dir, option) = (self.dir.display(), option_for(&self.dir));
        print(&format!(
            "A farm to begin with is in {dir}. Now\n\
             \x20 change the lines marked with <-- in {dir}/{MAIN_FILE}: your address, your station\n\
             \x20 take the marks out before operator and [station.forecast.nws] there, for a forecast\n\
             \x20 look at {dir}/blocks.csv and {dir}/traps.csv\n\
             \x20 duskflight check{option} --online\n\
             \x20 duskflight nightly{option}      one night by hand\n\
             \x20 duskflight run{option}          every night\n"
        ))
    }
}

/// The installed program may write below its own folder alone, so what a farm of one's own keeps beside its
/// configuration lies there.
fn with_state_apart(dir: &Path, text: String) -> String {
    if dir != Path::new(DEFAULT_DIR) {
        return text;
    }
    let stored = format!("[store]\nfile = \"{STATE_DIR}/{DATABASE}\"\n\n{PEOPLE}");
    text.replace(
        "folder = \"mail\" ",
        &format!("folder = \"{STATE_DIR}/mail\" "),
    )
    .replace("drop = \"drop\" ", &format!("drop = \"{STATE_DIR}/drop\" "))
    .replacen(PEOPLE, &stored, 1)
}

/// Makes the empty database of a farm where its configuration says. Records that are there are never touched.
fn make_records(dir: &Path) -> Result<PathBuf, Failure> {
    let config = Config::read(dir)?;
    if config.database.exists() {
        return Err(Failure::usage(anyhow::anyhow!(
            "{} is there already; it was left as it is",
            config.database.display()
        )));
    }
    drop(Store::create(&config.database)?);
    Ok(config.database)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_installed_farm_keeps_its_records_where_the_program_may_write_and_any_other_beside_it() {
        let starter = FILES[0].1;
        let installed = with_state_apart(Path::new(DEFAULT_DIR), starter.to_owned());
        for key in [
            "folder = \"/var/lib/duskflight/mail\"",
            "[store]\nfile = \"/var/lib/duskflight/duskflight.sqlite\"\n",
            "# drop = \"/var/lib/duskflight/drop\"",
        ] {
            assert_eq!(installed.matches(key).count(), 1, "{key}\n{installed}");
        }
        toml::from_str::<toml::Table>(&installed).unwrap();
        assert_eq!(
            with_state_apart(Path::new("farm"), starter.to_owned()),
            starter
        );
    }
}
