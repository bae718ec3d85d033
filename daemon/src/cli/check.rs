//! `duskflight check`: whether the configuration can be used, before it is.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::sync::Arc;

use chrono::NaiveDate;
use clap::Args;
use duskflight_core::orchard::{Block, Orchard, Part, StartRule};
use duskflight_core::trapping::without_clock;

use super::Failure;
use super::common::{AsOf, ConfigDir, feed_client, plain_table, print};
use crate::config::{Config, ConfigError, MAIN_FILE, Problem, Station};
use crate::feed::{FeedSource, ForecastSource, Needs, OpenMeteoFeed, Past, TableFeed};
use crate::inbox::imap::Session;
use crate::mail::transport::Transport;
use crate::records::try_out;
use crate::runner::fetching::try_station;
use crate::store::place;
use crate::telling::weekday_name;

/// Check the whole configuration: every error at once, with file, line and what to do
///
/// Exits with 78 when anything is wrong, also while a table that it names is not there. With --online every station is also asked for its last
/// days and its forecast, and the mail server and mailbox for a login; nothing is stored or sent.
#[derive(Debug, Args)]
pub(super) struct Check {
    #[command(flatten)]
    config: ConfigDir,
    #[command(flatten)]
    as_of: AsOf,
    /// Also ask every station for its last days and its forecast, and the mail server and mailbox for a login
    #[arg(long)]
    online: bool,
}

impl Check {
    pub(super) async fn run(self) -> Result<(), Failure> {
        let config = self.config.read()?;
        let (day, _) = self.as_of.moment(&config);
        let orchard = config.orchard_on(day);
        drop_folder(&config)?;
        tables(&config)?;
        print(&report(&config, &orchard))?;
        let of_files = config.warnings.iter().map(|warning| warning.what.clone());
        let of_place = place::threats(&config.database).into_iter();
        let of_farm = warnings(&config, &orchard, day).into_iter();
        for warning in of_files.chain(of_place).chain(of_farm) {
            print(&format!("look at: {warning}\n"))?;
        }
        if self.online {
            online(&config, day).await?;
        }
        Ok(())
    }
}

/// Whether the folder that is watched for sheets is there and can be written.
fn drop_folder(config: &Config) -> Result<(), Failure> {
    let Some(folder) = &config.drop_folder else {
        return Ok(());
    };
    try_out(folder).map_err(|error| {
        let problem = Problem {
            file: folder.path.clone(),
            line: None,
            what: format!("the folder that records.drop names cannot be used: {error}"),
        };
        let problems = vec![problem];
        Failure::from(ConfigError { problems })
    })
}

/// Whether the tables that stations name are there. The daemon goes on without one, and says so.
fn tables(config: &Config) -> Result<(), Failure> {
    let named = config.stations.iter().flat_map(|station| {
        let table = match &station.source {
            FeedSource::Table(table) => Some(table),
            _ => None,
        };
        let forecast = match &station.forecast {
            Some(ForecastSource::Table(table)) => Some(table),
            _ => None,
        };
        let missing = table
            .into_iter()
            .chain(forecast)
            .filter_map(TableFeed::missing_file);
        missing.map(|file| Problem {
            file: config.dir.join(MAIN_FILE),
            line: None,
            what: format!(
                "station {}: the table {} is not there; put it there, or name another in source",
                station.id,
                file.display()
            ),
        })
    });
    let problems: Vec<Problem> = named.collect();
    match problems.is_empty() {
        true => Ok(()),
        false => Err(ConfigError { problems }.into()),
    }
}

/// What is declared and in force.
fn report(config: &Config, orchard: &Orchard) -> String {
    let mut text = format!("{}: no errors\n", config.farm);
    let mut table = plain_table([
        "block",
        "crop",
        "regime",
        "station",
        "start from",
        "rule",
        "traps",
    ]);
    for block in orchard.blocks() {
        let rule = rule(config, orchard, block);
        let start_group = rule.map_or("–", |_| block.start_group.as_str());
        let rule = rule.map_or("no start", StartRule::name);
        table.add_row([
            format!("{} ({})", block.name, block.id),
            block.crop.to_string(),
            block.regime.to_string(),
            block.station.to_string(),
            start_group.to_owned(),
            rule.to_owned(),
            orchard.traps_of(&block.id).count().to_string(),
        ]);
    }
    // Writing to a string cannot fail.
    let _ = writeln!(text, "{table}");
    let _ = writeln!(
        text,
        "digests at {} ({}) from {} to {}, else on {}s; growers hear {} h after their adviser",
        config.digest_time.format("%H:%M"),
        config.zone,
        config.season_from,
        config.season_to,
        weekday_name(config.off_season_day),
        config.hold_hours
    );
    text
}

/// The rule for the start that is in force in a block: that of the block its traps belong to; `None`
/// where the crop asks for no start.
fn rule(config: &Config, orchard: &Orchard, block: &Block) -> Option<StartRule> {
    let lender = orchard.block_of_group(&block.start_group).unwrap_or(block);
    let mut of_crop = config.insects.iter();
    let insect = of_crop.find(|insect| insect.crops.contains(&block.crop));
    let start = insect?.start.as_ref()?;
    Some(lender.start_rule.unwrap_or(start.rule))
}

/// Declarations that are allowed and yet probably not what was meant.
fn warnings(config: &Config, orchard: &Orchard, day: NaiveDate) -> Vec<String> {
    let mut warnings: Vec<String> = config
        .stations
        .iter()
        .flat_map(|station| of_feeds(config, station))
        .collect();
    let invented = config
        .people
        .iter()
        .filter(|person| person.email.ends_with(".example"));
    for person in invented {
        warnings.push(format!(
            "person {}: {} is an address of a sample",
            person.id, person.email
        ));
    }
    for block in orchard.blocks() {
        let hanging = orchard
            .egg_traps(&block.start_group)
            .filter(|trap| trap.in_use_on(day))
            .count();
        if (1..3).contains(&hanging) {
            warnings.push(format!(
                "block {}: {hanging} egg traps hang; a start by the traps needs three",
                block.id
            ));
        }
        if orchard.traps_of(&block.id).next().is_none() {
            warnings.push(format!("block {}: it has no trap of its own", block.id));
        }
        warnings.extend(without_clocks(orchard, block, day));
    }
    warnings
}

/// What whoever sets a station up is to know of its feeds.
fn of_feeds(config: &Config, station: &Station) -> Vec<String> {
    let id = &station.id;
    let modelled = station.facts.modelled.then(|| {
        format!(
            "station {id}: its temperatures are a model's of a cell 9 to 25 km wide, not measured; use it where no station stands"
        )
    });
    let of_days = match &station.source {
        FeedSource::OpenMeteo(feed) => Some(feed),
        _ => None,
    };
    let of_forecast = match &station.forecast {
        Some(ForecastSource::OpenMeteo(feed)) => Some(feed),
        _ => None,
    };
    let mut feeds = of_days.into_iter().chain(of_forecast);
    let terms = feeds.any(OpenMeteoFeed::is_free).then(|| {
        format!(
            "station {id}: Open-Meteo is free for non-commercial use, with attribution (CC BY 4.0); else name a paid key in \
             key_file, or a host of your own in base_url"
        )
    });
    let of_days = station.source.declares();
    let of_forecast = station.forecast.as_ref().map(ForecastSource::declares);
    let mut kinds = std::iter::once(of_days).chain(of_forecast);
    let is_unnamed = config.operator.is_none() && kinds.any(|kind| kind.needs == Needs::Contact);
    let contact = is_unnamed.then(|| {
        format!(
            "station {id}: the US National Weather Service refuses callers that name no contact; write an address in operator, in [farm]"
        )
    });
    let past = match of_days.past {
        Past::Days(days) => Some(format!(
            "station {id}: its service keeps no more than {days} days, and dates rest on past years; let it stand in for a station \
             that has them, in fall_backs"
        )),
        Past::Whole | Past::AsAsked => None,
    };
    let found = modelled.into_iter().chain(terms).chain(contact);
    found.chain(past).collect()
}

/// Parts that nobody will be reminded of, because no product is declared for them.
fn without_clocks(orchard: &Orchard, block: &Block, day: NaiveDate) -> Vec<String> {
    let mut traps: BTreeMap<Part, Vec<&str>> = BTreeMap::new();
    let in_use = orchard.traps_of(&block.id).filter(|t| t.in_use_on(day));
    for trap in in_use {
        for part in without_clock(trap) {
            traps.entry(part).or_default().push(trap.id.as_str());
        }
    }
    let lines = traps.into_iter().map(|(part, traps)| {
        format!(
            "block {}: no {} is declared for traps {}; nobody is reminded to change it",
            block.id,
            part.words(),
            traps.join(", ")
        )
    });
    lines.collect()
}

async fn online(config: &Arc<Config>, day: NaiveDate) -> Result<(), Failure> {
    let client = feed_client(config)?;
    let mut failed = 0;
    for station in &config.stations {
        match try_station(&client, config, station, day).await {
            Ok(newest) => print(&format!("station {}: newest day {newest}\n", station.id))?,
            Err(error) => {
                failed += 1;
                print(&format!("station {}: {error}\n", station.id))?;
            }
        }
    }
    match Transport::of(config, &Arc::default()).try_out().await {
        Ok(words) => print(&format!("mail: {words}\n"))?,
        Err(error) => {
            failed += 1;
            print(&format!("mail: {}\n", error.words()))?;
        }
    }
    let mailbox = config.inbox.as_ref().and_then(|inbox| inbox.imap.as_ref());
    if let Some(mailbox) = mailbox {
        match Session::open(mailbox).await {
            Ok(session) => {
                print(&format!("inbox: {}\n", session.words()))?;
                session.close().await;
            }
            Err(error) => {
                failed += 1;
                print(&format!("inbox: {}: {}\n", error.place, error.why))?;
            }
        }
    }
    if failed > 0 {
        let tries = config.stations.len() + 1 + usize::from(mailbox.is_some());
        return Err(Failure::try_later(anyhow::anyhow!(
            "{failed} of {tries} tries failed"
        )));
    }
    Ok(())
}
