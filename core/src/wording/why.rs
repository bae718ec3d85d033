//! Why something is not told, or told no more: the words for each cause.

use chrono::{NaiveDate, TimeDelta};

use crate::id::TrapId;
use crate::ledger::WhyGone;
use crate::season::{WhyNoChance, WhyNot, WhyNotByHeat};
use crate::trapping::{Counted, SoFar, WhyNoDay, WhyNoFlights, WhyStart};

use super::words::Words;

impl Words {
    /// Why a start's status is what it is. What somebody typed stands as they typed it.
    #[must_use]
    pub fn why_start(self, why: &WhyStart) -> String {
        match why {
            WhyStart::NotAsked(crop) => {
                format!("no date in {crop} counts from an egg-laying start")
            }
            WhyStart::NoTraps => {
                "no egg traps hang; set the start by hand or borrow one".to_owned()
            }
            WhyStart::EggsOnBaseline { eggs, traps, of } => format!(
                "{eggs} {} on {traps} of {of} traps at their first reading: hung after egg laying had begun",
                Counted::Eggs.words(*eggs)
            ),
            WhyStart::TooFewTraps => {
                "too few traps: fewer than three egg traps hang; set the start by hand".to_owned()
            }
            WhyStart::NoneMet { checks, judged } => {
                format!("no check of {checks} met the rule; {judged} could be judged")
            }
            WhyStart::TakenBack(check) => format!(
                "{} met the rule once; the next check took it back",
                self.day(*check)
            ),
            WhyStart::OneCheck => "one check met the rule; the next one decides".to_owned(),
            WhyStart::MissedCheck => {
                "missed check: the next reading came more than 8 days later".to_owned()
            }
            WhyStart::TwoChecks { first, second } => format!(
                "two checks running met the rule, {} and {}",
                self.day(*first),
                self.day(*second)
            ),
            WhyStart::Estimated { checks, on } => match checks {
                Some(checks) => format!(
                    "{} say that it began; the estimate from all counts says when",
                    self.with_eggs_twice(*checks)
                ),
                None => format!(
                    "by the estimate from all counts alone, since the check of {}",
                    self.day(*on)
                ),
            },
            WhyStart::Doubted {
                checks,
                in_a_hundred,
                days,
            } => self.doubted(*checks, *in_a_hundred, *days),
            WhyStart::NotDated { checks, known_to } => {
                let known = known_to.map_or_else(
                    || "heat since the first of January is not known".to_owned(),
                    |day| {
                        format!(
                            "temperatures are known to {}",
                            self.day(day - TimeDelta::days(1))
                        )
                    },
                );
                format!(
                    "{} met the rule, and nothing to date the start by yet: {known}",
                    self.two_checks(*checks)
                )
            }
            WhyStart::FirstBroodOver(day) => format!(
                "none seen before {}, and from then on eggs are likelier the second generation's: laying \
                 began unseen; set the start by hand or borrow one",
                self.day(*day)
            ),
            WhyStart::ByHand { by, text, traps } => {
                let text = match text.is_empty() {
                    true => "no reason given",
                    false => text,
                };
                let traps = self.why_start(traps);
                format!("set by {by}: {text}; the traps say: {traps}")
            }
            WhyStart::Lent { group, why } => {
                format!("from the egg traps of {group}: {}", self.why_start(why))
            }
        }
    }

    fn two_checks(self, [first, second]: [NaiveDate; 2]) -> String {
        format!("the checks of {} and {}", self.day(first), self.day(second))
    }

    fn with_eggs_twice(self, checks: [NaiveDate; 2]) -> String {
        format!("eggs on two traps at {}", self.two_checks(checks))
    }

    /// Where a rule's run of checks and the estimate do not agree.
    fn doubted(
        self,
        checks: [NaiveDate; 2],
        in_a_hundred: u8,
        days: Option<[NaiveDate; 3]>,
    ) -> String {
        let dates = match days {
            Some([early, _, late]) => format!(", and dates it {}", self.stretch(early, late)),
            None => String::new(),
        };
        format!(
            "{} met the rule, but the estimate from all counts gives {in_a_hundred} in 100 that laying has \
             begun{dates}: look, and settle it by hand or let the next checks decide",
            self.two_checks(checks)
        )
    }

    /// Why there is nothing to read flights from.
    #[must_use]
    pub fn why_no_flights(self, why: WhyNoFlights) -> String {
        match why {
            WhyNoFlights::NoTraps => "no moth traps hang".to_owned(),
            WhyNoFlights::NotRead(kind) => format!("{} traps not read yet", kind.name()),
        }
    }

    /// Why a start or an end of a flight cannot be told, or a peak is less sure.
    #[must_use]
    pub fn why_no_day(self, why: &WhyNoDay) -> String {
        match why {
            WhyNoDay::CaughtFromFirst => "moths were caught from the first readings on".to_owned(),
            WhyNoDay::FreshLure(traps) => format!(
                "traps were past their service life before the rise, and the catch jumps from a \
                 fresh lure{}",
                named(traps)
            ),
            WhyNoDay::TooFewRead { from, to } => format!(
                "too few traps were read between {} and {}",
                self.day(*from),
                self.day(*to)
            ),
            WhyNoDay::WerePastLife(day, traps) => format!(
                "traps were past their service life on {}{}",
                self.day(*day),
                named(traps)
            ),
            WhyNoDay::LureJustChanged => {
                "an overdue lure was changed just before the highest catch".to_owned()
            }
            WhyNoDay::RoseAgain => "catches rose again before they were back at the low".to_owned(),
            WhyNoDay::ArePastLife(traps) => {
                format!("traps are past their service life{}", named(traps))
            }
            WhyNoDay::BagsFade => {
                "bait bags fade as new nuts split, so lower catches are no fall".to_owned()
            }
        }
    }

    /// That liners were too full to count all.
    #[must_use]
    pub fn full_liners(self, day: NaiveDate, traps: &[TrapId]) -> String {
        format!(
            "liners so full that they undercount on {}{}",
            self.day(day),
            named(traps)
        )
    }

    /// Why heat, or the date of a mark, cannot be told. An insect file's own words stand as written.
    #[must_use]
    pub fn why_not(self, why: &WhyNot) -> String {
        match why {
            WhyNot::NewestBefore { newest, from } => format!(
                "newest temperatures are of {}, before counting begins on {}",
                self.day(*newest),
                self.day(*from)
            ),
            WhyNot::NoStart => "no egg-laying start yet".to_owned(),
            WhyNot::NoTemperatures { station, day } => {
                let when = day.map_or("yet".to_owned(), |day| format!("for {}", self.day(day)));
                format!("no temperatures from station {station} {when}")
            }
            WhyNot::BeginAfter { first, from } => format!(
                "temperatures begin on {}, after counting begins on {}",
                self.day(*first),
                self.day(*from)
            ),
            WhyNot::NotReached { years, of } => {
                format!("not reached before the end of the year in {years} of {of} past years")
            }
            WhyNot::NoPastYear { station, newest } => format!(
                "station {station} has no whole past year from {} on to project with",
                self.day(*newest)
            ),
            WhyNot::WithoutMarks(declared) => declared.clone(),
        }
    }

    /// Why no chance is worked out.
    #[must_use]
    pub fn why_no_chance(self, why: &WhyNoChance) -> String {
        match why {
            WhyNoChance::NoDate(why) => self.why_not(why),
            WhyNoChance::StartNotConfirmed => "the egg-laying start is not confirmed".to_owned(),
            WhyNoChance::HullSplitNotKnown => "hull split is not known".to_owned(),
            WhyNoChance::ShakeNotEntered => {
                "the shake is past its latest day and not entered as done".to_owned()
            }
            WhyNoChance::FewPastYears(years) => format!("only {years} past years"),
        }
    }

    /// Why seasons cannot be compared to the same degree-days.
    #[must_use]
    pub fn why_not_by_heat(self, why: &WhyNotByHeat) -> String {
        match why {
            WhyNotByHeat::NoHeat(why) => self.why_not(why),
            WhyNotByHeat::NoneThisYear => "no temperatures of this year yet".to_owned(),
            WhyNotByHeat::NoHeatThisYear => {
                "no degree-days since the first of January yet".to_owned()
            }
        }
    }

    /// Why what was told no longer holds.
    pub(crate) fn why_gone(self, why: &WhyGone) -> String {
        match why {
            WhyGone::Start(why) => self.why_start(why),
            WhyGone::NoSecondCandidate => "the checks after the start show it no more".to_owned(),
            WhyGone::OfBlock => {
                "generations are told of the whole block now, from its first hull split".to_owned()
            }
            WhyGone::Flight(so_far) => so_far.words().to_owned(),
            WhyGone::ShownNoMore => {
                "what has been entered or declared since shows it no more".to_owned()
            }
        }
    }
}

impl SoFar {
    /// How far the flight has come.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::StillRising => "still rising",
            Self::NotLowerTwice => "not lower on two readings running yet",
            Self::RanIntoNext => "the next flight rose before catches were lower",
            Self::NotBackTwice => "not back at the low on two readings",
        }
    }
}

/// More traps than this are counted instead of named.
const MOST_NAMED: usize = 6;

/// Traps in brackets after a blank; nothing for none.
fn named(traps: &[TrapId]) -> String {
    let ids: Vec<&str> = traps.iter().map(TrapId::as_str).collect();
    match ids[..] {
        [] => String::new(),
        _ if ids.len() > MOST_NAMED => format!(" ({} traps)", ids.len()),
        _ => format!(" ({})", ids.join(", ")),
    }
}

#[cfg(test)]
mod tests;
