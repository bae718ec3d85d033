//! The invented farm's configuration folder.

use std::fmt::Write as _;
use std::io;
use std::path::Path;

use duskflight_core::ledger::Role;

use super::farm::InventedFarm;
use super::feed_server::STATION;
use crate::config::NAVEL_ORANGEWORM;
use crate::plain_file;

/// The remark that every demo mail carries.
const NOTE: &str = "This farm is invented, with its people, blocks and counts. The temperatures \
were measured at Merced airport, California (NOAA).";

/// How the main file of a year's demo begins.
fn heading(year: i32) -> String {
    format!("# The invented farm of `duskflight demo --year {year}`.")
}

/// Whether the folder holds a farm that is not the demo's of this year.
pub(super) fn holds_another_farm(dir: &Path, year: i32) -> io::Result<bool> {
    match plain_file::read(&dir.join("duskflight.toml"), plain_file::BY_HAND) {
        // An empty one is what a demo leaves that was killed while it wrote it.
        Ok(main) => Ok(!main.is_empty() && !main.starts_with(heading(year).as_bytes())),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            Ok(dir.join("blocks.csv").exists() || dir.join("traps.csv").exists())
        }
        Err(error) => Err(error),
    }
}

/// Writes the folder anew, first the file that shows whose it is; records and mails in it are left
/// alone.
pub(super) fn write(dir: &Path, farm: &InventedFarm, year: i32, feed_url: &str) -> io::Result<()> {
    std::fs::create_dir_all(dir)?;
    plain_file::write(
        &dir.join("duskflight.toml"),
        main_file(farm, year, feed_url),
    )?;
    std::fs::create_dir_all(dir.join("insects"))?;
    std::fs::create_dir_all(dir.join("entered"))?;
    plain_file::write(&dir.join("insects/navel-orangeworm.toml"), NAVEL_ORANGEWORM)?;
    plain_file::write(&dir.join("blocks.csv"), &farm.blocks_csv)?;
    plain_file::write(&dir.join("traps.csv"), &farm.traps_csv)?;
    for entry in &farm.entries {
        plain_file::write(&dir.join("entered").join(&entry.via_file), &entry.csv)?;
    }
    Ok(())
}

fn main_file(farm: &InventedFarm, year: i32, feed_url: &str) -> String {
    let heading = heading(year);
    let mut text = format!(
        r#"{heading}
# The feed below runs only while the demo plays.

insects = ["insects/navel-orangeworm.toml"]

[farm]
name = "Kestrel Flat Orchards"
timezone = "America/Los_Angeles"
region = "california"
district = "north"
note = "{NOTE}"

[mail]
from = "duskflight@kestrel-flat.example"
folder = "mail"

[inbox]
folder = "inbox"   # what lies here is read as answers to mails

[telling]
calendars = "calendars"   # each person's whole calendar, to subscribe to

[store]
keep_mails_days = 400   # the whole season, to look at

[[station]]
id = "merced"
name = "Merced airport"

[station.ncei]
station = "{STATION}"
base_url = "{feed_url}"
"#
    );
    // Writing to a string cannot fail.
    for person in &farm.people {
        let _ = write!(
            text,
            "\n[[person]]\nid = \"{}\"\nname = \"{}\"\nrole = \"{}\"\nemail = \"{}\"\nphone = \"{}\"\n",
            person.id,
            person.name,
            person.role.name(),
            person.email,
            person.phone
        );
        if let Some(day) = person.letter {
            let _ = writeln!(
                text,
                "letter = \"{day}\"   # a weekly letter in plain words"
            );
        }
        if person.role == Role::Adviser {
            let _ = writeln!(text, "rounds = false   # the digest has that work by route");
        }
        if let Some(language) = person.language {
            let _ = writeln!(text, "language = \"{language}\"   # of rounds");
        }
    }
    for product in &farm.products {
        let _ = write!(
            text,
            "\n[[product]]\nid = \"{}\"   # {}\npart = \"{}\"\nlife_days = {}\nsource = \"{}\"\n",
            product.id,
            product.name,
            product.kind.name(),
            product.life_days,
            product.source
        );
    }
    text
}
