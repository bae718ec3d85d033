//! One look at the page: who looks, at which view, at which blocks.

use std::collections::BTreeSet;
use std::sync::Arc;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use chrono::NaiveDate;
use duskflight_core::id::{BlockId, PersonId, StationId};
use duskflight_core::ledger::Role;
use duskflight_core::orchard::Block;
use duskflight_core::season::BlockSeason;
use duskflight_core::trapping::StartStatus;

use super::heard::{heard_up_to, unheard};
use super::page_error::PageError;
use super::site::Site;
use super::view::FarmView;
use super::visitor::{Looks, Visitor};
use crate::config::Person;

/// Somebody who looks.
#[derive(Debug)]
pub(super) struct Guest {
    /// What they look at.
    pub(super) view: Arc<FarmView>,
    visitor: Visitor,
}

/// Somebody who works with the newest view: reads traps, and is shown no dates.
#[derive(Debug)]
pub(super) struct AtWork(pub(super) Guest);

impl FromRequestParts<Arc<Site>> for AtWork {
    type Rejection = PageError;

    /// Refuses when nothing is published, or they are declared no more.
    async fn from_request_parts(parts: &mut Parts, site: &Arc<Site>) -> Result<Self, PageError> {
        let visitor = parts.extensions.get::<Visitor>();
        let visitor = visitor.cloned().ok_or(PageError::NotThere)?;
        let view = site.published.borrow().clone().ok_or(PageError::Closed)?;
        visitor.looks(&view.config).ok_or(PageError::NotThere)?;
        Ok(Self(Guest { view, visitor }))
    }
}

/// Somebody who looks at the newest view; growers at what they have been told or may be by now.
impl FromRequestParts<Arc<Site>> for Guest {
    type Rejection = PageError;

    /// Refuses as [`AtWork`] does, or when the records cannot be read.
    async fn from_request_parts(parts: &mut Parts, site: &Arc<Site>) -> Result<Self, PageError> {
        let AtWork(mut guest) = AtWork::from_request_parts(parts, site).await?;
        let Some(person) = guest.hears_later() else {
            return Ok(guest);
        };
        let day = heard_up_to(&guest.view, person, site.clock.now()).await?;
        let has_heard_all = day == guest.view.day() && guest.unheard(&guest.view).await?.is_empty();
        if !has_heard_all {
            let blocks = guest.seasons().into_iter();
            let blocks = blocks.map(|season| season.block.id.clone()).collect();
            guest.view = guest.on(blocks, day).await?;
        }
        Ok(guest)
    }
}

impl Guest {
    /// Who they are, where they hear of a block of theirs only after its adviser has: who has no part in the work there.
    fn hears_later(&self) -> Option<&Person> {
        let looks = self.looks();
        let mut seasons = self.seasons().into_iter();
        let Looks::As(person) = looks else {
            return None;
        };
        seasons
            .any(|season| !looks.advises_or_minds(&season.block))
            .then_some(person)
    }

    /// Some blocks on another day, without what growers have not been told.
    async fn on(
        &self,
        blocks: BTreeSet<BlockId>,
        day: NaiveDate,
    ) -> Result<Arc<FarmView>, PageError> {
        let mut view = self.view.on(blocks, day).await?;
        for place in self.unheard(&view).await? {
            view.night.seasons[place].start.status = StartStatus::Provisional;
        }
        Ok(Arc::new(view))
    }

    /// Which seasons of a view have a start that they have not been told.
    async fn unheard(&self, view: &FarmView) -> Result<Vec<usize>, PageError> {
        let looks = self.looks();
        let Looks::As(person) = looks else {
            return Ok(Vec::new());
        };
        let is_theirs = |season: &BlockSeason| {
            looks.sees(&season.block) && !looks.advises_or_minds(&season.block)
        };
        unheard(view, &person.id, is_theirs).await
    }

    /// As whom they look.
    pub(super) fn looks(&self) -> Looks<'_> {
        // It was looked for in the same configuration before.
        self.visitor
            .looks(&self.view.config)
            .unwrap_or(Looks::Nobody)
    }

    /// Who signed in; nobody where nobody has to.
    pub(super) fn person(&self) -> Option<PersonId> {
        match self.looks() {
            Looks::As(person) => Some(person.id.clone()),
            Looks::AtAll | Looks::Nobody => None,
        }
    }

    /// The seasons of their blocks.
    pub(super) fn seasons(&self) -> Vec<&BlockSeason> {
        let looks = self.looks();
        let all = self.view.night.seasons.iter();
        all.filter(|season| looks.sees(&season.block)).collect()
    }

    /// The seasons of one block, on another day where one is asked for that is not later than theirs.
    ///
    /// # Errors
    /// There is no such block, or it is none of theirs.
    pub(super) async fn block(
        &self,
        id: &BlockId,
        as_of: Option<NaiveDate>,
    ) -> Result<Arc<FarmView>, PageError> {
        let declared = self.view.seasons_of(id).next().ok_or(PageError::NotThere)?;
        if !self.looks().sees(&declared.block) {
            return Err(PageError::NotThere);
        }
        let Some(day) = as_of.filter(|day| *day != self.view.day()) else {
            return Ok(Arc::clone(&self.view));
        };
        if day > self.view.day() {
            let last = self.view.config.words.long_day(self.view.day());
            return Err(PageError::Asked(format!(
                "{day} has not come yet: the newest day is {last}."
            )));
        }
        let view = self.on(BTreeSet::from([id.clone()]), day).await?;
        let is_theirs = view
            .seasons_of(id)
            .next()
            .is_some_and(|season| self.looks().sees(&season.block));
        match is_theirs {
            true => Ok(view),
            false => Err(PageError::Asked(format!(
                "The block was not declared on {day}, or not as one of yours."
            ))),
        }
    }

    /// Whether somebody has to do with a block of theirs.
    pub(super) fn knows(&self, person: &Person) -> bool {
        let (own, config) = (self.seasons(), &self.view.config);
        let mut rules = config.rules.iter().filter(|rule| rule.names(&person.id));
        let is_of =
            |block: &Block| Looks::As(person).sees(block) && !person.roles.has(Role::Manager);
        self.sees_all()
            || self.person().as_ref() == Some(&person.id)
            || own.iter().any(|season| is_of(&season.block))
            || rules.any(|rule| own.iter().any(|season| rule.is_about(&season.block)))
    }

    /// Whether no block of the farm is hidden from them.
    pub(super) fn sees_all(&self) -> bool {
        let mut blocks = self.view.night.orchard.blocks().iter();
        let looks = self.looks();
        blocks.all(|block| looks.sees(block))
    }

    /// Whether a station serves a block of theirs, or they mind the work.
    pub(super) fn sees_station(&self, id: &StationId) -> bool {
        let mut seasons = self.seasons().into_iter();
        self.looks().minds_the_work() || seasons.any(|season| season.block.station == *id)
    }
}
