//! Reads the whole folder and checks it across files, listing everything that is wrong.

use std::collections::BTreeSet;
use std::fmt::Display;
use std::path::{Path, PathBuf};

use chrono::{Datelike, NaiveDate, NaiveTime, Timelike, Weekday};
use chrono_tz::{TZ_VARIANTS, Tz};
use duskflight_core::insect::{Insect, InsectFile};
use duskflight_core::ledger::Role;
use duskflight_core::orchard::{Crop, Product, TrapKind};
use duskflight_core::weather::StationFacts;
use duskflight_core::wording::Words;
use lettre::Address;
use serde::de::DeserializeOwned;

use super::declared::Declared;
use super::file::{MainFile, PersonPart, ProductPart, SmtpPart, StationPart};
use super::nearest::suggestion;
use super::problem::{ConfigError, Problem};
use super::rules;
use super::smtp;
use super::tables::{BlockRow, TrapRow, blocks, name_fault, traps};
use super::toml_faults::{self, Fault};
use super::toml_line;
use super::{Config, DropFolder, MAIN_FILE, MailRoute, MonthDay, Person, Sender, Station};
use crate::feed::{FeedSource, ForecastSource};

/// The tables beside the main file.
const BLOCKS_FILE: &str = "blocks.csv";
const TRAPS_FILE: &str = "traps.csv";
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
/// Past years that can be asked for.
const HISTORY_YEARS: std::ops::RangeInclusive<u16> = 1..=100;

/// Reads and checks a folder.
pub(super) fn read(dir: &Path) -> Result<Config, ConfigError> {
    let mut reader = Reader {
        dir,
        problems: Vec::new(),
        main_text: String::new(),
        warnings: Vec::new(),
    };
    let config = reader.read();
    match config {
        Some(config) if reader.problems.is_empty() => Ok(config),
        _ => Err(ConfigError {
            problems: reader.problems,
        }),
    }
}

pub(super) struct Reader<'a> {
    pub(super) dir: &'a Path,
    problems: Vec<Problem>,
    main_text: String,
    warnings: Vec<Problem>,
}

impl Reader<'_> {
    fn problem(&mut self, file: impl AsRef<Path>, line: Option<usize>, what: impl Display) {
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

    fn read(&mut self) -> Option<Config> {
        self.main_text = std::fs::read_to_string(self.dir.join(MAIN_FILE)).unwrap_or_default();
        let main: Option<MainFile> = self.toml(Path::new(MAIN_FILE));
        let (blocks, named) = blocks(&self.dir.join(BLOCKS_FILE), &mut self.problems);
        let traps = traps(&self.dir.join(TRAPS_FILE), &mut self.problems);
        let main = main?;
        self.named(&["farm", "name"], &main.farm.name);
        if let Some(operator) = &main.farm.operator {
            self.address(&["farm", "operator"], operator);
        }
        self.address(&["mail", "from"], &main.mail.from);
        self.named(&["records", "drop_by"], &main.records.drop_by);
        if main.telling.near_days.is_some() {
            let moved = " stands in the insect files now, for each insect: near = { days = [14, 5] }; take it out here";
            self.at(&["telling", "near_days"], moved);
        }
        let calendar = self.calendar(&main);
        let mail_route = self.mail_route(main.mail.folder, main.mail.smtp);
        let (insects, crops) = self.insects(&main.insects);
        let people = self.people(main.people);
        let stations = self.stations(main.stations);
        let products = self.products(main.products);
        let egg_traps = traps.iter().filter(|row| row.trap.kind == TrapKind::Egg);
        let declared = Declared {
            people: &people,
            stations: &stations,
            insects: &insects,
            crops,
            groups: egg_traps.map(|row| &row.trap.group).collect(),
        };
        self.blocks(&blocks, &declared);
        let cap = main.telling.most_mails_a_day;
        self.cap(cap);
        self.keep_mails(main.store.keep_mails_days);
        let rules = rules::rules(self, main.rules, &people, &blocks, cap);
        rules::warn_of_the_silent(self, &people, &blocks, &rules);
        self.traps(&traps, &blocks, &named, &products);
        let (calendar, mail_route) = (calendar?, mail_route?);
        Some(Config {
            farm: main.farm.name,
            note: main.farm.note,
            zone: calendar.zone,
            words: Words {
                order: main.farm.date_order,
            },
            season_from: calendar.season_from,
            season_to: calendar.season_to,
            off_season_day: calendar.off_season_day,
            digest_time: calendar.digest_time,
            hold_hours: main.telling.hold_hours,
            most_mails_a_day: cap,
            mail_from: Sender {
                name: main.mail.from_name,
                address: main.mail.from,
            },
            mail_route,
            database: self.dir.join(main.store.file),
            keep_mails_days: main.store.keep_mails_days,
            drop_folder: main.records.drop.map(|path| DropFolder {
                path: self.dir.join(path),
                by: main.records.drop_by,
            }),
            operator: main.farm.operator,
            unit: main.farm.unit,
            people,
            rules,
            stations,
            insects,
            warnings: std::mem::take(&mut self.warnings),
            dir: self.dir.to_owned(),
            files: self.files(&main.insects),
            trouble: None,
            blocks,
            traps: traps.into_iter().map(|row| row.trap).collect(),
            products,
        })
    }

    fn files(&self, insects: &[PathBuf]) -> Vec<PathBuf> {
        let own = [MAIN_FILE, BLOCKS_FILE, TRAPS_FILE].map(PathBuf::from);
        let files = own.iter().chain(insects);
        files.map(|file| self.dir.join(file)).collect()
    }

    fn mail_route(&mut self, folder: Option<PathBuf>, part: Option<SmtpPart>) -> Option<MailRoute> {
        match (folder, part) {
            (Some(folder), None) => Some(MailRoute::Folder(self.dir.join(folder))),
            (None, Some(part)) => smtp::server(self, part).map(MailRoute::Smtp),
            _ => {
                self.at(&["mail"], ": give either folder or [mail.smtp]");
                None
            }
        }
    }

    /// Everything of days and hours.
    fn calendar(&mut self, main: &MainFile) -> Option<Calendar> {
        let zone = main.farm.timezone.parse::<Tz>().ok();
        if zone.is_none() {
            let name = &main.farm.timezone;
            let near = suggestion(name, TZ_VARIANTS.iter().map(|zone| zone.name()));
            let what = format!(" = {name:?}: write a name such as America/Los_Angeles{near}");
            self.at(&["farm", "timezone"], what);
        }
        let digest_time = self.parsed(
            "telling.digest_time",
            &main.telling.digest_time,
            "HH:MM in the morning, such as 06:00",
            |text| {
                let time = NaiveTime::parse_from_str(text, "%H:%M").ok()?;
                (time.hour() < 12).then_some(time)
            },
        );
        let season_from = self.parsed(
            "season.from",
            &main.season.from,
            "MM-DD, such as 03-01",
            month_day,
        );
        let season_to = self.parsed(
            "season.to",
            &main.season.to,
            "MM-DD, such as 10-31",
            month_day,
        );
        let off_season_day =
            self.weekday(&["season", "off_season_day"], &main.season.off_season_day);
        let calendar = Calendar {
            zone: zone?,
            digest_time: digest_time?,
            season_from: season_from?,
            season_to: season_to?,
            off_season_day: off_season_day?,
        };
        if calendar.season_to <= calendar.season_from {
            self.at(
                &["season", "from"],
                ": it must lie before season.to in the same year",
            );
        }
        Some(calendar)
    }

    fn toml<T: DeserializeOwned>(&mut self, file: &Path) -> Option<T> {
        let text = match std::fs::read_to_string(self.dir.join(file)) {
            Ok(text) => text,
            Err(error) => {
                self.problem(file, None, format!("cannot be read: {error}"));
                return None;
            }
        };
        let (value, faults) = toml_faults::read(&text);
        for Fault { line, what } in faults {
            self.problem(file, line, what);
        }
        value
    }

    fn parsed<T>(
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
    fn weekday(&mut self, path: &[&str], text: &str) -> Option<Weekday> {
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

    fn cap(&mut self, most: u16) {
        if most == 0 {
            let path = ["telling", "most_mails_a_day"];
            self.at(&path, " = 0: write 1 or more; nobody would hear anything");
        }
    }

    fn keep_mails(&mut self, days: u16) {
        if days == 0 {
            let path = ["store", "keep_mails_days"];
            self.at(
                &path,
                " = 0: write 1 or more; what a mail said would be gone before anybody looks",
            );
        }
    }

    fn address(&mut self, path: &[&str], text: &str) {
        if !text.is_ascii() || text.parse::<Address>().is_err() {
            let what = "write a plain address such as name@farm.example";
            self.at(path, format!(" = {text:?}: {what}"));
        }
    }

    fn named(&mut self, path: &[&str], text: &str) {
        if let Some(fault) = name_fault(text) {
            self.at(path, format!(": {fault}"));
        }
    }

    /// The insect models, and the crops that their files name; `None` where a file cannot be read.
    fn insects(&mut self, files: &[PathBuf]) -> (Vec<Insect>, Option<BTreeSet<Crop>>) {
        let mut insects: Vec<Insect> = Vec::new();
        let mut crops = Some(BTreeSet::new()).filter(|_| !files.is_empty());
        if files.is_empty() {
            self.at(&["insects"], ": name at least one insect model file");
        }
        for file in files {
            let Some(read) = self.toml::<InsectFile>(file) else {
                crops = None;
                continue;
            };
            for crop in read.crops() {
                let is_new = crops.as_mut().is_none_or(|crops| crops.insert(*crop));
                if !is_new {
                    let what = format!("crops: another model is valid for {crop} already");
                    self.problem(file, None, what);
                }
            }
            match read.check() {
                Ok(insect) if insects.iter().any(|other| other.id == insect.id) => {
                    let what = format!("the insect id {} stands twice", insect.id);
                    self.problem(file, None, what);
                }
                Ok(insect) => insects.push(insect),
                Err(errors) => {
                    for error in errors {
                        self.problem(file, None, error);
                    }
                }
            }
        }
        (insects, crops)
    }

    fn people(&mut self, parts: Vec<PersonPart>) -> Vec<Person> {
        let mut seen = BTreeSet::new();
        let mut people = Vec::new();
        for part in parts {
            if !seen.insert(part.id.clone()) {
                self.at(&["person", part.id.as_str()], ": the id stands twice");
            }
            let id = part.id.as_str();
            self.address(&["person", id, "email"], &part.email);
            self.named(&["person", id, "name"], &part.name);
            let phone = part.phone.as_deref().unwrap_or_default();
            if part.role == Role::Adviser && !phone.contains(|c: char| c.is_ascii_digit()) {
                self.at(
                    &["person", id],
                    ": give an adviser's phone; growers' alerts name it",
                );
            }
            let path = ["person", id, "letter"];
            if part.letter.is_some() && part.role != Role::Grower {
                self.at(&path, ": only a grower gets the weekly letter");
            }
            let letter = part.letter.as_deref();
            let letter = letter.and_then(|day| self.weekday(&path, day));
            people.push(Person {
                letter,
                id: part.id,
                name: part.name,
                role: part.role,
                email: part.email,
                phone: part.phone,
            });
        }
        people
    }

    fn stations(&mut self, parts: Vec<StationPart>) -> Vec<Station> {
        let mut seen = BTreeSet::new();
        let mut stations = Vec::new();
        self.fall_backs(&parts);
        for part in parts {
            if !seen.insert(part.id.clone()) {
                self.at(&["station", part.id.as_str()], ": the id stands twice");
            }
            let source = match (part.ncei, part.table) {
                (Some(ncei), None) => FeedSource::Ncei(ncei),
                (None, Some(mut table)) => {
                    table.resolve(self.dir);
                    FeedSource::Table(table)
                }
                _ => {
                    let what = ": give either [station.ncei] or [station.table]";
                    self.at(&["station", part.id.as_str()], what);
                    continue;
                }
            };
            self.named(&["station", part.id.as_str(), "name"], &part.name);
            if !HISTORY_YEARS.contains(&part.history_years) {
                let path = ["station", part.id.as_str(), "history_years"];
                let years = part.history_years;
                self.at(
                    &path,
                    format!(" = {years}: write 1 to 100; the projection rests on them"),
                );
            }
            let forecast = part.forecast.map(|forecast| match forecast {
                ForecastSource::Table(mut table) => {
                    table.resolve(self.dir);
                    ForecastSource::Table(table)
                }
                other => other,
            });
            let moves = self.moves(part.id.as_str(), &part.moved);
            stations.push(Station {
                id: part.id,
                name: part.name,
                source,
                history_years: part.history_years,
                facts: StationFacts {
                    day_boundary: part.day_boundary,
                    moves,
                },
                fall_backs: part.fall_backs,
                forecast,
            });
        }
        stations
    }

    /// First days at another place, as written.
    fn moves(&mut self, station: &str, moved: &[String]) -> Vec<NaiveDate> {
        let mut moves = Vec::new();
        for text in moved {
            match text.parse() {
                Ok(day) => moves.push(day),
                Err(_) => self.at(
                    &["station", station, "moved"],
                    format!(": {text:?} is not a day; write the first day at the new place, such as 1998-08-01"),
                ),
            }
        }
        moves
    }

    /// Each fall-back is another declared station, named once.
    fn fall_backs(&mut self, parts: &[StationPart]) {
        for part in parts {
            let mut seen = BTreeSet::new();
            for id in &part.fall_backs {
                let known = parts.iter().any(|other| &other.id == id);
                let what = if *id == part.id {
                    "a station cannot stand in for itself".to_owned()
                } else if !known {
                    let near = suggestion(id.as_str(), parts.iter().map(|other| other.id.as_str()));
                    format!("no such station{near}")
                } else if !seen.insert(id) {
                    "it stands twice".to_owned()
                } else {
                    continue;
                };
                let path = ["station", part.id.as_str(), "fall_backs"];
                self.at(&path, format!(": {id}: {what}"));
            }
        }
    }

    fn products(&mut self, parts: Vec<ProductPart>) -> Vec<Product> {
        let mut seen = BTreeSet::new();
        let mut products = Vec::new();
        for part in parts {
            if !seen.insert(part.id.clone()) {
                self.at(&["product", part.id.as_str()], ": the id stands twice");
            }
            if part.life_days == 0 {
                let path = ["product", part.id.as_str(), "life_days"];
                self.at(&path, " = 0: write a number above zero");
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

    fn blocks(&mut self, blocks: &[BlockRow], declared: &Declared<'_>) {
        let mut seen = BTreeSet::new();
        for row in blocks {
            let block = &row.block;
            let mut wrong = declared.faults_of(block);
            if !seen.insert((&block.id, row.from)) {
                wrong.push(
                    "stands twice from the same day; give the later row another from".to_owned(),
                );
            }
            for what in wrong {
                let what = format!("block {}: {what}", block.id);
                self.problem("blocks.csv", Some(row.line), what);
            }
        }
    }

    /// `named`: the ids of all rows of `blocks.csv`, right or not.
    fn traps(
        &mut self,
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
                self.problem(
                    "traps.csv",
                    Some(*line),
                    format!("trap {}: {what}", trap.id),
                );
            }
        }
    }
}

struct Calendar {
    zone: Tz,
    digest_time: NaiveTime,
    season_from: MonthDay,
    season_to: MonthDay,
    off_season_day: Weekday,
}

/// A month and day; 29 February is one.
fn month_day(text: &str) -> Option<MonthDay> {
    let day = NaiveDate::parse_from_str(&format!("2000-{text}"), "%Y-%m-%d").ok()?;
    Some(MonthDay {
        month: day.month(),
        day: day.day(),
    })
}
