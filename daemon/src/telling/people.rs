//! What each person gets, in one line.

use chrono::Weekday;
use duskflight_core::ledger::{EventKind, Role};
use duskflight_core::orchard::{Block, Orchard};
use duskflight_core::wording::plural;

use crate::config::{Config, Person};

/// Each person with what they get of the blocks of an orchard.
#[must_use]
pub fn people(config: &Config, orchard: &Orchard) -> Vec<(String, String)> {
    let line = |person: &Person| {
        let who = format!("{} ({}, {})", person.id, person.name, person.roles);
        (who, gets(config, orchard, person))
    };
    config.people.iter().map(line).collect()
}

fn gets(config: &Config, orchard: &Orchard, person: &Person) -> String {
    let blocks = |of: &dyn Fn(&Block) -> bool| {
        let count = orchard.blocks().iter().filter(|block| of(block)).count();
        (count > 0).then(|| plural(count, "block"))
    };
    let advised = blocks(&|block| block.is_advised_by(&person.id)).map(|blocks| {
        let weekly = weekday_name(config.off_season_day);
        format!("morning digest of {blocks}, off the season on {weekly}s")
    });
    let owned = blocks(&|block| block.grower == person.id).map(|blocks| {
        let letter = person.letter.map_or_else(String::new, |day| {
            format!(", weekly letter on {}s", weekday_name(day))
        });
        let gathered = person.key_dates.map_or_else(String::new, |day| {
            format!(", gathered on {}s", weekday_name(day))
        });
        format!("key dates of {blocks}{gathered}{letter}")
    });
    let gets = config.rounds_of(person);
    let walked = blocks(&|block| {
        let alone = block.scouts.is_empty() && block.adviser == person.id;
        (gets.as_scout && block.scouts.contains(&person.id)) || (gets.as_adviser && alone)
    });
    let walked = walked.map(|blocks| format!("the day's rounds of {blocks}"));
    let managed = person.letter.filter(|_| person.roles.has(Role::Manager));
    let managed = managed.map(|day| {
        let day = weekday_name(day);
        format!("weekly letter of all growers on {day}s")
    });
    let rules = config.rules.iter().filter(|rule| rule.names(&person.id));
    let by_rule = rules.filter_map(|rule| {
        let about = |block: &Block| rule.is_about(block) && !block.is_advised_by(&person.id);
        let kinds: Vec<&str> = rule.tell.iter().copied().map(EventKind::name).collect();
        Some(format!(
            "by rule {} of {}",
            kinds.join(", "),
            blocks(&about)?
        ))
    });
    let by_role = [advised, owned, walked, managed].into_iter().flatten();
    let all: Vec<String> = by_role.chain(by_rule).collect();
    match (all.is_empty(), person.roles.has(Role::Other)) {
        (false, _) => all.join("; "),
        (true, true) => "no mail: no rule names them".to_owned(),
        (true, false) => "no mail: they have no block and no rule names them".to_owned(),
    }
}

/// A day of the week in full.
#[must_use]
pub const fn weekday_name(day: Weekday) -> &'static str {
    match day {
        Weekday::Mon => "Monday",
        Weekday::Tue => "Tuesday",
        Weekday::Wed => "Wednesday",
        Weekday::Thu => "Thursday",
        Weekday::Fri => "Friday",
        Weekday::Sat => "Saturday",
        Weekday::Sun => "Sunday",
    }
}
