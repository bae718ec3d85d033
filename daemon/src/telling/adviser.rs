//! One adviser's digest, and what others hear of the blocks in it.

use chrono::TimeDelta;
use duskflight_core::contents::chart::Wanted;
use duskflight_core::contents::{Alert, Chart, Letter, alert, digest, key_dates, letter, urgency};
use duskflight_core::ledger::{Event, Notice, Role, Told};
use duskflight_core::season::BlockSeason;

use super::charts::charts;
use super::context::{Causes, Context};
use super::mails::Telling;
use super::{TellError, letters, trouble, waiting};
use crate::config::{Pace, Person};
use crate::mail::compose::{self, Extras, GrowerAlert};
use crate::store::StoreError;
use duskflight_core::ledger::MailKind;

/// A digest told so long after its hour says that it is late.
const LATE_AFTER: TimeDelta = TimeDelta::hours(1);

/// What a person is told of one adviser's blocks, before it is settled in which mail.
pub(super) struct Plan<'a> {
    pub(super) person: &'a Person,
    pub(super) adviser: &'a Person,
    pub(super) notices: Vec<Notice>,
    pub(super) causes: Causes,
    /// Lower is more urgent.
    pub(super) urgency: u8,
    /// `None` where all of it is history that is only recorded.
    pub(super) contents: Option<Contents>,
}

/// What a mail to somebody who gets no digest holds.
pub(super) enum Contents {
    Alert(Alert, Vec<Chart>),
    Letter(Letter),
}

impl Contents {
    pub(super) const fn kind(&self) -> MailKind {
        match self {
            Self::Alert(..) => MailKind::Alert,
            Self::Letter(_) => MailKind::Letter,
        }
    }

    /// In one line, and how much more there is.
    fn headline(&self) -> (String, usize) {
        match self {
            Self::Alert(alert, _) => (alert.headline.clone(), alert.more),
            Self::Letter(_) => ("the weekly letter".to_owned(), 0),
        }
    }
}

impl<'a> Context<'a> {
    /// An adviser's digest, and what others hear of their blocks, which the digest lists and which leaves
    /// after it. Once the digest of a day is made, all of it waits for the next.
    pub(super) fn of_adviser(
        &self,
        adviser: &'a Person,
    ) -> Result<Option<(Telling, Vec<Plan<'a>>)>, TellError> {
        let of_adviser = |season: &&BlockSeason| season.block.adviser == adviser.id;
        let seasons: Vec<&BlockSeason> = self.night.seasons.iter().filter(of_adviser).collect();
        if seasons.is_empty() || self.is_made(MailKind::Digest, adviser, Some(adviser))? {
            return Ok(None);
        }
        let mut plans = Vec::new();
        for person in &self.config.people {
            let alert = self.alert_plan(person, adviser, &seasons)?;
            let letter = self.letter_plan(person, adviser, &seasons, &alert.notices)?;
            plans.extend(Some(alert).filter(|plan| !plan.notices.is_empty()));
            plans.extend(letter);
        }
        self.leave_out_made(&mut plans)?;
        let digest = self.digest(adviser, &seasons, &plans)?;
        Ok(Some((digest, plans)))
    }

    /// A mail that left before an older database was restored is not made again; its news waits for
    /// tomorrow.
    fn leave_out_made(&self, plans: &mut Vec<Plan<'_>>) -> Result<(), StoreError> {
        let mut kept = Vec::new();
        for plan in plans.drain(..) {
            let kind = plan.contents.as_ref().map(Contents::kind);
            let made = match kind {
                Some(kind) => self.is_made(kind, plan.person, Some(plan.adviser))?,
                None => false,
            };
            kept.extend((!made).then_some(plan));
        }
        *plans = kept;
        Ok(())
    }

    fn digest(
        &self,
        adviser: &Person,
        seasons: &[&BlockSeason],
        plans: &[Plan<'_>],
    ) -> Result<Telling, TellError> {
        let past = self.past_of_adviser(adviser)?;
        let notices = self.notices(adviser, past, seasons, |_, _| true);
        let causes = self.causes(seasons, &notices)?;
        let day = self.night.as_of;
        let of_mails = trouble::of_mails(self.connection, self.config, adviser, day)?;
        let folded = trouble::folded(self.config, adviser, &self.folded_tonight);
        let trouble = self.trouble.iter().cloned().chain(folded).chain(of_mails);
        let mut contents = digest(
            self.config.words,
            day,
            seasons,
            &notices,
            &self.night.stations,
            trouble.collect(),
            |notice| causes.of(notice),
        );
        contents.weekly = self.pace == Pace::Weekly;
        contents.catch_up = self.digest_catch_up(adviser)?;
        let hold = format!("{} h after this digest is sent", self.config.hold_hours);
        let headlines: Vec<(&Person, (String, usize))> = plans
            .iter()
            .filter_map(|plan| Some((plan.person, plan.contents.as_ref()?.headline())))
            .collect();
        let growers: Vec<GrowerAlert<'_>> = headlines
            .iter()
            .map(|(person, (headline, more))| GrowerAlert {
                grower: &person.name,
                headline,
                more: *more,
                not_before: &hold,
            })
            .collect();
        let charts = self.charts(seasons, &notices)?;
        let remark = self.late();
        let held = waiting::lines(self.connection, self.config, &adviser.id, day)?;
        let extras = Extras {
            remark: remark.as_deref(),
            growers: &growers,
            held: &held,
            charts: &charts,
        };
        let draft = self.draft(MailKind::Digest, adviser, &[adviser], |envelope| {
            compose::digest(envelope, self.config.words, &contents, extras)
        })?;
        Ok(Telling {
            person: adviser.id.clone(),
            notices,
            causes,
            draft: Some(draft),
        })
    }

    /// Charts of the blocks that a person has the most important news of.
    fn charts(
        &self,
        seasons: &[&BlockSeason],
        notices: &[Notice],
    ) -> Result<Vec<Chart>, StoreError> {
        let wanted = Wanted::by(seasons, notices);
        charts(self.connection, self.config, self.night, wanted)
    }

    /// That the digest is late.
    fn late(&self) -> Option<String> {
        let due = self.config.digest_instant(self.night.as_of);
        (self.now - due > LATE_AFTER).then(|| {
            let hour = self.config.digest_time.format("%H:%M");
            format!("This digest is late; it was due at {hour}.")
        })
    }

    fn alert_plan(
        &self,
        person: &'a Person,
        adviser: &'a Person,
        of_adviser: &[&BlockSeason],
    ) -> Result<Plan<'a>, TellError> {
        let heard = |season: &&&BlockSeason| self.is_watched(person, &season.block);
        let seasons: Vec<&BlockSeason> = of_adviser.iter().filter(heard).copied().collect();
        let alerted = |season: &BlockSeason, event: &Event| {
            self.config.is_alerted(person, &season.block, event)
        };
        let past = self.past_of_alerted();
        let mut notices = self.notices(person, past, &seasons, alerted);
        notices.retain(|notice| self.alerted_now(notice));
        let causes = self.causes(&seasons, &notices)?;
        let (words, day) = (self.config.words, self.night.as_of);
        let calendar = key_dates(words, &person.id, &seasons, &notices, self.told_to(person));
        let alert = alert(words, day, &seasons, &notices, calendar, |notice| {
            causes.of(notice)
        });
        let catch_up = self.catch_up(person, adviser)?;
        let charts = self.charts(&seasons, &notices)?;
        Ok(Plan {
            person,
            adviser,
            urgency: urgency(&notices),
            contents: alert.map(|alert| Contents::Alert(Alert { catch_up, ..alert }, charts)),
            notices,
            causes,
        })
    }

    /// A grower's letter, on its day. `tonight`: what they hear by alert beside it.
    fn letter_plan(
        &self,
        person: &'a Person,
        adviser: &'a Person,
        of_adviser: &[&BlockSeason],
        tonight: &[Notice],
    ) -> Result<Option<Plan<'a>>, TellError> {
        let own = |season: &&&BlockSeason| season.block.grower == person.id;
        let seasons: Vec<&BlockSeason> = of_adviser.iter().filter(own).copied().collect();
        let grower = person.role == Role::Grower;
        if seasons.is_empty() || !grower || !letters::is_due(self, person, adviser)? {
            return Ok(None);
        }
        let told: Vec<Told> = letters::told(self.told_to(person), tonight, self.night.as_of);
        let (words, day) = (self.config.words, self.night.as_of);
        let letter = letter(words, day, &seasons, &self.night.stations, &told);
        Ok(letter.map(|letter| Plan {
            person,
            adviser,
            notices: Vec::new(),
            causes: Causes::default(),
            urgency: u8::MAX,
            contents: Some(Contents::Letter(letter)),
        }))
    }
}
