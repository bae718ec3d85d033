//! The night's plan: who is told what tonight, in which mail. It is decided from plain data alone; contents are
//! made from it, and words come last.

mod before;
mod daily_limit;
mod hearers;
mod letter;
mod pace;
mod release;
mod together;

pub use before::{Folded, Ledger, MadeMails};
pub use hearers::{Hearer, Hearers, Rounds, Rule};
pub use pace::Pace;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, TimeDelta};

use super::decide::decide;
use super::facts::facts;
use super::rank::urgency;
use super::{
    CatchUp, Change, Event, EventKind, Fact, Hears, MailKind, Moment, Notice, Past, Role, Told,
};
use crate::id::PersonId;
use crate::season::BlockSeason;
use hearers::practices;
use together::{Growers, Window};

/// The night that is planned.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tonight {
    /// The civil day of telling.
    pub day: NaiveDate,
    /// How often people are told at this time of year.
    pub pace: Pace,
    /// The newest civil day before on which people were told; `None` before the first.
    pub told_before: Option<NaiveDate>,
    /// The newest civil day before on which people were to be told.
    pub owed_before: NaiveDate,
    /// Mails that one person gets on one day at the most, tests apart.
    pub most_mails: usize,
    /// Blocks of one grower that reach the same thing within so many days share one mail.
    pub share_days: u16,
    /// Whose letters are due.
    pub letters: Letters,
}

/// Whose letters are due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Letters {
    /// Each on its day of the week.
    OnTheirDay,
    /// All, to be looked at.
    All,
}

/// A mail of the night, or what is only recorded.
#[derive(Debug, Clone, PartialEq)]
pub struct MailPlan<'a> {
    /// What it is; `None` where all of it is history that is recorded and stands in no mail.
    pub kind: Option<MailKind>,
    /// The recipient.
    pub person: &'a PersonId,
    /// What it tells, most urgent first; a summary has several.
    pub parts: Vec<Part<'a>>,
    /// Whether it does not leave before somebody has looked at it.
    pub waits_for_release: bool,
}

/// What one person is told of one adviser's blocks.
#[derive(Debug, Clone, PartialEq)]
pub struct Part<'a> {
    /// The adviser.
    pub adviser: &'a PersonId,
    /// The blocks' seasons.
    pub seasons: Vec<&'a BlockSeason>,
    /// What goes into the ledger.
    pub notices: Vec<Notice>,
    /// What the person was told of the blocks before.
    pub told: Vec<&'a Told>,
    /// The days it makes up for, where mails were left out.
    pub catch_up: Option<CatchUp>,
    /// What it is.
    pub tells: Tells,
}

/// Which contents tell a part.
#[derive(Debug, Clone, PartialEq)]
pub enum Tells {
    /// A digest.
    Digest,
    /// Key-date alerts.
    Alert,
    /// A letter about what was told last of each event, tonight's included.
    Letter(Vec<Told>),
    /// The day's round on a route; traps without one have an empty name.
    Round(String),
    /// None: it is history and only recorded.
    Recorded,
}

impl Tells {
    const fn kind(&self) -> Option<MailKind> {
        match self {
            Self::Digest => Some(MailKind::Digest),
            Self::Alert => Some(MailKind::Alert),
            Self::Letter(_) => Some(MailKind::Letter),
            Self::Round(_) => Some(MailKind::Round),
            Self::Recorded => None,
        }
    }
}

impl Part<'_> {
    /// Lower is more urgent; a letter tells no news.
    fn urgency(&self) -> u8 {
        urgency(&self.notices)
    }
}

/// Plans a night: each adviser's digest, and what others hear of their blocks, which the digest lists and
/// which leaves after it. Once the digest of a day is made, all of that waits for the next. Digests come
/// first, then each person's mails, most urgent first, within the daily limit.
#[must_use]
pub fn plan_night<'a>(
    hearers: Hearers<'a>,
    seasons: &'a [BlockSeason],
    ledger: &'a Ledger,
    made: &MadeMails,
    tonight: &Tonight,
) -> Vec<MailPlan<'a>> {
    let planner = Planner {
        hearers,
        ledger,
        made,
        tonight,
    };
    let mut practices = practices(hearers, seasons, ledger);
    let rounds = planner.rounds(seasons);
    let (mut plans, mut parts) = (Vec::new(), BTreeMap::<usize, Vec<Part<'a>>>::new());
    for adviser in hearers.people.iter().filter(|p| p.roles.has(Role::Adviser)) {
        let is_made = made.contains(MailKind::Digest, &adviser.id, Some(&adviser.id), "");
        let Some(practice) = practices.remove(&adviser.id).filter(|_| !is_made) else {
            continue;
        };
        for (at, heard) in practice.heard {
            let told = planner.parts(&hearers.people[at], &adviser.id, heard);
            parts.entry(at).or_default().extend(told);
        }
        plans.push(planner.digest(&adviser.id, practice.seasons));
    }
    for (at, parts) in parts {
        let person = &hearers.people[at].id;
        let digests = plans.iter().filter(|plan| plan.person == person).count();
        plans.extend(daily_limit::limited(person, parts, digests, made, tonight));
    }
    plans.extend(rounds);
    release::mark(&mut plans);
    plans
}

struct Planner<'a, 'b> {
    hearers: Hearers<'a>,
    ledger: &'a Ledger,
    made: &'b MadeMails,
    tonight: &'b Tonight,
}

impl<'a> Planner<'a, '_> {
    fn digest(&self, adviser: &'a PersonId, seasons: Vec<&'a BlockSeason>) -> MailPlan<'a> {
        let told = self.ledger.of(adviser, &seasons);
        let moment = self.moment(self.past_of_adviser(adviser));
        let facts = seasons.iter().flat_map(|season| facts(season));
        let facts: Vec<Fact> = facts.map(|fact| self.in_digest(adviser, fact)).collect();
        let Tonight {
            owed_before, day, ..
        } = *self.tonight;
        let part = Part {
            adviser,
            notices: decide(&facts, told.iter().copied(), moment),
            catch_up: self.made.digest_catch_up(adviser, owed_before, day),
            tells: Tells::Digest,
            seasons,
            told,
        };
        MailPlan {
            kind: Some(MailKind::Digest),
            person: adviser,
            parts: vec![part],
            waits_for_release: false,
        }
    }

    /// An adviser hears of all but what they are asked to decide anyway, and what they entered.
    fn in_digest(&self, adviser: &PersonId, fact: Fact) -> Fact {
        let mut people = self.hearers.people.iter();
        let entered = people.any(|person| {
            person.id == *adviser
                && fact
                    .entered_by
                    .as_ref()
                    .is_some_and(|by| person.entered(by))
        });
        let hears = match fact.event {
            _ if entered => Hears::Nothing,
            Event::StartNotKnown => Hears::Nothing,
            _ => Hears::EachTime,
        };
        fact.heard(hears, false)
    }

    /// The rounds of the day, a mail for each route on which there is work: to whoever walks it, by the adviser whose
    /// blocks are on it. Blocks that nobody may enter stand on it, too.
    fn rounds(&self, seasons: &'a [BlockSeason]) -> Vec<MailPlan<'a>> {
        if self.tonight.pace != Pace::Daily {
            return Vec::new();
        }
        let mut rounds: BTreeMap<(&PersonId, &PersonId, &str), Vec<&BlockSeason>> = BTreeMap::new();
        for season in seasons.iter().filter(|season| is_open(season)) {
            let routes = season.work.routes_due_on(season.as_of);
            for (person, route) in self.walked(season, &routes) {
                let key = (person, &season.block.adviser, route);
                rounds.entry(key).or_default().push(season);
            }
        }
        for season in seasons.iter().filter(|season| !is_open(season)) {
            let readings = season.work.readings.iter();
            let routes = readings.map(|reading| reading.route.as_str()).collect();
            for (person, route) in self.walked(season, &routes) {
                let key = (person, &season.block.adviser, route);
                rounds.entry(key).and_modify(|on_it| on_it.push(season));
            }
        }
        let is_made = |(person, adviser, route): &(&PersonId, &PersonId, &str)| {
            let round = MailKind::Round;
            self.made.contains(round, person, Some(adviser), route)
        };
        let rounds = rounds.into_iter().filter(|(key, _)| !is_made(key));
        let round = |((person, adviser, route), seasons): ((_, _, &str), _)| MailPlan {
            kind: Some(MailKind::Round),
            person,
            parts: vec![Part {
                adviser,
                seasons,
                notices: Vec::new(),
                told: Vec::new(),
                catch_up: None,
                tells: Tells::Round(route.to_owned()),
            }],
            waits_for_release: false,
        };
        rounds.map(round).collect()
    }

    /// Who walks a block, along each of some routes.
    fn walked(
        &self,
        season: &'a BlockSeason,
        routes: &BTreeSet<&'a str>,
    ) -> Vec<(&'a PersonId, &'a str)> {
        let people: Vec<&PersonId> = self.hearers.walk(&season.block).collect();
        let along = |person| routes.iter().map(move |route| (person, *route));
        people.into_iter().flat_map(along).collect()
    }

    /// What a person is told of an adviser's blocks beside the digest: alerts, and a letter on its day. A mail
    /// that left before an older database was put back is not made again; its news waits for tomorrow.
    fn parts(
        &self,
        person: &'a Hearer,
        adviser: &'a PersonId,
        heard: Vec<&'a BlockSeason>,
    ) -> impl Iterator<Item = Part<'a>> {
        let own = heard.iter().copied();
        let own = own
            .filter(|season| person.roles.has(Role::Manager) || season.block.grower == person.id);
        let own: Vec<&BlockSeason> = own.collect();
        let alert = self.alert(person, adviser, heard);
        let letter = self.letter(person, adviser, own, &alert.notices);
        let alert = Some(alert).filter(|part| !part.notices.is_empty());
        let is_made = |part: &Part<'_>| {
            let kind = part.tells.kind();
            kind.is_some_and(|kind| self.made.contains(kind, &person.id, Some(adviser), ""))
        };
        let parts = [alert, letter].into_iter().flatten();
        parts.filter(move |part| !is_made(part))
    }

    fn alert(
        &self,
        person: &'a Hearer,
        adviser: &'a PersonId,
        seasons: Vec<&'a BlockSeason>,
    ) -> Part<'a> {
        let told = self.told(person, &seasons);
        let facts: Vec<Fact> = seasons
            .iter()
            .flat_map(|season| self.heard(person, season))
            .collect();
        let notices = self.together(person, adviser, facts, &told, &seasons);
        let history = |notice: &Notice| matches!(notice.change, Change::History(_));
        let Tonight {
            owed_before, day, ..
        } = *self.tonight;
        Part {
            adviser,
            tells: match notices.iter().all(history) {
                true => Tells::Recorded,
                false => Tells::Alert,
            },
            catch_up: self.made.catch_up(&person.id, adviser, owed_before, day),
            seasons,
            notices,
            told,
        }
    }

    /// What there is to tell tonight: blocks of one grower that reach the same thing within some days share a mail,
    /// and who gathers key dates hears on their day of the week. What takes back a date waits for neither.
    fn together(
        &self,
        person: &Hearer,
        adviser: &PersonId,
        mut facts: Vec<Fact>,
        told: &[&Told],
        seasons: &[&BlockSeason],
    ) -> Vec<Notice> {
        let moment = self.moment(self.past_of_alerted());
        let growers = Growers::of(seasons);
        let window = Window {
            today: self.tonight.day,
            days: TimeDelta::days(i64::from(self.tonight.share_days)),
        };
        let news = decide(&facts, told.iter().copied(), moment);
        window.join(&mut facts, &news, &growers);
        let notices = decide(&facts, told.iter().copied(), moment);
        let gathered = letter::are_gathered(person, adviser, self.made, self.tonight);
        let waits = match person.key_dates {
            None => window.waits(&notices, &facts, &growers),
            Some(_) => vec![!gathered; notices.len()],
        };
        let is_news = |change: &Change| matches!(change, Change::New(_) | Change::Nearer { .. });
        let tonight = notices.into_iter().zip(waits);
        let tonight = tonight.filter(|(notice, waits)| {
            self.tonight.pace.alerts(&notice.change) && !(*waits && is_news(&notice.change))
        });
        // That news waited for that of other blocks is no lateness.
        let told = tonight.map(|(notice, _)| Notice {
            late: None,
            ..notice
        });
        told.collect()
    }

    /// What a person was told before, without what only an adviser may hear: nothing further is
    /// said of it, not even that it changed.
    fn told(&self, person: &Hearer, seasons: &[&BlockSeason]) -> Vec<&'a Told> {
        let mut told = self.ledger.of(&person.id, seasons);
        let kind = |told: &Told| told.event.parse().map(|event: Event| event.kind());
        told.retain(|told| kind(told).map_or(true, |kind| may_hear(person, kind)));
        told
    }

    /// A season's facts as a person hears them. What they were told of others, when a rule still named them, is
    /// corrected and withdrawn all the same.
    fn heard(&self, person: &Hearer, season: &BlockSeason) -> Vec<Fact> {
        let only_firm = !person.roles.has(Role::Adviser) && !person.roles.has(Role::Other);
        let facts = facts(season).into_iter();
        let heard = facts.filter(|fact| may_hear(person, fact.event.kind()));
        let heard = heard.map(|fact| {
            let hears = self.hearers.alerted(person, &season.block, &fact);
            fact.heard(hears, only_firm)
        });
        heard.collect()
    }

    /// A letter, on its day, of a grower's own blocks or, to a manager, of all growers'. `tonight`: what they hear by alert beside it.
    fn letter(
        &self,
        person: &'a Hearer,
        adviser: &'a PersonId,
        seasons: Vec<&'a BlockSeason>,
        tonight: &[Notice],
    ) -> Option<Part<'a>> {
        let due = !seasons.is_empty() && letter::is_due(person, adviser, self.made, self.tonight);
        due.then(|| {
            let before = self.told(person, &seasons);
            Part {
                adviser,
                seasons,
                notices: Vec::new(),
                catch_up: None,
                tells: Tells::Letter(letter::told(&before, tonight, self.tonight.day)),
                told: before,
            }
        })
    }

    const fn moment(&self, past: Past) -> Moment {
        Moment {
            today: self.tonight.day,
            told_before: self.tonight.told_before,
            past,
        }
    }

    /// What an adviser knows of the days before the first telling, by digest. A first digest that is given
    /// up or folded leaves its list owed.
    fn past_of_adviser(&self, adviser: &PersonId) -> Past {
        let listed = self.made.newest_digest.contains_key(adviser);
        match (self.tonight.told_before, listed) {
            (None, _) => Past::Begins,
            (Some(_), true) => Past::Listed,
            (Some(_), false) => Past::Owed,
        }
    }

    /// The same of those who are alerted: they get no such list.
    const fn past_of_alerted(&self) -> Past {
        match self.tonight.told_before {
            None => Past::Begins,
            Some(_) => Past::Unlisted,
        }
    }
}

/// Whether a block may be entered.
const fn is_open(season: &BlockSeason) -> bool {
    season.work.closed_until.is_none()
}

/// Whether a person may hear of a kind of news at all.
fn may_hear(person: &Hearer, kind: EventKind) -> bool {
    person.roles.has(Role::Adviser) || !kind.is_for_advisers_alone()
}

#[cfg(test)]
mod tests;
