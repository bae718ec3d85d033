//! What each person is told on one civil day, with the mail that tells it.

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, Utc};
use duskflight_core::id::PersonId;
use duskflight_core::notice::{Fact, Notice, Role, alert, decide, digest, facts};
use duskflight_core::season::BlockSeason;
use rusqlite::Connection;

use super::why::why;
use super::{Night, TellError};
use crate::clock::day_before;
use crate::config::{Config, Person};
use crate::mail::compose::{self, Adviser, Extras};
use crate::mail::message::{Composed, Envelope, Mailbox};
use crate::records::hash;
use crate::store::jobs::{self, Job};
use crate::store::outbox::{self, MailKind, NewMail};
use crate::store::{days, told};

/// What one person is told on one day.
#[derive(Debug, Clone)]
pub struct Telling {
    /// The person.
    pub person: PersonId,
    /// What goes into the ledger.
    pub notices: Vec<Notice>,
    /// The mail; `None` where all of it is history that is only recorded.
    pub draft: Option<Draft>,
}

/// A composed mail.
#[derive(Debug, Clone)]
pub struct Draft {
    /// The mail as it goes into the outbox.
    pub mail: NewMail,
    /// Its text part.
    pub text: String,
    /// Its HTML part.
    pub html: String,
}

/// What the mails are prepared for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// To be told: a mail that is in the outbox already is not made again, and what it could have
    /// told waits for the next day.
    Tell,
    /// To be looked at: as if the day had not been told yet.
    Preview,
}

/// Decides what everyone is told and composes the mails. Outside the season nobody is told
/// anything.
///
/// # Errors
/// When the records cannot be read or a mail cannot be composed.
pub fn prepare(
    connection: &Connection,
    config: &Config,
    night: &Night,
    purpose: Purpose,
    now: DateTime<Utc>,
) -> Result<Vec<Telling>, TellError> {
    if !config.in_season(night.as_of) {
        return Ok(Vec::new());
    }
    let desk = Desk {
        connection,
        config,
        night,
        now,
        purpose,
        first_telling: !jobs::done_before(connection, Job::Tell, night.as_of)?,
    };
    let mut tellings = Vec::new();
    for adviser in config.people.iter().filter(|p| p.role == Role::Adviser) {
        tellings.extend(desk.digest(adviser)?);
        for grower in config.people.iter().filter(|p| p.role == Role::Grower) {
            tellings.extend(desk.alert(adviser, grower)?);
        }
    }
    Ok(tellings)
}

struct Desk<'a> {
    connection: &'a Connection,
    config: &'a Config,
    night: &'a Night,
    now: DateTime<Utc>,
    purpose: Purpose,
    first_telling: bool,
}

/// The cause of each change, by the key of its event and the block.
type Causes = BTreeMap<(String, String), String>;

impl Desk<'_> {
    fn digest(&self, adviser: &Person) -> Result<Option<Telling>, TellError> {
        let seasons = self.seasons(|season| season.block.adviser == adviser.id);
        let message_id = self.message_id(MailKind::Digest, adviser, adviser);
        if seasons.is_empty() || self.is_made(&message_id)? {
            return Ok(None);
        }
        let notices = self.notices(adviser, &seasons)?;
        let causes = self.causes(&notices)?;
        let contents = digest(
            self.config.words,
            self.night.as_of,
            &seasons,
            &notices,
            &self.night.stations,
            self.trouble()?,
            |notice| cause(&causes, notice),
        );
        let as_of = self.as_of();
        let envelope = self.envelope(adviser, &message_id, &as_of);
        let composed = compose::digest(&envelope, self.config.words, &contents, Extras::default());
        let composed = composed.map_err(|source| TellError::Compose {
            message_id: message_id.clone(),
            source,
        })?;
        let draft = self.draft(MailKind::Digest, adviser, adviser, message_id, composed);
        Ok(Some(Telling {
            person: adviser.id.clone(),
            notices,
            draft: Some(draft),
        }))
    }

    fn alert(&self, adviser: &Person, grower: &Person) -> Result<Option<Telling>, TellError> {
        let seasons = self.seasons(|season| {
            season.block.adviser == adviser.id && season.block.grower == grower.id
        });
        let message_id = self.message_id(MailKind::Alert, grower, adviser);
        if seasons.is_empty() || self.is_made(&message_id)? {
            return Ok(None);
        }
        let notices = self.notices(grower, &seasons)?;
        if notices.is_empty() {
            return Ok(None);
        }
        let causes = self.causes(&notices)?;
        let contents = alert(
            self.config.words,
            self.night.as_of,
            &seasons,
            &notices,
            |notice| cause(&causes, notice),
        );
        let as_of = self.as_of();
        let draft = contents
            .map(|contents| {
                let envelope = self.envelope(grower, &message_id, &as_of);
                let adviser = Adviser {
                    name: &adviser.name,
                    phone: adviser.phone.as_deref().unwrap_or_default(),
                };
                compose::alert(&envelope, self.config.words, &contents, adviser)
            })
            .transpose()
            .map_err(|source| TellError::Compose {
                message_id: message_id.clone(),
                source,
            })?
            .map(|composed| self.draft(MailKind::Alert, grower, adviser, message_id, composed));
        Ok(Some(Telling {
            person: grower.id.clone(),
            notices,
            draft,
        }))
    }

    fn is_made(&self, message_id: &str) -> Result<bool, TellError> {
        Ok(self.purpose == Purpose::Tell && outbox::contains(self.connection, message_id)?)
    }

    fn seasons(&self, pick: impl Fn(&BlockSeason) -> bool) -> Vec<&BlockSeason> {
        self.night
            .seasons
            .iter()
            .filter(|season| pick(season))
            .collect()
    }

    fn notices(&self, person: &Person, seasons: &[&BlockSeason]) -> Result<Vec<Notice>, TellError> {
        let facts: Vec<Fact> = seasons
            .iter()
            .flat_map(|season| facts(season, self.config.near_days))
            .filter(|fact| fact.event.concerns(person.role))
            .collect();
        let up_to = match self.purpose {
            Purpose::Tell => self.night.as_of,
            Purpose::Preview => day_before(self.night.as_of),
        };
        let told = told::latest(self.connection, self.night.as_of.year(), &person.id, up_to)?;
        Ok(decide(&facts, &told, self.first_telling, self.night.as_of))
    }

    fn causes(&self, notices: &[Notice]) -> Result<Causes, TellError> {
        let mut causes = Causes::new();
        for notice in notices {
            if let Some(cause) = why(self.connection, self.config, self.night, notice)? {
                causes.insert((notice.block.to_string(), notice.event.to_string()), cause);
            }
        }
        Ok(causes)
    }

    /// Trouble that only the records show.
    fn trouble(&self) -> Result<Vec<String>, TellError> {
        let failing = days::failing(self.connection)?;
        let stations = self.config.stations.iter();
        let mut lines: Vec<String> = stations
            .filter_map(|station| {
                let error = failing.get(station.id.as_str())?;
                Some(format!("{}: the last fetch failed: {error}", station.name))
            })
            .collect();
        let standing = outbox::standing(self.connection)?;
        lines.extend(
            standing
                .errors
                .iter()
                .map(|error| format!("mail waits: {error}")),
        );
        Ok(lines)
    }

    fn message_id(&self, kind: MailKind, person: &Person, adviser: &Person) -> String {
        let ids = [person.id.as_str(), adviser.id.as_str()].map(str::as_bytes);
        let address = &self.config.mail_from.address;
        let domain = address
            .rsplit_once('@')
            .map_or("localhost", |(_, domain)| domain);
        let key = hash(&ids);
        format!("<{}.{}.{key}@{domain}>", kind.name(), self.night.as_of)
    }

    /// The moment of telling in words, with its zone.
    fn as_of(&self) -> String {
        let local = self.now.with_timezone(&self.config.zone);
        format!(
            "{}, {}",
            self.config.words.long_day(local.date_naive()),
            local.format("%H:%M %Z")
        )
    }

    fn envelope<'a>(
        &'a self,
        person: &'a Person,
        message_id: &'a str,
        as_of: &'a str,
    ) -> Envelope<'a> {
        Envelope {
            farm: &self.config.farm,
            farm_note: self.config.note.as_deref(),
            from: Mailbox {
                name: &self.config.mail_from.name,
                address: &self.config.mail_from.address,
            },
            to: Mailbox {
                name: &person.name,
                address: &person.email,
            },
            reply_to: None,
            message_id,
            date: self.now.with_timezone(&self.config.zone).fixed_offset(),
            as_of,
        }
    }

    fn draft(
        &self,
        kind: MailKind,
        person: &Person,
        adviser: &Person,
        message_id: String,
        composed: Composed,
    ) -> Draft {
        let digest = self.message_id(MailKind::Digest, adviser, adviser);
        let mail = NewMail {
            message_id,
            kind,
            person: person.id.clone(),
            adviser: adviser.id.clone(),
            day: self.night.as_of,
            address: person.email.clone(),
            subject: composed.subject,
            body: composed.bytes,
            queued_at: self.now,
            waits_for: (kind == MailKind::Alert).then_some(digest),
            hold_s: i64::from(self.config.hold_hours) * 3600,
        };
        Draft {
            mail,
            text: composed.text,
            html: composed.html,
        }
    }
}

fn cause(causes: &Causes, notice: &Notice) -> Option<String> {
    let key = (notice.block.to_string(), notice.event.to_string());
    causes.get(&key).cloned()
}
