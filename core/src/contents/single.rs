//! The contents of a mail that tells one person of one adviser's blocks, made from the night's plan.

use std::collections::BTreeMap;

use chrono::NaiveDate;

use super::alert::{Alert, alert};
use super::key_date::key_dates;
use super::letter::{Letter, letter};
use super::round_mail::{RoundMail, round_mail};
use crate::id::PersonId;
use crate::ledger::plan::{Part, Tells};
use crate::ledger::{CatchUp, Notice};
use crate::orchard::Orchard;
use crate::wording::language::{Language, Speech};
use crate::wording::stations::StationView;
use crate::wording::words::Words;

/// A mail about one adviser's blocks; a summary stands for several.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Single {
    /// Key-date alerts.
    Alert(Alert),
    /// A weekly letter.
    Letter(Letter),
    /// A round on one route.
    Round(RoundMail),
}

/// What mails are made from besides their plan.
#[derive(Clone, Copy)]
pub struct MadeOf<'a> {
    /// How days are printed.
    pub words: Words,
    /// The reader's language, for what there is in several.
    pub language: Language,
    /// The civil day.
    pub day: NaiveDate,
    /// The traps of the blocks.
    pub orchard: &'a Orchard,
    /// What is said of stations.
    pub stations: &'a [StationView],
    /// People's names.
    pub names: &'a BTreeMap<PersonId, String>,
}

impl Single {
    /// What tells a part of a plan; `None` for what is only recorded, and for a digest. `why` gives the cause
    /// of a change.
    #[must_use]
    pub fn of(
        person: &PersonId,
        part: &Part<'_>,
        of: &MadeOf<'_>,
        why: impl Fn(&Notice) -> Option<String>,
    ) -> Option<Self> {
        let (words, day) = (of.words, of.day);
        let (seasons, notices) = (&part.seasons, &part.notices);
        match &part.tells {
            Tells::Digest | Tells::Recorded => None,
            Tells::Letter(told) => {
                let seen = (&seasons[..], of.stations);
                letter(words, day, seen, told, of.names).map(Self::Letter)
            }
            Tells::Round(route) => {
                let speech = Speech::of(of.language, words);
                round_mail(speech, of.orchard, seasons, route).map(Self::Round)
            }
            Tells::Alert => {
                let told = part.told.iter().copied();
                let calendar = key_dates(words, person, seasons, notices, told);
                let seen = (&seasons[..], of.stations);
                let alert = alert(words, day, seen, notices, calendar, why)?;
                let catch_up = part.catch_up;
                Some(Self::Alert(Alert { catch_up, ..alert }))
            }
        }
    }

    /// Its one most important line.
    pub(super) fn headline(&self) -> &str {
        match self {
            Self::Alert(alert) => &alert.headline,
            Self::Letter(letter) => &letter.headline,
            Self::Round(round) => &round.headline,
        }
    }

    /// How the adviser's digest names it; `None` for what tells nothing that a grower hears.
    #[must_use]
    pub fn in_digest(&self) -> Option<String> {
        match self {
            Self::Alert(alert) => Some(alert.headline.clone()),
            Self::Letter(_) => Some("the weekly letter".to_owned()),
            Self::Round(_) => None,
        }
    }

    pub(super) const fn catch_up(&self) -> Option<CatchUp> {
        match self {
            Self::Alert(alert) => alert.catch_up,
            Self::Letter(_) | Self::Round(_) => None,
        }
    }
}
