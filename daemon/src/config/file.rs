//! `duskflight.toml` as written. Unknown keys are refused.

use std::path::PathBuf;

use duskflight_core::id::{BlockId, PersonId, ProductId, StationId};
use duskflight_core::ledger::Roles;
use duskflight_core::orchard::Part;
use duskflight_core::temperature::Unit;
use duskflight_core::weather::DayBoundary;
use duskflight_core::wording::DateOrder;
use serde::Deserialize;
use serde::de::IgnoredAny;

use super::smtp::Security;
use crate::feed::{
    AcisFeed, CimisFeed, ForecastSource, GhcnFeed, IemFeed, NceiFeed, NwsFeed, OpenMeteoFeed,
    TableFeed,
};
use crate::secret::Secret;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MainFile {
    /// Insect model files, relative to the folder.
    pub(super) insects: Vec<PathBuf>,
    pub(super) farm: FarmPart,
    #[serde(default)]
    pub(super) season: SeasonPart,
    #[serde(default)]
    pub(super) network: NetworkPart,
    #[serde(default)]
    pub(super) telling: TellingPart,
    pub(super) mail: MailPart,
    pub(super) inbox: Option<InboxPart>,
    #[serde(default)]
    pub(super) page: PagePart,
    #[serde(default)]
    pub(super) store: StorePart,
    #[serde(default)]
    pub(super) records: RecordsPart,
    #[serde(default, rename = "person")]
    pub(super) people: Vec<PersonPart>,
    #[serde(default, rename = "rule")]
    pub(super) rules: Vec<RulePart>,
    #[serde(default, rename = "station")]
    pub(super) stations: Vec<StationPart>,
    #[serde(default, rename = "product")]
    pub(super) products: Vec<ProductPart>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FarmPart {
    pub(super) name: String,
    pub(super) timezone: String,
    pub(super) note: Option<String>,
    pub(super) operator: Option<String>,
    pub(super) region: Option<String>,
    pub(super) authority: Option<String>,
    pub(super) district: Option<String>,
    pub(super) unit: Option<Unit>,
    #[serde(default)]
    pub(super) date_order: DateOrder,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct SeasonPart {
    /// `MM-DD`.
    pub(super) from: String,
    /// `MM-DD`.
    pub(super) to: String,
    /// The day of the week of the digest off the season.
    pub(super) off_season_day: String,
}

impl Default for SeasonPart {
    fn default() -> Self {
        Self {
            from: "03-01".to_owned(),
            to: "10-31".to_owned(),
            off_season_day: "monday".to_owned(),
        }
    }
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct NetworkPart {
    /// The address of a proxy, which may hold a password.
    pub(super) proxy: Option<Secret>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct TellingPart {
    /// `HH:MM` in the farm's zone.
    pub(super) digest_time: String,
    pub(super) hold_hours: u16,
    /// Where it stood before the insect files had `near`; refused with a word on where it went.
    pub(super) near_days: Option<IgnoredAny>,
    pub(super) most_mails_a_day: u16,
    pub(super) share_days: u16,
    pub(super) calendars: Option<PathBuf>,
    pub(super) heartbeat: Option<Secret>,
}

impl Default for TellingPart {
    fn default() -> Self {
        Self {
            digest_time: "06:00".to_owned(),
            hold_hours: 4,
            near_days: None,
            most_mails_a_day: 6,
            share_days: 5,
            calendars: None,
            heartbeat: None,
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MailPart {
    #[serde(default = "sender_name")]
    pub(super) from_name: String,
    pub(super) from: String,
    pub(super) folder: Option<PathBuf>,
    pub(super) smtp: Option<SmtpPart>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SmtpPart {
    pub(super) host: String,
    pub(super) port: Option<u16>,
    pub(super) security: Security,
    pub(super) username: Option<String>,
    pub(super) password_file: Option<PathBuf>,
    pub(super) password: Option<Secret>,
    pub(super) ca_file: Option<PathBuf>,
    #[serde(default = "timeout_s")]
    pub(super) timeout_s: u16,
    #[serde(default = "after_dot_s")]
    pub(super) after_dot_s: u16,
}

const fn timeout_s() -> u16 {
    300
}

const fn after_dot_s() -> u16 {
    600
}

fn sender_name() -> String {
    "Duskflight".to_owned()
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct InboxPart {
    /// The address to which answers go.
    pub(super) address: Option<String>,
    /// Whether that address may be written with a tag, as `office+tag@farm.example`.
    #[serde(default = "yes")]
    pub(super) tagged: bool,
    /// A folder of messages, as files or a maildir.
    pub(super) folder: Option<PathBuf>,
    /// The name by which the receiving server signs what it found out about a sender.
    pub(super) verified_by: Option<String>,
    pub(super) imap: Option<ImapPart>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ImapPart {
    pub(super) host: String,
    pub(super) port: Option<u16>,
    pub(super) security: Security,
    pub(super) username: String,
    pub(super) password_file: Option<PathBuf>,
    /// A command whose first line of output is an access token.
    pub(super) token_command: Option<Vec<String>>,
    pub(super) ca_file: Option<PathBuf>,
    #[serde(default = "inbox_folder")]
    pub(super) folder: String,
    #[serde(default = "done_folder")]
    pub(super) done_folder: String,
    #[serde(default = "imap_timeout_s")]
    pub(super) timeout_s: u16,
}

fn inbox_folder() -> String {
    "INBOX".to_owned()
}

fn done_folder() -> String {
    "Duskflight".to_owned()
}

const fn imap_timeout_s() -> u16 {
    60
}

const fn yes() -> bool {
    true
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct PagePart {
    /// `ADDRESS:PORT` or `INTERFACE:PORT`; without it there is no page.
    pub(super) listen: Option<String>,
    pub(super) names: Vec<String>,
    pub(super) sign_in: bool,
    pub(super) certificate: Option<PathBuf>,
    pub(super) key: Option<PathBuf>,
    pub(super) trusted_proxies: Vec<String>,
}

impl Default for PagePart {
    fn default() -> Self {
        Self {
            listen: None,
            names: Vec::new(),
            sign_in: true,
            certificate: None,
            key: None,
            trusted_proxies: Vec::new(),
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct StorePart {
    pub(super) file: PathBuf,
    pub(super) keep_mails_days: u16,
}

impl Default for StorePart {
    fn default() -> Self {
        Self {
            file: PathBuf::from("duskflight.sqlite"),
            keep_mails_days: 90,
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct RecordsPart {
    pub(super) drop: Option<PathBuf>,
    pub(super) drop_by: String,
}

impl Default for RecordsPart {
    fn default() -> Self {
        Self {
            drop: None,
            drop_by: "drop folder".to_owned(),
        }
    }
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PersonPart {
    pub(super) id: PersonId,
    pub(super) name: String,
    #[serde(alias = "roles")]
    pub(super) role: Roles,
    pub(super) email: String,
    /// Other addresses that they answer from.
    #[serde(default)]
    pub(super) addresses: Vec<String>,
    /// The language of their rounds, by its code.
    pub(super) language: Option<String>,
    /// Whether they get round mails; by their role where it is not said.
    pub(super) rounds: Option<bool>,
    /// Whether a grower enters readings of own blocks on the page.
    #[serde(default)]
    pub(super) enters: bool,
    pub(super) phone: Option<String>,
    pub(super) licence: Option<String>,
    /// The day of the week of a grower's or a manager's letter.
    pub(super) letter: Option<String>,
    /// The day of the week on which key dates are gathered, or `daily`.
    pub(super) key_dates: Option<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RulePart {
    /// Who hears.
    #[serde(default)]
    pub(super) people: Vec<PersonId>,
    /// Of whose blocks; of everybody's when empty.
    #[serde(default)]
    pub(super) growers: Vec<PersonId>,
    /// Of which blocks; of all of them when empty.
    #[serde(default)]
    pub(super) blocks: Vec<BlockId>,
    /// Kinds of news.
    #[serde(default)]
    pub(super) tell: Vec<String>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StationPart {
    pub(super) id: StationId,
    pub(super) name: String,
    #[serde(default = "history_years")]
    pub(super) history_years: u16,
    #[serde(default)]
    pub(super) day_boundary: DayBoundary,
    #[serde(default)]
    pub(super) moved: Vec<String>,
    #[serde(default)]
    pub(super) fall_backs: Vec<StationId>,
    /// A station whose past years continue this one's.
    pub(super) past_from: Option<StationId>,
    pub(super) latitude: Option<f64>,
    pub(super) longitude: Option<f64>,
    pub(super) height_m: Option<f64>,
    pub(super) ncei: Option<NceiFeed>,
    pub(super) acis: Option<AcisFeed>,
    pub(super) cimis: Option<CimisFeed>,
    pub(super) ghcn: Option<GhcnFeed>,
    pub(super) iem: Option<IemFeed>,
    pub(super) nws: Option<NwsFeed>,
    pub(super) open_meteo: Option<OpenMeteoFeed>,
    pub(super) table: Option<TableFeed>,
    pub(super) forecast: Option<ForecastSource>,
}

const fn history_years() -> u16 {
    30
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ProductPart {
    pub(super) id: ProductId,
    pub(super) part: Part,
    pub(super) life_days: u16,
    pub(super) source: String,
    pub(super) area_cm2: Option<u16>,
}
