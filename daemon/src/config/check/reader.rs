//! What the checks share: the main file's text, and the lists of what is wrong.

use std::fmt::Display;
use std::path::{Path, PathBuf};

use chrono::Weekday;
use duskflight_core::wording::DateOrder;
use lettre::Address;
use serde::de::DeserializeOwned;

use crate::config::problem::Problem;
use crate::config::tables::{Table, name_fault};
use crate::config::text::text_of;
use crate::config::toml_faults::{self, Fault};
use crate::config::toml_line;
use crate::config::{Looks, MAIN_FILE, look};
use crate::nearest::suggestion;
use crate::plain_file;

/// Days of the week, as they are written.
const WEEKDAYS: [&str; 7] = [
    "monday",
    "tuesday",
    "wednesday",
    "thursday",
    "friday",
    "saturday",
    "sunday",
];

/// A folder that is read and checked.
pub(super) struct Reader<'a> {
    pub(super) dir: &'a Path,
    pub(super) problems: Vec<Problem>,
    pub(super) warnings: Vec<Problem>,
    /// The files that were read, each as it looked before.
    pub(super) files: Looks,
    /// The farm's order of month and day.
    pub(super) order: DateOrder,
    main_text: String,
}

impl<'a> Reader<'a> {
    pub(super) fn new(dir: &'a Path) -> Self {
        let mut reader = Self {
            dir,
            problems: Vec::new(),
            warnings: Vec::new(),
            files: Looks::new(),
            order: DateOrder::default(),
            main_text: String::new(),
        };
        // A main file that cannot be read is said once it is taken apart.
        let main = reader.watched(MAIN_FILE);
        reader.main_text = plain_file::read_text(&main, plain_file::BY_HAND).unwrap_or_default();
        reader
    }

    /// The path of a file that is about to be read.
    pub(super) fn watched(&mut self, file: impl AsRef<Path>) -> PathBuf {
        let path = self.dir.join(file);
        self.files
            .entry(path.clone())
            .or_insert_with(|| look(&path));
        path
    }

    pub(super) fn problem(
        &mut self,
        file: impl AsRef<Path>,
        line: Option<usize>,
        what: impl Display,
    ) {
        self.problems.push(Problem {
            file: self.dir.join(file),
            line,
            what: what.to_string(),
        });
    }

    pub(super) fn main(&mut self, what: impl Display) {
        self.problem(MAIN_FILE, None, what);
    }

    /// Something wrong at a key of the main file, with its line.
    pub(super) fn at(&mut self, path: &[&str], what: impl Display) {
        let line = toml_line::line_of(&self.main_text, path);
        let what = format!("{}{what}", toml_line::said(path));
        self.problem(MAIN_FILE, line, what);
    }

    pub(super) fn warn(&mut self, what: impl Display) {
        self.warnings.push(self.in_main(what));
    }

    /// Something to say of the main file.
    pub(super) fn in_main(&self, what: impl Display) -> Problem {
        Problem {
            file: self.dir.join(MAIN_FILE),
            line: None,
            what: what.to_string(),
        }
    }

    /// The rows of a table, once what is wrong and what is to be said of it is kept.
    pub(super) fn table<T>(&mut self, table: Table<T>) -> Vec<T> {
        self.problems.extend(table.problems);
        self.warnings.extend(table.remark);
        table.rows
    }

    pub(super) fn toml<T: DeserializeOwned>(&mut self, file: &Path) -> Option<T> {
        let text = match text_of(&self.watched(file)) {
            Ok(text) => text,
            Err(no) => {
                self.problem(file, no.line, no.why);
                return None;
            }
        };
        let (value, faults) = toml_faults::read(&text);
        for Fault { line, what } in faults {
            self.problem(file, line, what);
        }
        value
    }

    pub(super) fn parsed<T>(
        &mut self,
        key: &str,
        text: &str,
        wanted: &str,
        parse: impl Fn(&str) -> Option<T>,
    ) -> Option<T> {
        let value = parse(text);
        if value.is_none() {
            let path: Vec<&str> = key.split('.').collect();
            self.at(&path, format!(" = {text:?}: write {wanted}"));
        }
        value
    }

    /// A day of the week by its English name.
    pub(super) fn weekday(&mut self, path: &[&str], text: &str) -> Option<Weekday> {
        let day = text.parse().ok();
        if day.is_none() {
            let near = suggestion(&text.to_lowercase(), WEEKDAYS);
            self.at(
                path,
                format!(" = {text:?}: write a day such as monday{near}"),
            );
        }
        day
    }

    pub(super) fn address(&mut self, path: &[&str], text: &str) {
        if !text.is_ascii() || text.parse::<Address>().is_err() {
            let what = "write a plain address such as name@farm.example";
            self.at(path, format!(" = {text:?}: {what}"));
        }
    }

    pub(super) fn named(&mut self, path: &[&str], text: &str) {
        if let Some(fault) = name_fault(text) {
            self.at(path, format!(": {fault}"));
        }
    }
}
