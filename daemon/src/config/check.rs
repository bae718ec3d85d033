//! Reads the whole folder and checks it across files, listing everything that is wrong.

mod calendar;
mod declared;
mod feeds;
mod imap;
mod inbox;
mod insects;
mod orchard;
mod page;
mod password;
mod people;
mod reader;
mod rules;
mod secret_place;
mod server;
mod smtp;
mod stations;

use std::path::{Path, PathBuf};

use chrono_tz::Tz;
use duskflight_core::orchard::{District, TrapKind};
use duskflight_core::wording::{LOCAL_AUTHORITY, Region, Words};

use super::file::{FarmPart, MainFile, SmtpPart};
use super::problem::ConfigError;
use super::tables::{self, BLOCKS_FILE, TRAPS_FILE};
use super::{Config, DropFolder, Looks, MAIN_FILE, MailRoute, Sender};
use crate::feed::HttpUrl;
use crate::nearest::suggestion;
use crate::secret::Secret;
use declared::Declared;
use reader::Reader;
use secret_place::mode;

impl Config {
    /// Reads and checks a configuration folder.
    ///
    /// # Errors
    /// [`ConfigError`] with everything that is wrong, at once.
    pub fn read(dir: &Path) -> Result<Self, ConfigError> {
        Self::read_watched(dir).0
    }

    /// The same, with the files that were read, also where they cannot be used.
    pub(crate) fn read_watched(dir: &Path) -> (Result<Self, ConfigError>, Looks) {
        let mut reader = Reader::new(dir);
        let config = read(&mut reader);
        let Reader {
            problems, files, ..
        } = reader;
        match config {
            Some(config) if problems.is_empty() => (Ok(config), files),
            _ => (Err(ConfigError { problems }), files),
        }
    }
}

fn read(reader: &mut Reader<'_>) -> Option<Config> {
    let main: Option<MainFile> = reader.toml(Path::new(MAIN_FILE));
    let order = main.as_ref().map(|main| main.farm.date_order);
    reader.order = order.unwrap_or_default();
    let (blocks, named) = tables::blocks(&reader.watched(BLOCKS_FILE), reader.order);
    let blocks = reader.table(blocks);
    let traps = tables::traps(&reader.watched(TRAPS_FILE), reader.order);
    let traps = reader.table(traps);
    let main = main?;
    reader.named(&["farm", "name"], &main.farm.name);
    if let Some(operator) = &main.farm.operator {
        reader.address(&["farm", "operator"], operator);
    }
    let authority = authority(reader, &main.farm);
    let district = district(reader, main.farm.district.as_deref());
    reader.address(&["mail", "from"], &main.mail.from);
    reader.named(&["records", "drop_by"], &main.records.drop_by);
    if main.telling.near_days.is_some() {
        let moved = " stands in the insect files now, for each insect: near = { days = [14] }; take it out here";
        reader.at(&["telling", "near_days"], moved);
    }
    let calendar = calendar::calendar(reader, &main);
    let inbox = inbox::inbox(reader, main.inbox, &main.mail.from);
    let page = page::page(reader, main.page);
    let mail_route = mail_route(reader, main.mail.folder, main.mail.smtp);
    let (insects, crops) = insects::insects(reader, &main.insects);
    let people = people::people(reader, main.people);
    let zone = calendar.as_ref().map_or(Tz::UTC, |calendar| calendar.zone);
    let stations = stations::stations(reader, main.stations, zone);
    let products = orchard::products(reader, main.products);
    let egg_traps = traps.iter().filter(|row| row.trap.kind == TrapKind::Egg);
    let declared = Declared {
        people: &people,
        stations: &stations,
        insects: &insects,
        crops,
        groups: egg_traps.map(|row| &row.trap.group).collect(),
    };
    orchard::blocks(reader, &blocks, &declared);
    let cap = main.telling.most_mails_a_day;
    check_cap(reader, cap);
    check_sharing(reader, main.telling.share_days);
    let heartbeat = heartbeat(reader, main.telling.heartbeat.as_ref());
    let proxy = proxy(reader, main.network.proxy.as_ref());
    check_retention(reader, main.store.keep_mails_days);
    let rules = rules::rules(reader, main.rules, &people, &blocks, cap);
    rules::warn_of_the_silent(reader, &people, &blocks, &rules);
    orchard::traps(reader, &traps, &blocks, &named, &products);
    let (calendar, mail_route) = (calendar?, mail_route?);
    Some(Config {
        farm: main.farm.name,
        note: main.farm.note,
        authority,
        district,
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
        share_days: main.telling.share_days,
        calendars: main.telling.calendars.map(|path| reader.dir.join(path)),
        heartbeat,
        proxy,
        mail_from: Sender {
            name: main.mail.from_name,
            address: main.mail.from,
        },
        mail_route,
        inbox,
        page,
        database: reader.dir.join(main.store.file),
        keep_mails_days: main.store.keep_mails_days,
        drop_folder: main.records.drop.map(|path| DropFolder {
            path: reader.dir.join(path),
            by: main.records.drop_by,
        }),
        operator: main.farm.operator,
        unit: main.farm.unit,
        people,
        rules,
        stations,
        insects,
        warnings: std::mem::take(&mut reader.warnings),
        dir: reader.dir.to_owned(),
        files: reader.files.clone(),
        trouble: None,
        blocks,
        traps: traps.into_iter().map(|row| row.trap).collect(),
        products,
    })
}

/// Whom the caution names: as declared, else that of the region.
fn authority(reader: &mut Reader<'_>, farm: &FarmPart) -> String {
    let region = farm.region.as_deref().and_then(|name| {
        let region = Region::from_name(name);
        if region.is_none() {
            let near = suggestion(&name.to_lowercase(), Region::ALL.map(Region::name));
            let what = format!(
                " = {name:?}: write california, or leave it out and name whom to ask in authority{near}"
            );
            reader.at(&["farm", "region"], what);
        }
        region
    });
    match &farm.authority {
        Some(authority) => {
            reader.named(&["farm", "authority"], authority);
            authority.clone()
        }
        None => region.map_or(LOCAL_AUTHORITY, Region::authority).to_owned(),
    }
}

fn district(reader: &mut Reader<'_>, name: Option<&str>) -> District {
    let Some(name) = name else {
        return District::default();
    };
    District::from_name(name).unwrap_or_else(|| {
        let near = suggestion(&name.to_lowercase(), District::ALL.map(District::name));
        let what = format!(" = {name:?}: write south or north{near}");
        reader.at(&["farm", "district"], what);
        District::default()
    })
}

/// A wait of more than two weeks is no sharing: key dates come two weeks ahead.
fn check_sharing(reader: &mut Reader<'_>, days: u16) {
    if days > 14 {
        let path = ["telling", "share_days"];
        reader.at(&path, format!(" = {days}: write 0 to 14 days"));
    }
}

fn check_cap(reader: &mut Reader<'_>, most: u16) {
    if most == 0 {
        let path = ["telling", "most_mails_a_day"];
        reader.at(&path, " = 0: write 1 or more; nobody would hear anything");
    }
}

/// The watcher's address, which is a secret as a whole: whoever knows it can feign that all is well.
fn heartbeat(reader: &mut Reader<'_>, text: Option<&Secret>) -> Option<HttpUrl> {
    let url = HttpUrl::new(text?.expose());
    if url.is_err() {
        let wanted = ": write a whole address that begins with https:// or http://";
        reader.at(&["telling", "heartbeat"], wanted);
    }
    url.ok().map(HttpUrl::hiding_its_path)
}

/// The proxy's address, which may hold a password.
fn proxy(reader: &mut Reader<'_>, text: Option<&Secret>) -> Option<HttpUrl> {
    let url = HttpUrl::new(text?.expose());
    let shared = mode(&reader.dir.join(MAIN_FILE)).is_some_and(|mode| mode & 0o007 != 0);
    if shared
        && url
            .as_ref()
            .is_ok_and(|url| url.whole().password().is_some())
    {
        reader.warn(
            "network.proxy has a password, and everybody on this machine can read it; chmod 640",
        );
    }
    if url.is_err() {
        let wanted = ": write a whole address, such as http://proxy.orchards.example:3128";
        reader.at(&["network", "proxy"], wanted);
    }
    url.ok()
}

fn check_retention(reader: &mut Reader<'_>, days: u16) {
    if days == 0 {
        let path = ["store", "keep_mails_days"];
        reader.at(
            &path,
            " = 0: write 1 or more; what a mail said would be gone before anybody looks",
        );
    }
}

fn mail_route(
    reader: &mut Reader<'_>,
    folder: Option<PathBuf>,
    part: Option<SmtpPart>,
) -> Option<MailRoute> {
    match (folder, part) {
        (Some(folder), None) => Some(MailRoute::Folder(reader.dir.join(folder))),
        (None, Some(part)) => smtp::server(reader, part).map(MailRoute::Smtp),
        _ => {
            reader.at(&["mail"], ": give either folder or [mail.smtp]");
            None
        }
    }
}
