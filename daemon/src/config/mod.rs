//! What the farm declares: one folder with `duskflight.toml`, `blocks.csv`, `traps.csv` and insect
//! models, read and checked as a whole.

mod check;
mod file;
mod imap;
mod inbox;
mod look;
mod month_day;
mod page;
mod problem;
mod season;
mod smtp;
mod tables;
mod text;
mod toml_faults;
mod toml_line;

pub use imap::{ImapServer, Proof};
pub use inbox::Inbox;
pub use look::Looks;
pub use month_day::MonthDay;
pub use page::{CertificateFiles, Listen, Page, Place};
pub use problem::{ConfigError, Problem};
pub use smtp::{Login, Patience, Security, SmtpServer};
pub use tables::{BLOCKS_FILE, BlockRow, TRAPS_FILE};

pub(crate) use look::{Look, look};

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc, Weekday};
use chrono_tz::Tz;
use duskflight_core::id::{BlockId, GroupId, PersonId, StationId};
use duskflight_core::insect::{Insect, InsectFile};
use duskflight_core::ledger::Roles;
use duskflight_core::ledger::plan::{Hearer, Rounds, Rule};
use duskflight_core::orchard::{District, Orchard, Product, Trap};
use duskflight_core::temperature::Unit;
use duskflight_core::weather::StationFacts;
use duskflight_core::wording::Words;
use duskflight_core::wording::language::Language;

use crate::clock::{at_local, day_in};
use crate::feed::{Caller, FeedSource, ForecastSource, HttpUrl};

/// The name of the main file in a configuration folder.
pub const MAIN_FILE: &str = "duskflight.toml";

/// The configuration folder of an installed program, which commands read where none is named.
pub const DEFAULT_DIR: &str = "/etc/duskflight";

/// What a command is given to read a configuration folder, with a space before it; nothing for the one that it reads
/// anyway.
#[must_use]
pub fn option_for(dir: &Path) -> String {
    match dir == Path::new(DEFAULT_DIR) {
        true => String::new(),
        false => format!(" --config {}", dir.display()),
    }
}

/// The insect model for almond that ships with the program, as `init` writes it.
pub const NAVEL_ORANGEWORM: &str = include_str!("../../../config/insects/navel-orangeworm.toml");
/// The same insect's model for pistachio.
pub const NAVEL_ORANGEWORM_PISTACHIO: &str =
    include_str!("../../../config/insects/navel-orangeworm-pistachio.toml");
/// The same insect's file for walnut, without dates.
pub const NAVEL_ORANGEWORM_WALNUT: &str =
    include_str!("../../../config/insects/navel-orangeworm-walnut.toml");

/// The insect model for almond that ships with the program.
#[must_use]
pub fn navel_orangeworm() -> Insect {
    const TESTED: &str = "the shipped model is read by a test";
    let file: InsectFile = toml::from_str(NAVEL_ORANGEWORM).expect(TESTED);
    file.check().expect(TESTED)
}

/// A checked configuration.
#[derive(Debug, Clone)]
pub struct Config {
    /// The farm or the adviser's practice, as mails name it.
    pub farm: String,
    /// A remark that every mail carries.
    pub note: Option<String>,
    /// Whom mails say to ask about permits and local rules, to follow "ask".
    pub authority: String,
    /// Which part of the valley it lies in.
    pub district: District,
    /// The zone of all civil days.
    pub zone: Tz,
    /// How days are printed.
    pub words: Words,
    /// First day of the season, month and day.
    pub season_from: MonthDay,
    /// Last day of the season.
    pub season_to: MonthDay,
    /// The day of the week on which advisers get a digest off the season.
    pub off_season_day: Weekday,
    /// When the digest is told.
    pub digest_time: NaiveTime,
    /// Hours a grower's alert waits after the adviser's digest was sent.
    pub hold_hours: u16,
    /// Mails that one person gets on one civil day at the most, tests apart.
    pub most_mails_a_day: u16,
    /// Blocks of one grower that reach the same thing within so many days share one mail.
    pub share_days: u16,
    /// The folder of each person's whole calendar, where it is wanted.
    pub calendars: Option<PathBuf>,
    /// The address of an outside watcher; no more of it than the host is ever shown.
    pub heartbeat: Option<HttpUrl>,
    /// The proxy through which feeds and the watcher are asked.
    pub proxy: Option<HttpUrl>,
    /// The sender.
    pub mail_from: Sender,
    /// Where mails go.
    pub mail_route: MailRoute,
    /// Where answers to mails come in, where they are read at all.
    pub inbox: Option<Inbox>,
    /// The page on the office network, where there is one.
    pub page: Option<Page>,
    /// The database file.
    pub database: PathBuf,
    /// Days that what a mail said is kept since it was accepted or given up.
    pub keep_mails_days: u16,
    /// The folder whose sheets are imported, where there is one.
    pub drop_folder: Option<DropFolder>,
    /// The address of whoever looks after the box: sent to the feeds, and adviser's mails answer to it.
    pub operator: Option<String>,
    /// The unit of printed degree-days; the insect's own when `None`.
    pub unit: Option<Unit>,
    /// People.
    pub people: Vec<Person>,
    /// Who hears more than their role brings.
    pub rules: Vec<Rule>,
    /// Stations.
    pub stations: Vec<Station>,
    /// Insect models.
    pub insects: Vec<Insect>,
    /// What may be used but is probably not meant.
    pub warnings: Vec<Problem>,
    /// The folder it was read from.
    pub dir: PathBuf,
    /// The files it was read from, as they looked before.
    pub files: Looks,
    /// Why a newer one is not in force, while the daemon goes on with this.
    pub trouble: Option<String>,
    blocks: Vec<BlockRow>,
    traps: Vec<Trap>,
    products: Vec<Product>,
}

/// Who mails come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sender {
    /// The name.
    pub name: String,
    /// The address.
    pub address: String,
}

/// The folder that is watched for sheets of visits and notes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DropFolder {
    /// The folder.
    pub path: PathBuf,
    /// Who enters what lies there, as the history keeps it.
    pub by: String,
}

/// Where mails go.
#[derive(Debug, Clone)]
pub enum MailRoute {
    /// Into a folder, one `.eml` file each.
    Folder(PathBuf),
    /// To a mail server.
    Smtp(SmtpServer),
}

impl Sender {
    /// The part of the address after the `@`: it ends every Message-ID.
    #[must_use]
    pub fn domain(&self) -> &str {
        self.address
            .rsplit_once('@')
            .map_or("localhost", |(_, domain)| domain)
    }
}

/// Somebody who gets mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// Their id.
    pub id: PersonId,
    /// Their name.
    pub name: String,
    /// Their roles.
    pub roles: Roles,
    /// Their address.
    pub email: String,
    /// Other addresses that they answer from.
    pub addresses: Vec<String>,
    /// The language of their rounds.
    pub language: Language,
    /// Whether they get round mails; by their role where it is not said.
    pub rounds: Option<bool>,
    /// Whether a grower enters readings of own blocks on the page.
    pub enters: bool,
    /// Their telephone number.
    pub phone: Option<String>,
    /// An adviser's licence as they write it, where it is declared.
    pub licence: Option<String>,
    /// The day of the week of a grower's or a manager's letter, where it is wanted.
    pub letter: Option<Weekday>,
    /// The day of the week on which key dates are gathered; each day as they come where there is none.
    pub key_dates: Option<Weekday>,
}

/// A station and its feed.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Its id.
    pub id: StationId,
    /// Its name.
    pub name: String,
    /// Where its days come from.
    pub source: FeedSource,
    /// Past years to ask for.
    pub history_years: u16,
    /// Day boundary and moves of its record.
    pub facts: StationFacts,
    /// Stations whose days stand in for its own, the first one declared first.
    pub fall_backs: Vec<StationId>,
    /// A station nearby whose past years, moved by their difference, stand before its own.
    pub past_from: Option<StationId>,
    /// Where a forecast of its next days comes from, if from anywhere.
    pub forecast: Option<ForecastSource>,
}

impl Config {
    /// What keeps this process from sending mails: a password that it cannot read. Looking at the
    /// records works all the same, as where only the service is given the password.
    #[must_use]
    pub fn unsendable(&self) -> Option<&Problem> {
        match &self.mail_route {
            MailRoute::Folder(_) => None,
            MailRoute::Smtp(server) => server.login.as_ref()?.password.as_ref().err(),
        }
    }

    /// Who asks the feeds, and which way.
    #[must_use]
    pub fn caller(&self) -> Caller<'_> {
        Caller {
            contact: self.operator.as_deref(),
            proxy: self.proxy.as_ref(),
        }
    }

    /// How long what a mail said is kept since it was accepted or given up.
    #[must_use]
    pub fn mails_kept(&self) -> TimeDelta {
        TimeDelta::days(i64::from(self.keep_mails_days))
    }

    /// What is declared for one day: blocks by the newest row in force and by those before, all traps.
    #[must_use]
    pub fn orchard_on(&self, day: NaiveDate) -> Orchard {
        let blocks = self.in_force(day);
        let blocks = blocks.into_iter().map(|row| row.block.clone()).collect();
        let earlier = self.blocks.iter().filter(|row| row.from <= day);
        Orchard::new(blocks, self.traps.clone(), self.products.clone())
            .in_district(self.district)
            .with_declared(earlier.map(|row| (row.from, row.block.clone())))
    }

    /// The blocks that anybody may be shown on a day, with the names for that, in the order of the file.
    #[must_use]
    pub fn public_blocks(&self, day: NaiveDate) -> Vec<(&BlockId, &str)> {
        let rows = self.in_force(day).into_iter();
        rows.filter_map(|row| Some((&row.block.id, row.public.as_deref()?)))
            .collect()
    }

    /// The row in force of each block, in the order of the file.
    fn in_force(&self, day: NaiveDate) -> Vec<&BlockRow> {
        let mut in_force: BTreeMap<&BlockId, &BlockRow> = BTreeMap::new();
        for row in self.blocks.iter().filter(|row| row.from <= day) {
            let newest = in_force.entry(&row.block.id).or_insert(row);
            if row.from > newest.from {
                *newest = row;
            }
        }
        let mut rows: Vec<&BlockRow> = in_force.into_values().collect();
        rows.sort_by_key(|row| row.line);
        rows
    }

    /// What records may be about up to a day: as [`Config::orchard_on`], each block with the varieties of
    /// all its rows that have been in force, since a note may be older than the row that is now.
    #[must_use]
    pub fn orchard_up_to(&self, day: NaiveDate) -> Orchard {
        let mut ever: BTreeMap<&BlockId, Vec<&String>> = BTreeMap::new();
        for row in self.blocks.iter().filter(|row| row.from <= day) {
            let varieties = ever.entry(&row.block.id).or_default();
            varieties.extend(&row.block.varieties);
        }
        let now = self.orchard_on(day);
        let blocks = now.blocks().iter().cloned().map(|mut block| {
            for variety in ever.remove(&block.id).unwrap_or_default() {
                if !block.varieties.contains(variety) {
                    block.varieties.push(variety.clone());
                }
            }
            block
        });
        let blocks = blocks.collect();
        Orchard::new(blocks, self.traps.clone(), self.products.clone())
    }

    /// The same with nothing but some blocks, those of their start groups, and the stations of all of them.
    #[must_use]
    pub fn about(&self, blocks: &BTreeSet<BlockId>) -> Self {
        let of_these = |row: &&BlockRow| blocks.contains(&row.block.id);
        let groups: BTreeSet<&GroupId> = self
            .blocks
            .iter()
            .filter(of_these)
            .map(|row| &row.block.start_group)
            .collect();
        let is_near = |row: &BlockRow| {
            blocks.contains(&row.block.id) || groups.contains(&row.block.start_group)
        };
        let near: Vec<BlockRow> = self
            .blocks
            .iter()
            .filter(|row| is_near(row))
            .cloned()
            .collect();
        let own: BTreeSet<&StationId> = near.iter().map(|row| &row.block.station).collect();
        let of_own = self
            .stations
            .iter()
            .filter(|station| own.contains(&station.id));
        let asked = of_own.flat_map(|station| {
            let beside = station.fall_backs.iter().chain(&station.past_from);
            beside.chain(std::iter::once(&station.id))
        });
        let asked: BTreeSet<&StationId> = asked.collect();
        let stations = self
            .stations
            .iter()
            .filter(|station| asked.contains(&station.id));
        Self {
            stations: stations.cloned().collect(),
            blocks: near,
            ..self.clone()
        }
    }

    /// People as those who hear.
    #[must_use]
    pub fn hearers(&self) -> Vec<Hearer> {
        let hearer = |person: &Person| Hearer {
            id: person.id.clone(),
            name: person.name.clone(),
            roles: person.roles.clone(),
            letter: person.letter,
            key_dates: person.key_dates,
            rounds: self.rounds_of(person),
        };
        self.people.iter().map(hearer).collect()
    }

    /// Whose rounds a person gets. An adviser has the work of the day in the digest, so that a mail with it is of use
    /// where it can be answered.
    pub(crate) fn rounds_of(&self, person: &Person) -> Rounds {
        Rounds {
            as_scout: person.rounds.unwrap_or(true),
            as_adviser: person.rounds.unwrap_or(self.inbox.is_some()),
        }
    }

    /// One person.
    #[must_use]
    pub fn person(&self, id: &PersonId) -> Option<&Person> {
        self.people.iter().find(|person| &person.id == id)
    }

    /// People's names.
    #[must_use]
    pub fn names(&self) -> BTreeMap<PersonId, String> {
        let names = self.people.iter();
        names
            .map(|person| (person.id.clone(), person.name.clone()))
            .collect()
    }

    /// The civil day of an instant.
    #[must_use]
    pub fn day_of(&self, now: DateTime<Utc>) -> NaiveDate {
        day_in(self.zone, now)
    }

    /// An instant in words, with the farm's zone.
    #[must_use]
    pub fn moment_words(&self, now: DateTime<Utc>) -> String {
        let local = now.with_timezone(&self.zone);
        let day = self.words.long_day(local.date_naive());
        format!("{day}, {}", local.format("%H:%M %Z"))
    }

    /// The instant at which a civil day is told.
    #[must_use]
    pub fn digest_instant(&self, day: NaiveDate) -> DateTime<Utc> {
        at_local(self.zone, day, self.digest_time)
    }
}
