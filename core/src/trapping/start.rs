//! The egg-laying start (the biofix) of an egg-trap group.
//!
//! Three rules are always worked out beside each other; the one in force decides.
//! *Share rising* is the published one (UC IPM almond guideline): the first of two consecutive
//! check dates on which at least 75 % of the traps show an increase. *Eggs twice* is common
//! practice, no source: after two clean checks, eggs in two traps on two check dates running.
//! *Estimate* is ours: eggs in two traps on two check dates running say that laying began, whether or not
//! checks were clean before, and the posterior of its day, from all counts, says when.

mod estimate;
mod in_force;
mod kept;
mod laying;
mod logarithm;
mod rules;
mod why;

pub use estimate::{Estimate, Weight};
pub use kept::KeptStart;
pub use why::WhyStart;

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, TimeDelta};

use crate::heat::HeatSeries;
use crate::id::GroupId;
use crate::insect::StartModel;
use crate::orchard::{Block, Orchard, Regime, StartRule, Trap};

use super::{Note, NoteKind, Notes, StartByHand, Visits};
use estimate::HeatOfDays;
use in_force::FROZEN_AFTER;
use rules::GroupChecks;

/// Days to each side of a start within which laying may have begun: set by hand without a range, and
/// borrowed from another group (common practice, no source).
const BY_HAND: TimeDelta = TimeDelta::days(3);
const BORROWED: TimeDelta = TimeDelta::days(5);

/// How well the start is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StartStatus {
    /// Not yet.
    None,
    /// One check date meets the rule; the next one decides.
    Provisional,
    /// The rule in force is met.
    Confirmed,
    /// Set by the adviser.
    ByHand,
    /// Taken over from another group, where it is confirmed or set by hand.
    Borrowed,
    /// The traps cannot show it.
    CannotTell,
    /// Nothing counts from it in this crop.
    NotAsked,
}

impl StartStatus {
    /// The name used in files.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Provisional => "provisional",
            Self::Confirmed => "confirmed",
            Self::ByHand => "by-hand",
            Self::Borrowed => "borrowed",
            Self::CannotTell => "cannot-tell",
            Self::NotAsked => "not-asked",
        }
    }

    /// Whether dates that count from the start may go to a grower.
    #[must_use]
    pub const fn is_firm(self) -> bool {
        matches!(self, Self::Confirmed | Self::ByHand | Self::Borrowed)
    }

    /// Whether growers are shown what counts from it: once it is firm, or where none is asked for.
    #[must_use]
    pub const fn is_shown_to_growers(self) -> bool {
        self.is_firm() || matches!(self, Self::NotAsked)
    }
}

/// The start of egg laying, as known on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct EggLayingStart {
    /// How well it is known.
    pub status: StartStatus,
    /// Its day, where there is one.
    pub date: Option<NaiveDate>,
    /// What it rests on.
    pub evidence: StartEvidence,
}

impl EggLayingStart {
    /// Whether the egg traps may still show it.
    #[must_use]
    pub const fn is_awaited(&self) -> bool {
        matches!(self.status, StartStatus::None | StartStatus::Provisional)
    }

    /// The earliest and the latest day on which laying may have begun; `None` without a start. Dated by the
    /// estimate its range. By another rule from the day after the check before, or the start itself where
    /// there was none, to the start. Set by hand as entered, else three days to each side. Borrowed five days
    /// to each side, and more where
    /// the group that lends it knows it no better.
    #[must_use]
    pub fn may_have_begun(&self) -> Option<[NaiveDate; 2]> {
        let date = self.date?;
        let around = |days| [date - days, date + days];
        let evidence = &self.evidence;
        let after_check = evidence.check_before.and_then(|check| check.succ_opt());
        let by_check = [after_check.map_or(date, |day| day.min(date)), date];
        let by_traps = self.estimated().unwrap_or(by_check);
        Some(match evidence.why {
            WhyStart::ByHand { .. } => evidence.entered_range.unwrap_or(around(BY_HAND)),
            WhyStart::Lent { .. } => {
                let [early, late] = around(BORROWED);
                let [earliest, latest] = evidence.entered_range.unwrap_or(by_traps);
                [early.min(earliest), late.max(latest)]
            }
            _ => by_traps,
        })
    }

    /// Whether the estimate dates it.
    #[must_use]
    pub fn is_estimated(&self) -> bool {
        let by_traps = match &self.evidence.why {
            WhyStart::Lent { why, .. } => why,
            why => why,
        };
        matches!(by_traps, WhyStart::Estimated { .. })
    }

    /// Whether the estimate dates it, and counts of later may still date it otherwise.
    #[must_use]
    pub fn may_still_move(&self, as_of: NaiveDate) -> bool {
        let until = self.evidence.confirmed_on.map(|on| on + FROZEN_AFTER);
        self.is_estimated() && until.is_some_and(|until| as_of <= until)
    }

    /// The range of the estimate, where that dates the start that the traps show.
    fn estimated(&self) -> Option<[NaiveDate; 2]> {
        let estimate = self.evidence.estimate.as_ref();
        let [early, _, late] = estimate.filter(|_| self.is_estimated())?.days?;
        Some([early, late])
    }

    /// Of a block whose crop has no date that counts from it.
    #[must_use]
    pub fn not_asked(block: &Block) -> Self {
        Self {
            status: StartStatus::NotAsked,
            date: None,
            evidence: StartEvidence {
                group: block.start_group.clone(),
                // No rule is at work; the published one stands in its place.
                rule: StartRule::ShareRising,
                results: BTreeMap::new(),
                checks: Vec::new(),
                newest_check: None,
                check_before: None,
                estimate: None,
                confirmed_on: None,
                entered_range: None,
                second_candidate: None,
                may_be_late: false,
                why: WhyStart::NotAsked(block.crop),
            },
        }
    }
}

/// What a start rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct StartEvidence {
    /// The group whose traps decide.
    pub group: GroupId,
    /// The rule in force.
    pub rule: StartRule,
    /// The result of each rule, also of the one not in force.
    pub results: BTreeMap<StartRule, RuleResult>,
    /// The two check dates that decided, by the rule in force.
    pub checks: Vec<CheckEvidence>,
    /// The newest check date, whatever it showed.
    pub newest_check: Option<CheckEvidence>,
    /// The check date before the start: eggs may have been laid since the day after it.
    pub check_before: Option<NaiveDate>,
    /// Our own estimate from all counts, whatever rule is in force: as of the newest check, and from three
    /// weeks after the start was confirmed by it on as of then. `None` without heat since 1 January.
    pub estimate: Option<Estimate>,
    /// The check date on which the rule in force was met, together with the estimate.
    pub confirmed_on: Option<NaiveDate>,
    /// The earliest and the latest day of a start set by hand, where they were entered.
    pub entered_range: Option<[NaiveDate; 2]>,
    /// A later run of checks that may be the true start. A start that is confirmed never moves by
    /// itself; the adviser may set this one by hand.
    pub second_candidate: Option<SecondCandidate>,
    /// Under mating disruption egg catch falls by a third to two thirds, so a start may be late
    /// (IOBC-WPRS Bulletin, 88 orchards, 2019-21).
    pub may_be_late: bool,
    /// Why the status is what it is.
    pub why: WhyStart,
}

/// Two checks running that meet the rule again, after two weeks near zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SecondCandidate {
    /// The first of the two check dates.
    pub date: NaiveDate,
    /// The second.
    pub second: NaiveDate,
    /// The first check of those near zero before it: at most one trap with eggs on each.
    pub quiet_from: NaiveDate,
}

/// What one rule says by itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum RuleResult {
    /// No check date meets it. Names those that a second check took back.
    NotYet {
        /// Check dates that met the rule once.
        withdrawn: Vec<NaiveDate>,
    },
    /// One check date meets it.
    Provisional {
        /// That date.
        date: NaiveDate,
        /// Whether the next check came too late to decide.
        missed_check: bool,
    },
    /// Two running check dates meet it.
    Confirmed {
        /// The first of them: the start.
        date: NaiveDate,
        /// The second.
        second: NaiveDate,
    },
}

/// One check date in numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CheckEvidence {
    /// The day.
    pub date: NaiveDate,
    /// Egg traps hanging.
    pub hung: usize,
    /// Of those, readable and past their baseline.
    pub read: usize,
    /// Of those, read for the first time: a baseline that is not judged.
    pub first_readings: usize,
    /// Of those, showing a rise.
    pub rising: usize,
    /// Of those read, with eggs.
    pub with_eggs: usize,
    /// Eggs on all of them.
    pub eggs: u32,
}

/// What starts are read from besides an orchard.
#[derive(Clone, Copy)]
pub struct StartView<'a> {
    /// How the insect's start is decided.
    pub model: &'a StartModel,
    /// Visits.
    pub visits: &'a Visits,
    /// Field notes.
    pub notes: &'a Notes,
    /// The civil day of telling.
    pub as_of: NaiveDate,
}

/// A group's start, and what its estimate came to where that stands still and was not kept before.
#[derive(Debug, Clone, PartialEq)]
pub struct GroupStart {
    /// The start.
    pub start: EggLayingStart,
    /// What to keep.
    pub to_keep: Option<KeptStart>,
}

/// Decides a group's start of the year from everything known up to `as_of`, by the rule of the block that
/// owns it: a start set by hand first, then its traps, with the heat of that block's station and what was kept of
/// its estimate.
#[must_use]
pub fn start_of_group(
    orchard: &Orchard,
    owner: &Block,
    group: &GroupId,
    (heat, kept): (Option<&HeatSeries>, Option<&KeptStart>),
    view: StartView<'_>,
) -> GroupStart {
    let StartView { model, as_of, .. } = view;
    let of_year = |trap: &&Trap| trap.removed.is_none_or(|day| day.year() >= as_of.year());
    let traps: Vec<&Trap> = orchard.egg_traps(group).filter(of_year).collect();
    let heat = heat.and_then(|series| HeatOfDays::of_year(series, as_of));
    let checks = GroupChecks::new(&traps, view, heat.as_ref(), kept);
    let (mut start, to_keep) = checks.start(group, owner.start_rule.unwrap_or(model.rule));
    start.evidence.may_be_late = owner.regime == Regime::MatingDisruption;
    GroupStart {
        start: start.with_note(view.notes, group.as_str(), as_of),
        to_keep,
    }
}

impl EggLayingStart {
    /// The start of a block from that of the group it uses, its own or a borrowed one.
    #[must_use]
    pub fn in_block(self, block: &Block, notes: &Notes, as_of: NaiveDate) -> Self {
        match block.borrows_start() {
            true => self.lent().with_note(notes, block.id.as_str(), as_of),
            false => self,
        }
    }

    fn with_note(mut self, notes: &Notes, block: &str, as_of: NaiveDate) -> Self {
        if let Some((by_hand, note)) = set_by_hand(notes, block, as_of) {
            self.set_by_hand(by_hand, note);
        }
        self
    }
}

fn set_by_hand<'a>(
    notes: &'a Notes,
    block: &str,
    as_of: NaiveDate,
) -> Option<(StartByHand, &'a Note)> {
    notes
        .of(block)
        .iter()
        .filter(|note| note.is_of_year_to(as_of))
        .filter_map(|note| match note.kind {
            NoteKind::EggLayingStart(start) => {
                let of_year = start.day <= as_of && start.day.year() == as_of.year();
                of_year.then_some((start, note))
            }
            _ => None,
        })
        .max_by_key(|(_, note)| note.date)
}

impl EggLayingStart {
    fn set_by_hand(&mut self, start: StartByHand, note: &Note) {
        self.status = StartStatus::ByHand;
        self.date = Some(start.day);
        self.evidence.check_before = None;
        self.evidence.entered_range = start.within;
        self.evidence.second_candidate = None;
        self.evidence.why = WhyStart::ByHand {
            by: note.by.clone(),
            text: note.text.clone(),
            traps: Box::new(self.evidence.why.clone()),
        };
    }

    fn lent(mut self) -> Self {
        self.evidence.why = WhyStart::Lent {
            group: self.evidence.group.clone(),
            why: Box::new(self.evidence.why),
        };
        if self.status.is_firm() {
            self.status = StartStatus::Borrowed;
        }
        self
    }
}

#[cfg(test)]
mod tests;
