//! What a night's tellings are made from, read once for all of them.

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, NaiveDate, Utc};
use duskflight_core::id::{BlockId, PersonId};
use duskflight_core::ledger::{
    CatchUp, Change, Event, Fact, Moment, Notice, Past, Role, Told, decide, facts,
};
use duskflight_core::orchard::Block;
use duskflight_core::season::BlockSeason;
use rusqlite::Connection;

use super::mails::{Draft, Purpose};
use super::since::since;
use super::{Night, TellError, trouble};
use crate::clock::day_before;
use crate::config::{Config, Pace, Person};
use crate::hash::hash;
use crate::mail::compose::envelope_of;
use crate::mail::message::{ComposeError, Composed, Envelope, Mailbox};
use crate::store::folding::{FoldedMail, silent_from};
use crate::store::jobs::{self, Job};
use crate::store::outbox::{self, NewMail};
use crate::store::{StoreError, told};
use duskflight_core::ledger::{MailIdentity, MailKind};

/// What a night's tellings are made from: the ledger and the outbox grow all season.
pub(super) struct Context<'a> {
    pub(super) connection: &'a Connection,
    pub(super) config: &'a Config,
    pub(super) night: &'a Night,
    pub(super) now: DateTime<Utc>,
    pub(super) purpose: Purpose,
    /// How often people are told at this time of year.
    pub(super) pace: Pace,
    /// Mails that were folded tonight.
    pub(super) folded_tonight: Vec<FoldedMail>,
    /// Lines for every digest.
    pub(super) trouble: Vec<String>,
    /// The ledger before this night, by person.
    told: BTreeMap<PersonId, Vec<Told>>,
    /// The newest civil day before on which people were told.
    told_before: Option<NaiveDate>,
    /// The last civil day before for which a digest was made, whatever became of it.
    last_made: Option<NaiveDate>,
}

/// The newest civil day before another on which people were told: the job is also done on days off the
/// season on which nobody hears anything.
fn told_before(
    connection: &Connection,
    config: &Config,
    day: NaiveDate,
) -> Result<Option<NaiveDate>, StoreError> {
    let mut done = jobs::done_before(connection, Job::Tell, day)?;
    while let Some(day) = done.filter(|day| config.pace_on(*day).is_none()) {
        done = jobs::done_before(connection, Job::Tell, day)?;
    }
    Ok(done)
}

/// The cause of each change, by its block and the key of its event.
#[derive(Debug, Clone, Default)]
pub struct Causes(BTreeMap<(BlockId, String), String>);

impl Causes {
    /// That of a notice, where it is known.
    #[must_use]
    pub fn of(&self, notice: &Notice) -> Option<String> {
        let key = (notice.block.clone(), notice.event.to_string());
        self.0.get(&key).cloned()
    }

    /// Those of several mails.
    pub(super) fn extend(&mut self, others: Self) {
        self.0.extend(others.0);
    }
}

impl<'a> Context<'a> {
    pub(super) fn new(
        connection: &'a Connection,
        config: &'a Config,
        night: &'a Night,
        purpose: Purpose,
        pace: Pace,
        now: DateTime<Utc>,
        folded_tonight: Vec<FoldedMail>,
    ) -> Result<Self, TellError> {
        let told_up_to = match purpose {
            Purpose::Tell => night.as_of,
            Purpose::Preview | Purpose::PreviewLetters => day_before(night.as_of),
        };
        Ok(Self {
            connection,
            config,
            night,
            now,
            purpose,
            pace,
            folded_tonight,
            trouble: [
                trouble::standing(connection, config)?,
                trouble::revised(connection, config, night.as_of, now)?,
            ]
            .concat(),
            told: told::latest(connection, night.as_of.year(), told_up_to)?,
            told_before: told_before(connection, config, night.as_of)?,
            last_made: outbox::newest_day(connection, night.as_of)?,
        })
    }

    /// Whether a mail was made before.
    pub(super) fn is_made(
        &self,
        kind: MailKind,
        person: &Person,
        adviser: Option<&Person>,
    ) -> Result<bool, StoreError> {
        let mail = self.identity(kind, person, adviser);
        Ok(self.purpose == Purpose::Tell && outbox::is_made(self.connection, &mail)?)
    }

    /// What makes a mail of tonight one that is made once; `None` for an adviser where it is about the blocks
    /// of several.
    fn identity(&self, kind: MailKind, person: &Person, adviser: Option<&Person>) -> MailIdentity {
        MailIdentity {
            kind,
            person: person.id.clone(),
            adviser: adviser.map(|adviser| adviser.id.clone()),
            day: self.night.as_of,
            about: String::new(),
        }
    }

    /// The days that an adviser's digest makes up for: those since the last one that was not given up.
    pub(super) fn digest_catch_up(&self, adviser: &Person) -> Result<Option<CatchUp>, StoreError> {
        let day = self.night.as_of;
        let last = outbox::newest_digest(self.connection, &adviser.id, day)?;
        Ok(last.and_then(|last| CatchUp::of(last, self.config.owed_before(day), day)))
    }

    /// The days that nobody was told: the box was off.
    fn silence(&self) -> Option<CatchUp> {
        let day = self.night.as_of;
        CatchUp::of(self.last_made?, self.config.owed_before(day), day)
    }

    /// The days that a person's mail about an adviser's blocks makes up for: nobody was told, or what they
    /// were told was folded.
    pub(super) fn catch_up(
        &self,
        person: &Person,
        adviser: &Person,
    ) -> Result<Option<CatchUp>, StoreError> {
        let day = self.night.as_of;
        let silent_from = match self.folded(person, adviser).next() {
            Some(_) => silent_from(self.connection, &person.id, &adviser.id)?,
            None => None,
        };
        let folded = silent_from.and_then(|from| CatchUp::of(day_before(from), day, day));
        Ok(match self.silence() {
            Some(silence) => Some(silence.or_longer(folded)),
            None => folded,
        })
    }

    /// A person's mails about an adviser's blocks that were folded tonight.
    pub(super) fn folded<'b>(
        &'b self,
        person: &'b Person,
        adviser: &'b Person,
    ) -> impl Iterator<Item = &'b FoldedMail> {
        let folded = self.folded_tonight.iter();
        folded.filter(|mail| mail.person == person.id && mail.advisers.contains(&adviser.id))
    }

    /// What a person was told last of each event.
    pub(super) fn told_to(&self, person: &Person) -> &[Told] {
        self.told.get(&person.id).map_or(&[], Vec::as_slice)
    }

    /// What a person should hear today of some blocks. `hears`: of which events. What they were told of others,
    /// when a rule still named them, is corrected and withdrawn all the same.
    pub(super) fn notices(
        &self,
        person: &Person,
        past: Past,
        seasons: &[&BlockSeason],
        hears: impl Fn(&BlockSeason, &Event) -> bool,
    ) -> Vec<Notice> {
        let only_firm = person.role == Role::Grower;
        let of_season = |season: &&BlockSeason| -> Vec<Fact> {
            let facts = facts(season).into_iter();
            let heard = facts.map(|fact| {
                let hears = hears(season, &fact.event);
                fact.heard(hears, only_firm)
            });
            heard.collect()
        };
        let facts: Vec<Fact> = seasons.iter().flat_map(of_season).collect();
        let moment = Moment {
            today: self.night.as_of,
            told_before: self.told_before,
            past,
        };
        decide(&facts, self.told_to(person), moment)
    }

    /// What an adviser knows of the days before the first telling, by digest. A first digest that is given
    /// up or folded leaves its list owed.
    pub(super) fn past_of_adviser(&self, adviser: &Person) -> Result<Past, StoreError> {
        if self.told_before.is_none() {
            return Ok(Past::Begins);
        }
        let listed = outbox::newest_digest(self.connection, &adviser.id, self.night.as_of)?;
        Ok(listed.map_or(Past::Owed, |_| Past::Listed))
    }

    /// The same of those who are alerted: they get no such list.
    pub(super) const fn past_of_alerted(&self) -> Past {
        match self.told_before {
            None => Past::Begins,
            Some(_) => Past::Unlisted,
        }
    }

    /// Whether a person is told of a block by alerts, or was.
    pub(super) fn is_watched(&self, person: &Person, block: &Block) -> bool {
        let was_told = || {
            self.told_to(person)
                .iter()
                .any(|told| told.block == block.id)
        };
        let named = person.role != Role::Adviser && was_told();
        self.config.hears_of(person, block) || named
    }

    /// What stays to be told to somebody who gets alerts: off the season nothing but what takes back what
    /// they were told, for wrong dates must not stand.
    pub(super) fn alerted_now(&self, notice: &Notice) -> bool {
        let news = matches!(notice.change, Change::New(_) | Change::Nearer { .. });
        self.pace == Pace::Daily || !news
    }

    /// Why told values changed.
    pub(super) fn causes(
        &self,
        seasons: &[&BlockSeason],
        notices: &[Notice],
    ) -> Result<Causes, TellError> {
        let mut causes = BTreeMap::new();
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
        Ok(Causes(causes))
    }

    fn digest_id(&self, adviser: &Person) -> String {
        self.message_id(&self.identity(MailKind::Digest, adviser, Some(adviser)))
    }

    /// A mail's Message-ID, derived from its identity and the sender's domain of today.
    fn message_id(&self, mail: &MailIdentity) -> String {
        let adviser = mail.adviser.as_ref().map_or("", PersonId::as_str);
        let ids = [mail.person.as_str(), adviser, &mail.about].map(str::as_bytes);
        let ids = if mail.about.is_empty() {
            &ids[..2]
        } else {
            &ids
        };
        let domain = self.config.mail_from.domain();
        format!("<{}.{}.{}@{domain}>", mail.kind.name(), mail.day, hash(ids))
    }

    /// Who reads an answer: the adviser to a mail about their blocks, the operator to a digest and to a mail
    /// about the blocks of several.
    fn reply_to<'b>(&'b self, kind: MailKind, adviser: Option<&'b Person>) -> Option<Mailbox<'b>> {
        match (kind, adviser) {
            (MailKind::Alert | MailKind::Letter, Some(adviser)) => Some(Mailbox {
                name: &adviser.name,
                address: &adviser.email,
            }),
            _ => self.config.operator.as_deref().map(|address| Mailbox {
                name: &self.config.mail_from.name,
                address,
            }),
        }
    }

    /// Composes a mail and addresses it. `advisers`: those whose blocks it is about.
    pub(super) fn draft(
        &self,
        kind: MailKind,
        person: &Person,
        advisers: &[&Person],
        compose: impl FnOnce(&Envelope<'_>) -> Result<Composed, ComposeError>,
    ) -> Result<Draft, TellError> {
        let adviser = match (kind, advisers) {
            (MailKind::Summary, _) => None,
            (_, advisers) => advisers.first().copied(),
        };
        let identity = self.identity(kind, person, adviser);
        let message_id = self.message_id(&identity);
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
        let mut waits_for: Vec<String> = match kind {
            MailKind::Digest | MailKind::Test => Vec::new(),
            _ => advisers
                .iter()
                .map(|adviser| self.digest_id(adviser))
                .collect(),
        };
        waits_for.sort();
        waits_for.dedup();
        Ok(Draft {
            mail: NewMail {
                message_id,
                kind,
                person: identity.person,
                adviser: identity.adviser,
                day: identity.day,
                about: identity.about,
                address: person.email.clone(),
                subject: composed.parts.subject.clone(),
                body: Some(composed.bytes),
                queued_at: self.now,
                contents: None,
                waits_for,
                hold_s: u32::from(self.config.hold_hours) * 3600,
            },
            parts: composed.parts,
        })
    }
}
