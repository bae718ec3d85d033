//! Each person's whole calendar as a file to subscribe to: all that they were told and that has left.

use std::io;
use std::path::{Path, PathBuf};

use chrono::{Datelike, NaiveDate};
use duskflight_core::contents::whole_calendar;
use duskflight_core::id::{BlockId, InsectId, MarkId};
use duskflight_core::ledger::Told;
use duskflight_core::orchard::Orchard;
use rusqlite::Connection;

use super::calendar;
use super::compose::envelope_of;
use super::contents::Asked;
use super::folder::put;
use crate::config::{Config, Person};
use crate::plain_file;
use crate::store::{StoreError, told};

/// A calendar that cannot be written.
#[derive(Debug, thiserror::Error)]
#[error("write the calendar {path}")]
pub struct CalendarError {
    path: PathBuf,
    source: io::Error,
}

/// A file by its name, with its text.
pub type CalendarFile = (String, String);

/// The calendars of everybody on a day.
///
/// # Errors
/// When the records cannot be read.
pub fn calendars(
    connection: &Connection,
    config: &Config,
    day: NaiveDate,
) -> Result<Vec<CalendarFile>, StoreError> {
    let told = told::arrived(connection, day.year())?;
    let orchard = config.orchard_on(day);
    let of = |person: &Person| {
        let told = told.get(&person.id).map_or(&[][..], Vec::as_slice);
        (
            format!("{}.ics", person.id),
            of_person(config, &orchard, person, told),
        )
    };
    Ok(config.people.iter().map(of).collect())
}

/// Writes calendars into a folder, each whole or not at all, and only those that changed.
///
/// # Errors
/// [`CalendarError`].
pub fn write(folder: &Path, files: &[CalendarFile]) -> Result<(), CalendarError> {
    let at = |path: &Path| {
        let path = path.to_owned();
        move |source| CalendarError { path, source }
    };
    for (name, text) in files {
        let path = folder.join(name);
        let before = plain_file::read(&path, text.len() as u64);
        if !before.is_ok_and(|before| before == text.as_bytes()) {
            put(folder, name, text.as_bytes()).map_err(at(&path))?;
        }
    }
    Ok(())
}

fn of_person(config: &Config, orchard: &Orchard, person: &Person, told: &[Told]) -> String {
    let block_of = |id: &BlockId| orchard.blocks().iter().find(|block| &block.id == id);
    let names = |block: &BlockId, insect: &InsectId, mark: &MarkId| {
        let insect = config.insects.iter().find(|of| &of.id == insect)?;
        let mark = insect.marks.iter().find(|of| &of.id == mark)?;
        Some((block_of(block)?.name.clone(), mark.name.clone()))
    };
    let dates = whole_calendar(&person.id, told, names);
    let events = dates.iter().filter_map(|of| {
        let adviser = config.person(&block_of(&of.date.entry.block)?.adviser)?;
        let at = config.digest_instant(of.told_on);
        let as_of = config.moment_words(at);
        let envelope = envelope_of(config, person, "", at, &as_of);
        Some(calendar::event(
            &envelope,
            Asked::of(adviser).plainly(),
            &of.date,
        ))
    });
    calendar::whole(&config.farm, events)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_calendar_is_replaced_whole_and_left_alone_where_it_did_not_change() {
        let dir = tempfile::tempdir().unwrap();
        let folder = dir.path().join("calendars");
        let file = |text: &str| [("gil.ics".to_owned(), text.to_owned())];
        write(&folder, &file("one")).unwrap();
        let path = folder.join("gil.ics");
        let written = || std::fs::metadata(&path).unwrap().modified().unwrap();
        let first = written();
        write(&folder, &file("one")).unwrap();
        assert_eq!(written(), first);
        write(&folder, &file("two")).unwrap();
        assert_eq!(std::fs::read_to_string(&path).unwrap(), "two");
        assert_eq!(std::fs::read_dir(&folder).unwrap().count(), 1);
    }

    #[test]
    fn a_file_that_cannot_be_written_is_named() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("in-the-way");
        std::fs::write(&file, "").unwrap();
        let files = [("gil.ics".to_owned(), "one".to_owned())];
        let error = write(&file.join("calendars"), &files)
            .unwrap_err()
            .to_string();
        assert!(error.ends_with("in-the-way/calendars/gil.ics"), "{error}");
    }
}
