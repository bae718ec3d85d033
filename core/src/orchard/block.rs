//! Blocks: crop, regime, what is near, who answers for them.

use std::collections::BTreeSet;
use std::fmt;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::id::{BlockId, GroupId, PersonId, StationId};

/// A nut crop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Crop {
    /// Almond.
    Almond,
    /// Pistachio.
    Pistachio,
    /// Walnut.
    Walnut,
}

/// How a block is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Regime {
    /// No mating disruption.
    Conventional,
    /// Dispensers hide the females from the males: pheromone traps should stay empty.
    MatingDisruption,
}

/// When the dispensers of a disrupted block went on and run out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Dispensers {
    /// The day they went on.
    pub on: Option<NaiveDate>,
    /// The last day they serve.
    pub until: Option<NaiveDate>,
}

/// What lies near a block.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Near {
    /// Blocks under mating disruption within about three miles: catches of males fall far
    /// beyond their edges (sites 0.6 to 2.8 miles away, Burks 2017, J. Econ. Entomol. 110:438-446).
    Disruption,
    /// Pistachios within three miles: their effect reaches so far (Higbee & Siegel 2009, California
    /// Agriculture 63(1):24-28).
    Pistachio,
}

/// A piece of orchard treated as a unit, as in force on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Its id.
    pub id: BlockId,
    /// What people call it.
    pub name: String,
    /// Who owns or runs it.
    pub grower: PersonId,
    /// Who watches it: signs, holds and is telephoned.
    pub adviser: PersonId,
    /// Further advisers who get its digest too.
    pub advised_beside: Vec<PersonId>,
    /// Who walks its traps and gets the day's round.
    pub scouts: Vec<PersonId>,
    /// The crop.
    pub crop: Crop,
    /// Its size in acres, when declared.
    pub acres: Option<f64>,
    /// The regime.
    pub regime: Regime,
    /// When the dispensers go on and run out, where that was declared.
    pub dispensers: Dispensers,
    /// What lies near enough to change what the block's traps mean.
    pub near: BTreeSet<Near>,
    /// The station its temperatures come from.
    pub station: StationId,
    /// Varieties, the early one first.
    pub varieties: Vec<String>,
    /// The egg-trap group whose start it uses: its own, which has the block's id, or a borrowed one.
    pub start_group: GroupId,
    /// The rule for its start; the insect's own when `None`.
    pub start_rule: Option<StartRule>,
}

impl Block {
    /// Whether a person is one of its advisers.
    #[must_use]
    pub fn is_advised_by(&self, person: &PersonId) -> bool {
        self.adviser == *person || self.advised_beside.contains(person)
    }

    /// The id of the block's own egg-trap group.
    #[must_use]
    pub fn own_group(&self) -> GroupId {
        own_group(&self.id)
    }

    /// Whether the start is taken over from another group.
    #[must_use]
    pub fn borrows_start(&self) -> bool {
        self.start_group.as_str() != self.id.as_str()
    }
}

/// The egg-trap group that a block has when nothing else is declared.
#[must_use]
pub fn own_group(block: &BlockId) -> GroupId {
    GroupId::new(block.as_str()).expect("a block id obeys the same rule as a group id")
}

/// A rule for the start.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum StartRule {
    /// At least 75 % of the readable traps show a rise, on two check dates running.
    ShareRising,
    /// Eggs in at least two traps on two check dates running, after two clean checks.
    EggsTwice,
    /// Eggs in at least two traps on two check dates running say that it began, an estimate from all
    /// counts says when.
    Estimate,
}

impl StartRule {
    /// Every rule, the published one first.
    pub const ALL: [Self; 3] = [Self::ShareRising, Self::EggsTwice, Self::Estimate];

    /// The name used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::ShareRising => "share-rising",
            Self::EggsTwice => "eggs-twice",
            Self::Estimate => "estimate",
        }
    }
}

impl fmt::Display for Crop {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Almond => "almond",
            Self::Pistachio => "pistachio",
            Self::Walnut => "walnut",
        })
    }
}

impl fmt::Display for Regime {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Conventional => "conventional",
            Self::MatingDisruption => "mating disruption",
        })
    }
}
