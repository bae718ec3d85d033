//! What a night's mails are made from besides their plan, and the contents of each.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};
use duskflight_core::contents::{Chart, Digest, MadeOf, Single, Summary, digest};
use duskflight_core::id::{BlockId, PersonId};
use duskflight_core::ledger::plan::{MailPlan, Pace, Part};
use duskflight_core::ledger::{MailKind, Notice};
use duskflight_core::season::BlockSeason;
use rusqlite::Connection;

use super::causes::{Causes, SinceTold};
use super::charts::Charts;
use super::draft::{Address, Draft};
use super::one_person::Telling;
use super::{Night, TellError, trouble, waiting};
use crate::config::{Config, Person};
use crate::mail::compose::{Extras, GrowerAlert};
use crate::mail::contents::{Asked, Holds};
use crate::mail::mark::MarkKey;
use crate::store::answers;
use crate::store::folding::FoldedMail;

/// A digest told so long after its hour says that it is late.
const LATE_AFTER: TimeDelta = TimeDelta::hours(1);

/// More blocks than this are not drawn at a glance.
const MOST_AT_A_GLANCE: usize = 40;

/// What a night's mails are made from besides their plan.
pub(super) struct Context<'a> {
    connection: &'a Connection,
    pub(super) config: &'a Config,
    pub(super) night: &'a Night,
    pub(super) now: DateTime<Utc>,
    pace: Pace,
    /// Mails that were folded tonight.
    folded: Vec<FoldedMail>,
    /// Lines for every digest.
    trouble: Vec<String>,
    /// What leads every digest's subject.
    in_subject: Option<String>,
    names: BTreeMap<PersonId, String>,
    since: SinceTold<'a>,
    charts: Charts<'a>,
    key: MarkKey,
}

impl<'a> Context<'a> {
    pub(super) fn read(
        connection: &'a Connection,
        config: &'a Config,
        night: &'a Night,
        (pace, now): (Pace, DateTime<Utc>),
        folded: Vec<FoldedMail>,
        plans: &[MailPlan<'a>],
    ) -> Result<Self, TellError> {
        Ok(Self {
            connection,
            config,
            night,
            now,
            pace,
            folded,
            names: config.names(),
            trouble: [
                trouble::standing(connection, config)?,
                trouble::revised(connection, config, night.as_of, now)?,
            ]
            .concat(),
            in_subject: trouble::in_subject(connection, config, night.as_of)?,
            since: SinceTold::read(connection, config, night, plans, now)?,
            charts: Charts::of_mails(connection, config, night, plans)?,
            key: MarkKey::new(answers::mark_key(connection)?),
        })
    }

    /// Everybody's mails from their plans. A digest lists what others hear, so that is made first.
    pub(super) fn tellings(&self, plans: &[MailPlan<'_>]) -> Result<Vec<Telling>, TellError> {
        let is_digest = |plan: &&MailPlan<'_>| plan.kind == Some(MailKind::Digest);
        let (digests, others): (Vec<&MailPlan<'_>>, Vec<_>) = plans.iter().partition(is_digest);
        let others: Vec<Made<'_, '_>> = others.into_iter().map(|plan| self.made(plan)).collect();
        let mut listed = self.listed(&others);
        let mut tellings = Vec::new();
        for plan in digests {
            let growers = listed.remove(plan.person).unwrap_or_default();
            tellings.push(self.digest(plan, growers)?);
        }
        tellings.extend(others.into_iter().map(|made| self.other(made)));
        Ok(tellings)
    }

    /// What tells each part of a mail that is no digest.
    fn made<'b, 'c>(&self, plan: &'b MailPlan<'c>) -> Made<'b, 'c> {
        let causes = self.since.causes(self.config, self.night, plan);
        let why = |notice: &Notice| causes.of(notice);
        let parts = plan.parts.iter().filter_map(|part| {
            let single = Single::of(plan.person, part, &self.made_of(plan.person), why)?;
            Some((part, single))
        });
        Made {
            plan,
            parts: parts.collect(),
            causes,
        }
    }

    fn made_of(&self, reader: &PersonId) -> MadeOf<'_> {
        MadeOf {
            words: self.config.words,
            language: self.person(reader).language,
            day: self.night.as_of,
            orchard: &self.night.orchard,
            stations: &self.night.stations,
            names: &self.names,
        }
    }

    /// What others hear of each adviser's blocks, as the digest lists it.
    fn listed<'b>(&self, others: &[Made<'b, '_>]) -> BTreeMap<&'b PersonId, Vec<GrowerAlert>> {
        let mut listed: BTreeMap<&PersonId, Vec<GrowerAlert>> = BTreeMap::new();
        for made in others {
            let grower = &self.person(made.plan.person).name;
            for (part, single) in &made.parts {
                let Some(headline) = single.in_digest() else {
                    continue;
                };
                let of_adviser = listed.entry(part.adviser).or_default();
                of_adviser.push(GrowerAlert {
                    grower: grower.clone(),
                    headline,
                });
            }
        }
        listed
    }

    fn digest(&self, plan: &MailPlan<'_>, growers: Vec<GrowerAlert>) -> Result<Telling, TellError> {
        let adviser = self.person(plan.person);
        let causes = self.since.causes(self.config, self.night, plan);
        let holds = match &plan.parts[..] {
            [part] => Some({
                let digest = self.digest_of(adviser, part, &causes)?;
                self.with_extras(adviser, part, digest, growers)?
            }),
            _ => None,
        };
        Ok(self.telling(plan, causes, holds))
    }

    /// A digest with what stands beside it.
    fn with_extras(
        &self,
        adviser: &Person,
        part: &Part<'_>,
        digest: Digest,
        growers: Vec<GrowerAlert>,
    ) -> Result<Holds, TellError> {
        let held = waiting::lines(self.connection, self.config, &adviser.id, self.night.as_of)?;
        Ok(Holds::Digest {
            extras: Extras {
                remark: self.late(),
                growers,
                held,
                hold_hours: self.config.hold_hours,
                charts: self.charts_of_digest(part, &digest),
            },
            digest,
        })
    }

    /// The season at a glance, but for the blocks of a quiet morning, then charts of the block in the news. A firm's
    /// blocks are too many for a glance: those that have something to say are drawn.
    fn charts_of_digest(&self, part: &Part<'_>, digest: &Digest) -> Vec<Chart> {
        if digest.quiet.is_some() {
            return Vec::new();
        }
        let said: BTreeSet<&BlockId> = digest.blocks.rows.iter().map(|row| &row.block).collect();
        let fits = part.seasons.len() <= MOST_AT_A_GLANCE;
        let shown = part.seasons.iter().copied();
        let shown = shown.filter(|season| fits || said.contains(&season.block.id));
        let shown: Vec<&BlockSeason> = shown.collect();
        let glance = Charts::glance(self.config, &shown, false);
        glance.into_iter().chain(self.charts.of(part)).collect()
    }

    fn digest_of(
        &self,
        adviser: &Person,
        part: &Part<'_>,
        causes: &Causes,
    ) -> Result<Digest, TellError> {
        let day = self.night.as_of;
        let of_mails = trouble::of_mails(self.connection, self.config, adviser, day)?;
        let folded = trouble::folded(self.config, adviser, &self.folded);
        let seen = (&part.seasons[..], day);
        let splits = trouble::two_splits(self.connection, self.config, seen, self.now)?;
        let known = self.trouble.iter().cloned().chain(splits);
        let trouble = known.chain(folded).chain(of_mails);
        let contents = digest(
            &self.made_of(&adviser.id),
            &part.seasons,
            &part.notices,
            trouble.collect(),
            |notice| causes.of(notice),
        );
        let contents = match &self.in_subject {
            Some(trouble) => contents.led_by(self.config.words, trouble),
            None => contents,
        };
        Ok(Digest {
            weekly: self.pace == Pace::Weekly,
            catch_up: part.catch_up,
            ..contents
        })
    }

    /// That the digest is late.
    fn late(&self) -> Option<String> {
        let due = self.config.digest_instant(self.night.as_of);
        (self.now - due > LATE_AFTER).then(|| {
            let hour = self.config.digest_time.format("%H:%M");
            format!("This digest is late; it was due at {hour}.")
        })
    }

    /// A mail to somebody who hears of an adviser's blocks, or what is only recorded.
    fn other(&self, made: Made<'_, '_>) -> Telling {
        let holds = match made.plan.kind {
            Some(MailKind::Summary) => self.summary(made.parts),
            _ => made.parts.into_iter().next().map(|(part, single)| {
                let adviser = Asked::of(self.person(part.adviser));
                match single {
                    Single::Alert(alert) => Holds::Alert {
                        alert,
                        charts: self.charts.of(part),
                        adviser,
                    },
                    Single::Letter(letter) => Holds::Letter {
                        letter,
                        charts: Charts::glance(self.config, &part.seasons, true)
                            .into_iter()
                            .collect(),
                        adviser,
                    },
                    Single::Round(round) => Holds::Round { round, adviser },
                }
            }),
        };
        self.telling(made.plan, made.causes, holds)
    }

    fn summary(&self, parts: Vec<(&Part<'_>, Single)>) -> Option<Holds> {
        let advisers = parts.iter().map(|(part, _)| part.adviser);
        let advisers = advisers.map(|id| Asked::of(self.person(id))).collect();
        let parts = parts.into_iter();
        let parts = parts.map(|(part, single)| (part.adviser.clone(), single));
        let summary = Summary::of(self.night.as_of, parts.collect())?;
        Some(Holds::Summary { summary, advisers })
    }

    fn telling(&self, plan: &MailPlan<'_>, causes: Causes, holds: Option<Holds>) -> Telling {
        let notices = plan.parts.iter().flat_map(|part| &part.notices);
        Telling {
            person: plan.person.clone(),
            notices: notices.cloned().collect(),
            draft: holds.map(|holds| self.draft(plan, holds)),
            causes,
            waits_for_release: plan.waits_for_release,
        }
    }

    fn draft(&self, plan: &MailPlan<'_>, holds: Holds) -> Draft {
        let advisers = plan.parts.iter().map(|part| self.person(part.adviser));
        let advisers: Vec<&Person> = advisers.collect();
        let address = Address {
            config: self.config,
            key: &self.key,
            day: self.night.as_of,
            now: self.now,
        };
        address.draft(self.person(plan.person), &advisers, holds)
    }

    fn person(&self, id: &PersonId) -> &'a Person {
        let person = self.config.person(id);
        person.expect("the people of a plan are those of the configuration")
    }
}

/// A plan with what tells each of its parts.
struct Made<'b, 'c> {
    plan: &'b MailPlan<'c>,
    parts: Vec<(&'b Part<'c>, Single)>,
    causes: Causes,
}
