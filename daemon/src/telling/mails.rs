//! What each person is told on one civil day, with the mail that tells it.

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, NaiveDate, TimeDelta, Utc};
use duskflight_core::id::{BlockId, PersonId};
use duskflight_core::notice::{
    Alert, Fact, Moment, Notice, Past, Role, Told, alert, decide, digest, facts,
};
use duskflight_core::season::BlockSeason;
use rusqlite::Connection;

use super::since::since;
use super::{Night, TellError, trouble, waiting};
use crate::clock::day_before;
use crate::config::{Config, Person};
use crate::mail::compose::{self, Adviser, Extras, GrowerAlert, envelope_of};
use crate::mail::contents::AlertContents;
use crate::mail::message::{ComposeError, Composed, Envelope, Mailbox, Parts};
use crate::records::hash;
use crate::store::jobs::{self, Job};
use crate::store::outbox::{self, MailKind, NewMail};
use crate::store::{StoreError, told};

/// A digest told so long after its hour says that it is late.
const LATE_AFTER: TimeDelta = TimeDelta::hours(1);

/// What one person is told on one day.
#[derive(Debug, Clone)]
pub struct Telling {
    /// The person.
    pub person: PersonId,
    /// What goes into the ledger.
    pub notices: Vec<Notice>,
    /// Why what was told before changed.
    pub causes: Causes,
    /// The mail; `None` where all of it is history that is only recorded.
    pub draft: Option<Draft>,
}

/// A composed mail.
#[derive(Debug, Clone)]
pub struct Draft {
    /// The mail as it goes into the outbox.
    pub mail: NewMail,
    /// What it shows.
    pub parts: Parts,
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
    let told_up_to = match purpose {
        Purpose::Tell => night.as_of,
        Purpose::Preview => day_before(night.as_of),
    };
    let desk = Desk {
        connection,
        config,
        night,
        now,
        purpose,
        told: told::latest(connection, night.as_of.year(), told_up_to)?,
        last_digest: outbox::newest_day(connection, night.as_of)?,
        told_before: jobs::done_before(connection, Job::Tell, night.as_of)?,
        trouble: [
            trouble::standing(connection, config)?,
            trouble::revised(connection, config, night.as_of, now)?,
        ]
        .concat(),
    };
    let mut tellings = Vec::new();
    for adviser in config.people.iter().filter(|p| p.role == Role::Adviser) {
        tellings.extend(desk.tell(adviser)?);
    }
    Ok(tellings)
}

/// What a night's tellings are made from. What is the same for all of them is read once: the ledger and
/// the outbox grow all season.
struct Desk<'a> {
    connection: &'a Connection,
    config: &'a Config,
    night: &'a Night,
    now: DateTime<Utc>,
    purpose: Purpose,
    /// The ledger before this night, by person.
    told: BTreeMap<PersonId, Vec<Told>>,
    /// The last civil day before for which a digest was made.
    last_digest: Option<NaiveDate>,
    /// The newest civil day before that was told.
    told_before: Option<NaiveDate>,
    /// Lines for every digest.
    trouble: Vec<String>,
}

/// What a grower is told about an adviser's blocks.
struct GrowerNews<'a> {
    grower: &'a Person,
    notices: Vec<Notice>,
    causes: Causes,
    /// `None` where all of it is history.
    alert: Option<Alert>,
}

/// The cause of each change, by its block and the key of its event.
pub type Causes = BTreeMap<(BlockId, String), String>;

impl Desk<'_> {
    /// One adviser's digest, and the alerts of the growers of their blocks, which the digest lists
    /// and which leave after it. Once the digest of a day is made, all of them wait for the next.
    fn tell(&self, adviser: &Person) -> Result<Vec<Telling>, TellError> {
        let of_adviser = |season: &&BlockSeason| season.block.adviser == adviser.id;
        let seasons: Vec<&BlockSeason> = self.night.seasons.iter().filter(of_adviser).collect();
        let message_id = self.message_id(MailKind::Digest, adviser, adviser);
        let made = self.purpose == Purpose::Tell && outbox::contains(self.connection, &message_id)?;
        if seasons.is_empty() || made {
            return Ok(Vec::new());
        }
        let growers = self.config.people.iter().filter(|p| p.role == Role::Grower);
        let news: Vec<GrowerNews<'_>> = growers
            .map(|grower| self.news(&seasons, grower))
            .collect::<Result<_, _>>()?;
        let mut tellings = vec![self.digest(adviser, &seasons, &news)?];
        for news in news.into_iter().filter(|news| !news.notices.is_empty()) {
            tellings.push(self.alert(adviser, news)?);
        }
        Ok(tellings)
    }

    fn digest(
        &self,
        adviser: &Person,
        seasons: &[&BlockSeason],
        news: &[GrowerNews<'_>],
    ) -> Result<Telling, TellError> {
        let notices = self.notices(adviser, seasons)?;
        let causes = self.causes(seasons, &notices)?;
        let (connection, day) = (self.connection, self.night.as_of);
        let of_mails = trouble::of_mails(connection, self.config, adviser, day)?;
        let contents = digest(
            self.config.words,
            self.night.as_of,
            seasons,
            &notices,
            &self.night.stations,
            self.trouble.iter().cloned().chain(of_mails).collect(),
            |notice| cause(&causes, notice),
        );
        let hold = format!("{} h after this digest is sent", self.config.hold_hours);
        let growers: Vec<GrowerAlert<'_>> = news
            .iter()
            .filter_map(|news| {
                let alert = news.alert.as_ref()?;
                Some(GrowerAlert {
                    grower: &news.grower.name,
                    headline: &alert.headline,
                    more: alert.more,
                    not_before: &hold,
                })
            })
            .collect();
        let remark = self.remark();
        let held = waiting::lines(connection, self.config, adviser.id.as_str(), day)?;
        let extras = Extras {
            remark: remark.as_deref(),
            growers: &growers,
            held: &held,
        };
        let draft = self.draft(MailKind::Digest, adviser, adviser, |envelope| {
            compose::digest(envelope, self.config.words, &contents, extras)
        })?;
        Ok(Telling {
            person: adviser.id.clone(),
            notices,
            causes,
            draft: Some(draft),
        })
    }

    fn news<'a>(
        &self,
        of_adviser: &[&BlockSeason],
        grower: &'a Person,
    ) -> Result<GrowerNews<'a>, TellError> {
        let own = |season: &&&BlockSeason| season.block.grower == grower.id;
        let seasons: Vec<&BlockSeason> = of_adviser.iter().filter(own).copied().collect();
        let notices = self.notices(grower, &seasons)?;
        let causes = self.causes(&seasons, &notices)?;
        let (words, day) = (self.config.words, self.night.as_of);
        let alert = alert(words, day, &seasons, &notices, |notice| {
            cause(&causes, notice)
        });
        Ok(GrowerNews {
            grower,
            notices,
            causes,
            alert,
        })
    }

    fn alert(&self, adviser: &Person, news: GrowerNews<'_>) -> Result<Telling, TellError> {
        let ask = Adviser {
            name: &adviser.name,
            phone: adviser.phone.as_deref().unwrap_or_default(),
            adds: &[],
        };
        let compose = |alert: Alert| {
            let mut json = None;
            let draft = self.draft(MailKind::Alert, news.grower, adviser, |envelope| {
                let contents = AlertContents::new(envelope, self.config.words, ask, alert);
                json = Some(contents.to_json());
                contents.compose(envelope.message_id)
            })?;
            let contents = json;
            let mail = NewMail {
                contents,
                ..draft.mail
            };
            Ok::<_, TellError>(Draft { mail, ..draft })
        };
        Ok(Telling {
            person: news.grower.id.clone(),
            draft: news.alert.map(compose).transpose()?,
            notices: news.notices,
            causes: news.causes,
        })
    }

    /// That the digest is late, or covers more than a day.
    fn remark(&self) -> Option<String> {
        let due = self.config.digest_instant(self.night.as_of);
        let late = (self.now - due > LATE_AFTER).then(|| {
            let hour = self.config.digest_time.format("%H:%M");
            format!("This digest is late; it was due at {hour}.")
        });
        let before = day_before(self.night.as_of);
        let gap = self
            .last_digest
            .filter(|last| *last < before && last.year() == before.year());
        let covers = gap.map(|last| {
            let last = self.config.words.day(last);
            format!("The last one was of {last}; this one covers all days since.")
        });
        let remarks: Vec<String> = late.into_iter().chain(covers).collect();
        (!remarks.is_empty()).then(|| remarks.join(" "))
    }

    fn notices(
        &self,
        person: &Person,
        seasons: &[&BlockSeason],
    ) -> Result<Vec<Notice>, StoreError> {
        let heard = |fact: Fact| {
            let hears = fact.event.concerns(person.role);
            fact.heard(hears, person.role == Role::Grower)
        };
        let facts: Vec<Fact> = seasons
            .iter()
            .flat_map(|season| facts(season))
            .map(heard)
            .collect();
        let told = self.told.get(&person.id).map_or(&[][..], Vec::as_slice);
        let moment = Moment {
            today: self.night.as_of,
            told_before: self.told_before,
            past: self.past(person)?,
        };
        Ok(decide(&facts, told, moment))
    }

    /// What a person knows of the days before the first telling: an adviser by digest, growers are not
    /// alerted to it. A first digest that is given up or folded leaves its list owed.
    fn past(&self, person: &Person) -> Result<Past, StoreError> {
        Ok(match (self.told_before, person.role) {
            (None, _) => Past::Begins,
            (Some(_), Role::Grower) => Past::Unlisted,
            (Some(_), Role::Adviser) => {
                match outbox::has_digest(self.connection, &person.id, self.night.as_of)? {
                    true => Past::Listed,
                    false => Past::Owed,
                }
            }
        })
    }

    fn causes(&self, seasons: &[&BlockSeason], notices: &[Notice]) -> Result<Causes, TellError> {
        let mut causes = Causes::new();
        for notice in notices {
            let Some(told_on) = notice.change.told_on() else {
                continue;
            };
            let about = |season: &&&BlockSeason| {
                season.block.id == notice.block && season.insect == notice.insect
            };
            let Some(season) = seasons.iter().find(about) else {
                continue;
            };
            let station = &season.block.station;
            let since = since(self.connection, self.config, station, told_on, self.now)?;
            let why = self
                .config
                .words
                .why(&self.night.orchard, season, notice, &since);
            let key = (notice.block.clone(), notice.event.to_string());
            causes.extend(why.map(|why| (key, why)));
        }
        Ok(causes)
    }

    fn message_id(&self, kind: MailKind, person: &Person, adviser: &Person) -> String {
        let ids = [person.id.as_str(), adviser.id.as_str()].map(str::as_bytes);
        let domain = self.config.mail_from.domain();
        let key = hash(&ids);
        format!("<{}.{}.{key}@{domain}>", kind.name(), self.night.as_of)
    }

    /// Who reads an answer: the adviser to a grower's, the operator to the adviser's.
    fn reply_to<'a>(&'a self, kind: MailKind, adviser: &'a Person) -> Option<Mailbox<'a>> {
        match kind {
            MailKind::Alert => Some(Mailbox {
                name: &adviser.name,
                address: &adviser.email,
            }),
            MailKind::Digest | MailKind::Letter | MailKind::Summary | MailKind::Test => {
                self.config.operator.as_deref().map(|address| Mailbox {
                    name: &self.config.mail_from.name,
                    address,
                })
            }
        }
    }

    /// Composes a mail and addresses it.
    fn draft(
        &self,
        kind: MailKind,
        person: &Person,
        adviser: &Person,
        compose: impl FnOnce(&Envelope<'_>) -> Result<Composed, ComposeError>,
    ) -> Result<Draft, TellError> {
        let message_id = self.message_id(kind, person, adviser);
        let as_of = self.config.moment_words(self.now);
        let envelope = envelope_of(self.config, person, &message_id, self.now, &as_of);
        let composed = compose(&Envelope {
            reply_to: self.reply_to(kind, adviser),
            ..envelope
        });
        let composed = composed.map_err(|source| TellError::Compose {
            message_id: message_id.clone(),
            source,
        })?;
        let digest = self.message_id(MailKind::Digest, adviser, adviser);
        Ok(Draft {
            mail: NewMail {
                message_id,
                kind,
                person: person.id.clone(),
                adviser: adviser.id.clone(),
                day: self.night.as_of,
                address: person.email.clone(),
                subject: composed.parts.subject.clone(),
                body: composed.bytes,
                queued_at: self.now,
                contents: None,
                waits_for: match kind {
                    MailKind::Alert => vec![digest],
                    _ => Vec::new(),
                },
                hold_s: i64::from(self.config.hold_hours) * 3600,
            },
            parts: composed.parts,
        })
    }
}

fn cause(causes: &Causes, notice: &Notice) -> Option<String> {
    let key = (notice.block.clone(), notice.event.to_string());
    causes.get(&key).cloned()
}
